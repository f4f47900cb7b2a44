package store

import (
	"log/slog"
	"sync"
	"time"
)

// Distances between two records of one place while the database is away: the first, and
// what they grow to (judgement: who looks into the log sees that it lasts, and still finds
// what went before).
const (
	awayFirst = time.Minute
	awayMost  = time.Hour
)

// away knows since when the database cannot be reached, so that what fails for it alone
// is told at growing distance, and once when it is over. It is safe for use by many
// goroutines.
type away struct {
	now  func() time.Time // goes on by itself, not by a clock that may be set
	over func(lasted time.Duration, untold int)

	mu     sync.Mutex
	since  time.Time // zero while the database is there
	untold int
	places map[string]*awayPlace
}

// awayPlace is what was told of one place since the database went away.
type awayPlace struct {
	next   time.Time // no record before
	step   time.Duration
	untold int
}

func newAway() *away {
	return &away{now: time.Now, over: func(lasted time.Duration, untold int) {
		slog.Warn("the database answers again", "away", lasted.Round(time.Millisecond), "untold", untold)
	}}
}

// tell notes that a place failed because the database cannot be reached, and reports
// whether to say so now, and how often it failed since it was said last.
func (a *away) tell(place string) (yes bool, untold int) {
	a.mu.Lock()
	defer a.mu.Unlock()
	now := a.now()
	if a.since.IsZero() {
		a.since, a.places = now, map[string]*awayPlace{}
	}
	x := a.places[place]
	if x == nil {
		a.places[place] = &awayPlace{next: now.Add(awayFirst), step: awayFirst}
		return true, 0
	}
	if now.Before(x.next) {
		x.untold++
		a.untold++
		return false, 0
	}
	untold = x.untold
	x.step = min(2*x.step, awayMost)
	x.next, x.untold = now.Add(x.step), 0
	a.untold -= untold
	return true, untold
}

// back notes that the database was reached, and says for how long it was away.
func (a *away) back() {
	a.mu.Lock()
	since, untold := a.since, a.untold
	a.since, a.untold, a.places = time.Time{}, 0, nil
	a.mu.Unlock()
	if !since.IsZero() {
		a.over(a.now().Sub(since), untold)
	}
}

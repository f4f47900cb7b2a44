package api

import (
	"cmp"
	"fmt"
	"math"
	"net/http"
	"slices"
	"sync"
	"time"
)

// How often somebody may be wrong before nothing is looked at for a while: for one
// account, from one address, and from all addresses of one site (judgement; people
// who mistype need three or four).
const (
	triesWithin    = 15 * time.Minute
	triesOfAccount = 10
	triesOfAddress = 30
)

// tallyRoom is for how many a tally counts apart (judgement: some megabytes).
const tallyRoom = 20000

// crowdedFor is how long whoever is new is counted together with all others who are,
// when there is no room (judgement).
const crowdedFor = time.Minute

// counted is one thing that is counted: for whom, and how often it may be within the time
// of a tally.
type counted struct {
	key  string
	most int
}

// tally counts what happened within a time. A thing counts from its beginning, so that
// many at once are not more than many one after the other. Who is at her limit is
// never forgotten before the time is over, however many others come. Make one with
// within.
type tally struct {
	within time.Duration

	mu      sync.Mutex
	by      map[string]*tallied
	crowded time.Time // until when whoever is new is counted together
}

// tallied is what was counted for one: the oldest first, never more than most.
type tallied struct {
	most int
	at   []time.Time
}

// begin counts one of each, or of none and returns how long to wait when one of them
// was as often as it may be.
func (t *tally) begin(now time.Time, list ...counted) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, x := range list {
		if wait := t.wait(x, now); wait > 0 {
			return wait
		}
	}
	for _, x := range list {
		e := t.entry(x, now)
		e.at = append(e.at, now)
	}
	return 0
}

// full returns how long to wait for the next of a thing, and counts nothing.
func (t *tally) full(now time.Time, list ...counted) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	var longest time.Duration
	for _, x := range list {
		longest = max(longest, t.wait(x, now))
	}
	return longest
}

func (t *tally) wait(x counted, now time.Time) time.Duration {
	e := t.by[x.key]
	if e == nil && now.Before(t.crowded) {
		e = t.by[""]
	}
	if e == nil {
		return 0
	}
	// What lies ahead was counted before the clock was set back.
	e.at = slices.DeleteFunc(e.at, func(at time.Time) bool { return now.Sub(at).Abs() >= t.within })
	if len(e.at) < x.most {
		return 0
	}
	return e.at[0].Add(t.within).Sub(now)
}

// entry is where a thing is counted.
func (t *tally) entry(x counted, now time.Time) *tallied {
	if t.by == nil {
		t.by = map[string]*tallied{}
	}
	if e := t.by[x.key]; e != nil {
		return e
	}
	key := x.key
	if now.Before(t.crowded) || len(t.by) >= tallyRoom && !t.makeRoom(now) {
		if key = ""; t.by[key] != nil {
			return t.by[key]
		}
	}
	t.by[key] = &tallied{most: x.most}
	return t.by[key]
}

// makeRoom forgets what is over and, when that is not enough, those who are the
// farthest from their limits and were here the longest ago: half of the room at most,
// and nobody who is at her limit.
func (t *tally) makeRoom(now time.Time) bool {
	var others []string
	for key, e := range t.by {
		switch {
		case len(e.at) == 0 || now.Sub(e.at[len(e.at)-1]) >= t.within:
			delete(t.by, key)
		case len(e.at) < e.most:
			others = append(others, key)
		}
	}
	if len(t.by) >= tallyRoom/2 {
		slices.SortFunc(others, func(a, b string) int {
			x, y := t.by[a], t.by[b]
			return cmp.Or(cmp.Compare(len(x.at), len(y.at)), x.at[len(x.at)-1].Compare(y.at[len(y.at)-1]), cmp.Compare(a, b))
		})
		for _, key := range others[:min(len(others), len(t.by)-tallyRoom/2)] {
			delete(t.by, key)
		}
	}
	if len(t.by) > tallyRoom*7/8 { // looking through all again for each that is new would take long
		t.crowded = now.Add(crowdedFor)
		return false
	}
	return true
}

// takeBack forgets the latest of each.
func (t *tally) takeBack(list ...counted) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, x := range list {
		if e := t.by[x.key]; e != nil && len(e.at) > 0 {
			e.at = e.at[:len(e.at)-1]
		}
	}
}

// forget forgets all of one.
func (t *tally) forget(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.by, key)
}

// tooManyTries says how long to wait.
func tooManyTries(wait time.Duration) *Problem {
	p := newProblem(http.StatusTooManyRequests, "too-many-tries", "there were too many wrong tries: wait "+minutesWords(wait)+", then try again")
	p.retryAfter = max(1, int(math.Ceil(wait.Seconds())))
	return p
}

// minutesWords is a wait in words, rounded up: in minutes, or in hours where it is
// long.
func minutesWords(wait time.Duration) string {
	switch n := int(math.Ceil(wait.Minutes())); {
	case n > 90:
		return fmt.Sprintf("%d hours", int(math.Ceil(wait.Hours())))
	case n > 1:
		return fmt.Sprintf("%d minutes", n)
	}
	return "a minute"
}

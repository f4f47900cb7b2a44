package store

import (
	"context"
	"maps"
	"slices"
	"sync"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"

	"github.com/rickb777/date"
)

// Limits of what is kept. Judgement: 200 days are more than half a year, beyond
// which hardly anybody books. A span takes 57 bytes (measured with 10,000 blocks),
// twice that once visits with other clearing times were searched for.
const (
	keptDays    = 200
	keptBehind  = 7 // days that may lie further back than they would today, so that nobody waits at midnight
	keptSalons  = 500
	keptWeight  = 1_000_000        // spans of all salons, 57 MB by that figure
	keptLongest = 30 * time.Minute // how old a moment may be, well inside the hour that the log remembers
	// mostStretches are read one by one, each by its own look into an index; of more all is
	// read. Judgement.
	mostStretches = 200
)

// keptFreeTimes is the free time of the salons that were asked for last.
//
// What makes it exact is the table unit_change, which says in which transaction
// the time of a unit changed: every request asks for the rows that the moment of
// what is kept did not see, by PostgreSQL's own snapshot and not by any clock,
// and reads those units anew in the same moment. Who writes does nothing for it.
type keptFreeTimes struct {
	salons, weight int // limits

	mu    sync.Mutex
	kept  map[string]*keptSalon
	total int    // weight
	uses  uint64 // counts up
}

type keptSalon struct {
	now  *keptFreeTime
	used uint64        // value of uses at the last request
	asks time.Time     // by this process's clock
	turn chan struct{} // holds one token: only who has it reads the salon anew
}

func newKeptFreeTimes(salons, weight int) *keptFreeTimes {
	return &keptFreeTimes{salons: salons, weight: weight, kept: map[string]*keptSalon{}}
}

// freeTimeWish is what somebody needs of free time.
type freeTimeWish struct {
	zone *time.Location
	days openings.DateRange
	now  time.Time
	// ahead is set for who works ahead of requests: days are then those to be
	// kept, and what is kept has to end there.
	ahead bool
}

// keptHorizon are the days that are kept: yesterday, because a visit that is
// going on may have begun then, and those to come.
func keptHorizon(zone *time.Location, now time.Time) openings.DateRange {
	today := scheduling.CivilDate(now, zone)
	return openings.DateRange{First: today.Add(-1), Last: today.Add(date.PeriodOfDays(keptDays))}
}

func covers(r, days openings.DateRange) bool {
	return !r.First.After(days.First) && !r.Last.Before(days.Last)
}

// current returns the free time of the salon of t, at least what t sees and
// perhaps what came after it, nil when its days are not among those that are kept.
func (c *keptFreeTimes) current(ctx context.Context, t *Tx, w freeTimeWish) (*keptFreeTime, error) {
	k := c.find(t.salon, !w.ahead)
	n, err := t.news(ctx, k)
	if err != nil || n.replica {
		return nil, err
	}
	if stale, ok := k.outdated(n, w); ok && len(stale) == 0 {
		c.confirm(t.salon, k, n.moment)
		return k, nil
	}
	if !covers(keptHorizon(w.zone, w.now), w.days) {
		return nil, nil
	}
	done, err := c.takeTurn(ctx, t.salon)
	if err != nil {
		return nil, err
	}
	defer done()
	// Who had the turn before may have read what is missing.
	if last := c.find(t.salon, false); last != k {
		if k = last; k != nil {
			if n, err = t.news(ctx, k); err != nil {
				return nil, err
			}
		}
	}
	return c.renew(ctx, t, k, n, w)
}

// renew reads what is outdated in k and keeps it.
func (c *keptFreeTimes) renew(ctx context.Context, t *Tx, k *keptFreeTime, n news, w freeTimeWish) (*keptFreeTime, error) {
	stale, ok := k.outdated(n, w)
	if ok && len(stale) == 0 {
		return k, nil
	}
	var next *keptFreeTime
	if ok && k.fewer(stale) {
		var err error
		if next, err = k.withStretches(ctx, t, stale, w.now); err != nil {
			return nil, err
		}
	} else {
		whole, err := t.readFreeTime(ctx, openings.NewHorizon(w.zone, keptHorizon(w.zone, w.now)), w.now, nil)
		if err != nil {
			return nil, err
		}
		next = &whole
	}
	next.moment = n.moment
	c.keep(t.salon, next)
	return next, nil
}

// outdated lists the minutes of units of k that have to be read anew; it reports false
// when all has to be.
func (k *keptFreeTime) outdated(n news, w freeTimeWish) (map[string][]openings.Span, bool) {
	if k == nil || n.whole || k.server != n.server || n.at.Sub(k.at).Abs() > keptLongest ||
		k.Zone.String() != w.zone.String() || !covers(k.Days, w.days) || w.ahead && k.Days != w.days ||
		keptHorizon(w.zone, w.now).First.Sub(k.Days.First) > keptBehind {
		return nil, false
	}
	stale := map[string][]openings.Span{}
	all := openings.Span{From: 0, To: k.Length}
	for _, s := range n.stretches {
		if s.from == nil || s.to == nil {
			stale[s.unit] = append(stale[s.unit], all)
		} else if span, ok := k.Span(*s.from, *s.to); ok && !slices.Contains(stale[s.unit], span) {
			stale[s.unit] = append(stale[s.unit], span)
		}
	}
	for _, p := range k.pencils {
		if p.over != !p.until.After(w.now) {
			stale[p.unit] = append(stale[p.unit], all)
		}
	}
	for unit, spans := range stale {
		if slices.Contains(spans, all) {
			stale[unit] = []openings.Span{all}
		}
	}
	return stale, true
}

// fewer says that reading stale takes less than reading all.
func (k *keptFreeTime) fewer(stale map[string][]openings.Span) bool {
	whole, some := 0, 0
	for _, spans := range stale {
		if spans[0] == (openings.Span{From: 0, To: k.Length}) {
			whole++
		} else {
			some += len(spans)
		}
	}
	return 2*whole <= len(k.Snapshot.Shop().Units) && some <= mostStretches
}

// find returns what is kept of a salon, nil for nothing. asked says that a
// request needs it.
func (c *keptFreeTimes) find(salon string, asked bool) *keptFreeTime {
	c.mu.Lock()
	defer c.mu.Unlock()
	s := c.kept[salon]
	if s == nil {
		return nil
	}
	if asked {
		c.uses++
		s.used, s.asks = c.uses, time.Now()
	}
	return s.now
}

// takeTurn waits until nobody else reads the salon anew, so that a crowd of
// requests after a change does not read the same again and again.
func (c *keptFreeTimes) takeTurn(ctx context.Context, salon string) (done func(), err error) {
	c.mu.Lock()
	s := c.kept[salon]
	if s == nil {
		c.uses++
		s = &keptSalon{turn: make(chan struct{}, 1), used: c.uses, asks: time.Now()}
		c.kept[salon] = s
		c.shrink()
	}
	c.mu.Unlock()
	select {
	case s.turn <- struct{}{}:
		return func() { <-s.turn }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// confirm notes that k still held at m, so that it need not become old.
func (c *keptFreeTimes) confirm(salon string, k *keptFreeTime, m moment) {
	if m.at.Sub(k.at) < time.Second {
		return
	}
	next := *k
	next.moment = m
	c.mu.Lock()
	defer c.mu.Unlock()
	if s := c.kept[salon]; s != nil && s.now == k {
		s.now = &next
	}
}

// keep takes k in place of what was kept of the salon, unless that is newer, and
// forgets salons that were not asked for in the longest time where there is too
// much.
func (c *keptFreeTimes) keep(salon string, k *keptFreeTime) {
	c.mu.Lock()
	defer c.mu.Unlock()
	s := c.kept[salon]
	if s == nil { // forgotten meanwhile
		return
	}
	if s.now != nil {
		if s.now.server == k.server && s.now.at.After(k.at) && k.at.Sub(s.now.at).Abs() < keptLongest {
			return
		}
		c.total -= s.now.weight
	}
	s.now = nil
	if k.weight > c.weight { // others would have to go for one that cannot stay
		c.forget(salon)
		return
	}
	s.now = k
	c.total += k.weight
	c.shrink()
}

// shrink forgets those who were not asked for in the longest time.
func (c *keptFreeTimes) shrink() {
	for len(c.kept) > c.salons || c.total > c.weight {
		oldest := ""
		for id, s := range c.kept {
			if oldest == "" || s.used < c.kept[oldest].used {
				oldest = id
			}
		}
		c.forget(oldest)
	}
}

func (c *keptFreeTimes) forget(salon string) {
	if s := c.kept[salon]; s != nil && s.now != nil {
		c.total -= s.now.weight
	}
	delete(c.kept, salon)
}

// forgetUnasked forgets salons that no request has needed since a time.
func (c *keptFreeTimes) forgetUnasked(since time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for id, s := range c.kept {
		if s.asks.Before(since) {
			c.forget(id)
		}
	}
}

// list names the salons of which something is kept.
func (c *keptFreeTimes) list() []string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return slices.Collect(maps.Keys(c.kept))
}

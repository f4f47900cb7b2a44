package openings

import (
	"fmt"
	"slices"
	"sync"

	"chairblock/scheduling"
	"chairblock/scheduling/timeline"
)

// Snapshot is a shop with the free time of every unit worked out. It is
// immutable and safe for concurrent use.
type Snapshot struct {
	shop     Shop
	roster   *roster
	premises timeline.List // inside the horizon, touching windows merged
	longest  int32         // of them, in minutes
	spans    int           // windows, breaks and bookings
	times    []*freeTime   // by unit
}

// freeTime is the free time of a unit. It never changes, so snapshots share it.
type freeTime struct {
	usable timeline.List // without regard to bookings
	own    timeline.List // for the unit's own changeover

	mu    sync.RWMutex
	other []clearedTime // for other clearings, made on demand
}

type clearedTime struct {
	clear Minute
	free  timeline.List
}

// roster is who and what there is, apart from time. Plans depend on it.
type roster struct {
	units []Unit // only ID, Kind and Skills are kept
	index map[string]int32
}

func newRoster(units []Unit, index map[string]int32) *roster {
	r := &roster{units: make([]Unit, len(units)), index: index}
	for i := range units {
		r.units[i] = Unit{ID: units[i].ID, Kind: units[i].Kind, Skills: units[i].Skills}
	}
	return r
}

// NewSnapshot validates shop and works out its free time. The caller must not
// change the slices of shop afterwards.
//
// Spans may reach beyond the horizon and may overlap; only what lies inside
// 0..Minutes counts. NewSnapshot returns Faults that name the fields.
func NewSnapshot(shop Shop) (*Snapshot, error) {
	var f scheduling.Faults
	index := shop.check(&f)
	if err := f.Err(); err != nil {
		return nil, err
	}
	s := &Snapshot{
		shop: shop, roster: newRoster(shop.Units, index), spans: shop.spans(),
		premises: inHorizon(shop.Premises, shop.Minutes),
		times:    make([]*freeTime, len(shop.Units)),
	}
	for _, w := range s.premises {
		s.longest = max(s.longest, w.To-w.From)
	}
	var busy timeline.List
	for i := range shop.Units {
		s.times[i], busy = shop.Units[i].times(shop.Minutes, busy)
	}
	return s, nil
}

// Shop returns the shop that the snapshot was made of.
func (s *Snapshot) Shop() Shop { return s.shop }

// With returns a snapshot in which each of units stands for the unit of the same ID,
// and shares everything else with s. It returns Faults when one is faulty and
// ErrNotFound when there is no unit of its ID.
func (s *Snapshot) With(units ...Unit) (*Snapshot, error) {
	next := &Snapshot{shop: s.shop, roster: s.roster, premises: s.premises, longest: s.longest,
		spans: s.spans, times: slices.Clone(s.times)}
	next.shop.Units = slices.Clone(s.shop.Units)
	same := true
	for k := range units {
		u := &units[k]
		var f scheduling.Faults
		u.check(&f, "unit")
		i, ok := s.roster.index[u.ID]
		if ok {
			next.spans += u.spans() - next.shop.Units[i].spans()
			checkCount(&f, "unit", next.spans)
		}
		if err := f.Err(); err != nil {
			return nil, err
		}
		if !ok {
			return nil, fmt.Errorf("scheduling: unit %q: %w", u.ID, scheduling.ErrNotFound)
		}
		same = same && s.shop.Units[i].sameJob(u)
		next.shop.Units[i] = *u
		next.times[i], _ = u.times(s.shop.Minutes, nil)
	}
	if !same {
		next.roster = newRoster(next.shop.Units, s.roster.index)
	}
	return next, nil
}

// times works out the free time of u up to the minute end. It uses and returns
// busy as scratch.
func (u *Unit) times(end Minute, busy timeline.List) (*freeTime, timeline.List) {
	t := &freeTime{usable: inHorizon(u.Open, end)}
	if len(u.Breaks) > 0 {
		breaks := inHorizon(u.Breaks, end)
		t.usable = timeline.Subtract(make(timeline.List, 0, len(t.usable)+len(breaks)), t.usable, breaks)
	}
	t.own, busy = u.freeTime(t.usable, u.Changeover, busy)
	return t, busy
}

// freeTime takes the bookings out of usable, each with the clearing of the
// booked visit after it and that of the new visit before it.
func (u *Unit) freeTime(usable timeline.List, clear Minute, busy timeline.List) (free, scratch timeline.List) {
	busy = busy[:0]
	for _, b := range u.Bookings {
		busy = append(busy, timeline.Span{From: int32(b.From - clear), To: int32(b.To + b.Clear)})
	}
	busy = timeline.Normalize(busy)
	return timeline.Subtract(make(timeline.List, 0, len(usable)+len(busy)), usable, busy), busy
}

// freeFor returns the minutes in which a visit that keeps clear minutes free
// after itself may use unit i.
func (s *Snapshot) freeFor(i int32, clear Minute) timeline.List {
	u, t := &s.shop.Units[i], s.times[i]
	if clear == u.Changeover {
		return t.own
	}
	t.mu.RLock()
	free, ok := t.cleared(clear)
	t.mu.RUnlock()
	if ok {
		return free
	}
	free, _ = u.freeTime(t.usable, clear, nil)
	t.mu.Lock()
	defer t.mu.Unlock()
	if _, ok := t.cleared(clear); !ok && len(t.other) < maxClearings {
		t.other = append(t.other, clearedTime{clear, free})
	}
	return free
}

// cleared looks up free time that is kept.
func (t *freeTime) cleared(clear Minute) (timeline.List, bool) {
	for i := range t.other {
		if t.other[i].clear == clear {
			return t.other[i].free, true
		}
	}
	return nil, false
}

func inHorizon(spans []Span, minutes Minute) timeline.List {
	l := make(timeline.List, 0, len(spans))
	for _, s := range spans {
		l = append(l, timeline.Span{From: int32(max(s.From, 0)), To: int32(min(s.To, minutes))})
	}
	return timeline.Normalize(l)
}

// same reports whether plans made for r also hold for o.
func (r *roster) same(o *roster) bool {
	return r == o || slices.EqualFunc(r.units, o.units, func(a, b Unit) bool { return a.sameJob(&b) })
}

func (u *Unit) sameJob(o *Unit) bool {
	return u.ID == o.ID && u.Kind == o.Kind && slices.Equal(u.Skills, o.Skills)
}

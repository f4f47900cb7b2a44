package openings

import (
	"fmt"
	"slices"
	"sync"

	"chairblock/scheduling"
	"chairblock/scheduling/timeline"
)

// Limits of what the search takes. Judgement: far beyond any salon, and small
// enough that no sum of minutes overflows.
const (
	maxHorizon   Minute = 2 * 366 * 1440 // two years of minutes
	maxClearing  Minute = 1440           // a day
	maxUnits            = 2000
	wantSpan            = "from before to, both less than two years from the origin"
	wantClearing        = "0 to 1440 minutes"
)

// Snapshot is a shop with the free time of every unit worked out. It is
// immutable and safe for concurrent use.
type Snapshot struct {
	shop     Shop
	roster   *roster
	premises timeline.List // inside the horizon, touching windows merged
	usable   []timeline.List
	free     []timeline.List // by unit, for the unit's own changeover

	mu    sync.RWMutex
	other map[clearing]timeline.List // free time for other clearings, made on demand
}

// roster is who and what there is, apart from time. Plans depend on it.
type roster struct {
	units []Unit // only ID, Kind and Skills are looked at
	index map[string]int32
}

type clearing struct {
	unit  int32
	clear Minute
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
		shop: shop, roster: &roster{units: shop.Units, index: index},
		premises: inHorizon(shop.Premises, shop.Minutes),
		usable:   make([]timeline.List, len(shop.Units)),
		free:     make([]timeline.List, len(shop.Units)),
	}
	var busy timeline.List
	for i := range shop.Units {
		busy = s.build(i, busy)
	}
	return s, nil
}

// check adds the faults of shop to f and returns its units by id.
func (shop *Shop) check(f *scheduling.Faults) map[string]int32 {
	if shop.Minutes < 1 || shop.Minutes > maxHorizon {
		f.Addf("minutes", fmt.Sprintf("1 to %d", maxHorizon), "is %d", shop.Minutes)
	}
	checkSpans(f, "premises", shop.Premises)
	if len(shop.Units) > maxUnits {
		f.Addf("units", fmt.Sprintf("at most %d", maxUnits), "has %d entries", len(shop.Units))
	}
	byID := make(map[string]int32, len(shop.Units))
	for i := range shop.Units {
		u, at := &shop.Units[i], fmt.Sprintf("units[%d]", i)
		u.check(f, at)
		if _, twice := byID[u.ID]; twice {
			f.Addf(at+".id", "a different id for every unit", "is %q again", u.ID)
		}
		byID[u.ID] = int32(i)
	}
	return byID
}

// Shop returns the shop that the snapshot was made of.
func (s *Snapshot) Shop() Shop { return s.shop }

// With returns a snapshot in which u stands for the unit of the same ID, and
// shares everything else with s. It returns Faults when u is faulty and
// ErrNotFound when there is no unit of that ID.
func (s *Snapshot) With(u Unit) (*Snapshot, error) {
	var f scheduling.Faults
	u.check(&f, "unit")
	if err := f.Err(); err != nil {
		return nil, err
	}
	i, ok := s.roster.index[u.ID]
	if !ok {
		return nil, fmt.Errorf("scheduling: unit %q: %w", u.ID, scheduling.ErrNotFound)
	}
	next := &Snapshot{shop: s.shop, premises: s.premises,
		usable: slices.Clone(s.usable), free: slices.Clone(s.free)}
	next.shop.Units = slices.Clone(s.shop.Units)
	next.shop.Units[i] = u
	next.roster = &roster{units: next.shop.Units, index: s.roster.index}
	if s.shop.Units[i].sameJob(&u) {
		next.roster = s.roster
	}
	next.build(int(i), nil)
	return next, nil
}

// build works out the free time of unit i. It uses and returns busy as scratch.
func (s *Snapshot) build(i int, busy timeline.List) timeline.List {
	u := &s.shop.Units[i]
	s.usable[i] = inHorizon(u.Open, s.shop.Minutes)
	if len(u.Breaks) > 0 {
		s.usable[i] = timeline.Subtract(nil, s.usable[i], inHorizon(u.Breaks, s.shop.Minutes))
	}
	s.free[i], busy = u.freeTime(s.usable[i], u.Changeover, busy)
	return busy
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
	if clear == s.shop.Units[i].Changeover {
		return s.free[i]
	}
	key := clearing{i, clear}
	s.mu.RLock()
	l, ok := s.other[key]
	s.mu.RUnlock()
	if ok {
		return l
	}
	l, _ = s.shop.Units[i].freeTime(s.usable[i], clear, nil)
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.other == nil {
		s.other = make(map[clearing]timeline.List)
	}
	s.other[key] = l
	return l
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

func (u *Unit) check(f *scheduling.Faults, at string) {
	if u.ID == "" {
		f.Add(at+".id", "is empty", "a name for the unit")
	}
	if u.Kind == "" {
		f.Add(at+".kind", "is empty", "a kind such as stylist, assistant, chair or basin")
	}
	checkClearing(f, at+".changeover", u.Changeover)
	checkSpans(f, at+".open", u.Open)
	checkSpans(f, at+".breaks", u.Breaks)
	bookings := at + ".bookings"
	for i, b := range u.Bookings {
		checkSpan(f, bookings, i, Span{b.From, b.To})
		if b.Clear < 0 || b.Clear > maxClearing {
			checkClearing(f, fmt.Sprintf("%s[%d].clear", bookings, i), b.Clear)
		}
	}
}

func checkClearing(f *scheduling.Faults, field string, m Minute) {
	if m < 0 || m > maxClearing {
		f.Addf(field, wantClearing, "is %d", m)
	}
}

func checkSpans(f *scheduling.Faults, field string, spans []Span) {
	for i, s := range spans {
		checkSpan(f, field, i, s)
	}
}

func checkSpan(f *scheduling.Faults, field string, i int, s Span) {
	if s.From >= s.To || s.From < -maxHorizon || s.To > 2*maxHorizon {
		f.Addf(fmt.Sprintf("%s[%d]", field, i), wantSpan, "is %d to %d", s.From, s.To)
	}
}

package openings

import (
	"cmp"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/timeline"
)

// LimitKind says what a later start would run into.
type LimitKind string

// Kinds of limits.
const (
	NextClient LimitKind = "next_client" // another visit uses the unit from At on
	BreakTime  LimitKind = "break"       // a break or absence of the unit begins at At
	HoursEnd   LimitKind = "hours"       // the unit goes home, or out of use, at At
	Closing    LimitKind = "closing"     // the premises close at At
)

// Limit is what a later start would run into. Unit is empty for Closing.
type Limit struct {
	Kind LimitKind
	Unit string
	At   Minute
}

// Until is how late a booked visit can start.
type Until struct {
	Start Minute
	Limit Limit
}

// StartUntil returns the last start not before booked up to which every minute
// will do: with the units of roles kept, by role name, and all others chosen
// anew. s must not hold the bookings of the visit itself.
//
// The limit is what a start one minute later would run into: of what would have
// to give way, the first. The people and stations kept, and closing, are blamed
// before those that could be chosen anew; of those, has is booked for the visit and
// blamed before the others. It is zero when nothing but the end of
// the horizon stands in the way.
//
// StartUntil returns false when the visit cannot start at booked, and Faults when
// spec is faulty or roles names one that it has not.
func StartUntil(s *Snapshot, spec VisitSpec, roles map[string]string, booked Minute, has ...string) (Until, bool, error) {
	b, err := Bind(s, spec, roles)
	if err != nil {
		return Until{}, false, err
	}
	return b.StartUntil(s, booked, has...)
}

// Bound is a visit with the units of some of its roles. It never changes, and holds
// for every snapshot with the units of the one that it was made for.
type Bound struct {
	plan  *Plan
	roles map[string]string
}

// Bind makes ready what StartUntil asks of a visit, for visits that differ in their
// start alone. It returns Faults when spec is faulty or roles names one that it has not.
func Bind(s *Snapshot, spec VisitSpec, roles map[string]string) (*Bound, error) {
	bound, err := spec.bind(roles)
	if err != nil {
		return nil, err
	}
	plan, err := Compile(bound, s)
	if err != nil {
		return nil, err
	}
	return &Bound{plan, roles}, nil
}

// StartUntil is the function of that name for the visit. It returns ErrOtherUnits when
// s has other units than the snapshot that b was made for, and Faults (to) when the
// starts of the visit lie in more ranges than Search gives.
func (b *Bound) StartUntil(s *Snapshot, booked Minute, has ...string) (Until, bool, error) {
	w, ok := s.premises.Run(int32(booked))
	if !ok {
		return Until{}, false, nil
	}
	x, err := b.plan.Search(s, Query{From: booked, To: Minute(w.To), Grid: 1})
	if err != nil {
		return Until{}, false, err
	}
	if first, ok := x.First(); !ok || first != booked {
		return Until{}, false, nil
	}
	out := Until{Start: x.Ranges()[0].To}
	out.Limit, err = b.plan.limit(s, b.roles, has, out.Start+1)
	return out, err == nil, err
}

// bind returns v with the units of roles, by role name, fixed.
func (v *VisitSpec) bind(roles map[string]string) (VisitSpec, error) {
	out := *v
	out.Roles = slices.Clone(v.Roles)
	found := 0
	for i := range out.Roles {
		if id, ok := roles[out.Roles[i].Name]; ok {
			out.Roles[i].Only = []string{id}
			found++
		}
	}
	if found < len(roles) {
		return VisitSpec{}, scheduling.Faults{{Field: "roles", Problem: "names a role that the visit has not", Want: "roles of the visit"}}
	}
	return out, nil
}

// obstacle is a stretch in which a unit, or the premises, cannot be used.
type obstacle struct {
	Limit
	unit int32 // nobody for the premises
	busy Booking
	own  bool // it is blamed before others
	kept bool // it stays where it is
}

// limit finds what a start at start, which does not fit, runs into.
//
// It takes all obstacles away and puts back one after the other, those that are
// to be blamed first last. Without those that cannot be put back the visit
// fits, and with any of them it does not.
func (p *Plan) limit(s *Snapshot, roles map[string]string, has []string, start Minute) (Limit, error) {
	t := newTrial(p, s, start)
	own := func(o obstacle) bool {
		return o.unit == nobody || slices.Contains(has, o.Unit) || slices.ContainsFunc(p.spec.Roles, func(r Role) bool { return roles[r.Name] == o.Unit })
	}
	if fits, err := t.fits(); err != nil || !fits {
		return Limit{}, err
	}
	t.list()
	for i := range t.obstacles {
		t.obstacles[i].own = own(t.obstacles[i])
	}
	slices.SortStableFunc(t.obstacles, func(a, b obstacle) int {
		if a.own != b.own {
			if b.own {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.At, a.At)
	})
	others := slices.IndexFunc(t.obstacles, func(o obstacle) bool { return o.own })
	if others < 0 {
		others = len(t.obstacles)
	}
	if _, err := t.keep(t.obstacles[:others], false); err != nil {
		return Limit{}, err
	}
	if _, err := t.keep(t.obstacles[others:], false); err != nil {
		return Limit{}, err
	}
	return t.first(), nil
}

// trial asks whether a visit fits at start when only some obstacles are there.
type trial struct {
	plan       *Plan
	shop       Shop
	start, end Minute
	obstacles  []obstacle

	snap  *Snapshot // changed between questions, so nobody else may have it
	stale []bool    // by unit: the snapshot has not heard of what is kept
	shut  bool      // the same for the premises
	busy  timeline.List
}

// newTrial is one without obstacles: everybody is there all the time.
func newTrial(p *Plan, s *Snapshot, start Minute) *trial {
	n := len(s.shop.Units)
	t := &trial{plan: p, shop: s.shop, start: start, end: start + Minute(p.maxStay), stale: make([]bool, n), shut: true}
	t.snap = &Snapshot{shop: Shop{Units: slices.Clone(s.shop.Units)}, roster: s.roster, times: make([]*freeTime, n)}
	times := make([]freeTime, len(p.units))
	for k, u := range p.units {
		unit := &t.snap.shop.Units[u]
		// What the visit keeps free after itself is that of the unit, so that one list does.
		unit.Changeover = p.spec.Clearing(unit.Kind, unit.Changeover)
		t.end = max(t.end, start+Minute(p.maxStay)+unit.Changeover)
		t.snap.times[u], t.stale[u] = &times[k], true
	}
	t.end = min(t.end, maxHorizon)
	t.snap.shop.Minutes = t.end
	return t
}

// list notes the obstacles between start and the latest minute that the visit
// can need.
func (t *trial) list() {
	whole := Span{t.start, t.end}
	note := func(kind LimitKind, unit int32, b Booking) {
		if b.From >= whole.To || b.To+b.Clear <= whole.From {
			return
		}
		o := obstacle{Limit: Limit{Kind: kind, At: b.From}, unit: unit, busy: b}
		if unit != nobody {
			o.Unit = t.shop.Units[unit].ID
		}
		t.obstacles = append(t.obstacles, o)
	}
	before := Span{0, t.end} // so that gaps are noted where they begin
	for _, g := range outside(t.shop.Premises, before) {
		note(Closing, nobody, Booking{From: g.From, To: g.To})
	}
	for _, i := range t.plan.units {
		u := &t.shop.Units[i]
		for _, g := range outside(u.Open, before) {
			note(HoursEnd, i, Booking{From: g.From, To: g.To})
		}
		for _, b := range u.Breaks {
			note(BreakTime, i, Booking{From: b.From, To: b.To})
		}
		for _, b := range u.Bookings {
			note(NextClient, i, b)
		}
	}
}

// outside returns the stretches of w that no window covers. Those that reach
// its end have no end.
func outside(windows []Span, w Span) []Span {
	var out []Span
	at := w.From
	for at < w.To {
		if next := firstOutside(windows, at, w.To); next > at {
			at = next
			continue
		}
		to := 2 * maxHorizon
		for _, s := range windows {
			if s.From > at {
				to = min(to, s.From)
			}
		}
		out = append(out, Span{at, to})
		at = to
	}
	return out
}

// keep leaves in their place, of more in their order, all with which the visit
// still fits, and reports whether these are all of more; fails says that they are not.
//
// What fits with many obstacles fits with some of them, so many are tried at once.
func (t *trial) keep(more []obstacle, fails bool) (all bool, err error) {
	if !fails {
		t.set(more, true)
		if fits, err := t.fits(); err != nil || fits {
			return fits, err
		}
		t.set(more, false)
	}
	if len(more) < 2 {
		return false, nil
	}
	half := len(more) / 2
	if all, err = t.keep(more[:half], false); err == nil {
		_, err = t.keep(more[half:], all)
	}
	return false, err
}

func (t *trial) set(list []obstacle, kept bool) {
	for i := range list {
		list[i].kept = kept
		if u := list[i].unit; u == nobody {
			t.shut = true
		} else {
			t.stale[u] = true
		}
	}
}

// fits asks the question for the obstacles that are kept.
func (t *trial) fits() (bool, error) {
	whole := timeline.List{{From: 0, To: int32(t.end)}}
	for _, u := range t.plan.units {
		if t.stale[u] {
			f := t.snap.times[u]
			f.own, t.stale[u] = timeline.Subtract(f.own[:0], whole, t.inTheWay(u)), false
		}
	}
	if t.shut {
		s := t.snap
		s.premises, s.longest, t.shut = timeline.Subtract(s.premises[:0], whole, t.inTheWay(nobody)), 0, false
		for _, w := range s.premises {
			s.longest = max(s.longest, w.To-w.From)
		}
	}
	_, fits, err := t.plan.Soonest(t.snap, Query{From: t.start, To: t.start, Grid: 1})
	return fits, err
}

// inTheWay is when a unit, or nobody for the premises, cannot be used because of
// what is kept. It is good until it is asked for again.
func (t *trial) inTheWay(u int32) timeline.List {
	clear := Minute(0)
	if u != nobody {
		clear = t.snap.shop.Units[u].Changeover
	}
	t.busy = t.busy[:0]
	for i := range t.obstacles {
		o := &t.obstacles[i]
		if !o.kept || o.unit != u {
			continue
		}
		from := o.busy.From
		if o.Kind == NextClient {
			from -= clear
		}
		t.busy = append(t.busy, timeline.Span{From: int32(from), To: int32(o.busy.To + o.busy.Clear)})
	}
	t.busy = timeline.Normalize(t.busy)
	return t.busy
}

// first returns the earliest of the obstacles that could not be kept; at one
// minute, closing and what the visit keeps come first.
func (t *trial) first() Limit {
	var best *obstacle
	for i := range t.obstacles {
		o := &t.obstacles[i]
		if o.kept {
			continue
		}
		if best == nil || o.At < best.At || o.At == best.At && o.own && !best.own {
			best = o
		}
	}
	if best == nil {
		return Limit{}
	}
	return best.Limit
}

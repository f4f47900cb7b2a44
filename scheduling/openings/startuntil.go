package openings

import (
	"cmp"
	"slices"

	"chairblock/scheduling"
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
	bound, err := spec.bind(roles)
	if err != nil {
		return Until{}, false, err
	}
	plan, err := Compile(bound, s)
	if err != nil {
		return Until{}, false, err
	}
	w, ok := s.premises.Run(int32(booked))
	if !ok {
		return Until{}, false, nil
	}
	x, err := plan.Search(s, Query{From: booked, To: Minute(w.To), Grid: 1})
	if err != nil {
		return Until{}, false, err
	}
	if first, ok := x.First(); !ok || first != booked {
		return Until{}, false, nil
	}
	out := Until{Start: x.Ranges()[0].To}
	out.Limit, err = plan.limit(s, roles, has, out.Start+1)
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
	kept bool // it stays where it is
}

// limit finds what a start at start, which does not fit, runs into.
//
// It takes all obstacles away and puts back one after the other, those that are
// to be blamed first last. Without those that cannot be put back the visit
// fits, and with any of them it does not.
func (p *Plan) limit(s *Snapshot, roles map[string]string, has []string, start Minute) (Limit, error) {
	t := trial{plan: p, shop: s.shop, start: start, end: start + Minute(p.maxStay)}
	for _, u := range p.units {
		unit := &s.shop.Units[u]
		t.end = max(t.end, start+Minute(p.maxStay)+p.spec.Clearing(unit.Kind, unit.Changeover))
	}
	t.end = min(t.end, maxHorizon)
	own := func(o obstacle) bool {
		return o.unit == nobody || slices.Contains(has, o.Unit) || slices.ContainsFunc(p.spec.Roles, func(r Role) bool { return roles[r.Name] == o.Unit })
	}
	if fits, err := t.fits(); err != nil || !fits {
		return Limit{}, err
	}
	t.list()
	slices.SortStableFunc(t.obstacles, func(a, b obstacle) int {
		if x, y := own(a), own(b); x != y {
			if y {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.At, a.At)
	})
	others := slices.IndexFunc(t.obstacles, own)
	if others < 0 {
		others = len(t.obstacles)
	}
	if fits, err := t.keeps(t.obstacles[:others]); err != nil {
		return Limit{}, err
	} else if !fits {
		for i := range others {
			if _, err := t.keeps(t.obstacles[i : i+1]); err != nil {
				return Limit{}, err
			}
		}
	}
	for i := others; i < len(t.obstacles); i++ {
		if _, err := t.keeps(t.obstacles[i : i+1]); err != nil {
			return Limit{}, err
		}
	}
	return t.first(own), nil
}

// trial asks whether a visit fits at start when only some obstacles are there.
type trial struct {
	plan       *Plan
	shop       Shop
	start, end Minute
	obstacles  []obstacle
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

// keeps reports whether the visit still fits when more stay where they are, and
// leaves them there if so.
func (t *trial) keeps(more []obstacle) (bool, error) {
	for i := range more {
		more[i].kept = true
	}
	fits, err := t.fits()
	if err != nil || fits {
		return fits, err
	}
	for i := range more {
		more[i].kept = false
	}
	return false, nil
}

// fits asks the question for the obstacles that are kept.
func (t *trial) fits() (bool, error) {
	whole := []Span{{0, t.end}}
	shop := Shop{Minutes: t.end, Units: slices.Clone(t.shop.Units)}
	for i := range shop.Units {
		u := &shop.Units[i]
		u.Open, u.Breaks, u.Bookings = nil, nil, nil
	}
	for _, i := range t.plan.units {
		shop.Units[i].Open = whole
	}
	var closed []Span
	for _, o := range t.obstacles {
		switch {
		case !o.kept:
		case o.unit == nobody:
			closed = append(closed, Span{o.busy.From, o.busy.To})
		case o.Kind == NextClient:
			shop.Units[o.unit].Bookings = append(shop.Units[o.unit].Bookings, o.busy)
		default:
			shop.Units[o.unit].Breaks = append(shop.Units[o.unit].Breaks, Span{o.busy.From, o.busy.To})
		}
	}
	shop.Premises = outside(closed, Span{0, t.end})
	snap, err := NewSnapshot(shop)
	if err != nil {
		return false, err
	}
	_, fits, err := t.plan.Soonest(snap, Query{From: t.start, To: t.start, Grid: 1})
	return fits, err
}

// first returns the earliest of the obstacles that could not be kept; at one
// minute, closing and what the visit keeps come first.
func (t *trial) first(own func(obstacle) bool) Limit {
	var best *obstacle
	for i := range t.obstacles {
		o := &t.obstacles[i]
		if o.kept {
			continue
		}
		if best == nil || o.At < best.At || o.At == best.At && own(*o) && !own(*best) {
			best = o
		}
	}
	if best == nil {
		return Limit{}
	}
	return best.Limit
}

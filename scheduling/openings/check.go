package openings

import (
	"fmt"
	"slices"
)

// Violation is one rule that a schedule breaks. Phase and Unit are empty when
// the rule concerns no single one.
type Violation struct {
	Phase   string // name of the phase, or of the one before a wait
	Unit    string // id of the unit
	Problem string // in words
}

// String puts the parts into one line.
func (v Violation) String() string {
	s := v.Problem
	if v.Unit != "" {
		s = v.Unit + ": " + s
	}
	if v.Phase != "" {
		s = v.Phase + ": " + s
	}
	return s
}

// Check returns every rule of spec and shop that sch breaks, nil when it keeps
// them all. It takes any input and shares no code with the search, so that each
// can be held against the other. Call it before a schedule is made binding.
func Check(sch Schedule, spec VisitSpec, shop Shop) []Violation {
	c := checker{sch: sch, spec: spec, shop: shop, units: make(map[string]*Unit, len(shop.Units))}
	for i := range shop.Units {
		c.units[shop.Units[i].ID] = &shop.Units[i]
	}
	c.roles()
	if len(sch.Phases) != len(spec.Phases) || len(spec.Gaps) != max(len(spec.Phases)-1, 0) {
		c.add("", "", "has %d phases and the visit %d with %d gaps", len(sch.Phases), len(spec.Phases), len(spec.Gaps))
		return c.broken
	}
	for i := range spec.Phases {
		c.phase(i)
	}
	for i := range spec.Gaps {
		c.gap(i)
	}
	if n := len(sch.Phases); n > 0 {
		from, to := sch.Phases[0].Start, sch.Phases[n-1].End
		if from < 0 || to > shop.Minutes {
			c.add("", "", "lies outside the horizon of %d minutes", shop.Minutes)
		}
		if at := firstOutside(shop.Premises, from, to); at < to {
			c.add("", "", "the premises are closed at minute %d", at)
		}
	}
	return c.broken
}

type checker struct {
	sch    Schedule
	spec   VisitSpec
	shop   Shop
	units  map[string]*Unit
	broken []Violation
}

func (c *checker) add(phase, unit, format string, args ...any) {
	c.broken = append(c.broken, Violation{Phase: phase, Unit: unit, Problem: fmt.Sprintf(format, args...)})
}

// roles checks that each role has a fitting unit of its own.
func (c *checker) roles() {
	holder := map[string]string{}
	for _, r := range c.spec.Roles {
		id, ok := c.sch.Roles[r.Name]
		if !ok {
			c.add("", "", "nobody is bound to the role %s", r.Name)
			continue
		}
		if other, twice := holder[id]; twice {
			c.add("", id, "has both roles %s and %s", other, r.Name)
		}
		holder[id] = r.Name
		c.fits("", id, r.Need)
	}
	if len(c.sch.Roles) > len(c.spec.Roles) {
		c.add("", "", "has %d roles and the visit %d", len(c.sch.Roles), len(c.spec.Roles))
	}
}

// fits checks that the unit exists and can do the job.
func (c *checker) fits(phase, id string, n Need) {
	u, ok := c.units[id]
	if !ok {
		c.add(phase, id, "is no unit of the shop")
		return
	}
	if !slices.Contains(n.Kinds, u.Kind) {
		c.add(phase, id, "is of kind %s, needed is one of %v", u.Kind, n.Kinds)
	}
	for _, skill := range n.Skills {
		if !slices.Contains(u.Skills, skill) {
			c.add(phase, id, "has not the skill %s", skill)
		}
	}
	if len(n.Only) > 0 && !slices.Contains(n.Only, id) {
		c.add(phase, id, "is not one of %v", n.Only)
	}
	if slices.Contains(n.Except, id) {
		c.add(phase, id, "is one of %v, who cannot do this", n.Except)
	}
}

// phase checks the length and the units of phase i.
func (c *checker) phase(i int) {
	want, got := c.spec.Phases[i], c.sch.Phases[i]
	if got.Phase != want.Name {
		c.add(want.Name, "", "is called %s", got.Phase)
	}
	if got.End-got.Start != want.Minutes || want.Minutes < 1 {
		c.add(want.Name, "", "lasts from %d to %d instead of %d minutes", got.Start, got.End, want.Minutes)
	}
	var busy []string
	for _, r := range want.Roles {
		if id, ok := c.sch.Roles[r]; ok {
			busy = append(busy, id)
		} else {
			c.add(want.Name, "", "nobody is bound to the role %s", r)
		}
	}
	if len(got.Pool) != len(want.Pool) {
		c.add(want.Name, "", "has %d units in the pool instead of %d", len(got.Pool), len(want.Pool))
	}
	for p, id := range got.Pool {
		if p < len(want.Pool) {
			c.fits(want.Name, id, want.Pool[p])
		}
		busy = append(busy, id)
	}
	for b, id := range busy {
		if slices.Contains(busy[:b], id) {
			c.add(want.Name, id, "is needed twice at the same time")
			continue
		}
		c.free(want.Name, id, got.Start, got.End)
	}
}

// gap checks the wait after phase i.
func (c *checker) gap(i int) {
	g, before, after := c.spec.Gaps[i], c.sch.Phases[i], c.sch.Phases[i+1]
	if wait := after.Start - before.End; wait < g.Min || wait > g.Max {
		c.add(before.Phase, "", "is followed by a wait of %d minutes instead of %d to %d", wait, g.Min, g.Max)
	}
	for _, r := range g.Hold {
		if id, ok := c.sch.Roles[r]; ok {
			c.free(before.Phase, id, before.End, after.Start)
		} else {
			c.add(before.Phase, "", "nobody is bound to the role %s", r)
		}
	}
}

// free checks that the unit may be used from from to to.
func (c *checker) free(phase, id string, from, to Minute) {
	u, ok := c.units[id]
	if !ok || from >= to {
		return
	}
	if at := firstOutside(u.Open, from, to); at < to {
		c.add(phase, id, "is not there at minute %d", at)
	}
	for _, b := range u.Breaks {
		if from < b.To && b.From < to {
			c.add(phase, id, "has a break from %d to %d", b.From, b.To)
		}
	}
	clear, ok := c.spec.Clear[u.Kind]
	if !ok {
		clear = max(u.Changeover, c.spec.ClearLeast[u.Kind])
	}
	for _, b := range u.Bookings {
		if from < b.To+b.Clear && b.From < to+clear {
			c.add(phase, id, "is booked from %d to %d, with clearing of %d before and %d after",
				b.From, b.To, clear, b.Clear)
		}
	}
}

// firstOutside returns the first minute from from on that is in no window, at
// most to.
func firstOutside(windows []Span, from, to Minute) Minute {
	for from < to {
		i := slices.IndexFunc(windows, func(w Span) bool { return w.From <= from && from < w.To })
		if i < 0 {
			return from
		}
		from = windows[i].To
	}
	return to
}

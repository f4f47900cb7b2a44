package api

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"chairblock/scheduling/openings"
)

// jointTries is how many placements jointly tries before it gives up on visits
// that stand in each other's way (judgement: one takes some ten microseconds).
const jointTries = 2000

// jointly looks for schedules of several visits that do not get in each other's
// way, by settling one clash after the other: in any answer one of the two
// visits leaves the unit alone at the minute at which they clash, so it is tried
// without that minute for the one and for the other. What is found has the least
// total stay, and when nothing is found within tries there is nothing.
type jointly struct {
	snap  *openings.Snapshot
	apart bool // no two of them have a stylist in charge in common
	tries int  // how many placements are left; none are made when it is 0
}

// together is a visit that is to be placed beside others.
type together struct {
	plan *openings.VisitPlan
	// compiled is plan made ready for the snapshot without off; nil has it done.
	compiled *openings.Plan
	start    openings.Minute
	endBy    *openings.Minute // nil for any end
	off      []string         // stylists who are not to be in charge
	// assign chooses a schedule that begins at start; nil takes the one with the
	// least stay.
	assign func(set *openings.StartSet, shop openings.Shop) (openings.Schedule, bool, error)
}

// attempt is one way to place all visits, with the clashes that were settled.
type attempt struct {
	visits []try
	stay   openings.Minute // sum of the ends
	depth  int
}

// try is one visit of an attempt in what is free for it.
type try struct {
	together
	snap  *openings.Snapshot
	ready *openings.Plan // nil when it has to be made ready anew
	sch   openings.Schedule
}

// place returns a schedule for each of the visits. When there is none, at names
// the visit that does not fit even without the others, or is -1.
func (j *jointly) place(visits []together) (list []openings.Schedule, at int, err error) {
	first := attempt{visits: make([]try, len(visits))}
	for i, v := range visits {
		first.visits[i] = try{together: v, snap: j.snap, ready: v.compiled}
		ok, err := j.settle(&first, i)
		if err != nil || !ok {
			return nil, i, err
		}
	}
	open := []attempt{first}
	for len(open) > 0 {
		var a attempt
		a, open = best(open)
		c, clash := j.clash(a.visits)
		if !clash {
			for _, t := range a.visits {
				list = append(list, t.sch)
			}
			return list, -1, nil
		}
		for _, i := range []int{c.second, c.first} {
			next := attempt{visits: slices.Clone(a.visits), depth: a.depth + 1}
			if err := next.visits[i].without(c); err != nil {
				return nil, -1, err
			}
			ok, err := j.settle(&next, i)
			if err != nil {
				return nil, -1, err
			}
			if ok {
				open = append(open, next)
			}
		}
	}
	return nil, -1, nil
}

// best takes the attempt with the least total stay out of the list, of equals
// the one in which most is settled.
func best(open []attempt) (attempt, []attempt) {
	at := 0
	for i := range open {
		if cmp.Or(cmp.Compare(open[i].stay, open[at].stay), cmp.Compare(open[at].depth, open[i].depth)) < 0 {
			at = i
		}
	}
	a := open[at]
	return a, slices.Delete(open, at, at+1)
}

// settle places visit i of a anew, and reports whether that is possible and
// there were tries left.
func (j *jointly) settle(a *attempt, i int) (bool, error) {
	if j.tries--; j.tries < 0 {
		return false, nil
	}
	t := &a.visits[i]
	if t.ready == nil {
		spec, ok := t.spec()
		if !ok {
			return false, nil
		}
		var err error
		if t.ready, err = openings.Compile(spec, t.snap); err != nil {
			return false, fmt.Errorf("api: place: %w", err)
		}
	}
	set, err := t.ready.Search(t.snap, openings.Query{From: t.start, To: t.start, Grid: 1, EndBy: t.endBy})
	if err != nil {
		return false, fmt.Errorf("api: place: %w", err)
	}
	var ok bool
	if t.assign != nil {
		t.sch, ok, err = t.assign(set, t.snap.Shop())
	} else {
		t.sch, ok = set.Assign(t.start, "")
	}
	if !ok || err != nil {
		return false, err
	}
	a.stay = 0
	for _, t := range a.visits {
		if n := len(t.sch.Phases); n > 0 {
			a.stay += t.sch.Phases[n-1].End
		}
	}
	return true, nil
}

// spec is what is asked for without the stylists that are off, and false when
// nobody is left.
func (t *try) spec() (openings.VisitSpec, bool) {
	spec := t.plan.Spec
	if len(t.off) == 0 {
		return spec, true
	}
	spec.Roles = slices.Clone(spec.Roles)
	for r := range spec.Roles {
		role := &spec.Roles[r]
		if !strings.HasPrefix(role.Name, openings.RoleLead) {
			continue
		}
		var left []string
		for _, u := range t.snap.Shop().Units {
			if (len(role.Only) == 0 || slices.Contains(role.Only, u.ID)) && !slices.Contains(t.off, u.ID) {
				left = append(left, u.ID)
			}
		}
		if role.Only = left; len(left) == 0 {
			return spec, false
		}
	}
	return spec, true
}

// clash is two visits that cannot have the unit both: at the minute, or, when
// lead is set, as stylist in charge at any time.
type clash struct {
	first, second int
	unit          string
	minute        openings.Minute
	lead          bool
}

// without takes the unit of c from the visit.
func (t *try) without(c clash) error {
	if c.lead {
		t.off, t.ready = append(slices.Clip(t.off), c.unit), nil
		return nil
	}
	for _, u := range t.snap.Shop().Units {
		if u.ID != c.unit {
			continue
		}
		u.Bookings = append(slices.Clip(u.Bookings), openings.Booking{From: c.minute, To: c.minute + 1})
		var err error
		if t.snap, err = t.snap.With(u); err != nil {
			return fmt.Errorf("api: place: %w", err)
		}
	}
	return nil
}

// clash finds what two of the visits both need, the earliest first: near the
// start there is the least room to give way.
func (j *jointly) clash(visits []try) (found clash, any bool) {
	uses := make([][]use, len(visits))
	for i, t := range visits {
		uses[i] = usesOf(t.snap.Shop(), t.plan, t.sch)
	}
	for b := range visits {
		for a := range b {
			if lead, ok := commonLead(visits[a], visits[b]); ok && j.apart {
				return clash{first: a, second: b, unit: lead, lead: true}, true
			}
			for _, x := range uses[a] {
				for _, y := range uses[b] {
					if x.unit != y.unit || x.From >= y.To || y.From >= x.To {
						continue
					}
					// The last minute in common makes the one that gives way do so at once.
					c := clash{first: a, second: b, unit: x.unit, minute: min(x.To, y.To) - 1}
					if !any || c.minute < found.minute {
						found, any = c, true
					}
				}
			}
		}
	}
	return found, any
}

func commonLead(a, b try) (string, bool) {
	for _, step := range a.plan.Steps {
		lead := a.sch.Roles[step.Lead]
		if slices.ContainsFunc(b.plan.Steps, func(o openings.PlanStep) bool { return b.sch.Roles[o.Lead] == lead }) {
			return lead, true
		}
	}
	return "", false
}

// use is time of one unit that a visit takes up, the clearing after it included.
type use struct {
	unit string
	openings.Span
	clear openings.Minute // how much of it is clearing
}

func usesOf(shop openings.Shop, plan *openings.VisitPlan, sch openings.Schedule) []use {
	var out []use
	for _, r := range plan.Reservations(sch) {
		i := slices.IndexFunc(shop.Units, func(u openings.Unit) bool { return u.ID == r.Unit })
		if i < 0 {
			continue
		}
		c := plan.Spec.Clearing(shop.Units[i].Kind, shop.Units[i].Changeover)
		out = append(out, use{r.Unit, openings.Span{From: r.From, To: r.To + c}, c})
	}
	return out
}

// settled moves the waits of schedules of one shop to where they matter least,
// one after the other around the rest.
func settled(shop openings.Shop, visits []together, list []openings.Schedule) []openings.Schedule {
	out := slices.Clone(list)
	for i, v := range visits {
		others := shop
		for k, o := range visits {
			if k != i {
				others = occupied(others, o.plan, out[k])
			}
		}
		out[i] = openings.Settle(out[i], v.plan.Spec, others)
	}
	return out
}

// occupied is the shop with a schedule in it, as a visit that has no id yet.
func occupied(shop openings.Shop, plan *openings.VisitPlan, sch openings.Schedule) openings.Shop {
	if len(sch.Phases) == 0 {
		return shop
	}
	shop.Units = slices.Clone(shop.Units)
	visit := fmt.Sprintf("beside, in %s at %d", sch.Roles[openings.RoleChair], sch.Phases[0].Start)
	for _, x := range usesOf(shop, plan, sch) {
		for i := range shop.Units {
			if u := &shop.Units[i]; u.ID == x.unit {
				u.Bookings = append(slices.Clip(u.Bookings), openings.Booking{From: x.From, To: x.To - x.clear, Clear: x.clear, Visit: visit})
			}
		}
	}
	return shop
}

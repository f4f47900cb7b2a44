package delays_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

// booked are the minutes of a straightening of shoulder-length hair, alone.
var booked = map[scheduling.StepKind][]int{scheduling.Talk: {18}, scheduling.Wash: {11}, scheduling.Prep: {10}, scheduling.Apply: {30},
	scheduling.Process: {15}, scheduling.Rinse1: {10}, scheduling.Dry1: {15}, scheduling.Iron: {92}, scheduling.Neutral: {18},
	scheduling.Dwell: {5}, scheduling.Rinse2: {8}, scheduling.Dry2: {17}, scheduling.Finish: {15}, scheduling.Close: {6},
	scheduling.Apply1: {26}, scheduling.Process1: {15}, scheduling.Check1: {2}, scheduling.Apply2: {5}, scheduling.Process2: {6}, scheduling.Check2: {2}}

// planOf composes the visit of one standard service.
func planOf(t testing.TB, name, lead string) *openings.VisitPlan {
	t.Helper()
	for _, s := range scheduling.StandardServices() {
		if s.Name != name {
			continue
		}
		steps, err := s.Time(booked, 1)
		require.NoError(t, err)
		p, err := openings.ComposeVisit([]openings.VisitService{{Service: s, Steps: steps, LeadID: lead, Hands: 1}})
		require.NoError(t, err)
		return p
	}
	t.Fatalf("no service %q", name)
	return nil
}

// salon has open hours from nine to six and three stylists, of whom two
// straighten hair.
func salon(chairs, basins, assistants int) openings.Shop {
	open := []openings.Span{{From: 540, To: 1080}}
	shop := openings.Shop{Minutes: 1440, Premises: open}
	add := func(kind openings.UnitKind, n int, changeover openings.Minute, skills ...string) {
		for k := range n {
			u := openings.Unit{ID: fmt.Sprintf("%s-%d", kind, k+1), Kind: kind, Open: open, Changeover: changeover, Skills: skills}
			if kind == openings.Stylist || kind == openings.Assistant {
				from := openings.Minute(720 + 30*k)
				u.Breaks = []openings.Span{{From: from, To: from + 30}}
			}
			shop.Units = append(shop.Units, u)
		}
	}
	add(openings.Stylist, 3, 0, scheduling.SkillStraightening, scheduling.SkillColour, scheduling.SkillCut)
	shop.Units[2].Skills = []string{scheduling.SkillCut}
	add(openings.Assistant, assistants, 0)
	add(openings.Chair, chairs, 10)
	add(openings.Basin, basins, 2)
	return shop
}

// book places plans one after the other at the earliest start from from on, and
// leaves out what does not fit.
func book(t testing.TB, shop openings.Shop, plans []*openings.VisitPlan, from []openings.Minute) delays.Day {
	t.Helper()
	d := delays.Day{Shop: shop, Now: shop.Premises[0].From}
	taken := shop
	for k, plan := range plans {
		snap, err := openings.NewSnapshot(taken)
		require.NoError(t, err)
		p, err := openings.Compile(plan.Spec, snap)
		require.NoError(t, err)
		x, err := p.Search(snap, openings.Query{From: from[k], To: shop.Minutes, Grid: 5})
		require.NoError(t, err)
		at, ok := x.First()
		if !ok {
			continue
		}
		sch, ok := x.Assign(at, "")
		require.True(t, ok)
		d.Visits = append(d.Visits, delays.VisitOf(fmt.Sprintf("v%d", k+1), string(rune('A'+k)), plan, sch))
		taken = withUses(taken, plan, sch)
	}
	return d
}

// withUses is shop with the units of a visit taken.
func withUses(shop openings.Shop, plan *openings.VisitPlan, sch openings.Schedule) openings.Shop {
	units := append([]openings.Unit(nil), shop.Units...)
	for _, r := range plan.Reservations(sch) {
		for i := range units {
			if u := &units[i]; u.ID == r.Unit {
				u.Bookings = append(append([]openings.Booking(nil), u.Bookings...),
					openings.Booking{From: r.From, To: r.To, Clear: plan.Spec.Clearing(u.Kind, u.Changeover)})
			}
		}
	}
	shop.Units = units
	return shop
}

// randomDay books a day of mixed visits and lets time pass until now. Each visit
// begins late by up to late minutes, and its steps run over now and then.
func randomDay(t testing.TB, seed uint64, late int) delays.Day {
	r := rand.New(rand.NewPCG(seed, 1))
	names := []string{"Straightening", "Root colour", "Cut and dry", "Dry cut", "Care treatment", "Straightening", "Wash and dry"}
	var plans []*openings.VisitPlan
	var from []openings.Minute
	for range 3 + r.IntN(8) {
		name, lead := names[r.IntN(len(names))], ""
		if r.IntN(2) == 0 {
			lead = fmt.Sprintf("stylist-%d", 1+r.IntN(2))
		}
		plans = append(plans, planOf(t, name, lead))
		from = append(from, openings.Minute(540+5*r.IntN(60)))
	}
	d := book(t, salon(2+r.IntN(3), 1+r.IntN(2), r.IntN(3)), plans, from)
	d.Now = openings.Minute(540 + r.IntN(420))
	for v := range d.Visits {
		pass(&d, &d.Visits[v], r, late)
	}
	return d
}

// pass notes what has happened of v by now.
func pass(d *delays.Day, v *delays.Visit, r *rand.Rand, late int) {
	at := v.Booked.Phases[0].Start
	if r.IntN(3) == 0 {
		at += openings.Minute(r.IntN(late + 1))
	}
	if at <= d.Now {
		arrived := at
		v.Arrived = &arrived
	}
	v.Happened = make([]delays.Happened, len(v.Booked.Phases))
	for i, ph := range v.Booked.Phases {
		start := at
		if i > 0 {
			start = max(at, min(ph.Start, at+v.Spec.Gaps[i-1].Max))
		}
		if start > d.Now {
			return
		}
		end := start + ph.End - ph.Start
		if r.IntN(4) == 0 && !v.Care[i].Keep {
			end += openings.Minute(r.IntN(late/2 + 1))
		}
		v.Happened[i].Start = &start
		if end > d.Now {
			return
		}
		v.Happened[i].End = &end
		at = end
	}
	v.Ended = true
}

package packing_test

import (
	"fmt"
	"math/rand/v2"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

// The services of generated days: lengths as in the published problems, the
// long one with an assistant and two stretches in which the hair works alone.
var services = []struct {
	name  string
	value int
	visit openings.VisitSpec
}{
	{"cut", 45, chain(step(45, "lead", "chair"))},
	{"wash and cut", 55, chain(step(10, "chair").at(openings.Basin), upTo(10), step(40, "lead", "chair"))},
	{"colour", 85, chain(step(30, "lead", "chair"), upTo(0), step(35, "chair"), upTo(0),
		step(10, "chair").at(openings.Basin), upTo(10), step(25, "lead", "chair"))},
	{"retouch", 90, chain(step(25, "lead", "chair"), upTo(0), step(25, "chair"), upTo(0),
		step(10, "chair").at(openings.Basin), upTo(5), step(40, "lead", "chair"))},
	{"straightening", 210, chain(step(15, "lead", "chair"), upTo(5), step(20, "lead", "chair"), upTo(0), step(25, "lead", "chair"), upTo(0),
		step(10, "chair").at(openings.Basin).at(openings.Assistant, openings.Stylist), upTo(10), step(20, "chair").at(openings.Assistant, openings.Stylist), upTo(10),
		step(60, "lead", "chair"), upTo(0), step(10, "lead", "chair"), upTo(0),
		step(10, "chair").at(openings.Basin).at(openings.Assistant, openings.Stylist), upTo(10), step(20, "lead", "chair"))},
}

// part is a phase with the wait after it.
type part struct {
	openings.Phase
	gap openings.Gap
}

func step(minutes openings.Minute, roles ...string) part {
	return part{Phase: openings.Phase{Minutes: minutes, Roles: roles}}
}

func (p part) at(kinds ...openings.UnitKind) part {
	p.Pool = append(p.Pool, openings.Need{Kinds: kinds})
	return p
}

func upTo(m openings.Minute) part {
	return part{gap: openings.Gap{Max: m, Hold: []string{"chair"}}}
}

// chain is a visit of steps and waits in turn.
func chain(parts ...part) openings.VisitSpec {
	v := openings.VisitSpec{Roles: []openings.Role{
		{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}},
		{Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}}}}
	for i, p := range parts {
		if i%2 == 1 {
			v.Gaps = append(v.Gaps, p.gap)
			continue
		}
		p.Name = fmt.Sprintf("step %d", i/2+1)
		v.Phases = append(v.Phases, p.Phase)
	}
	return v
}

// wishDay is a day with some bookings and n waiting requests, more than fit.
func wishDay(seed uint64, n int) packing.Problem {
	r := rand.New(rand.NewPCG(seed, 7))
	const from, to = 540, 1080
	day := []openings.Span{{From: from, To: to}}
	p := packing.Problem{Objective: packing.MaxValue, Shop: openings.Shop{Minutes: 1440, Premises: day}}
	add := func(kind openings.UnitKind, n int, changeover openings.Minute) {
		for i := range n {
			u := openings.Unit{ID: fmt.Sprintf("%s %d", kind, i+1), Kind: kind, Open: day, Changeover: changeover}
			if kind == openings.Stylist {
				noon := openings.Minute(720 + 15*r.IntN(6))
				u.Breaks = []openings.Span{{From: noon, To: noon + 30}}
			}
			if kind != openings.Basin && r.IntN(2) == 0 {
				at := openings.Minute(from + 15*r.IntN(30))
				u.Bookings = []openings.Booking{{From: at, To: at + 45, Clear: changeover}}
			}
			p.Shop.Units = append(p.Shop.Units, u)
		}
	}
	add(openings.Stylist, 2+n/15, 5)
	add(openings.Assistant, 1, 0)
	add(openings.Chair, 3+n/15, 3)
	add(openings.Basin, 1+n/20, 5)
	for i := range n {
		s := services[r.IntN(len(services))]
		q := openings.Query{From: from, To: to, Grid: 5}
		switch r.IntN(4) {
		case 0:
			end := openings.Minute(from + 180 + 30*r.IntN(10))
			q.EndBy = &end
		case 1:
			q.From = openings.Minute(from + 30*r.IntN(10))
		}
		req := packing.Request{ID: fmt.Sprintf("%d: %s", i+1, s.name), Visit: s.visit, Value: s.value + 5*r.IntN(5), Query: q}
		if r.IntN(5) == 0 {
			req.LeadOnly = []string{"stylist 1"}
		}
		p.Requests = append(p.Requests, req)
	}
	return p
}

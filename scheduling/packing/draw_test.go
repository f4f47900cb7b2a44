package packing_test

import (
	"fmt"

	"pgregory.net/rapid"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

// drawProblem draws a problem small enough to try everything: a day of some
// twenty minutes, up to four short visits, with everything that the format
// knows.
func drawProblem(t *rapid.T) packing.Problem {
	d := drawer{t}
	p := packing.Problem{Objective: packing.MaxValue, Shop: d.shop()}
	if d.one(4, "makespan") {
		p.Objective = packing.MinMakespan
	}
	for i := range d.n(1, 4, "requests") {
		r := d.request(p.Shop, i)
		if i > 0 && d.one(3, "like the one before") {
			id, value := r.ID, r.Value
			r = p.Requests[i-1]
			if r.ID, r.Value = id, value; d.one(3, "but for the lead") {
				if r.LeadOnly = nil; p.Requests[i-1].LeadOnly == nil {
					r.LeadOnly = []string{"U0"}
				}
			}
		}
		p.Requests = append(p.Requests, r)
	}
	d.stays(&p)
	d.links(&p)
	return p
}

type drawer struct{ t *rapid.T }

func (d drawer) n(lo, hi int, what string) int { return rapid.IntRange(lo, hi).Draw(d.t, what) }

// one is true once in n times.
func (d drawer) one(n int, what string) bool { return d.n(1, n, what) == n }

func (d drawer) m(lo, hi int, what string) openings.Minute { return openings.Minute(d.n(lo, hi, what)) }

func (d drawer) span(end openings.Minute, what string) openings.Span {
	from := d.m(0, int(end)-1, what+" from")
	return openings.Span{From: from, To: from + d.m(1, 6, what+" length")}
}

func (d drawer) shop() openings.Shop {
	s := openings.Shop{Minutes: d.m(8, 20, "minutes")}
	s.Premises = []openings.Span{{From: 0, To: s.Minutes}}
	if d.one(3, "two windows") {
		at := d.m(3, int(s.Minutes)-3, "closed at")
		s.Premises = []openings.Span{{From: d.m(0, 1, "opens"), To: at}, {From: at + d.m(0, 2, "closed for"), To: s.Minutes}}
	}
	kinds := []openings.UnitKind{openings.Stylist, openings.Chair, openings.Basin, openings.Stylist, openings.Chair}
	for i := range d.n(2, 5, "units") {
		u := openings.Unit{ID: fmt.Sprintf("U%d", i), Kind: kinds[i], Changeover: d.m(0, 2, "changeover"),
			Open: []openings.Span{{From: 0, To: s.Minutes}}}
		if d.one(3, "skill") {
			u.Skills = []string{"colour"}
		}
		if d.one(4, "break") {
			u.Breaks = []openings.Span{d.span(s.Minutes, "break")}
		}
		if d.one(4, "booked") {
			b := d.span(s.Minutes, "booking")
			u.Bookings = []openings.Booking{{From: b.From, To: b.To, Clear: d.m(0, 2, "clear")}}
		}
		s.Units = append(s.Units, u)
	}
	return s
}

func (d drawer) need() openings.Need {
	n := openings.Need{Kinds: []openings.UnitKind{rapid.SampledFrom([]openings.UnitKind{
		openings.Stylist, openings.Chair, openings.Basin}).Draw(d.t, "kind")}}
	if d.one(4, "two kinds") {
		n.Kinds = append(n.Kinds, openings.Stylist)
	}
	if d.one(8, "not everybody") {
		n.Except = []string{"U0"}
	}
	if d.one(8, "needs a skill") {
		n.Skills = []string{"colour"}
	}
	return n
}

func (d drawer) request(shop openings.Shop, i int) packing.Request {
	v := openings.VisitSpec{Roles: []openings.Role{{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}}}}
	if d.one(2, "chair") {
		v.Roles = append(v.Roles, openings.Role{Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}})
	}
	names := func(what string) []string {
		var out []string
		for _, r := range v.Roles {
			if d.n(0, 2, what+" "+r.Name) > 0 {
				out = append(out, r.Name)
			}
		}
		return out
	}
	phases := d.n(1, 3, "phases")
	for k := range phases {
		ph := openings.Phase{Name: fmt.Sprintf("step %d", k), Minutes: d.m(1, 5, "length"), Roles: names("uses")}
		if d.one(3, "pool") {
			ph.Pool = []openings.Need{d.need()}
			if d.one(5, "second in pool") {
				ph.Pool = append(ph.Pool, d.need())
			}
		}
		v.Phases = append(v.Phases, ph)
		if k < phases-1 {
			g := openings.Gap{Min: d.m(0, 1, "least wait")}
			if d.one(2, "holds something") {
				g.Hold = names("holds")
			}
			g.Max = g.Min + d.m(0, 2, "more wait")
			v.Gaps = append(v.Gaps, g)
		}
	}
	switch d.n(1, 5, "clearing") {
	case 5:
		v.Clear = map[openings.UnitKind]openings.Minute{openings.Chair: d.m(0, 3, "clears")}
	case 4:
		v.ClearLeast = map[openings.UnitKind]openings.Minute{openings.Stylist: d.m(0, 3, "clears at least")}
	}
	r := packing.Request{ID: fmt.Sprintf("r%d", i), Visit: v, Value: d.n(0, 9, "value"), Must: d.one(6, "must"),
		Query: openings.Query{To: shop.Minutes, Grid: 1}}
	if d.one(3, "limits") {
		r.Query.From = d.m(0, 4, "not before")
		r.Query.To = r.Query.From + d.m(3, 15, "window")
	}
	if d.one(3, "grid") {
		r.Query.Grid = d.m(2, 3, "grid")
	}
	if d.one(4, "end") {
		end := d.m(5, int(shop.Minutes), "end by")
		r.Query.EndBy = &end
	}
	if d.one(5, "lead only") {
		r.LeadOnly = []string{"U0"}
	}
	return r
}

// stays gives some requests a place of today, one that keeps the visit's own
// rules but not always those of the day.
func (d drawer) stays(p *packing.Problem) {
	if !d.one(2, "places of today") {
		return
	}
	for i := range p.Requests {
		r := &p.Requests[i]
		if !d.one(2, "stay") {
			continue
		}
		always := openings.Shop{Minutes: p.Shop.Minutes, Premises: []openings.Span{{From: 0, To: p.Shop.Minutes}}}
		for _, u := range p.Shop.Units {
			u.Open, u.Breaks, u.Bookings = always.Premises, nil, nil
			always.Units = append(always.Units, u)
		}
		snap, err := openings.NewSnapshot(always)
		if err != nil {
			d.t.Fatal(err)
		}
		plan, err := openings.Compile(r.Visit, snap)
		if err != nil {
			d.t.Fatal(err)
		}
		starts, err := plan.Search(snap, openings.Query{To: p.Shop.Minutes, Grid: 1})
		if err != nil {
			d.t.Fatal(err)
		}
		if starts.Empty() {
			continue
		}
		first, _ := starts.First()
		last, _ := starts.Last()
		if s, ok := starts.Assign(d.m(int(first), int(last), "stays at"), ""); ok {
			r.Stay, r.Move, r.PerMinute = &s, d.n(0, 4, "move"), d.n(0, 2, "per minute")
		}
	}
}

func (d drawer) links(p *packing.Problem) {
	for range d.n(0, 1, "links") {
		if len(p.Requests) < 2 || !d.one(2, "link") {
			return
		}
		a := d.n(0, len(p.Requests)-1, "a")
		b := (a + d.n(1, len(p.Requests)-1, "b")) % len(p.Requests)
		l := packing.Link{A: p.Requests[a].ID, B: p.Requests[b].ID, From: "start", Min: d.m(-2, 2, "min")}
		if d.one(2, "from the end") {
			l.From, l.Min = "end", d.m(0, 2, "min")
		}
		l.Max = l.Min + d.m(0, 4, "more")
		l.OtherLead = d.one(3, "other lead")
		p.Links = append(p.Links, l)
	}
}

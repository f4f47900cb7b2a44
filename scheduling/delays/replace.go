package delays

import (
	"context"
	"slices"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

// worth is what a visit of the day is worth in minutes late: more than any sum
// of delays, so that no visit is dropped to spare others a wait.
const worth = 100_000

// maxMoving is how many visits are arranged anew at once. Judgement: nobody
// would agree to more.
const maxMoving = 40

// pack returns the day with everything that has not begun in a new place, or
// only what would be late or is part of a broken rule; nil when not everything
// has one.
func (f *finder) pack(ctx context.Context, shop *openings.Shop, all bool) (*draft, error) {
	dr := f.base.dr
	p := packing.Problem{Objective: packing.MaxValue}
	var moving []*visitDraft
	for _, q := range dr.visits {
		if q.begun < q.n && (all || q.begun > 0 || f.hit(q)) {
			p.Requests = append(p.Requests, f.request(q))
			moving = append(moving, q)
		}
	}
	if len(moving) == 0 || len(moving) > maxMoving {
		return nil, nil
	}
	p.Shop = f.taken(shop, moving)
	r, err := packing.Pack(ctx, p, packing.Options{Seed: f.o.Seed, Rounds: f.o.Rounds})
	if err != nil {
		return nil, err
	}
	if !r.Complete || len(r.Unplaced) > 0 {
		return nil, nil
	}
	for k, q := range moving {
		dr = dr.with(q.index, func(q *visitDraft) { q.replace(r.Placed[k].Schedule) })
	}
	return f.calm(dr)
}

// hit reports whether a visit that has not begun would be late, or a rule of
// it broken.
func (f *finder) hit(q *visitDraft) bool {
	for i := range q.n {
		if f.base.starts[q.index][i] != q.v.Booked.Phases[i].Start {
			return true
		}
	}
	return slices.ContainsFunc(f.left, func(b Broken) bool { return b.Visit == q.v.ID })
}

// request asks for a place for what of q has not begun. A visit under way has
// to go on within the wait that is allowed; one that has not begun would rather
// stay where it was promised.
func (f *finder) request(q *visitDraft) packing.Request {
	spec, _ := q.rest(f.base)
	r := packing.Request{ID: q.v.ID, Visit: spec, Value: worth, Query: openings.Query{From: q.low, To: f.d.Shop.Minutes, Grid: 1}}
	if q.begun > 0 {
		r.Must = true
		r.Query.From = f.d.Now
		if last := q.begun - 1; q.known[last] {
			g := q.v.Spec.Gaps[last]
			r.Query.From = min(f.d.Shop.Minutes, max(f.d.Now, q.to[last]+g.Min))
			r.Query.To = min(f.d.Shop.Minutes, max(q.to[last]+g.Max, r.Query.From))
		}
		return r
	}
	r.Query.To = min(f.d.Shop.Minutes, max(q.low, q.v.bookedStart()+f.o.LaterAtMost))
	if len(openings.Check(q.v.Booked, spec, alwaysOpen(&f.d.Shop))) == 0 {
		r.Stay, r.Move, r.PerMinute = &q.v.Booked, int(f.o.MoveCost), 1
	}
	return r
}

// alwaysOpen is shop without anything that has to do with time.
func alwaysOpen(shop *openings.Shop) openings.Shop {
	out := openings.Shop{Minutes: shop.Minutes, Premises: []openings.Span{{From: 0, To: shop.Minutes}}}
	for _, u := range shop.Units {
		out.Units = append(out.Units, openings.Unit{ID: u.ID, Kind: u.Kind, Skills: u.Skills, Changeover: u.Changeover, Open: out.Premises})
	}
	return out
}

// taken is shop with what has begun and the visits that do not move in their
// places. A visit that moves keeps its own units without clearing in between.
func (f *finder) taken(shop *openings.Shop, moving []*visitDraft) openings.Shop {
	dr := *f.base.dr
	dr.visits = slices.Clone(dr.visits)
	goesOn := map[*visitDraft]*visitDraft{} // the part that has begun to the whole
	for _, q := range moving {
		c := *q
		c.n = c.begun
		dr.visits[q.index] = &c
		goesOn[&c] = q
	}
	out := *shop
	out.Units = slices.Clone(out.Units)
	for u, l := range dr.runs() {
		bookings := slices.Clone(out.Units[u].Bookings)
		for i := range l {
			s, clear := l[i].span(f.base.starts), dr.clearing(l[i].p, u)
			if q := goesOn[l[i].p]; q != nil && q.keeps(&dr, u) {
				clear = 0
			}
			if s.From < s.To {
				bookings = append(bookings, openings.Booking{From: s.From, To: s.To, Clear: clear})
			}
		}
		out.Units[u].Bookings = bookings
	}
	return out
}

// keeps reports whether unit u has a role in the visit.
func (p *visitDraft) keeps(dr *draft, u int) bool {
	for _, id := range p.sch.Roles {
		if dr.units[id] == u {
			return true
		}
	}
	return false
}

// replace gives what of the visit has not begun the place that packing found.
func (p *visitDraft) replace(rest openings.Schedule) {
	sch := openings.Schedule{Roles: p.sch.Roles, Phases: slices.Clone(p.sch.Phases)}
	if p.begun == 0 {
		sch.Roles = rest.Roles
	}
	for i, ph := range rest.Phases {
		// A helper stays where the plan has none, at the end of the pool.
		ph.Pool = ph.Pool[:len(p.v.Spec.Phases[p.begun+i].Pool)]
		sch.Phases[p.begun+i] = ph
	}
	p.place(sch)
	if p.begun == 0 {
		at := rest.Phases[0].Start
		p.told = &at
		return
	}
	for i := p.begun; i < p.n; i++ { // nobody was promised when the next step begins
		p.wish[i] = 0
	}
}

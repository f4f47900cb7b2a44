package delays

import (
	"context"
	"maps"
	"slices"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

// worth is what a visit of the day is worth in minutes late: more than any sum
// of delays, so that no visit is dropped to spare others a wait.
const worth = 100_000

// rearrange puts what has not begun anew into the time that is left. Clients
// with product on go ahead of everybody.
func (f *finder) rearrange(ctx context.Context) error {
	for _, p := range f.base.dr.visits {
		if !p.inSolution() {
			continue
		}
		alone, err := f.alone(p)
		if err != nil {
			return err
		}
		if err := f.offerRearranged(f.base.dr.with(p.index, func(q *visitDraft) { q.reorder(alone) })); err != nil {
			return err
		}
	}
	for _, all := range []bool{false, true} {
		dr, err := f.pack(ctx, &f.d.Shop, all)
		if err != nil {
			return err
		}
		if dr == nil {
			continue
		}
		if err := f.offerRearranged(dr); err != nil {
			return err
		}
	}
	return nil
}

func (f *finder) offerRearranged(dr *draft) error {
	o, err := f.try(dr)
	if o == nil || err != nil {
		return err
	}
	words := o.saysAll()
	if words == "" {
		words = "the clients whose product is on go first, nobody else changes"
	}
	f.offer(RemedyRearrange, o, "Rearrange the day: "+words, o.whomToAsk())
	return nil
}

// whomToAsk are the clients whose visit moves and the people who take over a
// visit or a step.
func (o *outlook) whomToAsk() []Ask {
	var out []Ask
	for _, p := range o.dr.visits {
		if p.moved(o) {
			out = append(out, Ask{Visit: p.v.ID})
		}
		for _, id := range p.newPeople(o) {
			if a := (Ask{Unit: id}); !slices.Contains(out, a) {
				out = append(out, a)
			}
		}
		for i := p.begun; i < p.n; i++ {
			for k, id := range p.sch.Phases[i].Pool {
				a := Ask{Unit: id}
				if id != p.v.Booked.Phases[i].Pool[k] && person(o.dr.d.Shop.Units[o.dr.units[id]].Kind) && !slices.Contains(out, a) {
					out = append(out, a)
				}
			}
		}
	}
	return out
}

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
	if len(moving) == 0 {
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

// calm takes back every change of a unit that a packing made without need.
func (f *finder) calm(dr *draft) (*draft, error) {
	o, err := dr.look(f.s)
	if err != nil {
		return nil, err
	}
	keep := func(i int, change func(*visitDraft)) error {
		other, err := dr.with(i, change).look(f.s)
		if err == nil && compareBroken(other.broken, o.broken) <= 0 && other.late+other.waits <= o.late+o.waits {
			dr, o = other.dr, other
		}
		return err
	}
	for i := range dr.visits {
		p := dr.visits[i]
		for _, r := range p.v.Spec.Roles {
			if was := p.v.Booked.Roles[r.Name]; dr.visits[i].sch.Roles[r.Name] != was {
				if err := keep(i, func(q *visitDraft) { q.setRole(r.Name, was) }); err != nil {
					return nil, err
				}
			}
		}
		for ph := p.begun; ph < p.n; ph++ {
			for k, was := range p.v.Booked.Phases[ph].Pool {
				if dr.visits[i].sch.Phases[ph].Pool[k] == was {
					continue
				}
				if err := keep(i, func(q *visitDraft) { q.setPool(ph, k, was) }); err != nil {
					return nil, err
				}
			}
		}
	}
	return dr, nil
}

// setRole and setPool give one job of the visit to another unit.
func (p *visitDraft) setRole(role, id string) {
	p.sch.Roles = maps.Clone(p.sch.Roles)
	p.sch.Roles[role] = id
}

func (p *visitDraft) setPool(phase, k int, id string) {
	p.sch.Phases = slices.Clone(p.sch.Phases)
	p.sch.Phases[phase].Pool = slices.Clone(p.sch.Phases[phase].Pool)
	p.sch.Phases[phase].Pool[k] = id
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
			r.Query.From = max(f.d.Now, q.to[last]+g.Min)
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

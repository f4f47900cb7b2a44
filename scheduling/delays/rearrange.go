package delays

import (
	"context"
	"maps"
	"slices"
)

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

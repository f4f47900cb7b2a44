package delays

import (
	"context"
	"fmt"
	"slices"

	"chairblock/scheduling/openings"
)

// stations tries other basins, chairs and assistants for what has not begun.
func (f *finder) stations(context.Context) error {
	for _, p := range f.base.dr.visits {
		for i := p.begun; i < p.n; i++ {
			for k, need := range p.v.Spec.Phases[i].Pool {
				if err := f.otherPool(p, i, k, &need); err != nil {
					return err
				}
			}
		}
		if p.begun > 0 || p.n == 0 {
			continue
		}
		for _, r := range p.v.Spec.Roles {
			if person(f.d.Shop.Units[f.base.dr.units[p.sch.Roles[r.Name]]].Kind) {
				continue // another stylist in charge is for rearrange
			}
			if err := f.otherRole(p, r); err != nil {
				return err
			}
		}
	}
	return nil
}

// others lists the units that could do the job of id: stations for a station,
// people for a person.
func (f *finder) others(id string, need *openings.Need) []int {
	var out []int
	people := person(f.d.Shop.Units[f.base.dr.units[id]].Kind)
	for u := range f.d.Shop.Units {
		if unit := &f.d.Shop.Units[u]; unit.ID != id && person(unit.Kind) == people && able(unit, need) {
			out = append(out, u)
		}
	}
	return out
}

func (f *finder) otherPool(p *visitDraft, i, k int, need *openings.Need) error {
	was := p.sch.Phases[i].Pool[k]
	for _, u := range f.others(was, need) {
		if slices.Contains(p.uses[i], u) {
			continue
		}
		best, err := f.inOrders(p, func(q *visitDraft) { q.setPool(i, k, f.d.Shop.Units[u].ID) })
		if err != nil {
			return err
		}
		if best == nil {
			continue
		}
		instead := fmt.Sprintf("%s instead of %s for “%s” of %s at %s", f.d.unit(u), f.d.unit(f.base.dr.units[was]),
			p.v.phase(i), p.v.words(), f.d.clock(best.starts[p.index][i]))
		if unit := &f.d.Shop.Units[u]; person(unit.Kind) {
			f.offer(RemedyHelper, best, "Take "+instead, []Ask{{Unit: unit.ID}})
		} else {
			f.offer(RemedyStation, best, "Use "+instead, nil)
		}
	}
	return nil
}

func (f *finder) otherRole(p *visitDraft, r openings.Role) error {
	was := p.sch.Roles[r.Name]
	for _, u := range f.others(was, &r.Need) {
		id := f.d.Shop.Units[u].ID
		taken := false
		for _, other := range p.sch.Roles {
			taken = taken || other == id
		}
		if taken {
			continue
		}
		best, err := f.inOrders(p, func(q *visitDraft) { q.setRole(r.Name, id) })
		if err != nil {
			return err
		}
		if best == nil {
			continue
		}
		say := fmt.Sprintf("Seat %s at %s instead of %s at %s", p.v.words(), f.d.unit(u), f.d.unit(f.base.dr.units[was]), f.d.clock(best.starts[p.index][0]))
		if f.d.Shop.Units[u].Kind != openings.Chair {
			say = fmt.Sprintf("Use %s instead of %s for %s", f.d.unit(u), f.d.unit(f.base.dr.units[was]), p.v.words())
		}
		f.offer(RemedyStation, best, say, nil)
	}
	return nil
}

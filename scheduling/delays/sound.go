package delays

import (
	"slices"

	"chairblock/scheduling/openings"
)

// rest returns what of the visit has not begun as a visit of its own, with the
// people and the chair that it has, and its place.
func (p *visitDraft) rest(o *outlook) (openings.VisitSpec, openings.Schedule) {
	d, spec := o.dr.d, openings.VisitSpec{Clear: p.v.Spec.Clear, ClearLeast: p.v.Spec.ClearLeast}
	place := openings.Schedule{Roles: map[string]string{}}
	all := o.schedule(p)
	for i := p.begun; i < p.n; i++ {
		ph := p.v.Spec.Phases[i]
		ph.Minutes, ph.Pool = p.length[i], slices.Clone(ph.Pool)
		for k, id := range all.Phases[i].Pool {
			if k >= len(ph.Pool) { // whoever helps
				ph.Pool = append(ph.Pool, openings.Need{Kinds: []openings.UnitKind{d.Shop.Units[o.dr.units[id]].Kind}, Only: []string{id}})
			}
		}
		spec.Phases, place.Phases = append(spec.Phases, ph), append(place.Phases, all.Phases[i])
		if i+1 < p.n {
			spec.Gaps = append(spec.Gaps, p.v.Spec.Gaps[i])
		}
	}
	for _, r := range p.v.Spec.Roles {
		uses := func(names []string) bool { return slices.Contains(names, r.Name) }
		if !slices.ContainsFunc(spec.Phases, func(ph openings.Phase) bool { return uses(ph.Roles) }) &&
			!slices.ContainsFunc(spec.Gaps, func(g openings.Gap) bool { return uses(g.Hold) }) {
			continue
		}
		if p.begun > 0 {
			r.Only = []string{p.sch.Roles[r.Name]}
		}
		spec.Roles = append(spec.Roles, r)
		place.Roles[r.Name] = p.sch.Roles[r.Name]
	}
	return spec, place
}

// sound holds everything that is to come against openings.Check, which knows
// nothing of how it was found: each visit in a shop in which all others have
// their places. With patience, people and the salon have no hours and no
// breaks.
func (o *outlook) sound(patience bool) bool {
	all := o.dr.runs()
	for _, p := range o.dr.visits {
		if p.begun >= p.n {
			continue
		}
		spec, place := p.rest(o)
		shop := o.shopFor(all, func(q *visitDraft) bool { return q != p })
		if patience {
			shop = endless(shop)
		}
		if len(openings.Check(place, spec, shop)) > 0 {
			return false
		}
	}
	return true
}

// shopFor is the shop in which the visits that taken names have their places.
func (o *outlook) shopFor(all [][]run, taken func(*visitDraft) bool) openings.Shop {
	shop := o.dr.d.Shop
	shop.Units = slices.Clone(shop.Units)
	for u, l := range all {
		bookings := slices.Clone(shop.Units[u].Bookings)
		for i := range l {
			if s := l[i].span(o.starts); s.From < s.To && taken(l[i].p) {
				bookings = append(bookings, openings.Booking{From: s.From, To: s.To, Clear: o.dr.clearing(l[i].p, u)})
			}
		}
		shop.Units[u].Bookings = bookings
	}
	return shop
}

// endless is a shop in which people and the salon have no hours and no breaks.
// Chairs and basins that are out of use stay so.
func endless(shop openings.Shop) openings.Shop {
	shop.Minutes = 2 * openings.MaxHorizon
	ever := []openings.Span{{From: 0, To: shop.Minutes}}
	units := slices.Clone(shop.Units)
	for u := range units {
		if person(units[u].Kind) {
			units[u].Open, units[u].Breaks = ever, nil
			continue
		}
		whole := Day{Shop: openings.Shop{Premises: shop.Premises, Units: units}}
		units[u].Open = whole.hours(u)
	}
	shop.Premises, shop.Units = ever, units
	return shop
}

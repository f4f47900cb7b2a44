package openings

import (
	"cmp"
	"slices"
)

// SlowLimit is limit as it was at first: each obstacle is put back by itself, into a
// shop that is made for it.
func SlowLimit(s *Snapshot, spec VisitSpec, roles map[string]string, start Minute, has ...string) (Limit, error) {
	bound, err := spec.bind(roles)
	if err != nil {
		return Limit{}, err
	}
	p, err := Compile(bound, s)
	if err != nil {
		return Limit{}, err
	}
	t := slowTrial{newTrial(p, s, start)}
	t.list()
	for i := range t.obstacles {
		o := &t.obstacles[i]
		o.own = o.unit == nobody || slices.Contains(has, o.Unit) || slices.ContainsFunc(p.spec.Roles, func(r Role) bool { return roles[r.Name] == o.Unit })
	}
	slices.SortStableFunc(t.obstacles, func(a, b obstacle) int {
		switch {
		case a.own == b.own:
			return cmp.Compare(b.At, a.At)
		case a.own:
			return 1
		}
		return -1
	})
	for i := range t.obstacles {
		t.obstacles[i].kept = true
		fits, err := t.fits()
		if err != nil {
			return Limit{}, err
		}
		t.obstacles[i].kept = fits
	}
	return t.first(), nil
}

type slowTrial struct{ *trial }

func (t *slowTrial) fits() (bool, error) {
	whole := []Span{{0, t.end}}
	shop := Shop{Minutes: t.end, Units: slices.Clone(t.shop.Units)}
	for i := range shop.Units {
		u := &shop.Units[i]
		u.Open, u.Breaks, u.Bookings = nil, nil, nil
	}
	for _, i := range t.plan.units {
		shop.Units[i].Open = whole
	}
	var closed []Span
	for _, o := range t.obstacles {
		switch {
		case !o.kept:
		case o.unit == nobody:
			closed = append(closed, Span{o.busy.From, o.busy.To})
		case o.Kind == NextClient:
			shop.Units[o.unit].Bookings = append(shop.Units[o.unit].Bookings, o.busy)
		default:
			shop.Units[o.unit].Breaks = append(shop.Units[o.unit].Breaks, Span{o.busy.From, o.busy.To})
		}
	}
	shop.Premises = outside(closed, Span{0, t.end})
	snap, err := NewSnapshot(shop)
	if err != nil {
		return false, err
	}
	_, fits, err := t.plan.Soonest(snap, Query{From: t.start, To: t.start, Grid: 1})
	return fits, err
}

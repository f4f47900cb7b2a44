package delays

import (
	"context"
	"fmt"
	"slices"

	"chairblock/scheduling/openings"
)

// later asks one client who is not there yet to come later: by as little as
// lets everybody else go on, or, where no rule breaks, by what the visit will
// be late anyway.
func (f *finder) later(context.Context) error {
	for _, p := range f.base.dr.visits {
		if p.begun > 0 || p.n == 0 || p.v.Arrived != nil {
			continue
		}
		dr, err := f.comeLater(p)
		if err != nil {
			return err
		}
		if dr == nil {
			continue
		}
		o, err := f.try(dr)
		if err != nil {
			return err
		}
		if o == nil {
			continue
		}
		at := o.starts[p.index][0]
		f.offer(RemedyLater, o, fmt.Sprintf("Ask %s to come %s later, at %s instead of %s", p.v.words(),
			minutes(at-p.v.bookedStart()), f.d.clock(at), f.d.clock(p.v.bookedStart())), []Ask{{Visit: p.v.ID}})
	}
	return nil
}

// comeLater returns the day with p at the earliest minute, not before it is
// booked, at which it fits beside all others with the same people; nil when
// that is no later than booked, or never.
func (f *finder) comeLater(p *visitDraft) (*draft, error) {
	if len(f.left) == 0 {
		at := f.base.starts[p.index][0]
		if at <= p.v.bookedStart() {
			return nil, nil
		}
		return f.base.dr.with(p.index, func(q *visitDraft) { q.told = &at }), nil
	}
	without := f.base.dr.with(p.index, (*visitDraft).rebook)
	o, err := without.look(f.s)
	if err != nil {
		return nil, err
	}
	spec := p.v.Spec
	spec.Roles = slices.Clone(spec.Roles)
	for i, r := range spec.Roles {
		if id := p.sch.Roles[r.Name]; person(f.d.Shop.Units[without.units[id]].Kind) {
			spec.Roles[i].Only = []string{id}
		}
	}
	snap, err := openings.NewSnapshot(o.shopFor(without.runs(), func(q *visitDraft) bool { return true }))
	if err != nil {
		return nil, err
	}
	plan, err := openings.Compile(spec, snap)
	if err != nil {
		return nil, err
	}
	from := max(p.low, p.v.bookedStart())
	x, err := plan.Search(snap, openings.Query{From: from, To: max(from, p.v.bookedStart()+f.o.LaterAtMost), Grid: 1})
	if err != nil {
		return nil, err
	}
	at, ok := x.First()
	if !ok || at <= p.v.bookedStart() {
		return nil, nil
	}
	sch, ok := x.Assign(at, "")
	if !ok {
		return nil, nil
	}
	return f.base.dr.with(p.index, func(q *visitDraft) { q.replace(sch) }), nil
}

// rebook does not start a visit at all while no product is on.
func (f *finder) rebook(context.Context) error {
	if len(f.left) == 0 {
		return nil
	}
	for _, p := range f.base.dr.visits {
		if !p.canWait() {
			continue
		}
		o, err := f.try(f.base.dr.with(p.index, (*visitDraft).rebook))
		if err != nil {
			return err
		}
		if o == nil {
			continue
		}
		until := f.base.visit(p).OpenUntil
		words := fmt.Sprintf("Do not start %s, rebook: open until %s", p.v.words(), f.d.clock(*until))
		if p.begun > 0 {
			words = fmt.Sprintf("Do not go on with %s, rebook: open until %s, before product is on", p.v.words(), f.d.clock(*until))
		}
		f.offer(RemedyRebook, o, words, []Ask{{Visit: p.v.ID}}).OpenUntil = until
	}
	return nil
}

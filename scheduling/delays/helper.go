package delays

import (
	"context"
	"fmt"
	"math"
	"slices"

	"chairblock/scheduling/openings"
)

// helpers tries a second pair of hands for every step that may be shared and
// has not ended.
func (f *finder) helpers(context.Context) error {
	for _, p := range f.base.dr.visits {
		for i := max(p.begun-1, 0); i < p.n; i++ {
			need := p.v.care(i).Share
			if need == nil || !p.mayShare(i) {
				continue
			}
			for u := range f.d.Shop.Units {
				if slices.Contains(p.uses[i], u) || !able(&f.d.Shop.Units[u], need) {
					continue
				}
				if err := f.help(p, i, u); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// mayShare reports whether phase i is still there to be shared. Once product is
// on, nothing changes until the rinse.
func (p *visitDraft) mayShare(i int) bool {
	if p.v.care(i).Keep || p.helper[i] >= 0 || i < p.begun && !(p.runs && i == p.begun-1) {
		return false
	}
	on := i
	for p.v.care(on).Product && on > 0 && p.v.care(on-1).Product {
		on--
	}
	return !p.v.care(on).Product || on >= p.begun
}

func able(u *openings.Unit, n *openings.Need) bool {
	if !slices.Contains(n.Kinds, u.Kind) || len(n.Only) > 0 && !slices.Contains(n.Only, u.ID) {
		return false
	}
	return !slices.ContainsFunc(n.Skills, func(s string) bool { return !slices.Contains(u.Skills, s) })
}

// help tries unit u as a second pair of hands in phase i of p.
func (f *finder) help(p *visitDraft, i, u int) error {
	now := f.d.Now
	from := f.base.starts[p.index][i]
	rest := p.length[i]
	if i < p.begun {
		from, rest = now, p.to[i]-now
		busy := func(r run) bool { return r.begun() && !r.over(now) }
		if slices.ContainsFunc(f.base.dr.runs()[u], busy) {
			return nil
		}
	}
	shared := openings.Minute(math.Ceil(float64(rest)/f.o.PairFactor - 1e-9))
	if shared >= rest {
		return nil
	}
	best, err := f.inOrders(p, func(q *visitDraft) {
		q.length, q.to, q.helper, q.helpFrom = slices.Clone(q.length), slices.Clone(q.to), slices.Clone(q.helper), slices.Clone(q.helpFrom)
		q.length[i] -= rest - shared
		q.helper[i] = u
		if i < p.begun {
			q.to[i], q.helpFrom[i] = q.from[i]+q.length[i], now
		}
	})
	if best == nil || err != nil || f.delaysOthers(best, p) {
		return err
	}
	if i >= p.begun {
		from = best.starts[p.index][i]
	}
	f.offer(RemedyHelper, best, fmt.Sprintf("%s shares “%s” of %s from %s to %s, which takes %s less",
		f.d.unit(u), p.v.phase(i), p.v.words(), f.d.clock(from), f.d.clock(from+shared), minutes(rest-shared)),
		[]Ask{{Unit: f.d.Shop.Units[u].ID}})
	return nil
}

// delaysOthers reports whether a visit other than p ends later than without the
// help: then whoever helps is not free.
func (f *finder) delaysOthers(o *outlook, p *visitDraft) bool {
	return slices.ContainsFunc(o.dr.visits, func(q *visitDraft) bool {
		last := q.n - 1
		return q.index != p.index && last >= 0 && o.starts[q.index][last] > f.base.starts[q.index][last]
	})
}

// inOrders tries a changed visit in three places among the others: where it was
// booked, where it stands now, and where it would be if it were alone. It
// returns the first outlook that leaves nothing broken, or else the best that is
// worth offering, nil when there is none.
func (f *finder) inOrders(p *visitDraft, change func(*visitDraft)) (*outlook, error) {
	alone, err := f.alone(p)
	if err != nil {
		return nil, err
	}
	var best *outlook
	for _, starts := range [][]openings.Minute{nil, f.base.starts[p.index], alone} {
		o, err := f.try(f.base.dr.with(p.index, func(q *visitDraft) {
			change(q)
			if starts != nil {
				q.reorder(starts)
			}
		}))
		if err != nil {
			return nil, err
		}
		if o != nil && (best == nil || o.better(best)) {
			best = o
		}
		if best != nil && len(toCome(best.broken)) == 0 {
			break
		}
	}
	return best, nil
}

func (o *outlook) better(p *outlook) bool {
	c := compareBroken(toCome(o.broken), toCome(p.broken))
	return c < 0 || c == 0 && o.late+o.waits < p.late+p.waits
}

// alone are the starts of p when nobody else who has not begun is in its way.
func (f *finder) alone(p *visitDraft) ([]openings.Minute, error) {
	if starts, ok := f.solo[p.index]; ok {
		return starts, nil
	}
	dr := *f.base.dr
	dr.visits = slices.Clone(dr.visits)
	for i, q := range dr.visits {
		if q.index != p.index {
			c := *q
			c.n = c.begun
			dr.visits[i] = &c
		}
	}
	o, err := dr.look(f.s)
	if err != nil {
		return nil, err
	}
	f.solo[p.index] = o.starts[p.index]
	return o.starts[p.index], nil
}

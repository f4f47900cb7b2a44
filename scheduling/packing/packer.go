package packing

import (
	"cmp"
	"math/rand/v2"
	"slices"
)

// score says how good a packing is; see compare.
type score struct {
	missing int // visits without a place that must have one
	main    int // value less the cost of moves, or minus the last end
	tie     int // minus the cost of moves where main leaves them out
}

// compare is positive when s is better than o.
func (s score) compare(o score) int {
	return cmp.Or(cmp.Compare(o.missing, s.missing), cmp.Compare(s.main, o.main), cmp.Compare(s.tie, o.tie))
}

// score returns how good the packing at is; at is by visit.
func (m *model) score(at []*placement) score {
	var s score
	for i, p := range at {
		v := &m.visits[i]
		switch {
		case p == nil && v.must:
			s.missing++
		case p == nil:
		case m.p.Objective == MinMakespan:
			s.main = min(s.main, -int(m.end(p)))
			s.tie -= m.cost(p)
		default:
			s.main += v.value - m.cost(p)
		}
	}
	return s
}

// packer improves a packing by taking visits out and putting them back in other
// ways while all others stay where they are.
type packer struct {
	m     *model
	r     *rand.Rand
	c     *calendar
	ins   *inserter
	at    []*placement
	score score
	best  []*placement
	top   score  // of best
	stale int    // rounds since top grew
	heats [2]int // by moves and by values: how much worse a packing may be to go on from
	heat  int
	out   []int // scratch: groups
}

func newPacker(m *model, r *rand.Rand) *packer {
	k := &packer{m: m, r: r, c: newCalendar(m), at: make([]*placement, len(m.visits))}
	k.ins = newInserter(m, k.c, r)
	k.best, k.top = slices.Clone(k.at), m.score(k.at)
	k.score = k.top
	for i := range m.visits {
		v := &m.visits[i]
		small, large := heatParts*v.value, heatParts*v.value
		if v.stay != nil {
			small = heatParts * v.move
		}
		if m.p.Objective == MinMakespan {
			small, large = heatDay*int(v.least), heatDay*int(v.least)
		}
		k.heats[0], k.heats[1] = k.heats[0]+small, k.heats[1]+max(small, large)
	}
	for n := range k.heats {
		k.heats[n] /= 10*len(m.visits) + 1
	}
	k.heat = k.heats[0]
	return k
}

// put gives visit p.visit the place p.
func (k *packer) put(p *placement) {
	k.c.place(p)
	k.at[p.visit] = p
}

// take takes visit i out.
func (k *packer) take(i int) {
	if k.at[i] != nil {
		k.c.remove(k.at[i])
		k.at[i] = nil
	}
}

// reset replaces the whole packing.
func (k *packer) reset(at []*placement) {
	for i, p := range at {
		if k.at[i] != p {
			k.take(i)
		}
	}
	for i, p := range at {
		if p != nil && k.at[i] != p {
			k.put(p)
		}
	}
	k.score = k.m.score(k.at)
}

// greedy packs in a few plain orders, each from nothing, and keeps the best.
// Visits that have a place today are put there first, the dearest to move
// before the others.
func (k *packer) greedy() {
	for n, order := range k.orders() {
		if n > 0 && k.ins.over() {
			break
		}
		k.reset(make([]*placement, len(k.at)))
		for _, g := range order {
			k.keepGroup(g)
		}
		for _, g := range order {
			if k.at[k.m.groups[g][0]] == nil {
				k.insertGroup(g, aimEarliest)
			}
		}
		k.score = k.m.score(k.at)
		k.noteBest()
	}
	k.reset(k.best)
}

// orders are the groups by value, by value a minute, by length and by the limit
// of the end; those that must be served always come first.
func (k *packer) orders() [][]int {
	type sums struct{ value, move, length, limit, must int }
	all := make([]sums, len(k.m.groups))
	for g, members := range k.m.groups {
		all[g].limit = int(forever)
		for _, i := range members {
			v := &k.m.visits[i]
			all[g].value += v.value
			all[g].move += v.move
			all[g].length += int(v.least)
			all[g].limit = min(all[g].limit, int(v.endBy), int(v.to+v.least))
			if v.must {
				all[g].must = 1
			}
		}
	}
	by := func(less func(a, b sums) int) []int {
		order := make([]int, len(all))
		for g := range order {
			order[g] = g
		}
		slices.SortStableFunc(order, func(x, y int) int {
			a, b := all[x], all[y]
			return cmp.Or(cmp.Compare(b.must, a.must), cmp.Compare(b.move, a.move), less(a, b))
		})
		return order
	}
	return [][]int{
		by(func(a, b sums) int { return cmp.Compare(b.value, a.value) }),
		by(func(a, b sums) int { return cmp.Compare(b.value*a.length, a.value*b.length) }),
		by(func(a, b sums) int { return cmp.Compare(b.length, a.length) }),
		by(func(a, b sums) int { return cmp.Compare(a.limit, b.limit) }),
	}
}

// noteBest takes the packing over when it is better than the best.
func (k *packer) noteBest() {
	if k.score.compare(k.top) <= 0 {
		return
	}
	k.top = k.score
	copy(k.best, k.at)
	k.stale = 0
}

// keepGroup puts the visits of g where they are today if all of them can stay
// there.
func (k *packer) keepGroup(g int) bool {
	members := k.m.groups[g]
	for _, i := range members {
		if !k.m.visits[i].keeps || !k.c.fits(k.m.visits[i].stay) || !k.m.linked(k.m.visits[i].stay, k.at) {
			for _, o := range members {
				k.take(o)
			}
			return false
		}
		k.put(k.m.visits[i].stay)
	}
	return true
}

// insertGroup finds places for the visits of g, all or none.
func (k *packer) insertGroup(g int, aim aim) bool {
	members := k.m.groups[g]
	if !k.m.visits[members[0]].possible {
		return false
	}
	if len(members) == 1 {
		return k.insertVisit(members[0], aim)
	}
	for try := range tries {
		done := 0
		for _, i := range members {
			if !k.insertVisit(i, aim) {
				break
			}
			done++
			if try > 0 || done > 1 {
				aim = aimEarliest
			}
		}
		if done == len(members) {
			return true
		}
		for _, i := range members[:done] {
			k.take(i)
		}
		if aim = aimEdge; k.r.IntN(2) == 0 {
			aim = aimAny
		}
	}
	return false
}

// insertVisit finds a place for visit i that keeps its links to the visits
// placed already.
func (k *packer) insertVisit(i int, aim aim) bool {
	lim := limits{to: forever, after: -forever, endBy: forever}
	v := &k.m.visits[i]
	for _, l := range v.links {
		k.limit(&lim, i, &k.m.links[l])
	}
	if v.stay != nil {
		lim.want = v.stay.at[0]
		if k.r.IntN(4) > 0 {
			aim = aimNear
		}
	}
	p := k.ins.insert(i, lim, aim)
	if p == nil {
		return false
	}
	k.put(p)
	return true
}

// limit narrows lim, of visit i, by link l if its other visit has a place.
func (k *packer) limit(lim *limits, i int, l *tie) {
	a, b := k.at[l.a], k.at[l.b]
	if l.b == i && a != nil {
		from := a.at[0]
		if l.end {
			from = k.m.end(a)
		}
		lim.from, lim.to = max(lim.from, from+l.min), min(lim.to, from+l.max)
		if l.other {
			lim.barred = append(lim.barred, k.m.first(a))
		}
	}
	if l.a == i && b != nil {
		if l.end {
			lim.after, lim.endBy = max(lim.after, b.at[0]-l.max), min(lim.endBy, b.at[0]-l.min)
		} else {
			lim.from, lim.to = max(lim.from, b.at[0]-l.max), min(lim.to, b.at[0]-l.min)
		}
		if l.other {
			lim.barred = append(lim.barred, k.m.first(b))
		}
	}
}

// first is the unit in the first role of p.
func (m *model) first(p *placement) int32 {
	return m.jobs[m.visits[p.visit].job].cand[p.unit[0]]
}

// linked reports whether p keeps its links to the visits placed in at.
func (m *model) linked(p *placement, at []*placement) bool {
	for _, n := range m.visits[p.visit].links {
		l := &m.links[n]
		a, b := at[l.a], at[l.b]
		if l.a == p.visit {
			a = p
		} else {
			b = p
		}
		if a == nil || b == nil {
			continue
		}
		from := a.at[0]
		if l.end {
			from = m.end(a)
		}
		if d := b.at[0] - from; d < l.min || d > l.max || l.other && m.first(a) == m.first(b) {
			return false
		}
	}
	return true
}

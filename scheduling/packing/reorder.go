package packing

import (
	"cmp"
	"slices"
)

// Figures of a reordering round, found by trying on generated days.
const (
	mostFreed = 6   // groups whose units and orders are open again
	mostSteps = 120 // steps of the search
)

// reorder frees a few groups and looks for a better packing in which all others
// keep their units and their order, but not their times. That lets visits make
// room by moving aside, which taking out and putting back cannot do.
func (k *packer) reorder(o *orders) {
	free, on, ok := k.loosen()
	if !ok || !o.begin(func(i int) bool { return on[i] }) || !k.fix(o, free, on) {
		return
	}
	raw := 0
	for i := range on {
		if on[i] {
			raw += k.m.visits[i].value
		}
	}
	until, spend := forever, -none
	switch {
	case k.score.missing > 0:
	case k.m.p.Objective == MaxValue:
		spend = raw - k.score.main // as good is good enough, to get about
	default:
		if until = int32(-k.score.main); k.r.IntN(3) > 0 {
			until--
		}
	}
	steps := 0
	var next []*placement
	s := &search{o: o, r: k.r,
		tick:  func() bool { steps++; return steps <= mostSteps && !k.ins.over() },
		until: func() int32 { return until },
		spend: func() int { return spend },
		found: func() bool { next = o.earliestPlaces(); return false },
	}
	s.run()
	if next != nil && k.m.score(next).compare(k.score) >= 0 {
		k.reset(next)
		k.noteBest()
	}
}

// offer takes a packing over if it is better than the best.
func (k *packer) offer(at []*placement) {
	if k.m.score(at).compare(k.top) > 0 {
		k.reset(at)
		k.noteBest()
	}
}

// loosen chooses the visits to free and those to take part at all: everything
// that has a place, one group that has none, and not all of those freed.
func (k *packer) loosen() (free, on []bool, ok bool) {
	free, on = make([]bool, len(k.at)), make([]bool, len(k.at))
	var in, none []int
	for g, members := range k.m.groups {
		if k.at[members[0]] != nil {
			in = append(in, g)
		} else if k.m.visits[members[0]].possible {
			none = append(none, g)
		}
	}
	set := func(list []bool, g int, is bool) {
		for _, i := range k.m.groups[g] {
			list[i] = is
		}
	}
	for _, g := range in {
		set(on, g, true)
	}
	k.r.Shuffle(len(in), func(a, b int) { in[a], in[b] = in[b], in[a] })
	if k.r.IntN(2) == 0 && len(in) > 0 {
		about := k.at[k.m.groups[in[0]][0]].at[0]
		slices.SortStableFunc(in, func(a, b int) int { return cmp.Compare(k.far(a, about), k.far(b, about)) })
	}
	in = in[:min(len(in), 1+k.r.IntN(mostFreed))]
	for _, g := range in {
		set(free, g, true)
	}
	if len(none) == 0 {
		return free, on, len(in) > 0
	}
	add := none[k.r.IntN(len(none))]
	set(free, add, true)
	set(on, add, true)
	left := k.worth(add)
	for _, g := range in {
		if w := k.worth(g); w <= left && !k.m.visits[k.m.groups[g][0]].must && k.r.IntN(2) == 0 {
			set(on, g, false)
			left -= w
		}
	}
	return free, on, true
}

func (k *packer) worth(g int) int {
	sum := 0
	for _, i := range k.m.groups[g] {
		sum += k.m.visits[i].value
	}
	return sum
}

// fix gives all visits that are not free their units and orders of now.
func (k *packer) fix(o *orders, free, on []bool) bool {
	for i, p := range k.at {
		v := &k.m.visits[i]
		if free[i] || !on[i] {
			continue
		}
		for j, c := range p.unit {
			if !o.assign(v.job+j, c) {
				return false
			}
		}
		if o.stands[i] != standOpen {
			continue
		}
		if !p.same(v.stay) {
			o.move(i)
		} else if !o.keep(i) {
			return false
		}
	}
	return k.fixOrders(o, free, on)
}

// fixOrders lets the uses of units by visits that are not free follow each other
// as they do now.
func (k *packer) fixOrders(o *orders, free, on []bool) bool {
	from, to := k.stretch()
	start := func(x int32) int32 {
		b := &k.m.blocks[x]
		return k.at[b.visit].at[b.a-k.m.start[b.visit]] + b.offA
	}
	var list []int32
	for u := range o.atUnit {
		list = list[:0]
		for _, x := range o.atUnit[u] {
			if b := &k.m.blocks[x]; on[b.visit] && !free[b.visit] {
				list = append(list, x)
			}
		}
		slices.SortFunc(list, func(x, y int32) int { return cmp.Compare(start(x), start(y)) })
		for n, y := range list {
			for _, x := range list[:n] {
				if k.m.blocks[x].visit == k.m.blocks[y].visit || o.settled(x, y) || start(x) >= from && start(y) < to {
					continue
				}
				if !o.before(x, y) {
					return false
				}
			}
		}
	}
	return true
}

// stretch returns, every other time when the end counts, a part of the day in
// which orders are open again.
func (k *packer) stretch() (from, to int32) {
	if k.m.p.Objective != MinMakespan || k.score.missing > 0 || k.r.IntN(2) == 0 {
		return 0, 0
	}
	from = forever
	for _, p := range k.at {
		from = min(from, p.at[0])
	}
	length := int32(-k.score.main) - from
	from += k.r.Int32N(length + 1)
	return from, from + length/6 + k.r.Int32N(length/6+1)
}

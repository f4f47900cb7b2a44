package packing

import (
	"iter"
	"math/rand/v2"
	"slices"
)

// Figures of the exact search. Judgement: beyond them it does not come to an
// end in the time that a person waits.
const (
	maxExact  = 16   // groups
	fewGroups = 12   // up to which it usually comes to an end
	slice     = 100  // steps in one round, of the first firstPart steps
	laterPart = 20   // steps in one round after them
	firstPart = 5000 // steps
	sparing   = 10   // rounds between two slices when an end is not likely
)

// exact looks through all packings, leaving out what cannot beat the best one
// known. It works in slices beside the packer and shares its best.
type exact struct {
	k      *packer
	o      *orders
	b      *bounds
	crowd  *crowd
	quick  *packer // for trying to add a group without any search
	order  []int   // groups in the order of decision
	state  []choice
	yield  func(struct{}) bool
	steps  int
	cut    bool // stopped before everything was tried
	paying bool // moves cost something
}

// newExact returns nil when there is too much to look through.
func newExact(k *packer, b *bounds) *exact {
	if !k.m.orderly || len(k.m.groups) > maxExact {
		return nil
	}
	x := &exact{k: k, o: newOrders(k.m), b: b, crowd: newCrowd(b), state: make([]choice, len(k.m.groups)),
		quick: newPacker(k.m, rand.New(rand.NewPCG(1, 2)))} // any numbers: it must not disturb those of k
	for g := range k.m.groups {
		x.order = append(x.order, g)
	}
	x.quick.ins.stop, x.o.over = k.ins.stop, k.ins.over
	slices.SortStableFunc(x.order, func(a, c int) int {
		if b.must[a] != b.must[c] {
			if b.must[a] {
				return -1
			}
			return 1
		}
		return b.value[c] - b.value[a]
	})
	x.paying = slices.ContainsFunc(k.m.visits, func(v visit) bool { return v.stay != nil && v.move+v.perMinute > 0 })
	return x
}

// all runs the search slice by slice; after the last one everything was tried.
func (x *exact) all() iter.Seq[struct{}] {
	return func(yield func(struct{}) bool) {
		x.yield = yield
		if x.k.m.p.Objective == MinMakespan {
			x.shortest()
		} else {
			x.choose(0, 0, 0, make([]*placement, len(x.k.m.visits)))
		}
	}
}

// tick counts a step and hands over to the packer after a slice.
func (x *exact) tick() bool {
	n := slice
	if x.steps++; x.steps > firstPart {
		n = laterPart
	}
	if x.k.ins.over() || x.steps%n == 0 && !x.yield(struct{}{}) {
		x.cut = true
	}
	return !x.cut
}

// due reports whether round n is followed by a slice.
func (x *exact) due(n int) bool {
	return x.steps < firstPart || n%sparing == 0 || len(x.order) <= fewGroups || x.k.m.p.Objective == MinMakespan
}

// floor is the value that a packing has to exceed.
func (x *exact) floor() int {
	if x.k.top.missing > 0 {
		return none
	}
	return x.k.top.main
}

// shortest looks for packings of all visits that end sooner than the best.
func (x *exact) shortest() {
	if !x.o.begin(func(int) bool { return true }) || !x.o.line() {
		return
	}
	s := &search{o: x.o, crowd: x.crowd, tick: x.tick, spend: func() int { return -none },
		until: func() int32 {
			if x.k.top.missing > 0 {
				return forever
			}
			return int32(-x.k.top.main) - 1
		},
		found: func() bool { x.k.offer(x.o.earliestPlaces()); return true },
	}
	s.run()
}

// choose decides on the groups from order[n] on. raw is the value of those that
// are in, worth the same less what their moves cost in any case, and seen a
// packing of them. It reports false when the search was stopped.
func (x *exact) choose(n, raw, worth int, seen []*placement) bool {
	if !x.tick() {
		return false
	}
	more := x.b.most(x.state)
	if more == none || worth+more <= x.floor() {
		return true
	}
	if n == len(x.order) {
		return !x.paying || x.cheapest(raw)
	}
	g := x.order[n]
	if x.k.m.visits[x.k.m.groups[g][0]].possible && !x.dominated(g) {
		x.state[g] = choiceIn
		next := x.extend(g, raw+x.b.raw[g], worth+x.b.value[g], seen)
		if next != nil && !x.choose(n+1, raw+x.b.raw[g], worth+x.b.value[g], next) {
			return false
		}
	}
	x.state[g] = choiceOut
	ok := !x.cut && (x.b.must[g] || x.choose(n+1, raw, worth, seen))
	x.state[g] = choiceOpen
	return ok
}

// dominated reports whether a twin of g is left out: it could take the place of
// g, and was decided before because it is worth as much or more.
func (x *exact) dominated(g int) bool {
	like := x.k.m.visits[x.k.m.groups[g][0]].like
	for i := range x.k.m.visits {
		if v := &x.k.m.visits[i]; v.like == like && x.state[v.group] == choiceOut {
			return true
		}
	}
	return false
}

// extend returns a packing of the groups that are in, given one without g, or
// nil when none of them can lead to a better one than the best.
func (x *exact) extend(g, raw, worth int, seen []*placement) []*placement {
	more := x.b.most(x.state)
	if more == none || worth+more <= x.floor() {
		return nil
	}
	spend := func() int {
		if !x.paying || x.floor() == none {
			return -none
		}
		return raw + x.b.most(x.state) - x.floor() - 1
	}
	x.quick.reset(seen)
	if (x.quick.keepGroup(g) || x.quick.insertGroup(g, aimEarliest)) && x.cost(x.quick.at) <= spend() {
		next := slices.Clone(x.quick.at)
		x.k.offer(next)
		return next
	}
	var next []*placement
	x.look(spend, func() bool {
		next = x.o.earliestPlaces()
		return false
	})
	if next != nil {
		x.k.offer(next)
	}
	return next
}

// cheapest looks for packings of exactly the groups that are in whose moves
// cost less.
func (x *exact) cheapest(raw int) bool {
	x.look(func() int {
		if x.floor() == none {
			return -none
		}
		return raw - x.floor() - 1
	}, func() bool {
		x.k.offer(x.o.earliestPlaces())
		return true
	})
	return !x.cut
}

// look searches for packings of the groups that are in.
func (x *exact) look(spend func() int, found func() bool) {
	if !x.o.begin(func(i int) bool { return x.state[x.k.m.visits[i].group] == choiceIn }) || !x.o.line() {
		return
	}
	s := &search{o: x.o, crowd: x.crowd, tick: x.tick, spend: spend, found: found, until: func() int32 { return forever }}
	s.run()
}

func (x *exact) cost(at []*placement) int {
	sum := 0
	for _, p := range at {
		if p != nil {
			sum += x.k.m.cost(p)
		}
	}
	return sum
}

package packing

import (
	"cmp"
	"math"
	"slices"

	"chairblock/scheduling/openings"
)

// bounds says what no packing can exceed, from the working time alone: a set of
// units has only so many minutes, and every visit takes some of them.
type bounds struct {
	m     *model
	raw   []int // by group: value
	value []int // by group: value less what moving will cost in any case
	must  []bool
	runs  [][]run // by unit: free time inside the windows
	over  []int32 // by unit: clearing that may lie behind the end of a run
	res   []resource
}

// resource is a set of units and what it can do.
type resource struct {
	units   []int32
	minutes int64   // that it has
	load    []int64 // by group: minutes that it needs
	dense   []int   // groups, those worth most a minute first
}

// choice says whether a group is part of a packing.
type choice int8

const (
	choiceOpen choice = iota
	choiceIn
	choiceOut
)

// newBounds works out the resources.
func newBounds(m *model) *bounds {
	b := &bounds{m: m}
	for _, members := range m.groups {
		raw, less := 0, 0
		for _, i := range members {
			raw += m.visits[i].value
			if m.visits[i].stay != nil && !m.visits[i].keeps {
				less += m.visits[i].move
			}
		}
		b.raw, b.value = append(b.raw, raw), append(b.value, raw-less)
		b.must = append(b.must, m.visits[members[0]].must)
	}
	b.addRuns()
	for _, units := range m.unitSets() {
		b.res = append(b.res, b.resource(units))
	}
	return b
}

// addRuns finds the free time of each unit in which some use fits.
func (b *bounds) addRuns() {
	b.runs, b.over = make([][]run, len(b.m.p.Shop.Units)), make([]int32, len(b.m.p.Shop.Units))
	shortest := make([]int32, len(b.runs))
	for u := range shortest {
		shortest[u] = forever
	}
	for j := range b.m.jobs {
		job := &b.m.jobs[j]
		for c, u := range job.cand {
			b.over[u] = max(b.over[u], job.clear[c])
			for _, k := range job.blocks {
				shortest[u] = min(shortest[u], b.m.blocks[k].least)
			}
		}
	}
	for u := range b.runs {
		b.m.inWindows(freeRuns(&b.m.p.Shop, int32(u), 0), func(_ window, piece run) {
			if piece.to-piece.from >= shortest[u] {
				b.runs[u] = append(b.runs[u], piece)
			}
		})
	}
}

// maxSets is how many sets of units the bounds look at (judgement: a salon has ten).
const maxSets = 60

// unitSets are the sets of all units of a kind, and those that jobs choose from.
func (m *model) unitSets() [][]int32 {
	var out [][]int32
	add := func(set []int32) {
		set = slices.Sorted(slices.Values(set))
		if len(set) > 0 && len(out) < maxSets && !slices.ContainsFunc(out, func(o []int32) bool { return slices.Equal(o, set) }) {
			out = append(out, set)
		}
	}
	var kinds []openings.UnitKind
	for _, u := range m.p.Shop.Units {
		if slices.Contains(kinds, u.Kind) {
			continue
		}
		kinds = append(kinds, u.Kind)
		var set []int32
		for i := range m.p.Shop.Units {
			if m.p.Shop.Units[i].Kind == u.Kind {
				set = append(set, int32(i))
			}
		}
		add(set)
	}
	for j := range m.jobs {
		add(m.jobs[j].cand)
	}
	return out
}

// resource works out what the units can do and what each group needs of them.
func (b *bounds) resource(units []int32) resource {
	r := resource{units: units, load: make([]int64, len(b.m.groups)), minutes: b.minutes(units, -forever, forever)}
	for i := range b.m.visits {
		r.load[b.m.visits[i].group] += b.need(i, units)
	}
	for g := range b.m.groups {
		r.dense = append(r.dense, g)
	}
	slices.SortStableFunc(r.dense, func(x, y int) int {
		if r.load[x] == 0 || r.load[y] == 0 { // what costs nothing comes first
			return cmp.Compare(r.load[x], r.load[y])
		}
		return cmp.Compare(int64(b.value[y])*r.load[x], int64(b.value[x])*r.load[y])
	})
	return r
}

// need returns the minutes that visit i takes of units whatever it gets
// elsewhere: its uses and the clearing once.
func (b *bounds) need(i int, units []int32) int64 {
	var sum int64
	clear := forever
	b.each(i, units, func(job *job, k int) {
		sum += int64(b.m.blocks[k].least)
		clear = min(clear, slices.Min(job.clear))
	})
	if sum > 0 {
		sum += int64(clear)
	}
	return sum
}

// each calls f with every block of visit i that has to be on one of units.
func (b *bounds) each(i int, units []int32, f func(job *job, k int)) {
	v := &b.m.visits[i]
	for j := v.job; j < v.job+v.jobs; j++ {
		job := &b.m.jobs[j]
		if len(job.cand) == 0 || len(job.cand) > len(units) || slices.ContainsFunc(job.cand, func(u int32) bool {
			_, in := slices.BinarySearch(units, u)
			return !in
		}) {
			continue
		}
		for _, k := range job.blocks {
			f(job, k)
		}
	}
}

// minutes returns how much units can do from from to to, the clearing after the
// last use of a stretch being done outside it.
func (b *bounds) minutes(units []int32, from, to int32) int64 {
	var sum int64
	for _, u := range units {
		sum += b.minutesOf(u, from, to)
	}
	return sum
}

func (b *bounds) minutesOf(u, from, to int32) int64 {
	var sum int64
	for _, r := range b.runs[u] {
		if n := min(r.to, to) - max(r.from, from); n > 0 {
			sum += int64(n + b.over[u])
		}
	}
	return sum
}

// none is less than the value of any packing.
const none = math.MinInt / 4

// most returns what the open groups can add at most to those that are in, none
// when these alone are too many.
func (b *bounds) most(state []choice) int {
	best := 0
	for g, s := range state {
		if s == choiceOpen && b.value[g] > 0 {
			best += b.value[g]
		}
	}
	for i := range b.res {
		r := &b.res[i]
		left := r.minutes
		for g, s := range state {
			if s == choiceIn {
				left -= r.load[g]
			}
		}
		if left < 0 {
			return none
		}
		sum := 0
		for _, g := range r.dense {
			if state[g] != choiceOpen || b.value[g] <= 0 {
				continue
			}
			if r.load[g] > left {
				sum += int(int64(b.value[g]) * left / r.load[g])
				break
			}
			left -= r.load[g]
			sum += b.value[g]
		}
		best = min(best, sum)
	}
	return best
}

// maxCells is how large a table the bound of the value may use
// (judgement).
const maxCells = 2_000_000

// highest returns a value that no packing exceeds: the best choice of groups of
// which each resource alone has enough minutes.
func (b *bounds) highest() int {
	state := make([]choice, len(b.raw))
	base := 0
	for g := range state {
		switch {
		case !b.m.visits[b.m.groups[g][0]].possible:
			state[g] = choiceOut
		case b.must[g]:
			state[g] = choiceIn
			base += b.value[g]
		}
	}
	best := b.most(state)
	if best == none {
		return base // not all that must be served can be
	}
	for i := range b.res {
		best = min(best, b.table(&b.res[i], state, best))
	}
	return base + best
}

// table returns the best value of open groups for which r has enough minutes,
// or limit when that would take too long.
func (b *bounds) table(r *resource, state []choice, limit int) int {
	left := r.minutes
	for g, s := range state {
		if s == choiceIn {
			left -= r.load[g]
		}
	}
	if left*int64(len(state)) > maxCells {
		return limit
	}
	best := make([]int, left+1) // by minutes
	for g, s := range state {
		if s != choiceOpen || b.value[g] <= 0 {
			continue
		}
		for n := left; n >= r.load[g]; n-- {
			best[n] = max(best[n], best[n-r.load[g]]+b.value[g])
		}
	}
	return best[left]
}

// soonest returns a minute before which no packing of all visits ends: each
// resource needs enough minutes between the earliest time at which some use of
// it can begin and the latest at which one has to end.
func (b *bounds) soonest() int32 {
	var best int32
	for i := range b.m.visits {
		best = max(best, b.m.visits[i].from+b.m.visits[i].least)
	}
	for i := range b.res {
		r := &b.res[i]
		var load int64
		head, tail := forever, forever
		for i := range b.m.visits {
			load += b.need(i, r.units)
			b.each(i, r.units, func(_ *job, k int) {
				blk := &b.m.blocks[k]
				before, after := b.m.around(i, blk)
				head, tail = min(head, b.m.visits[i].from+before), min(tail, after)
			})
		}
		if load == 0 {
			continue
		}
		lo, hi := best, int32(b.m.p.Shop.Minutes)+1
		for lo < hi {
			if mid := (lo + hi) / 2; b.minutes(r.units, head, mid-tail) >= load {
				hi = mid
			} else {
				lo = mid + 1
			}
		}
		best = max(best, lo)
	}
	return best
}

// around returns how long visit i lasts at least before and after block b.
func (m *model) around(i int, b *block) (before, after int32) {
	v, base := &m.visits[i], m.start[i]
	before, after = b.offA, -b.offB
	for k, d := range v.phases {
		if k < len(v.min) {
			d += v.min[k]
		}
		if base+int32(k) < b.a {
			before += d
		}
		if base+int32(k) >= b.b {
			after += d
		}
	}
	return before, after
}

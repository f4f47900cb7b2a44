package packing

import (
	"math/bits"
	"slices"
	"sort"
)

// arc is the rule that to starts at least by minutes after the point it is
// listed at, or for back the other way round.
type arc struct {
	to int32
	by int32
}

// raise lets p start no earlier than at.
func (o *orders) raise(p, at int32) bool {
	if at <= o.lo[p] {
		return true
	}
	if at > o.hi[p] {
		return false
	}
	o.note(changeLo, p, int64(o.lo[p]))
	o.lo[p] = at
	o.push(p)
	return true
}

// lower lets p start no later than at.
func (o *orders) lower(p, at int32) bool {
	if at >= o.hi[p] {
		return true
	}
	if at < o.lo[p] {
		return false
	}
	o.note(changeHi, p, int64(o.hi[p]))
	o.hi[p] = at
	o.push(p)
	return true
}

// patience is how many conclusions are drawn between two looks at the time. They
// are few but for rules that push each other on minute by minute (judgement).
const patience = 10_000

// spread draws the conclusions from everything decided so far. It reports false
// when nothing can keep all rules, or when the time is over.
func (o *orders) spread() bool {
	for n := 1; ; {
		for ; len(o.queue) > 0; n++ {
			if n%patience == 0 && o.over != nil && o.over() {
				return false
			}
			p := o.queue[len(o.queue)-1]
			o.queue = o.queue[:len(o.queue)-1]
			o.queued[p] = false
			if !o.relax(p) {
				return false
			}
		}
		done := true
		for u := range o.dirty {
			if o.dirty[u] {
				o.dirty[u] = false
				done = false
				if !o.separate(u) {
					return false
				}
			}
		}
		if done {
			return true
		}
	}
}

// relax draws the conclusions from a new limit of p.
func (o *orders) relax(p int32) bool {
	for _, a := range o.chained[p] {
		if o.on[o.visitOf[a.to]] && !o.raise(a.to, o.lo[p]+a.by) {
			return false
		}
	}
	for _, a := range o.back[p] {
		if o.on[o.visitOf[a.to]] && !o.lower(a.to, o.hi[p]-a.by) {
			return false
		}
	}
	for k := o.out[p]; k >= 0; k = o.arcs[k].out {
		if a := &o.arcs[k]; !o.raise(a.to, o.lo[p]+a.by) {
			return false
		}
	}
	for k := o.in[p]; k >= 0; k = o.arcs[k].in {
		if a := &o.arcs[k]; !o.lower(a.from, o.hi[p]-a.by) {
			return false
		}
	}
	i := int(o.visitOf[p])
	if first, last := o.m.start[i], o.m.start[i+1]-1; p == first || p == last {
		if !o.open(i, first, last) {
			return false
		}
	}
	for _, b := range o.byPoint[p] {
		if !o.fit(b) {
			return false
		}
	}
	return true
}

// open keeps visit i inside one opening window and on its grid.
func (o *orders) open(i int, first, last int32) bool {
	v := &o.m.visits[i]
	off := v.phases[len(v.phases)-1]
	from, to := earliest(o.opening, o.lo[first], o.lo[last]+off, v.least), latest(o.opening, o.hi[first], o.hi[last]+off, v.least)
	if from == forever || to == -forever {
		return false
	}
	if g := v.grid; g > 1 && o.stands[i] == standMoves {
		from = (from + g - 1) / g * g
		if !o.lower(first, o.hi[first]/g*g) {
			return false
		}
	}
	return o.raise(first, from) && o.lower(last, to-off)
}

// earliest returns the first start, from from on, of a use of at least least
// minutes that ends at to or later inside one of runs, forever if there is none.
func earliest(runs []run, from, to, least int32) int32 {
	need := max(to, from+least)
	for n := sort.Search(len(runs), func(i int) bool { return runs[i].to >= need }); n < len(runs); n++ {
		if at := max(from, runs[n].from); at+least <= runs[n].to {
			return at
		}
	}
	return forever
}

// latest returns the last end, up to to, of a use of at least least minutes that
// begins at from or earlier inside one of runs, -forever if there is none.
func latest(runs []run, from, to, least int32) int32 {
	need := min(from, to-least)
	for n := sort.Search(len(runs), func(i int) bool { return runs[i].from > need }) - 1; n >= 0; n-- {
		if at := min(to, runs[n].to); at-least >= runs[n].from {
			return at
		}
	}
	return -forever
}

// fit keeps block k inside the free time of the units that its job can get.
func (o *orders) fit(k int32) bool {
	b := &o.m.blocks[k]
	j := &o.m.jobs[b.job]
	lo, hi := o.lo[b.a]+b.offA, o.hi[b.a]+b.offA
	endLo, endHi := o.lo[b.b]+b.offB, o.hi[b.b]+b.offB
	if c := o.unit[b.job]; c >= 0 {
		runs := o.m.vars[j.vars[c]].runs
		from, to := earliest(runs, lo, endLo, b.least), latest(runs, hi, endHi, b.least)
		if from > hi || to < endLo {
			return false
		}
		o.dirty[j.cand[c]] = true
		return o.raise(b.a, from-b.offA) && o.lower(b.b, to-b.offB)
	}
	first, last := forever, -forever
	for left := o.dom[b.job]; left != 0; left &= left - 1 {
		c := bits.TrailingZeros64(left)
		runs := o.m.vars[j.vars[c]].runs
		from, to := earliest(runs, lo, endLo, b.least), latest(runs, hi, endHi, b.least)
		if from > hi || to < endLo {
			if !o.exclude(b.job, int32(c)) {
				return false
			}
			continue
		}
		first, last = min(first, from), max(last, to)
	}
	return first <= hi && o.raise(b.a, first-b.offA) && o.lower(b.b, last-b.offB)
}

// exclude takes candidate c from job j. A job with one candidate left gets it.
func (o *orders) exclude(j int, c int32) bool {
	bit := uint64(1) << c
	if o.dom[j]&bit == 0 {
		return true
	}
	if o.dom[j] == bit {
		return false
	}
	o.note(changeDom, int32(j), int64(o.dom[j]))
	o.dom[j] &^= bit
	if o.unit[j] < 0 && o.dom[j]&(o.dom[j]-1) == 0 {
		return o.assign(j, int32(bits.TrailingZeros64(o.dom[j])))
	}
	return true
}

// assign gives job j its candidate c.
func (o *orders) assign(j int, c int32) bool {
	if o.unit[j] == c {
		return true
	}
	if o.unit[j] >= 0 || o.dom[j]&(1<<c) == 0 {
		return false
	}
	job := &o.m.jobs[j]
	u := job.cand[c]
	o.note(changeUnit, int32(j), int64(o.unit[j]))
	o.unit[j] = c
	o.note(changeDom, int32(j), int64(o.dom[j]))
	o.dom[j] = 1 << c
	o.note(changeList, u, int64(len(o.atUnit[u])))
	for _, b := range job.blocks {
		o.atUnit[u] = append(o.atUnit[u], int32(b))
		o.push(o.m.blocks[b].a)
		o.clears[b] = job.clear[c]
	}
	o.dirty[u] = true
	for _, other := range job.other {
		if !o.on[o.m.jobs[other].visit] {
			continue
		}
		if k := slices.Index(o.m.jobs[other].cand, u); k >= 0 && !o.exclude(other, int32(k)) {
			return false
		}
	}
	return true
}

// before puts block x before block y, which are of different visits and have
// the same unit.
func (o *orders) before(x, y int32) bool {
	n := int32(len(o.m.blocks))
	for _, i := range []int32{x*n + y, y*n + x} {
		if !o.pair.has(i) {
			o.note(changePair, i, 0)
			o.pair[i>>6] |= 1 << (i & 63)
		}
	}
	a, b := &o.m.blocks[x], &o.m.blocks[y]
	return o.arc(a.b, b.a, a.offB+o.clear(x)-b.offA)
}

// arc adds the rule that to starts at least by minutes after from.
func (o *orders) arc(from, to, by int32) bool {
	k := int32(len(o.arcs))
	o.note(changeArc, 0, 0)
	o.arcs = append(o.arcs, link{from: from, to: to, by: by, out: o.out[from], in: o.in[to]})
	o.out[from], o.in[to] = k, k
	return o.raise(to, o.lo[from]+by) && o.lower(from, o.hi[to]-by)
}

// separate settles the orders of blocks on unit u that are possible in one way
// only.
func (o *orders) separate(u int) bool {
	list := o.atUnit[u]
	for i, x := range list {
		for _, y := range list[:i] {
			if o.m.blocks[x].visit == o.m.blocks[y].visit || o.settled(x, y) {
				continue
			}
			xy, yx := o.slack(x, y, o.clear(x)) >= 0, o.slack(y, x, o.clear(y)) >= 0
			switch {
			case !xy && !yx:
				return false
			case !yx && !o.before(x, y):
				return false
			case !xy && !o.before(y, x):
				return false
			}
		}
	}
	return true
}

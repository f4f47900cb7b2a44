package packing

import (
	"math/bits"
	"math/rand/v2"
	"slices"
)

// search looks through all ways to decide what orders leaves open.
type search struct {
	o     *orders
	crowd *crowd       // nil for a short search, in which it does not pay
	r     *rand.Rand   // nil for the same choices every time
	tick  func() bool  // called before every step; false stops the search
	found func() bool  // called for every packing; false stops the search
	until func() int32 // minute by which all has to end
	spend func() int   // what moving may cost at most
}

// run goes on from what is decided in o. It reports false when it was stopped
// before everything had been tried.
func (s *search) run() bool {
	o := s.o
	if !s.tick() {
		return false
	}
	if !o.endBy(s.until()) || !o.spread() || s.crowd != nil && !s.crowd.fits(o) || o.leastCost() > s.spend() {
		return true
	}
	if i := s.undecided(); i >= 0 {
		return s.try(func() bool { return o.keep(i) }) &&
			s.try(func() bool { o.move(i); return true })
	}
	j, left := s.unassigned()
	// Who leads decides most, and what is forced costs nothing to decide.
	if j >= 0 && (left <= 1 || o.m.leads(j)) {
		return s.branchUnits(j)
	}
	if x, y, ok := s.clash(); ok {
		if o.slack(x, y, o.clear(x)) < o.slack(y, x, o.clear(y)) {
			x, y = y, x
		}
		return s.try(func() bool { return o.before(x, y) }) && s.try(func() bool { return o.before(y, x) })
	}
	if j >= 0 {
		return s.branchUnits(j)
	}
	return s.leaf()
}

// try decides one thing, goes on and takes it back.
func (s *search) try(decide func() bool) bool {
	mark := s.o.mark()
	ok := !decide() || s.run()
	s.o.undo(mark)
	return ok
}

// undecided returns the visit, of those that may stay or move, that is dearest
// to move, -1 when there is none.
func (s *search) undecided() int {
	best, most := -1, -1
	for i, on := range s.o.on {
		if v := &s.o.m.visits[i]; on && s.o.stands[i] == standOpen && v.move > most {
			best, most = i, v.move
		}
	}
	return best
}

// clash returns two blocks that overlap at their earliest times, those whose
// order leaves the least slack.
func (s *search) clash() (x, y int32, ok bool) {
	o := s.o
	var least int32
	for _, list := range o.atUnit {
		for i, a := range list {
			for _, b := range list[:i] {
				if o.m.blocks[a].visit == o.m.blocks[b].visit || !s.overlaps(a, b, o.clear(a), o.clear(b)) || o.settled(a, b) {
					continue
				}
				ab, ba := o.slack(a, b, o.clear(a)), o.slack(b, a, o.clear(b))
				slack := min(ab, ba)*4 + max(ab, ba)
				if s.r != nil {
					slack += s.r.Int32N(slack/4 + 1)
				}
				if !ok || slack < least {
					x, y, ok, least = a, b, true, slack
				}
			}
		}
	}
	return x, y, ok
}

// overlaps reports whether blocks a and b, with their clearing, overlap at
// their earliest times.
func (s *search) overlaps(a, b, clearA, clearB int32) bool {
	o := s.o
	p, q := &o.m.blocks[a], &o.m.blocks[b]
	return o.lo[p.a]+p.offA < o.lo[q.b]+q.offB+clearB && o.lo[q.a]+q.offA < o.lo[p.b]+p.offB+clearA
}

// unassigned returns the job without a unit that is to be decided first, and how
// many units it has left to choose from; -1 when every job has one. Jobs with no
// or one unit left come first, then first roles, those with the most work before
// the others, then those with the fewest left.
func (s *search) unassigned() (job, left int) {
	o := s.o
	job = -1
	var best [3]int
	for i, on := range o.on {
		v := &o.m.visits[i]
		for j := v.job; on && j < v.job+v.jobs; j++ {
			if o.unit[j] >= 0 {
				continue
			}
			n := 0
			for left := o.dom[j]; left != 0; left &= left - 1 {
				if possible, _ := s.welcome(j, bits.TrailingZeros64(left)); possible {
					n++
				}
			}
			rank := o.rank(j, n)
			if n == 0 {
				return j, 0
			}
			if job < 0 || slices.Compare(rank[:], best[:]) < 0 {
				job, left, best = j, n, rank
			}
		}
	}
	return job, left
}

// rank orders jobs with n units left, the one to decide first being the least.
func (o *orders) rank(j, n int) [3]int {
	blocks := o.m.jobs[j].blocks
	work, soonest := 0, int(forever)
	for _, k := range blocks {
		work += int(o.m.blocks[k].least)
		soonest = min(soonest, int(o.lo[o.m.blocks[k].a]))
	}
	switch {
	case n <= 1:
		return [3]int{0, n, soonest}
	case o.m.leads(j):
		return [3]int{1, -work, soonest}
	default:
		return [3]int{2, n, soonest}
	}
}

// welcome reports whether candidate c of job j can still be had beside the
// blocks of its unit, and with how many of them it would overlap.
func (s *search) welcome(j, c int) (possible bool, clashes int) {
	o := s.o
	job := &o.m.jobs[j]
	for _, b := range job.blocks {
		x := int32(b)
		for _, y := range o.atUnit[job.cand[c]] {
			if o.m.blocks[x].visit == o.m.blocks[y].visit {
				continue
			}
			if o.slack(x, y, job.clear[c]) < 0 && o.slack(y, x, o.clear(y)) < 0 {
				return false, 0
			}
			if s.overlaps(x, y, job.clear[c], o.clear(y)) {
				clashes++
			}
		}
	}
	return true, clashes
}

// branchUnits gives job j one candidate after the other, those that overlap
// with the least first. Of unused units that nothing tells apart one is enough.
func (s *search) branchUnits(j int) bool {
	o := s.o
	job := &o.m.jobs[j]
	type option struct{ c, clashes int }
	var options []option
	for left := o.dom[j]; left != 0; left &= left - 1 {
		c := bits.TrailingZeros64(left)
		possible, clashes := s.welcome(j, c)
		if !possible {
			continue
		}
		fresh := len(o.atUnit[job.cand[c]]) == 0
		for _, p := range options {
			if u, w := job.cand[c], job.cand[p.c]; fresh && len(o.atUnit[w]) == 0 && o.alike[u] == o.alike[w] {
				possible = false
			}
		}
		if possible {
			options = append(options, option{c, clashes})
		}
	}
	for n := range options {
		best := n
		for k := n + 1; k < len(options); k++ {
			if options[k].clashes < options[best].clashes || s.r != nil && options[k].clashes == options[best].clashes && s.r.IntN(2) == 0 {
				best = k
			}
		}
		options[n], options[best] = options[best], options[n]
		if !s.try(func() bool { return o.assign(j, int32(options[n].c)) }) {
			return false
		}
	}
	return true
}

// leaf handles a packing. Earliest starts are best for everything but for
// visits that start before their place of today: these are split further until
// no cheaper packing is left.
func (s *search) leaf() bool {
	o := s.o
	actual, split := 0, -1
	for i, on := range o.on {
		v := &o.m.visits[i]
		if !on || v.stay == nil || o.stands[i] == standKeeps {
			continue
		}
		p := o.m.start[i]
		by := o.lo[p] - v.stay.at[0]
		actual += v.move + v.perMinute*int(max(by, -by))
		if by < 0 && o.hi[p] > o.lo[p] && v.perMinute > 0 {
			split = i
		}
	}
	if actual <= s.spend() && !s.found() {
		return false
	}
	if split < 0 || o.leastCost() > s.spend() {
		return true
	}
	p := o.m.start[split]
	mid := o.m.visits[split].stay.at[0]
	if mid > o.hi[p] {
		mid = o.lo[p] + (o.hi[p]-o.lo[p]+1)/2
	}
	return s.try(func() bool { return o.raise(p, mid) }) && s.try(func() bool { return o.lower(p, mid-1) })
}

package packing

import (
	"math/rand/v2"
	"slices"
)

// aim says which of the places that a visit can have is taken.
type aim int

const (
	aimEarliest aim = iota // the one that ends first
	aimEdge                // the first or the last of a stretch of starts
	aimAny                 // any start
	aimNear                // the one that starts nearest to a wanted minute
)

// limits bound one insertion beside what the visit itself says.
type limits struct {
	from, to     int32 // start
	after, endBy int32 // end
	want         int32 // for aimNear
	barred       []int32
}

// inserter finds places for a visit between those that are placed already, all
// of which stay where they are. Like the search for openings it works backwards
// through the phases: sets[i] holds the starts of phase i from which it and all
// later phases fit.
type inserter struct {
	// stop, when not nil, says that the time is over: what has been found so
	// far is then the answer.
	stop   func() bool
	halted bool
	tried  bool // a way to bind the jobs, since the search for a place began

	m *model
	c *calendar
	r *rand.Rand

	v      *visit
	lim    limits
	aim    aim
	w      window
	lo, hi []int32 // limits of the start of each phase, counted from the window
	bound  []int32 // candidate of each role, -1 while there is none
	sets   []minuteSet
	byRole [][]minuteSet // by role and phase: starts at which its unit is free
	pools  []minuteSet   // by phase
	known  []bool        // by phase: pools is worked out
	starts minuteSet     // sets[0] on the grid
	grids  map[int32]minuteSet
	a, b   minuteSet
	counts []minuteSet
	best   found
}

func newInserter(m *model, c *calendar, r *rand.Rand) *inserter {
	return &inserter{m: m, c: c, r: r, grids: map[int32]minuteSet{}}
}

// insert returns a place for visit i, nil when there is none. It changes
// nothing.
func (s *inserter) insert(i int, lim limits, aim aim) *placement {
	s.v, s.lim, s.aim, s.best.ok, s.tried = &s.m.visits[i], lim, aim, false, false
	s.lim.from, s.lim.to = max(lim.from, s.v.from), min(lim.to, s.v.to)
	s.lim.endBy = min(lim.endBy, s.v.endBy)
	if s.lim.from > s.lim.to {
		return nil
	}
	n := len(s.m.windows)
	first := 0
	if n > 1 && (aim == aimEdge || aim == aimAny) {
		first = s.r.IntN(n)
	}
	for k := range n {
		s.w = s.m.windows[(first+k)%n]
		if s.bounds() && (s.bind(0) || s.best.ok && aim == aimEarliest) {
			break
		}
	}
	if !s.best.ok {
		return nil
	}
	return s.written(i)
}

// over reports whether the time for inserting is over.
func (s *inserter) over() bool {
	s.halted = s.halted || s.stop != nil && s.stop()
	return s.halted
}

// resized returns sets with at least n sets of words each.
func resized(sets []minuteSet, n, words int) []minuteSet {
	for len(sets) < n {
		sets = append(sets, nil)
	}
	for i := range n {
		if cap(sets[i]) < words {
			sets[i] = make(minuteSet, words)
		}
		sets[i] = sets[i][:words]
	}
	return sets
}

// bounds works out between which minutes each phase can start in the window,
// and reports whether all can.
func (s *inserter) bounds() bool {
	v, n := s.v, len(s.v.phases)
	s.lo, s.hi = append(s.lo[:0], v.phases...), append(s.hi[:0], v.phases...)
	lo := max(s.w.from, s.lim.from)
	for i := range n {
		s.lo[i] = lo - s.w.from
		if i < n-1 {
			lo += v.phases[i] + v.min[i]
		}
	}
	s.lo[n-1] = max(s.lo[n-1], s.lim.after-v.phases[n-1]-s.w.from)
	hi := min(s.w.to, s.lim.endBy) - s.w.from
	for i := n - 1; i >= 0; i-- {
		s.hi[i] = hi - v.phases[i]
		if i > 0 {
			hi = s.hi[i] - v.min[i-1]
		}
	}
	s.hi[0] = min(s.hi[0], s.lim.to-s.w.from)
	for i := range n {
		if s.lo[i] > s.hi[i] {
			return false
		}
	}
	s.sets = resized(s.sets, n, s.w.n)
	s.pools = resized(s.pools, n, s.w.n)
	for len(s.byRole) < v.roles {
		s.byRole = append(s.byRole, nil)
	}
	for r := range v.roles {
		s.byRole[r] = resized(s.byRole[r], n, s.w.n)
	}
	two := resized([]minuteSet{s.a, s.b, s.starts}, 3, s.w.n)
	s.a, s.b, s.starts = two[0], two[1], two[2]
	s.known = append(s.known[:0], make([]bool, n)...)
	s.bound = s.bound[:0]
	for range v.roles {
		s.bound = append(s.bound, -1)
	}
	return true
}

// bind binds the roles from the r-th on in every way, and reports whether there
// is no need to go on.
func (s *inserter) bind(r int) bool {
	if r == s.v.roles {
		if s.tried && s.over() {
			return true // one way is always tried, so that a hurried packing is an answer
		}
		s.tried = true
		return s.chain() && s.choose()
	}
	j := &s.m.jobs[s.v.job+r]
	turn := s.r.IntN(max(len(j.cand), 1))
	if s.aim == aimNear && s.v.stay != nil && s.v.stay.unit[r] >= 0 {
		turn = int(s.v.stay.unit[r])
	}
	var tried [8]int
	n := 0
	for k := range j.cand {
		c := (k + turn) % len(j.cand)
		if s.taken(r, j.cand[c]) || s.likeOne(j, c, tried[:n]) {
			continue
		}
		if n < len(tried) {
			tried[n] = c
			n++
		}
		s.bound[r] = int32(c)
		if s.load(r) && s.bind(r+1) {
			return true
		}
		s.bound[r] = -1
	}
	return false
}

// taken reports whether u cannot have role r because it has another or is
// barred.
func (s *inserter) taken(r int, u int32) bool {
	if r == 0 && slices.Contains(s.lim.barred, u) {
		return true
	}
	for o := range r {
		if s.m.jobs[s.v.job+o].cand[s.bound[o]] == u {
			return true
		}
	}
	return false
}

// likeOne reports whether candidate c is as free in this window as one of those
// tried, so that it gives nothing new.
func (s *inserter) likeOne(j *job, c int, tried []int) bool {
	mine := s.c.in(s.c.free[j.vars[c]], s.w)
	for _, o := range tried {
		if s.m.classes[j.cand[o]] == s.m.classes[j.cand[c]] && slices.Equal(mine, s.c.in(s.c.free[j.vars[o]], s.w)) {
			return true
		}
	}
	return false
}

// free is the free time of the unit bound to role r.
func (s *inserter) free(r int) minuteSet {
	return s.c.in(s.c.free[s.m.jobs[s.v.job+r].vars[s.bound[r]]], s.w)
}

// load works out when the unit bound to role r is free for each phase that uses
// it, and reports whether it can be for all of them.
func (s *inserter) load(r int) bool {
	free := s.free(r)
	for i := range s.v.inPhase {
		if !slices.Contains(s.v.inPhase[i].roles, r) {
			continue
		}
		set := s.byRole[r][i]
		copy(set, free)
		set.erode(s.v.phases[i])
		if at := set.next(s.lo[i]); at < 0 || at > s.hi[i] {
			return false
		}
	}
	return true
}

// chain fills sets for the units bound, and reports whether a start is left.
func (s *inserter) chain() bool {
	v := s.v
	for i := len(v.phases) - 1; i >= 0; i-- {
		set, at := s.sets[i], &v.inPhase[i]
		if i == len(v.phases)-1 {
			clear(set)
			set.add(s.lo[i], s.hi[i]+1)
		} else {
			copy(set, s.sets[i+1])
			s.before(set, i)
			set.earlier(v.phases[i])
			set.keep(s.lo[i], s.hi[i]+1)
		}
		for _, r := range at.roles {
			set.and(s.byRole[r][i])
		}
		if len(at.tests) > 0 {
			s.fill(i)
			set.and(s.pools[i])
		}
		if set.empty() {
			return false
		}
	}
	return true
}

// before turns set, starts of phase i+1, into the ends of phase i that reach
// them.
func (s *inserter) before(set minuteSet, i int) {
	hold := s.v.inPhase[i].hold
	if len(hold) == 0 {
		set.reach(s.v.min[i], s.v.max[i])
		return
	}
	free := s.free(hold[0])
	if len(hold) > 1 {
		s.counts = resized(s.counts, 1, s.w.n)
		copy(s.counts[0], free)
		free = s.counts[0]
		for _, r := range hold[1:] {
			free.and(s.free(r))
		}
	}
	set.reachHeld(free, s.a, s.b, s.v.min[i], s.v.max[i])
}

// fill works out when the pool of phase i can be filled.
func (s *inserter) fill(i int) {
	if s.known[i] {
		return
	}
	out, d := s.pools[i], s.v.phases[i]
	clear(out)
	out.add(s.lo[i], s.hi[i]+1)
	s.known[i] = true
	for k := range s.v.inPhase[i].tests {
		t := &s.v.inPhase[i].tests[k]
		s.known[i] = s.known[i] && !t.clash
		s.counts = resized(s.counts, t.need, s.w.n)
		for n := range t.need {
			clear(s.counts[n])
		}
		for k, u := range t.units {
			if t.clash && s.working(i, u) {
				continue
			}
			copy(s.a, s.c.in(s.c.free[t.vars[k]], s.w))
			s.a.erode(d)
			for n := t.need - 1; n > 0; n-- {
				copy(s.b, s.counts[n-1])
				s.b.and(s.a)
				s.counts[n].or(s.b)
			}
			s.counts[0].or(s.a)
		}
		out.and(s.counts[t.need-1])
	}
}

// working reports whether u is bound to a role that phase i uses.
func (s *inserter) working(i int, u int32) bool {
	for _, r := range s.v.inPhase[i].roles {
		if s.m.jobs[s.v.job+r].cand[s.bound[r]] == u {
			return true
		}
	}
	return false
}

package openings

import (
	"slices"
	"sync"

	"chairblock/scheduling/timeline"
)

// solver is the working memory that looks for the least stay from one start. It
// finds, by interval lists and for more and more units
// bound to roles, the starts from which the rest of a chain can be carried out.
//
// A level holds for every step i the set F(i) of starts of that step from which
// it and all later steps fit: F(i) = S(i) ∩ {s : F(i+1) is reached from s +
// minutes(i) within the wait allowed}, S(i) being the starts at which step i
// itself has all it needs. While roles are still unbound their needs are left
// out, so each level contains the next and can be refined into it.
type solver struct {
	p     *Plan
	free  []timeline.List // by unit; only for units of the plan
	bound []int32         // by role, nobody while unbound

	from, to int32 // limits of the start, both included
	endBy    int32 // limit of the end

	levels []level

	ping, pong, hold timeline.List
	counter          timeline.Counter

	best best
}

// nobody is the unit of a role that is not bound.
const nobody int32 = -1

// level has the sets of one stage of refinement, by step. A set that did not
// change is shared with the level above; own is the memory for those that did.
type level struct {
	sets []timeline.List
	own  []timeline.List
}

var solvers = sync.Pool{New: func() any { return new(solver) }}

// newSolver takes a solver from the pool. Give it back with release.
func newSolver(p *Plan, snap *Snapshot) *solver {
	s := solvers.Get().(*solver)
	s.p = p
	s.free = p.freeLists(s.free, snap)
	s.bound = resize(s.bound, len(p.roles))
	for r := range s.bound {
		s.bound[r] = nobody
	}
	s.levels = resize(s.levels, len(p.roles)+3)
	for d := range s.levels {
		s.levels[d].sets = resize(s.levels[d].sets, len(p.full.steps))
		s.levels[d].own = resize(s.levels[d].own, len(p.full.steps))
	}
	return s
}

// freeLists returns the free time of the units of p by unit, in the memory of
// dst.
func (p *Plan) freeLists(dst []timeline.List, snap *Snapshot) []timeline.List {
	dst = resize(dst, len(p.roster.units))
	asks := len(p.spec.Clear)+len(p.spec.ClearLeast) > 0
	for _, u := range p.units {
		dst[u] = snap.times[u].own
		if asks {
			unit := &snap.shop.Units[u]
			dst[u] = snap.freeFor(u, p.spec.Clearing(unit.Kind, unit.Changeover))
		}
	}
	return dst
}

// release gives s back without keeping the caller's data alive.
func (s *solver) release() {
	s.p = nil
	clear(s.free)
	solvers.Put(s)
}

// resize returns list with n elements, keeping what it has and its memory.
func resize[T any](list []T, n int) []T {
	if n > cap(list) {
		list = append(list[:cap(list)], make([]T, n-cap(list))...)
	}
	return list[:n]
}

func (s *solver) taken(u int32) bool { return slices.Contains(s.bound, u) }

// open fills level 0 with the starts that the window w, the query and the
// lengths alone allow. It reports whether there are any.
func (s *solver) open(c *chain, w timeline.Span) bool {
	lv := &s.levels[0]
	n := len(c.steps)
	last := w.To // latest end of step i so that the rest still fits
	for i := n - 1; i >= 0; i-- {
		last -= c.steps[i].minutes
		lv.own[i] = append(lv.own[i][:0], timeline.Span{To: last + 1})
		if i > 0 {
			last -= c.lags[i-1].min
		}
	}
	lo, hi := max(w.From, s.from), s.to
	for i := range n {
		set := &lv.own[i][0]
		set.From, set.To = lo, min(set.To, hi+1)
		if set.From >= set.To {
			return false
		}
		lv.sets[i] = lv.own[i]
		if i < n-1 {
			lo += c.steps[i].minutes + c.lags[i].min
			hi += c.steps[i].minutes + c.lags[i].max
		}
	}
	return true
}

// bind refines level d into d+1 by the unit bound to the moving role r. It
// reports whether a start is left.
func (s *solver) bind(c *chain, d, r int) bool {
	above, lv := &s.levels[d], &s.levels[d+1]
	n := len(c.steps)
	first, last := above.sets[0], above.sets[n-1]
	u := s.bound[r]
	free := s.free[u].Around(timeline.Span{From: first[0].From, To: last[len(last)-1].To + c.steps[n-1].minutes})
	changed := false
	for i := n - 1; i >= 0; i-- {
		st := &c.steps[i]
		set := above.sets[i]
		if i < n-1 && (changed || slices.Contains(c.lags[i].hold, r)) {
			s.ping = s.before(s.ping[:0], c, i, lv.sets[i+1])
			lv.own[i] = timeline.Intersect(lv.own[i][:0], s.ping, set)
			set, changed = lv.own[i], true
		}
		if slices.Contains(st.roles, r) {
			s.ping = timeline.IntersectStarts(s.ping[:0], set, free, st.minutes)
			s.ping, lv.own[i] = lv.own[i], s.ping
			set, changed = lv.own[i], true
		}
		if len(set) == 0 {
			return false
		}
		lv.sets[i] = set
	}
	return true
}

// before appends the starts of step i from which next, a set of starts of step
// i+1, is reached while all bound roles that the wait holds are free.
func (s *solver) before(dst timeline.List, c *chain, i int, next timeline.List) timeline.List {
	minutes, l := c.steps[i].minutes, &c.lags[i]
	held := 0
	for _, r := range l.hold {
		u := s.bound[r]
		if u == nobody {
			continue
		}
		free := s.free[u].Around(timeline.Span{From: next[0].From - l.max, To: next[len(next)-1].To})
		if held++; held == 1 {
			s.hold = append(s.hold[:0], free...)
		} else {
			s.pong = timeline.Intersect(s.pong[:0], s.hold, free)
			s.hold, s.pong = s.pong, s.hold
		}
	}
	if held == 0 {
		return timeline.Reach(dst, next, minutes+l.min, minutes+l.max)
	}
	s.pong = timeline.ReachHeld(s.pong[:0], next, s.hold, l.min, l.max)
	return timeline.Shift(dst, s.pong, -minutes)
}

// fill refines level d into d+1 by the pools of every step. Pools that a role
// in use could clash with are left out while that role is unbound. It reports
// whether a start is left.
func (s *solver) fill(c *chain, d int) bool {
	above, lv := &s.levels[d], &s.levels[d+1]
	changed := false
	for i := len(c.steps) - 1; i >= 0; i-- {
		st := &c.steps[i]
		set := above.sets[i]
		if changed {
			s.ping = s.before(s.ping[:0], c, i, lv.sets[i+1])
			lv.own[i] = timeline.Intersect(lv.own[i][:0], s.ping, set)
			set = lv.own[i]
		}
		for t := range st.pools {
			if len(set) == 0 {
				return false
			}
			if s.test(&st.pools[t], set, st.minutes) {
				lv.own[i], s.ping = s.ping, lv.own[i]
				set, changed = lv.own[i], true
			}
		}
		if len(set) == 0 {
			return false
		}
		lv.sets[i] = set
	}
	return true
}

// test reports whether t takes anything away from set, a set of starts of a
// step of some minutes, and leaves what remains in s.ping.
func (s *solver) test(t *poolTest, set timeline.List, minutes int32) bool {
	for _, r := range t.without {
		if s.bound[r] == nobody {
			return false
		}
	}
	around := timeline.Span{From: set[0].From, To: set[len(set)-1].To + minutes}
	if t.need > 1 {
		for _, u := range t.units {
			if !s.atWork(t, u) {
				s.hold = timeline.IntersectStarts(s.hold[:0], set, s.free[u].Around(around), minutes)
				s.counter.Add(s.hold)
			}
		}
		s.ping = s.counter.AtLeast(s.ping[:0], t.need)
		return true
	}
	rest := set
	for _, u := range t.units {
		if s.atWork(t, u) {
			continue
		}
		s.hold = timeline.SubtractStarts(s.hold[:0], rest, s.free[u].Around(around), minutes)
		s.hold, s.pong = s.pong, s.hold
		if rest = s.pong; len(rest) == 0 {
			return false
		}
	}
	s.ping = timeline.Subtract(s.ping[:0], set, rest)
	return true
}

// atWork reports whether u works for a role in use, so that it cannot be taken
// for the pool.
func (s *solver) atWork(t *poolTest, u int32) bool {
	for _, r := range t.without {
		if s.bound[r] == u {
			return true
		}
	}
	return false
}

package openings

import (
	"slices"

	"chairblock/scheduling/timeline"
)

// best is the least stay found for one start.
type best struct {
	end   int32 // none while nothing was found
	bound []int32
	times []int32 // start of each step
}

const none int32 = 1<<31 - 1

// MinEnd returns the earliest minute at which a visit that begins at start can
// end, and false when start is not one of the starts.
func (x *StartSet) MinEnd(start Minute) (Minute, bool) {
	if !x.holds(x.all, start) {
		return 0, false
	}
	s := newSolver(x.p, x.snap)
	defer s.release()
	ok := s.earliest(&x.p.short, x, start, nobody)
	return Minute(s.best.end), ok
}

// Assign returns a schedule that begins at start and has the least stay, with
// the unit of id firstRole in the first role; "" leaves that free. It returns
// false when there is none.
//
// The choice is the same every time. Every phase begins as early as it can.
// Among equal ends, roles in their order take the first fitting unit by the
// order of Need.Kinds, then of the shop. Pools, in their order, take the first
// by Need.Kinds, then units that have a role in the visit, then by the shop.
func (x *StartSet) Assign(start Minute, firstRole string) (Schedule, bool) {
	ranges, first := x.all, nobody
	if firstRole != "" {
		u, ok := x.p.roster.index[firstRole]
		if !ok {
			return Schedule{}, false
		}
		ranges, first = x.startsOf(u), u
	}
	if !x.holds(ranges, start) {
		return Schedule{}, false
	}
	s := newSolver(x.p, x.snap)
	defer s.release()
	if !s.earliest(&x.p.full, x, start, first) {
		return Schedule{}, false
	}
	return s.schedule(), true
}

// earliest leaves the least stay from start, by chain c, in s.best.
func (s *solver) earliest(c *chain, x *StartSet, start Minute, first int32) bool {
	s.best.end = none
	q := x.q
	q.From, q.To = start, start
	s.from, s.to, s.endBy = q.limits()
	w, ok := x.snap.premises.Run(s.from)
	if !ok {
		return false
	}
	if !s.open(c, meet(w, timeline.Span{From: s.from, To: min(s.from+s.p.maxStay, s.endBy)})) {
		return false
	}
	s.choose(c, 0, first)
	return s.best.end != none
}

// choose binds the roles from d on, in the order of preference, and keeps what
// ends first. Level d has the starts of those bound so far.
func (s *solver) choose(c *chain, d int, first int32) {
	if d == len(s.p.roles) {
		if s.fill(c, d) {
			s.improve(c, d+1)
		}
		return
	}
	atLeast := s.greedy(c, d, nil)
	for _, u := range s.p.roles[d] {
		if atLeast >= s.best.end {
			return
		}
		if s.taken(u) || d == 0 && first != nobody && u != first {
			continue
		}
		s.bound[d] = u
		if s.bindAny(c, d) && s.greedy(c, d+1, nil) < s.best.end {
			s.choose(c, d+1, first)
		}
		s.bound[d] = nobody
	}
}

// bindAny is bind for level and role d, which may be a spanning one: then the
// visit has to end before the unit's free run does.
func (s *solver) bindAny(c *chain, d int) bool {
	if !slices.Contains(s.p.spanning, d) {
		return s.bind(c, d, d)
	}
	run, ok := s.free[s.bound[d]].Run(s.from)
	return ok && s.endIn(c, d, run.To)
}

// endIn refines level d into d+1 by the rule that the visit ends by limit.
func (s *solver) endIn(c *chain, d int, limit int32) bool {
	above, lv := &s.levels[d], &s.levels[d+1]
	for i := len(c.steps) - 1; i >= 0; i-- {
		if i == len(c.steps)-1 {
			lv.own[i] = timeline.Clip(lv.own[i][:0], above.sets[i],
				timeline.Span{From: s.from, To: limit - c.steps[i].minutes + 1})
		} else {
			s.ping = s.before(s.ping[:0], c, i, lv.sets[i+1])
			lv.own[i] = timeline.Intersect(lv.own[i][:0], s.ping, above.sets[i])
		}
		if lv.sets[i] = lv.own[i]; len(lv.sets[i]) == 0 {
			return false
		}
	}
	return true
}

// greedy returns the end of the visit when every step of level d begins as
// early as it can, and notes the starts in times unless that is nil. No other
// choice ends earlier: of two starts of a step, the earlier one never leads to
// a later end, because it can wait for whatever the later one can use.
func (s *solver) greedy(c *chain, d int, times []int32) int32 {
	at := s.from
	for i := range c.steps {
		if i > 0 {
			at, _ = s.levels[d].sets[i].Next(at + c.lags[i-1].min)
		}
		if times != nil {
			times[i] = at
		}
		at += c.steps[i].minutes
	}
	return at
}

// improve takes over what level d gives if that ends earlier than the best.
func (s *solver) improve(c *chain, d int) {
	if end := s.greedy(c, d, nil); end < s.best.end {
		s.best.end = end
		s.best.bound = append(s.best.bound[:0], s.bound...)
		s.best.times = resize(s.best.times, len(c.steps))
		s.greedy(c, d, s.best.times)
	}
}

// schedule writes the best of the full chain down and fills the pools.
func (s *solver) schedule() Schedule {
	units := s.p.roster.units
	out := Schedule{Roles: make(map[string]string, len(s.p.roles)), Phases: make([]Placed, len(s.p.pools))}
	for r, u := range s.best.bound {
		out.Roles[s.p.spec.Roles[r].Name] = units[u].ID
	}
	for i, ph := range s.p.spec.Phases {
		from := s.best.times[i]
		placed := Placed{Phase: ph.Name, Start: Minute(from), End: Minute(from) + ph.Minutes}
		for _, u := range s.pick(i, timeline.Span{From: from, To: int32(placed.End)}) {
			placed.Pool = append(placed.Pool, units[u].ID)
		}
		out.Phases[i] = placed
	}
	return out
}

// pick chooses the units for the pool of phase i during at.
func (s *solver) pick(i int, at timeline.Span) []int32 {
	left := make([]candidates, len(s.p.pools[i]))
	for e, c := range s.p.pools[i] {
		left[e] = s.preferred(c, i, at)
	}
	var out []int32
	for e := range left {
		// The first unit with which the rest of the pool can still be filled.
		fits := slices.IndexFunc(left[e], func(u int32) bool { return matchable(without(left[e+1:], u)) })
		if fits < 0 {
			break
		}
		u := left[e][fits]
		out = append(out, u)
		copy(left[e+1:], without(left[e+1:], u))
	}
	return out
}

// without returns jobs that u is not there for.
func without(jobs []candidates, u int32) []candidates {
	out := make([]candidates, len(jobs))
	for j, c := range jobs {
		out[j] = slices.DeleteFunc(slices.Clone(c), func(o int32) bool { return o == u })
	}
	return out
}

// preferred returns the candidates that are free for the pool of phase i during
// at, with the units that have a role in front of others of the same kind.
func (s *solver) preferred(c candidates, i int, at timeline.Span) candidates {
	units, ph := s.p.roster.units, s.p.spec.Phases[i]
	var out candidates
	for _, u := range c {
		run, ok := s.free[u].Run(at.From)
		role := slices.Index(s.best.bound, u)
		if ok && run.To >= at.To && (role < 0 || !slices.Contains(ph.Roles, s.p.spec.Roles[role].Name)) {
			out = append(out, u)
		}
	}
	for from := 0; from < len(out); {
		to := from
		for to < len(out) && units[out[to]].Kind == units[out[from]].Kind {
			to++
		}
		slices.SortStableFunc(out[from:to], func(a, b int32) int { return s.strange(a) - s.strange(b) })
		from = to
	}
	return out
}

// strange is 0 for a unit that has a role in the best schedule, else 1.
func (s *solver) strange(u int32) int {
	if slices.Contains(s.best.bound, u) {
		return 0
	}
	return 1
}

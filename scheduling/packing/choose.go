package packing

import "slices"

// found is the best place so far.
type found struct {
	ok    bool
	score int32
	at    []int32
	bound []int32
}

// choose takes a start out of sets[0], and reports whether there is no need to
// go on.
func (s *inserter) choose() bool {
	copy(s.starts, s.sets[0])
	if s.v.grid > 1 {
		s.starts.and(s.c.in(s.grid(s.v.grid), s.w))
	}
	first := s.starts.next(0)
	if first < 0 {
		return false
	}
	switch s.aim {
	case aimEarliest:
		if end := s.walk(first, nil); !s.best.ok || end < s.best.score {
			s.note(s.latest(first, end), end)
		}
		return false
	case aimNear:
		at := s.nearest(s.lim.want - s.w.from)
		if by := max(at+s.w.from-s.lim.want, s.lim.want-at-s.w.from); !s.best.ok || by < s.best.score {
			s.note(at, by)
		}
		return false
	case aimEdge:
		s.note(s.edge(), 0)
	case aimAny:
		s.note(s.starts.nth(s.r.IntN(s.starts.count())), 0)
	}
	return true
}

// grid returns the minutes of all windows that are multiples of n.
func (s *inserter) grid(n int32) minuteSet {
	if set, ok := s.grids[n]; ok {
		return set
	}
	set := make(minuteSet, s.m.words)
	for _, w := range s.m.windows {
		for at := (w.from + n - 1) / n * n; at < w.to; at += n {
			s.c.in(set, w).add(at-w.from, at-w.from+1)
		}
	}
	s.grids[n] = set
	return set
}

// walk starts every phase as early as it can after start, notes the starts in
// at unless that is nil, and returns the end. No other choice ends earlier.
func (s *inserter) walk(start int32, at []int32) int32 {
	for i, d := range s.v.phases {
		if i > 0 {
			start = s.sets[i].next(start + s.v.min[i-1])
		}
		if at != nil {
			at[i] = start + s.w.from
		}
		start += d
	}
	return start + s.w.from
}

// latest returns the last start from first on with the same end. Ends never
// fall with later starts.
func (s *inserter) latest(first, end int32) int32 {
	lo, hi := first, s.starts.last(s.hi[0])
	for lo < hi {
		mid := s.starts.last((lo + hi + 1) / 2)
		if mid == lo {
			if mid = s.starts.next((lo + hi + 1) / 2); mid < 0 || mid > hi {
				return lo
			}
		}
		if s.walk(mid, nil) == end {
			lo = mid
		} else {
			hi = s.starts.last(mid - 1)
		}
	}
	return lo
}

func (s *inserter) nearest(want int32) int32 {
	before, after := s.starts.last(want), s.starts.next(want)
	if before < 0 || after >= 0 && after-want < want-before {
		return after
	}
	return before
}

// edge returns the first or last start of a stretch of starts.
func (s *inserter) edge() int32 {
	at := s.starts.nth(s.r.IntN(s.starts.count()))
	step := int32(1)
	if s.r.IntN(2) == 0 {
		step = -1
	}
	for to := at; s.sets[0].has(to); to += step {
		if s.starts.has(to) {
			at = to
		}
	}
	return at
}

// note takes start over as the best.
func (s *inserter) note(start, score int32) {
	b := &s.best
	b.ok, b.score = true, score
	b.bound = append(b.bound[:0], s.bound...)
	b.at = append(b.at[:0], s.v.phases...)
	s.walk(start, b.at)
}

// written is the best place with its pools filled.
func (s *inserter) written(i int) *placement {
	v := s.v
	p := &placement{visit: i, at: slices.Clone(s.best.at), unit: make([]int32, v.jobs)}
	copy(p.unit, s.best.bound)
	for n := range v.phases {
		s.fillPool(p, n, 0)
	}
	return p
}

// fillPool chooses units for the pool of phase n from its e-th entry on, those
// that the visit has today first.
func (s *inserter) fillPool(p *placement, n, e int) bool {
	v, at := s.v, &s.v.inPhase[n]
	if e == len(at.pool) {
		return true
	}
	j := &s.m.jobs[v.job+at.pool[e]]
	turn := s.r.IntN(max(len(j.cand), 1))
	if v.stay != nil && v.stay.unit[at.pool[e]] >= 0 {
		turn = int(v.stay.unit[at.pool[e]])
	}
	for k := range j.cand {
		c := (k + turn) % len(j.cand)
		if !s.freeFor(j.vars[c], p.at[n], p.at[n]+v.phases[n]) || s.busy(p, at, e, j.cand[c]) {
			continue
		}
		p.unit[at.pool[e]] = int32(c)
		if s.fillPool(p, n, e+1) {
			return true
		}
	}
	return false
}

func (s *inserter) freeFor(variant, from, to int32) bool {
	for _, w := range s.m.windows {
		if w.from <= from && to <= w.to {
			return s.c.in(s.c.free[variant], w).holds(from-w.from, to-w.from)
		}
	}
	return false
}

// busy reports whether u already works in the phase of at, in a role or in one
// of the first e entries of the pool.
func (s *inserter) busy(p *placement, at *phaseJobs, e int, u int32) bool {
	for _, k := range append(at.roles[:len(at.roles):len(at.roles)], at.pool[:e]...) {
		if s.m.jobs[s.v.job+k].cand[p.unit[k]] == u {
			return true
		}
	}
	return false
}

package ranking

// free are the free runs of every unit, and of the premises last, for the
// clearing of one visit.
type free []runs

// fit moves at, lower bounds of the starts of all phases, to the least
// placement that is not before them, the roles being bound to way. No other
// placement from those bounds on begins any phase earlier. It returns the end of
// the visit, and false when there is none; at is then of no use.
//
// Every rule (a unit is free for a phase, a pool can be filled, a wait has a
// least and a longest, a held unit or a seat stays free) has the property that
// of two placements that keep it, the one made of the earlier start of each
// phase keeps it, too. So raising one start after the other until every rule is
// kept ends at the least placement.
func (v *visit) fit(f free, way []int32, at []minute) (end minute, ok bool) {
	for i := 0; ; {
		for i < len(v.phases) {
			back, ok := v.raise(f, way, at, i)
			if !ok {
				return 0, false
			}
			if back {
				i--
			} else {
				i++
			}
		}
		last := len(v.phases) - 1
		end = at[last] + v.phases[last].minutes
		start, ok := v.seatFrom(f, at[0], end)
		if !ok {
			return 0, false
		}
		if start == at[0] {
			return end, true
		}
		at[0], i = start, 0
	}
}

// raise moves the start of phase i to the first minute that phases before it and
// its own needs allow. It reports back when phase i-1 had to be moved for that.
func (v *visit) raise(f free, way []int32, at []minute, i int) (back, ok bool) {
	t := at[i]
	if i > 0 {
		t = max(t, at[i-1]+v.phases[i-1].minutes+v.gaps[i-1].min)
	}
	for {
		if t, ok = v.phases[i].next(f, way, t); !ok {
			return false, false
		}
		waited, ok := v.waitBefore(f, way, i, t)
		if !ok {
			return false, false
		}
		if waited == t {
			break
		}
		t = waited
	}
	at[i] = t
	if i == 0 {
		return false, true
	}
	g, before := &v.gaps[i-1], &at[i-1]
	d := v.phases[i-1].minutes
	earliest := t - g.max - d
	for _, r := range g.held {
		if *before+d < t && !f[way[r]].holds(*before+d, t) {
			if run, free := f[way[r]].run(t - 1); free {
				earliest = max(earliest, run.From-d)
			} else {
				earliest = t - d
			}
		}
	}
	if *before < earliest {
		*before = earliest
		return true, true
	}
	return false, true
}

// waitBefore returns the first minute from t on before which all units held in
// the wait before phase i are free for the least wait.
func (v *visit) waitBefore(f free, way []int32, i int, t minute) (minute, bool) {
	if i == 0 || v.gaps[i-1].min == 0 {
		return t, true
	}
	g := &v.gaps[i-1]
	for _, r := range g.held {
		x, ok := f[way[r]].next(t-g.min, g.min)
		if !ok {
			return 0, false
		}
		t = max(t, x+g.min)
	}
	return t, true
}

// next returns the first start of the phase from t on at which it has all that
// it needs.
func (p *phase) next(f free, way []int32, t minute) (minute, bool) {
	for again := true; again; {
		again = false
		for _, r := range p.roles {
			x, ok := f[way[r]].next(t, p.minutes)
			if !ok {
				return 0, false
			}
			if x > t {
				t, again = x, true
			}
		}
		for k := range p.tests {
			x, ok := p.tests[k].next(f, way, p, t)
			if !ok {
				return 0, false
			}
			if x > t {
				t, again = x, true
			}
		}
	}
	return t, true
}

// next returns a minute from from on before which the test cannot be passed, and
// from itself when it is passed there.
func (c *test) next(f free, way []int32, p *phase, from minute) (minute, bool) {
	if c.need == 1 {
		best, ok := minute(0), false
		for _, u := range c.units {
			if p.uses(way, u) {
				continue
			}
			if x, fits := f[u].next(from, p.minutes); fits && (!ok || x < best) {
				if best, ok = x, true; x == from {
					break
				}
			}
		}
		return best, ok
	}
	var first [8]minute // the first starts of need units, sorted
	n := 0
	for _, u := range c.units {
		if p.uses(way, u) {
			continue
		}
		x, fits := f[u].next(from, p.minutes)
		if !fits {
			continue
		}
		k := min(n, c.need-1)
		if n >= c.need && first[k] <= x {
			continue
		}
		for k > 0 && first[k-1] > x {
			first[k] = first[k-1]
			k--
		}
		first[k] = x
		n = min(n+1, c.need)
	}
	return first[c.need-1], n == c.need
}

// uses reports whether u works for a role in use, so that it cannot be taken
// for the pool.
func (p *phase) uses(way []int32, u int32) bool {
	for _, r := range p.roles {
		if way[r] == u {
			return true
		}
	}
	return false
}

// seatFrom returns start when every seat has a unit free from start to end,
// otherwise a later start before which some seat has none.
func (v *visit) seatFrom(f free, start, end minute) (minute, bool) {
	for i := range v.seats {
		best, ok := minute(0), false
	units:
		for _, u := range v.seats[i].units {
			for _, s := range f[u] {
				if s.To < end {
					continue
				}
				if from := max(s.From, start); !ok || from < best {
					best, ok = from, true
				}
				if best == start {
					break units
				}
				break
			}
		}
		if !ok {
			return 0, false
		}
		if best > start {
			return best, true
		}
	}
	return start, true
}

package ranking

import (
	"slices"

	"chairblock/scheduling/openings"
)

// placed is a visit at its time.
type placed struct {
	start, end minute
	at         []minute // start of each phase
	way        []int32  // unit of each role
	pool       []int32  // units of all pools, phase after phase
}

// complete completes a placement found for way: it takes a unit for every
// seat and fills the pools. Seats take the first unit that has room, pools the
// first by kind, then units that have a role in the visit.
func (v *visit) complete(f free, way []int32, p *placed) {
	p.way = append(p.way[:0], way...)
	p.pool = p.pool[:0]
	for i := range v.phases {
		ph := &v.phases[i]
		base := len(p.pool)
		p.pool = ph.fill(f, way, p.at[i], base, p.pool)
	}
	for _, s := range v.seats {
		if s.role < 0 {
			continue
		}
		for _, u := range s.units {
			if f[u].holds(p.start, p.end) {
				p.way[s.role] = u
				break
			}
		}
	}
}

// fill appends units for the pool entries from the one after those in
// pool[base:] on, the first choice with which the rest can be filled. It returns
// a list that is no longer when there is none.
func (p *phase) fill(f free, way []int32, at minute, base int, pool []int32) []int32 {
	e := len(pool) - base
	if e == len(p.pool) {
		return pool
	}
	for _, group := range p.pool[e].groups {
		for _, known := range [2]bool{true, false} {
			for _, u := range group {
				if slices.Contains(way, u) != known || p.uses(way, u) ||
					slices.Contains(pool[base:], u) || !f[u].holds(at, at+p.minutes) {
					continue
				}
				if out := p.fill(f, way, at, base, append(pool, u)); len(out) == base+len(p.pool) {
					return out
				}
			}
		}
	}
	return pool
}

// use is an interval in which a placed visit needs a unit.
type use struct {
	unit int32
	span
}

// uses appends what p uses, phase by phase; stretches of one unit may touch.
func (v *visit) uses(dst []use, p *placed) []use {
	for _, r := range v.hard {
		open := use{unit: nobody}
		for i := range v.phases {
			to := p.at[i]
			if slices.Contains(v.phases[i].roles, r) {
				to += v.phases[i].minutes
			} else if i == 0 || !slices.Contains(v.gaps[i-1].held, r) {
				continue
			}
			from := p.at[i]
			if i > 0 && slices.Contains(v.gaps[i-1].held, r) {
				from = p.at[i-1] + v.phases[i-1].minutes
			}
			if open.unit != nobody && open.To == from {
				open.To = to
				continue
			}
			if open.unit != nobody && open.From < open.To {
				dst = append(dst, open)
			}
			open = use{p.way[r], span{From: from, To: to}}
		}
		if open.unit != nobody && open.From < open.To {
			dst = append(dst, open)
		}
	}
	k := 0
	for i := range v.phases {
		for range v.phases[i].pool {
			dst = append(dst, use{p.pool[k], span{From: p.at[i], To: p.at[i] + v.phases[i].minutes}})
			k++
		}
	}
	for _, s := range v.seats {
		if s.role >= 0 {
			dst = append(dst, use{p.way[s.role], span{From: p.start, To: p.end}})
		}
	}
	return dst
}

// settle moves the waits of p towards its beginning as far as the same units
// allow it, as openings.Settle does.
func (v *visit) settle(f free, p *placed) {
	for last := len(v.phases) - 2; last > 0; {
		first := v.chainStart(last)
		if first == 0 {
			return
		}
		room := min(p.at[last+1]-p.at[last]-v.phases[last].minutes-v.gaps[last].min,
			p.at[first-1]+v.phases[first-1].minutes+v.gaps[first-1].max-p.at[first])
		for by := room; by > 0; by-- {
			if v.movable(f, p, first, last, by) {
				for i := first; i <= last; i++ {
					p.at[i] += by
				}
				break
			}
		}
		last = first - 1
	}
}

// chainStart returns the first of the phases that end with last and have no
// freedom in the waits between them.
func (v *visit) chainStart(last int) int {
	for last > 0 && v.gaps[last-1].min == v.gaps[last-1].max {
		last--
	}
	return last
}

// movable reports whether the units of phases first to last are also free by
// minutes later.
func (v *visit) movable(f free, p *placed, first, last int, by minute) bool {
	for i := first; i <= last; i++ {
		from, to := p.at[i]+by, p.at[i]+by+v.phases[i].minutes
		for _, r := range v.phases[i].roles {
			if !f[p.way[r]].holds(from, to) {
				return false
			}
		}
		for _, u := range v.poolOf(p, i) {
			if !f[u].holds(from, to) {
				return false
			}
		}
	}
	for i := first - 1; i <= last; i++ {
		from, to := p.at[i]+v.phases[i].minutes, p.at[i+1]
		if i >= first {
			from += by
		}
		if i < last {
			to += by
		}
		for _, r := range v.gaps[i].held {
			if from < to && !f[p.way[r]].holds(from, to) {
				return false
			}
		}
	}
	return true
}

// poolOf returns the units of the pool of phase i.
func (v *visit) poolOf(p *placed, i int) []int32 {
	k := v.poolAt[i]
	return p.pool[k : k+len(v.phases[i].pool)]
}

// slack returns for how many minutes, at most limit, steps that cannot wait may
// overrun; see Parts.Slack.
func (v *visit) slack(f free, p *placed, limit minute) minute {
	for last := len(v.phases) - 1; last > 0; {
		first := v.chainStart(last)
		for i := first; first < last && i <= last; i++ {
			for _, r := range v.phases[i].roles {
				limit = min(limit, v.spare(f, p, p.way[r], p.at[i]))
			}
			for _, u := range v.poolOf(p, i) {
				limit = min(limit, v.spare(f, p, u, p.at[i]))
			}
		}
		if first < last {
			for _, s := range v.seats {
				u := s.units[0]
				if s.role >= 0 {
					u = p.way[s.role]
				}
				if run, ok := f[u].run(p.start); ok {
					limit = min(limit, run.To-p.end)
				}
			}
		}
		last = first - 1
	}
	return limit
}

// spare returns for how long u stays free after the last use that p makes of it
// in the free run that holds at.
func (v *visit) spare(f free, p *placed, u int32, at minute) minute {
	run, ok := f[u].run(at)
	if !ok {
		return 0
	}
	end := at
	for i := range v.phases {
		from, to := p.at[i], p.at[i]+v.phases[i].minutes
		if from >= run.To {
			break
		}
		if from < at {
			continue
		}
		if v.phases[i].uses(p.way, u) || slices.Contains(v.poolOf(p, i), u) {
			end = to
		}
		if i == len(v.gaps) || to == p.at[i+1] || to >= run.To {
			continue
		}
		if slices.ContainsFunc(v.gaps[i].held, func(r int) bool { return p.way[r] == u }) {
			end = p.at[i+1]
		}
	}
	return run.To - end
}

// schedule writes p down with names.
func (v *visit) schedule(units []openings.Unit, p *placed) openings.Schedule {
	out := openings.Schedule{Roles: make(map[string]string, len(p.way)), Phases: make([]openings.Placed, len(v.phases))}
	for r, u := range p.way {
		out.Roles[v.spec.Roles[r].Name] = units[u].ID
	}
	for i := range v.phases {
		ph := openings.Placed{Phase: v.spec.Phases[i].Name, Start: p.at[i], End: p.at[i] + v.phases[i].minutes}
		for _, u := range v.poolOf(p, i) {
			ph.Pool = append(ph.Pool, units[u].ID)
		}
		out.Phases[i] = ph
	}
	return out
}

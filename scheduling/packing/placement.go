package packing

import (
	"slices"

	"chairblock/scheduling/openings"
)

// placement is one way to carry out a visit. It is never changed.
type placement struct {
	visit int
	at    []int32 // start of each phase
	unit  []int32 // candidate of each job, by index into job.cand
}

// end returns the end of the last phase.
func (m *model) end(p *placement) int32 {
	n := len(p.at) - 1
	return p.at[n] + m.visits[p.visit].phases[n]
}

// uses calls f with every use of a unit by p: unit, minutes, the clearing after
// it and the variant of free time that it has to lie in.
func (m *model) uses(p *placement, f func(unit, from, to, clear, variant int32)) {
	v, base := &m.visits[p.visit], m.start[p.visit]
	for k := range v.jobs {
		j := &m.jobs[v.job+k]
		c := p.unit[k]
		for _, b := range j.blocks {
			b := &m.blocks[b]
			from, to := p.at[b.a-base]+b.offA, p.at[b.b-base]+b.offB
			if from < to {
				f(j.cand[c], from, to, j.clear[c], j.vars[c])
			}
		}
	}
}

// same reports whether two places of one visit are the same in every minute
// and unit.
func (p *placement) same(o *placement) bool {
	return slices.Equal(p.at, o.at) && slices.Equal(p.unit, o.unit)
}

// cost returns what p costs for not being where the visit stands today.
func (m *model) cost(p *placement) int {
	v := &m.visits[p.visit]
	if v.stay == nil || p.same(v.stay) {
		return 0
	}
	by := int(p.at[0] - v.stay.at[0])
	return v.move + v.perMinute*max(by, -by)
}

// schedule writes p out in the words of the problem.
func (m *model) schedule(p *placement) openings.Schedule {
	v, spec := &m.visits[p.visit], &m.p.Requests[p.visit].Visit
	id := func(k int) string { return m.p.Shop.Units[m.jobs[v.job+k].cand[p.unit[k]]].ID }
	out := openings.Schedule{Roles: make(map[string]string, v.roles), Phases: make([]openings.Placed, len(p.at))}
	for k, r := range spec.Roles {
		out.Roles[r.Name] = id(k)
	}
	for i, ph := range spec.Phases {
		out.Phases[i] = openings.Placed{Phase: ph.Name, Start: openings.Minute(p.at[i]),
			End: openings.Minute(p.at[i] + v.phases[i])}
		for _, k := range v.inPhase[i].pool {
			out.Phases[i].Pool = append(out.Phases[i].Pool, id(k))
		}
	}
	return out
}

// addStay turns the place that request i has today into a placement. It has
// none any more when its lead is no longer wanted; moving then costs the same.
func (m *model) addStay(i int) {
	s, v := m.p.Requests[i].Stay, &m.visits[i]
	if s == nil {
		return
	}
	p := &placement{visit: i, unit: make([]int32, v.jobs)}
	for _, ph := range s.Phases {
		p.at = append(p.at, int32(ph.Start))
	}
	set := func(k int, id string) {
		p.unit[k] = int32(slices.IndexFunc(m.jobs[v.job+k].cand,
			func(u int32) bool { return m.p.Shop.Units[u].ID == id }))
	}
	for k, r := range m.p.Requests[i].Visit.Roles {
		set(k, s.Roles[r.Name])
	}
	for n, ph := range s.Phases {
		for e, k := range v.inPhase[n].pool {
			set(k, ph.Pool[e])
		}
	}
	v.stay = p
}

// keepable reports whether the visit can keep the place that it has today, as
// far as its limits and the working hours go.
func (m *model) keepable(i int) bool {
	v := &m.visits[i]
	if v.stay == nil || slices.Contains(v.stay.unit, -1) || v.stay.at[0] < v.from || v.stay.at[0] > v.to || m.end(v.stay) > v.endBy {
		return false
	}
	if !slices.ContainsFunc(m.windows, func(w window) bool { return w.from <= v.stay.at[0] && m.end(v.stay) <= w.to }) {
		return false
	}
	free := true
	m.uses(v.stay, func(_, from, to, _, variant int32) {
		free = free && slices.ContainsFunc(m.vars[variant].runs, func(r run) bool { return r.from <= from && to <= r.to })
	})
	return free
}

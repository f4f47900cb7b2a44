package packing

import (
	"fmt"
	"strings"

	"chairblock/scheduling/openings"
)

// result writes the best packing down.
func (h *hunt) result(snap *openings.Snapshot, plans []*openings.Plan) *Result {
	m := h.k.m
	r := &Result{Complete: h.k.top.missing == 0, Proven: h.proven, Bound: h.bound}
	for i, p := range h.k.best {
		id := m.p.Requests[i].ID
		if p == nil {
			r.Unplaced = append(r.Unplaced, Unplaced{Request: id, Why: h.why(i, snap, plans[i])})
			continue
		}
		s := m.schedule(p)
		r.Placed = append(r.Placed, Placement{Request: id, Schedule: s})
		r.Value += m.visits[i].value - m.cost(p)
		r.Makespan = max(r.Makespan, openings.Minute(m.end(p)))
		if v := &m.visits[i]; v.stay != nil && !p.same(v.stay) {
			r.Moved = append(r.Moved, Moved{Request: id, From: openings.Minute(v.stay.at[0]), To: openings.Minute(p.at[0]),
				Units: m.changes(i, p), Cost: m.cost(p)})
		}
	}
	if h.proven && r.Complete {
		r.Bound = r.Value
		if m.p.Objective == MinMakespan {
			r.Bound = int(r.Makespan)
		}
	}
	return r
}

// changes lists the jobs of visit i that p gives to another unit than today.
func (m *model) changes(i int, p *placement) []UnitChange {
	v := &m.visits[i]
	before, after := m.p.Requests[i].Stay, m.schedule(p)
	var out []UnitChange
	add := func(job, from, to string) {
		if from != to {
			out = append(out, UnitChange{job, from, to})
		}
	}
	for k := range v.roles {
		name := m.jobs[v.job+k].name
		add(name, before.Roles[name], after.Roles[name])
	}
	for n, ph := range after.Phases {
		for e, id := range ph.Pool {
			add(ph.Phase, before.Phases[n].Pool[e], id)
		}
	}
	return out
}

// why says in words why visit i has no place.
func (h *hunt) why(i int, snap *openings.Snapshot, plan *openings.Plan) string {
	m := h.k.m
	v := &m.visits[i]
	if missing := plan.Missing(); len(missing) > 0 {
		return strings.Join(missing, "; ")
	}
	if _, fits, err := plan.Soonest(snap, m.p.Requests[i].Query); err == nil && !fits {
		return "nothing is free for it within its limits, even without the other requests"
	}
	for _, o := range m.groups[v.group] {
		if !v.possible && o != i {
			return fmt.Sprintf("it goes together with %s, and not all of these can be placed", m.p.Requests[o].ID)
		}
	}
	switch {
	case !h.proven:
		return "no room was found for it beside the others"
	case v.must:
		return "not all that must be served have room at the same time"
	default:
		return "there is no room for it beside others that are worth as much or more"
	}
}

package openings

import "slices"

// LeaveOut keeps everybody from the steps of a kind that they do not do: from
// being in charge of a service with such a step of the stylist's, and from such
// steps as an assistant, helper or watcher. Calling it again with the same units
// changes nothing.
func (p *VisitPlan) LeaveOut(units []Unit) {
	for i := range units {
		u := &units[i]
		if len(u.LeavesOut) == 0 {
			continue
		}
		for k, st := range p.Steps {
			if !slices.Contains(u.LeavesOut, string(st.Kind)) {
				continue
			}
			if st.Led {
				p.leaveOutLead(st.Lead, u.ID)
			}
			ph := &p.Spec.Phases[k]
			for j, role := range st.Pool {
				if role != RoleBasin {
					ph.Pool[j].without(u.ID)
				}
			}
		}
	}
}

func (p *VisitPlan) leaveOutLead(role, id string) {
	for i := range p.Spec.Roles {
		if r := &p.Spec.Roles[i]; r.Name == role {
			r.without(id)
		}
	}
}

// without adds id to those who cannot do the job.
func (n *Need) without(id string) {
	if !slices.Contains(n.Except, id) {
		n.Except = append(slices.Clip(n.Except), id)
	}
}

// WithoutLeads is the plan with nobody of ids in charge of a service for which
// no stylist is named. The plan itself stays as it is.
func (p *VisitPlan) WithoutLeads(ids ...string) *VisitPlan {
	out := *p
	out.Spec.Roles = slices.Clone(p.Spec.Roles)
	for i := range out.Spec.Roles {
		r := &out.Spec.Roles[i]
		if !slices.Contains(p.leads, r.Name) || len(r.Only) > 0 {
			continue
		}
		for _, id := range ids {
			r.without(id)
		}
	}
	return &out
}

package openings

import (
	"slices"

	"chairblock/scheduling"
)

// roleHeldBasin is the role of the basin that a visit keeps through a wait. It
// is one role however often that happens: the client is led back to the same
// basin.
const roleHeldBasin = "held_basin"

// keepsBasin reports for each step of services whether it takes place at a
// basin that is kept: the client stays there through a wait after it, or comes
// out of such a wait.
func keepsBasin(services []VisitService) []bool {
	var out []bool
	kept := false
	for _, s := range services {
		for _, st := range s.Steps {
			at := st.Where == scheduling.AtBasin
			holds := at && slices.Contains(st.Held, scheduling.HeldBasin)
			out = append(out, holds || at && kept)
			kept = holds
		}
	}
	return out
}

// hold lists the roles that the visit keeps in the wait after the last step that
// was added. seated is true when the client sits in the chair afterwards.
func (p *VisitPlan) hold(seated bool) []string {
	st := p.Steps[len(p.Steps)-1]
	var out []string
	if seated || st.Seated && slices.Contains(st.Held, scheduling.HeldChair) {
		out = append(out, RoleChair)
	}
	if st.BasinRole != "" && slices.Contains(st.Held, scheduling.HeldBasin) {
		out = append(out, st.BasinRole)
	}
	if slices.Contains(st.Held, scheduling.HeldLead) {
		out = append(out, st.Lead)
	}
	return out
}

// heldAfter lists the roles that are kept in the wait after phase i.
func (p *VisitPlan) heldAfter(i int) []string {
	if i < len(p.held) {
		return p.held[i]
	}
	return nil
}

// waitOf is the wait after step i of sch in which unit is held, and false when
// there is none.
func (p *VisitPlan) waitOf(sch Schedule, i int, unit string) (Span, bool) {
	for _, name := range p.heldAfter(i) {
		if s := (Span{sch.Phases[i].End, sch.Phases[i+1].Start}); sch.Roles[name] == unit && s.From < s.To {
			return s, true
		}
	}
	return Span{}, false
}

// staying is what the calendar of a stylist who is held in the wait after step i
// shows of it: it goes on as it was, or as it will be when she was away.
func (p *VisitPlan) staying(sch Schedule, i int, parts []Part) []Part {
	lead := sch.Roles[p.Steps[i].Lead]
	wait, ok := p.waitOf(sch, i, lead)
	if !ok {
		return parts
	}
	if n := len(parts); n > 0 && parts[n-1].To == wait.From && parts[n-1].Kind != PartAway {
		parts[n-1].To = wait.To
		return parts
	}
	kind := PartWatched
	for _, u := range p.Uses(sch, i+1) {
		if u.Unit == lead {
			kind = p.partKind(i+1, u)
		}
	}
	return append(parts, Part{Unit: lead, Kind: kind, Span: wait})
}

// partKind is what step i means to somebody who is in it as u.
func (p *VisitPlan) partKind(i int, u Use) PartKind {
	if !p.Steps[i].HandsOn && (u.Role == RoleLead || u.Role == RoleWatcher) {
		return PartWatched
	}
	return PartHandsOn
}

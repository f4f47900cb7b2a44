package delays

import (
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// Care is what no remedy may forget about a phase.
type Care struct {
	// Keep is true when the phase lasts as long as it was booked for, whatever
	// happens: processing and the checks between, neutralizer, a rinse, drying
	// before the iron.
	Keep bool
	// Timed is true when the phase may not last longer than it was booked for:
	// its step may not overrun.
	Timed bool
	// Product is true when product is on the hair, from its application until
	// the rinse begins. Once the first such phase has begun, the visit goes on to
	// the rinse as planned.
	Product bool
	// Share says who may share the phase as a second pair of hands; nil when
	// nobody may, or somebody does already.
	Share *openings.Need
	// Least is how long the phase takes people by their own records, in minutes by
	// unit, done alone; who is not there has none. No remedy asks for less.
	Least map[string]openings.Minute
}

// CareOf derives the care for each phase of a plan from the steps of its
// services. Product is taken to be on from an application, or from the step
// straight before one in which the hair works alone, until the next step at a
// basin.
func CareOf(plan *openings.VisitPlan) []Care {
	out := make([]Care, len(plan.Steps))
	on := false
	for i, st := range plan.Steps {
		if st.Where == scheduling.AtBasin || i > 0 && st.Service != plan.Steps[i-1].Service {
			on = false
		}
		if applies(plan.Steps, i) {
			on = true
		}
		out[i].Product = on
		out[i].Timed = !st.MayOverrun
		out[i].Keep = out[i].Timed || st.Where == scheduling.AtBasin || driesForIron(plan.Steps, i)
		if st.Helper && !out[i].Keep && !slices.Contains(st.Pool, openings.RoleHelper) {
			out[i].Share = share(plan, i)
		}
	}
	return out
}

// applies reports whether product goes onto the hair in step i, or is on it
// while the step lasts and was put on within it.
func applies(steps []openings.PlanStep, i int) bool {
	st := steps[i]
	if st.Where == scheduling.AtBasin {
		return false
	}
	if st.Kind.PutsOnSolution() || st.Kind == scheduling.Neutral || !st.HandsOn {
		return true
	}
	return st.WaitMax == 0 && i+1 < len(steps) && steps[i+1].Service == st.Service && !steps[i+1].HandsOn
}

// driesForIron reports whether step i stands between a basin and an iron, which
// must not touch hair that is wetter than the maker asks.
func driesForIron(steps []openings.PlanStep, i int) bool {
	if steps[i].Kind == scheduling.Dry1 {
		return true
	}
	return i > 0 && i+1 < len(steps) && steps[i-1].Where == scheduling.AtBasin && steps[i+1].Kind == scheduling.Iron
}

// share is who may be the second pair of hands in step i: a stylist with the
// skills of the one in charge where it is the stylist's step, anybody who may
// assist otherwise.
func share(plan *openings.VisitPlan, i int) *openings.Need {
	st := plan.Steps[i]
	if st.Who != scheduling.ByLead {
		return &openings.Need{Kinds: []openings.UnitKind{openings.Assistant, openings.Stylist}}
	}
	n := &openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}
	for _, r := range plan.Spec.Roles {
		if r.Name == st.Lead {
			n.Skills = slices.Clone(r.Skills)
		}
	}
	return n
}

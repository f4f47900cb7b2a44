package scheduling

import "slices"

// StandardAssistantSteps are the kinds of steps that an assistant may do until a
// salon says otherwise: wash, rinse and dry. Local rules differ; West Virginia
// Code §30-27-11a, for one, lets the holder of a shampoo assistant's permit only
// shampoo and rinse, take out rods and do basin work, under direct supervision.
// Solution, neutralizer and iron are the licensed person's work (common practice).
func StandardAssistantSteps() []StepKind {
	return []StepKind{"wash", "rinse", "rinse_1", "rinse_2", "rinse_short", "dry", "dry_1", "dry_2"}
}

// LedWhere gives the stylist in charge the steps of s that are left to an
// assistant although the kind is not among may. It returns s itself when there
// are none.
func (s Service) LedWhere(may []StepKind) Service {
	barred := func(st Step) bool { return st.Who == ByAssistant && !slices.Contains(may, st.Kind) }
	if !slices.ContainsFunc(s.Steps, barred) {
		return s
	}
	s.Steps = slices.Clone(s.Steps)
	for i := range s.Steps {
		if st := &s.Steps[i]; barred(*st) {
			st.Who = ByLead
		}
	}
	return s
}

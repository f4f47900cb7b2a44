package scheduling

import (
	"fmt"
	"slices"
	"strings"
)

// LongestService is the longest that the steps of a service may take together,
// waits included, in minutes: one day, the longest visit that is placed.
const LongestService = 24 * 60

// Means is what a salon has to carry out services with. What is missing
// altogether is taken as still to be entered.
type Means struct {
	// Leads are the skills of each active licensed person, one entry per person.
	Leads [][]string
	// Assistants is the number of active people who may only assist.
	Assistants     int
	Chairs, Basins int
	// LongestDay is the longest the salon is open without a break, in minutes; 0
	// when no hours are set.
	LongestDay int
	// Least is, by kind, below what no estimate of any hair books a step.
	Least map[StepKind]int
	// AssistantSteps are the kinds of steps that assistants may do here.
	AssistantSteps []StepKind
}

// Concern is something about a service that stops nobody from saving it.
type Concern struct {
	Code string // for programs, one of the Concern… constants
	Text string // for people
}

// Codes of concerns.
const (
	ConcernNoStaff    = "no_staff"
	ConcernNoStations = "no_stations"
	ConcernNoHours    = "no_hours"
	ConcernNoHelper   = "no_helper"
)

// Placeable returns Faults with every reason for which s can never be placed in
// a salon with m: a skill that nobody licensed has, a chair or basin that there
// is none of, a step for assistants that they may not do, or more minutes than
// the salon is ever open. A salon that has no people, no stations or no hours
// yet gets a concern instead, so that services can be entered first.
func (s Service) Placeable(m Means) ([]Concern, error) {
	var f Faults
	var out []Concern
	say := func(code, text string) { out = append(out, Concern{code, text}) }
	s.checkPeople(&f, m, say)
	s.checkStations(&f, m, say)
	if m.LongestDay == 0 {
		say(ConcernNoHours, "The salon has no opening hours yet: nothing can be booked until it has.")
	} else if n := s.leastMinutes(m.Least); n > m.LongestDay {
		f.Addf("steps", fmt.Sprintf("at most %d minutes, the longest that the salon is open", m.LongestDay), "take %d minutes at the very least, waits included", n)
	}
	return out, f.Err()
}

// checkPeople looks for whoever the steps need.
func (s Service) checkPeople(f *Faults, m Means, say func(code, text string)) {
	able := 0
	for _, skills := range m.Leads {
		if s.Skill == "" || slices.Contains(skills, s.Skill) {
			able++
		}
	}
	switch {
	case len(m.Leads) == 0:
		say(ConcernNoStaff, "Nobody licensed works here yet: nothing can be booked until somebody does.")
	case able == 0:
		f.Addf("skill", "a skill of somebody licensed who works here, or empty for anybody", "is %q, which nobody licensed who works here has", s.Skill)
	}
	var alone []string
	for i, st := range s.Steps {
		if st.Who == ByAssistant && !slices.Contains(m.AssistantSteps, st.Kind) {
			f.Addf(fmt.Sprintf("steps[%d].who", i), "lead, or a kind among the booking rule assistant_steps: "+kindsInWords(m.AssistantSteps),
				"lets an assistant do %q, which they may not do here", st.Kind)
		}
		if st.Helper && (st.Who == ByLead && able == 1 || st.Who != ByLead && able > 0 && len(m.Leads)+m.Assistants == 1) {
			alone = append(alone, st.Label)
		}
	}
	if len(alone) > 0 {
		say(ConcernNoHelper, "Nobody could be a second pair of hands for: "+strings.Join(alone, ", ")+". It will be done alone.")
	}
}

func kindsInWords(list []StepKind) string {
	if len(list) == 0 {
		return "none"
	}
	words := make([]string, len(list))
	for i, k := range list {
		words[i] = string(k)
	}
	return strings.Join(words, ", ")
}

func (s Service) checkStations(f *Faults, m Means, say func(code, text string)) {
	if m.Chairs+m.Basins == 0 {
		say(ConcernNoStations, "The salon has no chairs and basins yet: nothing can be booked until it has.")
		return
	}
	if m.Chairs == 0 {
		f.Add("steps", "need a chair, and the salon has none", "a chair among the stations first")
	}
	for i, st := range s.Steps {
		if st.Where == AtBasin && m.Basins == 0 {
			f.Add(fmt.Sprintf("steps[%d].where", i), "is basin, and the salon has none", "chair, or a basin among the stations first")
		}
	}
}

// leastMinutes is what the steps take at the very least, the shortest waits
// between them included.
func (s Service) leastMinutes(least map[StepKind]int) int {
	n := 0
	for i, st := range s.Steps {
		if st.Formula == FormulaHead {
			n += least[st.Kind]
		} else {
			n += st.Minutes
		}
		if i+1 < len(s.Steps) {
			n += st.WaitMin
		}
	}
	return n
}

// checkFormulas notes steps that take their minutes from the hair and do not go
// together, or with the rest of the service.
func (s Service) checkFormulas(f *Faults) {
	seen := map[StepKind]bool{}
	last, product := -1, -1 // in the order of an estimate; the step that put product on
	hair := false
	for i, st := range s.Steps {
		at := fmt.Sprintf("steps[%d].kind", i)
		if st.Where == AtBasin {
			product = -1
		}
		place := slices.Index(formulaKinds, st.Kind)
		if st.Formula != FormulaHead || place < 0 {
			continue
		}
		hair = true
		switch {
		case seen[st.Kind]:
			f.Addf(at, "each kind with a formula once", "is %q again, for which an estimate has minutes only once", st.Kind)
		case place < last:
			f.Addf(at, "the order "+kindsInWords(formulaKinds), "is %q after %q, which comes later in an estimate", st.Kind, formulaKinds[last])
		}
		seen[st.Kind], last = true, max(last, place)
		if st.Kind.PutsOnSolution() || st.Kind == Neutral {
			product = i
			if !s.Chemical {
				f.Addf("chemical", fmt.Sprintf("true: steps[%d] puts product on", i), "is false")
			}
		}
	}
	if product >= 0 {
		f.Addf(fmt.Sprintf("steps[%d].kind", product), "a step at the basin after it", "is %q, and nothing rinses the product out", s.Steps[product].Kind)
	}
	if s.Retouch && !hair {
		f.Add("retouch", "is true although no step takes its minutes from the hair", "false, or steps with the formula head")
	}
	if s.Aftercare && !s.Chemical {
		f.Add("aftercare", "is true for a service without chemicals", "false, or chemical true")
	}
}

// checkLength notes steps that no day can hold.
func (s Service) checkLength(f *Faults) {
	if n := s.leastMinutes(nil); n > LongestService {
		f.Addf("steps", fmt.Sprintf("at most %d minutes together", LongestService), "take %d minutes, waits included", n)
	}
}

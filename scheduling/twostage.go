package scheduling

import (
	"fmt"
	"slices"
	"strings"
)

// twoStages are the steps of solution in two stages, in their order. Nothing
// may stand between them, because product is on.
var twoStages = []StepKind{Apply1, Process1, Check1, Apply2, Process2, Check2}

// PutsOnSolution reports whether solution goes onto hair in a step of kind k.
func (k StepKind) PutsOnSolution() bool { return k == Apply || k == Apply1 || k == Apply2 }

// FirstStrand reports whether the first strand is wetted with solution in a
// step of kind k: the time that product stays on counts from its beginning.
func (k StepKind) FirstStrand() bool { return k == Apply || k == Apply1 }

// ChecksStrand reports whether a wet test strand is stretched and looked at in
// a step of kind k, hands on and by the stylist in charge.
func (k StepKind) ChecksStrand() bool { return k == Check1 || k == Check2 }

// WorksAlone reports whether solution works in a step of kind k while hands are
// off.
func (k StepKind) WorksAlone() bool { return k == Process || k == Process1 || k == Process2 }

// TwoStage reports whether solution goes on in two stages whose minutes come
// from the estimate of a head.
func (s Service) TwoStage() bool {
	return slices.ContainsFunc(s.Steps, func(st Step) bool { return st.Kind == Apply1 && st.Formula == FormulaHead })
}

// InBatches reports whether the application of s can be repeated for parts of
// the hair.
func (s Service) InBatches() bool {
	_, ok := expand(s.Steps, 2)
	return ok
}

// solution returns which steps put solution on and let it work, as the half-open
// range from the first strand to the rinse at a basin, and whether there are any
// whose minutes come from the estimate of a head.
func solution(steps []Step) (from, to int, ok bool) {
	from = slices.IndexFunc(steps, func(st Step) bool { return st.Kind.FirstStrand() && st.Formula == FormulaHead })
	if from < 0 {
		return 0, 0, false
	}
	kinds := []StepKind{Apply, Process}
	if steps[from].Kind == Apply1 {
		kinds = twoStages
	}
	to = from + len(kinds)
	ok = to < len(steps) && steps[to].Where == AtBasin && slices.EqualFunc(steps[from:to], kinds,
		func(st Step, k StepKind) bool { return st.Kind == k })
	return from, to, ok
}

// checkStages notes steps of two stages that do not belong together.
func (s Service) checkStages(f *Faults) {
	var found []StepKind
	first, one := -1, false
	for i, st := range s.Steps {
		switch {
		case st.Formula != FormulaHead:
		case slices.Contains(twoStages, st.Kind):
			if found = append(found, st.Kind); first < 0 {
				first = i
			}
		case st.Kind == Apply || st.Kind == Process:
			one = true
		}
	}
	if first < 0 {
		return
	}
	at := fmt.Sprintf("steps[%d].kind", first)
	if one {
		f.Add(at, "puts solution on in two stages beside steps that do so in one", "steps of one kind only")
	}
	if _, _, ok := solution(s.Steps); !ok || !slices.Equal(found, twoStages) {
		names := make([]string, len(twoStages))
		for i, k := range twoStages {
			names[i] = string(k)
		}
		f.Addf(at, strings.Join(names, ", ")+" one after the other, each once, and a step at the basin after them", "begins two stages that are not complete")
	}
	if s.Retouch {
		f.Add("retouch", "is true for solution in two stages, of which the second is for the ends", "false, or steps that put solution on in one stage")
	}
}

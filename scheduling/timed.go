package scheduling

import (
	"fmt"
	"slices"
)

// TimedStep is a step of a service with the minutes that will be booked.
type TimedStep struct {
	Step
	Length int // minutes, at least 1
}

// Time gives every step of s its minutes. For steps that follow the head they
// come from booked, the minutes of an estimate by kind in order; batches above
// one repeats application, processing and a short rinse. Steps of no length
// are left out.
//
// It returns Faults naming the step when a step has no minutes.
func (s Service) Time(booked map[StepKind][]int, batches int) ([]TimedStep, error) {
	var faults Faults
	next := map[StepKind]int{}
	var out []TimedStep
	add := func(i int, st Step) {
		n := st.Minutes
		if st.Formula == FormulaHead {
			k := next[st.Kind]
			if k >= len(booked[st.Kind]) {
				faults.Addf(fmt.Sprintf("steps[%d]", i), "an estimate of the hair", "%s has no minutes", st.Kind)
				return
			}
			n = booked[st.Kind][k]
			next[st.Kind]++
		}
		if n > 0 {
			out = append(out, TimedStep{Step: st, Length: n})
		}
	}
	steps := expand(s.Steps, batches)
	for i, st := range steps {
		add(i, st)
	}
	if len(out) == 0 && len(faults) == 0 {
		faults.Add("steps", "are all empty", "at least one step of a minute or more")
	}
	return out, faults.Err()
}

// expand repeats application, processing and a short rinse for each batch
// before the last.
func expand(steps []Step, batches int) []Step {
	at := slices.IndexFunc(steps, func(s Step) bool { return s.Kind == Apply })
	if batches < 2 || at < 0 || at+2 >= len(steps) || steps[at+1].Kind != Process {
		return steps
	}
	short := steps[at+2]
	short.Kind, short.Label = RinseShort, "Short rinse"
	short.WaitMin, short.WaitMax = 0, 5
	short.Helper = false
	out := slices.Clone(steps[:at])
	for range batches - 1 {
		out = append(out, steps[at], steps[at+1], short)
	}
	return append(out, steps[at:]...)
}

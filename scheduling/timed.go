package scheduling

import (
	"fmt"
	"slices"
)

// TimedStep is a step of a service with the minutes that will be booked.
type TimedStep struct {
	Step
	Length int // minutes, at least 1
	// Looks are the minutes after its start at which somebody looks at the
	// hair, while product is on and hands are off.
	Looks []int
}

// Time gives every step of s its minutes. For steps that follow the head they
// come from booked, the minutes of an estimate by kind in order; batches above
// one repeats application, processing and a short rinse, or both stages with
// their checks and a short rinse. Steps of no length
// are left out.
//
// It returns Faults naming the step when a step has no minutes, and batches
// when the service has no application that processing and a rinse follow.
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
	steps, ok := expand(s.Steps, batches)
	if !ok {
		faults.Addf("batches", "1: the service has no application, processing and rinse in a row", "is %d", batches)
	}
	for i, st := range steps {
		add(i, st)
	}
	if len(out) == 0 && len(faults) == 0 {
		faults.Add("steps", "are all empty", "at least one step of a minute or more")
	}
	return out, faults.Err()
}

// expand repeats everything from application to processing and a short rinse for each batch
// before the last, and reports false when the steps do not allow it.
func expand(steps []Step, batches int) ([]Step, bool) {
	if batches < 2 {
		return steps, true
	}
	from, to, ok := solution(steps)
	if !ok {
		return steps, false
	}
	short := steps[to]
	short.Kind, short.Label = RinseShort, RinseShort.Words()
	short.WaitMin, short.WaitMax = 0, 5
	short.Helper = false
	out := slices.Clone(steps[:from])
	for range batches - 1 {
		out = append(append(out, steps[from:to]...), short)
	}
	return append(out, steps[from:]...), true
}

// PlannedStep is a step as it stands in a booked visit.
type PlannedStep struct {
	Kind   StepKind
	Length int   // minutes
	Looks  []int // minutes after the start of the step
}

// Retime gives the steps of s the minutes that they have in a booked visit, so
// that it can be placed anew. planned are the visit's steps of this service, in
// order.
//
// It returns an *InvalidError when they are not steps of s.
func (s Service) Retime(planned []PlannedStep) ([]TimedStep, error) {
	batches := 1
	for _, p := range planned {
		if p.Kind == RinseShort {
			batches++
		}
	}
	steps, ok := expand(s.Steps, batches)
	if !ok {
		steps = s.Steps // the salon's own step of that name
	}
	var out []TimedStep
	for _, st := range steps { // steps without length are not in the visit
		if n := len(out); n < len(planned) && planned[n].Kind == st.Kind {
			out = append(out, TimedStep{Step: st, Length: planned[n].Length, Looks: planned[n].Looks})
		}
	}
	if len(out) < len(planned) {
		return nil, &InvalidError{Field: "steps", Problem: "are not those that the visit was booked with", Want: "the same version of the service"}
	}
	return out, nil
}

// Exposure is how long product stays on the first strand of any application in
// steps, in minutes: from the beginning of the application to the beginning of
// the next step at a basin, with the longest wait allowed after each step. It
// is 0 when nothing is applied.
func Exposure(steps []TimedStep) int {
	longest := 0
	for i, st := range steps {
		if !st.Kind.FirstStrand() {
			continue
		}
		n := 0
		for _, next := range steps[i:] {
			if next.Where == AtBasin {
				break
			}
			n += next.Length + next.WaitMax
		}
		longest = max(longest, n)
	}
	return longest
}

// SetLooks notes at which minutes of processing somebody looks at the hair:
// first minutes after the first strand was wetted, then every so many, counted
// anew from a check of a strand, but not in the last two minutes of a step,
// whose end is a check itself.
func SetLooks(steps []TimedStep, first, every int) {
	since := -1 // minutes since the first strand, -1 without product on
	next := first
	for i := range steps {
		st := &steps[i]
		switch {
		case st.Kind.FirstStrand():
			since, next = 0, first
		case st.Where == AtBasin:
			since = -1
		}
		if since < 0 {
			continue
		}
		if st.Watched && every > 0 {
			st.Looks = looksIn(next-since, every, st.Length)
		}
		since += st.Length
		if st.Kind.ChecksStrand() {
			next = since + every
		}
	}
}

func looksIn(next, every, length int) []int {
	for next <= 0 {
		next += every
	}
	var out []int
	for ; next <= length-2; next += every {
		out = append(out, next)
	}
	return out
}

package pace

import (
	"time"

	"chairblock/scheduling/chairtime"
)

// Visit is a finished visit as it was planned and as it went.
type Visit struct {
	ID string
	At time.Time // the planned start
	// Arrived is when the client came, nil when nobody noted it.
	Arrived *time.Time
	Out     Reason // why all of it does not count
	Steps   []Step
}

// Step is one step of a visit, in order.
type Step struct {
	Staff, With string
	chairtime.StepTime
	// Other is true for a step that the sheet knows nothing about: its planned
	// minutes stand in Mean.
	Other bool
	// Wait is the planned wait behind the step, in minutes.
	Wait float64
	// Out says why what was noted of the step does not count.
	Out Reason
	// Start and End are when somebody noted that it began and ended, nil where
	// nobody did.
	Start, End *time.Time
}

// edge is the beginning or the end of a step at a time that was noted.
type edge struct {
	step  int // the first step behind it
	at    time.Time
	press bool // a step was noted, and not just that the client came
	end   bool // it is the end of the step before, and not the beginning of this one
}

// Observations tells what a visit says about the pace of whoever worked on it.
// rho is the correlation of the logarithms of two of its steps.
//
// With a few presses a visit only some steps have both ends noted. What is known
// is how long it took from one press to the next. Of such a stretch the time
// that the product sets and the planned waits are taken off, and what is left is shared out over its
// hands-on steps in proportion to the sheet: each has the ratio of the stretch,
// and each counts as one part of it. A press at the end of a step and one at the
// beginning of the next leave the wait between them out.
//
// The stretch before the first step that was noted begins with the client's
// arrival, which is not when work began: it does not count, and neither does
// what nobody noted the end of.
func Observations(v Visit, rho float64) []Observation {
	var out []Observation
	edges := edgesOf(v)
	done := 0
	for k := 0; k+1 < len(edges); k++ {
		a, z := edges[k], edges[k+1]
		for ; done < a.step; done++ { // between an end and a later beginning
			out = notNoted(out, v, done)
		}
		if a.step >= z.step {
			continue
		}
		why := v.Out
		if why == "" && !a.press {
			why = Waiting
		}
		out = stretch(out, v, a, z, why, rho)
		done = z.step
	}
	for ; done < len(v.Steps); done++ {
		out = notNoted(out, v, done)
	}
	return out
}

// edgesOf lists what was noted of v in order, with the arrival before it.
func edgesOf(v Visit) []edge {
	var out []edge
	if v.Arrived != nil {
		out = append(out, edge{step: 0, at: *v.Arrived})
	}
	for i, s := range v.Steps {
		if s.Start != nil {
			out = append(out, edge{step: i, at: *s.Start, press: true})
		}
		if s.End != nil {
			out = append(out, edge{step: i + 1, at: *s.End, press: true, end: true})
		}
	}
	return out
}

// stretch adds the hands-on steps between two edges.
func stretch(out []Observation, v Visit, a, z edge, why Reason, rho float64) []Observation {
	steps := make([]chairtime.StepTime, 0, z.step-a.step)
	real := z.at.Sub(a.at).Minutes()
	other := false
	for i, s := range v.Steps[a.step:z.step] {
		if a.step+i+1 < z.step || !z.end {
			real -= s.Wait
		}
		if why == "" {
			why = s.Out
		}
		if s.hands() {
			steps = append(steps, s.StepTime)
			continue
		}
		real -= s.Mean
		other = other || s.Other
	}
	if len(steps) == 0 {
		return out
	}
	if other && why == "" { // its share is a guess, and so is the rest
		why = NotNoted
	}
	mean, sd := chairtime.Sum(steps, rho)
	if real <= 0 && why == "" {
		why, real = Unlikely, 0
	}
	for _, s := range v.Steps[a.step:z.step] {
		if !s.hands() {
			continue
		}
		out = append(out, Observation{Visit: v.ID, Staff: s.Staff, With: s.With, Kind: s.Kind, Sheet: s.Mean, SD: s.Mean * sd / mean,
			Real: max(real, 0) * s.Mean / mean, At: v.At, Steps: len(steps), Out: why})
	}
	return out
}

func notNoted(out []Observation, v Visit, i int) []Observation {
	s := v.Steps[i]
	if !s.hands() {
		return out
	}
	why := v.Out
	if why == "" {
		why = NotNoted
	}
	return append(out, Observation{Visit: v.ID, Staff: s.Staff, With: s.With, Kind: s.Kind, Sheet: s.Mean, SD: s.SD, At: v.At, Steps: 1, Out: why})
}

// hands reports whether the step has a pace.
func (s *Step) hands() bool { return !s.Fixed && !s.Other && chairtime.PaceKind(s.Kind) != "" }

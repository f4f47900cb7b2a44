package pace

import (
	"fmt"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// Reason says why an observation does not count.
type Reason string

// Reasons. The first ones are facts of the visit and come with it; the last
// ones are found while fitting.
const (
	StoppedEarly Reason = "stopped_early" // the visit ended before its time
	Interrupted  Reason = "interrupted"   // work stood still meanwhile
	Goodwill     Reason = "goodwill"      // minutes given away
	Correction   Reason = "correction"    // done again, on treated hair
	OtherHands   Reason = "other_hands"   // more or fewer pairs of hands than it was reckoned with
	NotNoted     Reason = "not_noted"     // both ends were inferred, and so is the stretch they lie in
	Waiting      Reason = "waiting"       // the client had come, but nobody noted when work began
	Unlikely     Reason = "unlikely"      // outside the bounds of what can be
	FarOff       Reason = "far_off"       // too far from everything else of that person
	SwitchedOff  Reason = "switched_off"  // learning is switched off for the person or the salon
	TooOld       Reason = "too_old"       // from before the date that records count from
)

// Reasons lists every reason in a fixed order.
var Reasons = []Reason{StoppedEarly, Interrupted, Goodwill, Correction, OtherHands, NotNoted, Waiting, Unlikely, FarOff, SwitchedOff, TooOld}

// factsOfVisits are the reasons that a record can bring along.
var factsOfVisits = map[Reason]bool{"": true, StoppedEarly: true, Interrupted: true, Goodwill: true, Correction: true, OtherHands: true,
	NotNoted: true, Waiting: true}

// Observation is one step of one visit whose real length is known.
type Observation struct {
	Visit string
	// Staff did it; With is the second pair of hands, "" for nobody. Two pairs
	// of hands have a pace of their own that says nothing of either person.
	Staff, With string
	Kind        scheduling.StepKind
	// Sheet and SD are the expected minutes by the sheet of that time, without
	// anybody's pace, and their standard deviation.
	Sheet, SD float64
	// Real is what it took, in minutes.
	Real float64
	At   time.Time
	// Steps is the number of steps that the noted stretch was shared out over, 1
	// when both ends of this one are known. One of four steps counts a quarter.
	Steps int
	// Out says why it does not count; "" when it does.
	Out Reason
}

// Bounds of an observation from outside: a day in minutes, and more steps than a visit can
// have (judgement).
const (
	mostMinutes = 24 * 60
	mostSteps   = 100
)

// Validate returns Faults naming every field, as in JSON, that is outside its
// range.
func (o Observation) Validate() error {
	var f scheduling.Faults
	if o.Staff == "" {
		f.Add("staff", "is missing", "who did the step")
	}
	if o.With != "" && o.With == o.Staff {
		f.Add("with", "is the same as staff", "the second person, or nothing")
	}
	if o.Kind == "" {
		f.Add("kind", "is missing", "a kind of step such as iron")
	} else if chairtime.PaceKind(o.Kind) == "" {
		f.Addf("kind", "a step that hands do: the product sets the length of this one", "is %q", string(o.Kind))
	}
	above := func(field string, v float64) {
		if !(v > 0 && v <= mostMinutes) {
			f.Addf(field, fmt.Sprintf("above 0, at most %d minutes", mostMinutes), "is %s", scheduling.Number(v))
		}
	}
	above("sheet_minutes", o.Sheet)
	above("real_minutes", o.Real)
	if !(o.SD >= 0 && o.SD <= mostMinutes) {
		f.Addf("sheet_sd_minutes", fmt.Sprintf("0 to %d minutes", mostMinutes), "is %s", scheduling.Number(o.SD))
	}
	if o.At.IsZero() {
		f.Add("at", "is missing", "when it was, as 2026-05-07T09:00:00+01:00")
	}
	f.Count("steps", o.Steps, 1, mostSteps)
	if !factsOfVisits[o.Out] {
		f.Addf("left_out", "stopped_early, interrupted, goodwill, correction, other_hands, not_noted, waiting or nothing", "is %q", string(o.Out))
	}
	return f.Err()
}

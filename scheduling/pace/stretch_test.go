package pace

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// shoulder is untreated shoulder-length hair of medium density.
func shoulder() chairtime.Head {
	return chairtime.Head{Length: 35, Density: chairtime.DensityMedium, Strand: chairtime.StrandMedium, Porosity: chairtime.PorosityNormal,
		NewClient: true, Sections: 4, PlateWidth: 3, Hands: 1}
}

// visitOf is a visit by ada on which nothing was noted.
func visitOf(t testing.TB, c chairtime.Settings, h chairtime.Head) (Visit, chairtime.Estimate) {
	t.Helper()
	e, err := c.Estimate(h)
	require.NoError(t, err)
	v := Visit{ID: "v", At: today}
	for _, s := range e.Steps {
		v.Steps = append(v.Steps, Step{Staff: "ada", StepTime: s})
	}
	return v, e
}

// press notes that step k began so many minutes after the start of the visit.
func (v *Visit) press(k scheduling.StepKind, minutes float64) {
	for i := range v.Steps {
		if v.Steps[i].Kind == k {
			at := v.At.Add(time.Duration(minutes * float64(time.Minute)))
			v.Steps[i].Start = &at
			return
		}
	}
}

func (v *Visit) pressEnd(k scheduling.StepKind, minutes float64) {
	for i := range v.Steps {
		if v.Steps[i].Kind == k {
			at := v.At.Add(time.Duration(minutes * float64(time.Minute)))
			v.Steps[i].End = &at
			return
		}
	}
}

func ofKind(list []Observation, k scheduling.StepKind) (Observation, bool) {
	for _, o := range list {
		if o.Kind == k {
			return o, true
		}
	}
	return Observation{}, false
}

func TestFivePressesTellWhatTheyCan(t *testing.T) {
	v, e := visitOf(t, chairtime.Default(), shoulder())
	came := v.At
	v.Arrived = &came
	v.press(scheduling.Apply, 34)    // solution on
	v.press(scheduling.Rinse1, 77)   // solution off
	v.press(scheduling.Iron, 100)    // iron start
	v.press(scheduling.Neutral, 190) // neutralizer on
	v.pressEnd(scheduling.Close, 250)
	list := Observations(v, 0.5)
	require.Len(t, list, 12, "every step that hands do")

	for _, k := range []scheduling.StepKind{scheduling.Talk, scheduling.Wash, scheduling.Prep} {
		o, _ := ofKind(list, k)
		require.Equal(t, Waiting, o.Out, "%s: the client had come, work may have begun later", k)
	}
	apply, _ := ofKind(list, scheduling.Apply)
	require.InDelta(t, 43-15, apply.Real, 1e-9, "processing takes what the product takes")
	require.Equal(t, []any{1, Reason("")}, []any{apply.Steps, apply.Out})
	iron, _ := ofKind(list, scheduling.Iron)
	require.InDelta(t, 90, iron.Real, 1e-9)
	require.InDelta(t, step(e, scheduling.Iron).SD, iron.SD, 1e-9)
	rinse, _ := ofKind(list, scheduling.Rinse1)
	dry, _ := ofKind(list, scheduling.Dry1)
	require.InDelta(t, 23, rinse.Real+dry.Real, 1e-9)
	require.InDelta(t, rinse.Real/rinse.Sheet, dry.Real/dry.Sheet, 1e-9, "in proportion to the sheet")
	require.Equal(t, 2, rinse.Steps)
	require.InDelta(t, rinse.SD/rinse.Sheet, dry.SD/dry.Sheet, 1e-9)
	require.Less(t, rinse.SD/rinse.Sheet, 0.22, "two steps together vary less than one")
	last := 0.0
	for _, k := range []scheduling.StepKind{scheduling.Neutral, scheduling.Rinse2, scheduling.Dry2, scheduling.Finish, scheduling.Close} {
		o, _ := ofKind(list, k)
		require.Equal(t, 5, o.Steps, k)
		last += o.Real
	}
	require.InDelta(t, 60-5, last, 1e-9, "neutralizer works five minutes")
}

func step(e chairtime.Estimate, k scheduling.StepKind) chairtime.StepTime {
	for _, s := range e.Steps {
		if s.Kind == k {
			return s
		}
	}
	return chairtime.StepTime{}
}

func TestWhatNobodyNotedSaysNothing(t *testing.T) {
	v, _ := visitOf(t, chairtime.Default(), shoulder())
	for _, o := range Observations(v, 0.5) {
		require.Equal(t, NotNoted, o.Out)
	}
	v.press(scheduling.Iron, 100)
	for _, o := range Observations(v, 0.5) {
		require.Equal(t, NotNoted, o.Out, "%s: one press has no other end", o.Kind)
	}
	v.pressEnd(scheduling.Iron, 180)
	for _, o := range Observations(v, 0.5) {
		if o.Kind == scheduling.Iron {
			require.Equal(t, Reason(""), o.Out)
			require.InDelta(t, 80, o.Real, 1e-9)
		} else {
			require.Equal(t, NotNoted, o.Out, o.Kind)
		}
	}
}

func TestTheWaitBetweenAnEndAndABeginningIsNobodysPace(t *testing.T) {
	v, _ := visitOf(t, chairtime.Default(), shoulder())
	v.press(scheduling.Wash, 0)
	v.pressEnd(scheduling.Wash, 10)
	v.press(scheduling.Prep, 25)
	v.pressEnd(scheduling.Prep, 33)
	list := Observations(v, 0.5)
	wash, _ := ofKind(list, scheduling.Wash)
	prep, _ := ofKind(list, scheduling.Prep)
	require.InDelta(t, 10, wash.Real, 1e-9)
	require.InDelta(t, 8, prep.Real, 1e-9)
}

func TestPlannedWaitsAreTakenOff(t *testing.T) {
	v, _ := visitOf(t, chairtime.Default(), shoulder())
	for i := range v.Steps {
		v.Steps[i].Wait = 4
	}
	v.press(scheduling.Wash, 0)
	v.pressEnd(scheduling.Prep, 30)
	v.press(scheduling.Iron, 100)
	v.press(scheduling.Neutral, 184)
	list := Observations(v, 0.5)
	wash, _ := ofKind(list, scheduling.Wash)
	prep, _ := ofKind(list, scheduling.Prep)
	require.InDelta(t, 26, wash.Real+prep.Real, 1e-9, "the wait behind the last step is not in the stretch")
	iron, _ := ofKind(list, scheduling.Iron)
	require.InDelta(t, 80, iron.Real, 1e-9, "the one before the next press is")
}

func TestAVisitThatDoesNotCountSaysWhy(t *testing.T) {
	v, _ := visitOf(t, chairtime.Default(), shoulder())
	v.Out = Interrupted
	v.press(scheduling.Iron, 100)
	v.pressEnd(scheduling.Iron, 180)
	for _, o := range Observations(v, 0.5) {
		require.Equal(t, Interrupted, o.Out)
	}
}

func TestStepsOutsideTheSheetSpoilTheirStretch(t *testing.T) {
	v, _ := visitOf(t, chairtime.Default(), shoulder())
	v.Steps[1].Other = true // a wash of the salon's own minutes
	v.press(scheduling.Talk, 0)
	v.press(scheduling.Apply, 40)
	v.press(scheduling.Rinse1, 80)
	list := Observations(v, 0.5)
	_, ok := ofKind(list, scheduling.Wash)
	require.False(t, ok)
	for _, o := range list {
		if o.Kind == scheduling.Apply {
			require.Equal(t, Reason(""), o.Out)
		} else {
			require.Equal(t, NotNoted, o.Out)
		}
	}
}

func TestAStretchShorterThanItsProductTimeIsUnlikely(t *testing.T) {
	v, _ := visitOf(t, chairtime.Default(), shoulder())
	v.press(scheduling.Apply, 0)
	v.press(scheduling.Rinse1, 12)
	apply, _ := ofKind(Observations(v, 0.5), scheduling.Apply)
	require.Equal(t, Unlikely, apply.Out)
}

func TestObservationsNameEveryFault(t *testing.T) {
	o := Observation{With: "x", Kind: scheduling.Process, Sheet: -1, SD: -2, Steps: 0, Out: "whatever"}
	require.Equal(t, scheduling.Faults{
		{Field: "staff", Problem: "is missing", Want: "who did the step"},
		{Field: "kind", Problem: `is "process"`, Want: "a step that hands do: the product sets the length of this one"},
		{Field: "sheet_minutes", Problem: "is -1", Want: "above 0, at most 1440 minutes"},
		{Field: "real_minutes", Problem: "is 0", Want: "above 0, at most 1440 minutes"},
		{Field: "sheet_sd_minutes", Problem: "is -2", Want: "0 to 1440 minutes"},
		{Field: "at", Problem: "is missing", Want: "when it was, as 2026-05-07T09:00:00+01:00"},
		{Field: "steps", Problem: "is 0", Want: "a whole number from 1 to 100"},
		{Field: "left_out", Problem: `is "whatever"`, Want: "stopped_early, interrupted, goodwill, correction, other_hands, not_noted, waiting or nothing"},
	}, o.Validate())
	o = ironed("ada", 1, 1)[0]
	require.NoError(t, o.Validate())
	o.With = "ada"
	require.ErrorContains(t, o.Validate(), "with is the same as staff")
}

func TestOtherHandsThanReckonedWithSpoilTheirStretch(t *testing.T) {
	v, _ := visitOf(t, chairtime.Default(), shoulder())
	v.Steps[7].Out = OtherHands // the iron
	require.Equal(t, scheduling.Iron, v.Steps[7].Kind)
	v.press(scheduling.Dry1, 80)
	v.press(scheduling.Neutral, 150)
	v.pressEnd(scheduling.Neutral, 165)
	list := Observations(v, 0.5)
	for _, k := range []scheduling.StepKind{scheduling.Dry1, scheduling.Iron} {
		o, _ := ofKind(list, k)
		require.Equal(t, OtherHands, o.Out)
	}
	neutral, _ := ofKind(list, scheduling.Neutral)
	require.Equal(t, Reason(""), neutral.Out)
}

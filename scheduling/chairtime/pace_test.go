package chairtime

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func shoulder() Head {
	return Head{Length: 35, Density: DensityMedium, Strand: StrandMedium, Porosity: PorosityNormal, NewClient: true,
		Sections: 4, PlateWidth: 3, Hands: 1}
}

func step(t *testing.T, e Estimate, k scheduling.StepKind) StepTime {
	t.Helper()
	for _, s := range e.Steps {
		if s.Kind == k {
			return s
		}
	}
	require.Fail(t, "no step", "%s", k)
	return StepTime{}
}

func TestNoPaceChangesNothing(t *testing.T) {
	plain, err := Default().Estimate(shoulder())
	require.NoError(t, err)
	for name, p := range map[string]*Pace{"nil": nil, "empty": {}, "of other steps": {Alone: map[scheduling.StepKind]StepPace{"cut": {Factor: 2}}}} {
		e, err := Default().At(p).Estimate(shoulder())
		require.NoError(t, err)
		require.Equal(t, plain, e, name)
	}
}

func TestPaceStretchesItsStepAndSaysSo(t *testing.T) {
	p := &Pace{Alone: map[scheduling.StepKind]StepPace{
		scheduling.Iron: {Factor: 1.12, Visits: 14, Words: "pace of the last 14 visits"}}}
	plain, err := Default().Estimate(shoulder())
	require.NoError(t, err)
	e, err := Default().At(p).Estimate(shoulder())
	require.NoError(t, err)

	was, is := step(t, plain, scheduling.Iron), step(t, e, scheduling.Iron)
	require.InDelta(t, 1.12*was.Mean, is.Mean, 1e-9)
	require.InDelta(t, 1.12*was.SD, is.SD, 1e-9)
	require.Equal(t, 1.12, is.Pace)
	require.Equal(t, "(88 panels × (20 s + 13 presses × 2.5 s)) × 1.12 pace of the last 14 visits = 86.2 min", is.Working)
	require.InDelta(t, plain.Mean+0.12*was.Mean, e.Mean, 1e-9)
	require.Greater(t, e.P80, plain.P80)
	for i, s := range e.Steps {
		if s.Kind != scheduling.Iron {
			require.Equal(t, plain.Steps[i].Mean, s.Mean, s.Kind)
			require.NotContains(t, s.Working, "pace")
		}
	}
}

func TestProductTimeHasNoPace(t *testing.T) {
	p := &Pace{Alone: map[scheduling.StepKind]StepPace{scheduling.Process: {Factor: 0.5}, scheduling.Dwell: {Factor: 0.5}, "": {Factor: 0.5}}}
	e, err := Default().At(p).Estimate(shoulder())
	require.NoError(t, err)
	require.Equal(t, 15.0, step(t, e, scheduling.Process).Mean)
	require.Equal(t, 5.0, step(t, e, scheduling.Dwell).Mean)
}

func TestTwoPairsOfHandsHaveTheirOwnPace(t *testing.T) {
	h := shoulder()
	h.Hands = 2
	p := &Pace{
		Alone: map[scheduling.StepKind]StepPace{scheduling.Iron: {Factor: 1.5}, scheduling.Wash: {Factor: 1.2}},
		Pair:  map[scheduling.StepKind]StepPace{scheduling.Iron: {Factor: 0.9}, scheduling.Wash: {Factor: 3}},
	}
	plain, err := Default().Estimate(h)
	require.NoError(t, err)
	e, err := Default().At(p).Estimate(h)
	require.NoError(t, err)
	require.InDelta(t, 0.9*step(t, plain, scheduling.Iron).Mean, step(t, e, scheduling.Iron).Mean, 1e-9)
	require.InDelta(t, 1.2*step(t, plain, scheduling.Wash).Mean, step(t, e, scheduling.Wash).Mean, 1e-9)
}

func TestBatchesShareTheirPace(t *testing.T) {
	h := shoulder()
	h.Batches = 2
	p := &Pace{Alone: map[scheduling.StepKind]StepPace{scheduling.Rinse1: {Factor: 1.1, Words: "pace"}}}
	e, err := Default().At(p).Estimate(h)
	require.NoError(t, err)
	require.InDelta(t, 1.1*5, step(t, e, scheduling.RinseShort).Mean, 1e-9)
	require.Contains(t, step(t, e, scheduling.RinseShort).Working, "(between two batches) × 1.1 pace")
}

func TestPaceCarriesItsSpread(t *testing.T) {
	p := &Pace{Alone: map[scheduling.StepKind]StepPace{scheduling.Iron: {Spread: 0.1}}}
	e, err := Default().At(p).Estimate(shoulder())
	require.NoError(t, err)
	s := step(t, e, scheduling.Iron)
	require.InDelta(t, 0.1*s.Mean, s.SD, 1e-9)
	require.NotContains(t, s.Working, "×  ")
	require.InDelta(t, 77, s.Mean, 0.1)
}

func BenchmarkEstimateAtAPace(b *testing.B) {
	p := &Pace{Alone: map[scheduling.StepKind]StepPace{}}
	for _, k := range []scheduling.StepKind{scheduling.Talk, scheduling.Wash, scheduling.Prep, scheduling.Apply, scheduling.Rinse1, scheduling.Dry1,
		scheduling.Iron, scheduling.Neutral, scheduling.Rinse2, scheduling.Dry2, scheduling.Finish, scheduling.Close} {
		p.Alone[k] = StepPace{Factor: 1.12, Visits: 14, Words: "pace of the last 14 visits"}
	}
	c, h := Default().At(p), shoulder()
	h.Length = 20 // below the limits of exposure, where other plans are worked out
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Estimate(h); err != nil {
			b.Fatal(err)
		}
	}
}

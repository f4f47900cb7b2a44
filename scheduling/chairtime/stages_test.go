package chairtime

import (
	"math"
	"math/rand/v2"
	"testing"

	"chairblock/scheduling"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func inTwoStages(h Head) Head { h.TwoStage = true; return h }

func TestShoulderHeadInTwoStages(t *testing.T) {
	// Derived by hand: 25.5 minutes of applying over 32.5 cm, of which the last
	// 5 are the ends; the waits and the checks are judgement.
	c := Default()
	one, e := estimated(t, c, shoulderMedium), estimated(t, c, inTwoStages(shoulderMedium))
	var kinds []scheduling.StepKind
	for _, s := range e.Steps {
		kinds = append(kinds, s.Kind)
	}
	require.Equal(t, []scheduling.StepKind{
		scheduling.Talk, scheduling.Wash, scheduling.Prep, scheduling.Apply1, scheduling.Process1, scheduling.Check1, scheduling.Apply2,
		scheduling.Process2, scheduling.Check2, scheduling.Rinse1, scheduling.Dry1, scheduling.Iron, scheduling.Neutral, scheduling.Dwell,
		scheduling.Rinse2, scheduling.Dry2, scheduling.Finish, scheduling.Close,
	}, kinds)
	got := meansOf(e)
	require.InDelta(t, 25.5*27.5/32.5, got[scheduling.Apply1], 1e-9)
	require.InDelta(t, 25.5*5/32.5, got[scheduling.Apply2], 1e-9)
	require.Equal(t, []float64{15, 2, 6, 2}, []float64{got[scheduling.Process1], got[scheduling.Check1], got[scheduling.Process2], got[scheduling.Check2]})
	require.InDelta(t, one.Mean+2+6+2, e.Mean, 1e-9)
	require.InDelta(t, 25.5+15+2+6, e.FirstStrandExposure, 1e-9, "to the end of the second wait")
	require.InDelta(t, one.Unbreakable+2+6+2, e.Unbreakable, 1e-9)
	booked := e.Booked()
	want := booked[scheduling.Apply1][0] + 15 + 2 + booked[scheduling.Apply2][0] + 6 + 2 + 1
	require.InDelta(t, float64(want), e.BookedExposure, 1e-9, "to the basin, with the second check and the walk")
}

func TestBatchesOfTwoStages(t *testing.T) {
	// Derived from the rule: application over the batches plus both waits and the
	// check between them; the visit grows by all that and a short rinse of 5.
	for _, tt := range []struct {
		head           Head
		k              int
		exposure, more float64
	}{
		{shoulderMedium, 3, 25.5/3 + 15 + 2 + 6, 2 * (15 + 2 + 6 + 2 + 5)},
		{midBackDense, 4, 46.9/4 + 18 + 2 + 8, 3 * (18 + 2 + 8 + 2 + 5)},
		{shoulderDamaged, 4, 25.9/4 + 10 + 2 + 4, 3 * (10 + 2 + 4 + 2 + 5)},
	} {
		c := Default()
		plain, e := estimated(t, c, inTwoStages(tt.head)), estimated(t, c, inTwoStages(withBatches(tt.head, tt.k)))
		require.InDelta(t, tt.exposure, e.FirstStrandExposure, 0.0501)
		require.InDelta(t, tt.more, e.Mean-plain.Mean, 1e-9)
		require.Len(t, e.Booked()[scheduling.Apply2], tt.k)
		require.Len(t, e.Booked()[scheduling.RinseShort], tt.k-1)
	}
}

func TestTheEndsAreNeverMoreThanHalf(t *testing.T) {
	for _, tt := range []struct {
		length, ends float64
		share        float64 // of the work
	}{
		{35, 5, 5 / 32.5}, {35, 10, 10 / 32.5}, {8, 5, 0.5}, {12.5, 5, 0.5}, {13, 5, 5 / 10.5},
	} {
		c := Default()
		c.EndsCM = tt.ends
		h := inTwoStages(shoulderMedium)
		h.Length = tt.length
		got := meansOf(estimated(t, c, h))
		require.InDelta(t, tt.share, got[scheduling.Apply2]/(got[scheduling.Apply1]+got[scheduling.Apply2]), 1e-12, "%v cm, ends of %v", tt.length, tt.ends)
	}
}

func TestARetouchIsNotDoneInTwoStages(t *testing.T) {
	h := inTwoStages(retouchMidBack)
	_, err := Default().Estimate(h)
	require.EqualError(t, err, "regrowth_cm is 10 for solution in two stages, of which the second is for the ends; "+
		"expected 0, or a service that puts solution on in one stage; regrowth above 27 cm counts as untreated hair")
	h.Regrowth = 27.5 // most of 45 cm, by common practice an untreated head
	e := estimated(t, Default(), h)
	require.InDelta(t, 5/42.5, meansOf(e)[scheduling.Apply2]/(meansOf(e)[scheduling.Apply1]+meansOf(e)[scheduling.Apply2]), 1e-12)
}

func TestHelpersShareBothStages(t *testing.T) {
	one, two := estimated(t, Default(), inTwoStages(midBackDense)), estimated(t, Default(), inTwoStages(withHands(midBackDense, 2)))
	for _, k := range []scheduling.StepKind{scheduling.Apply1, scheduling.Apply2} {
		require.InDelta(t, meansOf(one)[k]/2, meansOf(two)[k], 1e-9, k)
	}
	require.Equal(t, meansOf(one)[scheduling.Check1], meansOf(two)[scheduling.Check1])
}

func TestTheCheckBetweenTwoStagesIsALook(t *testing.T) {
	c := Default()
	c.LookMinutes, c.EndsCM = 1, 10
	h := inTwoStages(midBackDense)
	got := meansOf(estimated(t, c, h))
	// 38.0 minutes for the lengths: looks at 10, 15 … 45 of 46 minutes; 8.9 for
	// the ends: one look 5 minutes after the check.
	require.InDelta(t, 46.875*42.5/52.5+7, got[scheduling.Apply1], 0.01)
	require.InDelta(t, 46.875*10/52.5+1, got[scheduling.Apply2], 0.01)
}

func TestWorkingOfTwoStages(t *testing.T) {
	c := Default()
	c.NotReadyShare = 0.15
	want := map[scheduling.StepKind]string{
		scheduling.Apply1:   "24 strips × (15 s + 1.5 s × 32.5 cm) ÷ 3 batches × 27.5 cm ÷ 32.5 cm for the roots and mid-lengths = 7.2 min",
		scheduling.Process1: "normal porosity, 15 min + 0.87 min for further looks = 15.9 min",
		scheduling.Check1:   "stretch a wet strand = 2.0 min",
		scheduling.Apply2:   "24 strips × (15 s + 1.5 s × 32.5 cm) ÷ 3 batches × 5 cm ÷ 32.5 cm for the ends = 1.3 min",
		scheduling.Process2: "normal porosity, after the ends, 6 min + 0.87 min for further looks = 6.9 min",
	}
	e := estimated(t, c, inTwoStages(withBatches(shoulderMedium, 3)))
	for _, s := range e.Steps {
		if w, ok := want[s.Kind]; ok {
			require.Equal(t, w, s.Working)
		}
	}
	require.Regexp(t, `^\d+ applying \+ 15 processing \+ 2 check \+ \d the ends \+ 6 processing \+ 2 check \+ 1 walk to the basin = \d+ min$`, e.ExposureWorking)
}

func TestFurtherLooksArePartOfTheTime(t *testing.T) {
	// Derived by hand: 60 − (25.5 + 15 + 1) = 18.5 minutes of room, so looks after
	// 5, 10, 15 and 18.5 minutes; a chance of .15 each time adds
	// .15·5 + .15²·5 + .15³·5 + .15⁴·3.5 minutes.
	c := Default()
	plain := estimated(t, c, shoulderMedium)
	c.NotReadyShare = 0.15
	e := estimated(t, c, shoulderMedium)
	more := 0.15*5 + 0.0225*5 + 0.003375*5 + 0.00050625*3.5
	require.InDelta(t, plain.Mean+more, e.Mean, 1e-9)
	require.InDelta(t, plain.FirstStrandExposure+more, e.FirstStrandExposure, 1e-9)
	require.Greater(t, e.P80, plain.P80)
	for _, s := range e.Steps {
		if s.Kind == scheduling.Process {
			require.Equal(t, 15, s.Booked, "the check stands at the planned minute")
			require.InDelta(t, 15+more, s.Mean, 1e-9)
			require.InDelta(t, 18.5, s.Further.Room, 1e-9)
			square := 0.85*(0.15*25+0.0225*100+0.003375*225) + 0.00050625*18.5*18.5
			require.InDelta(t, math.Sqrt(square-more*more), s.SD, 1e-9)
		}
	}
}

func TestFurtherLooksEndAtTheLimit(t *testing.T) {
	c := Default()
	c.NotReadyShare = 0.5
	// Product on for 46.9 + 18 + 1 minutes is beyond any limit already.
	e := estimated(t, c, midBackDense)
	require.Equal(t, estimated(t, Default(), midBackDense).Mean, e.Mean)
	// Porous hair in 4 batches has 30 − (6.5 + 10 + 1) minutes of room.
	e = estimated(t, c, withBatches(shoulderDamaged, 4))
	require.InDelta(t, 30-25.905/4-11, e.Steps[4].Further.Room, 0.01)
	// In two stages each wait has half of 60 − (25.5 + 15 + 2 + 6 + 2 + 1).
	e = estimated(t, c, inTwoStages(shoulderMedium))
	for _, s := range e.Steps {
		if s.Kind.WorksAlone() {
			require.InDelta(t, 8.5/2, s.Further.Room, 1e-9)
			require.InDelta(t, 0.5*4.25, s.Further.Mean, 1e-9)
		}
	}
}

func TestDrawnFurtherLooksHaveTheirMeanAndSpread(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := newFurtherLooks(rapid.Float64Range(0.01, 0.5).Draw(t, "share"), float64(rapid.IntRange(2, 10).Draw(t, "minutes")),
			rapid.Float64Range(0.1, 40).Draw(t, "room"))
		const draws = 20_000
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		var sum, square float64
		for range draws {
			v := f.draw(r)
			require.LessOrEqual(t, v, f.Room)
			sum, square = sum+v, square+v*v
		}
		mean := sum / draws
		require.InDelta(t, f.Mean, mean, 5*f.SD/math.Sqrt(draws)+1e-9)
		require.InEpsilon(t, f.SD, math.Sqrt(square/draws-mean*mean), 0.15)
	})
	require.Nil(t, newFurtherLooks(0.2, 5, 0))
	require.Nil(t, newFurtherLooks(0.2, 5, -3))
	require.Nil(t, newFurtherLooks(0, 5, 20))
}

func BenchmarkEstimateTwoStages(b *testing.B) {
	benchmarkEstimate(b, Default(), inTwoStages(withHands(shortLowFine, 2)))
}

func BenchmarkEstimateTwoStagesWithPlans(b *testing.B) {
	benchmarkEstimate(b, Default(), inTwoStages(waistCoarse))
}

func BenchmarkEstimateInBatches(b *testing.B) {
	benchmarkEstimate(b, Default(), withBatches(shoulderMedium, 2))
}

// Four batches of two stages of a demonstration salon, with further looks.
func BenchmarkEstimateTwoStagesInBatches(b *testing.B) {
	benchmarkEstimate(b, Demo(), inTwoStages(withBatches(shoulderMedium, 4)))
}

func benchmarkEstimate(b *testing.B, c Settings, h Head) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Estimate(h); err != nil {
			b.Fatal(err)
		}
	}
}

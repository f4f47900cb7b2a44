package chairtime

import (
	"testing"

	"chairblock/scheduling"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestBatchesShortenTheExposure(t *testing.T) {
	// Derived from the rule: application over the batches plus processing; the
	// visit grows by processing and a short rinse of 5 minutes.
	for _, tt := range []struct {
		name           string
		head           Head
		k              int
		exposure, more float64
	}{
		{"shoulder", shoulderMedium, 2, 27.8, 20},
		{"shoulder, damaged", shoulderDamaged, 2, 23.0, 15},
		{"shoulder, damaged", shoulderDamaged, 3, 18.6, 30},
		{"mid-back", midBackDense, 2, 41.4, 23},
		{"mid-back", midBackDense, 3, 33.6, 46},
		{"waist", waistCoarse, 3, 41.3, 46},
		{"waist", waistCoarse, 4, 35.5, 69},
	} {
		c := Default()
		plain, e := estimated(t, c, tt.head), estimated(t, c, withBatches(tt.head, tt.k))
		require.InDelta(t, tt.exposure, e.FirstStrandExposure, 0.0501, "%s in %d", tt.name, tt.k)
		require.InDelta(t, tt.more, e.Mean-plain.Mean, 1e-9, "%s in %d", tt.name, tt.k)
		require.InDelta(t, tt.more, e.Unbreakable-plain.Unbreakable, 1e-9)
	}
}

func TestBatchesAreStepsOfTheVisit(t *testing.T) {
	e := estimated(t, Default(), withBatches(midBackDense, 3))
	var kinds []scheduling.StepKind
	var batches []int
	for _, s := range e.Steps {
		kinds, batches = append(kinds, s.Kind), append(batches, s.Batch)
	}
	require.Equal(t, []scheduling.StepKind{
		scheduling.Talk, scheduling.Wash, scheduling.Prep, scheduling.Apply, scheduling.Process, scheduling.RinseShort, scheduling.Apply, scheduling.Process, scheduling.RinseShort, scheduling.Apply, scheduling.Process, scheduling.Rinse1,
		scheduling.Dry1, scheduling.Iron, scheduling.Neutral, scheduling.Dwell, scheduling.Rinse2, scheduling.Dry2, scheduling.Finish, scheduling.Close,
	}, kinds)
	require.Equal(t, []int{0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3, 0, 0, 0, 0, 0, 0, 0, 0}, batches)
	require.Equal(t, []int{18, 18, 18}, e.Booked()[scheduling.Process])
	require.Len(t, e.Booked()[scheduling.Apply], 3)
	require.Len(t, e.Booked()[scheduling.RinseShort], 2)
	require.Contains(t, e.Steps[3].Working, "÷ 3 batches")
}

func TestPlansProposeTheFewestBatchesBelowTheLimit(t *testing.T) {
	// The guard looks at booked minutes, so damaged hair needs one batch more
	// than its means suggest.
	type pick struct{ batches, hands int }
	for _, tt := range []struct {
		name                         string
		head                         Head
		alone, helper, helperBatches pick
	}{
		{"short", shortLowFine, pick{1, 1}, pick{1, 2}, pick{}},
		{"shoulder", shoulderMedium, pick{2, 1}, pick{1, 2}, pick{}},
		{"shoulder, damaged", shoulderDamaged, pick{4, 1}, pick{}, pick{2, 2}},
		{"mid-back", midBackDense, pick{3, 1}, pick{}, pick{2, 2}},
		{"waist", waistCoarse, pick{4, 1}, pick{}, pick{2, 2}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			plans, err := Default().Plans(tt.head)
			require.NoError(t, err)
			require.Len(t, plans, 12)
			got := map[Proposal]pick{}
			for i, p := range plans {
				require.Equal(t, []int{1 + i/6, 1 + i%6}, []int{p.Hands, p.Batches})
				if p.Proposal != "" {
					require.Empty(t, p.Level)
					got[p.Proposal] = pick{p.Batches, p.Hands}
				}
			}
			require.Equal(t, tt.alone, got[ProposeAlone])
			require.Equal(t, tt.helper, got[ProposeHelper])
			require.Equal(t, tt.helperBatches, got[ProposeHelperBatches])
		})
	}
}

func TestNoPlanHasMoreBatchesThanSections(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := anyHead(t)
		plans, err := Default().Plans(h)
		require.NoError(t, err)
		for _, p := range plans {
			if p.Proposal != "" {
				require.LessOrEqual(t, p.Batches, h.Sections)
			}
		}
	})
}

func TestEveryPlanIsTheEstimateOfThatPlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, h := anySettings(t), anyHead(t)
		plans, err := c.Plans(h)
		require.NoError(t, err)
		p := plans[rapid.IntRange(0, len(plans)-1).Draw(t, "plan")]
		e, err := c.Estimate(withBatches(withHands(h, p.Hands), p.Batches))
		require.NoError(t, err)
		require.Equal(t, []float64{e.Mean, e.Promise, e.FirstStrandExposure, e.BookedExposure}, []float64{p.Mean, p.Promise, p.Exposure, p.BookedExposure})
		require.Equal(t, e.Block, p.Block)
		require.Equal(t, c.exposureLevel(h, e.BookedExposure), p.Level)
		require.Equal(t, p.Level != "", e.Alternatives != nil)
	})
}

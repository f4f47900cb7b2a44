package chairtime

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestNormalPlanOfSevenHeads(t *testing.T) {
	// The fewest batches below the limit, by the booked minutes. On means product
	// stays on as derived from the rule: the application over the batches plus
	// processing.
	for _, tt := range []struct {
		name     string
		head     Head
		batches  int
		exposure float64
		words    string
	}{
		{"short", shortLowFine, 1, 27.8, "all at once by one stylist"},
		{"chin", chinMedium, 1, 31.5, "all at once by one stylist"},
		{"shoulder", shoulderMedium, 2, 27.8, "2 batches by one stylist"},
		{"shoulder, damaged", shoulderDamaged, 4, 16.5, "4 batches by one stylist"},
		{"mid-back", midBackDense, 3, 33.6, "3 batches by one stylist"},
		{"waist", waistCoarse, 4, 35.5, "4 batches by one stylist"},
		{"retouch", retouchMidBack, 1, 29.5, "all at once by one stylist"},
		{"mid-back, two pairs", withHands(midBackDense, 2), 2, 29.7, "2 batches by two pairs of hands"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h, p, err := Default().NormalPlan(tt.head)
			require.NoError(t, err)
			require.Equal(t, tt.batches, h.Batches)
			require.Equal(t, tt.head.Hands, h.Hands)
			require.Empty(t, p.Level)
			require.InDelta(t, tt.exposure, p.Exposure, 0.0501)
			require.Equal(t, tt.words, p.Words())
		})
	}
}

func TestAPlanBelowTheLimitStaysAsAsked(t *testing.T) {
	asked := withBatches(shoulderMedium, 3) // 2 would do
	h, p, err := Default().NormalPlan(asked)
	require.NoError(t, err)
	require.Equal(t, asked, h)
	require.Equal(t, 3, p.Batches)
}

func TestAHelperComesOnlyWhereBatchesAreNotEnough(t *testing.T) {
	c := Default()
	// Porous hair in as many batches as there are sections is still above 20
	// minutes for one stylist.
	long := shoulderDamaged
	long.Length = 75
	alone, p, err := c.NormalPlanWithin(long, Most{maxBatches, 1})
	require.NoError(t, err)
	require.Equal(t, []int{1, 4}, []int{alone.Hands, alone.Batches}, "the shortest exposure")
	require.Equal(t, LevelWarn, p.Level)
	require.Empty(t, p.Proposal)
	require.Contains(t, c.ExposureWords(alone, p), "longer than the 20 to stay below")

	helped, p, err := c.NormalPlan(long)
	require.NoError(t, err)
	require.Equal(t, []int{2, 4}, []int{helped.Hands, helped.Batches})
	require.Empty(t, p.Level)
	require.Equal(t, ProposeHelperBatches, p.Proposal)
}

func TestTwoStagesOfPorousHairAreWarnedOf(t *testing.T) {
	// Both waits and the checks alone are 18 minutes of the 20 to stay below.
	h, p, err := Default().NormalPlan(inTwoStages(shoulderDamaged))
	require.NoError(t, err)
	require.Equal(t, []int{2, 4}, []int{h.Hands, h.Batches})
	require.Equal(t, LevelWarn, p.Level)
	require.True(t, h.TwoStage)
}

func TestOnlyWhatNoPlanCanDoIsRefused(t *testing.T) {
	c := Default()
	_, p, err := c.NormalPlanWithin(waistCoarse, Most{1, 1})
	require.NoError(t, err)
	require.Equal(t, LevelRefuse, p.Level)
	require.Contains(t, c.ExposureWords(waistCoarse, p), "must be rinsed before 60")

	bad := waistCoarse
	bad.Sections = 1
	_, _, err = c.NormalPlan(bad)
	require.ErrorContains(t, err, "sections is 1")
}

// The plan is the one that somebody would find who tries them all.
func TestNormalPlanAgreesWithTryingAllPlans(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, h := anySettings(t), anyHead(t)
		most := Most{rapid.IntRange(1, maxBatches).Draw(t, "most batches"), rapid.IntRange(1, maxHands).Draw(t, "most hands")}
		got, p, err := c.NormalPlanWithin(h, most)
		require.NoError(t, err)

		e, err := c.Estimate(h)
		require.NoError(t, err)
		level := c.exposureLevel(h, e.BookedExposure)
		want, exposure := h, e.BookedExposure
		want.Batches = h.batches()
		plans, err := c.Plans(h)
		require.NoError(t, err)
		for _, o := range plans { // in the order of hands, then batches
			if level == "" {
				break
			}
			if o.Hands < h.Hands || o.Hands > max(most.Hands, h.Hands) || o.Batches > min(most.Batches, h.Sections) {
				continue
			}
			if o.Level == "" || o.BookedExposure < exposure {
				want.Hands, want.Batches, exposure, level = o.Hands, o.Batches, o.BookedExposure, o.Level
			}
		}
		require.Equal(t, want, got)
		require.Equal(t, level, p.Level)

		again, err := c.Estimate(got)
		require.NoError(t, err)
		require.Equal(t, []float64{again.Mean, again.BookedExposure}, []float64{p.Mean, p.BookedExposure})
		if p.Level == LevelRefuse {
			for _, o := range plans {
				if o.Hands <= most.Hands && o.Hands >= h.Hands && o.Batches <= min(most.Batches, h.Sections) {
					require.Equal(t, LevelRefuse, o.Level)
				}
			}
		}
	})
}

package chairtime

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// For every head, by one and by two pairs of hands, in batches and in two
// stages, 10,000 simulated visits: the share that takes no longer than the
// unrounded quantile is within two points of it. How many end within the
// rounded block is only reported.
func TestPromisedSharesOfVisitsEndInTime(t *testing.T) {
	const visits, seed = 10_000, 2024
	names := []string{"short", "chin", "shoulder", "shoulder damaged", "mid-back", "waist", "retouch"}
	for _, salon := range []struct {
		name string
		Settings
	}{{"default", Default()}, {"demo", Demo()}} {
		for i := range sevenHeads {
			for stages := 1; stages <= 2; stages++ {
				if stages == 2 && sevenHeads[i].Regrowth > 0 {
					continue
				}
				for hands := 1; hands <= 2; hands++ {
					for batches := 1; batches <= 3; batches++ {
						h := withBatches(withHands(sevenHeads[i], hands), batches)
						h.TwoStage = stages == 2
						name := fmt.Sprintf("%s, %s, stages %d, hands %d, batches %d", salon.name, names[i], stages, hands, batches)
						r := rand.New(rand.NewPCG(seed, uint64(i)))
						keepsPromise(t, name, salon.Settings, h, r, visits)
					}
				}
			}
		}
	}
}

// keepsPromise simulates visits of h at each quantile that a salon may promise.
func keepsPromise(t *testing.T, name string, c Settings, h Head, r *rand.Rand, visits int) {
	t.Helper()
	e := estimated(t, c, h)
	took := make([]float64, visits)
	for i := range took {
		for _, m := range Draw(r, e.Steps, c.Correlation) {
			took[i] += m
		}
	}
	share := func(minutes float64) float64 {
		n := 0
		for _, m := range took {
			if m <= minutes {
				n++
			}
		}
		return float64(n) / float64(visits)
	}
	line := name + ":"
	for _, q := range []float64{0.5, 0.8, 0.9} {
		c.Quantile = q
		e := estimated(t, c, h)
		kept := share(e.Promise)
		line += fmt.Sprintf(" P%.0f %.1f %% (block %.1f %%)", 100*q, 100*kept, 100*share(float64(e.Block)))
		require.InDelta(t, q, kept, 0.02, "%s: P%.0f", name, 100*q)
		require.GreaterOrEqual(t, share(float64(e.Block)), kept)
	}
	t.Log(line)
}

// A salon's quantile is kept by heads and plans of every kind taken together,
// too, with whatever spreads and correlation it has set.
func TestAnyPromiseOfAnySalonIsKept(t *testing.T) {
	const visits, seed = 10_000, 11
	r := rand.New(rand.NewPCG(seed, 0))
	for _, rho := range []float64{0, 0.5, 1} {
		for _, q := range []float64{0.6, 0.8, 0.95} {
			kept := 0
			for range visits {
				c := Demo()
				c.Correlation, c.Quantile, c.NotReadyShare = rho, q, 0.5*r.Float64()
				h := sevenHeads[r.IntN(len(sevenHeads))]
				h.Length, h.Regrowth = 10+r.Float64()*80, 0
				h.Hands, h.Batches, h.TwoStage = 1+r.IntN(2), 1+r.IntN(3), r.IntN(2) == 0
				e, _ := c.estimate(h)
				took := 0.0
				for _, m := range Draw(r, e.Steps, rho) {
					took += m
				}
				if took <= e.Promise {
					kept++
				}
			}
			t.Logf("seed %d, correlation %v: %d of %d within P%.0f", seed, rho, kept, visits, 100*q)
			require.InDelta(t, q, float64(kept)/visits, 0.02)
		}
	}
}

// The lengths of the steps add up to whatever block a quantile makes, and the
// steps that the product sets keep theirs.
func TestBookedStepsAddUpAtEveryQuantile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, h := anySettings(t), anyHead(t)
		c.Quantile = rapid.Float64Range(0.5, 0.99).Draw(t, "quantile")
		c.BlockStep = float64(rapid.IntRange(1, 60).Draw(t, "step"))
		e, err := c.Estimate(h)
		require.NoError(t, err)
		sum := 0
		for _, s := range e.Steps {
			require.Positive(t, s.Booked)
			sum += s.Booked
			if s.Fixed {
				require.Equal(t, ceil(s.planned()), s.Booked, s.Kind)
			}
		}
		require.Equal(t, e.Block, sum)
		require.GreaterOrEqual(t, float64(e.Block), e.Promise-1e-6)
		require.InDelta(t, c.Quantile, e.Within(e.Promise), 1e-9)
	})
}

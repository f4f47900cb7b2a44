package packing_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/packing"
)

// BenchmarkPackToProof packs the published problems until the best is proven.
func BenchmarkPackToProof(b *testing.B) {
	for _, name := range []string{"t3-02", "t3-09"} {
		b.Run(name, func(b *testing.B) {
			p, best := published(b, name)
			for b.Loop() {
				r, err := packing.Pack(context.Background(), p, packing.Options{Seed: 1, Rounds: 100_000})
				require.NoError(b, err)
				require.True(b, r.Proven)
				require.Equal(b, best, r.Bound)
			}
		})
	}
	for _, name := range []string{"ft06", "la01", "la02", "la06"} {
		s := jobShops(b)[name]
		b.Run(name, func(b *testing.B) {
			p := s.day(true)
			for b.Loop() {
				r, err := packing.Pack(context.Background(), p, packing.Options{Seed: 1, Rounds: 100_000})
				require.NoError(b, err)
				require.True(b, r.Proven)
			}
		})
	}
}

// best15 are the greatest values found for wishDay(seed, 15), in half a minute of
// processor time each: 1695 and both 1625 are proven. Other seeds below 16 are
// proven within a second.
var best15 = map[uint64]int{0: 1570, 1: 1725, 3: 1685, 7: 1695, 10: 1625, 11: 1625, 13: 1715, 14: 1425, 15: 1550}

// BenchmarkPackFifteenInASecond packs days of 15 wishes for a second each and
// reports how far, in percent, the value is below the best known on average.
func BenchmarkPackFifteenInASecond(b *testing.B) {
	gap, worst, n := 0.0, 0.0, 0
	for b.Loop() {
		for seed, best := range best15 {
			ctx, cancel := context.WithTimeout(context.Background(), time.Second)
			r, err := packing.Pack(ctx, wishDay(seed, 15), packing.Options{Seed: 1})
			cancel()
			require.NoError(b, err)
			below := 100 * float64(best-r.Value) / float64(best)
			gap, worst = gap+below, max(worst, below)
			n++
		}
	}
	b.ReportMetric(gap/float64(n), "%gap")
	b.ReportMetric(worst, "%worst")
}

// BenchmarkPackRound is the cost of one round of improvement of a large day.
func BenchmarkPackRound(b *testing.B) {
	p := wishDay(1, 40)
	r, err := packing.Pack(context.Background(), p, packing.Options{Seed: 1, Rounds: b.N})
	require.NoError(b, err)
	require.NotEmpty(b, r.Placed)
}

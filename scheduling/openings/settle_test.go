package openings_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
)

func TestWaitsStandBeforeTheSolution(t *testing.T) {
	s := fixed(t, "Straightening") // 14 steps of ten minutes
	p, err := openings.ComposeVisit([]openings.VisitService{s})
	require.NoError(t, err)
	shop := room()
	// Both stylists have a break just when the ironing could begin.
	for i := range shop.Units {
		if shop.Units[i].Kind == openings.Stylist {
			shop.Units[i].Breaks = []openings.Span{{From: 668, To: 674}}
		}
	}
	snap, err := openings.NewSnapshot(shop)
	require.NoError(t, err)
	plan, err := openings.Compile(p.Spec, snap)
	require.NoError(t, err)
	set, err := plan.Search(snap, openings.Query{From: 600, To: 600, Grid: 1})
	require.NoError(t, err)
	sch, ok := set.Assign(600, "")
	require.True(t, ok)
	settled := openings.Settle(sch, p.Spec, shop)
	require.Empty(t, openings.Check(settled, p.Spec, shop))
	require.Equal(t, sch.Phases[13].End, settled.Phases[13].End)
	apply := 3
	late := func(sch openings.Schedule) (n openings.Minute) {
		for i := apply; i+1 < len(sch.Phases); i++ {
			n += sch.Phases[i+1].Start - sch.Phases[i].End
		}
		return n
	}
	require.EqualValues(t, 4, late(sch))
	require.Zero(t, late(settled))
}

// On random instances the settled schedule is as good as the one it came from.
func TestSettledSchedulesKeepStartEndAndUnits(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	for range 300 {
		shop := room()
		for i := range shop.Units {
			for range r.IntN(3) {
				from := openings.Minute(560 + r.IntN(220))
				shop.Units[i].Bookings = append(shop.Units[i].Bookings, openings.Booking{From: from, To: from + openings.Minute(1+r.IntN(12))})
			}
		}
		p, err := openings.ComposeVisit([]openings.VisitService{fixed(t, "Straightening"), fixed(t, "Dry cut")})
		require.NoError(t, err)
		snap, err := openings.NewSnapshot(shop)
		require.NoError(t, err)
		plan, err := openings.Compile(p.Spec, snap)
		require.NoError(t, err)
		set, err := plan.Search(snap, openings.Query{From: 540, To: 700, Grid: 1})
		require.NoError(t, err)
		first, ok := set.First()
		if !ok {
			continue
		}
		sch, ok := set.Assign(first, "")
		require.True(t, ok)
		settled := openings.Settle(sch, p.Spec, shop)
		require.Empty(t, openings.Check(settled, p.Spec, shop), "seed %d", seed)
		require.Equal(t, sch.Roles, settled.Roles, "seed %d", seed)
		last := len(sch.Phases) - 1
		require.Equal(t, []openings.Minute{sch.Phases[0].Start, sch.Phases[last].End},
			[]openings.Minute{settled.Phases[0].Start, settled.Phases[last].End}, "seed %d", seed)
		for i := range sch.Phases {
			require.Equal(t, sch.Phases[i].Pool, settled.Phases[i].Pool, "seed %d", seed)
			require.GreaterOrEqual(t, settled.Phases[i].Start, sch.Phases[i].Start, "seed %d", seed)
		}
	}
}

func BenchmarkSettle(b *testing.B) {
	shop := room()
	p, err := openings.ComposeVisit([]openings.VisitService{fixed(&testing.T{}, "Straightening")})
	require.NoError(b, err)
	snap, err := openings.NewSnapshot(shop)
	require.NoError(b, err)
	plan, err := openings.Compile(p.Spec, snap)
	require.NoError(b, err)
	set, err := plan.Search(snap, openings.Query{From: 600, To: 600, Grid: 1})
	require.NoError(b, err)
	sch, _ := set.Assign(600, "")
	for b.Loop() {
		openings.Settle(sch, p.Spec, shop)
	}
}

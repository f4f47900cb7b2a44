package packing_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

func TestPackProvesThePublishedOptima(t *testing.T) {
	for _, name := range []string{"t3-02", "t3-09"} {
		t.Run(name, func(t *testing.T) {
			p, best := published(t, name)
			r, err := packing.Pack(context.Background(), p, packing.Options{Seed: 1, Rounds: 20000})
			require.NoError(t, err)
			checkResult(t, p, r)
			require.True(t, r.Complete)
			require.True(t, r.Proven)
			require.Equal(t, best, r.Bound)
		})
	}
}

// TestPackEndsWithItsTimeWhateverThereIsToTry has so many ways to bind the jobs
// of a visit that trying them once would take minutes.
func TestPackEndsWithItsTimeWhateverThereIsToTry(t *testing.T) {
	const minutes = 20_000
	p := packing.Problem{Objective: packing.MaxValue}
	p.Shop = openings.Shop{Minutes: minutes, Premises: []openings.Span{{From: 0, To: minutes}}}
	for i := range 40 {
		for _, kind := range []openings.UnitKind{openings.Stylist, openings.Chair} {
			p.Shop.Units = append(p.Shop.Units, openings.Unit{ID: fmt.Sprint(kind, i), Kind: kind, Open: p.Shop.Premises})
		}
	}
	stylist := openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}
	v := openings.VisitSpec{Roles: []openings.Role{{Name: "lead", Need: stylist}, {Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}}}}
	for i := range 16 {
		v.Phases = append(v.Phases, openings.Phase{Name: fmt.Sprint("p", i), Minutes: 7, Roles: []string{"chair"}, Pool: []openings.Need{stylist, stylist}})
		if i > 0 {
			v.Gaps = append(v.Gaps, openings.Gap{Max: 20, Hold: []string{"chair"}})
		}
	}
	for i := range 40 {
		p.Requests = append(p.Requests, packing.Request{ID: fmt.Sprint("r", i), Visit: v, Value: 10, Query: openings.Query{To: minutes, Grid: 5}})
	}
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	r, err := packing.Pack(ctx, p, packing.Options{Seed: 1})
	require.NoError(t, err)
	require.Equal(t, len(p.Requests), len(r.Placed)+len(r.Unplaced))
	cancel()
	r, err = packing.Pack(ctx, p, packing.Options{Seed: 1})
	require.NoError(t, err)
	require.NotEmpty(t, r.Placed, "one way is tried for each")
}

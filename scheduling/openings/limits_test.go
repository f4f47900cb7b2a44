package openings_test

import (
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// allowed is how much memory one question may take, whatever is asked.
const allowed = 64 << 20

// requireFrugal asserts that f does not allocate more than allowed in all. What
// is given back meanwhile counts too, so that is more than what it needs at once.
func requireFrugal(t *testing.T, what string, f func()) {
	t.Helper()
	runtime.GC()
	runtime.GC() // empties the pools of working memory
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	took := after.TotalAlloc - before.TotalAlloc
	t.Logf("%s: %.1f MB", what, float64(took)/(1<<20))
	require.Less(t, took, uint64(allowed), what)
}

// crowdedShop has as many units as may be, each booked every other minute as
// long as bookings last.
func crowdedShop(units, spans int) openings.Shop {
	shop := openings.Shop{Minutes: openings.MaxHorizon, Premises: []openings.Span{{From: 0, To: openings.MaxHorizon}}}
	for i := range units {
		u := openings.Unit{ID: fmt.Sprintf("U%04d", i), Kind: openings.Assistant, Open: []openings.Span{{From: 0, To: openings.MaxHorizon}}}
		shop.Units = append(shop.Units, u)
	}
	spans -= 1 + units
	for i := range spans {
		u := &shop.Units[i%units]
		at := openings.Minute(2 * len(u.Bookings))
		u.Bookings = append(u.Bookings, openings.Booking{From: at, To: at + 1})
	}
	return shop
}

// longVisit has as many phases and roles as may be, each phase with a pool of its
// own. Two entries of a pool share one unit out of units, so that every set of
// entries makes a test; with units 0 each entry may take anybody.
func longVisit(units, pool int, wait openings.Minute) openings.VisitSpec {
	var v openings.VisitSpec
	id := func(u int) string { return fmt.Sprintf("U%04d", u) }
	for r := range openings.MaxRoles {
		v.Roles = append(v.Roles, openings.Role{Name: fmt.Sprint(r),
			Need: openings.Need{Kinds: []openings.UnitKind{openings.Assistant}, Only: []string{id(r)}}})
	}
	for i := range openings.MaxPhases {
		ph := openings.Phase{Minutes: 1, Roles: []string{fmt.Sprint(i % openings.MaxRoles)}}
		for e := range pool {
			n := openings.Need{Kinds: []openings.UnitKind{openings.Assistant}}
			if units > 0 {
				n.Only = []string{id(i % units), id((i + 1 + e) % units)}
			}
			ph.Pool = append(ph.Pool, n)
		}
		v.Phases = append(v.Phases, ph)
	}
	for range openings.MaxPhases - 1 {
		v.Gaps = append(v.Gaps, openings.Gap{Max: wait})
	}
	return v
}

func TestTheLargestInputsThatAreTakenNeedLittleMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	whole := openings.Query{From: 0, To: openings.MaxHorizon - 1, Grid: 1}
	for _, tt := range []struct {
		name  string
		units int
		spec  openings.VisitSpec
		q     openings.Query
	}{
		{"many units", openings.MaxUnits, longVisit(0, 1, 1), openings.Query{To: 20_000, Grid: 1}},
		{"many pools", 210, longVisit(210, 4, 18), openings.Query{To: 20_000, Grid: 1}},
		{"long waits", 20, longVisit(20, 1, 18), openings.Query{To: 20_000, Grid: 1}},
		{"long horizon", 10, longVisit(10, 1, 1), whole},
	} {
		t.Run(tt.name, func(t *testing.T) {
			shop := crowdedShop(tt.units, openings.MaxSpans)
			var snap *openings.Snapshot
			var plan *openings.Plan
			var x *openings.StartSet
			var err error
			requireFrugal(t, "snapshot", func() { snap, err = openings.NewSnapshot(shop) })
			require.NoError(t, err)
			requireFrugal(t, "plan", func() { plan, err = openings.Compile(tt.spec, snap) })
			require.NoError(t, err)
			requireFrugal(t, "search", func() { x, err = plan.Search(snap, tt.q) })
			require.NoError(t, err)
			require.False(t, x.Empty())
			first, _ := x.First()
			ok := false
			requireFrugal(t, "assign", func() { _, ok = x.Assign(first, "") })
			require.True(t, ok)
		})
	}
}

func TestManyClearingsOfAUnitAreNotAllKept(t *testing.T) {
	shop := crowdedShop(10, openings.MaxSpans)
	snap, err := openings.NewSnapshot(shop)
	require.NoError(t, err)
	ask := func(clear openings.Minute) int {
		spec := openings.VisitSpec{Phases: []openings.Phase{{Minutes: 1, Pool: []openings.Need{{Kinds: []openings.UnitKind{openings.Assistant}}}}},
			Clear: map[openings.UnitKind]openings.Minute{openings.Assistant: clear}}
		plan, err := openings.Compile(spec, snap)
		require.NoError(t, err)
		x, err := plan.Search(snap, openings.Query{To: openings.MaxHorizon, Grid: 1})
		require.NoError(t, err)
		return x.Count()
	}
	want := ask(0)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for clear := range openings.Minute(40) {
		require.LessOrEqual(t, ask(clear), want)
	}
	require.Equal(t, want, ask(0))
	runtime.GC()
	runtime.ReadMemStats(&after)
	require.Less(t, after.HeapAlloc, before.HeapAlloc+allowed)
	runtime.KeepAlive(snap)
}

func TestLimitsAreNamed(t *testing.T) {
	fields := func(err error) string {
		var f scheduling.Faults
		require.ErrorAs(t, err, &f)
		var out []string
		for _, x := range f {
			require.NotEmpty(t, x.Want)
			out = append(out, x.Field)
		}
		return strings.Join(out, " ")
	}
	day := openings.Shop{Minutes: 1440, Premises: []openings.Span{{From: 540, To: 1200}}}
	always := openings.Shop{Minutes: openings.MaxHorizon, Premises: []openings.Span{{From: 0, To: openings.MaxHorizon}}}

	long := day
	long.Minutes = 10 * 366 * 1440
	_, err := openings.NewSnapshot(long)
	require.Equal(t, "minutes", fields(err))

	crowd := crowdedShop(10_000, 20_000)
	_, err = openings.NewSnapshot(crowd)
	require.Equal(t, "units", fields(err))

	booked := crowdedShop(20, openings.MaxSpans)
	snap, err := openings.NewSnapshot(booked)
	require.NoError(t, err)
	u := booked.Units[3]
	u.Bookings = append(u.Bookings[:len(u.Bookings):len(u.Bookings)], openings.Booking{From: 0, To: 5})
	_, err = snap.With(u)
	require.Equal(t, "unit", fields(err))
	booked.Units[3] = u
	_, err = openings.NewSnapshot(booked)
	require.Equal(t, "units", fields(err))

	many, err := openings.NewSnapshot(crowdedShop(210, 3000))
	require.NoError(t, err)
	_, err = openings.Compile(longVisit(210, openings.MaxPool, 0), many)
	require.Equal(t, "phases", fields(err))
	full, err := openings.NewSnapshot(crowdedShop(openings.MaxUnits, 3000))
	require.NoError(t, err)
	_, err = openings.Compile(longVisit(0, 3, 0), full)
	require.Equal(t, "phases[83].pool", fields(err))

	// Waits without limit are taken where the shop closes at night.
	spec := openings.VisitSpec{Gaps: make([]openings.Gap, 99)}
	for range 100 {
		spec.Phases = append(spec.Phases, openings.Phase{Minutes: 1})
	}
	for i := range spec.Gaps {
		spec.Gaps[i].Max = openings.MaxHorizon
	}
	for _, tt := range []struct {
		shop openings.Shop
		want string
	}{{day, ""}, {always, "gaps"}} {
		snap, err := openings.NewSnapshot(tt.shop)
		require.NoError(t, err)
		plan, err := openings.Compile(spec, snap)
		require.NoError(t, err)
		x, err := plan.Search(snap, openings.Query{To: 1439, Grid: 1})
		if tt.want == "" {
			require.NoError(t, err)
			require.Equal(t, 660-100+1, x.Count())
			continue
		}
		require.Equal(t, tt.want, fields(err))
		_, _, err = plan.Soonest(snap, openings.Query{To: 1439, Grid: 1})
		require.Equal(t, tt.want, fields(err))
	}
}

func TestAnAnswerOfTooManyRangesIsRefused(t *testing.T) {
	// A chair that is free every other minute, and ten stylists at any time.
	shop := openings.Shop{Minutes: openings.MaxHorizon, Premises: []openings.Span{{From: 0, To: openings.MaxHorizon}}}
	chair := openings.Unit{ID: "chair", Kind: openings.Chair, Open: shop.Premises}
	for i := range openings.Minute(100_000) {
		chair.Bookings = append(chair.Bookings, openings.Booking{From: 2 * i, To: 2*i + 1})
	}
	shop.Units = append(shop.Units, chair)
	for i := range 10 {
		shop.Units = append(shop.Units, openings.Unit{ID: fmt.Sprint(i), Kind: openings.Stylist, Open: shop.Premises})
	}
	spec := openings.VisitSpec{Roles: []openings.Role{
		{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}},
		{Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}},
	}, Phases: []openings.Phase{{Minutes: 1, Roles: []string{"lead", "chair"}}}}
	snap, err := openings.NewSnapshot(shop)
	require.NoError(t, err)
	plan, err := openings.Compile(spec, snap)
	require.NoError(t, err)
	requireFrugal(t, "search", func() { _, err = plan.Search(snap, openings.Query{To: openings.MaxHorizon, Grid: 1}) })
	requireFields(t, err, []string{"to"})
	x, err := plan.Search(snap, openings.Query{To: 80_000, Grid: 1})
	require.NoError(t, err)
	require.Equal(t, 40_000, x.Count())
	at, ok, err := plan.Soonest(snap, openings.Query{To: openings.MaxHorizon, Grid: 1})
	require.NoError(t, err)
	require.True(t, ok)
	require.EqualValues(t, 1, at)
}

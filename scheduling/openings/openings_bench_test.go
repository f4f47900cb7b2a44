package openings_test

import (
	"testing"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

// sixtyDays is the whole question of bench-60-days.json: 10 stylists, 2
// assistants, 6 chairs, 3 basins, 15 phases, 10,125 bookings.
func sixtyDays(b *testing.B) (*problemfile.OpeningsProblem, *openings.Snapshot, *openings.Plan) {
	b.Helper()
	p := readProblem(b, "bench-60-days.json")
	snap, err := openings.NewSnapshot(p.Shop)
	require.NoError(b, err)
	plan, err := openings.Compile(p.Visit, snap)
	require.NoError(b, err)
	return p, snap, plan
}

// BenchmarkOpenings60Days asks for all starts, with plan and free lists built
// beforehand.
func BenchmarkOpenings60Days(b *testing.B) {
	p, snap, plan := sixtyDays(b)
	b.ReportAllocs()
	for b.Loop() {
		x, err := plan.Search(snap, p.Query)
		if err != nil || x.Count() != 1966 {
			b.Fatalf("%d starts, %v", x.Count(), err)
		}
	}
}

// BenchmarkOpeningsOneDay asks the same for the first day only.
func BenchmarkOpeningsOneDay(b *testing.B) {
	p, snap, plan := sixtyDays(b)
	q := p.Query
	q.To = 1439
	b.ReportAllocs()
	for b.Loop() {
		if _, err := plan.Search(snap, q); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSoonest60Days asks for the first start only.
func BenchmarkSoonest60Days(b *testing.B) {
	p, snap, plan := sixtyDays(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, ok, err := plan.Soonest(snap, p.Query); !ok || err != nil {
			b.Fatal(ok, err)
		}
	}
}

// BenchmarkOpeningsChairReleased asks for all starts when the chair is given up
// at the basin, so that no unit is kept from start to end.
func BenchmarkOpeningsChairReleased(b *testing.B) {
	p, snap, _ := sixtyDays(b)
	spec := p.Visit
	spec.Phases = append([]openings.Phase(nil), spec.Phases...)
	spec.Gaps = append([]openings.Gap(nil), spec.Gaps...)
	for i := range spec.Phases {
		if len(spec.Phases[i].Pool) == 2 { // basin and somebody to wash
			spec.Phases[i].Roles = nil
		}
	}
	plan, err := openings.Compile(spec, snap)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := plan.Search(snap, p.Query); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkMinEnd asks for the earliest end of one start.
func BenchmarkMinEnd(b *testing.B) {
	p, snap, plan := sixtyDays(b)
	x, err := plan.Search(snap, p.Query)
	require.NoError(b, err)
	first, _ := x.First()
	b.ReportAllocs()
	for b.Loop() {
		x.MinEnd(first)
	}
}

// BenchmarkAssign writes down the schedule of one start.
func BenchmarkAssign(b *testing.B) {
	p, snap, plan := sixtyDays(b)
	x, err := plan.Search(snap, p.Query)
	require.NoError(b, err)
	first, _ := x.First()
	b.ReportAllocs()
	for b.Loop() {
		x.Assign(first, "")
	}
}

// BenchmarkCompile makes the plan of 15 phases.
func BenchmarkCompile(b *testing.B) {
	p, snap, _ := sixtyDays(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := openings.Compile(p.Visit, snap); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkNewSnapshot works out the free lists of 21 units.
func BenchmarkNewSnapshot(b *testing.B) {
	p, _, _ := sixtyDays(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := openings.NewSnapshot(p.Shop); err != nil {
			b.Fatal(err)
		}
	}
}

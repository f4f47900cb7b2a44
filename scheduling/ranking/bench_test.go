package ranking_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"
	"chairblock/scheduling/ranking"
)

// sixtyDays is bench-60-days.json: 10 stylists, 2 assistants, 6 chairs, 3 basins,
// a visit of 15 phases, 10,125 bookings; with a usual mix of cut, colour and the
// long visit itself.
func sixtyDays(t testing.TB) ranking.Input {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "problems", "bench-60-days.json"))
	require.NoError(t, err)
	defer file.Close()
	p, err := problemfile.ReadOpenings(file)
	require.NoError(t, err)
	snap, err := openings.NewSnapshot(p.Shop)
	require.NoError(t, err)
	plan, err := openings.Compile(p.Visit, snap)
	require.NoError(t, err)
	starts, err := plan.Search(snap, p.Query)
	require.NoError(t, err)
	in := ranking.Input{Snapshot: snap, Visit: p.Visit, Starts: starts, Grid: p.Query.Grid, Offer: 15,
		Weights: ranking.DefaultWeights(), Mix: append(usualMix(), ranking.Standard{Name: "straightening", Spec: p.Visit, PerDay: 1, Worth: 320})}
	for at := openings.Minute(0); at < p.Shop.Minutes; at += 1440 {
		in.Days = append(in.Days, ranking.Day{Span: openings.Span{From: at, To: at + 1440}})
	}
	return in
}

// usualMix has a cut of 53 minutes and a root colour of 100.
func usualMix() []ranking.Standard {
	stylist := openings.Role{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}}
	chair := openings.Role{Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}}
	roles := []openings.Role{stylist, chair}
	wash := []openings.Need{{Kinds: []openings.UnitKind{openings.Basin}}, {Kinds: []openings.UnitKind{openings.Assistant, openings.Stylist}}}
	both, seat := []string{"lead", "chair"}, []string{"chair"}
	return []ranking.Standard{
		{Name: "cut", PerDay: 8, Worth: 58, Spec: openings.VisitSpec{Roles: roles, Phases: []openings.Phase{
			{Name: "wash", Minutes: 8, Roles: seat, Pool: wash},
			{Name: "cut", Minutes: 30, Roles: both},
			{Name: "dry", Minutes: 15, Roles: both},
		}, Gaps: []openings.Gap{{Max: 5, Hold: seat}, {Max: 5, Hold: seat}}}},
		{Name: "root colour", PerDay: 4, Worth: 74, Spec: openings.VisitSpec{Roles: roles, Phases: []openings.Phase{
			{Name: "colour", Minutes: 30, Roles: both},
			{Name: "colour working", Minutes: 35, Roles: seat},
			{Name: "rinse", Minutes: 10, Roles: seat, Pool: wash},
			{Name: "dry", Minutes: 25, Roles: both},
		}, Gaps: []openings.Gap{{Hold: seat}, {Max: 3, Hold: seat}, {Max: 10, Hold: seat}}, Clear: map[openings.UnitKind]openings.Minute{openings.Chair: 10}}},
	}
}

// rank runs b for n openings and reports how long one candidate takes when all
// of them are asked for.
func rank(b *testing.B, in ranking.Input, n int) {
	b.Helper()
	b.ReportAllocs()
	got := 0
	for b.Loop() {
		out, err := ranking.Rank(in, n)
		if err != nil || len(out) < 10 {
			b.Fatal(len(out), err)
		}
		got = len(out)
	}
	if n > 10 {
		b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(got), "us/candidate")
	}
}

// BenchmarkRank60Days asks for the ten best of all days.
func BenchmarkRank60Days(b *testing.B) { rank(b, sixtyDays(b), 10) }

// BenchmarkRank60DaysFullMix asks for the ten best with a mix that no day can
// hold, so that hardly an opening is free and the bounds help little.
func BenchmarkRank60DaysFullMix(b *testing.B) {
	in := sixtyDays(b)
	in.Mix[0].PerDay, in.Mix[1].PerDay, in.Mix[2].PerDay = 30, 12, 2
	rank(b, in, 10)
}

// BenchmarkRank60DaysWish has a wish for the time and the stylist.
func BenchmarkRank60DaysWish(b *testing.B) {
	in := sixtyDays(b)
	in.Lead = "S07"
	for i := range in.Days {
		at := in.Days[i].From + 600
		in.Days[i].Wish = &openings.StartRange{From: at, To: at + 120}
	}
	rank(b, in, 10)
}

// BenchmarkRank60DaysEveryFive offers starts every five minutes.
func BenchmarkRank60DaysEveryFive(b *testing.B) {
	in := sixtyDays(b)
	in.Offer = 5
	rank(b, in, 10)
}

// BenchmarkPlacing costs all candidates but counts no loss.
func BenchmarkPlacing(b *testing.B) {
	in := sixtyDays(b)
	in.Mix = nil
	rank(b, in, 1000)
}

// BenchmarkFullEvaluation counts the loss of every candidate.
func BenchmarkFullEvaluation(b *testing.B) { rank(b, sixtyDays(b), 1000) }

// BenchmarkFullEvaluationFullMix counts it with a mix that no day can hold.
func BenchmarkFullEvaluationFullMix(b *testing.B) {
	in := sixtyDays(b)
	in.Mix[0].PerDay, in.Mix[1].PerDay, in.Mix[2].PerDay = 30, 12, 2
	rank(b, in, 1000)
}

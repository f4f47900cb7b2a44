package openings_test

import (
	"math/rand/v2"
	"testing"

	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

// seeded returns a source of random instances whose seed a failure prints.
func seeded(t *testing.T) *rand.Rand {
	t.Helper()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	return rand.New(rand.NewPCG(seed, 0))
}

// search asks both engines, which have to agree.
func search(t *testing.T, in instance) *openings.StartSet {
	t.Helper()
	snap, err := openings.NewSnapshot(in.shop)
	require.NoError(t, err)
	plan, err := openings.Compile(in.spec, snap)
	require.NoError(t, err)
	x, err := plan.Search(snap, in.q)
	require.NoError(t, err)
	lists, err := plan.SearchByLists(snap, in.q)
	require.NoError(t, err)
	require.Equal(t, lists.Ranges(), x.Ranges(), "by lists and by bits: %+v", in)
	require.Equal(t, lists.ByFirstRole(), x.ByFirstRole(), "by lists and by bits: %+v", in)
	return x
}

// expand lists the starts of ranges.
func expand(ranges []openings.StartRange, grid openings.Minute) []openings.Minute {
	var out []openings.Minute
	for _, r := range ranges {
		for m := r.From; m <= r.To; m += grid {
			out = append(out, m)
		}
	}
	return out
}

func TestSearchAgreesWithTryingEverything(t *testing.T) {
	r := seeded(t)
	rounds, feasible, starts := 4000, 0, 0
	if testing.Short() {
		rounds = 400
	}
	for round := range rounds {
		in := randomInstance(r)
		x := search(t, in)
		o := newOracle(in.shop, in.spec, in.q)
		want := o.solve()
		sameStarts(t, round, in, x, o, want)
		if len(want) > 0 {
			feasible++
			starts += len(want)
		}
	}
	t.Logf("%d of %d feasible, %d starts", feasible, rounds, starts)
	require.Greater(t, feasible, rounds/8, "the generator must not make hopeless instances only")
}

func sameStarts(t *testing.T, round int, in instance, x *openings.StartSet, o *oracle, want map[openings.Minute]*found) {
	t.Helper()
	var all []openings.Minute
	byFirst := map[string][]openings.Minute{}
	for s := range in.shop.Minutes {
		f, ok := want[s]
		end, got := x.MinEnd(s)
		require.Equal(t, ok, got, "round %d: start %d of %+v", round, s, in)
		if !ok {
			_, assigned := x.Assign(s, "")
			require.False(t, assigned)
			continue
		}
		all = append(all, s)
		least := never
		for u := range in.shop.Units {
			e, ok := f.end[u]
			sch, assigned := x.Assign(s, in.shop.Units[u].ID)
			require.Equal(t, ok, assigned, "round %d: start %d with %s of %+v", round, s, in.shop.Units[u].ID, in)
			if ok {
				byFirst[in.shop.Units[u].ID] = append(byFirst[in.shop.Units[u].ID], s)
				sameSchedule(t, in, sch, o, s, f.bound[u], e)
			}
		}
		for _, e := range f.end {
			least = min(least, e)
		}
		require.Equal(t, least, end, "round %d: end from %d of %+v", round, s, in)
		sch, _ := x.Assign(s, "")
		require.Empty(t, openings.Check(sch, in.spec, in.shop))
		require.Equal(t, least, sch.Phases[len(sch.Phases)-1].End)
	}
	require.Equal(t, all, expand(x.Ranges(), in.q.Grid), "round %d: %+v", round, in)
	for i, r := range x.Ranges()[min(1, len(x.Ranges())):] {
		require.Greater(t, r.From, x.Ranges()[i].To+in.q.Grid, "neighbouring starts belong into one range")
	}
	require.Equal(t, len(all), x.Count())
	require.Equal(t, len(all) == 0, x.Empty())
	got := map[string][]openings.Minute{}
	for id, ranges := range x.ByFirstRole() {
		got[id] = expand(ranges, in.q.Grid)
	}
	require.Equal(t, byFirst, got, "round %d: %+v", round, in)
	var yielded []openings.Minute
	for m := range x.All() {
		yielded = append(yielded, m)
	}
	require.Equal(t, all, yielded)
	sameSoonest(t, in, x)
	if first, ok := x.First(); ok {
		last, _ := x.Last()
		require.Equal(t, []openings.Minute{all[0], all[len(all)-1]}, []openings.Minute{first, last})
	}
}

// sameSchedule holds an assignment against the rules, the earliest end, and the
// order of preference.
func sameSchedule(t *testing.T, in instance, got openings.Schedule, o *oracle,
	start openings.Minute, bound []int, end openings.Minute) {
	t.Helper()
	require.Empty(t, openings.Check(got, in.spec, in.shop), "%+v in %+v", got, in)
	require.Equal(t, end, got.Phases[len(got.Phases)-1].End)
	require.Equal(t, o.schedule(start, bound), got, "%+v", in)
}

func sameSoonest(t *testing.T, in instance, x *openings.StartSet) {
	t.Helper()
	snap, err := openings.NewSnapshot(in.shop)
	require.NoError(t, err)
	plan, err := openings.Compile(in.spec, snap)
	require.NoError(t, err)
	got, ok, err := plan.Soonest(snap, in.q)
	require.NoError(t, err)
	want, some := x.First()
	require.Equal(t, some, ok)
	lists, listed, err := plan.SoonestByLists(snap, in.q)
	require.NoError(t, err)
	require.Equal(t, some, listed)
	if some {
		require.Equal(t, want, got)
		require.Equal(t, want, lists)
	}
}

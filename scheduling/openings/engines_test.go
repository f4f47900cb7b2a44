package openings_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
)

// wideInstance draws shops of several days, some open day and night, and visits
// with waits and runs that fill several words and more than one chunk: far too
// large for trying everything, so the three searches are each other's oracle.
func wideInstance(r *rand.Rand) instance {
	in := instance{shop: openings.Shop{Minutes: openings.Minute(1000 + r.IntN(9000))}}
	for at := openings.Minute(r.IntN(600)); at < in.shop.Minutes; at += 1440 {
		to := at + openings.Minute(300+r.IntN(600))
		if r.IntN(3) == 0 {
			to = at + 1440*openings.Minute(1+r.IntN(4))
		}
		in.shop.Premises = append(in.shop.Premises, openings.Span{From: at, To: min(to, in.shop.Minutes)})
	}
	for i := range 4 + r.IntN(6) {
		in.shop.Units = append(in.shop.Units, wideUnit(r, fmt.Sprintf("U%d", i), someKinds[i%len(someKinds)], in.shop.Minutes))
	}
	in.spec = wideVisit(r)
	in.q = openings.Query{From: openings.Minute(r.IntN(500)), To: in.shop.Minutes, Grid: 1}
	switch r.IntN(4) {
	case 0:
		in.q.Grid = openings.Minute(2 + r.IntN(30))
	case 1:
		end := openings.Minute(r.IntN(int(in.shop.Minutes)))
		in.q.EndBy = &end
	case 2:
		in.q.To = in.q.From + openings.Minute(r.IntN(3000))
	}
	return in
}

func wideUnit(r *rand.Rand, id string, kind openings.UnitKind, minutes openings.Minute) openings.Unit {
	u := openings.Unit{ID: id, Kind: kind, Changeover: openings.Minute(r.IntN(4)), Skills: someSkills[:r.IntN(3)],
		Open: []openings.Span{{From: 0, To: minutes}}}
	if r.IntN(3) == 0 {
		u.Open = randomSpans(r, minutes, 3+r.IntN(4), 3000)
	}
	busy := []int{0, 30, 200, 900}[r.IntN(4)]
	for at := openings.Minute(r.IntN(100)); busy > 0 && at < minutes; {
		to := at + 1 + openings.Minute(r.IntN(60))
		u.Bookings = append(u.Bookings, openings.Booking{From: at, To: to, Clear: openings.Minute(r.IntN(4))})
		at = to + openings.Minute(r.IntN(busy))
	}
	return u
}

func wideVisit(r *rand.Rand) openings.VisitSpec {
	v := randomVisit(r)
	for i := range v.Phases {
		v.Phases[i].Minutes = openings.Minute(1 + r.IntN(50))
	}
	for i := range v.Gaps {
		g := &v.Gaps[i]
		g.Min = openings.Minute(r.IntN(8))
		switch g.Max = g.Min; r.IntN(6) {
		case 0, 1:
			g.Max += openings.Minute(r.IntN(12))
		case 2:
			g.Max += openings.Minute(r.IntN(150))
		case 3:
			g.Max += openings.Minute(r.IntN(900))
		}
	}
	return v
}

func TestThreeSearchesAgreeOnWideInstances(t *testing.T) {
	r := seeded(t)
	rounds, feasible := 600, 0
	if testing.Short() {
		rounds = 150
	}
	for round := range rounds {
		in := wideInstance(r)
		x := search(t, in) // by bits and by lists
		whole := newWholeBits(in.shop, in.spec)
		var all []openings.Minute
		for first, s := range whole.search(in.q) {
			minutes := whole.minutes(s)
			all = append(all, minutes...)
			if len(in.spec.Roles) > 0 {
				got := expand(x.ByFirstRole()[in.shop.Units[first].ID], in.q.Grid)
				require.Equal(t, minutes, got, "round %d: with %s of %+v", round, in.shop.Units[first].ID, in)
			}
		}
		slices.Sort(all)
		all = slices.Compact(all)
		require.Equal(t, all, expand(x.Ranges(), in.q.Grid), "round %d: %+v", round, in)
		sameSoonest(t, in, x)
		if !x.Empty() {
			feasible++
		}
	}
	t.Logf("%d of %d feasible", feasible, rounds)
	require.Greater(t, feasible, rounds/8)
}

func TestAChairThatIsGivenUpOnceIsFoundByItsRuns(t *testing.T) {
	r := seeded(t)
	feasible := 0
	for range 1500 {
		in := randomInstance(r)
		in.spec.Roles = []openings.Role{
			{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist, openings.Assistant}}},
			{Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}},
		}
		in.spec.Phases, in.spec.Gaps = slices.Clone(in.spec.Phases), slices.Clone(in.spec.Gaps)
		from := r.IntN(len(in.spec.Phases))
		to := from + r.IntN(len(in.spec.Phases)-from)
		for i := range in.spec.Phases {
			ph := &in.spec.Phases[i]
			ph.Roles, ph.Pool = nil, nil
			if r.IntN(2) == 0 {
				ph.Roles = []string{"lead"}
			} else if r.IntN(2) == 0 {
				ph.Pool = []openings.Need{{Kinds: []openings.UnitKind{openings.Basin, openings.Assistant}}}
			}
			if from <= i && i <= to {
				ph.Roles = append(ph.Roles, "chair")
			}
		}
		for i := range in.spec.Gaps {
			in.spec.Gaps[i].Hold = nil
			if from <= i && i < to {
				in.spec.Gaps[i].Hold = []string{"chair"}
			}
		}
		x := search(t, in)
		want := newOracle(in.shop, in.spec, in.q).solve()
		var all []openings.Minute
		for s := range in.shop.Minutes {
			if want[s] != nil {
				all = append(all, s)
			}
		}
		require.Equal(t, all, starts(x), "%+v", in)
		if !x.Empty() {
			feasible++
		}
	}
	require.Greater(t, feasible, 100)
}

func TestSearchIntoLeavesNothingOfThePreviousAnswer(t *testing.T) {
	r := seeded(t)
	var x openings.StartSet
	require.True(t, x.Empty())
	require.Zero(t, x.Count())
	require.Empty(t, x.ByFirstRole())
	require.Empty(t, x.Leads(3))
	for range 500 {
		in := randomInstance(r)
		snap, err := openings.NewSnapshot(in.shop)
		require.NoError(t, err)
		plan, err := openings.Compile(in.spec, snap)
		require.NoError(t, err)
		require.NoError(t, plan.SearchInto(&x, snap, in.q))
		want := search(t, in)
		require.Equal(t, starts(want), starts(&x))
		require.Equal(t, want.ByFirstRole(), x.ByFirstRole())
		for m := range want.All() {
			a, _ := want.Assign(m, "")
			b, ok := x.Assign(m, "")
			require.True(t, ok)
			require.Equal(t, a, b)
		}
		require.Error(t, plan.SearchInto(&x, snap, openings.Query{From: 2, To: 1, Grid: 1}))
		require.Equal(t, want.Count(), x.Count(), "after an error the answer is as it was")
	}
}

func TestSearchIntoNeedsNoMemoryOfItsOwn(t *testing.T) {
	pool := sync.Pool{New: func() any { return new(int) }}
	if testing.AllocsPerRun(10, func() {
		for range 100 {
			pool.Put(pool.Get())
		}
	}) > 1 {
		t.Skip("the race detector lets pools forget on purpose")
	}
	p := readProblem(t, "bench-60-days.json")
	snap, err := openings.NewSnapshot(p.Shop)
	require.NoError(t, err)
	for name, spec := range map[string]openings.VisitSpec{"kept": p.Visit, "released": releaseChair(p.Visit)} {
		t.Run(name, func(t *testing.T) {
			plan, err := openings.Compile(spec, snap)
			require.NoError(t, err)
			var x openings.StartSet
			n := testing.AllocsPerRun(20, func() {
				if err := plan.SearchInto(&x, snap, p.Query); err != nil || x.Empty() {
					t.Fatal(err)
				}
			})
			// A garbage collection may empty the pool of solvers now and then.
			require.Less(t, n, 1.0)
		})
	}
}

func TestLeadsAreThoseWhoCanTakeAStart(t *testing.T) {
	r := seeded(t)
	some := 0
	for range 1000 {
		in := randomInstance(r)
		x := search(t, in)
		for m := range in.shop.Minutes {
			var want []string
			if len(in.spec.Roles) > 0 {
				for _, u := range newOracle(in.shop, in.spec, in.q).byKind(in.spec.Roles[0].Need) {
					if _, ok := x.Assign(m, in.shop.Units[u].ID); ok {
						want = append(want, in.shop.Units[u].ID)
					}
				}
			}
			require.Equal(t, want, x.Leads(m))
			some += len(want)
		}
	}
	require.Greater(t, some, 1000)
}

package ranking_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/ranking"
)

// plain leaves out what the oracle does not work out.
func plain(list []ranking.Ranked) []ranking.Ranked {
	out := slices.Clone(list)
	for i := range out {
		out[i].Asks, out[i].Closing = nil, 0
	}
	return out
}

// often checks f on random instances until what it counts has been met more than
// least times, so that it says something.
func often(t *testing.T, met *int, least int, f func(*rapid.T)) {
	t.Helper()
	for range 50 {
		rapid.Check(t, f)
		if *met > least {
			return
		}
	}
	require.Greater(t, *met, least, "the instances hardly ever have what is tested")
}

func TestTheNBestAreThoseOfFullEvaluation(t *testing.T) {
	lossy := 0
	often(t, &lossy, 20, func(t *rapid.T) {
		in, _ := draw{t}.input()
		n := 1 + draw{t}.upTo(20)
		want := brute(in)
		got, err := ranking.Rank(in, n)
		require.NoError(t, err)
		want = want[:min(n, len(want))]
		require.Len(t, got, len(want))
		for i := range want {
			if want[i].Parts.Lost > 0 {
				lossy++
			}
			require.Equal(t, want[i], plain(got)[i], "number %d", i)
		}
	})
}

// The same on sixty busy days, with a mix so large that nearly every opening
// loses something.
func TestSixtyDaysAreRankedAsByFullEvaluation(t *testing.T) {
	in := sixtyDays(t)
	in.Days = in.Days[:14]
	in.Days[3].Wish = &openings.StartRange{From: 3*1440 + 600, To: 3*1440 + 660}
	in.Lead = "S07"
	in.Mix[0].PerDay, in.Mix[1].PerDay, in.Mix[2].PerDay = 20, 8, 2
	want := brute(in)
	require.Greater(t, len(want), 30)
	for _, n := range []int{1, 10, len(want)} {
		got, err := ranking.Rank(in, n)
		require.NoError(t, err)
		require.Equal(t, want[:n], plain(got))
	}
	require.Positive(t, want[0].Parts.Lost+want[9].Parts.Lost)
}

// worse reports whether p is worse than q in some part and better in none.
func worse(p, q ranking.Parts) bool {
	return p != q && p.Lost >= q.Lost && p.Wish >= q.Wish && yes(p.OtherLead) >= yes(q.OtherLead) &&
		p.Stay >= q.Stay && p.Slack <= q.Slack && p.Later >= q.Later
}

func TestNothingDominatedComesFirst(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, _ := draw{t}.input()
		got, err := ranking.Rank(in, 1000)
		require.NoError(t, err)
		for i := range got {
			for k := range i {
				require.False(t, worse(got[k].Parts, got[i].Parts), "%+v before %+v", got[k], got[i])
			}
		}
	})
}

// More starts on offer are more alternatives. They leave the order of the others
// alone, and so never change the winner unless one of them is cheaper.
func TestAlternativesDoNotChangeTheOrderOfTheRest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, _ := draw{t}.input()
		in.Offer = 0
		few, err := ranking.Rank(in, 1000)
		require.NoError(t, err)
		in.Offer = draw{t}.minutes(1, 4)
		many, err := ranking.Rank(in, 1000)
		require.NoError(t, err)
		var rest []ranking.Ranked
		for _, r := range many {
			if slices.ContainsFunc(few, func(o ranking.Ranked) bool { return o.Start == r.Start && o.Lead == r.Lead }) {
				rest = append(rest, r)
			}
		}
		require.Equal(t, few, rest)
	})
}

func TestScalingTheWeightsKeepsTheOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, _ := draw{t}.input()
		before, err := ranking.Rank(in, 1000)
		require.NoError(t, err)
		k := rapid.SampledFrom([]float64{0.125, 0.5, 2, 64}).Draw(t, "k")
		w := &in.Weights
		for _, x := range []*float64{&w.Lost, &w.Wish, &w.OtherLead, &w.Stay, &w.Slack, &w.Early} {
			*x *= k
		}
		after, err := ranking.Rank(in, 1000)
		require.NoError(t, err)
		for i := range after {
			require.Equal(t, before[i].Start, after[i].Start)
			require.Equal(t, before[i].Lead, after[i].Lead)
			require.Equal(t, before[i].Parts, after[i].Parts)
			require.InDelta(t, k*before[i].Cost, after[i].Cost, 1e-9)
		}
	})
}

func TestWhatLeavesMoreOfTheMixComesFirst(t *testing.T) {
	pairs := 0
	often(t, &pairs, 20, func(t *rapid.T) {
		in, _ := draw{t}.input()
		in.Weights.Lost, in.Weights.Early = 1, 0
		got, err := ranking.Rank(in, 1000)
		require.NoError(t, err)
		for i := range got {
			for k := range i {
				p, q := got[k].Parts, got[i].Parts
				p.Later, q.Later = 0, 0
				if lost := q.Lost; p.Lost != lost {
					if p.Lost, q.Lost = 0, 0; p == q {
						pairs++
						require.Less(t, got[k].Parts.Lost, lost)
					}
				}
			}
		}
	})
}

// The order of the shop decides only which units Assign takes beside the lead.
// Where it takes the same, nothing changes; and it always does when units of one
// kind keep their order.
func TestTheOrderOfUnitsIsIrrelevant(t *testing.T) {
	same := 0
	often(t, &same, 100, func(t *rapid.T) {
		in, q := draw{t}.input()
		shop := in.Snapshot.Shop()
		before, err := ranking.Rank(in, 1000)
		require.NoError(t, err)
		shuffled := shop
		shuffled.Units = slices.Clone(shop.Units)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		r.Shuffle(len(shuffled.Units), func(i, k int) {
			shuffled.Units[i], shuffled.Units[k] = shuffled.Units[k], shuffled.Units[i]
		})
		after, err := ranking.Rank(ask(t, in, shuffled, q), 1000)
		require.NoError(t, err)
		byKind := shuffled
		byKind.Units = nil
		for _, k := range []openings.UnitKind{openings.Basin, openings.Stylist, openings.Chair, openings.Assistant} {
			for _, u := range shop.Units {
				if u.Kind == k {
					byKind.Units = append(byKind.Units, u)
				}
			}
		}
		sorted, err := ranking.Rank(ask(t, in, byKind, q), 1000)
		require.NoError(t, err)
		require.Equal(t, before, sorted)
		var left, right []ranking.Ranked
		for _, a := range before {
			i := slices.IndexFunc(after, func(b ranking.Ranked) bool { return b.Start == a.Start && b.Lead == a.Lead })
			require.GreaterOrEqual(t, i, 0)
			if slices.EqualFunc(a.Schedule.Phases, after[i].Schedule.Phases, samePhase) && sameRoles(a, after[i]) {
				same++
				left = append(left, a)
			}
		}
		for _, b := range after {
			if slices.ContainsFunc(left, func(a ranking.Ranked) bool { return a.Start == b.Start && a.Lead == b.Lead }) {
				right = append(right, b)
			}
		}
		require.Equal(t, left, right)
	})
}

func samePhase(a, b openings.Placed) bool { return a.Start == b.Start && slices.Equal(a.Pool, b.Pool) }

func sameRoles(a, b ranking.Ranked) bool {
	for r, u := range a.Schedule.Roles {
		if b.Schedule.Roles[r] != u {
			return false
		}
	}
	return true
}

func TestSchedulesKeepEveryRule(t *testing.T) {
	in := sixtyDays(t)
	got, err := ranking.Rank(in, 1000)
	require.NoError(t, err)
	require.Greater(t, len(got), 300)
	for _, r := range got {
		require.Empty(t, openings.Check(r.Schedule, in.Visit, in.Snapshot.Shop()))
	}
}

// By hand: 30 minutes are half an hour, 12 hours half a day, and 4 of 10 minutes
// of slack leave out six tenths.
func TestCostsAreWeighedByHand(t *testing.T) {
	w := ranking.Weights{Lost: 2, Wish: 3, OtherLead: 5, Stay: 7, Slack: 10, Early: 11, SlackCap: 10}
	p := ranking.Parts{Lost: 1.5, Wish: 30, OtherLead: true, Stay: 60, Slack: 4, Later: 720}
	want := ranking.Costs{Wish: 1.5, OtherLead: 5, Early: 5.5, Stay: 7, Slack: 6, Lost: 3}
	require.Equal(t, want, w.Costs(p))
	require.InDelta(t, 28, want.Total(), 1e-12)
}

// A visit at the beginning of a day costs the last standard visit of the day
// before, which has to be cleared away by then.
func TestClearingReachesIntoTheNeighbouringDay(t *testing.T) {
	all := []openings.Span{{From: 0, To: 200}}
	shop := openings.Shop{Minutes: 200, Premises: all, Units: []openings.Unit{{ID: "chair", Kind: openings.Chair, Open: all, Changeover: 10}}}
	sit := func(n openings.Minute) openings.VisitSpec {
		return openings.VisitSpec{Roles: []openings.Role{{Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}}},
			Phases: []openings.Phase{{Name: "sit", Minutes: n, Roles: []string{"chair"}}}}
	}
	in := ranking.Input{Visit: sit(20), Weights: ranking.DefaultWeights(), Offer: 1,
		Mix:  []ranking.Standard{{Name: "long sit", Spec: sit(55), PerDay: 1, Worth: 1}},
		Days: []ranking.Day{{Span: openings.Span{From: 0, To: 60}}, {Span: openings.Span{From: 60, To: 200}}}}
	got, err := ranking.Rank(ask(t, in, shop, openings.Query{From: 60, To: 70, Grid: 1}), 20)
	require.NoError(t, err)
	require.Len(t, got, 11)
	for _, r := range got {
		want := 0.0
		if r.Start < 65 {
			want = 1
		}
		require.Equal(t, want, r.Parts.Lost, "start %d", r.Start)
	}
}

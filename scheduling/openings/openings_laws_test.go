package openings_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

// Laws that hold whatever the salon. Two tempting ones are not among them
// because they are false: to shorten an inner phase, or plainly to leave it out,
// can take a start away, since what follows without a wait then meets a busy
// basin.

// lawRounds runs a law on random instances. change makes another instance of
// the one given, or returns false when there is nothing to change.
func lawRounds(t *testing.T, change func(r *rand.Rand, in instance) (instance, bool),
	law func(t *testing.T, before, after *openings.StartSet)) {
	t.Helper()
	r := seeded(t)
	held := 0
	for range 2500 {
		in := randomInstance(r)
		before := search(t, in)
		other, ok := change(r, in.clone())
		if !ok {
			continue
		}
		after := search(t, other)
		if !before.Empty() || !after.Empty() {
			held++
		}
		law(t, before, after)
		if t.Failed() {
			t.Fatalf("of %+v and %+v", in, other)
		}
	}
	require.Greater(t, held, 100, "the law was hardly put to the test")
}

// clone copies all that changes touch.
func (in instance) clone() instance {
	in.shop.Units = slices.Clone(in.shop.Units)
	in.spec.Phases = slices.Clone(in.spec.Phases)
	in.spec.Gaps = slices.Clone(in.spec.Gaps)
	return in
}

func starts(x *openings.StartSet) []openings.Minute { return slices.Collect(x.All()) }

func neverFewer(t *testing.T, before, after *openings.StartSet) {
	t.Helper()
	all := starts(after)
	for m := range before.All() {
		if _, ok := slices.BinarySearch(all, m); !ok {
			t.Errorf("start %d is gone", m)
		}
	}
}

func TestABookingNeverAddsAStart(t *testing.T) {
	lawRounds(t, func(r *rand.Rand, in instance) (instance, bool) {
		u := &in.shop.Units[r.IntN(len(in.shop.Units))]
		s := randomSpans(r, in.shop.Minutes, 1, 10)[0]
		u.Bookings = append(slices.Clone(u.Bookings), openings.Booking{From: s.From, To: s.To, Clear: 2})
		return in, true
	}, func(t *testing.T, before, after *openings.StartSet) { neverFewer(t, after, before) })
}

func TestAPhaseThatNeedsNobodyAnyMoreNeverTakesAStartAway(t *testing.T) {
	lawRounds(t, func(r *rand.Rand, in instance) (instance, bool) {
		ph := &in.spec.Phases[r.IntN(len(in.spec.Phases))]
		ph.Roles, ph.Pool = nil, nil
		return in, true
	}, neverFewer)
}

func TestTurningAPhaseIntoAWaitNeverTakesAStartAway(t *testing.T) {
	lawRounds(t, func(r *rand.Rand, in instance) (instance, bool) {
		if len(in.spec.Phases) < 3 {
			return in, false
		}
		i := 1 + r.IntN(len(in.spec.Phases)-2)
		ph, a, b := in.spec.Phases[i], in.spec.Gaps[i-1], in.spec.Gaps[i]
		merged := openings.Gap{Min: a.Min + ph.Minutes + b.Min, Max: a.Max + ph.Minutes + b.Max}
		for _, role := range a.Hold {
			if slices.Contains(b.Hold, role) && slices.Contains(ph.Roles, role) {
				merged.Hold = append(merged.Hold, role)
			}
		}
		in.spec.Phases = slices.Delete(in.spec.Phases, i, i+1)
		in.spec.Gaps = slices.Replace(in.spec.Gaps, i-1, i+1, merged)
		return in, true
	}, neverFewer)
}

func TestALongerWaitNeverTakesAStartAway(t *testing.T) {
	lawRounds(t, func(r *rand.Rand, in instance) (instance, bool) {
		if len(in.spec.Gaps) == 0 {
			return in, false
		}
		g := &in.spec.Gaps[r.IntN(len(in.spec.Gaps))]
		g.Min, g.Max = max(g.Min-1, 0), g.Max+openings.Minute(r.IntN(5))
		return in, true
	}, neverFewer)
}

func TestAUnitMoreNeverTakesAStartAway(t *testing.T) {
	lawRounds(t, func(r *rand.Rand, in instance) (instance, bool) {
		u := randomShop(r).Units[0]
		u.ID = "new"
		in.shop.Units = slices.Insert(in.shop.Units, r.IntN(len(in.shop.Units)+1), u)
		return in, true
	}, neverFewer)
}

func TestAShorterLastPhaseNeverTakesAStartAway(t *testing.T) {
	lawRounds(t, func(_ *rand.Rand, in instance) (instance, bool) {
		ph := &in.spec.Phases[len(in.spec.Phases)-1]
		ph.Minutes--
		return in, ph.Minutes > 0
	}, neverFewer)
}

func TestTheOrderOfUnitsIsIrrelevant(t *testing.T) {
	lawRounds(t, func(r *rand.Rand, in instance) (instance, bool) {
		r.Shuffle(len(in.shop.Units), func(i, j int) {
			in.shop.Units[i], in.shop.Units[j] = in.shop.Units[j], in.shop.Units[i]
		})
		return in, true
	}, func(t *testing.T, before, after *openings.StartSet) {
		require.Equal(t, before.Ranges(), after.Ranges())
		require.Equal(t, before.ByFirstRole(), after.ByFirstRole())
		for m := range before.All() {
			a, _ := before.MinEnd(m)
			b, _ := after.MinEnd(m)
			require.Equal(t, a, b)
		}
	})
}

func TestMovingEverythingMovesTheAnswer(t *testing.T) {
	const k = 77
	move := func(spans []openings.Span) []openings.Span {
		var out []openings.Span
		for _, s := range spans {
			out = append(out, openings.Span{From: s.From + k, To: s.To + k})
		}
		return out
	}
	lawRounds(t, func(_ *rand.Rand, in instance) (instance, bool) {
		in.shop.Minutes += k
		in.shop.Premises = move(in.shop.Premises)
		for i := range in.shop.Units {
			u := &in.shop.Units[i]
			u.Open, u.Breaks, u.Bookings = move(u.Open), move(u.Breaks), slices.Clone(u.Bookings)
			for b := range u.Bookings {
				u.Bookings[b].From += k
				u.Bookings[b].To += k
			}
		}
		in.q.From, in.q.To = in.q.From+k, in.q.To+k
		if in.q.EndBy != nil {
			end := *in.q.EndBy + k
			in.q.EndBy = &end
		}
		return in, in.q.Grid == 1
	}, func(t *testing.T, before, after *openings.StartSet) {
		var want []openings.Minute
		for m := range before.All() {
			want = append(want, m+k)
		}
		require.Equal(t, want, starts(after))
		for m := range before.All() {
			a, _ := before.MinEnd(m)
			b, _ := after.MinEnd(m + k)
			require.Equal(t, a+k, b)
		}
	})
}

func TestTheMirroredProblemIsFeasibleIfTheProblemIs(t *testing.T) {
	r := seeded(t)
	some := 0
	for range 2500 {
		in := randomInstance(r).clone()
		in.q = openings.Query{To: in.shop.Minutes, Grid: 1}
		for i := range in.shop.Units {
			// Clearing must be the same on both sides.
			u := &in.shop.Units[i]
			clear, ok := in.spec.Clear[u.Kind]
			if !ok {
				clear = max(u.Changeover, in.spec.ClearLeast[u.Kind])
			}
			u.Bookings = slices.Clone(u.Bookings)
			for b := range u.Bookings {
				u.Bookings[b].Clear = clear
			}
		}
		x, y := search(t, in), search(t, in.mirror())
		require.Equal(t, x.Empty(), y.Empty(), "%+v", in)
		earliest := never
		for m := range x.All() {
			end, _ := x.MinEnd(m)
			earliest = min(earliest, end)
		}
		if !x.Empty() {
			some++
			require.Equal(t, in.shop.Minutes-last(y), earliest, "%+v", in)
		}
	}
	require.Greater(t, some, 100)
}

func last(x *openings.StartSet) openings.Minute {
	m, _ := x.Last()
	return m
}

// mirror lets time run backwards.
func (in instance) mirror() instance {
	in = in.clone()
	turn := func(spans []openings.Span) []openings.Span {
		var out []openings.Span
		for _, s := range spans {
			out = append(out, openings.Span{From: in.shop.Minutes - s.To, To: in.shop.Minutes - s.From})
		}
		return out
	}
	in.shop.Premises = turn(in.shop.Premises)
	for i := range in.shop.Units {
		u := &in.shop.Units[i]
		u.Open, u.Breaks, u.Bookings = turn(u.Open), turn(u.Breaks), slices.Clone(u.Bookings)
		for b, old := range u.Bookings {
			u.Bookings[b].From, u.Bookings[b].To = in.shop.Minutes-old.To, in.shop.Minutes-old.From
		}
	}
	slices.Reverse(in.spec.Phases)
	slices.Reverse(in.spec.Gaps)
	return in
}

func TestTheUnionOverLeadsIsTheWhole(t *testing.T) {
	r := seeded(t)
	for range 2500 {
		in := randomInstance(r)
		x := search(t, in)
		if len(in.spec.Roles) == 0 {
			require.Empty(t, x.ByFirstRole())
			continue
		}
		var union []openings.Minute
		for _, ranges := range x.ByFirstRole() {
			require.NotEmpty(t, ranges)
			union = append(union, expand(ranges, in.q.Grid)...)
		}
		slices.Sort(union)
		require.Equal(t, starts(x), slices.Compact(union), "%+v", in)
	}
}

func TestWithTheSameUnitsALaterStartNeverEndsEarlier(t *testing.T) {
	r := seeded(t)
	some := 0
	for range 2500 {
		in := randomInstance(r)
		x := search(t, in)
		if _, ok := x.First(); ok {
			sch, _ := x.Assign(last(x), "")
			in.spec.Roles = slices.Clone(in.spec.Roles)
			for i := range in.spec.Roles {
				in.spec.Roles[i].Only = []string{sch.Roles[in.spec.Roles[i].Name]}
			}
			some++
			before := openings.Minute(0)
			x := search(t, in)
			for m := range x.All() {
				end, _ := x.MinEnd(m)
				require.LessOrEqual(t, before, end, "%+v", in)
				before = end
			}
		}
	}
	require.Greater(t, some, 100)
}

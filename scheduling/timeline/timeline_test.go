package timeline_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/timeline"
)

// The oracle of every test here is a plain array of minutes, from -wide to wide.
const wide = 150

type cells [2 * wide]bool

func (c *cells) has(m int32) bool {
	return m >= -wide && m < wide && c[m+wide]
}

func (c *cells) all(from, to int32) bool {
	for m := from; m < to; m++ {
		if !c.has(m) {
			return false
		}
	}
	return true
}

// list turns cells into a proper list the slow way.
func (c *cells) list() timeline.List {
	var l timeline.List
	for m := int32(-wide); m < wide; m++ {
		if !c.has(m) {
			continue
		}
		if n := len(l); n > 0 && l[n-1].To == m {
			l[n-1].To++
		} else {
			l = append(l, timeline.Span{From: m, To: m + 1})
		}
	}
	return l
}

// where marks the minutes at which f is true.
func where(f func(m int32) bool) *cells {
	var c cells
	for m := int32(-wide); m < wide; m++ {
		c[m+wide] = f(m)
	}
	return &c
}

// random draws minutes in 0..59, in runs so that spans have some length.
func random(r *rand.Rand) *cells {
	var c cells
	on, keep := r.IntN(2) == 0, 1+r.IntN(9)
	for m := range 60 {
		if r.IntN(keep) == 0 {
			on = !on
		}
		c[m+wide] = on
	}
	return &c
}

func rounds(t *testing.T, check func(r *rand.Rand)) {
	t.Helper()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for range 3000 {
		check(r)
	}
}

// same compares lists, and that what dst held before is left alone.
func same(t *testing.T, want *cells, got func(dst timeline.List) timeline.List, args ...any) {
	t.Helper()
	kept := timeline.List{{From: -9, To: 1}}
	l := got(kept)
	require.Equal(t, kept[0], l[0], "what dst held before")
	if w := want.list(); len(w)+len(l) > 1 {
		require.Equal(t, w, l[1:], "%v", args)
	}
}

func TestAlgebraAgreesWithCells(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		a, b := random(r), random(r)
		la, lb := a.list(), b.list()
		same(t, where(func(m int32) bool { return a.has(m) && b.has(m) }),
			func(dst timeline.List) timeline.List { return timeline.Intersect(dst, la, lb) }, la, lb)
		same(t, where(func(m int32) bool { return a.has(m) && !b.has(m) }),
			func(dst timeline.List) timeline.List { return timeline.Subtract(dst, la, lb) }, la, lb)
		by := int32(r.IntN(41) - 20)
		same(t, where(func(m int32) bool { return a.has(m - by) }),
			func(dst timeline.List) timeline.List { return timeline.Shift(dst, la, by) }, la, by)
		w := timeline.Span{From: int32(r.IntN(70) - 5), To: int32(r.IntN(70) - 5)}
		same(t, where(func(m int32) bool { return a.has(m) && w.From <= m && m < w.To }),
			func(dst timeline.List) timeline.List { return timeline.Clip(dst, la, w) }, la, w)
	})
}

func TestStartsAgreeWithCells(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		a, free, n := random(r), random(r), int32(1+r.IntN(12))
		la, lf := a.list(), free.list()
		same(t, where(func(m int32) bool { return free.all(m, m+n) }),
			func(dst timeline.List) timeline.List { return timeline.Starts(dst, lf, n) }, lf, n)
		same(t, where(func(m int32) bool { return a.has(m) && free.all(m, m+n) }),
			func(dst timeline.List) timeline.List { return timeline.IntersectStarts(dst, la, lf, n) }, la, lf, n)
		same(t, where(func(m int32) bool { return a.has(m) && !free.all(m, m+n) }),
			func(dst timeline.List) timeline.List { return timeline.SubtractStarts(dst, la, lf, n) }, la, lf, n)
	})
}

func TestReachAgreesWithCells(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		goal, free := random(r), random(r)
		lg, lf := goal.list(), free.list()
		lo := int32(r.IntN(10))
		hi := lo + int32(r.IntN(25))
		reach := func(ok func(from, to int32) bool) *cells {
			return where(func(m int32) bool {
				for wait := lo; wait <= hi; wait++ {
					if goal.has(m+wait) && ok(m, m+wait) {
						return true
					}
				}
				return false
			})
		}
		same(t, reach(func(_, _ int32) bool { return true }),
			func(dst timeline.List) timeline.List { return timeline.Reach(dst, lg, lo, hi) }, lg, lo, hi)
		same(t, reach(free.all),
			func(dst timeline.List) timeline.List { return timeline.ReachHeld(dst, lg, lf, lo, hi) }, lg, lf, lo, hi)
	})
}

func TestCounterFindsWhatEnoughListsShare(t *testing.T) {
	var c timeline.Counter
	rounds(t, func(r *rand.Rand) {
		lists := make([]*cells, 1+r.IntN(5))
		for i := range lists {
			lists[i] = random(r)
			c.Add(lists[i].list())
		}
		n := 1 + r.IntN(len(lists))
		same(t, where(func(m int32) bool {
			count := 0
			for _, l := range lists {
				if l.has(m) {
					count++
				}
			}
			return count >= n
		}), func(dst timeline.List) timeline.List { return c.AtLeast(dst, n) }, n)
	})
}

func TestNormalizeMakesAProperListOfAnySpans(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		var l timeline.List
		var c cells
		for range r.IntN(8) {
			from := int32(r.IntN(60))
			s := timeline.Span{From: from, To: from + int32(r.IntN(12)) - 2}
			l = append(l, s)
			for m := s.From; m < s.To; m++ {
				c[m+wide] = true
			}
		}
		got := timeline.Normalize(l)
		require.Len(t, got, len(c.list()))
		for i, s := range c.list() {
			require.Equal(t, s, got[i])
		}
	})
}

func TestLookUpsAgreeWithCells(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		a, b := random(r), random(r)
		la, lb := a.list(), b.list()
		m := int32(r.IntN(70) - 5)
		require.Equal(t, a.has(m), la.Has(m))

		next, ok := la.Next(m)
		want := m
		for want < wide && !a.has(want) {
			want++
		}
		require.Equal(t, want < wide, ok)
		if ok {
			require.Equal(t, want, next)
		}

		run, ok := la.Run(m)
		require.Equal(t, a.has(m), ok)
		if ok {
			require.True(t, a.all(run.From, run.To) && !a.has(run.From-1) && !a.has(run.To))
		}

		count, covered := 0, true
		for m := int32(-wide); m < wide; m++ {
			if a.has(m) {
				count++
			}
			covered = covered && (a.has(m) || !b.has(m))
		}
		require.Equal(t, count, la.Minutes())
		require.Equal(t, covered, la.Covers(lb))
		both := timeline.Normalize(slices.Concat(la, lb))
		require.True(t, both.Covers(la) && both.Covers(lb))

		w := timeline.Span{From: m, To: m + int32(r.IntN(20))}
		var around timeline.List
		for _, s := range la {
			if s.To > w.From && s.From < w.To {
				around = append(around, s)
			}
		}
		if w.From < w.To {
			require.Len(t, la.Around(w), len(around))
			for i, s := range la.Around(w) {
				require.Equal(t, around[i], s)
			}
		}
	})
}

package timeline_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/timeline"
)

// The oracle here is a plain array too: minute m of an array is bit m of Bits.
type marks []bool

func (c marks) has(m int) bool { return m >= 0 && m < len(c) && c[m] }

// bits turns c into words, the slow way.
func (c marks) bits() timeline.Bits {
	b := make(timeline.Bits, timeline.Words(int32(len(c))))
	for m, on := range c {
		if on {
			b[m/64] |= 1 << (m % 64)
		}
	}
	return b
}

// minutes turns b into an array.
func minutes(b timeline.Bits) marks {
	c := make(marks, 64*len(b))
	for m := range c {
		c[m] = b[m/64]>>(m%64)&1 == 1
	}
	return c
}

// randomMarks draws up to four words in runs so that spans have some length.
func randomMarks(r *rand.Rand) marks {
	c := make(marks, 64*(1+r.IntN(4)))
	on, keep := r.IntN(2) == 0, 1+r.IntN(40)
	for m := range c {
		if r.IntN(keep) == 0 {
			on = !on
		}
		c[m] = on
	}
	return c
}

// randomWait draws short waits, long ones, and those where words end.
func randomWait(r *rand.Rand) int32 {
	switch r.IntN(4) {
	case 0:
		return int32(62 + r.IntN(4))
	case 1:
		return int32(r.IntN(300))
	default:
		return int32(r.IntN(16))
	}
}

// randomFree draws a free list that begins before and ends after the bits.
func randomFree(r *rand.Rand) timeline.List {
	var l timeline.List
	for m := int32(-100); m < 400; {
		m += 1 + int32(r.IntN(60))
		to := m + 1 + int32(r.IntN(60))
		l = append(l, timeline.Span{From: m, To: to})
		m = to
	}
	return l[r.IntN(2)*len(l)/2:]
}

// each makes an array of n minutes that f tells.
func each(n int, f func(m int) bool) marks {
	c := make(marks, n)
	for m := range c {
		c[m] = f(m)
	}
	return c
}

func clone(b timeline.Bits) timeline.Bits { return append(timeline.Bits(nil), b...) }

func TestFillAddsTheMinutesInside(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		c := randomMarks(r)
		from, to := r.IntN(400)-100, r.IntN(400)-100
		b := c.bits()
		b.Fill(int32(from), int32(to))
		require.Equal(t, each(len(c), func(m int) bool { return c[m] || from <= m && m < to }), minutes(b))
	})
}

func TestStartsAreAddedKeptAndSet(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		c, free, base, n := randomMarks(r), randomFree(r), int32(r.IntN(200)-100), 1+int32(r.IntN(50))
		starts := timeline.Starts(nil, free, n)
		may := func(m int) bool { return starts.Has(base + int32(m)) }
		b := c.bits()
		b.AddStarts(free, base, n)
		require.Equal(t, each(len(c), func(m int) bool { return c[m] || may(m) }), minutes(b))
		b = c.bits()
		b.KeepStarts(free, base, n)
		want := each(len(c), func(m int) bool { return c[m] && may(m) })
		require.Equal(t, want, minutes(b))
		b = randomBits(r, len(c.bits()))
		lo, hi := b.SetStarts(c.bits(), free, base, n)
		require.Equal(t, want, minutes(b))
		for m, on := range want {
			if on {
				require.LessOrEqual(t, 64*lo, m)
				require.Less(t, m, 64*hi)
			}
		}
	})
}

func randomBits(r *rand.Rand, n int) timeline.Bits {
	b := make(timeline.Bits, n)
	for i := range b {
		b[i] = r.Uint64()
	}
	return b
}

func TestKeepReachTriesEveryWait(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		c, goal, wait := randomMarks(r), randomMarks(r), randomWait(r)
		b := c.bits()
		b.KeepReach(goal.bits(), wait)
		require.Equal(t, each(len(c), func(m int) bool {
			for w := range int(wait) + 1 {
				if goal.has(m + w) {
					return c[m]
				}
			}
			return false
		}), minutes(b), "wait %d", wait)
	})
}

func TestKeepReachHeldTriesEveryWaitThatIsHeld(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		c, goal, held, wait := randomMarks(r), randomMarks(r), randomMarks(r), randomWait(r)
		b := c.bits()
		b.KeepReachHeld(goal.bits(), held.bits(), wait, make(timeline.Bits, 4))
		require.Equal(t, each(len(c), func(m int) bool {
			for w := range int(wait) + 1 {
				if goal.has(m + w) {
					return c[m]
				}
				if !held.has(m + w) {
					break
				}
			}
			return false
		}), minutes(b), "wait %d", wait)
	})
}

func TestSetsAreMovedComparedAndCut(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		c, o, n := randomMarks(r), randomMarks(r), r.IntN(300)
		b := c.bits()
		b.OrMoved(o.bits(), int32(n))
		require.Equal(t, each(len(c), func(m int) bool { return c[m] || o.has(m-n) }), minutes(b))
		b = c.bits()
		b.KeepMoved(o.bits(), int32(n))
		require.Equal(t, each(len(c), func(m int) bool { return c[m] && o.has(m+n) }), minutes(b))
		all := true
		for m := range c {
			all = all && (!c[m] || o.has(m+n))
		}
		require.Equal(t, all, o.bits().CoversMoved(c.bits(), int32(n)))
		require.True(t, o.bits().CoversMoved(b, int32(n)))

		o = each(len(c), o.has)
		b = c.bits()
		b.And(o.bits())
		require.Equal(t, each(len(c), func(m int) bool { return c[m] && o[m] }), minutes(b))
		require.True(t, o.bits().Covers(b))
		require.Equal(t, len(minutes(c.bits()).list(0, o)) == 0, o.bits().Covers(c.bits()))
		b = c.bits()
		b.AndNot(o.bits())
		require.Equal(t, each(len(c), func(m int) bool { return c[m] && !o[m] }), minutes(b))
	})
}

// list returns the minutes of c that are not in o as a list.
func (c marks) list(base int32, o marks) timeline.List {
	var l timeline.List
	for m := range c {
		if c[m] && !o.has(m) {
			l = append(l, timeline.Span{From: base + int32(m), To: base + int32(m) + 1})
		}
	}
	return timeline.Normalize(l)
}

func TestAppendBitsListsTheMinutes(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		c, base := randomMarks(r), int32(r.IntN(100))
		before := timeline.List{{From: base - 9, To: base - 7}, {From: base - 5, To: base - int32(r.IntN(3))}}
		want := timeline.Normalize(slices.Concat(before, c.list(base, nil)))
		require.Equal(t, want, timeline.AppendBits(append(timeline.List(nil), before...), c.bits(), base))
	})
}

func TestLeastCounts(t *testing.T) {
	rounds(t, func(r *rand.Rand) {
		const words = 2
		least := make([]timeline.Bits, 1+r.IntN(4))
		for k := range least {
			least[k] = make(timeline.Bits, words)
		}
		count := make([]int, 64*words)
		for range r.IntN(7) {
			one := clone(randomBits(r, words))
			timeline.Least(least, one)
			for m, on := range minutes(one) {
				if on {
					count[m]++
				}
			}
		}
		for k := range least {
			require.Equal(t, each(len(count), func(m int) bool { return count[m] > k }), minutes(least[k]))
		}
	})
}

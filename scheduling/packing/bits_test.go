package packing

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

const wide = 150 // minutes of the sets under test, not a multiple of 64

// cells is a set of minutes in the plainest form.
type cells [wide]bool

// drawn is a random set in both forms.
func drawn(r *rand.Rand) (*cells, minuteSet) {
	var c cells
	s := make(minuteSet, (wide+63)/64)
	on, keep := r.IntN(2) == 0, 1+r.IntN(20)
	for m := range c {
		if r.IntN(keep) == 0 {
			on = !on
		}
		if c[m] = on; on {
			s.add(int32(m), int32(m)+1)
		}
	}
	return &c, s
}

func (c *cells) all(from, to int32) bool {
	for m := from; m < to; m++ {
		if m < 0 || m >= wide || !c[m] {
			return false
		}
	}
	return true
}

func (c *cells) has(m int32) bool { return c.all(m, m+1) }

// agree compares s with what has says, minute by minute.
func agree(t *testing.T, s minuteSet, has func(m int32) bool, args ...any) {
	t.Helper()
	for m := int32(-3); m < int32(len(s))*64+3; m++ {
		require.Equal(t, has(m), s.has(m), "minute %d %v", m, args)
	}
}

func TestMinuteSetsAgreeWithCells(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for range 1500 {
		c, s := drawn(r)
		d, o := drawn(r)
		clone := func() minuteSet { return append(minuteSet(nil), s...) }
		from, to, n := int32(r.IntN(wide+20)-10), int32(r.IntN(wide+20)-10), int32(1+r.IntN(wide))

		x := clone()
		x.drop(from, to)
		agree(t, x, func(m int32) bool { return c.has(m) && (m < from || m >= to) }, "drop", from, to)
		x = clone()
		x.keep(from, to)
		agree(t, x, func(m int32) bool { return c.has(m) && m >= from && m < to }, "keep", from, to)
		x = clone()
		x.and(o)
		agree(t, x, func(m int32) bool { return c.has(m) && d.has(m) }, "and")
		x = clone()
		x.or(o)
		agree(t, x, func(m int32) bool { return c.has(m) || d.has(m) }, "or")
		x = clone()
		x.earlier(n)
		agree(t, x, func(m int32) bool { return m >= 0 && c.has(m+n) }, "earlier", n)
		x = clone()
		x.erode(n)
		agree(t, x, func(m int32) bool { return c.all(m, m+n) }, "erode", n)
		if from < to {
			require.Equal(t, c.all(from, to), s.holds(from, to), "%d to %d", from, to)
		}
		compareLookUps(t, c, s, from)
	}
}

func compareLookUps(t *testing.T, c *cells, s minuteSet, from int32) {
	next, last, count := int32(-1), int32(-1), 0
	for m := range int32(wide) {
		if !c.has(m) {
			continue
		}
		if m >= from && next < 0 {
			next = m
		}
		if m <= from {
			last = m
		}
		require.Equal(t, m, s.nth(count))
		count++
	}
	require.Equal(t, next, s.next(from), "next from %d", from)
	require.Equal(t, last, s.last(from), "last from %d", from)
	require.Equal(t, count, s.count())
	require.Equal(t, count == 0, s.empty())
}

func TestReachAgreesWithCells(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	run, all := make(minuteSet, (wide+63)/64), make(minuteSet, (wide+63)/64)
	for range 1500 {
		goal, g := drawn(r)
		free, f := drawn(r)
		lo := int32(r.IntN(30))
		hi := lo + int32(r.IntN(60))
		reached := func(ok func(from, to int32) bool) func(m int32) bool {
			return func(m int32) bool {
				for wait := lo; m >= 0 && wait <= hi; wait++ {
					if goal.has(m+wait) && ok(m, m+wait) {
						return true
					}
				}
				return false
			}
		}
		x := append(minuteSet(nil), g...)
		x.reach(lo, hi)
		agree(t, x, reached(func(_, _ int32) bool { return true }), lo, hi)
		x = append(minuteSet(nil), g...)
		x.reachHeld(f, run, all, lo, hi)
		agree(t, x, reached(free.all), "held", lo, hi)
	}
}

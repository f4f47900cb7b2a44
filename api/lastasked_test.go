package api

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/pages"
	"chairblock/store"
)

func TestWhatWasAskedForLastIsKept(t *testing.T) {
	t.Parallel()
	var c lastAsked[string, int]
	require.Nil(t, c.find("a"), "nothing yet")
	left := func() (out []string) {
		for _, k := range []string{"a", "b", "c", "d"} {
			if _, ok := c.kept[k]; ok {
				out = append(out, k)
			}
		}
		return out
	}
	for i, k := range []string{"a", "b", "c"} {
		c.keep(k, i, 10, 3, 100)
	}
	require.Equal(t, 0, *c.find("a"))
	c.keep("d", 3, 10, 3, 100)
	require.Equal(t, []string{"a", "c", "d"}, left(), "b was not asked for in the longest time")
	c.keep("c", 20, 85, 3, 100)
	require.Equal(t, []string{"c", "d"}, left(), "all together must not weigh too much")
	require.Equal(t, 20, *c.find("c"))
	c.keep("a", 1, 101, 3, 100)
	require.Empty(t, left(), "not even alone")
}

func TestWhatIsKeptForAWhileGoesByItself(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var c lastAsked[string, int]
		pass := func(long time.Duration) {
			time.Sleep(long) // by the clock of the bubble
			synctest.Wait()
		}
		c.keep("for ever", 1, 10, 3, 100)
		c.keepFor(time.Minute, "once", 2, 10, 3, 100)
		c.keepFor(time.Minute, "anew", 3, 10, 3, 100)
		pass(59 * time.Second)
		require.Equal(t, 2, *c.find("once"))
		c.keepFor(time.Minute, "anew", 4, 10, 3, 100)
		pass(time.Second)
		require.Len(t, c.kept, 2, "nobody asked for it again")
		require.Nil(t, c.find("once"))
		require.Equal(t, 4, *c.find("anew"), "its minute began anew")
		pass(time.Minute)
		require.Nil(t, c.find("anew"))
		require.Equal(t, 1, *c.find("for ever"))
	})
}

func TestWhatStandsGoesWithItsMinute(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		a := standing[string]{most: 100}
		key := standingKey{"salon", "day"}
		a.hold(key, &stood[string]{value: "x"}, 1)
		require.Equal(t, "x", a.find(key).value)
		time.Sleep(time.Minute)
		synctest.Wait()
		require.Empty(t, a.kept.kept)
	})
}

func TestADrawingGoesAMinuteAfterItWasKept(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var s Server
		s.views.most = 1
		ctx := withPrincipal(t.Context(), store.Principal{Salon: "salon"})
		day := time.Date(2026, 6, 9, 9, 0, 0, 0, time.UTC)
		draw := func() []byte {
			b := pages.Board{AsOf: day, From: day, To: day.Add(time.Hour), Live: pages.Live{Tag: `"tag"`}}
			s.useDrawing(ctx, &b)
			require.NotEmpty(t, b.Drawing)
			return b.Drawing
		}
		first := draw()
		require.Same(t, &first[0], &draw()[0], "kept")
		time.Sleep(time.Minute - time.Nanosecond) // by the clock of the bubble
		synctest.Wait()
		require.Same(t, &first[0], &draw()[0], "still kept")
		time.Sleep(time.Nanosecond)
		synctest.Wait()
		require.Empty(t, s.drawings.kept, "nobody asked for it again")
	})
}

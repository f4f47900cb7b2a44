package api

import (
	"testing"

	"github.com/stretchr/testify/require"
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

package main

import (
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func TestTheListOfErasuresOutlivesWriters(t *testing.T) {
	t.Parallel()
	l := &erasureList{path: filepath.Join(t.TempDir(), "erased.list")}
	got, err := l.read()
	require.NoError(t, err)
	require.Empty(t, got)
	e := func(client string) store.Erased {
		return store.Erased{Salon: "s", Client: client, At: time.Date(2026, 6, 9, 8, 0, 0, 0, time.UTC)}
	}
	var both sync.WaitGroup
	for _, client := range []string{"a", "b"} {
		both.Go(func() {
			other := &erasureList{path: l.path} // another server
			for range 20 {
				if err := other.add([]store.Erased{e(client)}); err != nil {
					t.Error(err)
				}
			}
		})
	}
	both.Wait()
	got, err = l.read()
	require.NoError(t, err)
	require.ElementsMatch(t, []store.Erased{e("a"), e("b")}, got, "each once")

	f, err := os.OpenFile(l.path, os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteString(`{"salon":"s","cli`)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	got, err = l.read()
	require.NoError(t, err)
	require.Len(t, got, 2, "a line whose writer died")
	require.NoError(t, l.add([]store.Erased{e("c")}))
	got, err = l.read()
	require.NoError(t, err)
	require.Equal(t, e("c"), got[2])

	require.NoError(t, os.WriteFile(l.path, []byte("not a list\n"), 0o600))
	_, err = l.read()
	require.ErrorAs(t, err, new(*scheduling.InvalidError))
	require.ErrorContains(t, err, "line 1")
}

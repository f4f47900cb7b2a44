package api

import (
	"context"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

func TestASecondPressWaitsForTheFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		tries, began := 0, time.Now()
		err := secondPress(t.Context(), func() error {
			if tries++; tries < 4 {
				return fmt.Errorf("page: %w", store.ErrRunning)
			}
			return nil
		})
		require.NoError(t, err)
		require.Equal(t, 140*time.Millisecond, time.Since(began), "20, 40 and 80 ms")
	})
}

func TestASecondPressDoesNotWaitForEver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		tries, began := 0, time.Now()
		require.ErrorIs(t, secondPress(t.Context(), func() error { tries++; return store.ErrRunning }), store.ErrRunning)
		require.LessOrEqual(t, time.Since(began), pressPatience+mostPressPause)
		require.Less(t, tries, 15, "it rests for longer and longer")
	})
}

func TestNobodyIsWaitedForWhoHasGone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, hangUp := context.WithCancel(t.Context())
		time.AfterFunc(50*time.Millisecond, hangUp)
		began := time.Now()
		require.ErrorIs(t, secondPress(ctx, func() error { return store.ErrRunning }), context.Canceled)
		require.Equal(t, 50*time.Millisecond, time.Since(began))
	})
}

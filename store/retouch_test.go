package store_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// TestTheLastRetouchIsThatOfTheCalendar looks through everything that the client's
// calendar shows, and takes the last.
func TestTheLastRetouchIsThatOfTheCalendar(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 3))
	client, other := s.client("Guest"), s.client("Other")
	var visits []*store.Visit
	for i := range 6 {
		visits = append(visits, s.booked(client, at(24*i, 0), s.seat()))
	}
	theirs := s.booked(other, at(24*7, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		return tx.SyncParts(t.Context(), theirs.ID, other, []store.Part{part(store.PartRetouch, 0, store.PartRetouch, at(600, 0), at(624, 0))})
	})
	found := 0
	for range 40 {
		from, to := at(100+r.IntN(200), 0), at(300+r.IntN(300), 0)
		var want, got *time.Time
		s.tx(func(tx *store.Tx) error {
			v := visits[r.IntN(len(visits))]
			parts := []store.Part{part(store.PartClient, 0, store.PartClient, v.Start, v.End)}
			if h := 100 + r.IntN(500); r.IntN(3) > 0 { // else one that was there is dead now
				parts = append(parts, part(store.PartRetouch, 0, store.PartRetouch, at(h, 0), at(h+24, 0)))
			}
			if err := tx.SyncParts(t.Context(), v.ID, client, parts); err != nil {
				return err
			}
			shown, err := tx.PartsOfClient(t.Context(), client, from, to)
			for _, p := range shown {
				if p.Kind == store.PartRetouch && p.Live {
					want = &p.Start
				}
			}
			require.NoError(t, err)
			got, err = tx.LastRetouch(t.Context(), client, from, to)
			return err
		})
		require.Equal(t, want == nil, got == nil, "seed %d", seed)
		if want != nil {
			found++
			require.True(t, want.Equal(*got), "seed %d: %s, not %s", seed, got, want)
		}
	}
	require.Greater(t, found, 5, "seed %d", seed)
}

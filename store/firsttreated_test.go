package store_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// TestAClientWasFirstTreatedWhenTheFirstVisitWithChemicalsWasOver looks through all
// visits of each client for the earliest end.
func TestAClientWasFirstTreatedWhenTheFirstVisitWithChemicalsWasOver(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 4))
	clients := []string{s.client("One"), s.client("Two"), s.client("Three"), s.client("Four")}
	cut := s.service.Service
	cut.Name, cut.Chemical, cut.Aftercare = "Cut", false, false
	s.tx(func(tx *store.Tx) (err error) {
		row, err := tx.AddService(ctx, cut)
		cut = row.Service
		return err
	})
	want := map[string]time.Time{}
	for i := range 24 {
		client := clients[r.IntN(3)] // the fourth never comes
		v, blocks := s.visit(client, at(24*i, 0), s.seat())
		chemical := r.IntN(2) == 0
		if !chemical {
			v.Services[0].Service, v.Services[0].Version = cut.ID, cut.Version
		}
		s.tx(func(tx *store.Tx) error { return tx.InsertVisit(ctx, v, blocks) })
		end := at(24*i, 30+r.IntN(60*40)) // days late, too: the order of ends is not that of starts
		v.State = []store.VisitState{store.Finished, store.Finished, store.StoppedEarly, store.Booked}[r.IntN(4)]
		if v.State != store.Booked {
			v.FinishedAt = &end
			s.tx(func(tx *store.Tx) error { return tx.SetVisitState(ctx, v) })
		}
		if first, ok := want[client]; chemical && v.State == store.Finished && (!ok || end.Before(first)) {
			want[client] = end
		}
	}
	s.tx(func(tx *store.Tx) error {
		got, err := tx.FirstTreated(ctx, clients)
		require.NoError(t, err)
		require.Len(t, got, len(want), "seed %d", seed)
		for client, first := range want {
			require.True(t, first.Equal(got[client]), "seed %d: %s, not %s", seed, got[client], first)
		}
		return nil
	})
}

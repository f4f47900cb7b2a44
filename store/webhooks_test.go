package store_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func TestAGatewaysSecretsAreSealedAndTheOldOneSignsForATime(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	secrets := func(at time.Time) (list []string) {
		s.tx(func(tx *store.Tx) (err error) { list, err = tx.TextGatewaySecrets(t.Context(), at); return err })
		return list
	}
	until := time.Now().Add(time.Hour)
	s.tx(func(tx *store.Tx) error {
		_, err := tx.TextGateway(t.Context())
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		_, err = tx.TextGatewaySecrets(t.Context(), until)
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		_, err = tx.RotateTextGateway(t.Context(), 1, "whsec_third", until)
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		_, err = tx.UpdateTextGateway(t.Context(), store.TextGateway{Version: 1})
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		require.ErrorIs(t, tx.DeleteTextGateway(t.Context(), 1), scheduling.ErrNotFound)
		_, err = tx.AddTextGateway(t.Context(), store.TextGateway{Address: "https://texts.example/in", Enabled: true}, "whsec_first")
		require.NoError(t, err)
		_, err = tx.AddTextGateway(t.Context(), store.TextGateway{Address: "https://texts.example/in"}, "whsec_other")
		require.ErrorIs(t, err, scheduling.ErrStale)
		return nil
	})
	require.Equal(t, []string{"whsec_first"}, secrets(until))
	s.tx(func(tx *store.Tx) error {
		g, err := tx.RotateTextGateway(t.Context(), 1, "whsec_second", until)
		require.NoError(t, err)
		require.EqualValues(t, 2, g.Version)
		require.WithinDuration(t, until, *g.OldUntil, time.Millisecond)
		return nil
	})
	require.ErrorIs(t, s.try(func(tx *store.Tx) error {
		_, err := tx.RotateTextGateway(t.Context(), 1, "whsec_third", until)
		return err
	}), scheduling.ErrStale)
	require.Equal(t, []string{"whsec_second", "whsec_first"}, secrets(until.Add(-time.Second)))
	require.Equal(t, []string{"whsec_second"}, secrets(until.Add(time.Second)))
	for table, list := range s.contents() {
		require.NotContains(t, strings.Join(list, " "), "whsec_", table)
	}

	// Another key, and then it alone.
	s.store.SealWith(healthKeys(t, 2, 1))
	done, err := s.store.Reseal(t.Context())
	require.NoError(t, err)
	require.Equal(t, 2, done.Rows)
	s.store.SealWith(healthKeys(t, 2))
	require.Equal(t, []string{"whsec_second", "whsec_first"}, secrets(until.Add(-time.Second)))
	s.store.SealWith(healthKeys(t, 3))
	require.Error(t, s.try(func(tx *store.Tx) error { _, err := tx.TextGatewaySecrets(t.Context(), until); return err }))
	s.store.SealWith(nil)
	require.ErrorIs(t, s.try(func(tx *store.Tx) error { _, err := tx.TextGatewaySecrets(t.Context(), until); return err }), store.ErrNoHealthKey)
	require.ErrorIs(t, s.try(func(tx *store.Tx) error {
		_, err := tx.AddTextGateway(t.Context(), store.TextGateway{Address: "https://x.example"}, "whsec_x")
		return err
	}), store.ErrNoHealthKey)
}

func TestAGatewayIsSwitchedOffUnlessItWasChangedMeanwhile(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.tx(func(tx *store.Tx) error {
		_, err := tx.AddTextGateway(t.Context(), store.TextGateway{Address: "https://texts.example/in", Enabled: true}, "whsec_first")
		require.NoError(t, err)
		require.NoError(t, tx.SwitchOffTextGateway(t.Context(), "https://elsewhere.example/", "gone"))
		g, err := tx.TextGateway(t.Context())
		require.NoError(t, err)
		require.True(t, g.Enabled)
		require.NoError(t, tx.SwitchOffTextGateway(t.Context(), "https://texts.example/in", "gone"))
		g, err = tx.TextGateway(t.Context())
		require.NoError(t, err)
		require.Equal(t, store.TextGateway{Address: "https://texts.example/in", Problem: "gone", Version: 2}, g)
		g.Enabled = true
		g, err = tx.UpdateTextGateway(t.Context(), g)
		require.NoError(t, err)
		require.Equal(t, store.TextGateway{Address: "https://texts.example/in", Enabled: true, Version: 3}, g)
		return tx.DeleteTextGateway(t.Context(), 3)
	})
}

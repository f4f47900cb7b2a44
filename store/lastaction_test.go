package store_test

import (
	"encoding/json"
	"errors"
	"maps"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// latest are the methods about what was done last and what waits.
var latest = map[string]func(t *store.Tx, x *filled) (any, error){
	"DeskCounts": func(t *store.Tx, x *filled) (any, error) { return t.DeskCounts(x.t.Context()) },
	"ForgetLastAction": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.ForgetLastAction(x.t.Context(), "account:"+x.accountID)
	},
	"LastAction": func(t *store.Tx, x *filled) (any, error) { return t.LastAction(x.t.Context(), "account:"+x.accountID) },
	"LockLastAction": func(t *store.Tx, x *filled) (any, error) {
		return t.LockLastAction(x.t.Context(), "account:"+x.accountID)
	},
	"SetLastAction": func(t *store.Tx, x *filled) (any, error) {
		return nil, errors.Join(errUndo, t.SetLastAction(x.t.Context(), store.LastAction{Doer: "account:" + x.accountID, Kind: "book", Subject: x.visit, At: at(9, 0)}))
	},
}

func init() { maps.Copy(crossing, latest) }

func TestOnlyWhatSomebodyDidLastIsKept(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	other := s.second()
	ctx := t.Context()
	for i, kind := range []string{"book", "move"} {
		s.tx(func(tx *store.Tx) error {
			return tx.SetLastAction(ctx, store.LastAction{Doer: "account:1", Kind: kind, Subject: "v", Version: int64(i), Was: json.RawMessage(`{"chair": "c"}`), At: at(9, i)})
		})
	}
	s.tx(func(tx *store.Tx) error {
		got, err := tx.LockLastAction(ctx, "account:1")
		require.NoError(t, err)
		require.Equal(t, "move", got.Kind)
		require.JSONEq(t, `{"chair": "c"}`, string(got.Was))
		require.True(t, got.At.Equal(at(9, 1)))
		_, err = tx.LastAction(ctx, "account:2")
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		return tx.ForgetLastAction(ctx, "account:2")
	})
	other.tx(func(tx *store.Tx) error { return tx.ForgetLastAction(ctx, "account:1") })
	s.tx(func(tx *store.Tx) error {
		_, err := tx.LastAction(ctx, "account:1")
		require.NoError(t, err, "another salon forgets its own")
		require.NoError(t, tx.ForgetLastAction(ctx, "account:1"))
		_, err = tx.LastAction(ctx, "account:1")
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		return nil
	})
}

func TestWhatWaitsForTheDeskIsCounted(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	other := s.second()
	v := s.booked(s.client("Noor"), at(9, 0), s.seat())
	for i, state := range []string{"failed", "failed", "to_call", "to_call", "sent"} {
		s.tx(func(tx *store.Tx) error {
			return tx.Exec(t.Context(), `INSERT INTO reminder (salon_id, reminder_id, visit_id, kind, due_at, state, message_id)
				VALUES ($1, $2, $3, 'reminder', now(), $4, $2)`, s.row.ID, string(rune('a'+i)), v.ID, state)
		})
	}
	s.tx(func(tx *store.Tx) error {
		_, err := tx.AddCallTry(t.Context(), store.CallTry{Reminder: "c", Outcome: store.Reached, Settles: true, At: at(9, 0), By: "desk"})
		require.NoError(t, err)
		got, err := tx.DeskCounts(t.Context())
		require.Equal(t, store.DeskCounts{Failed: 2, Calls: 1}, got)
		require.Equal(t, 3, got.All())
		return err
	})
	other.tx(func(tx *store.Tx) error {
		got, err := tx.DeskCounts(t.Context())
		require.Zero(t, got)
		return err
	})
}

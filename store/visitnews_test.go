package store_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// visitNews asks in a moment of its own.
func (s *salon) visitNews(since store.Moment) (out store.VisitNews) {
	s.t.Helper()
	require.NoError(s.t, s.store.Read(s.t.Context(), s.row.ID, func(tx *store.Tx) (err error) {
		out, err = tx.VisitNews(s.t.Context(), since)
		return err
	}))
	return out
}

func TestNewsOfVisitsNameThoseOfWhichAnythingHasChanged(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	v, other := s.booked(s.client("Guest"), at(9, 0), s.seat()), s.booked(s.client("Other"), at(14, 0), s.seat())
	first := s.visitNews(store.Moment{})
	require.True(t, first.Unknown, "nobody has kept anything yet")
	none := s.visitNews(first.Now)
	require.False(t, none.Unknown)
	require.Empty(t, none.Visits)
	require.Nil(t, none.First)

	ordinal := 0
	for _, change := range []func(tx *store.Tx) error{
		func(tx *store.Tx) error { v.State = store.Arrived; return tx.SetVisitState(ctx, v) },
		func(tx *store.Tx) error {
			return tx.AddEvents(ctx, v, []store.Event{{Kind: store.EventStart, Ordinal: &ordinal, At: at(9, 1), Noted: at(9, 1)}})
		},
		func(tx *store.Tx) error {
			_, err := tx.AddMoney(ctx, store.MoneyEntry{Visit: v.ID, Kind: store.Goodwill, Minutes: 10}, at(9, 1))
			return err
		},
		func(tx *store.Tx) error {
			return tx.Exec(ctx, `INSERT INTO card_fact (salon_id, visit_id, fact_id, kind, at, value, noted_at, noted_by)
				VALUES ('`+s.row.ID+`', '`+v.ID+`', 'f', 'interruption', now(), '{}', now(), 'Ada')`)
		},
		func(tx *store.Tx) error { return tx.Exec(ctx, `DELETE FROM card_fact WHERE fact_id = 'f'`) },
	} {
		before := s.visitNews(store.Moment{}).Now
		s.tx(change)
		n := s.visitNews(before)
		require.False(t, n.Unknown)
		require.Equal(t, []string{v.ID}, n.Visits)
		require.WithinDuration(t, v.Start, *n.First, 0)
	}
	before := s.visitNews(store.Moment{}).Now
	s.tx(func(tx *store.Tx) error {
		return tx.Exec(ctx, `UPDATE visit SET starts_at = starts_at + interval '7 days', ends_at = ends_at + interval '7 days' WHERE visit_id = '`+other.ID+`'`)
	})
	n := s.visitNews(before)
	require.Equal(t, []string{other.ID}, n.Visits)
	require.WithinDuration(t, other.Start, *n.First, 0, "where it was counts, too")
	s.tx(func(tx *store.Tx) error {
		n, err := tx.VisitNews(ctx, before)
		require.True(t, n.Unknown, "who writes sees more than one moment")
		require.Equal(t, store.Moment{}, n.Now)
		return err
	})
}

// The transaction that begins first takes the lower number and commits last.
func TestNewsOfVisitsDoNotMissACommitThatComesLate(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 6)
	ctx := t.Context()
	v, other := s.booked(s.client("Guest"), at(9, 0), s.seat()), s.booked(s.client("Other"), at(14, 0), s.seat())
	start := s.visitNews(store.Moment{}).Now
	held, let := make(chan struct{}), make(chan struct{})
	done := make(chan error, 1)
	go func() {
		done <- s.try(func(tx *store.Tx) error {
			v.State = store.Arrived
			err := tx.SetVisitState(ctx, v)
			close(held)
			<-let
			return err
		})
	}()
	<-held
	s.tx(func(tx *store.Tx) error { other.State = store.Arrived; return tx.SetVisitState(ctx, other) })
	n := s.visitNews(start)
	require.Equal(t, []string{other.ID}, n.Visits)
	close(let)
	require.NoError(t, <-done)
	require.Equal(t, []string{v.ID}, s.visitNews(n.Now).Visits)
}

package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// What stood still at a later moment is asked about from there on; a transaction that was
// under way then and has ended since is news all the same.
func TestWhatStoodStillIsAskedAboutFromThenOn(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	var first store.Moment
	require.NoError(t, s.store.Read(ctx, s.row.ID, func(tx *store.Tx) (err error) {
		first, _, err = tx.Moment(ctx, time.Now())
		return err
	}))
	day := store.Stretch{From: at(0, 0), To: at(24, 0)}
	ask := func(since store.Moment) (store.Moment, bool) {
		now, same, err := s.store.Unchanged(ctx, s.row.ID, since, day, store.ChangeVisit)
		require.NoError(t, err)
		return now, same
	}
	s.booked(s.client("Elsewhere"), at(9, 0).AddDate(0, 0, 7), s.seat())
	later, same := ask(first)
	require.True(t, same)
	begun, ends := make(chan struct{}), make(chan struct{})
	over := make(chan error)
	guest := s.client("Guest")
	v, blocks := s.visit(guest, at(9, 0), s.seat())
	go func() {
		over <- s.store.InTx(ctx, s.row.ID, func(tx *store.Tx) error {
			if err := tx.InsertVisit(ctx, v, blocks); err != nil {
				return err
			}
			close(begun)
			<-ends
			return nil
		})
	}()
	<-begun
	last, same := ask(later)
	require.True(t, same, "it is not committed")
	close(ends)
	require.NoError(t, <-over)
	for _, since := range []store.Moment{first, later, last} {
		_, same = ask(since)
		require.False(t, same)
	}
	now, _ := ask(last)
	_, same = ask(now)
	require.True(t, same)
}

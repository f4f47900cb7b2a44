package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func TestSpacedVisitsAreThoseThatCount(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	ctx := t.Context()
	client := s.client("Mara")
	ended := at(9, 0).Add(95 * time.Minute)
	finished, cancelled, booked := s.booked(client, at(9, 0), s.seat()), s.booked(client, at(11, 0), s.seat()), s.booked(client, at(15, 0), s.seat())
	pencilled, blocks := s.visit(client, at(13, 0), s.seat())
	until := at(8, 0)
	pencilled.HeldUntil = &until
	s.tx(func(tx *store.Tx) error {
		finished.State, finished.FinishedAt = store.Finished, &ended
		require.NoError(t, tx.SetVisitState(ctx, finished))
		cancelled.State = store.Cancelled
		require.NoError(t, tx.SetVisitState(ctx, cancelled))
		return tx.InsertVisit(ctx, pencilled, blocks)
	})
	since := time.Time{}
	list := func(except string, now time.Time) []scheduling.SpacedVisit {
		var out []scheduling.SpacedVisit
		s.tx(func(tx *store.Tx) (err error) {
			out, err = tx.SpacedVisits(ctx, client, except, since, now)
			return err
		})
		return out
	}
	ids := func(list []scheduling.SpacedVisit) []string {
		var out []string
		for _, v := range list {
			out = append(out, v.ID)
		}
		return out
	}
	require.Equal(t, []string{finished.ID, pencilled.ID, booked.ID}, ids(list("", at(7, 59))))
	require.Equal(t, []string{finished.ID, booked.ID}, ids(list("", at(8, 0))), "the pencilled one has lapsed")
	require.Equal(t, []string{booked.ID}, ids(list(finished.ID, at(8, 0))))
	since = ended.Add(-time.Second)
	require.Equal(t, []string{finished.ID, booked.ID}, ids(list("", at(8, 0))), "over a second later, by the real end")
	since = ended
	require.Equal(t, []string{booked.ID}, ids(list("", at(8, 0))), "over by then")
	since = time.Time{}
	first := list("", at(8, 0))[0]
	require.True(t, first.End.Equal(ended), "the real end: %s", first.End)
	require.Equal(t, []scheduling.SpacedService{{Name: "Straightening", Families: []string{"straightening", "wet"}}}, first.Services)
}

func TestAServiceKeepsItsFamilies(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	x := scheduling.StandardServices()[3]
	x.Families = []string{"bleach", "colour"}
	s.tx(func(tx *store.Tx) error {
		row, err := tx.AddService(t.Context(), x)
		require.NoError(t, err)
		require.Equal(t, x.Families, row.Families)
		x = row.Service
		x.Families = nil
		row, err = tx.UpdateService(t.Context(), x, row.Row)
		require.NoError(t, err)
		require.Empty(t, row.Families)
		old, err := tx.ServiceVersion(t.Context(), x.ID, 1)
		require.Equal(t, []string{"bleach", "colour"}, old.Families, "a booked visit keeps what it was booked with")
		return err
	})
}

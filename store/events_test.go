package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func TestEventsComeBackInTheOrderInWhichTheyWereNoted(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	var want []store.Event
	note := func(kind store.EventKind, step *int, when time.Time) {
		s.tx(func(tx *store.Tx) error {
			locked, err := tx.LockVisit(t.Context(), v.ID, 0)
			require.NoError(t, err)
			list := []store.Event{{Kind: kind, Ordinal: step, At: when, Noted: at(9, 5), By: "Mina"}, {Kind: store.EventStartInferred, Ordinal: step, At: when, Noted: at(9, 5)}}
			require.NoError(t, tx.AddEvents(t.Context(), &locked, list))
			require.Len(t, locked.Events, len(want)+2)
			want = append(want, locked.Events[len(want):]...)
			return tx.AddEvents(t.Context(), &locked, nil)
		})
	}
	note(store.EventArrive, nil, at(9, 3))
	note(store.EventStart, new(2), at(9, 2)) // noted later than what came after it
	// Another machine is an hour ahead.
	_, err := s.db.Exec(t.Context(), `INSERT INTO visit_event (salon_id, visit_id, event_id, kind, at, noted_at, noted_by)
		VALUES ($1, $2, 'ffffffff-ffff-7fff-bfff-ffffffff0000', 'undo', $3, $3, 'Ada')`, s.row.ID, v.ID, at(10, 0))
	require.NoError(t, err)
	want = append(want, store.Event{ID: "ffffffff-ffff-7fff-bfff-ffffffff0000", Kind: store.EventUndo, At: at(10, 0), Noted: at(10, 0), By: "Ada"})
	note(store.EventFinish, new(0), at(9, 4))
	s.tx(func(tx *store.Tx) error {
		got, err := tx.VisitByID(t.Context(), v.ID)
		require.NoError(t, err)
		require.Len(t, got.Events, len(want))
		for i, e := range got.Events {
			require.True(t, want[i].At.Equal(e.At) && want[i].Noted.Equal(e.Noted), i)
			e.At, e.Noted = want[i].At, want[i].Noted
			require.Equal(t, want[i], e)
		}
		return nil
	})
}

func TestRealTimesStayWithTheirStepsWhenTheVisitMoves(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	began, ended := at(9, 2), at(9, 20)
	v.Steps[0].RealStart, v.Steps[0].RealEnd, v.Steps[1].RealStart = &began, &ended, &ended
	s.tx(func(tx *store.Tx) error { return tx.SetRealTimes(t.Context(), *v) })
	real := func() (out []string) {
		s.tx(func(tx *store.Tx) error {
			got, err := tx.VisitByID(t.Context(), v.ID)
			require.NoError(t, err)
			for _, st := range got.Steps {
				for _, when := range []*time.Time{st.RealStart, st.RealEnd} {
					if when == nil {
						out = append(out, "-")
					} else {
						out = append(out, when.UTC().Format("15:04"))
					}
				}
			}
			return nil
		})
		return out
	}
	want := []string{began.UTC().Format("15:04"), ended.UTC().Format("15:04"), ended.UTC().Format("15:04"), "-", "-", "-", "-", "-"}
	require.Equal(t, want, real())

	moved, blocks := s.visit(v.Client, at(10, 0), s.seat())
	moved.ID = v.ID
	s.tx(func(tx *store.Tx) error { return tx.ReplacePlan(t.Context(), moved, blocks) })
	require.Equal(t, want, real(), "though the new plan says nothing of them")
	require.True(t, moved.Start.Equal(at(10, 0)))

	require.ErrorIs(t, s.try(func(tx *store.Tx) error {
		return tx.SetRealTimes(t.Context(), store.Visit{ID: v.ID, Steps: []store.VisitStep{{Ordinal: 4}}})
	}), scheduling.ErrNotFound)
	require.ErrorIs(t, s.try(func(tx *store.Tx) error {
		return tx.SetRealTimes(t.Context(), store.Visit{ID: store.NewID(), Steps: v.Steps})
	}), scheduling.ErrNotFound)
	v.Steps[0].RealEnd = new(began.Add(-time.Second))
	require.Error(t, s.try(func(tx *store.Tx) error { return tx.SetRealTimes(t.Context(), *v) }), "an end before its beginning")
	require.Equal(t, want, real())
}

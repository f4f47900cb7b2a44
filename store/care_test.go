package store_test

import (
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func TestAWaitingMessageAndItsJobBecomeDueAtAnotherTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	x := s.filled()
	id := rows[string](s, `SELECT reminder_id FROM reminder WHERE salon_id = $1`, s.row.ID)[0]
	due := at(30, 0)
	for range 3 {
		due = due.Add(time.Hour)
		s.tx(func(t *store.Tx) error {
			return t.RescheduleReminders(s.t.Context(), []store.Rescheduled{{Reminder: id, Due: due}})
		})
	}
	require.Equal(t, []time.Time{due.UTC()}, []time.Time{rows[time.Time](s, `SELECT due_at FROM reminder WHERE reminder_id = $1`, id)[0].UTC()})
	jobs := rows[time.Time](s, `SELECT scheduled_at FROM river_job WHERE kind = 'reminder' AND state IN ('scheduled', 'available') AND args->>'reminder' = $1`, id)
	require.Len(t, jobs, 1, "one job is left")
	require.True(t, due.Equal(jobs[0]))
	s.tx(func(t *store.Tx) error { return t.WithdrawReminders(s.t.Context(), x.visit) })
	s.tx(func(t *store.Tx) error {
		return t.RescheduleReminders(s.t.Context(), []store.Rescheduled{{Reminder: id, Due: due.Add(time.Hour)}})
	})
	require.True(t, due.Equal(rows[time.Time](s, `SELECT due_at FROM reminder WHERE reminder_id = $1`, id)[0]), "what is withdrawn stays")
}

func TestWhatWasDoneElsewhereIsListedByDayAndTakenBackByItsClientOnly(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client, other := s.client("Mara"), s.client("Nora")
	var second store.HairTreatment
	s.tx(func(t *store.Tx) error {
		var err error
		for _, d := range []date.Date{date.New(2026, time.March, 1), date.New(2024, time.March, 1)} {
			second, err = t.AddHairTreatment(s.t.Context(), store.HairTreatment{Client: client, Kind: "coloured", DoneOn: d})
			require.NoError(s.t, err)
		}
		list, err := t.HairTreatments(s.t.Context(), client)
		require.NoError(s.t, err)
		require.Equal(s.t, []string{"2024-03-01", "2026-03-01"}, []string{list[0].DoneOn.String(), list[1].DoneOn.String()})
		return nil
	})
	require.ErrorIs(t, s.try(func(t *store.Tx) error { return t.DeleteHairTreatment(s.t.Context(), other, second.ID) }), scheduling.ErrNotFound)
	s.tx(func(t *store.Tx) error { return t.DeleteHairTreatment(s.t.Context(), client, second.ID) })
	require.ErrorIs(t, s.try(func(t *store.Tx) error { return t.DeleteHairTreatment(s.t.Context(), client, second.ID) }), scheduling.ErrNotFound)
	require.Error(t, s.try(func(t *store.Tx) error {
		_, err := t.AddHairTreatment(s.t.Context(), store.HairTreatment{Client: client, Kind: "anything", DoneOn: date.New(2026, time.March, 1)})
		return err
	}))
}

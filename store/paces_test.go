package store_test

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/pace"
	"chairblock/store"
)

// paceOf is a fit with a row of the salon, one of staff and one of a pair.
func paceOf(staff string) pace.Fit {
	row := pace.Row{Kind: scheduling.Iron, Visits: 14, Weight: 9.5, Since: time.Date(2026, 1, 2, 9, 0, 0, 0, time.UTC), Bias: 0.12, CV: 0.2,
		Factor: 1.1, Low: 1.05, High: 1.15, Spread: 0.22}
	own, pair := row, row
	own.Staff, pair.Staff, pair.With, pair.Pair = staff, staff, "zoe", true
	return pace.Fit{Rows: []pace.Row{row, own, pair}, Counted: 20, Visits: 14, LeftOut: map[pace.Reason]int{pace.FarOff: 2}}
}

func TestAFitReplacesTheOneBefore(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	s.tx(func(tx *store.Tx) error {
		_, err := tx.LastPaceFit(ctx)
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		rows, err := tx.AllPaces(ctx)
		require.NoError(t, err)
		require.Empty(t, rows)
		return tx.ReplacePaces(ctx, paceOf(s.ada))
	})
	s.tx(func(tx *store.Tx) error {
		f, err := tx.LastPaceFit(ctx)
		require.NoError(t, err)
		require.Equal(t, []any{int64(1), 14, 20, `{"far_off": 2}`}, []any{f.Version, f.Visits, f.Counted, string(f.LeftOut)})
		rows, err := tx.AllPaces(ctx)
		require.NoError(t, err)
		for i := range rows {
			rows[i].Since = rows[i].Since.UTC()
		}
		require.Equal(t, paceOf(s.ada).Rows, rows)
		own, err := tx.Paces(ctx, s.ada)
		require.NoError(t, err)
		require.Len(t, own, 2, "not that of a pair")
		own, err = tx.Paces(ctx, s.ben)
		require.NoError(t, err)
		require.Len(t, own, 1)
		require.Empty(t, own[0].Staff)
		return tx.ReplacePaces(ctx, pace.Fit{})
	})
	s.tx(func(tx *store.Tx) error {
		f, err := tx.LastPaceFit(ctx)
		require.NoError(t, err)
		require.Equal(t, int64(2), f.Version)
		rows, err := tx.AllPaces(ctx)
		require.NoError(t, err)
		require.Empty(t, rows)
		return nil
	})
}

func TestPaceSettingsAreWrittenByVersion(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.tx(func(tx *store.Tx) error {
		n, err := tx.SetPaceSettings(t.Context(), s.row.Version, json.RawMessage(`{"off": true}`))
		require.NoError(t, err)
		require.JSONEq(t, `{"off": true}`, string(n.Pace))
		_, err = tx.SetPaceSettings(t.Context(), s.row.Version, json.RawMessage(`{}`))
		require.ErrorIs(t, err, scheduling.ErrStale)
		return nil
	})
}

// over is a visit of a client with an estimate that is finished.
func (s *salon) over(client string, from time.Time, change func(*store.Visit)) *store.Visit {
	s.t.Helper()
	v, blocks := s.visit(client, from, s.seat())
	s.tx(func(t *store.Tx) error {
		result := json.RawMessage(`{"promised_share": 0.8, "promised_minutes": 59.5, "block_minutes": 60, "total": {"p50_minutes": 50, "p80_minutes": 59.5, "p90_minutes": 66},
			"steps": [{"kind": "iron", "mean_minutes": 44, "pace_factor": 1.1}, {"kind": "dwell", "mean_minutes": 5}]}`)
		e, err := t.AddEstimate(s.t.Context(), store.Estimate{Service: v.Services[0].Service, ServiceVersion: 1, Client: &client, Hair: json.RawMessage(`{"hands": 2}`), Result: result})
		if err != nil {
			return err
		}
		v.Services[0].Estimate = &e.ID
		if err := t.InsertVisit(s.t.Context(), v, blocks); err != nil {
			return err
		}
		v.State = store.Finished
		if change != nil {
			change(v)
		}
		return t.SetVisitState(s.t.Context(), v)
	})
	return v
}

func TestRecordsTellWhatPaceNeeds(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.opened()
	ctx := t.Context()
	guest := s.client("Guest")
	v := s.over(guest, at(9, 0), nil)
	stopped := s.over(guest, at(12, 0), func(v *store.Visit) { v.State = store.StoppedEarly })
	s.over(guest, at(15, 0), func(v *store.Visit) { v.State = store.Cancelled })
	s.booked(guest, at(17, 0), s.seat())
	ordinal := 0
	s.tx(func(tx *store.Tx) error {
		if err := tx.AddEvents(ctx, &store.Visit{ID: v.ID}, []store.Event{{Kind: store.EventStart, Ordinal: &ordinal, At: at(9, 1), Noted: at(9, 1)},
			{Kind: store.EventRemedy, At: at(9, 2), Noted: at(9, 2)}}); err != nil {
			return err
		}
		return tx.Exec(ctx, `INSERT INTO money_entry (salon_id, entry_id, visit_id, kind, minutes) VALUES ('`+s.row.ID+`', 'e1', '`+v.ID+`', 'goodwill', 10)`)
	})
	read := func(from, to time.Time, staff string) (out []store.PaceRecord) {
		s.tx(func(tx *store.Tx) (err error) { out, err = tx.PaceRecords(ctx, from, to, staff); return err })
		return out
	}
	list := read(at(0, 0), at(24, 0), "")
	require.Len(t, list, 2)
	r := list[0]
	require.Equal(t, v.ID, r.Visit.ID)
	require.True(t, r.Goodwill)
	require.False(t, r.Interrupted)
	require.Equal(t, store.Expected{Kinds: []string{"iron", "dwell"}, Means: []float64{44, 5}, Paces: []float64{1.1, 0}, Share: 0.8, Promise: 59.5, Block: 60,
		P50: 50, P80: 59.5, P90: 66, Formula: r.Expected[0].Formula, Hands: 2}, r.Expected[0])
	require.NotNil(t, r.Expected[0].Formula)
	require.Len(t, r.Visit.Events, 1, "remedies say nothing of pace")
	require.Len(t, r.Visit.Steps, len(v.Steps))
	for i, st := range r.Visit.Steps {
		require.Equal(t, v.Steps[i].Kind, st.Kind)
		require.True(t, v.Steps[i].Start.Equal(st.Start))
		require.Equal(t, v.Steps[i].UnitIn("lead"), st.UnitIn("lead"))
		require.Empty(t, st.UnitIn("chair"))
	}
	require.Equal(t, store.StoppedEarly, list[1].Visit.State)
	require.Equal(t, stopped.ID, list[1].Visit.ID)

	require.Len(t, read(at(10, 0), at(24, 0), ""), 1)
	require.Len(t, read(at(0, 0), at(10, 0), ""), 1)
	require.Len(t, read(at(0, 0), at(24, 0), v.Services[0].Lead), 2)
	require.Empty(t, read(at(0, 0), at(24, 0), s.mina))

	s.tx(func(tx *store.Tx) error {
		return tx.Exec(ctx, `INSERT INTO money_entry (salon_id, entry_id, visit_id, kind, reverses) VALUES ('`+s.row.ID+`', 'e2', '`+v.ID+`', 'taken_back', 'e1');
			INSERT INTO card_fact (salon_id, visit_id, fact_id, kind, at, value, noted_at, noted_by)
			VALUES ('`+s.row.ID+`', '`+v.ID+`', 'f1', 'interruption', now(), '{"minutes": 10}', now(), 'ada')`)
	})
	r = read(at(0, 0), at(24, 0), "")[0]
	require.False(t, r.Goodwill, "taken back")
	require.True(t, r.Interrupted)
	s.tx(func(tx *store.Tx) error {
		return tx.Exec(ctx, `INSERT INTO card_fact (salon_id, visit_id, fact_id, kind, at, value, noted_at, noted_by, replaces)
			VALUES ('`+s.row.ID+`', '`+v.ID+`', 'f2', 'interruption', now(), 'null', now(), 'ada', 'f1')`)
	})
	require.False(t, read(at(0, 0), at(24, 0), "")[0].Interrupted, "taken back")
}

func TestPaceIsWorkedOutSoonAfterItWasAskedFor(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 6)
	done := make(chan string, 10)
	jobs, err := s.store.StartJobs(context.Background(), nil, func(_ context.Context, salon string) error {
		done <- salon
		return s.store.InTx(context.Background(), salon, func(tx *store.Tx) error { return tx.ReplacePaces(context.Background(), pace.Fit{}) })
	})
	require.NoError(t, err)
	defer func() { require.NoError(t, jobs.Stop(context.Background())) }()
	s.tx(func(tx *store.Tx) error {
		if err := tx.RefitPace(t.Context()); err != nil {
			return err
		}
		return tx.RefitPace(t.Context())
	})
	states := func() []string {
		return rows[string](s, `SELECT state::text FROM river_job WHERE kind = 'pace' AND args->>'salon' = $1 ORDER BY id`, s.row.ID)
	}
	require.Equal(t, []string{"scheduled", "scheduled"}, states())
	// time goes by: both were asked for a minute ago, and are due
	_, err = s.db.Exec(t.Context(), `UPDATE river_job SET scheduled_at = now(), created_at = now() - interval '1 minute', state = 'available' WHERE kind = 'pace'`)
	require.NoError(t, err)
	select {
	case got := <-done:
		require.Equal(t, s.row.ID, got)
	case <-time.After(15 * time.Second):
		require.Fail(t, "nobody worked it out", fmt.Sprint(states()))
	}
	require.Eventually(t, func() bool { return fmt.Sprint(states()) == "[completed completed]" }, time.Minute, 50*time.Millisecond)
	require.LessOrEqual(t, len(done), 1, "one fit is enough for both, unless they ran at once")
}

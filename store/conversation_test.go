package store_test

import (
	"context"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"go.opentelemetry.io/otel/trace"

	"chairblock/scheduling"
	"chairblock/store"
)

// tripsOf counts the trips to the database that a transaction takes.
func (s *salon) tripsOf(f func(ctx context.Context, tx *store.Tx) error) (trips int) {
	s.t.Helper()
	spans := tracetest.NewSpanRecorder()
	traces := sdktrace.NewTracerProvider(sdktrace.WithSpanProcessor(spans))
	st, err := store.OpenTraced(s.t.Context(), s.url, 1, traces)
	require.NoError(s.t, err)
	defer st.Close()
	ctx, whole := traces.Tracer("test").Start(s.t.Context(), "whole")
	defer whole.End()
	for range 2 { // the second time statements are known
		spans.Reset()
		require.NoError(s.t, st.InTx(ctx, s.row.ID, func(tx *store.Tx) error { return f(ctx, tx) }))
	}
	batches := map[trace.SpanID]bool{}
	for _, x := range spans.Ended() {
		if x.Name() == "batch start" {
			batches[x.SpanContext().SpanID()] = true
		}
	}
	for _, x := range spans.Ended() {
		if x.Name() != "pool.acquire" && !batches[x.Parent().SpanID()] {
			trips++
		}
	}
	return trips
}

func TestWhatIsAskedAheadNeedsOneTrip(t *testing.T) {
	s := newSalon(t, 2)
	client := s.client("Guest")
	ask := func(ctx context.Context, tx *store.Tx) {
		n, err := tx.SalonRow(ctx)
		require.NoError(t, err)
		require.Equal(t, s.row.ID, n.ID)
		require.NoError(t, tx.LockClient(ctx, client))
		c, err := tx.ClientByID(ctx, client)
		require.NoError(t, err)
		require.Equal(t, client, c.ID)
		_, err = tx.ClientByID(ctx, "nobody")
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		r, err := tx.NeedRecords(ctx, []store.Visit{{Client: client}})
		require.NoError(t, err)
		require.Equal(t, 1, r.Wording)
	}
	alone := s.tripsOf(func(ctx context.Context, tx *store.Tx) error { ask(ctx, tx); return nil })
	require.Equal(t, 6, alone, "five questions, the first of which begins, and an end")
	ahead := s.tripsOf(func(ctx context.Context, tx *store.Tx) error {
		tx.Ahead(
			func(tx *store.Tx) error { _, err := tx.SalonRow(ctx); return err },
			func(tx *store.Tx) error { return tx.LockClient(ctx, client) },
			func(tx *store.Tx) error { _, err := tx.ClientByID(ctx, client); return err },
			func(tx *store.Tx) error { _, err := tx.ClientByID(ctx, "nobody"); return err },
			func(tx *store.Tx) error {
				_, err := tx.NeedRecords(ctx, []store.Visit{{Client: client}})
				return err
			})
		ask(ctx, tx)
		return nil
	})
	require.Equal(t, 2, ahead)
}

func TestNothingThatWasWrittenSinceIsAnsweredAsBefore(t *testing.T) {
	s := newSalon(t, 2)
	ctx := t.Context()
	name := func(tx *store.Tx) (n store.Salon, err error) { return tx.SalonRow(ctx) }
	rename := func(tx *store.Tx, to string) error {
		return tx.Exec(ctx, `UPDATE salon SET name = $1 WHERE salon_id = $2`, to, s.row.ID)
	}
	for what, write := range map[string]func(*store.Tx, string) error{
		"at once": rename,
		"later": func(tx *store.Tx, to string) error {
			store.Later(tx, `UPDATE salon SET name = $1 WHERE salon_id = $2`, to, s.row.ID)
			return nil
		},
	} {
		s.tx(func(tx *store.Tx) error {
			before, err := name(tx)
			require.NoError(t, err)
			ahead := func(tx *store.Tx) error { _, err := name(tx); return err }
			tx.Ahead(ahead) // waits when something is written
			require.NoError(t, write(tx, before.Name+" A"))
			n, err := name(tx)
			require.NoError(t, err)
			require.Equal(t, before.Name+" A", n.Name, what)
			tx.Ahead(ahead)
			_, err = tx.Stations(ctx) // and has been answered when something is written
			require.NoError(t, err)
			require.NoError(t, write(tx, before.Name+" B"))
			n, err = name(tx)
			require.NoError(t, err)
			require.Equal(t, before.Name+" B", n.Name, what)
			return nil
		})
	}
}

func TestAnAnswerIsOldOnceSomethingElseWasAsked(t *testing.T) {
	s := newSalon(t, 2)
	ctx := t.Context()
	s.tx(func(tx *store.Tx) error {
		before, err := tx.SalonRow(ctx)
		require.NoError(t, err)
		tx.Ahead(func(tx *store.Tx) error { _, err := tx.SalonRow(ctx); return err })
		_, err = tx.Stations(ctx)
		require.NoError(t, err)
		s.tx(func(tx *store.Tx) error {
			return tx.Exec(ctx, `UPDATE salon SET name = $1 WHERE salon_id = $2`, before.Name+" A", s.row.ID)
		})
		_, err = tx.Products(ctx)
		require.NoError(t, err)
		n, err := tx.SalonRow(ctx)
		require.NoError(t, err)
		require.Equal(t, before.Name+" A", n.Name)
		return nil
	})
}

func TestWhatIsAskedAheadFailsAsWhatItWentWith(t *testing.T) {
	s := newSalon(t, 2)
	ctx := t.Context()
	none := func(tx *store.Tx) error {
		return tx.Exec(ctx, `SELECT 1 FROM salon WHERE salon_id = $1 AND 1 / $2::int = 1`, s.row.ID, 0)
	}
	read := func(tx *store.Tx) error { _, err := tx.SalonRow(ctx); return err }
	for range 2 { // the second time statements are known
		for _, order := range [][]func(*store.Tx) error{{none, read}, {read, none}} {
			require.ErrorContains(t, s.try(func(tx *store.Tx) error {
				tx.Ahead(order...)
				return read(tx)
			}), "division by zero")
		}
		require.ErrorContains(t, s.try(func(tx *store.Tx) error {
			require.ErrorContains(t, tx.Savepoint(ctx, func(tx *store.Tx) error { tx.Ahead(none); return read(tx) }), "division by zero")
			return none(tx)
		}), "division by zero", "the transaction is usable after it")
	}
}

func TestASavepointGivesUpWhatWaitsAndWhatWasSent(t *testing.T) {
	s := newSalon(t, 2)
	ctx := t.Context()
	add := func(tx *store.Tx, name string) {
		store.Later(tx, `INSERT INTO client (salon_id, client_id, given_name, family_name) VALUES ($1, $2, $2, '')`, s.row.ID, name)
	}
	read := func(tx *store.Tx) error { _, err := tx.SalonRow(ctx); return err }
	no := scheduling.ErrStale
	s.tx(func(tx *store.Tx) error {
		add(tx, "outer")
		require.ErrorIs(t, tx.Savepoint(ctx, func(tx *store.Tx) error { add(tx, "waits"); return no }), no)
		require.ErrorIs(t, tx.Savepoint(ctx, func(tx *store.Tx) error { add(tx, "sent"); require.NoError(t, read(tx)); return no }), no)
		require.NoError(t, tx.Savepoint(ctx, func(tx *store.Tx) error { add(tx, "kept"); return nil }))
		require.ErrorIs(t, tx.Savepoint(ctx, func(tx *store.Tx) error {
			require.NoError(t, tx.Savepoint(ctx, func(tx *store.Tx) error { add(tx, "inner"); require.NoError(t, read(tx)); return nil }))
			add(tx, "after inner")
			return no
		}), no)
		failed := tx.Savepoint(ctx, func(tx *store.Tx) error { add(tx, "outer"); return read(tx) })
		require.Error(t, failed, "it is there twice")
		add(tx, "last")
		return nil
	})
	list := rows[string](s, `SELECT client_id FROM client WHERE salon_id = '`+s.row.ID+`' AND family_name = '' ORDER BY 1`)
	require.Equal(t, []string{"kept", "last", "outer"}, list)
}

func TestWhatWasOnlyToGoAlongIsCommittedOrTold(t *testing.T) {
	s := newSalon(t, 2)
	ctx := t.Context()
	const q = `INSERT INTO client (salon_id, client_id, given_name, family_name) VALUES ($1, $2, $2, 'along')`
	require.NoError(t, s.store.InTx(ctx, s.row.ID, func(tx *store.Tx) error { store.Later(tx, q, s.row.ID, "one"); return nil }))
	err := s.store.InTx(ctx, s.row.ID, func(tx *store.Tx) error {
		store.Later(tx, q, s.row.ID, "two")
		store.Later(tx, q, s.row.ID, "one")
		return nil
	})
	require.Error(t, err)
	require.ErrorIs(t, s.store.InTx(ctx, s.row.ID, func(tx *store.Tx) error { store.Later(tx, q, s.row.ID, "three"); return pgx.ErrNoRows }), pgx.ErrNoRows)
	require.Panics(t, func() {
		_ = s.store.InTx(ctx, s.row.ID, func(tx *store.Tx) error {
			_, err := tx.SalonRow(ctx)
			require.NoError(t, err)
			panic("in the middle")
		})
	})
	gone, cancel := context.WithCancel(ctx)
	require.Error(t, s.store.InTx(gone, s.row.ID, func(tx *store.Tx) error {
		store.Later(tx, q, s.row.ID, "four")
		_, err := tx.SalonRow(gone)
		cancel()
		return err
	}))
	require.NoError(t, s.store.InTx(ctx, s.row.ID, func(*store.Tx) error { return nil }), "nothing is asked")
	require.Equal(t, []string{"one"}, rows[string](s, `SELECT client_id FROM client WHERE salon_id = '`+s.row.ID+`' AND family_name = 'along'`))
}

package store_test

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"chairblock/store"
	"chairblock/store/storetest"
)

// tripCounter counts batches that are sent.
type tripCounter struct{ sent atomic.Int32 }

func (c *tripCounter) TraceBatchStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceBatchStartData) context.Context {
	c.sent.Add(1)
	return ctx
}
func (*tripCounter) TraceBatchQuery(context.Context, *pgx.Conn, pgx.TraceBatchQueryData) {}
func (*tripCounter) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData)     {}
func (*tripCounter) TraceQueryStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceQueryStartData) context.Context {
	return ctx
}
func (*tripCounter) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}

// A station has trips, one at a time, the first of which waits until let is called.
type station struct {
	t     *testing.T
	trips *store.Trips
	pool  *pgxpool.Pool
	count tripCounter
	let   func()
}

func holdTrips(t *testing.T) *station {
	t.Helper()
	return holdTripsFor(t, time.Minute)
}

// holdTripsFor is holdTrips when a trip may take no longer than that.
func holdTripsFor(t *testing.T, atMost time.Duration) *station {
	t.Helper()
	h := &station{t: t}
	cfg, err := pgxpool.ParseConfig(storetest.URL(t))
	require.NoError(t, err)
	cfg.MaxConns, cfg.ConnConfig.Tracer = 4, &h.count
	h.pool, err = pgxpool.NewWithConfig(t.Context(), cfg)
	require.NoError(t, err)
	t.Cleanup(h.pool.Close)
	h.trips = store.NewTrips(h.pool, 1, atMost)
	tx, err := h.pool.Begin(t.Context())
	require.NoError(t, err)
	t.Cleanup(func() { _ = tx.Rollback(context.WithoutCancel(t.Context())) }) // else the pool would wait for who waits for it
	_, err = tx.Exec(t.Context(), `SELECT pg_advisory_xact_lock(7)`)
	require.NoError(t, err)
	first := make(chan error, 1)
	go func() {
		_, err := store.Ask[string](t.Context(), h.trips, `SELECT pg_advisory_xact_lock(7)::text`)
		first <- err
	}()
	require.Eventually(t, func() bool { return h.count.sent.Load() == 1 }, time.Minute, time.Millisecond)
	h.let = func() {
		require.NoError(t, tx.Commit(context.WithoutCancel(t.Context())))
		require.NoError(t, <-first)
	}
	return h
}

// waits returns when n questions wait for the next trip.
func (h *station) waits(n int) {
	h.t.Helper()
	require.Eventually(h.t, func() bool { return h.trips.Waiting() == n }, time.Minute, time.Millisecond)
}

// A told question is one that somebody else asks.
type told struct {
	answer int
	err    error
}

// asks has somebody else ask.
func (h *station) asks(ctx context.Context, q string, args ...any) <-chan told {
	c := make(chan told, 1)
	go func() {
		n, err := store.Ask[int](ctx, h.trips, q, args...)
		c <- told{n, err}
	}()
	return c
}

func TestQuestionsThatWaitShareATripAndEachGetsItsOwnAnswer(t *testing.T) {
	t.Parallel()
	h := holdTrips(t)
	var asked []<-chan told
	for i := range 100 {
		asked = append(asked, h.asks(t.Context(), `SELECT $1::int * 10`, i))
	}
	h.waits(100)
	h.let()
	for i, c := range asked {
		require.Equal(t, told{answer: i * 10}, <-c)
	}
	require.EqualValues(t, 3, h.count.sent.Load(), "the held one, 64, and the rest")
}

func TestAQuestionThatFailsTakesNobodyAlong(t *testing.T) {
	t.Parallel()
	h := holdTrips(t)
	var asked []<-chan told
	for i := range 30 {
		asked = append(asked, h.asks(t.Context(), `SELECT 100 / x FROM (SELECT $1::int) v (x) WHERE x <> 9`, i%10))
	}
	h.waits(30)
	h.let()
	for i, c := range asked {
		got := <-c
		switch i %= 10; i {
		case 0:
			var failed *pgconn.PgError
			require.ErrorAs(t, got.err, &failed)
			require.Equal(t, "22012", failed.Code, "division by zero")
		case 9:
			require.ErrorIs(t, got.err, pgx.ErrNoRows)
		default:
			require.Equal(t, told{answer: 100 / i}, got)
		}
	}
}

func TestWhoeverAskedFirstMayGoAndTheOthersAreAnswered(t *testing.T) {
	t.Parallel()
	h := holdTrips(t)
	ctx, goAway := context.WithCancel(t.Context())
	first := h.asks(ctx, `SELECT 1`)
	h.waits(1)
	second := h.asks(t.Context(), `SELECT 2`)
	h.waits(2)
	goAway()
	require.ErrorIs(t, (<-first).err, context.Canceled, "at once, with the trip still to come")
	h.let()
	require.Equal(t, told{answer: 2}, <-second)
}

// What was committed before a question is in its answer, whatever trip is under way.
func TestAnAnswerIsNoOlderThanItsQuestion(t *testing.T) {
	t.Parallel()
	h := holdTrips(t)
	const count = `SELECT count(*) FROM seen`
	add := func() {
		_, err := h.pool.Exec(t.Context(), `INSERT INTO seen VALUES (1)`)
		require.NoError(t, err)
	}
	_, err := h.pool.Exec(t.Context(), `CREATE TABLE seen (n int)`)
	require.NoError(t, err)
	add()
	first := h.asks(t.Context(), count)
	h.waits(1)
	add()
	second := h.asks(t.Context(), count)
	h.waits(2)
	h.let()
	require.Equal(t, told{answer: 2}, <-first)
	require.Equal(t, told{answer: 2}, <-second)
	for n := range 20 {
		add()
		require.Equal(t, told{answer: n + 3}, <-h.asks(t.Context(), count))
	}
}

func TestWithoutAConnectionAQuestionEndsWithItsOwnTime(t *testing.T) {
	t.Parallel()
	h := holdTrips(t)
	defer h.let()
	ctx, cancel := context.WithTimeoutCause(t.Context(), 20*time.Millisecond, errors.New("test"))
	defer cancel()
	_, err := store.Ask[int](ctx, h.trips, `SELECT 1`)
	require.ErrorIs(t, err, context.DeadlineExceeded)
}

// Who waits for a trip that stalls is answered after it was given up, and so is who went
// with it, once the database goes on.
func TestATripThatStallsIsGivenUp(t *testing.T) {
	t.Parallel()
	h := holdTripsFor(t, 2*time.Second)
	require.Equal(t, told{answer: 1}, <-h.asks(t.Context(), `SELECT 1`))
	h.let()
}

// BenchmarkSharedTrips asks whose calendar an address is, as 32 callers do.
func BenchmarkSharedTrips(b *testing.B) {
	s := newSalon(b, 4)
	var secret string
	s.tx(func(tx *store.Tx) (err error) {
		_, secret, err = tx.AddFeed(b.Context(), store.FeedStaff, s.ada, "phone")
		return err
	})
	for _, x := range []struct {
		name   string
		atOnce int
	}{{"one", 1}, {"two", 2}, {"four", 4}, {"alone", 0}} {
		b.Run(x.name, func(b *testing.B) {
			s.store.TripsAtOnce(x.atOnce)
			b.SetParallelism(16) // for each of two cores
			b.RunParallel(func(p *testing.PB) {
				for p.Next() {
					if _, err := s.store.FeedBySecret(b.Context(), secret, store.FeedStaff); err != nil {
						b.Error(err)
					}
				}
			})
		})
	}
}

package store

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// sharedTrips carries small questions to the database. Each is a statement of its own
// that reads one row. Those that come while as many trips as may be are under way wait
// for the next and share it: one connection, one way there and back for all of them. A
// question that comes alone goes at once. Every statement begins after its question was
// asked, so an answer is never older than a trip of its own would have brought.
type sharedTrips struct {
	pool   *pgxpool.Pool
	atOnce int           // how many trips are under way at most; 0: none is shared
	atMost time.Duration // how long a trip may take

	mu       sync.Mutex
	waiting  []*question
	underWay int
}

const (
	// tripsAtOnce is the usual number (judgement): one may be slow, and more would carry
	// fewer each. BenchmarkSharedTrips compares it with none shared.
	tripsAtOnce = 2
	// tripOf is how many questions a trip carries at most: it is as slow as all of its
	// statements together (judgement).
	tripOf = 64
	// tripAtMost is how long a trip may take, which takes milliseconds (judgement). One
	// that takes longer is on a connection that stalls, which is closed then, and keeps
	// those up who come after it: each asks alone, as long as its own time lasts.
	tripAtMost = 3 * time.Second
)

// A question is one statement and what becomes of its answer. Who asked may have gone
// when the answer comes: scan must write to nothing else than what belongs to it.
type question struct {
	ctx  context.Context
	q    string
	args []any
	scan func(pgx.Row) error

	done chan struct{}
	err  error
	lost bool // err may be that of another question on the same trip, or of the trip
}

// ask puts a question that reads one row and changes nothing, and returns what scan made
// of it, or the error of the statement, or that of ctx when it ends before the answer.
func ask[T any](ctx context.Context, trips *sharedTrips, scan func(pgx.Row) (T, error), q string, args ...any) (T, error) {
	if trips.atOnce == 0 {
		return scan(trips.pool.QueryRow(ctx, q, args...))
	}
	var answer T
	x := &question{ctx: ctx, q: q, args: args, done: make(chan struct{}), scan: func(r pgx.Row) (err error) {
		answer, err = scan(r)
		return err
	}}
	trips.put(x)
	select {
	case <-x.done:
	case <-ctx.Done():
		var none T
		return none, ctx.Err()
	}
	if x.lost {
		return scan(trips.pool.QueryRow(ctx, q, args...))
	}
	return answer, x.err
}

// put has a question go with the next trip.
func (s *sharedTrips) put(x *question) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.waiting = append(s.waiting, x)
	if s.underWay < s.atOnce {
		s.underWay++
		go s.travel()
	}
}

// next takes those who go with the next trip, nobody when no one waits any longer.
func (s *sharedTrips) next() []*question {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := min(len(s.waiting), tripOf)
	if n == 0 {
		s.underWay--
		return nil
	}
	load := s.waiting[:n:n]
	if s.waiting = s.waiting[n:]; len(s.waiting) == 0 {
		s.waiting = nil
	}
	return load
}

// travel makes one trip after another until nobody waits.
func (s *sharedTrips) travel() {
	for load := s.next(); load != nil; load = s.next() {
		s.carry(load)
	}
}

// carry makes one trip. Its statements are in one transaction, so that one which fails
// takes those behind it along: they are lost, not wrong.
func (s *sharedTrips) carry(load []*question) {
	// The trip goes on when the one who happened to ask first has gone.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(load[0].ctx), s.atMost)
	defer cancel()
	var b pgx.Batch
	for _, x := range load {
		b.Queue(x.q, x.args...)
	}
	results := s.pool.SendBatch(ctx, &b)
	for _, x := range load {
		x.err = x.scan(results.QueryRow())
		x.lost = x.err != nil && !errors.Is(x.err, pgx.ErrNoRows) && (len(load) > 1 || ctx.Err() != nil)
	}
	_ = results.Close() // each question has its own error
	for _, x := range load {
		close(x.done)
	}
}

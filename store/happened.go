package store

import (
	"context"
	"errors"
	"time"

	"chairblock/scheduling"
)

// A Happening is something that is counted once it is committed.
type Happening string

// What is counted. The states of visits that follow from what people do are counted
// under their own names, as "visit_arrived".
const (
	VisitBooked    Happening = "visit_booked"
	VisitPencilled Happening = "visit_pencilled"
	VisitLapsed    Happening = "visit_lapsed" // pencilled, and nobody booked it in time
	VisitMoved     Happening = "visit_moved"  // or worked out anew
	TimeTaken      Happening = "taken"        // refused, because somebody else has it
)

// Observe has every happening told to f, after its transaction was committed; f
// must be quick and safe for many goroutines. Whoever calls it last is told.
func (s *Store) Observe(f func(what Happening, n int)) { s.observe.Store(&f) }

// happened notes something, to be counted if the transaction is committed.
func (t *Tx) happened(what Happening, n int) {
	if n == 0 || t.counts == nil {
		return
	}
	t.counts.list = append(t.counts.list, happening{what, n})
}

type happening struct {
	what Happening
	n    int
}

// counts are the happenings of a transaction and of its savepoints.
type counts struct{ list []happening }

// count tells of a transaction that has ended.
func (s *Store) count(c *counts, err error) {
	observe := s.observe.Load()
	if observe == nil {
		return
	}
	if err != nil {
		_, conflict := errors.AsType[*scheduling.ConflictError](err)
		if errors.Is(err, ErrTaken) || errors.Is(err, ErrClientBusy) || conflict {
			(*observe)(TimeTaken, 1)
		}
		return
	}
	for _, x := range c.list {
		if x.n > 0 {
			(*observe)(x.what, x.n)
		}
	}
}

// PoolStat is how the connections of a store are used.
type PoolStat struct {
	Taken, Idle, Most int
	Waits             int64         // so often somebody had to wait for one
	Waited            time.Duration // in all
}

// PoolStat says how the connections are used now.
func (s *Store) PoolStat() PoolStat {
	x := s.pool.Stat()
	return PoolStat{int(x.AcquiredConns()), int(x.IdleConns()), int(x.MaxConns()), x.EmptyAcquireCount(), x.EmptyAcquireWaitTime()}
}

// WaitingJobs says how many jobs of a kind of queue are due and not begun, or wait
// for another try, in all salons: for messages its name is QueueMessages.
func (s *Store) WaitingJobs(ctx context.Context, queue string) (due, again int, err error) {
	err = s.pool.QueryRow(ctx, `SELECT count(*) FILTER (WHERE state = 'available'), count(*) FILTER (WHERE state = 'retryable')
		FROM river_job WHERE queue = $1 AND state IN ('available', 'retryable')`, queue).Scan(&due, &again)
	return due, again, domain("waiting jobs", err, false)
}

// QueueMessages is the queue of messages.
const QueueMessages = messages

package store

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

const (
	// clockEvery is how often a process looks at the database's clock: what it counts
	// by itself in between is off by less than a millisecond (judgement).
	clockEvery = 10 * time.Second
	// clockAtMost is how long an answer may take to be worth something: nobody knows
	// when within that time the clock was read (judgement).
	clockAtMost = time.Second
	// firstLooks is how often it looks at the start, while answers are slow (judgement).
	firstLooks = 3
	// clockStep is what is worth telling whoever runs the service (judgement).
	clockStep = 2 * time.Second
)

// clockLook is what the database's clock showed, and when by this process's own.
type clockLook struct {
	here  time.Time // counts on whatever becomes of this machine's time of day
	there time.Time
	half  time.Duration // by how much they may be apart: half of what the answer took
}

// clockSlack is what two clocks that nobody sets may come apart between looks (judgement).
const clockSlack = time.Millisecond

// or is which look counts after another one, and by how much the clock was set in
// between. An answer that fits changes nothing, so that time does not jump to and fro by
// as much as answers take, but for one that is more exact.
func (l *clockLook) or(next *clockLook) (counts *clockLook, set time.Duration) {
	step := next.there.Sub(l.there.Add(next.here.Sub(l.here)))
	switch {
	case step.Abs() > l.half+next.half+clockSlack:
		return next, step
	case next.half < l.half:
		return next, 0
	default:
		return l, 0
	}
}

// Now is the time by the database's clock, once KeepTime was called, and this machine's
// before: several processes whose machines' clocks differ decide alike. It goes on while
// the database is away, and follows within clockEvery when its clock is set.
func (s *Store) Now() time.Time {
	l := s.clock.Load()
	if l == nil {
		return time.Now()
	}
	return l.there.Add(time.Since(l.here))
}

// KeepTime looks at the database's clock, now and from time to time until stop, which
// waits for the end. It returns ErrUnavailable.
func (s *Store) KeepTime(ctx context.Context) (stop func(), err error) {
	// The first answer is better than none, however slow; of three the fastest counts.
	if err := s.lookAtClock(ctx, connectAtMost); err != nil {
		return nil, err
	}
	for range firstLooks - 1 {
		if s.clock.Load().half > clockSlack {
			_ = s.lookAtClock(ctx, clockAtMost)
		}
	}
	if off := time.Until(s.Now()); off.Abs() > clockStep+s.clock.Load().half {
		slog.WarnContext(ctx, "this machine's clock is not the database's, which counts", "database_ahead", off.Round(time.Millisecond))
	}
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	var all sync.WaitGroup
	all.Go(func() {
		for pause(ctx, clockEvery); ctx.Err() == nil; pause(ctx, clockEvery) {
			_ = s.lookAtClock(ctx, clockAtMost) // what is known is good for longer than the database may be away
		}
	})
	return func() { cancel(); all.Wait() }, nil
}

// lookAtClock asks the database for its time.
func (s *Store) lookAtClock(ctx context.Context, atMost time.Duration) error {
	ctx, cancel := context.WithTimeout(ctx, atMost)
	defer cancel()
	c, err := s.pool.Acquire(ctx)
	if err != nil {
		return domain("clock", err, false)
	}
	defer c.Release()
	asked := time.Now()
	var there time.Time
	if err := c.QueryRow(ctx, `SELECT clock_timestamp()`).Scan(&there); err != nil {
		return domain("clock", err, false)
	}
	s.away.back()
	half := time.Since(asked) / 2
	next := &clockLook{asked.Add(half), there, half}
	if l := s.clock.Load(); l != nil {
		counts, set := l.or(next)
		if set.Abs() > clockStep {
			slog.WarnContext(ctx, "the database's clock was set, or this machine slept", "by", set.Round(time.Millisecond))
		}
		next = counts
	}
	s.clock.Store(next)
	return nil
}

// mostApart is how far this machine's clock may be from the database's before nothing is
// erased for its age: more than any zone that somebody may have taken for UTC (judgement).
const mostApart = 24 * time.Hour

// clocksDisagree reports that the two clocks that there are name different days.
func (s *Store) clocksDisagree() bool {
	off := time.Until(s.Now())
	if off.Abs() <= mostApart {
		return false
	}
	slog.Warn("nothing is erased for its age: the database's clock and this machine's are more than a day apart", "database_ahead", off.Round(time.Second))
	return true
}

// jobTime is the clock of the queue. Without it the library takes the machine's for when
// a job is due that is due at once, and for when to go on with what was put off.
type jobTime struct{ *Store }

// NowOrNil is for times in queries.
func (j jobTime) NowOrNil() *time.Time { return new(j.Now()) }

// jobRetry plans as the library does, by the database's clock.
type jobRetry struct {
	river.DefaultClientRetryPolicy
	store *Store
}

// NextRetry is when a job that failed is tried again.
func (r *jobRetry) NextRetry(job *rivertype.JobRow) time.Time {
	return r.DefaultClientRetryPolicy.NextRetry(job).Add(time.Until(r.store.Now()))
}

package store

import (
	"context"
	"log/slog"
	"math/rand/v2"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

const (
	// changeChannel is what processes call to each other: the sender and the id
	// of a salon whose free time has changed.
	changeChannel = "chairblock_change"
	// liveChannel is the same for a salon of which something else has.
	liveChannel = "chairblock_live"

	// Judgement, all of them: what requests get is right without warming, too.
	warmFor     = time.Hour        // after the last request for a salon
	lookEvery   = time.Minute      // for salons whose day has moved on or whose pencilled visits have lapsed
	listenAgain = 5 * time.Second  // longest wait before the connection is made again
	stillThere  = 30 * time.Second // how often a silent connection is tried
	warmAtMost  = 10 * time.Second // for one salon
	tellAtMost  = 5 * time.Second  // for telling other processes, which look by themselves, too
)

// Warming keeps the free time in memory up to date in the background, so that a
// request finds it ready. What requests get is right without it, too.
type Warming struct {
	cancel func()
	all    sync.WaitGroup
}

// Stop ends it and waits until it has ended.
func (w *Warming) Stop() {
	w.cancel()
	w.all.Wait()
}

// KeepWarm reads free time anew when this or another process has changed it, as
// far as requests have asked for it lately, until Stop. It listens on one
// connection of its own; when that is lost it is made again, and changes of the
// time between are found then.
//
// Processes tell each other after their commits. A trigger could do it inside
// the transaction and miss nobody, but a transaction that notifies holds one
// lock of the whole database while it waits for the disk: with 32 bookers on
// two cores, six runs each in turns, 350 bookings were written a second that
// way, 530 when each was told afterwards, and 580 when nobody was told
// (medians). So a change by another program is only seen at the next request.
func (s *Store) KeepWarm(now func() time.Time) *Warming {
	ctx, cancel := context.WithCancel(context.Background())
	calls := &warmCalls{due: newSalonSet(), tell: newSalonSet(), live: newSalonSet()}
	w := &Warming{cancel: func() { s.calls.CompareAndSwap(calls, nil); cancel() }}
	s.calls.Store(calls)
	w.all.Go(func() { s.listen(ctx, calls) })
	w.all.Go(func() { s.warm(ctx, calls, now) })
	w.all.Go(func() { s.tell(ctx, calls.tell, changeChannel) })
	w.all.Go(func() { s.tell(ctx, calls.live, liveChannel) })
	return w
}

// warmCalls is what the goroutines of a Warming have to do.
type warmCalls struct {
	due  *salonSet // to be read anew
	tell *salonSet // to be told to other processes
	live *salonSet // likewise, on liveChannel
}

// salonSet collects salons for one goroutine that works them off.
type salonSet struct {
	mu    sync.Mutex
	ids   map[string]bool
	ready chan struct{}
}

func newSalonSet() *salonSet { return &salonSet{ids: map[string]bool{}, ready: make(chan struct{}, 1)} }

func (s *salonSet) add(ids ...string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, id := range ids {
		s.ids[id] = true
	}
	select {
	case s.ready <- struct{}{}:
	default: // rung already
	}
}

func (s *salonSet) take() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []string
	for id := range s.ids {
		out = append(out, id)
	}
	clear(s.ids)
	return out
}

// committed says that a transaction of a salon was committed, and whether it may
// have changed its free time.
func (s *Store) committed(salon string, altered bool) {
	s.live.changed(salon)
	switch c := s.calls.Load(); {
	case c == nil:
	case altered:
		c.due.add(salon)
		c.tell.add(salon)
	default:
		c.live.add(salon)
	}
}

// tell passes changes on to other processes, many in one transaction when they
// come quickly.
func (s *Store) tell(ctx context.Context, c *salonSet, channel string) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-c.ready:
		}
		if ids := c.take(); len(ids) > 0 {
			s.tellOnce(ctx, channel, ids)
		}
		pause(ctx, 10*time.Millisecond)
	}
}

// tellOnce tells other processes of salons once. Nobody needs it to be right.
func (s *Store) tellOnce(ctx context.Context, channel string, ids []string) {
	ctx, cancel := context.WithTimeout(ctx, tellAtMost)
	defer cancel()
	_, _ = s.pool.Exec(ctx, `SELECT pg_notify($1, $2 || ' ' || id) FROM unnest($3::text[]) id`, channel, s.name, ids)
}

// warm reads anew what is due.
func (s *Store) warm(ctx context.Context, c *warmCalls, now func() time.Time) {
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-look.C:
			s.kept.forgetUnasked(time.Now().Add(-warmFor))
			c.due.add(s.kept.list()...)
		case <-c.due.ready:
		}
		begun := time.Now()
		for _, salon := range c.due.take() {
			s.warmOne(ctx, salon, now())
		}
		// A salon that changes all the time leaves most of the machine to others.
		pause(ctx, min(time.Second, 3*time.Since(begun)))
	}
}

// warmOne brings the free time of a salon up to date, if it is in memory.
func (s *Store) warmOne(ctx context.Context, salon string, now time.Time) {
	k := s.kept.find(salon, false)
	if k == nil {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, warmAtMost)
	defer cancel()
	// The next request tries again, and is told what is wrong.
	_ = s.Read(ctx, salon, func(t *Tx) error {
		_, err := s.kept.current(ctx, t, freeTimeWish{zone: k.Zone, days: keptHorizon(k.Zone, now), now: now, ahead: true})
		return err
	})
}

// listen hears of changes by other processes.
func (s *Store) listen(ctx context.Context, c *warmCalls) {
	wait := 100 * time.Millisecond
	for {
		begun := time.Now()
		_ = s.listenOnce(ctx, c) // whatever ended it; its words may hold the address of the database
		if ctx.Err() != nil {
			return
		}
		if time.Since(begun) > stillThere {
			wait = 100 * time.Millisecond
		}
		if wait == 100*time.Millisecond {
			slog.WarnContext(ctx, "changes by other processes are not heard for a while; answers stay right")
		}
		pause(ctx, wait/2+rand.N(wait/2))
		wait = min(2*wait, listenAgain)
	}
}

func (s *Store) listenOnce(ctx context.Context, c *warmCalls) error {
	cfg := s.pool.Config().ConnConfig
	cfg.RuntimeParams["application_name"] = "chairblock listens"
	conn, err := pgx.ConnectConfig(ctx, cfg)
	if err != nil {
		return err
	}
	defer func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer cancel()
		_ = conn.Close(ctx)
		select {
		case <-conn.PgConn().CleanupDone():
		case <-ctx.Done():
		}
	}()
	if _, err := conn.Exec(ctx, "LISTEN "+changeChannel+"; LISTEN "+liveChannel); err != nil {
		return err
	}
	c.due.add(s.kept.list()...) // what was told before nobody heard
	s.live.call()
	for {
		heard, stop := context.WithTimeout(ctx, stillThere)
		n, err := conn.WaitForNotification(heard)
		stop()
		switch {
		case err == nil:
			by, salon, ok := strings.Cut(n.Payload, " ")
			switch {
			case !ok || by == s.name:
			default:
				s.live.changed(salon)
				if n.Channel == changeChannel {
					c.due.add(salon)
				}
			}
		case ctx.Err() == nil && pgconn.Timeout(err):
			if err := tryConn(ctx, conn); err != nil {
				return err
			}
		default:
			return err
		}
	}
}

func tryConn(ctx context.Context, conn *pgx.Conn) error {
	ctx, stop := context.WithTimeout(ctx, 5*time.Second)
	defer stop()
	return conn.Ping(ctx)
}

// pause waits, or less when ctx ends.
func pause(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

//go:build unix

package store_test

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
	"chairblock/store/pg"
	"chairblock/store/storetest"
)

// crashRounds names the variable with the number of kills; tests do three.
const crashRounds = "CHAIRBLOCK_TEST_CRASH_ROUNDS"

func rounds(t *testing.T) int {
	t.Helper()
	text := os.Getenv(crashRounds)
	if text == "" {
		return 3
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err, crashRounds)
	return n
}

// survivor is a crowd that books on a server that is killed.
type survivor struct {
	*salon
	server *pg.Server
	stop   atomic.Bool
	acks   atomic.Int64
	mu     sync.Mutex
	visits map[string]string // id by key, of those that were acknowledged
	again  int               // requests that had to be repeated
	replay int               // of these, answered from the stored answer
}

// run books day after day, each visit under a key of its own that is repeated
// until there is an answer.
func (c *survivor) run(n int, client string) error {
	for i := 0; !c.stop.Load(); i++ {
		key := fmt.Sprintf("%d-%d", n, i)
		for try := 0; ; try++ {
			id, old, err := c.once(call(key), client, at(24*(100*i+n), 0))
			if err == nil {
				c.mu.Lock()
				c.visits[key] = id
				if old {
					c.replay++
				}
				c.mu.Unlock()
				c.acks.Add(1)
				break
			}
			if !errors.Is(err, store.ErrUnavailable) && !errors.Is(err, store.ErrRunning) {
				return fmt.Errorf("key %s, try %d: %w", key, try, err)
			}
			c.mu.Lock()
			c.again++
			c.mu.Unlock()
			time.Sleep(20 * time.Millisecond)
		}
	}
	return nil
}

func (c *survivor) once(k store.Call, client string, start time.Time) (id string, old bool, err error) {
	ctx := c.t.Context()
	err = c.try(func(t *store.Tx) error {
		var a store.Answer
		if a, old, err = t.Begin(ctx, k); err != nil {
			return err
		}
		if old {
			id = string(a.Body)
			return nil
		}
		v, blocks := c.visit(client, start, c.seat())
		if err := t.InsertVisit(ctx, v, blocks); err != nil {
			return err
		}
		id = v.ID
		r := store.Reminder{Visit: v.ID, Kind: "reminder", Due: start.Add(-time.Hour), MessageID: v.ID}
		if _, err := t.AddReminder(ctx, r); err != nil {
			return err
		}
		return t.End(k, store.Answer{Status: 201, Body: []byte(v.ID)})
	})
	return id, old, err
}

// kill ends every process of the server at once and gives the time until a
// booking is acknowledged again.
func (c *survivor) kill() time.Duration {
	c.t.Helper()
	before := c.acks.Load()
	c.until("some bookings", func() bool { return c.acks.Load() > before+100 })
	pid := c.server.PID()
	pids := append([]int{pid}, rows[int](c.salon, `SELECT pid FROM pg_stat_activity`)...)
	began := time.Now()
	for _, p := range pids {
		if err := syscall.Kill(p, syscall.SIGKILL); err != nil && !errors.Is(err, syscall.ESRCH) {
			require.NoError(c.t, err)
		}
	}
	c.until("another server process", func() bool { return c.server.PID() != pid && c.server.PID() != 0 })
	after := c.acks.Load()
	c.until("bookings go on", func() bool { return c.acks.Load() > after })
	c.db.Reset() // its connections are dead
	return time.Since(began)
}

// lost lists acknowledged visits that are not there, or not whole.
func (c *survivor) lost() (ids []string) {
	there := map[string]bool{}
	for _, id := range rows[string](c.salon, `
		SELECT visit_id FROM visit v WHERE state = 'booked'
		  AND (SELECT count(*) FROM block b WHERE b.visit_id = v.visit_id) = 4
		  AND (SELECT count(*) FROM visit_step x WHERE x.visit_id = v.visit_id) = 4
		  AND (SELECT count(*) FROM reminder r JOIN river_job j ON j.id = r.job_id WHERE r.visit_id = v.visit_id) = 1`) {
		there[id] = true
	}
	for _, id := range c.visits {
		if !there[id] {
			ids = append(ids, id)
		}
	}
	return ids
}

// survive lets a crowd book while the server is killed up to n times, or until
// done.
func survive(t *testing.T, setting string, n int, done func(*survivor) bool) *survivor {
	t.Helper()
	server := storetest.Real(t)
	c := &survivor{salon: salonAt(t, server.URL(), 16), server: server, visits: map[string]string{}}
	// Clients are there for good before anything is killed.
	clients := make([]string, 8)
	for i := range clients {
		clients[i] = c.client("Guest")
	}
	if setting != "" {
		_, err := c.db.Exec(t.Context(), `DO $$ BEGIN EXECUTE format('ALTER DATABASE %I SET `+setting+`', current_database()); END $$`)
		require.NoError(t, err)
		c.store = open(t, server.URL(), 16)
	}
	errs := make([]error, len(clients))
	var all sync.WaitGroup
	for i, client := range clients {
		all.Go(func() { errs[i] = c.run(i, client) })
	}
	defer func() {
		c.stop.Store(true)
		all.Wait()
		require.NoError(t, errors.Join(errs...))
	}()
	for range n {
		t.Logf("bookings go on %.1f s after the kill, %d acknowledged", c.kill().Seconds(), c.acks.Load())
		if done(c) {
			break
		}
	}
	return c
}

func TestWhatWasAcknowledgedSurvivesAKilledServer(t *testing.T) {
	t.Parallel()
	c := survive(t, "", rounds(t), func(*survivor) bool { return false })
	require.Empty(t, c.lost())
	require.Equal(t, len(c.visits), value[int](c.salon, `SELECT count(*) FROM visit`), "no visit that nobody was told of, and none twice")
	require.Equal(t, len(c.visits), value[int](c.salon, `SELECT count(*) FROM idempotency WHERE status = 201`))
	require.Equal(t, 0, value[int](c.salon, `SELECT count(*) FROM idempotency WHERE status IS NULL`))
	require.Zero(t, c.overlaps())
	t.Logf("%d acknowledged, none lost; %d tries repeated, %d answered from the stored answer", len(c.visits), c.again, c.replay)
}

// The same over a server that acknowledges before it has written: the check finds
// what is lost then.
func TestWithoutWaitingForTheDiskAcknowledgedBookingsAreLost(t *testing.T) {
	t.Parallel()
	lost := 0
	c := survive(t, "synchronous_commit = off", 10, func(c *survivor) bool {
		c.mu.Lock()
		defer c.mu.Unlock()
		lost = len(c.lost())
		return lost > 0
	})
	require.NotZero(t, lost, "nothing was found: the check cannot fail")
	t.Logf("%d of %d acknowledged bookings are gone", lost, len(c.visits))
}

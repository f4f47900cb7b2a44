//go:build unix

package main

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
	"chairblock/store/pg"
	"chairblock/store/storetest"
)

var crowdSeed = flag.Uint64("seed", 0, "seed of what a crowd does and of when it is killed, 0 for another each time")

// crowd books through several servers on one PostgreSQL.
type crowd struct {
	t        *testing.T
	postgres *pg.Server
	url      string // of the database
	row      store.Salon
	token    string
	clients  []store.Client
	cut      string // id of a service
	days     int    // that are booked from
	maildir  string
	servers  []*crowdServer
	seed     uint64

	stop    atomic.Bool
	stopped atomic.Int64 // when, in nanoseconds of Unix time
	work    sync.WaitGroup
	acks    atomic.Int64

	mu      sync.Mutex
	visits  map[string]string // by key, of those that were acknowledged
	seen    map[string]bool   // visits that the listener has heard of
	refused int               // somebody else was faster, or nothing was free
	later   int               // 503
	cut0    int               // no answer
	slowest time.Duration     // until a 503
	wrong   []string          // answers that nobody should get
}

// crowdServer is one of the servers; process changes when it is killed.
type crowdServer struct {
	args []string
	url  string

	mu      sync.Mutex
	process *process
}

func (s *crowdServer) now() *process {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.process
}

// newCrowd opens a salon and servers on a database that can be killed.
func newCrowd(t *testing.T, servers int, args ...string) *crowd {
	t.Helper()
	c := &crowd{t: t, postgres: storetest.Real(t), days: 14, visits: map[string]string{}, seen: map[string]bool{}, seed: *crowdSeed}
	if c.seed == 0 {
		c.seed = rand.Uint64()
	}
	t.Logf("-seed %d", c.seed)
	c.url, c.maildir = c.postgres.URL(), filepath.Join(folder(t), "mail")
	st, err := store.Open(t.Context(), c.url, 2)
	require.NoError(t, err)
	defer st.Close()
	d := &demoSalon{store: st, now: time.Now(), services: map[string]store.ServiceRow{}}
	d.row, err = st.AddSalon(t.Context(), store.Salon{Name: demoName, Zone: demoZone, Currency: "GBP", Mail: demoMail, Phone: demoPhone})
	require.NoError(t, err)
	require.NoError(t, st.InTx(t.Context(), d.row.ID, func(tx *store.Tx) (err error) {
		if err = d.load(t.Context(), tx); err != nil {
			return err
		}
		_, c.token, err = tx.AddToken(t.Context(), store.Owner, "", "test", nil)
		return err
	}))
	c.row, c.clients, c.cut = d.row, d.clients, d.services["Dry cut"].ID
	for range servers {
		s := &crowdServer{args: append([]string{"serve", "--database-url", c.url, "--maildir", c.maildir}, args...)}
		c.launch(s, "127.0.0.1:0")
		c.servers = append(c.servers, s)
	}
	return c
}

// launch starts a server and waits until it listens.
func (c *crowd) launch(s *crowdServer, listen string) {
	p := launch(c.t, nil, append(slices.Clone(s.args), "--listen", listen)...)
	s.url = p.waitFor(`listening on (http://127\.0\.0\.1:\d+)`)[1]
	s.mu.Lock()
	s.process = p
	s.mu.Unlock()
}

// goroutines is how many there are in a server, by its counters.
func (s *crowdServer) goroutines() string {
	p := s.now()
	at := p.waitFor(`metrics on (http://127\.0\.0\.1:\d+)`)[1]
	_, after, _ := strings.Cut(get(p.t, at, "").body, "\ngo_goroutines ")
	n, _, _ := strings.Cut(after, "\n")
	return n
}

// kill kills a server; back starts it where it was.
func (s *crowdServer) kill() {
	p := s.now()
	p.signal(syscall.SIGKILL)
	p.ended()
}

func (c *crowd) back(s *crowdServer) { c.launch(s, strings.TrimPrefix(s.url, "http://")) }

// begin lets n people book until end.
func (c *crowd) begin(n int) {
	for w := range n {
		r := rand.New(rand.NewPCG(c.seed, uint64(w)))
		c.work.Go(func() {
			for i := 0; !c.stop.Load(); i++ {
				c.one(r, fmt.Sprintf("%d-%d", w, i), c.clients[(w+n*i)%len(c.clients)].ID)
			}
		})
	}
}

func (c *crowd) end() {
	c.stopped.CompareAndSwap(0, time.Now().UnixNano())
	c.stop.Store(true)
	c.work.Wait()
}

// one books a visit under a key, however often it has to be asked.
func (c *crowd) one(r *rand.Rand, key, client string) {
	var found api.OpeningsAnswer
	first := time.Now().AddDate(0, 0, 1+r.IntN(c.days)).Format(time.DateOnly)
	if c.ask(r, http.MethodPost, "/v1/openings", api.OpeningsRequest{Services: []api.ServiceRequest{{ServiceID: c.cut}}, FirstDate: first, Limit: 3}, &found) != http.StatusOK || len(found.Openings) == 0 {
		return
	}
	o := found.Openings[r.IntN(len(found.Openings))]
	want := api.VisitRequest{ClientID: client, Start: o.Start, Services: []api.ServiceRequest{{ServiceID: c.cut, LeadID: o.LeadID}}}
	var v api.VisitBody
	status := c.ask(r, http.MethodPost, "/v1/visits", want, &v, "Idempotency-Key", key)
	if status == http.StatusCreated && r.IntN(8) == 0 {
		var again api.VisitBody
		if status := c.ask(r, http.MethodPost, "/v1/visits", want, &again, "Idempotency-Key", key); status != http.StatusCreated || again.ID != v.ID {
			c.note(func() {
				c.wrong = append(c.wrong, fmt.Sprintf("key %s again: %d, %s instead of %s", key, status, again.ID, v.ID))
			})
		}
	}
	c.note(func() {
		switch status {
		case http.StatusCreated:
			c.visits[key] = v.ID
			c.acks.Add(1)
		case http.StatusConflict, http.StatusUnprocessableEntity:
			c.refused++
		default:
			c.wrong = append(c.wrong, fmt.Sprintf("a booking: %d", status))
		}
	})
}

// ask asks any server, and again as long as there is no answer or it says later.
func (c *crowd) ask(r *rand.Rand, method, path string, body, into any, headers ...string) int {
	for {
		s := c.servers[r.IntN(len(c.servers))]
		began := time.Now()
		a, err := tryCall(c.t, method, s.url+path, c.token, body, headers...)
		switch {
		case err != nil:
			c.note(func() { c.cut0++ })
		case a.status == http.StatusServiceUnavailable || a.status == http.StatusConflict && strings.Contains(a.body, "/problems/running"):
			c.note(func() {
				c.later++
				c.slowest = max(c.slowest, time.Since(began))
				if a.status == http.StatusServiceUnavailable && a.header.Get("Retry-After") == "" {
					c.wrong = append(c.wrong, path+": 503 without Retry-After")
				}
			})
		default:
			if a.status < 300 {
				if err := json.Unmarshal([]byte(a.body), into); err != nil {
					c.note(func() { c.wrong = append(c.wrong, path+": "+err.Error()) })
				}
			} else if a.status >= 500 {
				c.note(func() { c.wrong = append(c.wrong, fmt.Sprintf("%s: %d", path, a.status)) })
			}
			return a.status
		}
		if c.stop.Load() && began.After(c.patience()) {
			c.note(func() { c.wrong = append(c.wrong, path+": nobody answers any more") })
			return 0
		}
		time.Sleep(time.Duration(10+r.IntN(40)) * time.Millisecond)
	}
}

// patience is until when a request is asked again after the end was called, for when a
// test fails while no server runs.
func (c *crowd) patience() time.Time { return time.Unix(0, c.stopped.Load()).Add(time.Minute) }

func (c *crowd) note(f func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f()
}

// flows waits until more is booked than before and says how long that took.
func (c *crowd) flows(what string, more int64) {
	c.t.Helper()
	began, before := time.Now(), c.acks.Load()
	eventually(c.t, "bookings flow: "+what, func() bool { return c.acks.Load() >= before+more })
	c.t.Logf("%s: bookings flow after %.2f s, %d acknowledged", what, time.Since(began).Seconds(), c.acks.Load())
}

// listen hears of changes at one server, and goes on where it was when it is cut off.
func (c *crowd) listen(ctx context.Context, s *crowdServer) {
	last := ""
	for ctx.Err() == nil {
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, s.url+"/v1/events", nil)
		if err != nil {
			return
		}
		req.Header.Set("Authorization", "Bearer "+c.token)
		if last != "" {
			req.Header.Set("Last-Event-ID", last)
		}
		if res, err := http.DefaultClient.Do(req); err == nil {
			if res.StatusCode == http.StatusOK {
				last = c.read(res.Body, last)
			}
			_ = res.Body.Close() // it was read to its end
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// read reads a stream to its end and returns where to go on.
func (c *crowd) read(from io.Reader, last string) string {
	lines := bufio.NewScanner(from)
	for lines.Scan() {
		if id, ok := strings.CutPrefix(lines.Text(), "id: "); ok {
			last = id
		}
		var b api.LiveBody
		if data, ok := strings.CutPrefix(lines.Text(), "data: {"); ok && json.Unmarshal([]byte("{"+data), &b) == nil {
			c.note(func() {
				c.seen[b.VisitID] = true
				c.seen["everything"] = c.seen["everything"] || b.Kind == "everything"
			})
		}
	}
	return last
}

// heard demands that the listener hears of every visit that was acknowledged.
func (c *crowd) heard() {
	c.t.Helper()
	missing := 0
	eventually(c.t, "the listener has heard of every visit", func() bool {
		missing = 0
		c.note(func() {
			for _, id := range c.visits {
				if !c.seen[id] {
					missing++
				}
			}
		})
		return missing == 0 || c.seen["everything"]
	})
}

// holds demands of the database what was promised to the crowd, which has ended.
func (c *crowd) holds() {
	t := c.t
	t.Helper()
	require.Empty(t, c.wrong)
	list := c.list
	var want []string
	for _, id := range c.visits {
		want = append(want, id)
	}
	require.ElementsMatch(t, want, list(`SELECT visit_id FROM visit WHERE state = 'booked'`), "each once, and none that nobody was told of")
	require.Len(t, want, len(list(`SELECT key FROM idempotency WHERE status = 201 AND route LIKE '%visits%'`)), "one for each key")
	for what, q := range map[string]string{
		"a request that is half done":    `SELECT key FROM idempotency WHERE status IS NULL`,
		"two in one chair":               `SELECT a.unit_id FROM block a JOIN block b ON a.salon_id = b.salon_id AND a.unit_id = b.unit_id AND a.visit_id < b.visit_id AND a.span && b.span`,
		"a visit without time":           `SELECT visit_id FROM visit v WHERE NOT EXISTS (SELECT FROM block b WHERE b.visit_id = v.visit_id)`,
		"time without a visit":           `SELECT visit_id FROM block b WHERE NOT EXISTS (SELECT FROM visit v WHERE v.visit_id = b.visit_id AND v.state = 'booked')`,
		"a visit without steps":          `SELECT visit_id FROM visit v WHERE NOT EXISTS (SELECT FROM visit_step b WHERE b.visit_id = v.visit_id)`,
		"a visit in no calendar":         `SELECT visit_id FROM visit v WHERE NOT EXISTS (SELECT FROM visit_part b WHERE b.visit_id = v.visit_id)`,
		"a visit that nobody is told of": `SELECT visit_id FROM visit v WHERE NOT EXISTS (SELECT FROM reminder b WHERE b.visit_id = v.visit_id AND b.kind = 'confirmation')`,
		"a message that nobody sends": `SELECT reminder_id FROM reminder r WHERE state IN ('waiting', 'sending')
			AND NOT EXISTS (SELECT FROM river_job j WHERE j.id = r.job_id AND j.finalized_at IS NULL)`,
		"a message that failed": `SELECT problem FROM reminder WHERE state = 'failed'`,
	} {
		require.Empty(t, list(q), what)
	}
	t.Logf("%d booked, %d refused; %d times told to come later (after %.2f s at most), %d times without an answer", len(want), c.refused, c.later, c.slowest.Seconds(), c.cut0)
	t.Logf("messages: %v", list(`SELECT state || ' ' || count(*) FROM reminder GROUP BY state ORDER BY 1`))
}

// list is the first column of a query, as texts.
func (c *crowd) list(q string) (out []string) {
	c.t.Helper()
	db, err := sql.Open("pgx", c.url)
	require.NoError(c.t, err)
	defer db.Close()
	rows, err := db.QueryContext(c.t.Context(), q)
	require.NoError(c.t, err, q)
	defer rows.Close()
	for rows.Next() {
		var x string
		require.NoError(c.t, rows.Scan(&x))
		out = append(out, x)
	}
	require.NoError(c.t, rows.Err(), q)
	return out
}

func TestThreeServersAreAsGoodAsOneWhateverIsKilled(t *testing.T) {
	t.Parallel()
	c := newCrowd(t, 3, "--metrics-listen", "127.0.0.1:0")
	ctx, deaf := context.WithCancel(t.Context())
	var listening sync.WaitGroup
	listening.Go(func() { c.listen(ctx, c.servers[0]) })
	defer listening.Wait()
	defer deaf()
	c.begin(6 * min(10, rounds(t, 1)))
	defer c.end()
	c.flows("three servers", 30)
	for _, kind := range []string{"erase_health", "private_calendars_due"} {
		q := `SELECT attempt FROM river_job WHERE finalized_at IS NOT NULL AND kind = '` + kind + `'`
		eventually(t, kind+" has run", func() bool { return len(c.list(q)) > 0 })
		require.Equal(t, []string{"1"}, c.list(q), "%s: once, by one of them", kind)
	}

	for _, kill := range c.kills(rounds(t, 3)) {
		kill()
	}
	for _, how := range []struct {
		words  string
		signal syscall.Signal
	}{{"PostgreSQL restarted, clients cut off (fast)", syscall.SIGINT}, {"PostgreSQL restarted at once (immediate)", syscall.SIGQUIT}} {
		pid := c.postgres.PID()
		require.NoError(t, syscall.Kill(pid, how.signal))
		eventually(t, "it has ended", func() bool { return c.postgres.PID() != pid })
		c.flows(how.words, 3)
	}
	c.away(time.Duration(rounds(t, 1)) * time.Second)
	eventually(t, "all three hear each other again", func() bool {
		return len(c.list(`SELECT pid::text FROM pg_stat_activity WHERE query LIKE 'LISTEN chairblock_change%'`)) == 3
	})
	c.end()
	c.heard()
	c.holds()
	for _, s := range c.servers {
		require.NotContains(t, s.now().said(), "database=", "nobody tells the address of the database")
	}
}

// kills are n ways to kill a server, PostgreSQL or all of them, in turns, each at a
// moment by chance.
func (c *crowd) kills(n int) (list []func()) {
	r := rand.New(rand.NewPCG(c.seed, 1<<32))
	ways := []func(){c.killServer(r), c.killPostgres, c.killEverything}
	for i := range n {
		list = append(list, func() {
			time.Sleep(time.Duration(r.IntN(300)) * time.Millisecond)
			ways[(i+int(c.seed%3))%3]()
		})
	}
	return list
}

func (c *crowd) killServer(r *rand.Rand) func() {
	return func() {
		s := c.servers[r.IntN(len(c.servers))]
		s.kill()
		c.flows(fmt.Sprintf("one of %d servers killed", len(c.servers)), 3)
		c.back(s)
	}
}

func (c *crowd) killPostgres() {
	killEach(familyOf(c.t, c.postgres.PID()))
	c.flows("PostgreSQL killed", 3)
}

func (c *crowd) killEverything() {
	pids := familyOf(c.t, c.postgres.PID())
	for _, s := range c.servers {
		s.now().signal(syscall.SIGKILL)
	}
	killEach(pids)
	for _, s := range c.servers {
		s.now().ended()
	}
	eventually(c.t, "PostgreSQL is there", func() bool { return pg.CheckServer(c.t.Context(), c.url) == nil })
	for _, s := range c.servers {
		c.back(s)
	}
	c.flows("all killed, from the moment that they run again", 3)
}

// away keeps PostgreSQL down for a while: it is started again by itself, and ended again.
func (c *crowd) away(d time.Duration) {
	c.t.Helper()
	c.note(func() { c.later, c.slowest = 0, 0 })
	before := c.servers[0].goroutines()
	for until := time.Now().Add(d); time.Now().Before(until); time.Sleep(5 * time.Millisecond) {
		if pid := c.postgres.PID(); pid != 0 {
			_ = syscall.Kill(pid, syscall.SIGQUIT) // it may have ended meanwhile
		}
	}
	during := c.servers[0].goroutines()
	c.note(func() {
		c.t.Logf("PostgreSQL kept down for %v: %d times told to come later, after %.2f s at most; goroutines of a server: %s before, %s then",
			d, c.later, c.slowest.Seconds(), before, during)
	})
	c.flows("PostgreSQL is no longer kept down", 3)
}

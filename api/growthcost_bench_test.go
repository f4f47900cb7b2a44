package api_test

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"chairblock/store"
	"chairblock/store/storetest"
)

// BenchmarkBookingCost has bookers ask two servers 2,000 times for one stylist and week and
// 2,000 times for all, as in L1, and gives what that took of processors, which other work
// on the machine changes less than how long it took: thousandths of a second of a core for
// each answer, of the servers and of the database. CALLERS is how many book at once, 64
// unless said. STATEMENTS=40 prints so many of the dearest statements of the database,
// those of triggers and keys included, which costs something itself.
//
//	go test ./api -run '^$' -bench BookingCost -benchtime 1x
func BenchmarkBookingCost(b *testing.B) {
	number := func(name string, unless int) int {
		if n, err := strconv.Atoi(os.Getenv(name)); err == nil {
			return n
		}
		return unless
	}
	most, asking := number("STATEMENTS", 0), number("CALLERS", 64)
	settings := map[string]string{}
	if most > 0 {
		settings = map[string]string{"shared_preload_libraries": "pg_stat_statements", "pg_stat_statements.track": "all"}
	}
	server := storetest.RealOn(b, b.TempDir(), settings)
	s := serve(b, server.URL())
	s.open("Europe/Berlin")
	require.NoError(b, s.store.InTx(b.Context(), s.row.ID, func(tx *store.Tx) error { return s.fill(b.Context(), tx) }))
	g := grow(b, s, growthOf(b, cmp.Or(os.Getenv("GROWTH"), "4,0.2")))
	g.exec(`VACUUM ANALYZE`)
	l := g.loading(b, &sheet{})
	if most > 0 {
		storetest.Exec(b, server.AdminURL(), `CREATE EXTENSION IF NOT EXISTS pg_stat_statements`)
	}
	for _, part := range []string{"warm", "one", "all"} {
		var booked, turn atomic.Int64
		n := 2000
		if part == "warm" {
			n = 300
		}
		if most > 0 {
			storetest.Exec(b, server.AdminURL(), `SELECT pg_stat_statements_reset()`)
		}
		before, pgBefore := l.processors(), processorsOf(server.PID())
		l.crowdOf(asking, func(c *caller) bool {
			k := int(turn.Add(1))
			if k > n {
				return false
			}
			p, day := &c.outlets[0], 35+c.r.IntN(7)
			if part != "one" {
				p, day = c.any(), 42+c.r.IntN(300)
			}
			at := start.AddDate(0, 0, day).Add(time.Duration(60+15*c.r.IntN(32)) * time.Minute)
			if code, _ := c.book("answer", p, at); code == http.StatusCreated {
				booked.Add(1)
			}
			return true
		})
		servers, database := l.processors()-before, processorsOf(server.PID())-pgBefore
		each := func(d time.Duration) float64 { return d.Seconds() * 1000 / float64(n) }
		b.Logf("%s: %d of %d booked; core-ms each: %.2f = servers %.2f + database %.2f; load %s", part, booked.Load(), n, each(servers+database), each(servers), each(database), machineLoad())
		if part == "all" {
			b.ReportMetric(each(servers+database), "core-ms/answer")
		}
		if most > 0 && part != "warm" {
			g.statements(server.AdminURL(), most, n)
		}
	}
}

// crowdOf has n callers ask until it says false.
func (l *loading) crowdOf(n int, ask func(c *caller) bool) {
	l.b.Helper()
	var all sync.WaitGroup
	var list []*caller
	for i := range n {
		c := &caller{loading: l, r: rand.New(rand.NewPCG(8, uint64(i))), took: map[string]durations{}}
		list = append(list, c)
		all.Go(func() {
			for len(c.failed) < 10 && ask(c) {
			}
		})
	}
	all.Wait()
	for _, c := range list {
		require.Empty(l.b, c.failed)
	}
}

// statements prints the dearest of the database.
func (g *grown) statements(url string, most, n int) {
	g.t.Helper()
	conn, err := pgx.Connect(g.t.Context(), url)
	require.NoError(g.t, err)
	defer func() { _ = conn.Close(g.t.Context()) }()
	rows, err := conn.Query(g.t.Context(), `SELECT toplevel, calls, total_exec_time + total_plan_time, query FROM pg_stat_statements ORDER BY 3 DESC LIMIT $1`, most)
	require.NoError(g.t, err)
	var top bool
	var calls int64
	var ms float64
	var q string
	_, err = pgx.ForEachRow(rows, []any{&top, &calls, &ms, &q}, func() error {
		q = strings.Join(strings.Fields(q), " ")
		fmt.Printf("%5v %7.3f ms each, %6.2f calls each, %7.3f ms a call: %s\n", top, ms/float64(n), float64(calls)/float64(n), ms/float64(calls), q[:min(len(q), 150)])
		return nil
	})
	require.NoError(g.t, err)
}

func (l *loading) processors() (sum time.Duration) {
	for _, x := range l.servers {
		sum += processorOf(x.pid)
	}
	return sum
}

// processorsOf is the time of processors that a process and its children have had, those
// that have ended included.
func processorsOf(pid int) time.Duration {
	sum := processorOf(pid)
	raw, _ := os.ReadFile(fmt.Sprintf("/proc/%d/task/%d/children", pid, pid))
	for child := range strings.FieldsSeq(string(raw)) {
		n, _ := strconv.Atoi(child)
		sum += processorOf(n)
	}
	return sum
}

// processorOf is that of a process and of its children that have ended, as Linux tells.
func processorOf(pid int) (sum time.Duration) {
	raw, _ := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "stat"))
	_, rest, _ := strings.Cut(string(raw), ") ")
	fields := strings.Fields(rest)
	if len(fields) < 15 {
		return 0
	}
	for _, f := range fields[11:15] { // user, system, and of children
		n, _ := strconv.Atoi(f)
		sum += time.Duration(n) * 10 * time.Millisecond
	}
	return sum
}

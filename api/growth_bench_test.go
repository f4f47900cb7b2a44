package api_test

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"chairblock/store"
	"chairblock/store/storetest"
)

// callers is how many programs ask at once.
const callers = 32

// BenchmarkManySalons makes a load on a server that waits for the disk, of the size
// that GROWTH says, and measures what it takes on disk, what is asked for all day
// long one by one, and a mix of 90 % feeds, 8 % openings and 2 % bookings
// against two servers, beside two floors.
func BenchmarkManySalons(b *testing.B) {
	s := serve(b, storetest.Real(b).URL())
	s.open("Europe/Berlin")
	require.NoError(b, s.store.InTx(b.Context(), s.row.ID, func(tx *store.Tx) error { return s.fill(b.Context(), tx) }))
	begun := time.Now()
	g := grow(b, s, askedGrowth(b))
	b.Logf("made in %s", time.Since(begun).Round(time.Second))
	g.weigh(b)
	b.Run("each", g.each)
	b.Run("mix", g.mix)
}

// weigh reports what a salon and a year take on disk.
func (g *grown) weigh(b *testing.B) {
	b.Helper()
	g.exec(`VACUUM ANALYZE`)
	rows, err := g.conn.Query(b.Context(), `SELECT relname::text, reltuples::int8, pg_table_size(oid), pg_indexes_size(oid) FROM pg_class
		WHERE relkind = 'r' AND relnamespace = current_schema()::regnamespace ORDER BY pg_total_relation_size(oid) DESC`)
	require.NoError(b, err)
	defer rows.Close()
	var all int64
	years := float64(g.size.salons) * (float64(g.size.past) + float64(g.size.ahead)*5/6) / 312
	for n := 0; rows.Next(); n++ {
		var name string
		var count, heap, indexes int64
		require.NoError(b, rows.Scan(&name, &count, &heap, &indexes))
		if all += heap + indexes; n < 12 {
			b.Logf("%-16s %9d rows %6d MB and %6d MB of indexes", name, count, heap>>20, indexes>>20)
		}
	}
	require.NoError(b, rows.Err())
	b.Logf("%d salons, %.1f years of them: %d MB, %.1f MB for each salon and year", g.size.salons, years, all>>20, float64(all)/years/(1<<20))
}

// each measures what is hot, asked for one by one, and the slowest queries of it.
func (g *grown) each(b *testing.B) {
	w := g.watch(1 + g.size.salons/2)
	hot := w.hot()
	for _, name := range slices.Sorted(maps.Keys(hot)) {
		hot[name]() // warm
		w.asked()
		var took durations
		for range 20 {
			begun := time.Now()
			hot[name]()
			took = append(took, time.Since(begun))
		}
		slices.Sort(took)
		asked := w.asked()
		var all time.Duration
		middle := func(q string) time.Duration { slices.Sort(asked[q]); return asked[q][len(asked[q])/2] }
		for q := range asked {
			for _, d := range asked[q] {
				all += d
			}
		}
		slow := slices.SortedFunc(maps.Keys(asked), func(x, y string) int { return cmp.Compare(middle(y), middle(x)) })
		b.Logf("%s: p50 %s, longest of 20 %s, of it in the database %s", name, took[10].Round(10*time.Microsecond), took[19].Round(10*time.Microsecond), (all / 20).Round(10*time.Microsecond))
		for _, q := range slow[:min(2, len(slow))] {
			text := strings.Join(strings.Fields(q), " ")
			b.Logf("    %s  %s", middle(q).Round(10*time.Microsecond), text[:min(len(text), 110)])
		}
	}
}

// A mixed asks for what calendars and people ask for.
type mixed struct {
	client *http.Client
	r      *rand.Rand
	tags   map[string]string
	took   map[string]durations
	failed []string
}

// ask sends a request and gives the entity tag of a whole answer.
func (m *mixed) ask(kind string, code []int, req *http.Request) (tag string) {
	begun := time.Now()
	a, err := m.client.Do(req)
	if err != nil {
		m.failed = append(m.failed, err.Error())
		return ""
	}
	body, err := io.ReadAll(a.Body)
	_ = a.Body.Close()
	if a.StatusCode == http.StatusServiceUnavailable {
		m.took["try again"] = append(m.took["try again"], time.Since(begun))
		return ""
	}
	m.took[kind] = append(m.took[kind], time.Since(begun))
	if err != nil || !slices.Contains(code, a.StatusCode) {
		m.failed = append(m.failed, fmt.Sprint(kind, a.StatusCode, err, string(body[:min(len(body), 300)])))
	}
	if a.StatusCode != http.StatusOK {
		return ""
	}
	return a.Header.Get("ETag")
}

// An outlet is where a request can go: one server as one salon.
type outlet struct {
	*salon
	feeds   []string
	clients []string
}

// once asks one of the servers for something, 90 % for feeds.
func (m *mixed) once(p outlet) {
	send := func(path string, body object) *http.Request {
		raw, _ := json.Marshal(body)
		req, _ := http.NewRequest("POST", p.http.URL+path, bytes.NewReader(raw))
		req.Header.Set("Authorization", "Bearer "+p.token)
		req.Header.Set("Content-Type", "application/json")
		req.Header.Set("Idempotency-Key", store.NewID())
		return req
	}
	switch n := m.r.IntN(100); {
	case n < 90:
		path := p.feeds[m.r.IntN(len(p.feeds))]
		req, _ := http.NewRequest("GET", p.http.URL+path, nil)
		kind := "whole feeds"
		if tag := m.tags[path]; tag != "" && m.r.IntN(50) > 0 {
			req.Header.Set("If-None-Match", tag)
			kind = "304"
		}
		if tag := m.ask(kind, []int{200, 304}, req); tag != "" {
			m.tags[path] = tag
		}
	case n < 98:
		service := p.cut()
		if m.r.IntN(2) == 0 {
			service = p.straightening()
		}
		m.ask("openings", []int{200}, send("/v1/openings", object{"services": service, "first_date": "2026-06-09", "last_date": "2026-06-30", "limit": 20}))
	default:
		at := start.AddDate(0, 0, 35+m.r.IntN(300)).Add(time.Duration(60+15*m.r.IntN(32)) * time.Minute)
		m.ask("bookings", []int{201, 409, 422}, send("/v1/visits", object{"client_id": p.clients[m.r.IntN(len(p.clients))], "start": at, "services": []object{p.by(p.ben, "Dry cut")}, "approved_by": "Ada"}))
	}
}

// crowd has so many programs ask for a while and gives how often they did a second.
func crowd(b *testing.B, length time.Duration, ask func(m *mixed)) (rate float64, took map[string]durations) {
	b.Helper()
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: callers, DisableCompression: true}}
	defer client.CloseIdleConnections()
	var list []*mixed
	var wait sync.WaitGroup
	end := time.Now().Add(length)
	for i := range callers {
		m := &mixed{client: client, r: rand.New(rand.NewPCG(7, uint64(i))), tags: map[string]string{}, took: map[string]durations{}}
		list = append(list, m)
		wait.Go(func() {
			for time.Now().Before(end) {
				ask(m)
			}
		})
	}
	wait.Wait()
	took = map[string]durations{}
	n := 0
	for _, m := range list {
		require.Empty(b, m.failed)
		for kind, d := range m.took {
			took[kind] = append(took[kind], d...)
			n += len(d)
		}
	}
	for _, d := range took {
		slices.Sort(d)
	}
	return float64(n) / length.Seconds(), took
}

// mix measures the mix against two servers over stores of their own, and the floors
// in the same minute: a handler that does nothing, and one that reads a row.
func (g *grown) mix(b *testing.B) {
	length := 10 * time.Second
	var outlets []outlet
	for range 2 {
		st, err := store.Open(b.Context(), g.url, 20)
		require.NoError(b, err)
		b.Cleanup(st.Close)
		st.SealWith(healthKey(b, 1))
		first := g.member(1, st)
		for n := range min(len(g.salons), 20) {
			x := *g.member(n+1, st)
			x.http = first.http // one server
			p := outlet{salon: &x}
			for _, q := range []struct {
				into *[]string
				text string
			}{
				{&p.feeds, `SELECT '/cal/' || pg_temp.secret(key, subject_id) || '.ics' FROM feed JOIN salon USING (salon_id) WHERE salon_id = $1 ORDER BY kind DESC, feed_id LIMIT 40`},
				{&p.clients, `SELECT client_id FROM client WHERE salon_id = $1 LIMIT 300`},
			} {
				rows, err := g.conn.Query(b.Context(), q.text, x.row.ID)
				require.NoError(b, err)
				for rows.Next() {
					var v string
					require.NoError(b, rows.Scan(&v))
					*q.into = append(*q.into, v)
				}
				require.NoError(b, rows.Err())
			}
			outlets = append(outlets, p)
		}
	}
	floors := floorServer(b, g)
	floor := func(path string) (float64, durations) {
		rate, took := crowd(b, length/3, func(m *mixed) {
			req, _ := http.NewRequest("GET", floors+path, nil)
			m.ask("floor", []int{200}, req)
		})
		return rate, took["floor"]
	}
	for b.Loop() {
		load, _ := os.ReadFile("/proc/loadavg")
		crowd(b, length/3, func(m *mixed) { m.once(outlets[m.r.IntN(len(outlets))]) }) // warm
		echoRate, echoTook := floor("/echo")
		rowRate, rowTook := floor("/row")
		rate, took := crowd(b, length, func(m *mixed) { m.once(outlets[m.r.IntN(len(outlets))]) })
		took["floor: echo"], took["floor: one row"] = echoTook, rowTook
		for _, kind := range slices.Sorted(maps.Keys(took)) {
			d := took[kind]
			b.Logf("%-15s %7d answers, p50 %8s, p99 %8s", kind, len(d), d[len(d)/2].Round(10*time.Microsecond), d[len(d)*99/100].Round(10*time.Microsecond))
		}
		b.Logf("load before %s", bytes.TrimSpace(load))
		b.ReportMetric(rate, "req/s")
		b.ReportMetric(echoRate, "echo/s")
		b.ReportMetric(rowRate, "row/s")
		b.ReportMetric(rate/echoRate, "of-echo")
		b.ReportMetric(rate/rowRate, "of-one-row")
	}
}

// floorServer answers with nothing, and with one row of the database.
func floorServer(b *testing.B, g *grown) string {
	b.Helper()
	cfg, err := pgxpool.ParseConfig(g.url)
	require.NoError(b, err)
	cfg.MaxConns = 20
	pool, err := pgxpool.NewWithConfig(b.Context(), cfg)
	require.NoError(b, err)
	b.Cleanup(pool.Close)
	e := echo.New()
	e.GET("/echo", func(c echo.Context) error { return c.String(http.StatusOK, "hello") })
	e.GET("/row", func(c echo.Context) error {
		var name string
		if err := pool.QueryRow(c.Request().Context(), `SELECT name FROM salon WHERE salon_id = $1`, g.salons[0]).Scan(&name); err != nil {
			return err
		}
		return c.String(http.StatusOK, name)
	})
	server := httptest.NewServer(e)
	b.Cleanup(server.Close)
	return server.URL
}

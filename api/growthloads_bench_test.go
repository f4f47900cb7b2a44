package api_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// callers is how many programs ask at once where nothing else is said.
const callers = 32

// A sheet is a table of what was measured.
type sheet struct {
	size string
	rows [][]string
}

func (s *sheet) add(cells ...string) { s.rows = append(s.rows, append([]string{s.size}, cells...)) }

// note adds a figure that stands for itself.
func (s *sheet) note(what, figure string) { s.add(what, figure, "", "", machineLoad()) }

func (s *sheet) String() string {
	var b strings.Builder
	b.WriteString("| size | what | figure | to the floor | wanted | load before, after |\n|---|---|---|---|---|---|\n")
	for _, row := range s.rows {
		b.WriteString("| " + strings.Join(row, " | ") + " |\n")
	}
	return b.String()
}

func brief(d time.Duration) string {
	if d < 10*time.Millisecond {
		return d.Round(10 * time.Microsecond).String()
	}
	return d.Round(time.Millisecond).String()
}

// at is the value below which a share of d lies; d is sorted.
func (d durations) at(share float64) time.Duration { return d[int(float64(len(d)-1)*share)] }

// loadSeconds is how long each load lasts; LOAD_SECONDS says otherwise.
func loadSeconds(b *testing.B) time.Duration {
	b.Helper()
	text := os.Getenv("LOAD_SECONDS")
	if text == "" {
		return 8 * time.Second
	}
	n, err := strconv.Atoi(text)
	require.NoError(b, err, "LOAD_SECONDS: whole seconds")
	return time.Duration(n) * time.Second
}

// An outlet is a salon as callers reach it: at each of the servers in turn.
type outlet struct {
	*salon
	feeds   []string
	clients []string
}

// loading is what callers of all loads share.
type loading struct {
	b       *testing.B
	g       *grown
	servers []loadServer
	outlets []outlet
	http    *http.Client
	tags    sync.Map // of feeds, by path
	out     *sheet
	turn    atomic.Int64
	keys    string // before the numbers of repeatable requests
}

// loading starts two servers over the database of g, and asks each for what it keeps.
func (g *grown) loading(b *testing.B, out *sheet) *loading {
	b.Helper()
	l := &loading{b: b, g: g, out: out, keys: store.NewID()[24:]}
	l.http = &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 1100, DisableCompression: true}}
	b.Cleanup(l.http.CloseIdleConnections)
	for range 2 {
		l.servers = append(l.servers, g.startServer(b))
	}
	for n := range min(len(g.salons), 20) {
		p := outlet{salon: g.member(n+1, g.store)}
		p.feeds = g.list(`SELECT '/cal/' || pg_temp.secret(key, subject_id) || '.ics' FROM feed JOIN salon USING (salon_id) WHERE salon_id = $1 ORDER BY kind DESC, feed_id LIMIT 20`, p.row.ID)
		p.clients = g.list(`SELECT client_id FROM client WHERE salon_id = $1 LIMIT 300`, p.row.ID)
		l.outlets = append(l.outlets, p)
	}
	l.warm()
	return l
}

// loads measures against two servers over one database.
func (g *grown) loads(b *testing.B, out *sheet) {
	b.Helper()
	l := g.loading(b, out)
	for _, x := range []struct {
		name string
		run  func(*testing.B)
	}{{"L1", l.bookers}, {"L2", l.days}, {"L3", l.boards}, {"L4", l.unchanged}, {"L5", l.searches}, {"L6", l.listeners}, {"mix", l.mix}} {
		b.Run(x.name, func(b *testing.B) {
			servers := l.servers
			l.b = b
			x.run(b)
			l.servers = servers
		})
	}
}

func (g *grown) list(q string, args ...any) (out []string) {
	g.t.Helper()
	rows, err := g.conn.Query(g.t.Context(), q, args...)
	require.NoError(g.t, err, q)
	defer rows.Close()
	for rows.Next() {
		var v string
		require.NoError(g.t, rows.Scan(&v))
		out = append(out, v)
	}
	require.NoError(g.t, rows.Err())
	return out
}

// A caller asks, one request after the other, and notes how long answers take.
type caller struct {
	*loading
	r      *rand.Rand
	took   map[string]durations
	failed []string
}

// server is where the next request goes.
func (l *loading) server() string { return l.servers[int(l.turn.Add(1))%len(l.servers)].url }

// crowd has n callers ask for a while, and gives how often they were answered a second
// and how long that took, by kind.
func (l *loading) crowd(n int, length time.Duration, ask func(c *caller)) (rate float64, took map[string]durations) {
	l.b.Helper()
	var list []*caller
	var wait sync.WaitGroup
	begun := time.Now()
	end := begun.Add(length)
	for i := range n {
		c := &caller{loading: l, r: rand.New(rand.NewPCG(7, uint64(i))), took: map[string]durations{}}
		list = append(list, c)
		wait.Go(func() {
			for time.Now().Before(end) && len(c.failed) < 10 {
				ask(c)
			}
		})
	}
	wait.Wait()
	lasted := time.Since(begun).Seconds()
	took = map[string]durations{}
	count := 0
	for _, c := range list {
		require.Empty(l.b, c.failed)
		for kind, d := range c.took {
			took[kind] = append(took[kind], d...)
			count += len(d)
		}
	}
	for _, d := range took {
		slices.Sort(d)
	}
	return float64(count) / lasted, took
}

// do sends a request to one of the servers and notes its time as of a kind: of "try
// again" when the server says so. The answer has one of the codes.
func (c *caller) do(kind string, codes []int, req *http.Request) (code int, body []byte, header http.Header) {
	begun := time.Now()
	a, err := c.http.Do(req)
	if err != nil {
		c.failed = append(c.failed, err.Error())
		return 0, nil, nil
	}
	body, err = io.ReadAll(a.Body)
	_ = a.Body.Close()
	if a.StatusCode == http.StatusServiceUnavailable {
		kind = "try again"
	} else if err != nil || !slices.Contains(codes, a.StatusCode) {
		c.failed = append(c.failed, fmt.Sprint(kind, " ", a.StatusCode, " ", err, string(body[:min(len(body), 300)])))
	}
	c.took[kind] = append(c.took[kind], time.Since(begun))
	return a.StatusCode, body, a.Header
}

func (c *caller) get(path, token string) *http.Request {
	req, _ := http.NewRequest(http.MethodGet, c.server()+path, nil)
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	return req
}

func (c *caller) post(path, token string, body object) *http.Request {
	raw, _ := json.Marshal(body)
	req, _ := http.NewRequest(http.MethodPost, c.server()+path, bytes.NewReader(raw))
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header.Set("Content-Type", "application/json")
	return req
}

// book asks for a dry cut by Ben; the key of the request is as rare as its number.
func (c *caller) book(kind string, p *outlet, at time.Time) (code int, visit string) {
	req := c.post("/v1/visits", p.token, object{"client_id": p.clients[c.r.IntN(len(p.clients))], "start": at, "services": []object{p.by(p.ben, "Dry cut")}, "approved_by": "Ada"})
	req.Header.Set("Idempotency-Key", fmt.Sprint(c.keys, bookings.Add(1)))
	code, body, _ := c.do(kind, []int{201, 409, 422}, req)
	var v api.VisitBody
	if code == http.StatusCreated {
		if err := json.Unmarshal(body, &v); err != nil {
			c.failed = append(c.failed, err.Error())
		}
	}
	return code, v.ID
}

// feed asks for a calendar, whole or whether it has changed.
func (c *caller) feed(path string, forgets bool) {
	req := c.get(path, "")
	kind := "whole feed"
	if tag, ok := c.tags.Load(path); ok && !forgets {
		req.Header.Set("If-None-Match", tag.(string))
		kind = "feed if changed"
	}
	code, _, header := c.do(kind, []int{200, 304}, req)
	if code == http.StatusOK {
		c.tags.Store(path, header.Get("ETag"))
	}
}

func (c *caller) openings(p *outlet, services []object, last string) {
	c.do("openings", []int{200}, c.post("/v1/openings", p.token, object{"services": services, "first_date": "2026-06-09", "last_date": last, "limit": 20}))
}

func (c *caller) any() *outlet { return &c.outlets[c.r.IntN(len(c.outlets))] }

// warm has each server be asked once for what it keeps, and every calendar be known.
func (l *loading) warm() {
	c := &caller{loading: l, r: rand.New(rand.NewPCG(7, 7)), took: map[string]durations{}}
	for i := range l.outlets {
		p := &l.outlets[i]
		for range l.servers {
			c.openings(p, p.straightening(), "2026-06-30")
			c.do("day", []int{200}, c.get("/v1/days/2026-06-10", p.token))
		}
		for _, path := range p.feeds {
			c.feed(path, true)
		}
	}
	require.Empty(l.b, c.failed)
}

// floor measures one of the floors for a moment.
func (l *loading) floor(n int, path string) float64 {
	l.b.Helper()
	rate, _ := l.crowd(n, loadSeconds(l.b)/4, func(c *caller) { c.do("floor", []int{200}, c.get(path, "")) })
	return rate
}

func (l *loading) row() string  { return "/floor/row/" + l.g.salons[0] }
func (l *loading) rows() string { return "/floor/rows/" + l.g.salons[0] }

// beside measures a load between two measurements of its floor, and adds a row to the
// sheet: the rate, its share of the floor's, and p50 and p99 of each kind of answer.
func (l *loading) beside(what, wanted string, n int, floor string, ask func(c *caller)) (rate float64) {
	l.b.Helper()
	before := machineLoad()
	low := l.floor(n, floor)
	rate, took := l.crowd(n, loadSeconds(l.b), ask)
	low = (low + l.floor(n, floor)) / 2
	figure := fmt.Sprintf("%.0f/s", rate)
	for _, kind := range slices.Sorted(maps.Keys(took)) {
		figure += fmt.Sprintf("; %s %d: p50 %s, p99 %s", kind, len(took[kind]), brief(took[kind].at(0.5)), brief(took[kind].at(0.99)))
	}
	l.out.add(what, figure, fmt.Sprintf("%.2f of %.0f/s", rate/low, low), wanted, before+", "+machineLoad())
	l.b.ReportMetric(rate, "req/s")
	l.b.ReportMetric(rate/low, "of-floor")
	return rate
}

// An attempt is what a booker was told of a booking.
type attempt struct {
	salon, visit string
	at           time.Time
}

// bookers is L1: 64 book at the same time, all of them one stylist in one week, and then
// anybody in many. What was answered is compared with what is there afterwards.
func (l *loading) bookers(b *testing.B) {
	const n = 64
	for _, hot := range []bool{true, false} {
		var mutex sync.Mutex
		var said []attempt
		before, deadlocks := machineLoad(), l.g.deadlocks()
		had := l.g.one(`SELECT count(*)::text FROM visit`)
		rate, took := l.crowd(n, loadSeconds(b), func(c *caller) {
			p, day := &c.outlets[0], 35+c.r.IntN(7)
			if !hot {
				p, day = c.any(), 42+c.r.IntN(300)
			}
			at := start.AddDate(0, 0, day).Add(time.Duration(60+15*c.r.IntN(32)) * time.Minute)
			if code, visit := c.book("answer", p, at); code == http.StatusCreated {
				mutex.Lock()
				defer mutex.Unlock()
				said = append(said, attempt{p.row.ID, visit, at})
			}
		})
		l.judge(had, said)
		what := map[bool]string{true: "L1 64 bookers of one stylist and week", false: "L1 64 bookers of all"}[hot]
		d := took["answer"]
		require.NotEmpty(b, d)
		l.out.add(what, fmt.Sprintf("%.0f/s, %d booked, %d refused, %d told to try again; p50 %s, p99 %s; none twice or lost, %d deadlocks",
			rate, len(said), len(d)-len(said), len(took["try again"]), brief(d.at(0.5)), brief(d.at(0.99)), l.g.deadlocks()-deadlocks),
			"", ">= 300/s, p99 < 500 ms", before+", "+machineLoad())
		b.ReportMetric(rate, map[bool]string{true: "hot/s", false: "spread/s"}[hot])
	}
}

func (g *grown) deadlocks() int {
	g.t.Helper()
	n, err := strconv.Atoi(g.one(`SELECT deadlocks::text FROM pg_stat_database WHERE datname = current_database()`))
	require.NoError(g.t, err)
	return n
}

// judge holds what bookers were told against the database: each booked visit is there
// at its time with its blocks, no other is, and no two blocks of a unit overlap.
func (l *loading) judge(had string, said []attempt) {
	l.b.Helper()
	var ids, at []string
	for _, a := range said {
		ids = append(ids, a.visit)
		at = append(at, a.at.Format(time.RFC3339))
	}
	there := l.g.one(`SELECT count(*)::text FROM unnest($1::text[], $2::text[]) x(id, at) JOIN visit v ON v.visit_id = x.id AND v.starts_at = x.at::timestamptz
		WHERE EXISTS (SELECT 1 FROM block k WHERE k.salon_id = v.salon_id AND k.visit_id = v.visit_id)`, ids, at)
	require.Equal(l.b, strconv.Itoa(len(said)), there, "each booked visit is there")
	require.Equal(l.b, strconv.Itoa(len(said)), l.g.one(`SELECT (count(*) - $1::text::int)::text FROM visit`, had), "and no other is")
	require.Equal(l.b, "0", l.g.one(`SELECT count(*)::text FROM unnest($1::text[]) x(id) JOIN block a ON a.visit_id = x.id
		JOIN block k ON k.salon_id = a.salon_id AND k.unit_id = a.unit_id AND k.visit_id <> a.visit_id AND k.span && a.span`, ids), "no two overlap")
}

// days is L2: a full day of six stylists as JSON, beside sixty rows.
func (l *loading) days(*testing.B) {
	l.beside("L2 day of six stylists, JSON, 32 callers; floor: 60 rows", ">= 0.5, p99 < 50 ms", callers, l.rows(), func(c *caller) {
		c.do("day", []int{200}, c.get("/v1/days/2026-06-10", c.any().token))
	})
}

// boards is L3: the same day as a page.
func (l *loading) boards(b *testing.B) {
	list := make([]string, len(l.outlets)) // cookies, by salon
	for i, p := range l.outlets {
		var link string
		require.NoError(b, p.store.InTx(b.Context(), p.row.ID, func(tx *store.Tx) (err error) {
			link, err = tx.AddSessionLink(b.Context(), store.Desk, "", time.Now().Add(time.Hour))
			return err
		}))
		a, err := (&http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}).Post(l.servers[0].url+"/open/"+link+"/enter", "", nil)
		require.NoError(b, err)
		_ = a.Body.Close()
		for _, cookie := range a.Cookies() {
			list[i] += cookie.Name + "=" + cookie.Value + "; "
		}
	}
	l.beside("L3 the same day as a page; floor: 60 rows", ">= 300/s, p99 < 150 ms", callers, l.rows(), func(c *caller) {
		req := c.get("/?date=2026-06-10", "")
		req.Header.Set("Cookie", list[c.r.IntN(len(list))])
		c.do("board", []int{200}, req)
	})
}

// unchanged is L4: calendars that have not changed, beside one row.
func (l *loading) unchanged(*testing.B) {
	l.beside("L4 feed with If-None-Match; floor: one row", ">= 0.6", callers, l.row(), func(c *caller) {
		p := c.any()
		c.feed(p.feeds[c.r.IntN(len(p.feeds))], false)
	})
}

// searches is L5: all day, four people look for room for a long service in thirty days.
func (l *loading) searches(*testing.B) {
	l.beside("L5 openings of a long service in 30 days, 4 callers; floor: one row", ">= 20/s, p99 < 200 ms", 4, l.row(), func(c *caller) {
		p := c.any()
		c.openings(p, p.straightening(), "2026-07-08")
	})
}

// listeners is L6: a thousand screens of one salon are told of five bookings a second.
func (l *loading) listeners(b *testing.B) {
	const screens, perSecond, tokens = 1000, 5, 100 // a token has at most twenty streams of a server
	seconds := int(loadSeconds(b).Seconds())
	load := machineLoad()
	p := &l.outlets[0]
	var all []string
	require.NoError(b, p.store.InTx(b.Context(), p.row.ID, func(tx *store.Tx) error {
		for range tokens {
			_, token, err := tx.AddToken(b.Context(), store.Desk, "", "screens", nil)
			if err != nil {
				return err
			}
			all = append(all, token)
		}
		return nil
	}))
	l.servers = []loadServer{l.g.startServer(b), l.g.startServer(b)} // fresh ones, whose memory is not room for what was before
	l.warm()
	memory := -l.memory()
	type seen struct {
		visit string
		at    time.Time
	}
	heard := make(chan seen, 3*screens*perSecond*seconds)
	var up atomic.Int64
	ctx, stop := context.WithCancel(b.Context())
	defer stop()
	var streams sync.WaitGroup
	for i := range screens {
		streams.Go(func() {
			r, _ := http.NewRequestWithContext(ctx, http.MethodGet, l.server()+"/v1/events", nil)
			r.Header.Set("Authorization", "Bearer "+all[i%tokens])
			a, err := l.http.Do(r)
			if err != nil {
				return
			}
			defer a.Body.Close()
			up.Add(1)
			lines := bufio.NewScanner(a.Body)
			for lines.Scan() {
				if _, visit, ok := strings.Cut(lines.Text(), `"visit_id":"`); ok {
					heard <- seen{visit[:36], time.Now()}
				}
			}
		})
	}
	require.Eventually(b, func() bool { return up.Load() == screens }, time.Minute, 10*time.Millisecond, "all listen")
	memory += l.memory()
	booked := map[string]time.Time{} // when it was answered
	c := &caller{loading: l, r: rand.New(rand.NewPCG(7, 7)), took: map[string]durations{}}
	begun := time.Now()
	for i := range perSecond * seconds {
		at := start.AddDate(0, 0, 350+i/8%6+i/48*7).Add(time.Duration(1+i%8) * time.Hour) // Mondays to Saturdays, after those of L1
		if code, visit := c.book("booking", p, at); code == http.StatusCreated {
			booked[visit] = time.Now()
		}
		time.Sleep(time.Until(begun.Add(time.Duration(i+1) * time.Second / perSecond)))
	}
	require.Empty(b, c.failed)
	time.Sleep(2 * time.Second)
	stop()
	streams.Wait()
	close(heard)
	told := map[string]int{}
	var late durations
	for x := range heard {
		if at, ok := booked[x.visit]; ok {
			told[x.visit]++
			late = append(late, max(0, x.at.Sub(at)))
		}
	}
	require.NotEmpty(b, booked)
	for visit := range booked {
		require.GreaterOrEqual(b, told[visit], screens, "all were told of %s within two seconds", visit)
	}
	slices.Sort(late)
	l.out.add("L6 1,000 listeners of one salon, 5 bookings/s", fmt.Sprintf("%d bookings, all told; after the answer p50 %s, p99 %s, last %s; %d KiB of the servers each",
		len(booked), brief(late.at(0.5)), brief(late.at(0.99)), brief(late.at(1)), memory/screens), "", "< 1 s, < 50 KiB", load+", "+machineLoad())
}

// memory of the servers, in KiB.
func (l *loading) memory() (sum int) {
	for _, x := range l.servers {
		sum += x.memory()
	}
	return sum
}

// mix is what a host has all day: 90 % feeds, of which one in fifty has nothing to
// compare with, 8 % openings, 2 % bookings.
func (l *loading) mix(*testing.B) {
	rate := l.beside("mix: 90 % feeds, 8 % openings, 2 % bookings; floor: one row", "", callers, l.row(), func(c *caller) {
		p := c.any()
		switch n := c.r.IntN(100); {
		case n < 90:
			c.feed(p.feeds[c.r.IntN(len(p.feeds))], c.r.IntN(50) == 0)
		case n < 98:
			services := p.cut()
			if c.r.IntN(2) == 0 {
				services = p.straightening()
			}
			c.openings(p, services, "2026-06-30")
		default:
			c.book("booking", p, start.AddDate(0, 0, 42+c.r.IntN(300)).Add(time.Duration(60+15*c.r.IntN(32))*time.Minute))
		}
	})
	for _, x := range []struct{ name, path string }{{"nothing", "/floor/echo"}, {"one row", l.row()}, {"60 rows", l.rows()}} {
		low := l.floor(callers, x.path)
		l.out.add("floor: "+x.name, fmt.Sprintf("%.0f/s", low), fmt.Sprintf("the mix is %.2f of it", rate/low), "", machineLoad())
	}
}

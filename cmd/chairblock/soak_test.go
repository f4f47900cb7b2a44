//go:build linux

package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/cookiejar"
	"os"
	"regexp"
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

var soakFor = flag.Duration("soak", 0, "how long a server is under mixed load; 0: not at all")

// soak is a server under load, and what was asked of it.
type soak struct {
	*crowd
	numbers string // address of its counters
	browser *http.Client
	feeds   []string
	asked   [6]atomic.Int64
	failed  atomic.Int64
}

// load are what is asked, with how long whoever asks rests between two.
var load = [6]struct {
	what string
	rest time.Duration
}{{"bookings", 200 * time.Millisecond}, {"cancelled", 0}, {"feeds", 20 * time.Millisecond}, {"openings", 200 * time.Millisecond},
	{"pages", 200 * time.Millisecond}, {"streams opened", time.Second}}

// TestSoak keeps a server under load and prints what it holds at the beginning and at
// the end. It fails when an answer is wrong; whether something grows is for people to
// judge.
func TestSoak(t *testing.T) {
	if *soakFor == 0 {
		t.Skip("asked for by -soak 30m")
	}
	s := newSoak(t)
	s.one("warm-up")
	before := s.holding()
	ctx, stop := context.WithTimeout(t.Context(), *soakFor)
	defer stop()
	var all sync.WaitGroup
	for i, do := range []func(context.Context, *rand.Rand, int){s.book, nil, s.feed, s.search, s.page, s.stream} {
		for w := range 2 {
			r := rand.New(rand.NewPCG(s.seed, uint64(10*i+w)))
			all.Go(func() {
				for n := 0; do != nil && ctx.Err() == nil; n++ {
					do(ctx, r, 2*n+w)
					pauseFor(ctx, load[i].rest)
				}
			})
		}
	}
	s.watch(ctx)
	all.Wait()
	var done []string
	for i := range load {
		done = append(done, fmt.Sprintf("%s %d", load[i].what, s.asked[i].Load()))
	}
	t.Logf("asked: %s; failed: %d", strings.Join(done, ", "), s.failed.Load())
	time.Sleep(5 * time.Second) // what was opened is closed
	t.Logf("at first %s", before)
	t.Logf("at last  %s", s.holding())
	require.Zero(t, s.failed.Load())
	require.Empty(t, s.wrong)
}

// watch prints what is held after each sixth of the time, with the middle of what was
// resident in it: that goes up and down with every round of the collector.
func (s *soak) watch(ctx context.Context) {
	sixth := max(time.Second, *soakFor/6)
	var resident []int
	begun := time.Now()
	for tick := time.NewTicker(min(time.Second, sixth/4)); ; {
		select {
		case <-tick.C:
		case <-ctx.Done():
			tick.Stop()
			return
		}
		kB, err := strconv.Atoi(s.status(`VmRSS:\s+(\d+)`))
		require.NoError(s.t, err)
		resident = append(resident, kB)
		if time.Since(begun) >= sixth-time.Second/2 {
			slices.Sort(resident)
			s.t.Logf("resident %d to %d kB, middle %d; now %s", resident[0], resident[len(resident)-1], resident[len(resident)/2], s.holding())
			resident, begun = nil, time.Now()
		}
	}
}

// status is a part of what the system says of the server's process.
func (s *soak) status(pattern string) string {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", s.servers[0].now().cmd.Process.Pid))
	require.NoError(s.t, err)
	return part(string(text), pattern)
}

// part is what the first group of a pattern finds at the beginning of a line.
func part(text, pattern string) string {
	if m := regexp.MustCompile(`(?m)^` + pattern).FindStringSubmatch(text); m != nil {
		return m[1]
	}
	return "?"
}

func pauseFor(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

func newSoak(t *testing.T) *soak {
	s := &soak{crowd: newCrowd(t, 1, "--metrics-listen", "127.0.0.1:0")}
	// Nobody at this desk makes calls: thousands would wait after half an hour.
	s.clients = slices.DeleteFunc(s.clients, func(c store.Client) bool { return c.ContactBy != "mail" })
	require.NotEmpty(t, s.clients)
	s.numbers = s.servers[0].now().waitFor(`metrics on (http://127\.0\.0\.1:\d+)`)[1]
	st, err := store.Open(t.Context(), s.url, 2)
	require.NoError(t, err)
	defer st.Close()
	var link string
	require.NoError(t, st.InTx(t.Context(), s.row.ID, func(tx *store.Tx) (err error) {
		link, err = tx.AddSessionLink(t.Context(), store.Owner, "", time.Now().Add(time.Hour))
		return err
	}))
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	s.browser = &http.Client{Jar: jar, Timeout: 20 * time.Second}
	at := s.servers[0].url
	res, err := s.browser.Get(at + "/open/" + link)
	require.NoError(t, err)
	text, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	res, err = s.browser.Post(at+string(enterForm.FindSubmatch(text)[1]), "application/x-www-form-urlencoded", nil)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, http.StatusOK, res.StatusCode)
	for _, p := range s.staffIDs() {
		made := call(t, http.MethodPost, at+"/v1/feeds", s.token, map[string]string{"kind": "staff", "subject_id": p})
		require.Equal(t, http.StatusCreated, made.status, made.body)
		s.feeds = append(s.feeds, into[api.FeedBody](made).URL)
	}
	return s
}

func (s *soak) staffIDs() []string {
	return s.list(`SELECT unit_id FROM unit WHERE kind IN ('stylist', 'assistant') ORDER BY 1`)
}

// one books, once more than needed so that everything was done once.
func (s *soak) one(key string) { s.crowd.one(rand.New(rand.NewPCG(s.seed, 0)), key, s.clients[0].ID) }

// book books, and cancels what was booked twenty times before.
func (s *soak) book(_ context.Context, r *rand.Rand, n int) {
	s.crowd.one(r, fmt.Sprint(n), s.clients[n%len(s.clients)].ID)
	s.asked[0].Add(1)
	var old string
	s.note(func() { old = s.visits[fmt.Sprint(n-40)]; delete(s.visits, fmt.Sprint(n-40)) })
	if old == "" {
		return
	}
	at := s.servers[0].url + "/v1/visits/" + old
	v, err := tryCall(s.t, http.MethodGet, at, s.token, nil)
	if err == nil && v.status == http.StatusOK {
		v, err = tryCall(s.t, http.MethodPost, at+"/cancel", s.token, map[string]string{"others": "keep"}, "If-Match", v.header.Get("ETag"))
	}
	s.judge(1, v.status, err, http.StatusOK)
}

// judge counts an answer, and whether it is none of those wanted.
func (s *soak) judge(what, status int, err error, want ...int) {
	s.asked[what].Add(1)
	if err != nil || !slices.Contains(want, status) {
		s.failed.Add(1)
		s.t.Logf("%s: %d, %v", load[what].what, status, err)
	}
}

func (s *soak) feed(_ context.Context, r *rand.Rand, n int) {
	a, err := tryCall(s.t, http.MethodGet, s.feeds[r.IntN(len(s.feeds))], "", nil)
	if err == nil && a.status == http.StatusOK && n%2 == 0 {
		a, err = tryCall(s.t, http.MethodGet, s.feeds[r.IntN(len(s.feeds))], "", nil, "If-None-Match", a.header.Get("ETag"))
	}
	s.judge(2, a.status, err, http.StatusOK, http.StatusNotModified)
}

func (s *soak) search(_ context.Context, r *rand.Rand, _ int) {
	ask := api.OpeningsRequest{Services: []api.ServiceRequest{{ServiceID: s.cut}}, FirstDate: time.Now().AddDate(0, 0, 1+r.IntN(60)).Format(time.DateOnly), Limit: 10}
	a, err := tryCall(s.t, http.MethodPost, s.servers[0].url+"/v1/openings", s.token, ask)
	s.judge(3, a.status, err, http.StatusOK)
}

func (s *soak) page(ctx context.Context, r *rand.Rand, n int) {
	date := time.Now().AddDate(0, 0, r.IntN(14)).Format(time.DateOnly)
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, s.servers[0].url+[]string{"/?date=" + date, "/to-do", "/week?date=" + date, "/clients"}[n%4], nil)
	if err != nil {
		return
	}
	res, err := s.browser.Do(req)
	if ctx.Err() != nil {
		return
	}
	if err == nil {
		_, err = io.Copy(io.Discard, res.Body)
		_ = res.Body.Close() // it was read to its end
	}
	if err != nil {
		s.judge(4, 0, err)
		return
	}
	s.judge(4, res.StatusCode, nil, http.StatusOK)
}

// stream listens for a few seconds.
func (s *soak) stream(ctx context.Context, r *rand.Rand, _ int) {
	ctx, hangUp := context.WithTimeout(ctx, time.Duration(1+r.IntN(5))*time.Second)
	defer hangUp()
	s.listen(ctx, s.servers[0])
	s.asked[5].Add(1)
	s.note(func() { clear(s.seen) })
}

// holding is what the server holds of the machine.
func (s *soak) holding() string {
	files, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", s.servers[0].now().cmd.Process.Pid))
	require.NoError(s.t, err)
	counters := get(s.t, s.numbers, "").body
	load, err := os.ReadFile("/proc/loadavg")
	require.NoError(s.t, err)
	return fmt.Sprintf("resident %s kB, heap in use %s B, goroutines %s, connections to PostgreSQL %s, open files %d, visits %s; load %s",
		s.status(`VmRSS:\s+(\d+)`), part(counters, `go_memstats_heap_inuse_bytes (\S+)`), part(counters, `go_goroutines (\d+)`),
		s.list(`SELECT count(*)::text FROM pg_stat_activity WHERE application_name = 'chairblock'`)[0], len(files),
		s.list(`SELECT count(*)::text FROM visit WHERE state = 'booked'`)[0], strings.Fields(string(load))[0])
}

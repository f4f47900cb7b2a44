package api_test

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// What the load is made of.
const (
	loadSalons  = 20
	loadFeeds   = 500 // of each salon
	loadClients = 200
	loadVisits  = 24 // of each salon
)

// poller is somebody's calendar program: it fetches addresses again and again and
// keeps the tags that it got.
type poller struct {
	client *http.Client
	paths  []string
	tags   map[string]string
	r      *rand.Rand

	fresh, same durations // answers with a body and without
	failed      []string
}

// poll fetches one address. One of fifty forgets what it had, as a new phone.
func (p *poller) poll(ctx context.Context, base string) {
	path := p.paths[p.r.IntN(len(p.paths))]
	req, err := http.NewRequestWithContext(ctx, "GET", base+path, nil)
	if err != nil {
		p.failed = append(p.failed, err.Error())
		return
	}
	req.Header.Set("Accept-Encoding", "gzip")
	if tag := p.tags[path]; tag != "" && p.r.IntN(50) > 0 {
		req.Header.Set("If-None-Match", tag)
	}
	begun := time.Now()
	a, err := p.client.Do(req)
	if err != nil {
		if ctx.Err() == nil {
			p.failed = append(p.failed, err.Error())
		}
		return
	}
	_, err = io.Copy(io.Discard, a.Body)
	_ = a.Body.Close()
	took := time.Since(begun)
	switch {
	case ctx.Err() != nil:
	case err == nil && a.StatusCode == http.StatusOK:
		p.tags[path] = a.Header.Get("ETag")
		p.fresh = append(p.fresh, took)
	case err == nil && a.StatusCode == http.StatusNotModified:
		p.same = append(p.same, took)
	default:
		p.failed = append(p.failed, fmt.Sprint(a.StatusCode, " ", err))
	}
}

// crowd makes salons with visits and feeds and returns the paths of the feeds.
func (s *salon) crowd() (salons []*salon, paths []string) {
	s.t.Helper()
	for k := range loadSalons {
		n := s
		if k > 0 {
			n = s.neighbour()
		}
		salons = append(salons, n)
		var clients []string
		for i := range loadVisits {
			clients = append(clients, n.client(fmt.Sprint("Guest", i)))
			day := start.AddDate(0, 0, 1+i/6*7+i%6/2) // Tuesday to Thursday
			if i%2 == 0 {
				n.book(clients[i], day.Add(time.Hour), []object{n.by(n.ada, "Straightening")})
			} else {
				n.book(clients[i], day.Add(time.Hour), []object{n.by(n.ben, "Dry cut")})
			}
		}
		require.NoError(s.t, n.store.InTx(s.t.Context(), n.row.ID, func(t *store.Tx) error {
			own := []store.Feed{{Kind: store.FeedSalon}, {Kind: store.FeedStaff, Subject: n.ada}, {Kind: store.FeedStaff, Subject: n.ben}, {Kind: store.FeedStaff, Subject: n.mina},
				{Kind: store.FeedStation, Subject: n.chairs[0]}, {Kind: store.FeedStation, Subject: n.chairs[1]}, {Kind: store.FeedStation, Subject: n.basins[0]}}
			for i := range loadFeeds {
				f := store.Feed{Kind: store.FeedClient, Subject: clients[i%len(clients)]}
				if i < len(own) {
					f = own[i]
				}
				_, secret, err := t.AddFeed(s.t.Context(), f.Kind, f.Subject, "")
				if err != nil {
					return err
				}
				paths = append(paths, "/cal/"+secret+".ics")
			}
			return nil
		}))
	}
	return salons, paths
}

func heapInUse() float64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapInuse) / (1 << 20)
}

// TestTenThousandCalendarsArePolled is run with FEED_LOAD_SECONDS set, such as to
// 60. 200 programs poll 10,000 addresses over HTTP while visits move; nobody may
// get an error. It reports how long answers take and what stays in memory.
func TestTenThousandCalendarsArePolled(t *testing.T) {
	seconds, err := strconv.Atoi(cmp.Or(os.Getenv("FEED_LOAD_SECONDS"), "0"))
	require.NoError(t, err)
	if seconds <= 0 {
		t.Skip("SKIPPED: a load to be run on its own, with FEED_LOAD_SECONDS=60")
	}
	s := newSalon(t)
	salons, paths := s.crowd()
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(paths), func(i, k int) { paths[i], paths[k] = paths[k], paths[i] })
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: loadClients, MaxConnsPerHost: loadClients, DisableCompression: true}}
	pollers := make([]*poller, loadClients)
	for i := range pollers {
		share := len(paths) / loadClients
		pollers[i] = &poller{client: client, paths: paths[i*share : (i+1)*share], tags: map[string]string{}, r: rand.New(rand.NewPCG(2, uint64(i)))}
	}
	run := func(length time.Duration) {
		ctx, cancel := context.WithTimeout(t.Context(), length)
		defer cancel()
		var all sync.WaitGroup
		for _, p := range pollers {
			p.fresh, p.same = nil, nil
			all.Go(func() {
				for ctx.Err() == nil {
					p.poll(ctx, s.http.URL)
				}
			})
		}
		all.Go(func() {
			for i := 0; ctx.Err() == nil; i++ { // names change, and calendars with them
				n := salons[i%len(salons)]
				_ = n.store.InTx(ctx, n.row.ID, func(tx *store.Tx) error {
					list, err := tx.Clients(ctx, "", "", 1)
					if err != nil {
						return err
					}
					list[0].GivenName = fmt.Sprintf("Name %d", i)
					_, err = tx.UpdateClient(ctx, list[0])
					return err
				})
				time.Sleep(100 * time.Millisecond)
			}
		})
		all.Wait()
	}
	run(5 * time.Second) // each program comes to know its addresses
	before := heapInUse()
	run(time.Duration(seconds) * time.Second)
	after := heapInUse()
	var fresh, same durations
	for _, p := range pollers {
		require.Empty(t, p.failed)
		fresh, same = append(fresh, p.fresh...), append(same, p.same...)
	}
	for name, d := range map[string]durations{"whole": fresh, "304": same} {
		require.NotEmpty(t, d, name)
		slices.Sort(d)
		at := func(q float64) time.Duration { return d[int(q*float64(len(d)-1))].Round(10 * time.Microsecond) }
		t.Logf("%s: %d answers, %.0f a second, p50 %s, p99 %s, longest %s", name, len(d), float64(len(d))/float64(seconds), at(0.5), at(0.99), at(1))
	}
	t.Logf("heap in use, with what the programs keep: %.1f MB before, %.1f MB after", before, after)
}

package api_test

import (
	"fmt"
	"net"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestWhileTheDatabaseIsAwayEverythingSaysTryAgain(t *testing.T) {
	t.Parallel()
	server := storetest.Real(t)
	s := serve(t, server.URL())
	s.open("Europe/Berlin")
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error { return s.fill(t.Context(), tx) }))
	client := s.client("Mara")
	services := s.straightening()
	s.call("GET", "/readyz", nil).is(200, nil)
	require.NoError(t, server.Stop())
	for range 3 { // connections of the pool break one by one
		for _, x := range []struct {
			method, path string
			body         any
		}{
			{"GET", "/readyz", nil}, {"GET", "/v1/salon", nil}, {"GET", "/v1/days/2026-06-08", nil},
			{"POST", "/v1/openings", object{"services": services}},
			{"POST", "/v1/clients", object{"given_name": "Nora"}},
			{"POST", "/v1/visits", object{"client_id": client, "start": start, "approved_by": "Ada", "services": services}},
			{"GET", "/cal/f_" + s.row.Key + "_0123456789012345678901234567890123456789012.ics", nil},
		} {
			a := s.call(x.method, x.path, x.body, "Idempotency-Key", "k")
			a.refused(503, "unavailable")
			require.NotEmpty(t, a.header.Get("Retry-After"), x.path)
			require.NotContains(t, string(a.body), "postgres")
			require.NotContains(t, string(a.body), "connect")
		}
		s.call("GET", "/healthz", nil).is(200, nil)
	}
}

// shop is a salon with a client on a server of its own that loses nothing.
func shop(t *testing.T) (s *salon, client string, admin func(string)) {
	t.Helper()
	server := storetest.Real(t)
	s = serve(t, server.URL())
	s.open("Europe/Berlin")
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error { return s.fill(t.Context(), tx) }))
	return s, s.client("Mara"), func(q string) { storetest.Exec(t, server.AdminURL(), q) }
}

func (s *salon) wish(client string) (body object, key []string) {
	return object{"client_id": client, "start": start.Add(26 * time.Hour), "services": s.trim(s.ben)}, []string{"Idempotency-Key", "wish"}
}

func TestWhoFindsEveryConnectionInUseIsToldToComeAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var held sync.WaitGroup
	free := make(chan struct{})
	var taken sync.WaitGroup
	for range 20 {
		taken.Add(1)
		held.Go(func() {
			require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(*store.Tx) error { taken.Done(); <-free; return nil }))
		})
	}
	taken.Wait()
	began := time.Now()
	var asked sync.WaitGroup
	for range 40 {
		asked.Go(func() {
			a := s.call("GET", "/v1/salon", nil)
			a.refused(503, "unavailable")
			require.Equal(t, "2", a.header.Get("Retry-After"))
		})
	}
	s.call("GET", "/healthz", nil).is(200, nil)
	asked.Wait()
	t.Logf("forty were told after %v", time.Since(began))
	close(free)
	held.Wait()
	s.call("GET", "/v1/salon", nil).is(200, nil)
}

func TestADatabaseThatTakesNoConnectionsOrNoWritesIsWaitedFor(t *testing.T) {
	t.Parallel()
	s, client, admin := shop(t)
	body, key := s.wish(client)
	u, err := url.Parse(s.url)
	require.NoError(t, err)
	name, role := strings.TrimPrefix(u.Path, "/"), u.User.Username()
	cutAll := `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE usename = '` + role + `'`
	// The connections break one by one, which a few requests notice.
	settle := func(want int) {
		t.Helper()
		require.Eventually(t, func() bool {
			a, err := s.try("GET", "/v1/salon", nil)
			return err == nil && a.status == want
		}, time.Minute, 20*time.Millisecond, "%d", want)
	}

	admin(`ALTER ROLE "` + role + `" CONNECTION LIMIT 0`)
	admin(cutAll)
	settle(503)
	s.call("POST", "/v1/visits", body, key...).refused(503, "unavailable")
	admin(`ALTER ROLE "` + role + `" CONNECTION LIMIT -1`)
	settle(200)

	admin(`ALTER DATABASE "` + name + `" SET default_transaction_read_only = on`)
	admin(cutAll)
	settle(200)
	day := s.call("GET", "/v1/days/2026-06-09", nil).is(200, nil)
	a := s.call("POST", "/v1/visits", body, key...)
	a.refused(503, "unavailable")
	require.NotEmpty(t, a.header.Get("Retry-After"))
	require.Equal(t, string(day.body), string(s.call("GET", "/v1/days/2026-06-09", nil).is(200, nil).body))
	s.call("POST", "/v1/openings", object{"services": s.trim(s.ben)}).is(200, nil)
	admin(`ALTER DATABASE "` + name + `" RESET default_transaction_read_only`)
	admin(cutAll)
	require.Eventually(t, func() bool {
		a, err := s.try("POST", "/v1/visits", body, key...)
		return err == nil && a.status == 201
	}, time.Minute, 20*time.Millisecond)
	require.Len(t, s.visitsBy(client), 1, "once, however often it was sent")
}

func (s *salon) visitsBy(client string) []api.VisitBody {
	s.t.Helper()
	var out struct{ Items []api.VisitBody }
	s.call("GET", "/v1/visits?client_id="+client, nil).is(200, &out)
	return out.Items
}

// gate stands between a server and its database and can let nothing pass.
type gate struct {
	net.Listener
	mu   sync.RWMutex // held for writing while nothing passes
	slow atomic.Int64 // ns that each piece is held up
	made atomic.Int64 // how many connections there were
	lost atomic.Int64 // connections up to this number get no answer any more, as those to a machine that is gone
}

func newGate(t *testing.T, to string) *gate {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	g := &gate{Listener: l}
	go func() {
		for n := int64(1); ; n++ {
			in, err := l.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial("tcp", to)
			if err != nil {
				_ = in.Close()
				continue
			}
			g.made.Store(n)
			go g.pass(n, in, out)
			go g.pass(n, out, in)
		}
	}()
	return g
}

// lose makes the machine go away to which all connections lead that were made before.
func (g *gate) lose() { g.lost.Store(g.made.Load()) }

func (g *gate) pass(n int64, from, to net.Conn) {
	defer from.Close()
	defer to.Close()
	buf := make([]byte, 32<<10)
	for {
		got, err := from.Read(buf)
		time.Sleep(time.Duration(g.slow.Load()))
		g.mu.RLock()
		if got > 0 && n > g.lost.Load() {
			if _, err := to.Write(buf[:got]); err != nil {
				g.mu.RUnlock()
				return
			}
		}
		g.mu.RUnlock()
		if err != nil {
			return
		}
	}
}

// behindGate is a salon whose server reaches the database through a gate, and the same
// one on a server that reaches it directly.
func behindGate(t *testing.T) (s, direct *salon, g *gate) {
	t.Helper()
	direct = newSalon(t)
	u, err := url.Parse(direct.url)
	require.NoError(t, err)
	g = newGate(t, u.Host)
	u.Host = g.Addr().String()
	s = serve(t, u.String())
	s.row, s.token, s.services, s.ada, s.ben, s.mina, s.chairs, s.basins = direct.row, direct.token, direct.services, direct.ada, direct.ben, direct.mina, direct.chairs, direct.basins
	return s, direct, g
}

func TestANetworkThatIsSlowOrStallsHoldsNobodyForEver(t *testing.T) {
	t.Parallel()
	s, direct, g := behindGate(t)
	client := direct.client("Mara")
	body, key := s.wish(client)

	g.slow.Store(int64(5 * time.Millisecond))
	s.call("GET", "/v1/days/2026-06-09", nil).is(200, nil)
	g.slow.Store(0)

	g.mu.Lock() // in the middle of everything
	began := time.Now()
	var all sync.WaitGroup
	for i := range 30 {
		all.Go(func() {
			var a answer
			if i%2 == 0 {
				a = s.call("GET", "/v1/days/2026-06-09", nil)
			} else {
				a = s.call("POST", "/v1/visits", body, "Idempotency-Key", fmt.Sprint("stalled", i))
			}
			a.refused(503, "unavailable")
			require.NotEmpty(t, a.header.Get("Retry-After"))
		})
	}
	all.Wait()
	t.Logf("thirty were told after %v", time.Since(began))
	g.mu.Unlock()
	require.Eventually(t, func() bool {
		a, err := s.try("POST", "/v1/visits", body, key...)
		return err == nil && (a.status == 201 || a.status == 409)
	}, 30*time.Second, 50*time.Millisecond)
	require.Len(t, direct.visitsBy(client), 1, "whatever became of those that were given up, one has the time")
}

// useAll makes all connections that there may be, and uses them.
func (s *salon) useAll() {
	const all = 20
	free, taken, ended := make(chan struct{}), make(chan struct{}, all), make(chan error, all)
	for range all {
		go func() {
			ended <- s.store.InTx(s.t.Context(), s.row.ID, func(*store.Tx) error { taken <- struct{}{}; <-free; return nil })
		}()
	}
	for range all {
		select {
		case <-taken:
		case err := <-ended:
			require.NoError(s.t, err)
		}
	}
	close(free)
	for range all {
		require.NoError(s.t, <-ended)
	}
}

func TestWhoListensHoldsNoConnectionThatLeadsNowhere(t *testing.T) {
	t.Parallel()
	s, _, g := behindGate(t)
	s.server.MountPages()
	s.server.PingEvery(time.Second)
	d := s.desk(store.Desk)
	var list []*stream
	for range 12 {
		list = append(list, s.listen(s.http.URL, ""), s.listenPage(s.http.URL, d))
	}
	s.useAll()

	g.lose()
	began := time.Now()
	time.Sleep(2 * time.Second) // everybody who listens asks meanwhile
	// A connection that is given up keeps its place for 15 s more, in the library.
	require.Eventually(t, func() bool {
		a, err := s.try("GET", "/v1/salon", nil)
		return err == nil && a.status == 200
	}, time.Minute, 50*time.Millisecond)
	t.Logf("answered after %v", time.Since(began))
	for i, x := range list {
		for len(x.events) > 0 {
			<-x.events
		}
		select {
		case _, ok := <-x.events:
			require.True(t, ok, "stream %d has ended", i)
		case <-time.After(time.Minute):
			require.FailNow(t, "stream is silent", "%d", i)
		}
	}
	t.Logf("all were told after %v", time.Since(began))
}

func TestWhileTheNetworkStallsNobodyWaitsForAStreamOrForTheListOfErasuresForEver(t *testing.T) {
	t.Parallel()
	s, _, g := behindGate(t)
	s.server.MountPages()
	d := s.desk(store.Desk)
	s.useAll() // what was used just now is not tried first
	g.mu.Lock()
	began := time.Now()
	done := make(chan string, 3)
	go func() {
		_, _ = s.try("GET", "/v1/events", nil)
		done <- "a stream"
	}()
	go func() {
		if a, err := d.http.Get(s.http.URL + "/events"); err == nil {
			_ = a.Body.Close()
		}
		done <- "a stream of a page"
	}()
	go func() {
		_ = s.server.ErasedTo(t.Context(), func([]store.Erased) error { return nil })
		done <- "the list of erasures"
	}()
	over := time.After(time.Minute)
	for range 3 {
		select {
		case what := <-done:
			t.Logf("%s was given up after %v", what, time.Since(began))
		case <-over:
			g.mu.Unlock()
			require.FailNow(t, "somebody waits for ever")
		}
	}
	g.mu.Unlock()
}

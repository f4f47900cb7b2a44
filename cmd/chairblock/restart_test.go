//go:build unix

package main

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
	"chairblock/store/storetest"
)

// newProxy passes requests on to one server after the other, and to the next where one
// takes no connection, as the proxy of docker-compose.yml does; each request gets a
// connection of its own, as there.
func newProxy(t *testing.T, servers ...string) string {
	t.Helper()
	var turn atomic.Int64
	p := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) { r.Out.URL.Scheme, r.Out.URL.Host = "http", "either" },
		Transport: &http.Transport{DisableKeepAlives: true, DialContext: func(ctx context.Context, _, _ string) (c net.Conn, err error) {
			first := int(turn.Add(1))
			for i := range servers {
				var d net.Dialer
				if c, err = d.DialContext(ctx, "tcp", servers[(first+i)%len(servers)]); err == nil {
					return c, nil
				}
			}
			return nil, err
		}},
	}
	s := httptest.NewServer(p)
	t.Cleanup(s.Close)
	return s.URL
}

// TestOfTwoServersEachIsRestartedAndNobodyNotices stops and starts both while they are
// asked and told things: nothing fails and nothing is lost.
func TestOfTwoServersEachIsRestartedAndNobodyNotices(t *testing.T) {
	t.Parallel()
	database := storetest.Real(t).URL()
	st, err := store.Open(t.Context(), database, 2)
	require.NoError(t, err)
	defer st.Close()
	row, err := st.AddSalon(t.Context(), store.Salon{Name: "Quay & Sons", Zone: "Europe/Lisbon"})
	require.NoError(t, err)
	var token string
	require.NoError(t, st.InTx(t.Context(), row.ID, func(tx *store.Tx) (err error) {
		_, token, err = tx.AddToken(t.Context(), store.Owner, "", "test", nil)
		return err
	}))
	dir := folder(t)
	start := func(listen string) (*process, string) {
		p := launch(t, nil, "serve", "--database-url", database, "--maildir", filepath.Join(dir, "mail"), "--listen", listen)
		return p, p.waitFor(`listening on http://(127\.0\.0\.1:\d+)`)[1]
	}
	var servers [2]*process
	var at [2]string
	for i := range servers {
		servers[i], at[i] = start("127.0.0.1:0")
	}
	proxy := newProxy(t, at[:]...)

	var done atomic.Bool
	var told, read, cut atomic.Int64
	// A server that stops resets what it has not taken yet. The proxy does not know
	// whether that was read, so whoever asked asks again, with the same key.
	ask := func(method, path string, body any, headers ...string) reply {
		a := call(t, method, proxy+path, token, body, headers...)
		for tries := 0; a.status == http.StatusBadGateway && tries < 3; tries++ {
			cut.Add(1)
			a = call(t, method, proxy+path, token, body, headers...)
		}
		return a
	}
	var work sync.WaitGroup
	for w := range 4 {
		work.Go(func() {
			for i := 0; !done.Load(); i++ {
				a := ask(http.MethodPost, "/v1/clients", map[string]string{"given_name": fmt.Sprintf("Juna %d %d", w, i)}, "Idempotency-Key", fmt.Sprint(w, " ", i))
				if a.status != http.StatusCreated {
					t.Errorf("a client: %d %s", a.status, a.body)
					return
				}
				told.Add(1)
				if a := ask(http.MethodGet, "/v1/salon", nil); a.status != http.StatusOK {
					t.Errorf("the salon: %d %s", a.status, a.body)
					return
				}
				read.Add(1)
				time.Sleep(5 * time.Millisecond)
			}
		})
	}
	for range rounds(t, 1) {
		for i := range servers {
			time.Sleep(300 * time.Millisecond)
			began := time.Now()
			servers[i].signal(syscall.SIGTERM)
			require.Zero(t, servers[i].ended(), servers[i].said())
			t.Logf("stopped in %v", time.Since(began).Round(time.Millisecond))
			time.Sleep(200 * time.Millisecond)
			servers[i], _ = start(at[i])
		}
	}
	time.Sleep(200 * time.Millisecond)
	done.Store(true)
	work.Wait()
	t.Logf("%d clients told, %d readings, %d cut off before anybody read them", told.Load(), read.Load(), cut.Load())
	var n int
	require.NoError(t, st.InTx(t.Context(), row.ID, func(tx *store.Tx) error {
		list, err := tx.Clients(t.Context(), "", "", 100_000)
		n = len(list)
		return err
	}))
	require.EqualValues(t, told.Load(), n, "each once")
}

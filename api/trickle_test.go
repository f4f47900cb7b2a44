package api_test

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var trickles = flag.Int("trickles", 200, "connections that send a byte now and then")

// TestWhoTricklesIsCutAndKeepsNobodyWaiting opens many connections that send one
// byte now and then, half of them of a head and half of a body, and asks for
// something ordinary beside them. The limits are those of the service, a fifth as
// long.
func TestWhoTricklesIsCutAndKeepsNobodyWaiting(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	server := s.server.HTTPServer()
	server.ReadHeaderTimeout, server.ReadTimeout = server.ReadHeaderTimeout/5, server.ReadTimeout/5
	address := onPort(t, server)
	before := s.tables()()

	head := "POST /v1/clients HTTP/1.1\r\nHost: salon.example\r\nAuthorization: Bearer " + s.token + "\r\nContent-Type: application/json\r\n"
	var open sync.WaitGroup
	var cut atomic.Int64
	faults := make(chan error, *trickles)
	for i := range *trickles {
		open.Go(func() {
			start := head
			if i%2 == 1 {
				start += "Content-Length: 4000\r\n\r\n{\"given_name\": \""
			}
			if err := trickle(address, start); err != nil {
				faults <- fmt.Errorf("connection %d: %w", i, err)
				return
			}
			cut.Add(1)
		})
	}
	asked := 0
	for cut.Load() < int64(*trickles) && len(faults) == 0 {
		r, err := http.NewRequest(http.MethodGet, "http://"+address+"/v1/salon", nil)
		require.NoError(t, err)
		r.Header.Set("Authorization", "Bearer "+s.token)
		resp, err := http.DefaultTransport.RoundTrip(r)
		if err != nil {
			continue // on a busy machine the short limits cut others, too
		}
		require.NoError(t, resp.Body.Close())
		require.Equal(t, http.StatusOK, resp.StatusCode)
		asked++
		time.Sleep(20 * time.Millisecond) // leaves the machine to the other tests
	}
	open.Wait()
	close(faults)
	require.NoError(t, <-faults)
	require.Positive(t, asked)
	require.Equal(t, before, s.tables()(), "half a body did something")
	t.Logf("%d cut, %d ordinary requests beside them", cut.Load(), asked)
}

// trickle sends start and then x after x until the other side has had enough, which
// is what it returns nil for.
func trickle(address, start string) error {
	conn, err := net.Dial("tcp", address)
	if err != nil {
		return err
	}
	defer conn.Close()
	over := make(chan struct{})
	go func() { _, _ = io.Copy(io.Discard, conn); close(over) }() // until the server closes
	if _, err = io.WriteString(conn, start); err != nil {
		return err
	}
	next := time.NewTicker(50 * time.Millisecond)
	defer next.Stop()
	for range 1200 {
		select {
		case <-over:
			return nil
		case <-next.C:
			_, _ = io.WriteString(conn, "x") // the close is noticed by reading
		}
	}
	return errors.New("is served for a minute")
}

// TestBodiesThatNobodyWouldWriteAreRefusedAndChangeNothing sends JSON that has broken
// parsers.
func TestBodiesThatNobodyWouldWriteAreRefusedAndChangeNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	before := s.tables()()
	for _, x := range []struct {
		name, body string
		status     int
		words      string
	}{
		{"lists in lists", `{"given_name": ` + strings.Repeat("[", 20000) + strings.Repeat("]", 20000) + `}`, 422, "is nested too deeply"},
		{"objects in objects", `{"given_name": ` + strings.Repeat(`{"a":`, 12000) + "1" + strings.Repeat("}", 12000) + `}`, 422, "is nested too deeply"},
		{"a list of 100,000", `{"given_name": [` + strings.Repeat("1,", 99999) + `1]}`, 422, "/given_name"},
		{"a name twice", `{"given_name": "Nora", "given_name": "Mara"}`, 422, "holds a name twice"},
		{"two bodies", `{"given_name": "Nora"} {"given_name": "Mara"}`, 422, "goes on after the value"},
		{"a byte that is no text", "{\"given_name\": \"Nor\xff\"}", 422, "holds text that is not valid UTF-8"},
		{"half a pair", `{"given_name": "Nor\ud800"}`, 422, "holds text that is not valid UTF-8"},
		{"the character zero", `{"given_name": "Nor\u0000"}`, 422, "holds a NUL character"},
		{"a number without end", `{"given_name": ` + strings.Repeat("9", 100000) + `}`, 422, "holds a number that is out of range"},
		{"a number beyond all", `{"given_name": 1e400}`, 422, "holds a number that is out of range"},
		{"too much", `{"given_name": "` + strings.Repeat("x", 1<<20) + `"}`, 413, "a body may have 256 KiB"},
		{"a mark before it", "\ufeff{\"given_name\": \"Nora\"}", 422, "is not JSON"},
		{"nothing", "", 400, "is required"},
	} {
		a := s.call("POST", "/v1/clients", x.body)
		require.Equal(t, x.status, a.status, x.name)
		require.Contains(t, string(a.body), x.words, x.name)
		require.Equal(t, "application/problem+json", a.header.Get("Content-Type"), x.name)
	}
	require.Equal(t, before, s.tables()())
}

package api_test

import (
	"bufio"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"chairblock/api"
	"chairblock/store"
)

// liveEvent is one that a client of the stream was sent.
type liveEvent struct {
	id, kind string
	data     api.LiveBody
}

// stream is what a client hears.
type stream struct {
	t      testing.TB
	answer *http.Response
	events chan liveEvent
	stop   context.CancelFunc
	last   string // id
}

// listen opens the salon's stream at an address.
func (s *salon) listen(url, after string) *stream {
	s.t.Helper()
	ctx, stop := context.WithCancel(s.t.Context())
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url+"/v1/events", nil)
	require.NoError(s.t, err)
	r.Header.Set("Authorization", "Bearer "+s.token)
	if after != "" {
		r.Header.Set("Last-Event-ID", after)
	}
	a, err := http.DefaultClient.Do(r) //nolint:bodyclose // by close of the stream
	require.NoError(s.t, err)
	x := &stream{t: s.t, answer: a, events: make(chan liveEvent, 1000), stop: stop, last: after}
	s.t.Cleanup(x.close)
	if a.StatusCode == http.StatusOK {
		go x.read()
	} else {
		close(x.events)
	}
	return x
}

func (x *stream) close() {
	x.stop()
	_ = x.answer.Body.Close()
}

func (x *stream) read() {
	defer close(x.events)
	var e liveEvent
	lines := bufio.NewScanner(x.answer.Body)
	for lines.Scan() {
		name, value, _ := strings.Cut(lines.Text(), ": ")
		switch name {
		case "id":
			e.id = value
		case "event":
			e.kind = value
		case "data":
			_ = json.Unmarshal([]byte(value), &e.data)
		case "":
			x.events <- e
			e = liveEvent{id: e.id}
		}
	}
}

// next is the next event but for pings; ok is false when the stream has ended.
func (x *stream) next() (e liveEvent, ok bool) {
	x.t.Helper()
	for {
		select {
		case e, ok := <-x.events:
			if ok && e.id != "" {
				x.last = e.id
			}
			if !ok || e.kind != "" && e.kind != "ping" {
				return e, ok
			}
		case <-time.After(20 * time.Second):
			require.FailNow(x.t, "nothing came for 20 seconds")
		}
	}
}

// until waits for an event about a visit.
func (x *stream) until(visit string) liveEvent {
	x.t.Helper()
	for {
		e, ok := x.next()
		require.True(x.t, ok, "the stream has ended")
		if e.data.VisitID == visit {
			return e
		}
	}
}

func TestAStreamTellsWhatWasBookedAndGoesOnWhereItWasLost(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	n := s.neighbour()
	x, theirs := s.listen(s.http.URL, ""), n.listen(s.http.URL, "")
	require.Equal(t, "text/event-stream; charset=utf-8", x.answer.Header.Get("Content-Type"))
	require.Equal(t, "no-store", x.answer.Header.Get("Cache-Control"))
	client := s.client("Mara")
	v, tag := s.book(client, start.Add(49*time.Hour), s.straightening())
	e := x.until(v.ID)
	require.Equal(t, liveEvent{e.id, "visit", api.LiveBody{Kind: "visit", Dates: []string{"2026-06-10"}, VisitID: v.ID}}, e)

	x.close() // and meanwhile
	tag = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": start.Add(73 * time.Hour), "approved_by": "Ada"}, "If-Match", tag).is(200, nil).header.Get("ETag")
	s.call("POST", "/v1/closures", object{"first_date": "2026-12-24", "last_date": "2026-12-26"}).is(201, nil)
	x = s.listen(s.http.URL, x.last)
	var got []string
	for range 3 {
		e, _ := x.next()
		got = append(got, e.kind+" "+strings.Join(e.data.Dates, ","))
	}
	require.ElementsMatch(t, []string{"visit 2026-06-10", "visit 2026-06-11", "day "}, got)
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	require.Equal(t, []string{"2026-06-11"}, x.until(v.ID).data.Dates)

	own, _ := n.book(n.client("Ines"), start.Add(49*time.Hour), n.straightening())
	for {
		e, ok := theirs.next()
		require.True(t, ok)
		require.NotEqual(t, v.ID, e.data.VisitID, "salons do not mix")
		if e.data.VisitID == own.ID {
			break
		}
	}
}

func TestAStreamIsForThoseWhoMayAndSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.call("GET", "/v1/events?seconds=0", nil, "Authorization", "").refused(401, "unauthorized")
	s.call("GET", "/v1/events?seconds=0", nil, "Last-Event-ID", "yesterday").refused(422, "invalid")
	for _, role := range []store.Role{store.Owner, store.Desk, store.LeadRole, store.AssistantRole} {
		a := s.as(role).call("GET", "/v1/events?seconds=0", nil)
		require.Equal(t, 200, a.status, role)
		require.Contains(t, string(a.body), "\nevent: ping\n")
	}
	a := s.call("GET", "/v1/events?seconds=0", nil, "Last-Event-ID", "7-1-3:3:")
	require.Contains(t, string(a.body), "event: everything\n", "an id of another database")
}

// limited is a server with limits so short that whatever they cut is cut here.
func (s *salon) limited() *httptest.Server {
	h := httptest.NewUnstartedServer(nil)
	h.Config = s.server.HTTPServer()
	h.Config.WriteTimeout, h.Config.ReadTimeout = 200*time.Millisecond, 200*time.Millisecond
	h.Start()
	s.t.Cleanup(h.Close)
	return h
}

func TestAStreamOutlastsTheLimitsOfAnswersAndEndsWithTheServer(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.PingEvery(50 * time.Millisecond)
	h := s.limited()
	x := s.listen(h.URL, "")
	for range 12 {
		select {
		case e, ok := <-x.events:
			require.True(t, ok, "the stream was cut")
			require.NotEmpty(t, e.id+e.kind)
		case <-time.After(10 * time.Second):
			require.FailNow(t, "no ping came")
		}
	}
	v, _ := s.book(s.client("Mara"), start.Add(49*time.Hour), s.straightening())
	x.until(v.ID)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	require.NoError(t, h.Config.Shutdown(ctx), "a server that stops does not wait for listeners")
	for ok := true; ok; {
		_, ok = x.next()
	}
}

func TestARevokedTokenEndsItsStream(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.PingEvery(30 * time.Millisecond)
	var made struct{ ID, Token string }
	s.call("POST", "/v1/tokens", object{"role": "desk", "label": "screen"}).is(201, &made)
	desk := *s
	desk.token = made.Token
	x, other := desk.listen(s.http.URL, ""), s.listen(s.http.URL, "")
	v, _ := s.book(s.client("Mara"), start.Add(49*time.Hour), s.straightening())
	x.until(v.ID)
	s.call("DELETE", "/v1/tokens/"+made.ID, nil).is(204, nil)
	for ok := true; ok; {
		_, ok = x.next()
	}
	require.Equal(t, 401, desk.listen(s.http.URL, x.last).answer.StatusCode)
	v, _ = s.book(s.client("Ines"), start.Add(97*time.Hour), s.straightening())
	other.until(v.ID)
}

// listenPage opens the stream of pages in a browser that is signed in.
func (s *salon) listenPage(url string, d *desk) *stream {
	s.t.Helper()
	ctx, stop := context.WithCancel(s.t.Context())
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url+"/events", nil)
	require.NoError(s.t, err)
	for _, c := range d.http.Jar.Cookies(d.at) {
		r.AddCookie(c)
	}
	a, err := http.DefaultClient.Do(r) //nolint:bodyclose // by close of the stream
	require.NoError(s.t, err)
	require.Equal(s.t, http.StatusOK, a.StatusCode)
	x := &stream{t: s.t, answer: a, events: make(chan liveEvent, 1000), stop: stop}
	s.t.Cleanup(x.close)
	go x.read()
	return x
}

// ended demands that a stream ends although something happens all the time.
func (x *stream) ended(s *salon, within time.Duration) {
	x.t.Helper()
	noise := s.noise()
	defer noise()
	over := time.After(within)
	for {
		select {
		case _, ok := <-x.events:
			if !ok {
				return
			}
		case <-over:
			require.FailNow(x.t, "the stream goes on")
		}
	}
}

// another is another process that serves the same database.
func (s *salon) another() *httptest.Server {
	s.t.Helper()
	st, err := store.Open(s.t.Context(), s.url, 5)
	require.NoError(s.t, err)
	s.t.Cleanup(st.Close)
	server := api.New(st, "http://127.0.0.1", func() time.Time { return *s.clock.Load() })
	server.MountPages()
	h := httptest.NewServer(server.Handler())
	s.t.Cleanup(h.Close)
	return h
}

// noise makes a change every few milliseconds until it is stopped.
func (s *salon) noise() (stop func()) {
	ctx, cancel := context.WithCancel(s.t.Context())
	var done sync.WaitGroup
	day := date.New(2027, time.January, 2)
	done.Go(func() {
		for ctx.Err() == nil {
			_ = s.store.InTx(ctx, s.row.ID, func(t *store.Tx) error {
				c, err := t.AddClosure(ctx, store.Closure{First: day, Last: day, Reason: "noise"})
				if err != nil {
					return err
				}
				return t.DeleteClosure(ctx, c.ID)
			})
			time.Sleep(5 * time.Millisecond)
		}
	})
	return func() { cancel(); done.Wait() }
}

func TestAStreamEndsAtOnceWhenItsTokenDoesHoweverMuchHappens(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	other := s.another()
	for _, url := range []string{s.http.URL, other.URL} { // where the token is revoked, and in another process
		var made struct{ ID, Token string }
		s.call("POST", "/v1/tokens", object{"role": "desk", "label": "screen"}).is(201, &made)
		desk := *s
		desk.token = made.Token
		x := desk.listen(url, "")
		stop := s.noise()
		_, ok := x.next()
		require.True(t, ok)
		s.call("DELETE", "/v1/tokens/"+made.ID, nil).is(204, nil)
		stop()
		x.ended(s, 15*time.Second)
	}
}

func TestAStreamOfAPageEndsWhenWhoReadsItMayNoMore(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.MountPages()
	s.server.PageGroup().POST("/leave", s.server.SignOut, s.server.InSession)
	other := s.another()
	for _, url := range []string{s.http.URL, other.URL} {
		for what, end := range map[string]func(d *desk){
			"signed out": func(d *desk) { d.post("/leave", nil) },
			"ended":      func(*desk) { _, err := s.db().Exec(`DELETE FROM browser_session`); require.NoError(t, err) },
		} {
			d := s.desk(store.Desk)
			x := s.listenPage(url, d)
			end(d)
			t.Log(what)
			x.ended(s, 15*time.Second)
		}
	}
}

func TestOneBrowserHasTwentyStreamsAtMost(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.MountPages()
	s.server.PingEvery(50 * time.Millisecond)
	d := s.desk(store.Desk)
	var list []*stream
	for range 22 {
		list = append(list, s.listenPage(s.http.URL, d))
	}
	elsewhere := s.listenPage(s.http.URL, s.desk(store.Desk))
	for i, x := range append(list, elsewhere) {
		require.Eventually(t, func() bool {
			select {
			case _, ok := <-x.events:
				return ok == (i >= 2)
			default:
				return false
			}
		}, time.Minute, 10*time.Millisecond, "stream %d", i)
	}
}

func TestNothingIsLeftOfStreamsThatHaveEnded(t *testing.T) {
	s := newSalon(t)
	s.call("GET", "/v1/salon", nil)
	http.DefaultClient.CloseIdleConnections()
	leaks := []goleak.Option{goleak.IgnoreCurrent(), goleak.IgnoreAnyFunction("github.com/jackc/pgx/v5/pgxpool.(*Pool).backgroundHealthCheck"),
		goleak.IgnoreAnyFunction("github.com/jackc/pgx/v5/pgxpool.(*Pool).triggerHealthCheck.func1")}
	for range 3 {
		a, b := s.listen(s.http.URL, ""), s.listen(s.http.URL, "")
		v, _ := s.book(s.client("Mara"), start.Add(49*time.Hour), s.straightening())
		a.until(v.ID)
		b.until(v.ID)
		s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", `"v1"`).is(200, nil)
		a.close()
		b.close()
		for range a.events { // until its reader has ended
		}
		for range b.events {
		}
	}
	http.DefaultClient.CloseIdleConnections()
	goleak.VerifyNone(t, leaks...)
}

package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humaecho"
	"github.com/labstack/echo/v4"

	"chairblock/scheduling"
	"chairblock/store"
)

const (
	// pingEvery is how long a stream is silent at most: idle limits of networks are
	// taken to begin at half a minute (judgement).
	pingEvery = 20 * time.Second
	// sendLimit is how long a listener may take to read one event (judgement).
	sendLimit = 10 * time.Second
	// stillLimit is how long it may take to find out whether a stream still may go on
	// (judgement: with pingEvery less than half a minute). One that cannot be found out
	// goes on until it is asked again.
	stillLimit = 5 * time.Second
	// askAgain is how long a busy stream goes on before it is asked whether it still
	// may, beside the asking when somebody's way in has changed: a query for each
	// (judgement).
	askAgain = 2 * time.Second
	// mostStreams is how many streams one token or browser has at most; one more ends
	// the oldest (judgement: a tab each, of a busy desk).
	mostStreams = 20
	// mostDates is how many dates are listed of a change; one that is about more is
	// about any day (judgement: a month).
	mostDates = 31
)

// LiveBody is the data of one event. It says where to look, not what is there.
type LiveBody struct {
	Kind    string   `json:"kind" enum:"visit,day,message,waiting,call,everything" doc:"visit: a visit, or time that is pencilled or kept; day: hours, absences, people, stations, names; message: one that failed or is settled, or a client's answer; waiting: the waiting list; call: clients to call; everything: what has changed cannot be told any more, read all of it anew"`
	Dates   []string `json:"dates" nullable:"false" format:"date" doc:"Days of the salon that it is about; none: any day"`
	VisitID string   `json:"visit_id,omitempty"`
}

type watchInput struct {
	After   string `header:"Last-Event-ID" maxLength:"8192" doc:"The id of the last event that came; left out: only what changes from now on"`
	Seconds int    `query:"seconds" minimum:"0" maximum:"86400" default:"86400" doc:"How long to listen at most; 0 gives what was missed and ends"`
}

// watchForm describes the stream for readers of the description.
const watchForm = `Server-sent events. Each has an id, an event (the kind) and data: a LiveBody as JSON on one line. ` +
	`Give the id of the last one that came back as Last-Event-ID: no change that was committed since is left out, and none comes twice. ` +
	`An event "ping" comes at least every 20 seconds; its id counts as any other. A listener that does not read is cut off and may come back. ` +
	`The stream ends when the token does, and the oldest of more than 20 that one token has.`

func (s *Server) liveRoutes() {
	data := s.api.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[LiveBody](), true, "")
	route(s, huma.Operation{OperationID: "watch-salon", Method: http.MethodGet, Path: "/events",
		Summary: "What changes in the salon, as it happens", Description: watchForm,
		Responses: map[string]*huma.Response{"200": {Description: "A stream of events", Content: map[string]*huma.MediaType{
			"text/event-stream": {Schema: &huma.Schema{Type: huma.TypeString, Description: "Data of each event but ping: " + data.Ref,
				Examples: []any{"id: 16402-1781164800-731:731:\nevent: visit\ndata: {\"kind\":\"visit\",\"dates\":[\"2026-06-11\"],\"visit_id\":\"0199…\"}\n\n"}}}}}}},
		s.watchSalon)
}

func (s *Server) watchSalon(ctx context.Context, in *watchInput) (*huma.StreamResponse, error) {
	if ctx.Value(withinKey{}) != nil {
		return nil, conflict("a stream cannot be read inside the process")
	}
	w, loc, err := s.watch(ctx, in.After)
	if err != nil {
		return nil, err
	}
	until := time.Now().Add(time.Duration(in.Seconds) * time.Second)
	return &huma.StreamResponse{Body: func(h huma.Context) {
		defer w.Close()
		c := humaecho.Unwrap(h)
		l := &listener{s: s, w: w, loc: loc, until: until, whose: principal(ctx).TokenID, still: func(ctx context.Context) error { return s.bearerStill(ctx, c.Request()) }}
		_ = l.send(c) // the client hung up, is too slow, or may listen no more: it is told by the end
	}}, nil
}

// watch begins to listen for the caller's salon.
func (s *Server) watch(ctx context.Context, after string) (*store.Watch, *time.Location, error) {
	var loc *time.Location
	err := s.read(ctx, func(t *store.Tx) (err error) { loc, err = zone(ctx, t); return err })
	if err != nil {
		return nil, nil, err
	}
	w, err := s.store.Watch(ctx, principal(ctx).Salon, after)
	return w, loc, err
}

// bearerStill is scheduling.ErrNotFound when the token of a request counts no more.
func (s *Server) bearerStill(ctx context.Context, r *http.Request) error {
	_, token, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	_, err := s.store.Principal(ctx, strings.TrimSpace(token))
	return err
}

// listener sends a salon's changes to one client.
type listener struct {
	s     *Server
	w     *store.Watch
	loc   *time.Location
	until time.Time                   // zero: no end
	still func(context.Context) error // scheduling.ErrNotFound: the client may listen no more
	whose string                      // by which streams are counted

	asked, spoke time.Time // when it was asked last whether it may, and when it sent last

	out  http.ResponseWriter
	ctrl *http.ResponseController
}

// send sends until something ends it.
func (l *listener) send(c echo.Context) error {
	l.out, l.ctrl = c.Response(), http.NewResponseController(c.Response().Writer)
	_ = l.ctrl.SetReadDeadline(time.Time{}) // a connection without one has no limit to take away
	h := l.out.Header()
	h.Set("Content-Type", "text/event-stream; charset=utf-8")
	h.Set("X-Accel-Buffering", "no")
	c.Response().WriteHeader(http.StatusOK)
	begin := "retry: 2000\n\n"
	if id, ok := l.w.Seen(); ok {
		begin = "retry: 2000\nid: " + id + "\n\n"
	}
	if err := l.write([]byte(begin)); err != nil {
		return err
	}
	ctx, stop := lasting(c.Request().Context())
	defer stop()
	defer context.AfterFunc(l.s.streams, stop)()
	defer l.s.listening.add(l.whose, stop)()
	l.asked = time.Now()
	for {
		if err := l.round(ctx); err != nil {
			return err
		}
	}
}

// connectedKey is for the context of a request for a stream as it was before it got a
// deadline: it ends when the client hangs up.
type connectedKey struct{}

// lasting is the context of a request for a stream without the deadline, until the
// client hangs up or stop is called.
func lasting(ctx context.Context) (long context.Context, stop func()) {
	long, end := context.WithCancel(context.WithoutCancel(ctx))
	connected, ok := ctx.Value(connectedKey{}).(context.Context)
	if !ok {
		connected = ctx
	}
	forget := context.AfterFunc(connected, end)
	return long, func() { forget(); end() }
}

// errOver means that a stream has lasted as long as it was asked for.
var errOver = errors.New("the stream is over")

// round waits for changes and sends them, or says that there are none.
func (l *listener) round(ctx context.Context) error {
	wait := max(0, l.s.pingEvery-time.Since(l.spoke))
	if !l.until.IsZero() {
		wait = max(0, min(wait, time.Until(l.until)))
	}
	short, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	list, err := l.w.Next(short)
	switch {
	case err == nil:
		return l.pass(ctx, list)
	case ctx.Err() != nil || !errors.Is(err, context.DeadlineExceeded):
		return err
	}
	if err := l.mayListen(ctx); err != nil {
		return err
	}
	if err := l.ping(); err != nil {
		return err
	}
	if !l.until.IsZero() && !time.Now().Before(l.until) {
		return errOver
	}
	return nil
}

// pass sends changes to whoever may still listen. That somebody's way in has changed
// is not told.
func (l *listener) pass(ctx context.Context, list []store.Change) error {
	was := len(list)
	list = slices.DeleteFunc(list, func(c store.Change) bool { return c.Kind == store.ChangeAccess })
	if len(list) < was || slices.ContainsFunc(list, func(c store.Change) bool { return c.Kind == store.ChangeEverything }) || time.Since(l.asked) >= l.s.askAgain {
		if err := l.mayListen(ctx); err != nil {
			return err
		}
	}
	if len(list) == 0 {
		return nil
	}
	return l.tell(list)
}

// mayListen returns scheduling.ErrNotFound when the client may listen no more. It does
// not wait for a database that does not answer, beyond stillLimit: what it asks holds
// one of the connections that everybody shares.
func (l *listener) mayListen(ctx context.Context) error {
	l.asked = time.Now()
	ctx, cancel := context.WithTimeout(ctx, stillLimit)
	defer cancel()
	if err := l.still(ctx); errors.Is(err, scheduling.ErrNotFound) {
		return err
	}
	return nil
}

// openStreams are the streams of this process. The zero value is ready.
type openStreams struct {
	mu sync.Mutex
	by map[string][]*func() // whose: what ends each, the oldest first
}

// Listening is how many streams are open in this process.
func (s *Server) Listening() (n int) {
	s.listening.mu.Lock()
	defer s.listening.mu.Unlock()
	for _, list := range s.listening.by {
		n += len(list)
	}
	return n
}

// add notes a stream and ends the oldest of the same client when there are too many.
// What it returns takes the stream off again.
func (o *openStreams) add(whose string, end func()) (gone func()) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.by == nil {
		o.by = map[string][]*func(){}
	}
	list := append(o.by[whose], &end)
	if len(list) > mostStreams {
		(*list[0])()
		list = slices.Clone(list[1:])
	}
	o.by[whose] = list
	return func() {
		o.mu.Lock()
		defer o.mu.Unlock()
		if o.by[whose] = slices.DeleteFunc(o.by[whose], func(f *func()) bool { return f == &end }); len(o.by[whose]) == 0 {
			delete(o.by, whose)
		}
	}
}

func (l *listener) tell(list []store.Change) error {
	var b []byte
	for _, c := range list {
		data, err := json.Marshal(l.body(c))
		if err != nil {
			return fmt.Errorf("api: event: %w", err)
		}
		b = append(b, "id: "+c.After+"\nevent: "+string(c.Kind)+"\ndata: "...)
		b = append(append(b, data...), "\n\n"...)
	}
	return l.write(b)
}

func (l *listener) ping() error {
	b := "event: ping\ndata: " + strconv.Quote(l.s.now().In(l.loc).Format(time.RFC3339)) + "\n\n"
	if id, ok := l.w.Seen(); ok {
		b = "id: " + id + "\n" + b
	}
	return l.write([]byte(b))
}

// write sends b at once. The server's own limit, which is for whole answers, is
// moved along.
func (l *listener) write(b []byte) error {
	if err := l.ctrl.SetWriteDeadline(time.Now().Add(sendLimit)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	l.spoke = time.Now()
	if _, err := l.out.Write(b); err != nil {
		return err
	}
	return l.ctrl.Flush()
}

func (l *listener) body(c store.Change) LiveBody {
	b := LiveBody{Kind: string(c.Kind), Dates: []string{}, VisitID: c.Visit}
	if c.From == nil || c.To == nil {
		return b
	}
	// Who leaves at midnight was not there on the day that begins.
	first, last := scheduling.CivilDate(*c.From, l.loc), scheduling.CivilDate(c.To.Add(-time.Microsecond), l.loc)
	if last.Sub(first) < mostDates {
		for d := first; !d.After(last); d = d.Add(1) {
			b.Dates = append(b.Dates, d.String())
		}
	}
	return b
}

// streaming reports whether a request is for a stream, which lasts.
func streaming(r *http.Request) bool { return r.URL.Path == "/events" || r.URL.Path == "/v1/events" }

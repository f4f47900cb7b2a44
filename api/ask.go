package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/scheduling"
	"chairblock/store"
)

// Question is one request of the interface, made inside the process.
type Question struct {
	Method string // of HTTP; "" is GET
	Path   string // below /v1, such as "/visits/0199…"
	Query  url.Values
	Body   any // is sent as JSON; nil for none
	// IfMatch is the ETag that a change is made against, Key what makes a repeated
	// POST have one effect.
	IfMatch, Key string
}

// Reply is the answer to a Question that succeeded.
type Reply struct {
	Status   int
	ETag     string
	Location string
	Link     string // of RFC 8288, with the following page of a list
	Body     []byte
}

// Ask carries out one operation of the interface for whoever ctx says is signed
// in, without a connection: pages go through the same checks of role, input,
// version and repetition as everybody else. What the interface refuses is
// returned as a *Problem, with a pointer to each field. A ctx of nobody is
// refused with 401.
//
// A question with a key that is being answered already, such as a button that was
// pressed twice, waits for that answer for some seconds.
func (s *Server) Ask(ctx context.Context, q Question) (a Reply, err error) {
	if onlyAgain(ctx) && (q.Key == "" || q.Method != http.MethodPost) {
		return a, fmt.Errorf("api: ask %s: no answer is kept: %w", q.Path, scheduling.ErrNotFound)
	}
	_ = secondPress(ctx, func() error {
		a, err = s.askOnce(ctx, q)
		if p, ok := errors.AsType[*Problem](err); ok && q.Key != "" && p.Type == "/problems/running" {
			return store.ErrRunning
		}
		return nil
	})
	return a, err
}

func (s *Server) askOnce(ctx context.Context, q Question) (Reply, error) {
	r, err := q.request(ctx)
	if err != nil {
		return Reply{}, err
	}
	w := &answerBuffer{header: http.Header{}, status: http.StatusOK}
	s.echo.ServeHTTP(w, r)
	if w.status >= http.StatusBadRequest {
		p := &Problem{Status: w.status}
		if err := json.Unmarshal(w.body.Bytes(), p); err != nil {
			return Reply{}, fmt.Errorf("api: ask %s: status %d without a problem: %w", q.Path, w.status, err)
		}
		return Reply{}, p
	}
	return Reply{Status: w.status, ETag: w.header.Get("ETag"), Location: w.header.Get("Location"), Link: w.header.Get("Link"),
		Body: w.body.Bytes()}, nil
}

// Into asks q and reads the answer into out, a pointer; nil drops it.
func (s *Server) Into(ctx context.Context, q Question, out any) (Reply, error) {
	a, err := s.Ask(ctx, q)
	if err != nil || out == nil || len(a.Body) == 0 {
		return a, err
	}
	if err := json.Unmarshal(a.Body, out); err != nil {
		return a, fmt.Errorf("api: ask %s: the answer: %w", q.Path, err)
	}
	return a, nil
}

func (q Question) request(ctx context.Context) (*http.Request, error) {
	var body bytes.Buffer
	if q.Body != nil {
		if err := json.NewEncoder(&body).Encode(q.Body); err != nil {
			return nil, fmt.Errorf("api: ask %s: the body: %w", q.Path, err)
		}
	}
	method := q.Method
	if method == "" {
		method = http.MethodGet
	}
	target := "/v1" + q.Path
	if len(q.Query) > 0 {
		target += "?" + q.Query.Encode()
	}
	// The deadline of the page's own request goes on to count.
	r, err := http.NewRequestWithContext(withinProcess(ctx), method, target, &body)
	if err != nil {
		return nil, fmt.Errorf("api: ask %s: %w", q.Path, err)
	}
	r.RequestURI = target
	r.RemoteAddr = "inside"
	if q.Body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if q.IfMatch != "" {
		r.Header.Set("If-Match", q.IfMatch)
	}
	if q.Key != "" {
		r.Header.Set("Idempotency-Key", q.Key)
	}
	return r, nil
}

// Signed says who is signed in, the zero Principal for nobody.
func Signed(ctx context.Context) store.Principal { return principal(ctx) }

// May reports whether whoever is signed in may do an operation, by its id.
func May(ctx context.Context, operation string) bool { return mayDo(ctx, operation) == "" }

type onlyAgainKey struct{}

// OnlyAgain lets questions that have a key of Ask's be answered as they were before,
// for a button that is pressed twice: what was not carried out yet is refused with
// scheduling.ErrNotFound, and so is what has no key. It is for operations that keep
// their answers.
func OnlyAgain(ctx context.Context) context.Context {
	return context.WithValue(ctx, onlyAgainKey{}, true)
}

func onlyAgain(ctx context.Context) bool { return ctx.Value(onlyAgainKey{}) != nil }

type withinKey struct{}

// withinProcess marks a request that Ask makes. No request from a connection can
// carry the mark: it is a value of the context, not of a header.
func withinProcess(ctx context.Context) context.Context {
	return context.WithValue(ctx, withinKey{}, true)
}

// fromAsk reports whether c is a request of Ask for somebody who is signed in.
func fromAsk(c echo.Context) bool {
	ctx := c.Request().Context()
	return ctx.Value(withinKey{}) != nil && principal(ctx).Salon != ""
}

// answerBuffer keeps an answer in memory.
type answerBuffer struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (w *answerBuffer) Header() http.Header         { return w.header }
func (w *answerBuffer) WriteHeader(status int)      { w.status = status }
func (w *answerBuffer) Write(b []byte) (int, error) { return w.body.Write(b) }

// Path joins elements into a path below /v1, each escaped.
func Path(elements ...string) string {
	var b strings.Builder
	for _, e := range elements {
		b.WriteByte('/')
		b.WriteString(url.PathEscape(e))
	}
	return b.String()
}

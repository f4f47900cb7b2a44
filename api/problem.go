package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// Problem is a problem document of RFC 9457.
type Problem struct {
	Type         string         `json:"type" doc:"Stable reference that names the kind of problem" example:"/problems/taken"`
	Title        string         `json:"title" doc:"The kind of problem in words"`
	Status       int            `json:"status" doc:"HTTP status"`
	Detail       string         `json:"detail,omitempty" doc:"What happened this time, for the person at the desk"`
	Errors       []FieldProblem `json:"errors,omitempty" doc:"Every faulty field"`
	Cautions     []CautionBody  `json:"cautions,omitempty" doc:"Cautions that stand in the way"`
	FirstAllowed *time.Time     `json:"first_allowed,omitempty" doc:"The first start at which services of this client are far enough apart"`
	StillNeeded  []NeedBody     `json:"still_needed,omitempty" doc:"What is missing before the visit can begin"`
	Alternatives []OpeningBody  `json:"alternatives,omitempty" doc:"The next openings for the same visit"`

	retryAfter int  // seconds, 0 for no header
	replayed   bool // the answer to a request that was made before
	faults     int  // how many there are, of which Errors holds the first
}

// FieldProblem says where a request is wrong and what would be right.
type FieldProblem struct {
	In       string `json:"in" doc:"body, query, path or header"`
	Pointer  string `json:"pointer" doc:"JSON pointer into the body, or the parameter's name" example:"/services/0/lead_id"`
	Detail   string `json:"detail" doc:"What is wrong" example:"is 7"`
	Expected string `json:"expected,omitempty" doc:"What would be right" example:"8 to 120 cm"`
}

// GetStatus makes Problem an error that huma can answer with.
func (p *Problem) GetStatus() int { return p.Status }

// Error is the detail, or the title without one.
func (p *Problem) Error() string {
	if p.Detail != "" {
		return p.Detail
	}
	return p.Title
}

// ContentType answers with the media type of RFC 9457.
func (p *Problem) ContentType(string) string { return "application/problem+json" }

// GetHeaders adds Retry-After where waiting helps, and says when the answer is
// one given before.
func (p *Problem) GetHeaders() http.Header {
	h := http.Header{}
	if p.retryAfter > 0 {
		h.Set("Retry-After", fmt.Sprint(p.retryAfter))
	}
	if p.replayed {
		h.Set("Idempotent-Replayed", "true")
	}
	return h
}

// AsProblem is what the interface would answer for err.
func AsProblem(ctx context.Context, err error) *Problem { return problem(ctx, err) }

// writeProblem answers a request of the interface with p.
func writeProblem(ctx huma.Context, p *Problem) error {
	ctx.SetHeader("Content-Type", p.ContentType(""))
	ctx.SetStatus(p.Status)
	return json.NewEncoder(ctx.BodyWriter()).Encode(p)
}

// titles are the kinds of problems; GET /problems/{kind} answers with the text.
var titles = map[string]string{
	"invalid":            "The request holds values that cannot be right",
	"unreadable":         "The request cannot be read",
	"unauthorized":       "A valid bearer token is needed",
	"forbidden":          "The token's role may not do this",
	"read-only":          "This screen is read only",
	"password-needed":    "Your password is needed once more",
	"too-many-tries":     "Too many wrong tries",
	"too-many-requests":  "Too many requests",
	"code-needed":        "The code of the second step is needed",
	"second-step-needed": "A second step has to be set up first",
	"not-found":          "There is no such thing in this salon",
	"method":             "The address does not know this method",
	"taken":              "The time is not free any more",
	"conflict":           "The request does not fit the present state",
	"asks":               "A decision is needed first",
	"not-ready":          "Something is missing before the visit can begin",
	"refused":            "A rule of safety or of the salon forbids this",
	"stale":              "Somebody else changed it in the meantime",
	"if-match":           "An If-Match header with the ETag last read is needed",
	"idempotency-key":    "An Idempotency-Key header is needed",
	"key-reused":         "The Idempotency-Key was used for another request",
	"running":            "The same request is still being answered",
	"too-large":          "The request is too large",
	"media-type":         "The body is of a kind that is not taken here",
	"unavailable":        "The service cannot answer now",
	"health-key":         "The key for what is said about health is missing",
	"damaged":            "What is kept was changed outside the program",
	"internal":           "Something went wrong on our side",
	"error":              "The request failed",
}

func problemType(kind string) string { return "/problems/" + kind }

func newProblem(status int, kind, detail string) *Problem {
	return &Problem{Type: problemType(kind), Title: titles[kind], Status: status, Detail: detail}
}

// problem turns an error of the core or the store into what is answered. It
// is the only place that knows which error has which status. What it does not
// know is logged and answered without detail.
func problem(ctx context.Context, err error) *Problem {
	if p, ok := errors.AsType[*Problem](err); ok {
		return p
	}
	if f, ok := errors.AsType[scheduling.Faults](err); ok {
		p := newProblem(http.StatusUnprocessableEntity, "invalid", "")
		for _, e := range f {
			p.add(fieldProblem(e))
		}
		return p.told()
	}
	if e, ok := errors.AsType[*scheduling.InvalidError](err); ok {
		p := newProblem(http.StatusUnprocessableEntity, "invalid", "")
		p.add(fieldProblem(e))
		return p.told()
	}
	if e, ok := errors.AsType[*scheduling.ConflictError](err); ok {
		p := newProblem(http.StatusConflict, "taken", e.Reason)
		_, p.replayed = errors.AsType[*repeatedError](err)
		return p
	}
	if e, ok := errors.AsType[*store.ClearingError](err); ok {
		return newProblem(http.StatusConflict, "conflict", e.Error())
	}
	if e, ok := errors.AsType[*store.UnknownKeyError](err); ok {
		return newProblem(http.StatusServiceUnavailable, "health-key", e.Error())
	}
	for _, k := range known {
		if errors.Is(err, k.err) {
			if k.status == http.StatusInternalServerError {
				slog.ErrorContext(ctx, "request failed", "err", err)
			}
			p := newProblem(k.status, k.kind, k.detail)
			p.retryAfter = k.retry
			return p
		}
	}
	if errors.Is(err, context.Canceled) {
		return newProblem(http.StatusServiceUnavailable, "unavailable", "the request was given up")
	}
	slog.ErrorContext(ctx, "request failed", "err", err)
	return newProblem(http.StatusInternalServerError, "internal", "")
}

var known = []struct {
	err    error
	status int
	kind   string
	detail string
	retry  int
}{
	{scheduling.ErrNotFound, http.StatusNotFound, "not-found", "", 0},
	{scheduling.ErrStale, http.StatusPreconditionFailed, "stale", "read it again and repeat the change", 0},
	{errUnforeseen, http.StatusConflict, "conflict", unforeseenWords, 0},
	{store.ErrTaken, http.StatusConflict, "taken", store.ErrTaken.Error(), 0},
	{store.ErrRunning, http.StatusConflict, "running", store.ErrRunning.Error(), 1},
	{store.ErrKeyReused, http.StatusUnprocessableEntity, "key-reused", "choose a new key for a new request", 0},
	{store.ErrUnavailable, http.StatusServiceUnavailable, "unavailable", store.ErrUnavailable.Error(), 2},
	{store.ErrNoHealthKey, http.StatusServiceUnavailable, "health-key", "the service was started without a key for what is said about health; everything else works", 0},
	{store.ErrSealBroken, http.StatusInternalServerError, "damaged", store.ErrSealBroken.Error(), 0},
	{context.DeadlineExceeded, http.StatusServiceUnavailable, "unavailable", "it took too long", 2},
}

func fieldProblem(e *scheduling.InvalidError) FieldProblem {
	for _, in := range []string{"query", "path", "header"} {
		if rest, ok := strings.CutPrefix(e.Field, in+"."); ok {
			return FieldProblem{In: in, Pointer: rest, Detail: e.Problem, Expected: e.Want}
		}
	}
	return FieldProblem{In: "body", Pointer: pointer(e.Field), Detail: e.Problem, Expected: e.Want}
}

// Replacers are made once: their tables take longer to make than to use.
var (
	indexesAsParts = strings.NewReplacer("[", ".", "]", "")
	pointerEscapes = strings.NewReplacer("~", "~0", "/", "~1")
)

// pointer turns a dotted path such as services[0].lead_id into a JSON pointer.
func pointer(path string) string {
	if path == "" {
		return ""
	}
	parts := strings.Split(strings.TrimPrefix(indexesAsParts.Replace(path), "."), ".")
	for i, p := range parts {
		parts[i] = pointerEscapes.Replace(p)
	}
	return "/" + strings.Join(parts, "/")
}

// kindOf names the problem of a status that comes from the framework.
func kindOf(status int) string {
	switch status {
	case http.StatusBadRequest:
		return "unreadable"
	case http.StatusUnauthorized:
		return "unauthorized"
	case http.StatusForbidden:
		return "forbidden"
	case http.StatusNotFound:
		return "not-found"
	case http.StatusMethodNotAllowed:
		return "method"
	case http.StatusRequestEntityTooLarge:
		return "too-large"
	case http.StatusUnsupportedMediaType:
		return "media-type"
	case http.StatusUnprocessableEntity:
		return "invalid"
	case http.StatusServiceUnavailable, http.StatusRequestTimeout:
		return "unavailable"
	}
	if status >= http.StatusInternalServerError {
		return "internal"
	}
	return "error"
}

// frameworkError replaces huma's own error document. It copies where and what, and of
// the value that was sent only what frameworkWords allow: it may be about somebody's health.
func frameworkError(status int, msg string, errs ...error) huma.StatusError {
	return frameworkProblem(status, msg, errs)
}

func frameworkProblem(status int, msg string, errs []error) *Problem {
	if status >= http.StatusInternalServerError {
		return newProblem(status, kindOf(status), "")
	}
	p := newProblem(status, kindOf(status), msg)
	own := ownFaults(errs)
	for _, f := range own {
		p.add(f)
	}
	for _, err := range errs {
		if is(err, errOwnFault) {
			continue
		}
		f := FieldProblem{In: "body", Detail: "cannot be read"}
		if d, ok := err.(huma.ErrorDetailer); ok {
			e := d.ErrorDetail()
			f.In, f.Pointer = splitLocation(e.Location)
			f.say(e.Message, e.Value)
		}
		if slices.ContainsFunc(own, func(o FieldProblem) bool { return o.Pointer == f.Pointer }) {
			continue // said in better words
		}
		p.add(f)
	}
	return p.told()
}

// errOwnFault marks faults that our own types found while a request was read.
var errOwnFault = errors.New("fault found by ourselves")

// ownFault is a fault of the core that was found while the request was read.
type ownFault struct{ *scheduling.InvalidError }

// Is makes it known as ours.
func (ownFault) Is(target error) bool { return target == errOwnFault }

func ownFaults(errs []error) []FieldProblem {
	var out []FieldProblem
	for _, err := range errs {
		if f, ok := errors.AsType[ownFault](err); ok {
			out = append(out, fieldProblem(f.InvalidError))
		}
	}
	return out
}

// Limits on how much of a faulty request an answer goes into (judgement).
const (
	mostFaults = 50
	mostBytes  = 300 // of the words about one fault
)

// add notes one fault, cut where it repeats a long value.
func (p *Problem) add(f FieldProblem) {
	if len(f.Detail) > mostBytes {
		f.Detail = strings.ToValidUTF8(f.Detail[:mostBytes], "") + "…"
	}
	if p.faults++; p.faults <= mostFaults {
		p.Errors = append(p.Errors, f)
	}
}

// told puts what is wrong into the detail.
func (p *Problem) told() *Problem {
	said := make([]string, 0, len(p.Errors)+1)
	for _, f := range p.Errors {
		said = append(said, f.words())
	}
	if more := p.faults - len(p.Errors); more > 0 {
		said = append(said, fmt.Sprintf("and %d more", more))
	}
	if len(said) > 0 {
		p.Detail = strings.Join(said, "; ")
	}
	return p
}

// words is the problem in a line, in the manner of scheduling.InvalidError.
func (f FieldProblem) words() string {
	e := scheduling.InvalidError{Field: strings.TrimPrefix(f.Pointer, "/"), Problem: f.Detail, Want: f.Expected}
	if e.Field == "" {
		e.Field = "the " + f.In
	}
	return e.Error()
}

func splitLocation(loc string) (in, at string) {
	in, rest, _ := strings.Cut(loc, ".")
	switch in {
	case "query", "path", "header":
		return in, rest
	case "body":
		return in, pointer(rest)
	}
	return "body", pointer(loc)
}

// routed is problem for what the router and pages may refuse, too (404, 405 and the
// like). What a page says to whoever pressed is the detail.
func routed(ctx context.Context, err error) *Problem {
	e, is := errors.AsType[*echo.HTTPError](err)
	if _, ok := errors.AsType[*Problem](err); ok || !is {
		return problem(ctx, err)
	}
	p := newProblem(e.Code, kindOf(e.Code), "")
	if e.Code == http.StatusNotFound && e == echo.ErrNotFound {
		p.Type = problemType("no-page")
	}
	if text, ok := e.Message.(string); ok && text != http.StatusText(e.Code) {
		p.Detail = text
	}
	return p
}

// answerFailed answers what no handler has answered: a person gets a page, a program a
// problem.
func (s *Server) answerFailed(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	if !wantsPage(c.Request()) {
		echoError(err, c)
		return
	}
	ctx := c.Request().Context()
	p := routed(ctx, err)
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), whoLimit) // that of the request is over
	defer cancel()
	c.SetRequest(c.Request().WithContext(ctx))
	if session(ctx).Role == "" && p.Status < http.StatusInternalServerError && !ofClient(c.Request().URL.Path) {
		if who, err := s.whoUses(c); err == nil {
			c.SetRequest(c.Request().WithContext(withSession(ctx, who)))
		}
	}
	if h := c.Response().Header(); h.Get("Content-Security-Policy") == "" {
		h.Set("Content-Security-Policy", pages.ContentSecurityPolicy)
		h.Set("X-Robots-Tag", "noindex")
	}
	if err := sorry(c, p); err != nil {
		slog.WarnContext(ctx, "answer not written", "err", err)
	}
}

// whoLimit is how long a page of an error looks for whoever is lost (judgement: it has
// something to say without her name).
const whoLimit = 2 * time.Second

// wantsPage reports whether a request comes from a browser that shows its answer to a
// person.
func wantsPage(r *http.Request) bool {
	for _, below := range []string{"/v1/", "/problems/", "/healthz", "/readyz"} {
		if strings.HasPrefix(r.URL.Path, below) {
			return false
		}
	}
	return strings.Contains(r.Header.Get("Accept"), "text/html") && !scripted(r)
}

// echoError answers with a problem.
func echoError(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	ctx := c.Request().Context()
	p := routed(ctx, err)
	if p.Type == problemType("no-page") {
		p.Type = problemType("not-found")
	}
	for k, v := range p.GetHeaders() {
		c.Response().Header()[k] = v
	}
	if p.Status == http.StatusUnauthorized {
		c.Response().Header().Set("WWW-Authenticate", `Bearer realm="chairblock"`)
	}
	c.Response().Header().Set(echo.HeaderContentType, p.ContentType(""))
	c.Response().WriteHeader(p.Status)
	if c.Request().Method != http.MethodHead {
		if err := c.Echo().JSONSerializer.Serialize(c, p, ""); err != nil {
			slog.WarnContext(ctx, "answer not written", "err", err)
		}
	}
}

// Package api is everything that crosses the border of the process: the REST
// interface, calendar feeds, pages and messages. It turns requests into values
// of the core, calls the store once, and turns the outcome into an answer.
package api

import (
	"context"
	"log/slog"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humaecho"
	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"chairblock/api/metrics"
	"chairblock/api/outbound"
	"chairblock/api/pages"
	"chairblock/api/passwords"
	"chairblock/scheduling/delays"
	"chairblock/store"
)

// Limits on what a client may send and how long it may take (judgement).
const (
	maxBody      = 256 << 10        // bytes; calendar files have a limit of their own
	maxHeader    = 16 << 10         // bytes of all headers
	handlerLimit = 10 * time.Second // for an answer; of a stream of events, until it begins
	// roomLimit is how long a request waits for the database to have a connection free:
	// somebody at a desk presses again after about as long (judgement).
	roomLimit = 2 * time.Second
)

// Server answers requests. Make one with New.
type Server struct {
	store *store.Store
	now   func() time.Time
	base  string // scheme and host for links that are given out, without a slash at the end
	echo  *echo.Echo
	api   huma.API
	// languages are those that salons have sent, misses requests for links that do
	// nothing.
	languages languageCache
	misses    tally
	ownActs   tally // what was done on clients' own pages
	// doubtfulTurns are held by requests of addresses that have named too many of them.
	doubtfulTurns chan struct{}
	// sessions are browsers that are signed in, doors the pages at which people get in,
	// tries how often they were wrong, seal what closes that which browsers keep.
	sessions *scs.SessionManager
	doors    Doors
	hasher   *passwords.Hasher
	tries    tally
	budgets  budgets
	seal     *browserSeal
	// project works out how a day goes on.
	project func(delays.Day) (delays.DayProjection, error)
	// paces and uses are what is kept for reports.
	paces keptPaces
	uses  keptUses
	days  standing[dayAnswer]
	views standing[*dayRead]
	// drawings are of boards, by all that they show.
	drawings lastAsked[string, []byte]
	// outbound is nil while the service may reach nobody outside.
	outbound *outbound.Client
	// streams ends when endStreams is called, and with it all streams of events;
	// pingEvery is how long they are silent, askAgain how long one goes on before it is
	// asked whether it still may. listening are those that are open.
	streams    context.Context
	endStreams func()
	pingEvery  time.Duration
	askAgain   time.Duration
	listening  openStreams
	metrics    *metrics.Metrics
	erased     func([]store.Erased) error // nil: nobody keeps a list outside the database
}

// Reach gives the server the way to addresses that salons name: of gateways for
// text messages and of private calendars. Call it before the server is used.
func (s *Server) Reach(c *outbound.Client) { s.outbound = c }

// New makes a server over st. base is the address under which clients reach it
// (for example https://salon.example) and stands in the links it gives out; now
// is the clock.
func New(st *store.Store, base string, now func() time.Time) *Server {
	s := &Server{store: st, now: now, base: base, echo: echo.New(), misses: tally{within: missesWithin}, ownActs: tally{within: time.Hour},
		tries: tally{within: triesWithin}, doubtfulTurns: make(chan struct{}, doubtfulAtOnce)}
	s.days.most, s.views.most = keptDayBytes, keptViewBytes
	s.hasher = passwords.New(passwords.Memory, passwords.Passes)
	s.sessions = s.newSessions()
	s.project = delays.Day.Project
	s.seal = &browserSeal{load: st.BrowserKey}
	s.streams, s.endStreams = context.WithCancel(context.Background())
	s.pingEvery, s.askAgain = pingEvery, askAgain
	s.echo.HideBanner, s.echo.HidePort = true, true
	s.echo.HTTPErrorHandler = s.answerFailed
	// The address of the peer counts; forwarded headers are anybody's words.
	s.echo.IPExtractor = echo.ExtractIPDirect()
	s.count()
	s.echo.Use(s.counted, recovery(), s.securityHeaders, limitTime, s.room, below(s.slowGuessing), below(s.bearer), below(readURL), below(readBody))
	s.echo.GET("/healthz", func(c echo.Context) error { return c.JSON(http.StatusOK, s.health()) })
	s.echo.GET("/readyz", s.ready)
	s.echo.GET("/problems/:kind", problemPage)
	s.echo.Any("/cal/:file", s.feed, s.countFeed, limitForm, s.slowGuessing)
	s.mountMessageLinks()
	s.mountOwn()
	s.echo.GET("/robots.txt", func(c echo.Context) error {
		return c.String(http.StatusOK, "User-agent: *\nAllow: /cal/\nDisallow: /\n")
	})
	s.register()
	s.serveSpec()
	return s
}

// schemas say what types of input and output look like, the same for all servers of
// the process: the first makes them and the others, of which tests have hundreds, find
// them. Nothing is added to them after that, so that answering needs no lock.
var schemas = struct {
	sync.Mutex
	known huma.Registry
}{known: huma.NewMapRegistry("#/components/schemas/", huma.DefaultSchemaNamer)}

// register enters the operations of the interface.
func (s *Server) register() {
	schemas.Lock()
	defer schemas.Unlock()
	s.api = humaecho.NewWithGroup(s.echo, s.echo.Group("/v1"), humaConfig())
	s.routes()
}

// setFramework sets what the framework keeps for all servers of the process: once,
// because another server may be answering already.
var setFramework = sync.OnceFunc(func() {
	huma.NewError, huma.NewErrorWithContext = frameworkError, requestError
	huma.DefaultArrayNullable = false
	huma.ValidateStrictCasing = true // "Name" beside "name" would count as one name
})

func humaConfig() huma.Config {
	setFramework()
	c := huma.DefaultConfig("chairblock", "1")
	c.CreateHooks = nil
	c.RejectUnknownQueryParameters = true
	c.DocsPath, c.OpenAPIPath, c.SchemasPath = "", "", ""
	c.Info.Description = "Chair time, openings and bookings of one salon. Times are RFC 3339 with offset, " +
		"lengths of time are minutes, lengths of hair are centimetres, or inches where a name ends in _in. The salon comes from the token."
	c.Servers = []*huma.Server{{URL: "/v1"}}
	c.Components.Schemas = schemas.known
	c.Components.SecuritySchemes = map[string]*huma.SecurityScheme{
		"bearer": {Type: "http", Scheme: "bearer", Description: "A token of one role: owner, desk, lead or assistant"},
	}
	c.Security = []map[string][]string{{"bearer": {}}}
	return c
}

// Handler is the whole service as one handler.
func (s *Server) Handler() http.Handler { return s.echo }

// HTTPServer wraps the handler in a server with limits that cut slow clients: 5 s for
// headers, 15 s for a request, 30 s for its answer, 60 s between two requests. Judgement;
// requests and answers have more than the 10 s of a handler.
func (s *Server) HTTPServer() *http.Server {
	srv := &http.Server{
		Handler:           s.echo,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       15 * time.Second,
		WriteTimeout:      30 * time.Second,
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    maxHeader,
	}
	srv.RegisterOnShutdown(s.endStreams)
	return srv
}

// hasBeenRead lets the framework set no time for reading bodies, which readBody has
// read. A limit of the connection that passes while the answer is worked out would
// count as a client that hung up.
const hasBeenRead time.Duration = -1

// route registers one operation: it checks the caller's role before anything
// of the request is read, and turns errors into problems. Handlers know no
// status codes.
func route[I, O any](s *Server, op huma.Operation, h func(context.Context, *I) (*O, error)) {
	if len(allowed[op.OperationID]) == 0 {
		panic("operation without roles: " + op.OperationID)
	}
	if op.MaxBodyBytes == 0 {
		op.MaxBodyBytes = maxBody + 1 // huma counts the limit itself as too large
	}
	if op.BodyReadTimeout == 0 {
		op.BodyReadTimeout = hasBeenRead
	}
	op.Errors = append(op.Errors, statuses(reflect.TypeFor[I]())...)
	op.Middlewares = append(op.Middlewares, func(ctx huma.Context, next func(huma.Context)) {
		if principal(ctx.Context()).ReadOnly && !reads(op.Method) {
			_ = writeProblem(ctx, newProblem(http.StatusForbidden, "read-only", readOnlyWords)) // the client hung up
			return
		}
		if principal(ctx.Context()).NeedsFactor && !slices.Contains(withoutFactor, op.OperationID) {
			_ = writeProblem(ctx, newProblem(http.StatusForbidden, "second-step-needed", factorWords)) // the client hung up
			return
		}
		if s.unproven(ctx.Context(), op.OperationID, "") {
			_ = writeProblem(ctx, newProblem(http.StatusForbidden, "password-needed", proveWords)) // the client hung up
			return
		}
		acting, refusal := actFor(ctx.Context(), op.OperationID)
		if refusal != "" {
			s.accessNoted(ctx.Context(), slog.LevelInfo, "operation refused", "operation", op.OperationID, "role", principal(ctx.Context()).Role)
			_ = huma.WriteErr(s.api, ctx, http.StatusForbidden, refusal) // the client hung up
			return
		}
		next(holding(huma.WithContext(ctx, acting)))
	})
	huma.Register(s.api, op, func(ctx context.Context, in *I) (*O, error) {
		out, err := h(ctx, in)
		if err != nil {
			return nil, problem(ctx, err)
		}
		return out, nil
	})
}

// statuses lists what an operation can answer beside success, by what its
// input holds.
func statuses(input reflect.Type) []int {
	out := []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusTooManyRequests, http.StatusUnprocessableEntity, http.StatusServiceUnavailable}
	for field, codes := range map[string][]int{
		"ID":      {http.StatusNotFound},
		"IfMatch": {http.StatusConflict, http.StatusPreconditionFailed, http.StatusPreconditionRequired},
		"Key":     {http.StatusConflict},
		"Body":    {http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType},
		"RawBody": {http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType},
	} {
		if _, ok := input.FieldByName(field); ok {
			out = append(out, codes...)
		}
	}
	return out
}

// inTx runs f in a transaction of the caller's salon.
func (s *Server) inTx(ctx context.Context, f func(*store.Tx) error) error {
	return s.store.InTx(ctx, principal(ctx).Salon, f)
}

// read runs f in a transaction of the caller's salon that sees one moment and
// changes nothing.
func (s *Server) read(ctx context.Context, f func(*store.Tx) error) error {
	return s.store.Read(ctx, principal(ctx).Salon, f)
}

// recovery turns a panic into a 500 and logs it without the request.
func recovery() echo.MiddlewareFunc {
	return middleware.RecoverWithConfig(middleware.RecoverConfig{DisableStackAll: true,
		LogErrorFunc: func(c echo.Context, err error, stack []byte) error {
			slog.ErrorContext(c.Request().Context(), "panic", "route", c.Path(), "err", err, "stack", string(stack))
			return newProblem(http.StatusInternalServerError, "internal", "")
		}})
}

// below runs m for addresses of the interface, known or not. Middleware
// of an echo group would answer 404 for a known address with a wrong method.
func below(m echo.MiddlewareFunc) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		inside := m(next)
		return func(c echo.Context) error {
			if strings.HasPrefix(c.Request().URL.Path, "/v1/") {
				return inside(c)
			}
			return next(c)
		}
	}
}

// encryptedFor is how long browsers remember to come over encrypted transport only
// (RFC 6797 6.1.1; a year is usual). Other hosts of the same domain are not ours.
const encryptedFor = "max-age=31536000"

func (s *Server) securityHeaders(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Cache-Control", "no-store")
		if s.secure() {
			h.Set("Strict-Transport-Security", encryptedFor)
		}
		// Whether a length stood beside the chunks is not known any more: then a server
		// has to close (RFC 9112 6.3), so that nothing hides behind the request.
		if len(c.Request().TransferEncoding) > 0 {
			h.Set("Connection", "close")
		}
		return next(c)
	}
}

// limitTime gives every request a deadline that the database calls obey. That of a
// stream is for its way in: what it sends goes on under lasting.
func limitTime(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		ctx, cancel := context.WithTimeout(r.Context(), handlerLimit)
		defer cancel()
		if streaming(r) {
			ctx = context.WithValue(ctx, connectedKey{}, r.Context())
		}
		c.SetRequest(r.WithContext(ctx))
		return next(c)
	}
}

// room sends away at once what would wait for a connection until its time is over.
// What needs no database is answered always.
func (s *Server) room(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		switch path := c.Request().URL.Path; {
		case path == "/healthz", path == "/robots.txt", path == "/openapi.json", strings.HasPrefix(path, "/problems/"), strings.HasPrefix(path, pages.AssetPrefix):
			return next(c)
		}
		if err := s.store.Room(c.Request().Context(), roomLimit); err != nil {
			return err
		}
		return next(c)
	}
}

func (s *Server) ready(c echo.Context) error {
	if err := s.store.Ping(c.Request().Context()); err != nil {
		p := newProblem(http.StatusServiceUnavailable, "unavailable", "the database does not answer or is not migrated")
		p.retryAfter = 2
		return p
	}
	return c.JSON(http.StatusOK, map[string]string{"status": "ready"})
}

func problemPage(c echo.Context) error {
	t, ok := titles[c.Param("kind")]
	if !ok {
		return newProblem(http.StatusNotFound, "not-found", "")
	}
	return c.String(http.StatusOK, t+"\n")
}

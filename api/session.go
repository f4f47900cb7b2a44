package api

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// cookieName carries the __Host- prefix where the address allows it: such a
// cookie is bound to this host, all of its paths, and encrypted transport.
func (s *Server) cookieName() string {
	if s.secure() {
		return "__Host-session"
	}
	return "chairblock-session"
}

func (s *Server) secure() bool { return strings.HasPrefix(s.base, "https://") }

// The library gives the store the time that the request has.
var _ scs.CtxStore = (*store.TokenStore)(nil)

// newSessions is the library that makes, renews and ends tokens and writes their
// cookie. Who uses a browser is asked of the store alone, in one query. It is made
// without the library's constructor, which starts a goroutine that never ends.
func (s *Server) newSessions() *scs.SessionManager {
	return &scs.SessionManager{
		Lifetime: ownMachine.most, Store: s.store.Sessions(), Codec: scs.GobCodec{}, HashTokenInStore: true,
		Cookie: scs.SessionCookie{Name: s.cookieName(), Path: "/", HttpOnly: true, Secure: s.secure(), SameSite: http.SameSiteLaxMode, Persist: true},
	}
}

// tokenLength is how many characters the library's tokens have: 32 bytes in base64
// without padding (source text of scs 2.9).
const tokenLength = 43

// keptAs is what is kept of a token, as the library keeps it.
func keptAs(token string) string {
	h := sha256.Sum256([]byte(token))
	return base64.RawURLEncoding.EncodeToString(h[:])
}

// sessionToken is the token that a browser shows, "" for none or for what no token
// looks like.
func (s *Server) sessionToken(c echo.Context) string {
	cookie, err := c.Cookie(s.cookieName())
	if err != nil || len(cookie.Value) != tokenLength || !couldBeSecret(cookie.Value) {
		return ""
	}
	return cookie.Value
}

// personStays is how long somebody who has said who she is on a shared screen
// remains that person without a press (judgement: long enough for a telephone call's
// pause, too short for the next to work under her name).
const personStays = 3 * time.Minute

// whoUses finds who uses the browser of a request, or scheduling.ErrNotFound.
func (s *Server) whoUses(c echo.Context) (store.SignedIn, error) {
	return s.whoUsesIt(c.Request().Context(), c)
}

// whoUsesIt is whoUses within a time of its own.
func (s *Server) whoUsesIt(ctx context.Context, c echo.Context) (store.SignedIn, error) {
	token := s.sessionToken(c)
	if token == "" {
		return store.SignedIn{}, scheduling.ErrNotFound
	}
	press := store.Press{Now: s.now(), Pressed: pressed(c.Request()), Stays: personStays}
	return s.store.WhoUses(ctx, keptAs(token), press)
}

// pressed reports whether a request comes from something that a person pressed, and
// not from a page that keeps itself fresh: pages do so by scripts, and never open one
// by themselves. (Sec-Fetch-User would say it, but not every browser sends it.)
func pressed(r *http.Request) bool {
	switch {
	case !reads(r.Method):
		return true
	case r.Header.Get("Sec-Fetch-Mode") != "":
		return r.Header.Get("Sec-Fetch-Mode") == "navigate"
	}
	// Browsers say how a page was asked for over encrypted transport only.
	return strings.Contains(r.Header.Get("Accept"), "text/html")
}

// reads reports whether a method only reads.
func reads(method string) bool { return method == http.MethodGet || method == http.MethodHead }

// scripted reports whether a script asks, which can do nothing with another page. A
// service worker that fetches for somebody who opens a page asks with an empty
// destination, but in the mode of opening one, which no script can choose.
func scripted(r *http.Request) bool {
	if mode := r.Header.Get("Sec-Fetch-Mode"); mode != "" {
		return mode != "navigate"
	}
	dest := r.Header.Get("Sec-Fetch-Dest")
	return dest != "" && dest != "document"
}

// MountPages adds the day board and the booking form. They are opened by a
// one-time link (see SessionURL) or by whoever signs in, and refuse changes that
// another site's page asks a browser to make.
func (s *Server) MountPages() {
	page := s.PageGroup()
	page.GET("/open/:link", s.openLink, s.slowGuessing)
	page.POST("/open/:link/enter", s.enterByLink, s.slowGuessing)
	page.GET("/", s.boardPage, s.signedIn("get-day"))
	page.POST("/walk-in", s.walkInPage, s.signedIn("add-walk-in"))
	page.GET("/clients/:id/cards.html", s.cardsPage, s.signedIn("export-cards"))
	page.GET("/clients/:id/everything.zip", s.everythingPage, s.signedIn("export-client-files"))
	page.GET("/book", s.bookPage, s.signedIn("book-visit"))
	s.mountLive(page)
	page.POST("/book", s.bookPage, s.signedIn("book-visit"))
	page.POST("/book/clients", s.bookPart(matchesPart), s.signedIn("list-clients"))
	page.POST("/book/hair", s.bookPart(hairPart), s.signedIn("book-visit"))
	page.GET("/visits/:id/move", s.movePage, s.signedIn("move-visit"))
	page.POST("/visits/:id/move", s.movePage, s.signedIn("move-visit"))
	s.echo.GET(pages.AssetPrefix+"*", echo.WrapHandler(pages.Assets()))
}

// PageRoutes is where pages are registered: every page refuses changes that another
// site's page asks a browser to make, sends the headers that pages have, and limits
// what a form may hold. It is no group of echo's, which would answer for every
// address that nobody knows, and for known ones with a wrong method.
type PageRoutes struct {
	echo   *echo.Echo
	around []echo.MiddlewareFunc
}

// PageGroup is where pages of this server are registered.
func (s *Server) PageGroup() *PageRoutes {
	return &PageRoutes{echo: s.echo, around: []echo.MiddlewareFunc{echo.WrapMiddleware(http.NewCrossOriginProtection().Handler), pageHeaders, compressPages(), limitForm}}
}

// Add registers a page, or what a form of it does.
func (p *PageRoutes) Add(method, path string, h echo.HandlerFunc, inside ...echo.MiddlewareFunc) {
	p.echo.Add(method, path, h, append(slices.Clone(p.around), inside...)...)
}

// GET registers a page.
func (p *PageRoutes) GET(path string, h echo.HandlerFunc, inside ...echo.MiddlewareFunc) {
	p.Add(http.MethodGet, path, h, inside...)
}

// POST registers what a form of a page does.
func (p *PageRoutes) POST(path string, h echo.HandlerFunc, inside ...echo.MiddlewareFunc) {
	p.Add(http.MethodPost, path, h, inside...)
}

// SignedIn lets in who may do an operation of the interface, by its id, and asks
// everybody else to sign in.
func (s *Server) SignedIn(operation string) echo.MiddlewareFunc { return s.signedIn(operation) }

// Sorry answers a page with what went wrong.
func Sorry(c echo.Context, err error) error { return sorry(c, err) }

// Message answers a page with one short message.
func Message(c echo.Context, status int, title, text string) error {
	return message(c, status, title, text)
}

// Keepable replaces what no database can hold as text.
func Keepable(form url.Values) url.Values { return keepable(form) }

// Now is the time by the clock of the server.
func (s *Server) Now() time.Time { return s.now() }

// SessionURL is the address that opens a browser session or sets a password, once.
func (s *Server) SessionURL(link string) string { return SessionURL(s.base, link) }

// SessionURL is the address of a one-time link of a service that is reached at base,
// a scheme and host without a slash at the end.
func SessionURL(base, link string) string { return base + "/open/" + link }

func pageHeaders(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		c.Response().Header().Set("Content-Security-Policy", pages.ContentSecurityPolicy)
		c.Response().Header().Set("X-Robots-Tag", "noindex")
		// With no referrer at all a browser would send forms with Origin: null,
		// which the guard takes for another site wherever the page is not encrypted.
		c.Response().Header().Set("Referrer-Policy", "same-origin")
		return next(c)
	}
}

func limitForm(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		c.Request().Body = http.MaxBytesReader(c.Response(), c.Request().Body, maxBody)
		return next(c)
	}
}

type sessionKey struct{}

func withSession(ctx context.Context, who store.SignedIn) context.Context {
	return context.WithValue(withPrincipal(ctx, who.Principal), sessionKey{}, who)
}

func session(ctx context.Context) store.SignedIn {
	who, _ := ctx.Value(sessionKey{}).(store.SignedIn)
	return who
}

// WhoIs is what a page says of whoever uses the browser.
type WhoIs struct {
	Name     string    // empty for nobody who has a name
	Shared   bool      // the screen is shared
	ReadOnly bool      // nobody has said who she is
	Until    time.Time // how long she is that person without a press, else zero
}

// Session says who uses the browser of a page's request.
func Session(ctx context.Context) WhoIs {
	who := session(ctx)
	name := who.Name
	if name == "" && !who.ReadOnly {
		name = roleWords[who.Role]
	}
	return WhoIs{Name: name, Shared: who.Kind == store.SharedScreen, ReadOnly: who.ReadOnly, Until: who.Until}
}

// PersonKey names whoever is signed in to what a browser keeps of hers: the person on
// the staff, else the account, else the session, which is over with it. It is no
// secret. "" is nobody.
func PersonKey(ctx context.Context) string {
	p := principal(ctx)
	return cmp.Or(p.StaffID, p.TokenID)
}

// Who is what the frame of a page says of whoever uses the browser, in the time of a
// salon.
func Who(c echo.Context, loc *time.Location) pages.Who {
	x := Session(c.Request().Context())
	out := pages.Who{Name: x.Name, Shared: x.Shared, ReadOnly: x.ReadOnly, Me: PersonKey(c.Request().Context())}
	if !x.Until.IsZero() {
		out.Until = x.Until.In(loc).Format("15:04")
	}
	if reads(c.Request().Method) {
		out.Here = OwnPath(c.Request().RequestURI)
	}
	return out
}

// roleWords name people by what they may do.
var roleWords = map[store.Role]string{store.Owner: "Owner", store.Desk: "Desk", store.LeadRole: "Stylist", store.AssistantRole: "Assistant"}

// signedIn finds who uses the browser, who must be allowed the same operation of the
// interface. On a shared screen whoever changes something has to say who she is.
func (s *Server) signedIn(operation string) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			who, err := s.whoUses(c)
			if is(err, scheduling.ErrNotFound) {
				return s.askToSignIn(c)
			}
			if err != nil {
				return sorry(c, err)
			}
			if err := s.within(c, who.Principal); err != nil {
				return sorry(c, err)
			}
			ctx, refusal := actFor(withSession(c.Request().Context(), who), operation)
			c.SetRequest(c.Request().WithContext(ctx))
			switch {
			case who.ReadOnly && (refusal != "" || !reads(c.Request().Method)):
				return s.askWho(c)
			case refusal != "":
				s.accessNoted(ctx, slog.LevelInfo, "operation refused", "operation", operation, "role", who.Role)
				return message(c, http.StatusForbidden, titles["forbidden"], refusal)
			case who.NeedsFactor && !slices.Contains(withoutFactor, operation):
				return s.askFactor(c)
			case s.unproven(ctx, operation, c.Path()):
				return s.askProof(c)
			}
			return next(c)
		}
	}
}

// InSession lets in whoever uses a browser that is signed in, also to change
// something on a shared screen that is read only: for pages about the session itself.
func (s *Server) InSession(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		who, err := s.whoUses(c)
		if is(err, scheduling.ErrNotFound) {
			return s.askToSignIn(c)
		}
		if err != nil {
			return sorry(c, err)
		}
		c.SetRequest(c.Request().WithContext(withSession(c.Request().Context(), who)))
		return next(c)
	}
}

// Screen is the session of the shared screen that sends a request, "" for every other
// browser.
func (s *Server) Screen(c echo.Context) string {
	if who := session(c.Request().Context()); who.Kind == store.SharedScreen {
		return who.Session
	}
	return ""
}

// Doors are the pages at which people get in, which package signin draws. Each takes
// the form that somebody had filled in when she had to stop, if there is one.
type Doors struct {
	// SignIn asks who is signed out, Code who uses a shared screen.
	SignIn, Code func(echo.Context, Carried) error
	// Proof asks for the password once more.
	Proof func(echo.Context, Carried) error
	// Password lets the person of an account choose one, by a link.
	Password func(c echo.Context, link string, of PasswordFor) error
}

// OpenDoors sets the pages at which people get in. Call it before the server is used.
func (s *Server) OpenDoors(d Doors) { s.doors = d }

// askToSignIn sends whoever is signed out to the sign-in page. What was typed goes
// along.
func (s *Server) askToSignIn(c echo.Context) error {
	r := c.Request()
	switch {
	case s.doors.SignIn == nil || scripted(r):
		return message(c, http.StatusUnauthorized, "Please sign in", "Open the link that the program printed when it started.")
	case reads(r.Method):
		return c.Redirect(http.StatusSeeOther, "/sign-in?to="+url.QueryEscape(r.RequestURI))
	}
	return s.doors.SignIn(c, s.carry(c))
}

// askWho sends whoever uses a shared screen to the page that asks who she is. What
// was typed goes along.
func (s *Server) askWho(c echo.Context) error {
	r := c.Request()
	switch {
	case s.doors.Code == nil || scripted(r):
		return message(c, http.StatusForbidden, titles["read-only"], readOnlyWords)
	case reads(r.Method):
		return c.Redirect(http.StatusSeeOther, "/code?to="+url.QueryEscape(r.RequestURI))
	}
	return s.doors.Code(c, s.carry(c))
}

// sorry answers a page with what went wrong. A page that would change something on a
// shared screen leads to the page that asks who uses it.
func sorry(c echo.Context, err error) error {
	p := routed(c.Request().Context(), err)
	if p.Type == problemType("read-only") && reads(c.Request().Method) && !scripted(c.Request()) {
		return c.Redirect(http.StatusSeeOther, "/code?to="+url.QueryEscape(c.Request().RequestURI))
	}
	if p.retryAfter > 0 {
		c.Response().Header().Set("Retry-After", p.GetHeaders().Get("Retry-After"))
	}
	title, text := p.Title, p.Detail
	switch said, ok := onPages[strings.TrimPrefix(p.Type, problemType(""))]; {
	case p.Type == problemType("no-page"):
		title = said
	case ok:
		title, text = said, cmp.Or(text, "go back and load it again")
	}
	if text = pages.Capital(text); text != "" && !strings.ContainsAny(text[len(text)-1:], ".!?") {
		text += "."
	}
	on := pages.Way{Href: "/", Text: "To the first page"}
	if ofClient(c.Request().URL.Path) {
		on = yourVisits
	}
	return message(c, p.Status, title, cmp.Or(text, wayOn[kindOf(p.Status)]), on)
}

// wayOn says what to do where a problem says no more than what it is.
var wayOn = map[string]string{
	"not-found": "The address may not have been copied as a whole, or what it was about is not here any more.",
	"internal":  "What was saved before is not lost. Load the page again; if that does not help, tell whoever looks after the program.",
}

// onPages are the titles of problems for people, who hold no token.
var onPages = map[string]string{
	"forbidden": "This is not open to you", "unauthorized": "Sign in first", "method": "There is no such page", "no-page": "There is no such page",
	"if-match": "The page was not complete", "idempotency-key": "The page was not complete", "unreadable": "The page was not complete",
}

// message answers with a page of one short message. Whoever is signed in finds her
// menu on it, and everybody else the ways on, if there are any.
func message(c echo.Context, status int, title, text string, on ...pages.Way) error {
	f := pages.Frame{Title: title}
	if ctx := c.Request().Context(); session(ctx).Role != "" {
		f.Ways, f.Who = Ways(ctx, ""), Who(c, time.UTC)
		f.Who.Until = "" // what time it is in the salon may be what cannot be found out
		on = nil
	}
	c.Response().Header().Set(echo.HeaderContentType, echo.MIMETextHTMLCharsetUTF8)
	c.Response().WriteHeader(status)
	return pages.RenderMessage(c.Response(), f, text, on...)
}

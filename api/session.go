package api

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// sessionLife is how long a browser stays signed in.
const sessionLife = 12 * time.Hour

// cookieName carries the __Host- prefix where the address allows it: such a
// cookie is bound to this host, all of its paths, and encrypted transport.
func (s *Server) cookieName() string {
	if s.secure() {
		return "__Host-session"
	}
	return "chairblock-session"
}

func (s *Server) secure() bool { return strings.HasPrefix(s.base, "https://") }

// MountPages adds the day board and the booking form. They are opened by a
// one-time link (see SessionURL) and refuse changes that another site's page
// asks a browser to make.
func (s *Server) MountPages() {
	page := s.PageGroup()
	page.GET("/open/:link", s.openLink)
	page.GET("/", s.boardPage, s.signedIn("get-day"))
	page.POST("/walk-in", s.walkInPage, s.signedIn("add-walk-in"))
	page.GET("/visits/:id", s.visitPage, s.signedIn("get-visit"))
	page.GET("/clients/:id/cards.html", s.cardsPage, s.signedIn("export-cards"))
	page.GET("/book", s.bookPage, s.signedIn("book-visit"))
	page.POST("/book", s.bookPage, s.signedIn("book-visit"))
	s.echo.GET(pages.AssetPrefix+"*", echo.WrapHandler(pages.Assets()))
}

// PageGroup is where pages are registered: it refuses changes that another site's
// page asks a browser to make, sends the headers that every page has, and limits
// what a form may hold.
func (s *Server) PageGroup() *echo.Group {
	return s.echo.Group("", echo.WrapMiddleware(http.NewCrossOriginProtection().Handler), pageHeaders, compressPages(), limitForm)
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

// SessionURL is the address that opens a browser session once.
func (s *Server) SessionURL(link string) string { return s.base + "/open/" + link }

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

func (s *Server) openLink(c echo.Context) error {
	secret, err := s.store.OpenSession(c.Request().Context(), c.Param("link"), sessionLife)
	if err != nil && !is(err, scheduling.ErrNotFound) {
		return sorry(c, err)
	}
	if err != nil {
		return message(c, http.StatusNotFound, "This link does not work any more",
			"It was used before, or its time is over. Ask for a new one.")
	}
	c.SetCookie(&http.Cookie{Name: s.cookieName(), Value: secret, Path: "/", HttpOnly: true, Secure: s.secure(),
		SameSite: http.SameSiteLaxMode, MaxAge: int(sessionLife / time.Second)})
	return c.Redirect(http.StatusSeeOther, "/")
}

// signedIn finds who holds the browser's session, who must be allowed the same
// operation of the interface.
func (s *Server) signedIn(operation string) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			ctx := c.Request().Context()
			var p store.Principal
			cookie, err := c.Cookie(s.cookieName())
			if err == nil {
				p, err = s.store.Session(ctx, cookie.Value)
			}
			if is(err, http.ErrNoCookie) || is(err, scheduling.ErrNotFound) {
				return message(c, http.StatusUnauthorized, "Please sign in", "Open the link that the program printed when it started.")
			}
			if err != nil {
				return sorry(c, err)
			}
			ctx = withPrincipal(ctx, p)
			if refusal := mayDo(ctx, operation); refusal != "" {
				return message(c, http.StatusForbidden, titles["forbidden"], refusal)
			}
			c.SetRequest(c.Request().WithContext(ctx))
			return next(c)
		}
	}
}

// sorry answers a page with what went wrong.
func sorry(c echo.Context, err error) error {
	p := problem(c.Request().Context(), err)
	return message(c, p.Status, p.Title, p.Detail)
}

func message(c echo.Context, status int, title, text string) error {
	c.Response().Header().Set(echo.HeaderContentType, echo.MIMETextHTMLCharsetUTF8)
	c.Response().WriteHeader(status)
	return pages.RenderMessage(c.Response(), title, text)
}

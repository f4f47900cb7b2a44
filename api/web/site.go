package web

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
)

// Site is where pages are registered and what they ask. Make one with New.
type Site struct {
	*api.Server
	group *api.PageRoutes
}

// New makes the site of a server.
func New(s *api.Server) *Site { return &Site{Server: s, group: s.PageGroup()} }

// GET registers a page for whoever may do an operation of the interface.
func (s *Site) GET(path, operation string, h echo.HandlerFunc) {
	s.group.GET(path, h, s.SignedIn(operation))
}

// POST registers what a form of a page does.
func (s *Site) POST(path, operation string, h echo.HandlerFunc) {
	s.group.POST(path, h, s.SignedIn(operation))
}

// Open registers something that needs no sign-in.
func (s *Site) Open(method, path string, h echo.HandlerFunc) { s.group.Add(method, path, h) }

// Get asks for what stands at a path of the interface, below /v1.
func Get[T any](ctx context.Context, s *Site, path string, query url.Values) (T, error) {
	var out T
	_, err := s.Into(ctx, api.Question{Path: path, Query: query}, &out)
	return out, err
}

// Items asks for a list of the interface.
func Items[T any](ctx context.Context, s *Site, path string, query url.Values) ([]T, error) {
	list, err := Get[struct{ Items []T }](ctx, s, path, query)
	return list.Items, err
}

// Salon is what pages need to know of the salon.
type Salon struct {
	Name, Currency string
	Location       *time.Location
	Inches         bool
}

// Salon is that of whoever is signed in.
func (s *Site) Salon(ctx context.Context) (Salon, error) {
	b, err := Get[api.SalonBody](ctx, s, "/salon", nil)
	if err != nil {
		return Salon{}, err
	}
	loc, err := time.LoadLocation(b.Zone)
	if err != nil {
		return Salon{}, fmt.Errorf("web: salon: %w", err)
	}
	return Salon{Name: b.Name, Currency: b.Currency, Location: loc, Inches: b.LengthUnit == "in"}, nil
}

// Frame is the frame of a page that stands at here, an address of Ways.
func (s *Site) Frame(c echo.Context, n Salon, here, title string) pages.Frame {
	return pages.Frame{Title: title, Salon: n.Name, AsOf: s.Now().In(n.Location).Format("15:04"),
		Ways: api.Counted(Ways(c.Request().Context(), here), s.Waiting(c.Request().Context())), Who: api.Who(c, n.Location), Undo: s.lastDone(c)}
}

// lastDone is what has just been done, for a page that says so.
func (s *Site) lastDone(c echo.Context) pages.Undo {
	switch {
	case c.QueryParam(api.UndoneParam) != "":
		return s.Undone(c)
	case c.QueryParam("done") == "" || c.Request().Method != http.MethodGet:
		return pages.Undo{}
	}
	u := s.Undo(c.Request().Context(), c.Request().URL.Path)
	if u.Why != "" && (strings.HasPrefix(c.Path(), "/set-up") || strings.HasPrefix(c.Path(), "/me")) {
		return pages.Undo{} // that something else cannot be undone is no matter there
	}
	return u
}

// Ways are the pages that whoever is signed in may open.
func Ways(ctx context.Context, here string) []pages.Way { return api.Ways(ctx, here) }

// Render answers with a page. Nothing is sent unless all of it could be made.
func Render(c echo.Context, status int, t *template.Template, name string, view any) error {
	var out bytes.Buffer
	if err := t.ExecuteTemplate(&out, name, view); err != nil {
		return fmt.Errorf("web: render %s: %w", name, err)
	}
	return c.Blob(status, echo.MIMETextHTMLCharsetUTF8, out.Bytes())
}

// Form is what was typed into the form of a request, fit for the database.
func Form(c echo.Context) (url.Values, error) {
	form, err := c.FormParams()
	if err != nil {
		return nil, echo.NewHTTPError(http.StatusBadRequest, "the form could not be read: go back and try once more")
	}
	return api.Keepable(form), nil
}

// Done answers a form that was carried out: the browser goes on to a page, which
// says so. Loading that page again repeats nothing.
func Done(c echo.Context, to string) error { return c.Redirect(http.StatusSeeOther, to) }

// Twice adds to an address that a time that was typed comes twice on its day, which
// Frame says on the page that stands there.
func Twice(to string, twice bool) string {
	if !twice {
		return to
	}
	at, fragment, _ := strings.Cut(to, "#")
	sep := "?"
	if strings.Contains(at, "?") {
		sep = "&"
	}
	if at += sep + "twice=1"; fragment != "" {
		at += "#" + fragment
	}
	return at
}

// TwiceWords are what the address of a page says of a time that was typed.
func TwiceWords(c echo.Context, done string) string {
	if done == "" || c.QueryParam("twice") == "" {
		return done
	}
	return done + " " + api.TwiceWords
}

// Key is a new idempotency key for a form: pressed twice, it has one effect.
func Key() string { return rand.Text() }

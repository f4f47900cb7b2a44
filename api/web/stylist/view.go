package stylist

import (
	"context"
	"embed"
	"fmt"
	"html/template"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

//go:embed templates/*.tmpl
var templateFiles embed.FS

//go:embed assets
var assetFiles embed.FS

func init() {
	pages.Publish(assetFiles, "assets/stylist.css", "assets/queue.js", "assets/watch.js", "assets/visit.js", "assets/keep.js", "assets/calendar.js",
		"assets/icon-192.png", "assets/icon-512.png")
}

var templates = template.Must(pages.Shared().Funcs(template.FuncMap{"cap": pages.Capital, "join": strings.Join, "minutes": minutes, "dict": dict}).
	ParseFS(templateFiles, "templates/*.tmpl"))

// base is what every page of this package has.
type base struct {
	pages.Frame
	pages.Clock
	Zone  string // of the times, said once
	Key   string // of the page's forms
	Made  int64  // when the page was made, in milliseconds since 1970
	Me    string // names whose page it is, see api.PersonKey
	Staff string // her place on the rota, "" for none
	Keeps bool   // her phone keeps today's pages for use without a network
	Kept  bool   // it is a copy for use without a network: first names and steps only
	now   time.Time
	loc   *time.Location
	salon web.Salon
}

// start reads the salon and makes the frame of a page.
func (p page) start(c echo.Context, title string) (base, error) {
	ctx := c.Request().Context()
	n, err := p.site.Salon(ctx)
	if err != nil {
		return base{}, err
	}
	now := p.site.Now()
	b := base{Frame: p.site.Frame(c, n, "/my-day", title), Clock: pages.NewClock(n.Location), Zone: n.Location.String(), Key: web.Key(),
		Made: now.UnixMilli(), Me: api.PersonKey(ctx), Staff: api.Signed(ctx).StaffID, Kept: c.QueryParam("kept") != "", now: now, loc: n.Location, salon: n}
	b.Keeps = b.Staff != "" && !b.Who.Shared // a shared screen is the next person's a minute later
	b.Ways = ways(ctx, c.Request().URL.Path, b.Kept)
	b.Styles = []string{"stylist.css"}
	b.Scripts = []string{"queue.js", "keep.js"}
	b.Manifest = home + "manifest.webmanifest"
	b.Class = "hand"
	b.Done = doneWords[c.QueryParam("done")]
	return b, nil
}

// title gives the page another title.
func (b *base) title(s string) { b.Frame.Title = s }

// ways are the few pages that are wanted in the hand.
func ways(ctx context.Context, here string, kept bool) []pages.Way {
	var out []pages.Way
	own := api.Signed(ctx).StaffID != ""
	for _, w := range []struct {
		href, text, operation string
		own                   bool // of use only to who is on the rota
	}{
		{home, "My day", "get-visit-run", false}, {home + "calendar", "Calendar", "list-feeds", true},
		{home + "pace", "My pace", "report-pace", true}, {"/", "Day board", "get-day", false},
	} {
		short := kept || strings.HasPrefix(here, home+"visits/") // where room is short
		if (!short || w.href == home) && (own || !w.own) && api.May(ctx, w.operation) {
			out = append(out, pages.Way{Href: w.href, Text: w.text, Here: w.href == here})
		}
	}
	return out
}

// doneWords are what pages say after a form was carried out, by the code in the
// address.
var doneWords = map[string]string{
	"noted": "Noted.", "twice": "Pressed twice: the second press was left out.", "back": "Taken back.", "over": "The visit is over.",
	"seen": "Hair as seen is noted.", "less": "Noted: you do less. The visit is shorter now.", "helper": "Noted: somebody helps.",
	"rebooked": "Rebooked. The deposit is kept for the new day.", "without": "Noted: the visit may begin without it.",
	"stopped": "The visit is stopped. Its time is free again; no message goes out before you clear it.",
	"written": "Written on the card.", "corrected": "Corrected. What stood there before stays readable.", "answers": "The answers are kept, encrypted.",
	"decided": "Your decision is noted.", "test": "The test is noted.", "read": "The reading is noted.", "reaction": "The reaction is noted. No skin test made before it counts any more.",
	"ended": "The calendar address has ended.", "private": "The calendar is read from now on. What keeps you busy in it is yours; its titles are not kept.",
	"removed": "The private calendar is forgotten.",
}

// at is the instant of a clock time such as "11:40" on the day of t, with the errors
// of api.ReadLocal.
func (b base) at(t time.Time, text string) (time.Time, error) {
	got, err := api.ReadLocal(b.loc, t.In(b.loc).Format(time.DateOnly), text)
	return got.At, err
}

// render answers with a page of this package.
func render(c echo.Context, status int, name string, view any) error {
	return web.Render(c, status, templates, name, view)
}

// minutes writes a length of time for people.
func minutes(n int) string {
	switch h, m := n/60, n%60; {
	case n < 0:
		return "−" + minutes(-n)
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	default:
		return fmt.Sprintf("%d h %d min", h, m)
	}
}

// first is the first name of a first name with initial.
func first(name string) string {
	s, _, _ := strings.Cut(name, " ")
	return s
}

// to is an address of this package with a code for what was done.
func to(path, done string) string {
	if done == "" {
		return home + path
	}
	return home + path + "?" + url.Values{"done": {done}}.Encode()
}

// dict gives a template several values by name.
func dict(pairs ...any) (map[string]any, error) {
	out := map[string]any{"Which": ""}
	for i := 0; i+1 < len(pairs); i += 2 {
		name, ok := pairs[i].(string)
		if !ok {
			return nil, fmt.Errorf("stylist: dict: %v is no name", pairs[i])
		}
		out[name] = pairs[i+1]
	}
	return out, nil
}

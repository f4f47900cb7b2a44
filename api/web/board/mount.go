package board

import (
	"cmp"
	"embed"
	"html/template"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/rickb777/date"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

//go:embed templates/*.tmpl
var files embed.FS

var templates = template.Must(pages.Shared().Funcs(template.FuncMap{"clean": pages.Clean}).ParseFS(files, "templates/*.tmpl"))

// Mount registers the pages.
func Mount(s *web.Site) {
	p := page{s}
	s.GET("/week", "get-week", p.week)
	s.GET("/keys", "get-day", p.keys)
	s.POST("/undo", "undo-last", p.undo)
	s.POST("/find", "find-clients", p.find)
}

// page answers requests of this package's pages.
type page struct{ site *web.Site }

type object = map[string]any

// keysView is the page about the keys.
type keysView struct{ pages.Frame }

func (p page) keys(c echo.Context) error {
	n, err := p.site.Salon(c.Request().Context())
	if err != nil {
		return api.Sorry(c, err)
	}
	return web.Render(c, http.StatusOK, templates, "keys", keysView{p.site.Frame(c, n, "/keys", "Keys")})
}

// findView is quick answers.
type findView struct {
	pages.Clock
	Found  []api.FoundClientBody
	Looked bool
}

// mostQuick is how many clients are found while somebody types (judgement: a glance).
const mostQuick = 6

// find answers what is typed into the search of the board, for its script.
func (p page) find(c echo.Context) error {
	ctx := c.Request().Context()
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	n, err := p.site.Salon(ctx)
	if err != nil {
		return api.Sorry(c, err)
	}
	v := findView{Clock: pages.NewClock(n.Location)}
	if q := strings.TrimSpace(form.Get("q")); q != "" {
		var list struct{ Items []api.FoundClientBody }
		_, err := p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: "/clients/search", Body: object{"text": q, "limit": mostQuick}}, &list)
		if _, _, ok := web.Wrong(err, nil); err != nil && !ok {
			return api.Sorry(c, err)
		}
		v.Found, v.Looked = list.Items, err == nil // what cannot be looked for yet is still being typed
	}
	return web.Render(c, http.StatusOK, templates, "quick", v)
}

// undo takes back what was done last and leads to where the button was.
func (p page) undo(c echo.Context) error {
	ctx := c.Request().Context()
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	back := cmp.Or(api.OwnPath(form.Get("back")), "/")
	var done api.UndoneBody
	if _, err := p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: "/undo", Body: object{"id": form.Get("id")}}, &done); err != nil {
		return p.notUndone(c, back, err)
	}
	u, err := url.Parse(back)
	if err != nil {
		return web.Done(c, "/")
	}
	q := u.Query()
	q.Set(api.UndoneParam, p.site.UndoneMark(ctx, done.Words))
	u.RawQuery = q.Encode()
	return web.Done(c, u.String())
}

// undoneView says why something could not be undone.
type undoneView struct {
	pages.Frame
	Back string
}

func (p page) notUndone(c echo.Context, back string, err error) error {
	wrong, status, ok := web.Wrong(err, nil)
	if !ok {
		return api.Sorry(c, err)
	}
	n, err := p.site.Salon(c.Request().Context())
	if err != nil {
		return api.Sorry(c, err)
	}
	v := undoneView{p.site.Frame(c, n, "", "Not undone"), back}
	v.Summary = wrong
	return web.Render(c, status, templates, "not-undone", v)
}

// weekView is seven days at a glance.
type weekView struct {
	pages.Frame
	Days               []dayGlance
	Before, After, Now string // addresses of other weeks
	Date               string
	People             []personLink
	Person             string // whose days are drawn, "" for everybody's in words
	Drawing            template.HTML
}

// personLink leads to the days of one person.
type personLink struct {
	Name, Href string
	Here       bool
}

// dayGlance is one day in words.
type dayGlance struct {
	Name, Href, Hours string
	Today             bool
	Visits            int
	People            []personGlance
}

type personGlance struct{ Name, Booked, Free string }

func (p page) week(c echo.Context) error {
	ctx := c.Request().Context()
	n, err := p.site.Salon(ctx)
	if err != nil {
		return api.Sorry(c, err)
	}
	today, err := date.Parse(time.DateOnly, p.site.Now().In(n.Location).Format(time.DateOnly))
	if err != nil {
		return api.Sorry(c, err)
	}
	from := c.QueryParam("from")
	if from == "" {
		from = today.String()
	}
	w, err := web.Get[api.SevenDaysBody](ctx, p.site, api.Path("weeks", from), nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	first, err := date.Parse(time.DateOnly, w.From)
	if err != nil {
		return api.Sorry(c, err)
	}
	v := weekView{Frame: p.site.Frame(c, n, "/week", "Week from "+first.Format("Monday 2 January 2006")), Date: w.From}
	v.Sub = "times of the salon, " + w.TimeZone
	v.Styles = append(v.Styles, "board.css")
	who := c.QueryParam("person")
	v.Before, v.After, v.Now = weekAt(first.Add(-7), who), weekAt(first.Add(7), who), weekAt(today, who)
	clock := pages.NewClock(n.Location)
	for _, d := range w.Days {
		g, err := glance(clock, d, today.String())
		if err != nil {
			return api.Sorry(c, err)
		}
		v.Days = append(v.Days, g)
	}
	v.People = peopleOf(w, first, who)
	if who != "" {
		drawing, err := p.site.WeekOf(ctx, first, who)
		if err != nil {
			return api.Sorry(c, err)
		}
		v.Drawing = template.HTML(drawing) //nolint:gosec // drawn by package pages, which escapes what comes from data
		for _, l := range v.People {
			if l.Here {
				v.Person = l.Name
			}
		}
	}
	return web.Render(c, http.StatusOK, templates, "week", v)
}

func weekAt(first date.Date, person string) string {
	q := url.Values{"from": {first.String()}}
	if person != "" {
		q.Set("person", person)
	}
	return "/week?" + q.Encode()
}

// peopleOf are links to the days of everybody who is in on one of them.
func peopleOf(w api.SevenDaysBody, first date.Date, who string) []personLink {
	out := []personLink{{Name: "Everybody", Href: weekAt(first, ""), Here: who == ""}}
	seen := map[string]bool{}
	for _, d := range w.Days {
		for _, p := range d.People {
			if !seen[p.UnitID] {
				seen[p.UnitID] = true
				out = append(out, personLink{p.Name, weekAt(first, p.UnitID), p.UnitID == who})
			}
		}
	}
	return out
}

// glance puts a day into words.
func glance(c pages.Clock, d api.DayGlanceBody, today string) (dayGlance, error) {
	on, err := date.Parse(time.DateOnly, d.Date)
	if err != nil {
		return dayGlance{}, err
	}
	g := dayGlance{Name: on.Format("Monday 2 January"), Href: "/?date=" + d.Date, Today: d.Date == today, Visits: d.Visits, Hours: "closed"}
	var open []string
	for _, s := range d.Open {
		open = append(open, c.Span(s.From, s.To))
	}
	if len(open) > 0 {
		g.Hours = "open " + strings.Join(open, ", ")
	}
	for _, p := range d.People {
		x := personGlance{Name: p.Name, Booked: hours(p.Booked), Free: "nothing free for an hour"}
		var free []string
		for _, s := range p.Free {
			free = append(free, c.Span(s.From, s.To))
		}
		if len(free) > 0 {
			x.Free = "free " + strings.Join(free, ", ")
		}
		g.People = append(g.People, x)
	}
	return g, nil
}

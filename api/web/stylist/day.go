package stylist

import (
	"fmt"
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

// dayView is the page of one person's day.
type dayView struct {
	base
	Day        api.PersonDayBody
	Today      bool
	Own        bool // it is the day of whoever is signed in
	Date       string
	Query      string // of links to the other days
	Prev, Next string
	Items      []dayItem
	Visits     []dayVisit
	NextUp     *dayVisit
	People     []api.StaffBody // whose day may be looked at, where nobody's own is asked for
	KeepVisits string          // ids whose pages are kept for use without a network
	Ends       int64
}

// dayItem is one stretch of the day as it is drawn.
type dayItem struct {
	api.DayItemBody
	Name  string
	Class string
	Where string
	How   string // "hands on"
	What  string
	When  string
	Long  string
	Href  string
	Back  string
	Note  string
	Now   bool // it goes on now
	Past  bool
	Line  bool // the line of now stands before it
}

// dayVisit is a visit of the day in words.
type dayVisit struct {
	api.PersonVisit
	Name, Href, State, Start string
	Late                     string
	Until                    string
}

// day shows today, or the day that the address names, upright.
func (p page) day(c echo.Context) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "My day")
	if err != nil {
		return api.Sorry(c, err)
	}
	who := api.Signed(ctx).StaffID
	v := dayView{base: b, Own: who != ""}
	if who == "" {
		if who = c.QueryParam("staff"); who == "" {
			return p.choosePerson(c, v)
		}
		v.Query = "&staff=" + url.QueryEscape(who)
	}
	today := date.NewAt(b.now.In(b.loc))
	on := today
	if text := c.QueryParam("date"); text != "" {
		if on, err = date.ParseISO(text); err != nil {
			return api.Message(c, http.StatusNotFound, "There is no such day", "A day is written like 2026-06-11.")
		}
	}
	if v.Day, err = web.Get[api.PersonDayBody](ctx, p.site, api.Path("staff", who, "days", on.String()), nil); err != nil {
		return api.Sorry(c, err)
	}
	v.Today, v.Date = on.Equal(today), on.UTC().Format("Monday 2 January")
	v.Prev, v.Next = on.Add(-1).String(), on.Add(1).String()
	v.title(v.Date)
	v.Sub = v.Day.Name
	v.draw()
	return render(c, http.StatusOK, "day", v)
}

// choosePerson asks whose day it is, where whoever is signed in is not on the staff.
func (p page) choosePerson(c echo.Context, v dayView) error {
	var err error
	if v.People, err = web.Items[api.StaffBody](c.Request().Context(), p.site, "/staff", nil); err != nil {
		return api.Sorry(c, err)
	}
	return render(c, http.StatusOK, "whose-day", v)
}

// kinds are the class and the words of each kind of stretch.
var kinds = map[string][2]string{
	"hands_on": {"on", "hands on"}, "watched": {"off", "hands off, you watch"}, "basin": {"basin", "at the basin"}, "free": {"free", "free"},
	"gap": {"gap", "free"}, "away": {"away", "break or absence"}, "pencilled": {"pencil", "pencilled"}, "kept": {"kept", "kept"},
}

// draw puts the day into words.
func (v *dayView) draw() {
	v.Ends = v.Day.Ends.UnixMilli()
	var keep []string
	states := map[string]string{}
	for _, x := range v.Day.Visits {
		states[x.ID] = x.State
		d := v.visit(x)
		v.Visits = append(v.Visits, d)
		if x.State != "cancelled" && x.State != "missed" && x.State != "held" {
			keep = append(keep, x.ID)
		}
		if v.NextUp == nil && v.Today && x.State == "booked" {
			v.NextUp = &v.Visits[len(v.Visits)-1]
		}
	}
	v.KeepVisits = strings.Join(keep, " ")
	line := !v.Today
	for _, k := range v.Day.Items {
		it := v.item(k)
		over := states[k.VisitID] == "finished" || states[k.VisitID] == "stopped_early"
		it.Now = v.Today && !k.From.After(v.now) && k.To.After(v.now) && !over
		it.Past = v.Today && (!k.To.After(v.now) || over)
		if !line && (it.Now || k.From.After(v.now)) {
			line, it.Line = true, true
		}
		v.Items = append(v.Items, it)
	}
}

func (v *dayView) visit(x api.PersonVisit) dayVisit {
	d := dayVisit{PersonVisit: x, Name: v.name(x.Name), Href: home + "visits/" + x.ID, State: api.StateWords(x.State), Start: v.At(x.Start)}
	if v.Kept {
		d.Needed, d.Note = nil, ""
	}
	switch {
	case x.Late >= 3:
		d.Late = minutes(x.Late) + " late"
	case x.Late <= -3:
		d.Late = minutes(-x.Late) + " early"
	}
	if u := x.Until; u != nil && u.Limit != "none" {
		d.Until = "Can start until " + v.At(u.At) + ": " + u.Reason
		if v.Kept {
			d.Until = "Can start until " + v.At(u.At)
		}
		if u.Passed {
			d.Until = "It is too late to begin all of it (" + v.At(u.At) + "): " + u.Then
		}
	}
	return d
}

// name is how a client is called on the page.
func (b base) name(s string) string {
	if b.Kept {
		return first(s)
	}
	return s
}

func (v *dayView) item(k api.DayItemBody) dayItem {
	words := kinds[k.Kind]
	it := dayItem{DayItemBody: k, Where: k.Where, Name: v.name(k.Name), Class: words[0], How: words[1], What: pages.Capital(strings.Join(k.Steps, ", ")),
		When: v.At(k.From) + "–" + v.At(k.To), Long: minutes(int(k.To.Sub(k.From) / time.Minute))}
	if k.VisitID != "" {
		it.Href = home + "visits/" + k.VisitID
	}
	with := strings.Join(k.With, " and ")
	switch k.Kind {
	case "free":
		it.How, it.Where = "you are free", ""
		if with != "" {
			it.What = it.Name + " is with " + with + ", " + k.Where + ": " + strings.Join(k.Steps, ", ")
		} else {
			it.What = it.Name + ": " + strings.Join(k.Steps, ", ") + ", nobody is needed"
		}
		if k.BackBy != nil {
			it.Back = v.At(*k.BackBy)
			it.Note = "be back"
		}
	case "watched":
		if with != "" {
			it.How = "hands off, watched, with " + with
		}
		it.Back, it.Note = v.At(*k.BackBy), "be back"
		if k.NoLater != nil {
			it.Note = "be back, no later than " + v.At(*k.NoLater)
		}
		if len(k.Looks) > 0 {
			looks := make([]string, len(k.Looks))
			for i, t := range k.Looks {
				looks[i] = v.At(t)
			}
			it.How += fmt.Sprintf(", look at %s", strings.Join(looks, ", "))
		}
	case "gap":
		it.What = "No client"
	case "away":
		it.What = "Break or absence"
		it.How = ""
	case "pencilled", "kept":
		it.What = it.Name
		it.Name = ""
	default:
		if with != "" {
			it.How += ", with " + with
		}
	}
	return it
}

package desk

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

func (p page) mountToDo() {
	p.site.GET("/to-do", "list-to-do", p.toDo)
	p.site.GET("/late", "get-delays", p.late)
	p.site.POST("/to-do/asked", "settle-client-request", p.settle)
	p.site.POST("/late/apply", "apply-remedy", p.applyRemedy)
	p.site.POST("/late/tell", "tell-running-late", p.tellLate)
	p.site.GET("/calls", "list-calls", p.calls)
	p.site.POST("/calls/:id/tries", "add-call-try", p.tryCall)
	p.site.GET("/messages", "list-messages", p.messages)
	p.site.POST("/messages/:id/again", "send-message-again", p.sendAgain)
	p.site.POST("/messages/:id/lay-aside", "lay-aside-message", p.layAside)
}

// How many calls and messages the page of everything shows, and for how many days
// it lists what is still needed (judgement: a fortnight).
const (
	fewCalls    = 20
	fewMessages = 20
	needDays    = 14
)

// toDoView is everything that somebody at the desk has to see to.
type toDoView struct {
	base
	Late     lateBlock
	Calls    callBlock
	Needs    []needRow
	NeedMore int
	NeedLate int
	Rinses   []api.RinseCallBody
	Erasing  *api.ErasingToDo
	Messages messageBlock
	Asked    []askedRow // what clients ask for on their own pages
	MayAsked bool
}

// askedRow is something that a client asks for, with the form that settles it.
type askedRow struct {
	ID       string
	Text     string
	Words    string
	Made     time.Time `json:"made_at"`
	VisitID  string    `json:"visit_id"`
	ClientID string    `json:"client_id"`
	Name     string
	Contact  string
	Minor    bool
	Phone    string
	When     string        `json:"-"`
	Fields   []pages.Field `json:"-"`
}

// needRow is something that a visit still needs.
type needRow struct {
	api.ToDoBody
	Line needLine
	When string
}

func (p page) toDo(c echo.Context) error {
	return p.showToDo(c, http.StatusOK, "", nil, nil)
}

// showToDo shows the page; with wrong it says what was wrong with the form of one
// call.
func (p page) showToDo(c echo.Context, status int, call string, typed url.Values, wrong []pages.FieldError) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "/to-do", "To do")
	if err != nil {
		return api.Sorry(c, err)
	}
	b.watching("visit day call message everything")
	v := toDoView{base: b}
	if v.Summary = wrong; len(wrong) > 0 {
		v.Done = ""
	}
	if err := p.fillToDo(ctx, &v, call, typed); err != nil {
		return api.Sorry(c, err)
	}
	v.Calls.mark(wrong)
	v.Messages.mark(typed, wrong)
	for i := range v.Asked {
		v.Asked[i].Fields = mark(v.Asked[i].Fields, wrong)
	}
	return show(c, status, "to-do", v)
}

func (p page) fillToDo(ctx context.Context, v *toDoView, call string, typed url.Values) error {
	var err error
	if v.Late, err = p.lateBlock(ctx, v.base, v.Today, false, false); err != nil {
		return err
	}
	if v.Calls, err = p.callBlock(ctx, v.base, fewCalls, "/to-do", call, typed); err != nil {
		return err
	}
	list, err := web.Get[api.ToDoList](ctx, p.site, "/to-do", url.Values{"days": {strconv.Itoa(needDays)}})
	if err != nil {
		return err
	}
	v.NeedLate, v.Rinses, v.Erasing = list.Overdue, list.Rinses, list.Erasing
	for _, x := range list.Items {
		r := needRow{ToDoBody: x, When: v.When(x.Start), Line: needLines([]api.NeedBody{x.NeedBody}, true)[0]}
		v.Needs = append(v.Needs, r)
	}
	if len(v.Needs) > mostNeeds {
		v.NeedMore, v.Needs = len(v.Needs)-mostNeeds, v.Needs[:mostNeeds]
	}
	if v.MayAsked = api.May(ctx, "list-client-requests"); v.MayAsked {
		if v.Asked, err = web.Items[askedRow](ctx, p.site, "/client-requests", nil); err != nil {
			return err
		}
		for i, r := range v.Asked {
			v.Asked[i].When = v.When(r.Made)
			v.Asked[i].Fields = []pages.Field{pages.Input("asked-note-"+r.ID, "Note", "she reads it when she asks for everything about her", "text", typed.Get("asked-note-"+r.ID))}
		}
	}
	if api.May(ctx, "list-messages") {
		v.Messages, err = p.messageBlock(ctx, v.base, url.Values{"limit": {strconv.Itoa(fewMessages)}}, "/to-do")
	}
	return err
}

// settle notes what became of something that a client asked for.
func (p page) settle(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	id := form.Get("request")
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("client-requests", id, "settle"),
		Body: with(object{"outcome": form.Get("outcome")}, "note", form.Get("asked-note-"+id))}, map[string]string{"note": "asked-note-" + id, "outcome": ""})
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		return p.showToDo(c, status, "", form, wrong)
	}
	return web.Done(c, to("/to-do", "noted"))
}

// mostNeeds is how many things that are still needed the page lists (judgement).
const mostNeeds = 60

// lateBlock is how a day goes on: of all its visits, with what would help, or of
// those only that do not go as booked.
type lateBlock struct {
	base
	Date, Back string
	Visits     []lateRow
	Broken     []api.BrokenBody
	Past       []api.BrokenBody
	LeftOut    []api.LeftOutBody
	Remedies   []remedyRow
	AsOfExact  string
	Complete   bool
	All        bool
	Helps      bool   // something does not go as booked, so that something may help
	Looked     bool   // what would help was looked for
	Over       string // why nothing can be said, ""
	Unforeseen string // that nobody can say how the day goes on, ""
	MayApply   bool
	Drawing    any
}

// NobodyLate reports whether the day goes as booked as far as anybody can say.
func (l lateBlock) NobodyLate() bool { return len(l.Broken) == 0 && l.Unforeseen == "" }

// Count is how many things do not go as booked.
func (l lateBlock) Count() int {
	n := len(l.Broken)
	for _, r := range l.Visits {
		if r.IsLate {
			n++
		}
	}
	return n
}

// lateRow is how one visit goes on.
type lateRow struct {
	ID, Name, State, Booked, Now, Words string
	OpenUntil                           string
	IsLate, ProductOn, MayTell          bool
}

// remedyRow is something that would help, with what it changes.
type remedyRow struct {
	ID, Words, Asks, Until string
	Changes, Mends, Left   []string
	Applies                bool
}

// lateEnough is from how many minutes on a visit is listed as late: less is made
// up for between two clients (judgement).
const lateEnough = 5

func (p page) lateBlock(ctx context.Context, b base, date string, all, helps bool) (lateBlock, error) {
	l := lateBlock{base: b, Date: date, Back: "/to-do", All: all, MayApply: api.May(ctx, "apply-remedy")}
	if all {
		l.Back = "/late"
	}
	d, err := p.delays(ctx, date, helps)
	if err != nil {
		wrong, status, ok := web.Wrong(err, nil)
		if !ok || status == http.StatusNotFound {
			return l, err
		}
		l.Over = pages.Capital(wrong[0].Text) + "."
		return l, nil
	}
	if d.Unforeseen != "" {
		l.Unforeseen = d.Unforeseen + "."
	}
	l.AsOfExact, l.LeftOut, l.Complete = d.AsOf.Format(time.RFC3339Nano), d.LeftOut, d.Complete
	l.Helps = late(d)
	l.Looked = helps && l.Helps
	for _, k := range d.Broken {
		if k.Past {
			l.Past = append(l.Past, k)
		} else {
			l.Broken = append(l.Broken, k)
		}
	}
	for _, v := range d.Visits {
		l.Visits = append(l.Visits, lateRowOf(ctx, b, v))
	}
	for _, r := range d.Remedies {
		l.Remedies = append(l.Remedies, remedyRowOf(b, r))
	}
	return l, nil
}

// delays asks how a day goes on, and what would help only where that is wanted and
// something does not go as booked: looking for it takes longest.
func (p page) delays(ctx context.Context, date string, helps bool) (api.DelaysBody, error) {
	path := api.Path("days", date, "delays")
	d, err := web.Get[api.DelaysBody](ctx, p.site, path, url.Values{"remedies": {"no"}})
	if err != nil || !late(d) || !helps {
		d.Complete = true
		return d, err
	}
	return web.Get[api.DelaysBody](ctx, p.site, path, nil)
}

// late reports whether something of a day does not go as booked.
func late(d api.DelaysBody) bool {
	return d.LateMinutes > 0 || d.WaitingMinutes > 0 || len(d.Broken) > 0
}

func lateRowOf(ctx context.Context, b base, v api.LateVisitBody) lateRow {
	r := lateRow{ID: v.VisitID, Name: pages.Clean(v.Name), State: api.StateWords(v.State), Booked: b.Span(v.BookedStart, v.BookedEnd), Now: b.Span(v.Start, v.End), ProductOn: v.ProductOn}
	over := v.State == "finished" || v.State == "stopped_early"
	var words []string
	if v.StartLateMinutes >= lateEnough && (v.State == "booked" || v.State == "arrived") {
		words = append(words, "begins "+minutes(v.StartLateMinutes)+" late")
		r.MayTell = v.State == "booked" && v.BookedStart.After(b.now) && api.May(ctx, "tell-running-late")
	}
	if v.EndLateMinutes >= lateEnough {
		words = append(words, "ends "+minutes(v.EndLateMinutes)+" late")
	}
	r.Words, r.IsLate = strings.Join(words, ", "), len(words) > 0 && !over
	if v.OpenUntil != nil && v.State == "under_way" {
		r.OpenUntil = b.At(*v.OpenUntil)
	}
	return r
}

func remedyRowOf(b base, r api.RemedyBody) remedyRow {
	out := remedyRow{ID: r.ID, Words: pages.Capital(r.Words), Applies: r.Applies}
	var asks []string
	for _, a := range r.Asks {
		if a.VisitID != "" {
			asks = append(asks, pages.Clean(a.Name)+" (client)")
		} else {
			asks = append(asks, a.Name)
		}
	}
	out.Asks = strings.Join(asks, ", ")
	if r.OpenUntil != nil {
		out.Until = b.At(*r.OpenUntil)
	}
	for _, c := range r.Changes {
		s := pages.Clean(c.Name) + ": " + b.Span(c.Start, c.End)
		if c.Rebook {
			s = pages.Clean(c.Name) + ": is taken out of the day and booked anew"
		}
		out.Changes = append(out.Changes, s)
	}
	for _, k := range r.Mends {
		out.Mends = append(out.Mends, k.Words)
	}
	for _, k := range r.Left {
		if !k.Past {
			out.Left = append(out.Left, k.Words)
		}
	}
	return out
}

// minutes says a length of time.
func minutes(n int) string {
	switch {
	case n == 1:
		return "1 minute"
	case n < 90:
		return strconv.Itoa(n) + " minutes"
	case n%60 == 0:
		return strconv.Itoa(n/60) + " h"
	}
	return strconv.Itoa(n/60) + " h " + strconv.Itoa(n%60) + " min"
}

// lateView is how a day goes on.
type lateView struct {
	base
	Late       lateBlock
	Prev, Next string
	Day        string
}

func (p page) late(c echo.Context) error {
	return p.showLate(c, http.StatusOK, c.QueryParam("date"), c.QueryParam("help") != "", nil)
}

// showLate shows the page, with what would help where that is wanted: looking for it
// takes longer than all the rest.
func (p page) showLate(c echo.Context, status int, date string, helps bool, wrong []pages.FieldError) error {
	b, err := p.start(c, "/to-do", "Late")
	if err != nil {
		return api.Sorry(c, err)
	}
	if date == "" {
		date = b.Today
	}
	b.watching("visit day everything")
	v := lateView{base: b}
	if d, err := time.ParseInLocation(time.DateOnly, date, b.loc); err == nil {
		v.Day, v.Prev, v.Next = b.Clock.Day(d), d.AddDate(0, 0, -1).Format(time.DateOnly), d.AddDate(0, 0, 1).Format(time.DateOnly)
		v.Title = "Late: " + v.Day
	}
	if v.Summary = wrong; len(wrong) > 0 {
		v.Done = ""
	}
	if v.Late, err = p.lateBlock(c.Request().Context(), b, date, true, helps); err != nil {
		return api.Sorry(c, err)
	}
	return show(c, status, "late", v)
}

// again shows the page again that a form of its stood on, with what went wrong.
func (p page) again(c echo.Context, form url.Values, status int, wrong []pages.FieldError) error {
	if form.Get("back") == "/late" {
		return p.showLate(c, status, form.Get("date"), form.Get("help") != "", wrong)
	}
	return p.showToDo(c, status, "", nil, wrong)
}

// back is the page that a form stood on.
func back(form url.Values, done string) string {
	if form.Get("back") == "/late" {
		q := url.Values{"date": {form.Get("date")}, "done": {done}}
		if form.Get("help") != "" {
			q.Set("help", "yes")
		}
		return "/late?" + q.Encode()
	}
	for _, known := range []string{"/calls", "/messages"} {
		if form.Get("back") == known {
			return to(known, done)
		}
	}
	return to("/to-do", done)
}

func (p page) applyRemedy(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	asOf, err := time.Parse(time.RFC3339Nano, form.Get("as_of"))
	if err != nil {
		return p.again(c, form, http.StatusUnprocessableEntity, []pages.FieldError{{Text: "The form is older than the page. This is how the day stands now."}})
	}
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("days", form.Get("date"), "delays", "apply"),
		Body: with(object{"remedy": form.Get("remedy"), "as_of": asOf}, "approved_by", form.Get("remedy_approved"))}, map[string]string{"remedy": "", "as_of": "", "approved_by": ""})
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		return p.again(c, form, status, wrong)
	}
	return web.Done(c, back(form, "remedy"))
}

func (p page) tellLate(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("visits", form.Get("visit"), "tell-running-late")}, nil)
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		return p.again(c, form, status, wrong)
	}
	return web.Done(c, back(form, "told"))
}

// sortedRows puts late visits first.
func sortedRows(list []lateRow) []lateRow {
	out := slices.Clone(list)
	slices.SortStableFunc(out, func(a, b lateRow) int {
		switch {
		case a.IsLate == b.IsLate:
			return 0
		case a.IsLate:
			return -1
		}
		return 1
	})
	return out
}

// Rows are the visits to be shown: all of the day, or those that are late.
func (l lateBlock) Rows() []lateRow {
	if l.All {
		return l.Visits
	}
	return slices.DeleteFunc(sortedRows(l.Visits), func(r lateRow) bool { return !r.IsLate })
}

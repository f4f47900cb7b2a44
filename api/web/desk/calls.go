package desk

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// callBlock is the calls to make.
type callBlock struct {
	base
	Open int // how many there are, those that are not shown included
	Rows []callRow
	Back string
}

// callRow is a client to be called.
type callRow struct {
	api.CallBody
	What, About, Why, Since, Again string
	Also                           []alsoSay
	Tries                          []string
	Fields                         []pages.Field
	Unfold                         bool
	Error                          string
}

// alsoSay is what else is said in a call.
type alsoSay struct{ Name, Words string }

// More is how many calls are not shown.
func (b callBlock) More() int { return b.Open - len(b.Rows) }

func (p page) callBlock(ctx context.Context, b base, limit int, back, call string, typed url.Values) (callBlock, error) {
	list, err := web.Get[struct {
		Open  int
		Items []api.CallBody
	}](ctx, p.site, "/calls", url.Values{"limit": {strconv.Itoa(limit)}})
	out := callBlock{base: b, Open: list.Open, Back: back}
	for _, x := range list.Items {
		r := callRow{CallBody: x, What: pages.Capital(api.KindName(x.Kind)), About: strings.Join(x.Services, ", ") + ", " + b.When(x.Start), Since: b.When(x.Due), Unfold: x.ID == call}
		if x.LeadName != "" {
			r.About += ", with " + x.LeadName
		}
		for _, y := range x.Also {
			r.Also = append(r.Also, alsoSay{pages.Capital(api.KindName(y.Kind)), y.Words})
		}
		switch {
		case x.Why == "no_yes":
			r.Why = "She has not said that she comes."
		case x.Because != "":
			r.Why = "Not written: " + x.Because + "."
		}
		if x.Again != nil {
			r.Again = b.When(*x.Again)
		}
		for _, y := range x.Tries {
			s := b.When(y.At) + ": " + outcomeWords[y.Outcome] + ", " + y.By
			if y.Note != "" {
				s += " (" + y.Note + ")"
			}
			r.Tries = append(r.Tries, s)
		}
		get := func(string) string { return "" }
		if r.Unfold {
			get = typed.Get
		}
		r.Fields = callFields(x.ID, get)
		out.Rows = append(out.Rows, r)
	}
	return out, err
}

var outcomeWords = map[string]string{"reached": "reached", "left_word": "left word", "no_answer": "no answer"}

// callFields are the controls of one call; their names end in its id, so that they
// differ on the page.
func callFields(id string, get func(string) string) []pages.Field {
	return []pages.Field{pages.Input("note-"+id, "Note", "nothing about health", "text", get("note-"+id)),
		pages.Input("again-"+id, "Again at", "today, or tomorrow when that time is over", "time", get("again-"+id))}
}

// callsView is the page of all calls.
type callsView struct {
	base
	Calls callBlock
}

func (p page) calls(c echo.Context) error { return p.showCalls(c, http.StatusOK, "", nil, nil) }

func (p page) showCalls(c echo.Context, status int, call string, typed url.Values, wrong []pages.FieldError) error {
	b, err := p.start(c, "/to-do", "Calls to make")
	if err != nil {
		return api.Sorry(c, err)
	}
	b.watching("call visit everything")
	v := callsView{base: b}
	if v.Summary = wrong; len(wrong) > 0 {
		v.Done = ""
	}
	if v.Calls, err = p.callBlock(c.Request().Context(), b, mostCalls, "/calls", call, typed); err != nil {
		return api.Sorry(c, err)
	}
	v.Calls.mark(wrong)
	return show(c, status, "calls", v)
}

// mark says what was wrong with the form of a call.
func (b callBlock) mark(wrong []pages.FieldError) {
	for i, r := range b.Rows {
		if r.Unfold {
			b.Rows[i].Fields = mark(r.Fields, wrong)
		}
	}
}

// mostCalls is how many calls are shown at once (judgement: more than a day's).
const mostCalls = 100

func (p page) tryCall(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	ctx, id := c.Request().Context(), c.Param("id")
	n, err := p.site.Salon(ctx)
	if err != nil {
		return api.Sorry(c, err)
	}
	outcome := form.Get("outcome")
	body := with(object{"outcome": outcome}, "note", form.Get("note-"+id))
	if outcome == "reached" && form.Get("said_yes-"+id) != "" {
		body["said_yes"] = true
	}
	var again api.LocalTime
	if text := form.Get("again-" + id); text != "" && outcome != "reached" {
		const words = "this is no time of day. Right would be: 14:30."
		now := p.site.Now().In(n.Location)
		var fault string
		again, fault = local(n.Location, now.Format(time.DateOnly), text, words)
		if fault == "" && !again.At.After(now) {
			again, fault = local(n.Location, now.AddDate(0, 0, 1).Format(time.DateOnly), text, words)
		}
		if fault != "" {
			return p.callAgain(c, form, http.StatusUnprocessableEntity, []pages.FieldError{{Field: "again-" + id, Text: fault}})
		}
		body["again_at"] = again.At
	}
	wrong, _, status, err := p.press(ctx, api.Question{Method: http.MethodPost, Path: api.Path("calls", id, "tries"), Body: body, Key: form.Get("key") + id},
		map[string]string{"note": "note-" + id, "again_at": "again-" + id, "said_yes": "", "outcome": ""})
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		return p.callAgain(c, form, status, wrong)
	}
	return web.Done(c, web.Twice(back(form, outcome), again.Twice))
}

// callAgain shows the page again that the call stood on.
func (p page) callAgain(c echo.Context, form url.Values, status int, wrong []pages.FieldError) error {
	if form.Get("back") == "/calls" {
		return p.showCalls(c, status, c.Param("id"), form, wrong)
	}
	return p.showToDo(c, status, c.Param("id"), form, wrong)
}

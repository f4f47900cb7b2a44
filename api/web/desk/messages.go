package desk

import (
	"context"
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// messageBlock is messages that failed or hang, or those of a search.
type messageBlock struct {
	base
	Rows []messageRow
	Next string // address of the following page, "" for none
	Back string
}

// messageRow is a message with what was tried.
type messageRow struct {
	api.MessageBody
	What, When, About, Stands, Why string
	Failed, Open                   bool
	Tries                          []string
	Aside                          []pages.Field // why it is laid aside
}

func (p page) messageBlock(ctx context.Context, b base, query url.Values, back string) (messageBlock, error) {
	var list struct{ Items []api.MessageBody }
	reply, err := p.site.Into(ctx, api.Question{Path: "/messages", Query: query}, &list)
	out := messageBlock{base: b, Back: back}
	if next := cursorOf(reply.Link); next != "" {
		q := url.Values{"cursor": {next}}
		for _, name := range []string{"state", "first_date", "last_date"} {
			if v := query.Get(name); v != "" {
				q.Set(name, v)
			}
		}
		out.Next = "/messages?" + q.Encode()
	}
	for _, m := range list.Items {
		r := messageRow{MessageBody: m, What: pages.Capital(api.KindName(m.Kind)), When: b.When(m.Due), Stands: messageState(m.State), Why: m.Problem, Failed: m.State == "failed"}
		r.Aside = []pages.Field{pages.Input("why-"+m.ID, "Why", "such as: told her on the telephone; nothing about health", "text", "")}
		if m.Start != nil {
			r.About = "visit of " + b.When(*m.Start)
		}
		switch {
		case m.State == "sending" && m.Sending != nil:
			r.Stands = "hangs: nobody can tell whether it has gone out since " + b.At(*m.Sending)
		case m.State == "waiting" && m.Due.Before(b.now):
			r.Stands = "should have gone out at " + b.When(m.Due)
		}
		for _, a := range m.Attempts {
			s := b.When(a.Started) + ": " + strings.ReplaceAll(a.Outcome, "_", " ")
			if a.Problem != "" {
				s += ", " + a.Problem
			}
			r.Tries = append(r.Tries, s)
		}
		out.Rows = append(out.Rows, r)
	}
	return out, err
}

// mark puts back what was typed into the form of a message, with what is wrong.
func (b messageBlock) mark(typed url.Values, wrong []pages.FieldError) {
	for i := range b.Rows {
		f := &b.Rows[i].Aside[0]
		if _, here := typed[f.Name]; here && len(wrong) > 0 {
			f.Value, b.Rows[i].Open = typed.Get(f.Name), true
			b.Rows[i].Aside = mark(b.Rows[i].Aside, wrong)
		}
	}
}

// cursorOf is the cursor in a Link header.
func cursorOf(link string) string {
	address, _, _ := strings.Cut(strings.TrimPrefix(link, "<"), ">")
	u, err := url.Parse(address)
	if err != nil {
		return ""
	}
	return u.Query().Get("cursor")
}

// messagesView is the page of messages.
type messagesView struct {
	base
	Messages messageBlock
	Fields   []pages.Field
	First    bool // of several pages
}

var messageStates = []pages.Option{{ID: "failed", Name: "failed"}, {ID: "waiting", Name: "wait for their time"}, {ID: "sending", Name: "on their way"}, {ID: "sent", Name: "sent"},
	{ID: "to_call", Name: "on the list of calls"}, {ID: "withdrawn", Name: "taken back"}, {ID: "not_wanted", Name: "not wished"}}

func (p page) messages(c echo.Context) error { return p.showMessages(c, http.StatusOK, nil, nil) }

func (p page) showMessages(c echo.Context, status int, typed url.Values, wrong []pages.FieldError) error {
	b, err := p.start(c, "/to-do", "Messages")
	if err != nil {
		return api.Sorry(c, err)
	}
	b.watching("message everything")
	v := messagesView{base: b}
	if v.Summary = wrong; len(wrong) > 0 {
		v.Done = ""
	}
	q := url.Values{"limit": {"50"}}
	for _, name := range []string{"state", "first_date", "last_date", "cursor"} {
		if s := c.QueryParam(name); s != "" {
			q.Set(name, s)
		}
	}
	v.First = q.Get("cursor") == ""
	v.Fields = []pages.Field{pages.Select("state", "Which", "", q.Get("state"), messageStates, "failed or hang"),
		pages.Input("first_date", "Due from", "", "date", q.Get("first_date")), pages.Input("last_date", "Due until", "", "date", q.Get("last_date"))}
	if v.Messages, err = p.messageBlock(c.Request().Context(), b, q, "/messages"); err != nil {
		list, st, ok := web.Wrong(err, nil)
		if !ok {
			return api.Sorry(c, err)
		}
		v.Summary, status, v.Fields = list, st, mark(v.Fields, list)
	}
	v.Messages.mark(typed, wrong)
	return show(c, status, "messages", v)
}

func (p page) sendAgain(c echo.Context) error {
	return p.aboutMessage(c, "again", nil, nil)
}

func (p page) layAside(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	why := strings.TrimSpace(form.Get("why-" + c.Param("id")))
	if why == "" {
		return p.messageAgain(c, form, http.StatusUnprocessableEntity, []pages.FieldError{{Field: "why-" + c.Param("id"), Text: "say why it is laid aside."}})
	}
	return p.aboutMessage(c, "aside", object{"why": why}, map[string]string{"why": "why-" + c.Param("id")})
}

// aboutMessage carries out what a button beside a message asks for.
func (p page) aboutMessage(c echo.Context, done string, body any, names map[string]string) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	sub := map[string]string{"again": "again", "aside": "lay-aside"}[done]
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("messages", c.Param("id"), sub), Body: body,
		Key: form.Get("key") + c.Param("id")}, names)
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		return p.messageAgain(c, form, status, wrong)
	}
	return web.Done(c, back(form, done))
}

func (p page) messageAgain(c echo.Context, form url.Values, status int, wrong []pages.FieldError) error {
	if form.Get("back") == "/messages" {
		return p.showMessages(c, status, form, wrong)
	}
	return p.showToDo(c, status, "", form, wrong)
}

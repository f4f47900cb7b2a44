package desk

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

func (p page) mountKept() {
	p.site.GET("/keep", "keep-time", p.keep)
	p.site.POST("/keep", "keep-time", p.keepTime)
	p.site.GET("/walk-in", "add-walk-in", p.walkIn)
	p.site.POST("/walk-in/later", "add-hold", p.walkInLater)
	p.site.POST("/walk-in/now", "add-walk-in", p.walkInNow)
}

// plainForm is a page with one form.
type plainForm struct {
	base
	Action, Button, Before string
	Fields                 []pages.Field
	Instead                []api.OpeningBody
	InsteadAction          string // where another time is sent to
	Takes                  map[string]string
}

// unitOptions are people and places, people first.
func (p page) unitOptions(ctx context.Context, date string) ([]pages.Option, error) {
	day, err := web.Get[api.DayBody](ctx, p.site, api.Path("days", date), nil)
	var out []pages.Option
	for _, u := range day.Units {
		out = append(out, pages.Option{ID: u.UnitID, Name: u.Name})
	}
	return out, err
}

func (p page) keep(c echo.Context) error {
	return p.showKeep(c, http.StatusOK, url.Values{"date": {c.QueryParam("date")}, "minutes": {"20"}}, nil)
}

func (p page) showKeep(c echo.Context, status int, f url.Values, wrong []pages.FieldError) error {
	b, err := p.start(c, "/", "Keep time")
	if err != nil {
		return api.Sorry(c, err)
	}
	units, err := p.unitOptions(c.Request().Context(), b.Today)
	if err != nil {
		return api.Sorry(c, err)
	}
	b.Summary = wrong
	if len(wrong) > 0 {
		b.Done = ""
	}
	at := b.now.In(b.loc).Add(5*time.Minute - 1).Truncate(5 * time.Minute)
	v := plainForm{base: b, Action: "/keep", Button: "Keep it", Before: "For something that is no visit: the laundry, a delivery, a talk. It stands on the board and in the calendars of those people."}
	v.Fields = mark([]pages.Field{pages.Input("title", "What for", "", "text", f.Get("title")), pages.Number("minutes", "Minutes", "1 to 1440", f.Get("minutes")),
		pages.Input("date", "Day", "", "date", or(f.Get("date"), b.Today)), pages.Input("from", "From", "", "time", or(f.Get("from"), at.Format("15:04"))),
		pages.Several("units", "Who and where", f["units"], units)}, wrong)
	return show(c, status, "plain-form", v)
}

func (p page) keepTime(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	n, err := p.site.Salon(ctx)
	if err != nil {
		return api.Sorry(c, err)
	}
	length, wrong := whole(form, "minutes", "1 to 1440 minutes")
	start, fault := local(n.Location, form.Get("date"), form.Get("from"), "Day or time is missing. Right would be: a day, and a time such as 14:30.")
	if fault != "" {
		wrong = append(wrong, pages.FieldError{Field: "from", Text: fault})
	}
	if len(form["units"]) == 0 {
		wrong = append(wrong, pages.FieldError{Field: "units", Text: "Tick at least one person or place."})
	}
	status := http.StatusUnprocessableEntity
	var made api.VisitBody
	if len(wrong) == 0 {
		body := object{"unit_ids": form["units"], "start": start.At, "minutes": length, "title": form.Get("title")}
		if _, err := p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: "/kept-times", Body: body, Key: form.Get("key")}, &made); err != nil {
			var ok bool
			if wrong, status, ok = web.Wrong(err, map[string]string{"start": "from", "unit_ids": "units"}); !ok {
				return api.Sorry(c, err)
			}
		}
	}
	if len(wrong) > 0 {
		return p.showKeep(c, status, form, wrong)
	}
	return web.Done(c, web.Twice(to(api.Path("visits", made.ID), "kept"), start.Twice))
}

func (p page) walkIn(c echo.Context) error {
	return p.showWalkIn(c, http.StatusOK, url.Values{}, nil, nil)
}

func (p page) showWalkIn(c echo.Context, status int, f url.Values, wrong []pages.FieldError, instead []api.OpeningBody) error {
	b, err := p.start(c, "/", "Walked in")
	if err != nil {
		return api.Sorry(c, err)
	}
	services, err := web.Items[api.ServiceBody](c.Request().Context(), p.site, "/services", nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	services = slices.DeleteFunc(services, func(s api.ServiceBody) bool { return s.NeedsHair })
	var list []pages.Option
	for _, s := range services {
		list = append(list, pages.Option{ID: s.ID, Name: s.Name})
	}
	b.Summary = wrong
	v := plainForm{base: b, Action: "/walk-in/now", Button: "In now", Before: "From the next minute on, with whoever is free. Services whose time follows the hair are booked with the hair.", Instead: instead}
	v.InsteadAction, v.Takes = "/walk-in/later", map[string]string{"service": f.Get("service"), "name": f.Get("name")}
	v.Fields = mark([]pages.Field{pages.Select("service", "Walked in for", "", f.Get("service"), list, "choose"), pages.Input("name", "First name", "", "text", f.Get("name"))}, wrong)
	return show(c, status, "plain-form", v)
}

func (p page) walkInNow(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	wrong, status := chosen(form, "service"), http.StatusUnprocessableEntity
	var made api.VisitBody
	var instead []api.OpeningBody
	if len(wrong) == 0 {
		q := api.Question{Method: http.MethodPost, Path: "/walk-ins", Body: object{"service_id": form.Get("service"), "given_name": strings.TrimSpace(form.Get("name"))}, Key: form.Get("key")}
		_, err := p.site.Into(c.Request().Context(), q, &made)
		if err != nil {
			var ok bool
			if wrong, status, ok = web.Wrong(err, map[string]string{"service_id": "service", "given_name": "name"}); !ok {
				return api.Sorry(c, err)
			}
			if x, is := errors.AsType[*api.Problem](err); is && api.SkinTestFirst(x) != "" {
				wrong = []pages.FieldError{{Field: "service", Text: api.SkinTestFirst(x)}}
			}
			instead = insteadOf(err)
		}
	}
	if len(wrong) > 0 {
		return p.showWalkIn(c, status, form, wrong, instead)
	}
	return web.Done(c, to(api.Path("visits", made.ID), "arrived"))
}

// walkInLater pencils the time that was offered instead, for whoever walked in.
func (p page) walkInLater(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	var made api.VisitBody
	body := with(object{"start": form.Get("start"), "services": []object{with(object{"service_id": form.Get("service")}, "lead_id", form.Get("lead"))}}, "title", form.Get("name"))
	if _, err := p.site.Into(c.Request().Context(), api.Question{Method: http.MethodPost, Path: "/holds", Body: body, Key: form.Get("key")}, &made); err != nil {
		wrong, status, ok := web.Wrong(err, map[string]string{"title": "name", "start": "", "service_id": "service", "lead_id": ""})
		if !ok {
			return api.Sorry(c, err)
		}
		return p.showWalkIn(c, status, form, wrong, insteadOf(err))
	}
	return web.Done(c, to(api.Path("visits", made.ID), "pencilled"))
}

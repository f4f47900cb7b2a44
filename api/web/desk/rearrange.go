package desk

import (
	"context"
	"html/template"
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

func (p page) mountRearrange() {
	p.site.GET("/rearrange", "plan-day", p.rearrange)
	p.site.POST("/rearrange", "plan-day", p.plan)
	p.site.POST("/rearrange/:id/apply", "apply-day-plan", p.applyPlan)
}

// planView asks how a day could be rearranged, and shows a proposal.
type planView struct {
	base
	Date, DayWords string
	Fields         []pages.Field
	Plan           *api.DayPlanBody
	Changes        []planRow
	Cautions       []pages.Caution
	Strips         []strip
	Sum            string
	Approve        []pages.Field
	MayApply       bool
}

// planRow is what becomes of one visit, and what its client has to be told.
type planRow struct{ Name, Client, Visit, Words, Tell string }

// strip is a stylist's day before and after.
type strip struct {
	Name          string
	Before, After template.HTML
}

func (p page) rearrange(c echo.Context) error {
	return p.showPlan(c, http.StatusOK, c.QueryParam("plan"), nil, nil)
}

// showPlan shows the form, and under it a proposal where there is one.
func (p page) showPlan(c echo.Context, status int, plan string, form url.Values, wrong []pages.FieldError) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "/to-do", "Rearrange the day")
	if err != nil {
		return api.Sorry(c, err)
	}
	v := planView{base: b, Date: or(or(form.Get("date"), c.QueryParam("date")), b.Today), MayApply: api.May(ctx, "apply-day-plan")}
	if v.Summary = wrong; len(wrong) > 0 {
		v.Done = ""
	}
	if plan != "" {
		x, err := web.Get[api.DayPlanBody](ctx, p.site, api.Path("day-plans", plan), nil)
		if err != nil {
			return api.Sorry(c, err)
		}
		v.Plan, v.Date = &x, x.Date
	}
	v.DayWords = v.DayOf(v.Date)
	day, err := web.Get[api.DayBody](ctx, p.site, api.Path("days", v.Date), nil)
	if err != nil {
		list, st, ok := web.Wrong(err, nil)
		if !ok {
			return api.Sorry(c, err)
		}
		v.Summary, status = append(v.Summary, list...), st
	}
	if form == nil {
		form = url.Values{"date": {v.Date}, "movable": {"true"}}
	}
	v.fields(form, day)
	if v.Plan != nil {
		v.describe(day, form)
	}
	return show(c, status, "rearrange", v)
}

func (v *planView) fields(f url.Values, day api.DayBody) {
	var units []pages.Option
	for _, u := range day.Units {
		units = append(units, pages.Option{ID: u.UnitID, Name: u.Name})
	}
	v.Fields = mark([]pages.Field{pages.Input("date", "Day", "", "date", or(f.Get("date"), v.Date)), pages.Input("from", "Away from", "empty: from the beginning of the day", "time", f.Get("from")),
		pages.Input("to", "Away until", "empty: to its end", "time", f.Get("to")), pages.Several("away", "Who or what is not there", f["away"], units),
		pages.Tick("movable", "Visits that have not begun may move", "", f.Get("movable") != ""), pages.Tick("any_lead", "Whoever moves may get another stylist in charge", "", f.Get("any_lead") != ""),
		pages.Tick("waiting", "Requests of the waiting list may get a place", "", f.Get("waiting") != "")}, v.Summary)
}

// describe puts the proposal into words.
func (v *planView) describe(day api.DayBody, form url.Values) {
	x := v.Plan
	for _, k := range x.Changes {
		r := planRow{Name: pages.Clean(k.Name), Client: k.ClientID, Visit: k.VisitID, Words: k.Words}
		switch {
		case k.Kind == "book":
			r.Tell = "Tell the client that there is a place: " + v.When(k.Start) + "."
		case k.Kind == "move":
			r.Tell = "Ask whether " + v.At(k.Start) + " instead of " + v.At(*k.FromStart) + " suits her."
		case k.LeadID != k.FromLeadID:
			r.Tell = "Tell the client that another stylist is in charge."
		}
		if k.State == "held" && r.Tell != "" {
			r.Tell += " It is only pencilled."
		}
		v.Changes = append(v.Changes, r)
	}
	for _, k := range x.Cautions {
		v.Cautions = append(v.Cautions, pages.Caution{Level: pages.CautionLevel(k.Level), Text: k.Text})
	}
	if n := len(x.Words); n > 0 {
		v.Sum = pages.Capital(strings.TrimSuffix(strings.Join(x.Words[len(x.Changes)+len(x.CannotStay)+len(x.StaysOut):], ". "), ".")) + "."
	}
	v.Approve = mark([]pages.Field{pages.Tick("agreed", "Everybody who gets another time has said yes", "", form.Get("agreed") != ""),
		pages.Input("plan_approved", "Yes by", "the licensed person, where the plan asks for it", "text", form.Get("plan_approved"))}, v.Summary)
	v.Strips = v.strips(day)
}

// strips draw the days of the stylists whose visits change.
func (v *planView) strips(day api.DayBody) []strip {
	if len(day.Open) == 0 || v.Plan.State == "applied" {
		return nil
	}
	var out []strip
	for _, u := range day.Units {
		touched := slices.ContainsFunc(v.Plan.Changes, func(k api.PlanChangeBody) bool { return k.LeadID == u.UnitID || k.FromLeadID == u.UnitID })
		if u.Kind != "stylist" || !touched {
			continue
		}
		before, after := v.withoutChanges(u, day), v.withoutChanges(u, day)
		for _, k := range v.Plan.Changes {
			if k.FromLeadID == u.UnitID && k.FromStart != nil {
				before.Offer = append(before.Offer, small(k.Name, *k.FromStart, *k.FromEnd))
			}
			if k.LeadID == u.UnitID {
				after.Offer = append(after.Offer, small(k.Name, k.Start, k.End))
			}
		}
		before.Label, after.Label = "before", "after"
		a, err := before.SVG()
		if err != nil {
			continue
		}
		b, err := after.SVG()
		if err != nil {
			continue
		}
		out = append(out, strip{u.Name, template.HTML(a), template.HTML(b)}) //nolint:gosec // drawn by ourselves, every text escaped
	}
	return out
}

// withoutChanges is a stylist's day without the visits that change.
func (v *planView) withoutChanges(u api.DayUnitBody, day api.DayBody) pages.DaySmall {
	d := pages.DaySmall{Name: u.Name, From: day.Open[0].From, To: day.Open[len(day.Open)-1].To, Width: 640}
	for _, s := range u.Open {
		d.Open = append(d.Open, pages.TimeSpan(s))
	}
	for _, s := range u.Breaks {
		d.Breaks = append(d.Breaks, pages.TimeSpan(s))
	}
	for _, k := range u.Bookings {
		changes := slices.ContainsFunc(v.Plan.Changes, func(x api.PlanChangeBody) bool { return x.VisitID == k.VisitID })
		if changes {
			continue
		}
		who := ""
		for _, x := range day.Visits {
			if x.ID == k.VisitID && len(x.Services) > 0 {
				who = x.Services[0].Name
			}
		}
		d.Taken = append(d.Taken, small(who, k.From, k.To))
	}
	return d
}

func small(label string, from, to time.Time) pages.Part {
	return pages.Part{Kind: pages.HandsOn, From: from, To: to, Label: pages.Clean(label)}
}

// plan asks for a proposal.
func (p page) plan(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	n, err := p.site.Salon(ctx)
	if err != nil {
		return api.Sorry(c, err)
	}
	body, twice, wrong := planBody(form, n.Location)
	status := http.StatusUnprocessableEntity
	if len(wrong) == 0 {
		var id string
		if id, wrong, status, err = p.proposed(ctx, body); err != nil {
			return api.Sorry(c, err)
		}
		if len(wrong) == 0 {
			return web.Done(c, web.Twice("/rearrange?"+url.Values{"plan": {id}}.Encode(), twice))
		}
	}
	return p.showPlan(c, status, "", form, wrong)
}

func (p page) proposed(ctx context.Context, body object) (id string, wrong []pages.FieldError, status int, err error) {
	var made api.DayPlanBody
	if _, err = p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: "/day-plans", Body: body}, &made); err == nil {
		return made.ID, nil, http.StatusOK, nil
	}
	wrong, status, ok := web.Wrong(err, map[string]string{"waiting_list": "waiting", "unit_id": "away"})
	if !ok {
		return "", nil, status, err
	}
	return "", wrong, status, nil
}

// planBody reads the form.
func planBody(f url.Values, loc *time.Location) (_ object, twice bool, wrong []pages.FieldError) {
	body := object{"date": f.Get("date"), "seconds": 1}
	var away []object
	for _, id := range f["away"] {
		a := object{"unit_id": id}
		for _, name := range []string{"from", "to"} {
			text := f.Get(name)
			if text == "" {
				continue
			}
			at, fault := local(loc, f.Get("date"), text, "this is no time of day. Right would be: 14:30.")
			if fault != "" {
				wrong = append(wrong, pages.FieldError{Field: name, Text: fault})
			}
			a[name], twice = at.At, twice || at.Twice
		}
		away = append(away, a)
	}
	if len(away) > 0 {
		body["away"] = away
	}
	if f.Get("movable") != "" {
		body["movable"] = []string{"all_not_started"}
	}
	if f.Get("any_lead") != "" {
		body["any_lead"] = true
	}
	if f.Get("waiting") != "" {
		body["waiting_list"] = []string{"all"}
	}
	return body, twice, wrong
}

func (p page) applyPlan(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	id := c.Param("id")
	if form.Get("agreed") == "" {
		return p.showPlan(c, http.StatusUnprocessableEntity, id, url.Values{"movable": {"true"}, "plan_approved": {form.Get("plan_approved")}},
			[]pages.FieldError{{Field: "agreed", Text: "Nobody’s time is changed before she has said yes: call first, then tick this."}})
	}
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("day-plans", id, "apply"),
		Body: with(object{}, "approved_by", form.Get("plan_approved")), Key: or(form.Get("key"), web.Key())}, map[string]string{"approved_by": "plan_approved"})
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		return p.showPlan(c, status, id, url.Values{"movable": {"true"}, "agreed": {"true"}, "plan_approved": {form.Get("plan_approved")}}, wrong)
	}
	return web.Done(c, "/rearrange?"+url.Values{"plan": {id}, "done": {"applied"}}.Encode())
}

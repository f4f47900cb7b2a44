package stylist

import (
	"context"
	"html/template"
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// calendarView is the page of a person's own calendar addresses.
type calendarView struct {
	base
	Feeds   []api.FeedBody
	New     *madeFeed // has just been made; shown once
	Private []api.PrivateCalendarBody
	Fields  []pages.Field // of a private calendar
	Label   pages.Field
}

// madeFeed is a calendar address as it is shown once.
type madeFeed struct {
	api.FeedBody
	Subscribe template.URL
	Code      template.HTML
}

func (p page) calendar(c echo.Context) error { return p.showCalendar(c, http.StatusOK, nil, nil, nil) }

func (p page) showCalendar(c echo.Context, status int, made *api.FeedBody, form url.Values, wrong []pages.FieldError) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "Calendar on your phone")
	if err != nil {
		return api.Sorry(c, err)
	}
	if b.Staff == "" {
		return api.Message(c, http.StatusNotFound, "Calendar on your phone", "You have no calendar of your own here. The calendar of the salon and of others is found in the set-up.")
	}
	v := calendarView{base: b}
	v.Scripts = append(v.Scripts, "calendar.js")
	v.Summary = wrong
	if v.Feeds, err = p.ownFeeds(ctx, b.Staff); err != nil {
		return api.Sorry(c, err)
	}
	all, err := web.Items[api.PrivateCalendarBody](ctx, p.site, "/private-calendars", nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	for _, x := range all {
		if x.Staff == b.Staff {
			v.Private = append(v.Private, x)
		}
	}
	if made != nil {
		code, err := pages.CalendarCode(made.Webcal)
		if err != nil {
			return api.Sorry(c, err)
		}
		v.New = &madeFeed{*made, template.URL(made.Webcal), code} //nolint:gosec // made by the program, and checked for the code
	}
	v.Label = pages.Input("label", "What it is for", "such as: my telephone", "text", form.Get("label"))
	v.Fields = web.Mark([]pages.Field{
		pages.Input("address", "Secret address of your private calendar", "https or webcal, as your calendar gives it; it is not shown again", "url", form.Get("address")),
		pages.Input("name", "What you call it", "", "text", form.Get("name")),
		pages.Tick("all_day", "Whole-day events keep me busy too", "", form.Get("all_day") == "true"),
	}, wrong)
	return render(c, status, "own-calendar", v)
}

// ownFeeds are the addresses of a person's own calendar that have not ended.
func (p page) ownFeeds(ctx context.Context, me string) ([]api.FeedBody, error) {
	all, err := web.Items[api.FeedBody](ctx, p.site, "/feeds", nil)
	var out []api.FeedBody
	for _, f := range all {
		if f.Kind == "staff" && f.Subject == me && f.Revoked == nil {
			out = append(out, f)
		}
	}
	return out, err
}

// calendarForm makes, changes or ends an address, or a private calendar.
func (p page) calendarForm(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	ctx := c.Request().Context()
	me := api.Signed(ctx).StaffID
	what := c.Param("what")
	var made api.FeedBody
	switch what {
	case "make":
		_, err = p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: "/feeds", Body: map[string]any{"kind": "staff", "subject_id": me, "label": form.Get("label")}}, &made)
	case "change", "end":
		if err = p.ownsFeed(ctx, me, form.Get("id")); err != nil {
			break
		}
		if what == "change" {
			_, err = p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: api.Path("feeds", form.Get("id"), "rotate")}, &made)
		} else {
			_, err = p.site.Ask(ctx, api.Question{Method: http.MethodDelete, Path: api.Path("feeds", form.Get("id"))})
		}
	case "private":
		_, err = p.site.Ask(ctx, api.Question{Method: http.MethodPost, Path: "/private-calendars", Body: api.NewPrivateCalendarBody{Staff: me,
			Label: form.Get("name"), Address: form.Get("address"), AllDayBusy: form.Get("all_day") == "true"}})
	case "forget":
		err = p.forgetPrivate(ctx, me, form.Get("id"))
	default:
		return echo.NewHTTPError(http.StatusNotFound)
	}
	if err != nil {
		wrong, status, ok := web.Wrong(err, map[string]string{"label": map[bool]string{true: "name", false: "label"}[what == "private"]})
		if !ok {
			return api.Sorry(c, err)
		}
		return p.showCalendar(c, status, nil, form, wrong)
	}
	if what == "make" || what == "change" {
		// The address is shown once and is kept nowhere, not even in the address of
		// a page that says so: this answer is the page.
		return p.showCalendar(c, http.StatusOK, &made, nil, nil)
	}
	return web.Done(c, to("calendar", map[string]string{"end": "ended", "private": "private", "forget": "removed"}[what]))
}

// ownsFeed refuses what is another's: here everybody sees to her own, also who may
// change all of them.
func (p page) ownsFeed(ctx context.Context, me, id string) error {
	list, err := p.ownFeeds(ctx, me)
	if err != nil {
		return err
	}
	for _, f := range list {
		if f.ID == id {
			return nil
		}
	}
	return &api.Problem{Status: http.StatusNotFound, Title: "There is no such address", Detail: "This is none of your calendar's addresses."}
}

func (p page) forgetPrivate(ctx context.Context, me, id string) error {
	var x api.PrivateCalendarBody
	a, err := p.site.Into(ctx, api.Question{Path: api.Path("private-calendars", id)}, &x)
	if err != nil {
		return err
	}
	if x.Staff != me {
		return &api.Problem{Status: http.StatusNotFound, Title: "There is no such calendar", Detail: "This is none of your private calendars."}
	}
	_, err = p.site.Ask(ctx, api.Question{Method: http.MethodDelete, Path: api.Path("private-calendars", id), IfMatch: a.ETag})
	return err
}

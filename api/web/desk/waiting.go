package desk

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/rickb777/date"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
	"chairblock/scheduling"
)

func (p page) mountWaiting() {
	p.site.GET("/waiting", "list-waiting", p.waiting)
	p.site.GET("/waiting/new", "add-waiting", p.newWish)
	p.site.POST("/waiting/new", "add-waiting", p.addWish)
	p.site.POST("/waiting/offer", "match-waiting", p.offer)
	p.site.POST("/waiting/:id/off", "withdraw-waiting", p.offList)
}

// waitingView is the waiting list, with who fits into free time.
type waitingView struct {
	base
	Rows   []wishRow
	Next   string
	First  bool
	Fits   *fitBlock
	Fields []pages.Field // of the days that are looked at
}

// wishRow is a request.
type wishRow struct {
	ID, Client, ClientID, What, When, Notice, Since, Left, Contact, Note, ETag string
	Pencilled                                                                  string // address of the visit that is pencilled for it
	Urgent                                                                     bool
}

// fitBlock is who fits.
type fitBlock struct {
	About   string // what time is looked at
	Waiting int
	Best    string
	Rows    []fitRow
	Query   url.Values // to come back here
}

// fitRow is a request with its best opening.
type fitRow struct {
	Wish, Client, Words, Start, Lead string
	Best                             bool
	Cautions                         []pages.Caution
	Approval                         *pages.Field // asks who said yes, nil when nothing needs that
}

// urgentDays is from how few days left on a request is marked (judgement).
const urgentDays = 3

func (p page) waiting(c echo.Context) error { return p.showWaiting(c, http.StatusOK, nil) }

func (p page) showWaiting(c echo.Context, status int, wrong []pages.FieldError) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "/waiting", "Waiting list")
	if err != nil {
		return api.Sorry(c, err)
	}
	b.watching("waiting visit day everything")
	v := waitingView{base: b}
	if v.Summary = wrong; len(wrong) > 0 {
		v.Done = ""
	}
	q := url.Values{"limit": {"50"}}
	if cursor := c.QueryParam("cursor"); cursor != "" {
		q.Set("cursor", cursor)
	}
	v.First = q.Get("cursor") == ""
	var list struct{ Items []api.WishBody }
	reply, err := p.site.Into(ctx, api.Question{Path: "/waiting-list", Query: q}, &list)
	if err != nil {
		return api.Sorry(c, err)
	}
	if next := cursorOf(reply.Link); next != "" {
		v.Next = "/waiting?" + url.Values{"cursor": {next}}.Encode()
	}
	for _, w := range list.Items {
		v.Rows = append(v.Rows, wishRowOf(b, w))
	}
	v.Fields = []pages.Field{pages.Input("first", "From", "", "date", or(c.QueryParam("first"), b.Today)),
		pages.Input("last", "Until", "at most 13 days later", "date", or(c.QueryParam("last"), b.now.In(b.loc).AddDate(0, 0, 6).Format(time.DateOnly)))}
	if c.QueryParam("visit") != "" || c.QueryParam("first") != "" {
		faults, err := p.fits(ctx, &v, c.QueryParams(), wrong)
		if err != nil {
			return api.Sorry(c, err)
		}
		if len(faults) > 0 && len(wrong) == 0 {
			v.Summary, v.Fields, status = faults, mark(v.Fields, faults), http.StatusUnprocessableEntity
		}
	}
	return show(c, status, "waiting", v)
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func wishRowOf(b base, w api.WishBody) wishRow {
	r := wishRow{ID: w.ID, Client: pages.Clean(w.ClientName), ClientID: w.ClientID, What: strings.Join(w.Names, " and "), Contact: byWords[w.ContactBy], Note: w.Note, ETag: fmt.Sprintf(`"v%d"`, w.Version)}
	if len(w.Leads) > 0 {
		r.What += " with " + strings.Join(w.Leads, " or ")
	}
	r.When = "from " + b.DayOf(w.FirstDate) + " until " + b.DayOf(w.LastDate)
	if len(w.Weekdays) > 0 && len(w.Weekdays) < 7 {
		var days []string
		for _, d := range w.Weekdays {
			days = append(days, weekdays[d%7])
		}
		r.When += ", on " + strings.Join(days, ", ")
	}
	if w.From != "" && w.From != "00:00" {
		r.When += ", not before " + w.From
	}
	if w.To != "" && w.To != "24:00" {
		r.When += ", over by " + w.To
	}
	if w.Notice > 0 {
		r.Notice = "hears of it at least " + minutes(w.Notice) + " before"
	}
	if w.Pencilled != "" {
		r.Pencilled = api.Path("visits", w.Pencilled)
	}
	if w.Created != nil {
		r.Since = days(max(0, int(b.now.Sub(*w.Created)/(24*time.Hour))))
	}
	if last, err := date.Parse(time.DateOnly, w.LastDate); err == nil {
		n := int(last.Sub(scheduling.CivilDate(b.now, b.loc)))
		r.Urgent = n <= urgentDays
		switch {
		case n < 0:
			r.Left = "its days are over"
		case n == 0:
			r.Left = "today is the last day"
		default:
			r.Left = days(n) + " left"
		}
	}
	return r
}

var weekdays = []string{"Sunday", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday"}

// days says a number of days.
func days(n int) string {
	switch n {
	case 0:
		return "less than a day"
	case 1:
		return "1 day"
	}
	return strconv.Itoa(n) + " days"
}

// matchRounds bounds the search for the best set while somebody waits for the page
// (judgement: more improve nothing on days as busy as a salon's).
const matchRounds = 200

// fits asks who fits into some days, or into the time that a visit frees.
func (p page) fits(ctx context.Context, v *waitingView, q url.Values, refused []pages.FieldError) ([]pages.FieldError, error) {
	body, kept := object{"rounds": matchRounds}, url.Values{}
	for field, name := range map[string]string{"visit": "visit_id", "first": "first_date", "last": "last_date"} {
		if s := q.Get(field); s != "" {
			body[name] = s
			kept.Set(field, s)
		}
	}
	if body["visit_id"] != nil {
		delete(body, "first_date")
		delete(body, "last_date")
	}
	var a api.MatchAnswer
	_, err := p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: "/waiting-list/matches", Body: body}, &a)
	if err != nil {
		wrong, _, ok := web.Wrong(err, map[string]string{"first_date": "first", "last_date": "last", "visit_id": ""})
		if !ok {
			return nil, err
		}
		return wrong, nil
	}
	licensed, err := p.stylists(ctx)
	if err != nil {
		return nil, err
	}
	f := &fitBlock{Waiting: a.Waiting, Best: pages.Capital(a.Best.Words), Query: kept}
	for _, m := range a.Fits {
		r := fitRow{Wish: m.WaitingID, Client: m.ClientID, Words: m.Words, Start: m.Opening.Start.Format(time.RFC3339), Lead: m.Opening.LeadID, Best: m.InBest}
		name := approvalOf(m.WaitingID)
		asked := slices.ContainsFunc(refused, func(w pages.FieldError) bool { return w.Field == name })
		for _, x := range slices.Concat(m.Opening.Cautions, m.Cautions) {
			r.Cautions = append(r.Cautions, pages.Caution{Level: pages.CautionLevel(x.Level), Text: x.Text})
			asked = asked || pages.CautionLevel(x.Level) == pages.CautionNeedsYes
		}
		if asked {
			one := []pages.Field{pages.Select(name, "Licensed person who said yes", "without a yes this is not booked", q.Get(name), licensed, "choose")}
			r.Approval = &mark(one, refused)[0]
		}
		f.Rows = append(f.Rows, r)
	}
	if q.Get("visit") != "" {
		f.About = "Into the time that the visit frees, and the rest of its day"
	} else {
		f.About = "From " + v.DayOf(q.Get("first")) + " until " + v.DayOf(q.Get("last"))
	}
	v.Fits = f
	return nil, nil
}

// approvalOf names the field of whoever said yes to what a request asks for.
func approvalOf(wish string) string { return "approved-" + wish }

// offer pencils or books the opening of a request.
func (p page) offer(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	for _, name := range []string{"visit", "first", "last"} { // to show the same again
		c.QueryParams().Set(name, form.Get("q-"+name))
	}
	yes := approvalOf(form.Get("wish"))
	c.QueryParams().Set(yes, form.Get(yes))
	wish, err := web.Get[api.WishBody](ctx, p.site, api.Path("waiting-list", form.Get("wish")), nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	var made api.VisitBody
	body := offerBody(wish, form)
	q := api.Question{Method: http.MethodPost, Path: "/visits", Body: with(body, "approved_by", form.Get(yes)), Key: form.Get("key") + form.Get("wish")}
	if form.Get("do") == "pencil" {
		q.Path = "/holds"
		delete(body, "approved_by")
	}
	if _, err := p.site.Into(ctx, q, &made); err != nil {
		wrong, status, ok := web.Wrong(err, map[string]string{"approved_by": yes})
		if !ok {
			return api.Sorry(c, err)
		}
		for i := range wrong {
			if wrong[i].Field == yes {
				wrong[i].Text = "choose the licensed person who said yes"
				continue
			}
			wrong[i].Field = ""
			wrong[i].Text = pages.Capital(wrong[i].Text)
		}
		return p.showWaiting(c, status, wrong)
	}
	if form.Get("do") == "pencil" {
		return web.Done(c, to(api.Path("visits", made.ID), "pencilled"))
	}
	return web.Done(c, to(api.Path("visits", made.ID), "booked"))
}

// offerBody is the visit that a request becomes.
func offerBody(wish api.WishBody, form url.Values) object {
	services := slices.Clone(wish.Services)
	for i := range services {
		services[i].LeadID = or(services[i].LeadID, form.Get("lead"))
	}
	return with(object{"client_id": wish.ClientID, "start": form.Get("start"), "services": services, "waiting_list_id": wish.ID}, "note", wish.Note)
}

func (p page) offList(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodDelete, Path: api.Path("waiting-list", c.Param("id")), IfMatch: form.Get("version")}, nil)
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		return p.showWaiting(c, status, wrong)
	}
	return web.Done(c, to("/waiting", "off"))
}

// wishView is the form of a new request.
type wishView struct {
	base
	Client      api.ClientBody
	Fields      []pages.Field
	Hair, Times []pages.Field
	Known       string // her hair as it is expected, ""
}

var reaches = []pages.Option{{ID: "ear", Name: "ear"}, {ID: "chin", Name: "chin"}, {ID: "shoulder", Name: "shoulder"}, {ID: "mid_back", Name: "mid-back"}, {ID: "waist", Name: "waist"}, {ID: "longer", Name: "longer"}}
var ponytails = []pages.Option{{ID: "little", Name: "pencil: little"}, {ID: "average", Name: "finger: average"}, {ID: "a_lot", Name: "two fingers: a lot"}}
var histories = []pages.Option{{ID: "nothing", Name: "nothing"}, {ID: "straightened_here", Name: "straightened here"}, {ID: "straightened", Name: "straightened elsewhere"}, {ID: "coloured", Name: "coloured"},
	{ID: "bleached_or_highlighted", Name: "bleached or highlighted"}, {ID: "relaxer_or_perm", Name: "relaxer or perm"}, {ID: "henna_or_other", Name: "henna or other"}, {ID: "not_sure", Name: "not sure"}}

func (p page) newWish(c echo.Context) error {
	return p.showNewWish(c, http.StatusOK, url.Values{"client": {c.QueryParam("client")}}, nil)
}

func (p page) showNewWish(c echo.Context, status int, f url.Values, wrong []pages.FieldError) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "/waiting", "Put on the waiting list")
	if err != nil {
		return api.Sorry(c, err)
	}
	v := wishView{base: b}
	if f.Get("client") == "" {
		return web.Done(c, "/clients")
	}
	if v.Client, err = web.Get[api.ClientBody](ctx, p.site, api.Path("clients", f.Get("client")), nil); err != nil {
		return api.Sorry(c, err)
	}
	services, err := web.Items[api.ServiceBody](ctx, p.site, "/services", nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	leads, err := p.stylists(ctx)
	if err != nil {
		return api.Sorry(c, err)
	}
	x, err := web.Get[api.ExpectedHair](ctx, p.site, api.Path("clients", v.Client.ID, "expected-hair"), nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	if x.Hair != nil {
		v.Known = hairWords(*x.Hair)
	}
	v.Title, v.Summary = "Waiting list: "+pages.Clean(v.Client.GivenName+" "+v.Client.FamilyName), wrong
	v.fields(f, services, leads)
	v.Fields, v.Hair, v.Times = mark(v.Fields, wrong), mark(v.Hair, wrong), mark(v.Times, wrong)
	return show(c, status, "wish-form", v)
}

func (v *wishView) fields(f url.Values, services []api.ServiceBody, leads []pages.Option) {
	var list []pages.Option
	for _, s := range services {
		list = append(list, pages.Option{ID: s.ID, Name: s.Name})
	}
	v.Fields = []pages.Field{pages.Select("service", "Service", "", f.Get("service"), list, "choose"), pages.Select("lead", "Stylist in charge", "", f.Get("lead"), leads, "anybody who can"),
		pages.Number("notice", "Hours of notice", "how long before she has to hear of it", f.Get("notice")), pages.Input("note", "Note", "becomes the note of the visit; never health", "text", f.Get("note"))}
	v.Hair = []pages.Field{pages.Select("reach", "Pulled straight or wet, it reaches", "only for a service whose time follows the hair", f.Get("reach"), reaches, "choose"),
		pages.Select("ponytail", "Ponytail like a", "", f.Get("ponytail"), ponytails, "not known"), pages.Several("history", "Done to it in the last three years", f["history"], histories)}
	var names []pages.Option
	for d := 1; d <= 7; d++ {
		names = append(names, pages.Option{ID: strconv.Itoa(d), Name: weekdays[d%7]})
	}
	v.Times = []pages.Field{pages.Input("first_date", "First day that suits", "", "date", or(f.Get("first_date"), v.Today)), pages.Input("last_date", "Last day that suits", "", "date", f.Get("last_date")),
		pages.Input("from", "Not before", "empty: any time", "time", f.Get("from")), pages.Input("to", "Over by", "empty: any time", "time", f.Get("to")),
		pages.Several("weekdays", "On these days only", f["weekdays"], names)}
}

func (p page) addWish(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	body, wrong, err := p.wishBody(ctx, form)
	if err != nil {
		return api.Sorry(c, err)
	}
	status := http.StatusUnprocessableEntity
	if len(wrong) == 0 {
		wrong, _, status, err = p.press(ctx, api.Question{Method: http.MethodPost, Path: "/waiting-list", Body: body, Key: form.Get("key")},
			map[string]string{"service_id": "service", "services": "service", "lead_id": "lead", "hair": "reach", "notice_minutes": "notice", "client_id": ""})
		if err != nil {
			return api.Sorry(c, err)
		}
	}
	if len(wrong) == 0 {
		return web.Done(c, to("/waiting", "waiting"))
	}
	return p.showNewWish(c, status, form, wrong)
}

// wishBody reads the form of a request, with hair as it is expected or as it was
// told.
func (p page) wishBody(ctx context.Context, f url.Values) (object, []pages.FieldError, error) {
	wrong := chosen(f, "service")
	service := object{"service_id": f.Get("service")}
	body := object{"client_id": f.Get("client"), "services": []object{service}, "first_date": f.Get("first_date"), "last_date": or(f.Get("last_date"), f.Get("first_date"))}
	with(service, "lead_id", f.Get("lead"))
	with(with(with(body, "from", f.Get("from")), "to", f.Get("to")), "note", f.Get("note"))
	if text := strings.TrimSpace(f.Get("notice")); text != "" {
		n, w := whole(f, "notice", "whole hours, such as 24")
		wrong, body["notice_minutes"] = append(wrong, w...), n*60
	}
	var list []int
	for _, d := range f["weekdays"] {
		if n, err := strconv.Atoi(d); err == nil {
			list = append(list, n)
		}
	}
	if len(list) > 0 {
		body["weekdays"] = list
	}
	if len(wrong) > 0 {
		return body, wrong, nil
	}
	s, err := web.Get[api.ServiceBody](ctx, p.site, api.Path("services", f.Get("service")), nil)
	if err != nil || !s.NeedsHair {
		return body, nil, err
	}
	hair, wrong, err := p.wishHair(ctx, f)
	service["hair"] = hair
	return body, wrong, err
}

func (p page) wishHair(ctx context.Context, f url.Values) (*api.HeadBody, []pages.FieldError, error) {
	if f.Get("reach") == "" {
		x, err := web.Get[api.ExpectedHair](ctx, p.site, api.Path("clients", f.Get("client"), "expected-hair"), nil)
		if err == nil && x.Hair == nil {
			return nil, []pages.FieldError{{Field: "reach", Text: "Her hair was never measured here, and the time follows it. Ask where it reaches."}}, nil
		}
		return x.Hair, nil, err
	}
	var a api.PhoneAnswerBody
	body := with(object{"reach": f.Get("reach")}, "ponytail", f.Get("ponytail"))
	if len(f["history"]) > 0 {
		body["history"] = f["history"]
	}
	_, err := p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: "/estimates/phone", Body: body}, &a)
	if wrong, _, ok := web.Wrong(err, nil); err != nil && ok {
		return nil, wrong, nil
	}
	return a.StandIn, nil, err
}

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

// Pages on which something is chosen for a visit: another visit to change places
// with or to belong to, another stylist, the client who a walk-in is, and the
// consent of the client.

func (p page) mountVisitChoices() {
	p.site.GET("/visits/:id/swap", "swap-visit", p.swap)
	p.site.POST("/visits/:id/swap", "swap-visit", p.swapNow)
	p.site.GET("/visits/:id/lead", "move-visit", p.lead)
	p.site.POST("/visits/:id/lead", "move-visit", p.leadNow)
	p.site.GET("/visits/:id/together", "book-group", p.together)
	p.site.POST("/visits/:id/together", "book-group", p.togetherNow)
	p.site.GET("/visits/:id/client", "name-client", p.nameClient)
	p.site.POST("/visits/:id/client", "name-client", p.nameClientNow)
	p.site.GET("/visits/:id/consent", "add-consent", p.consent)
	p.site.POST("/visits/:id/consent", "add-consent", p.consentNow)
}

// choiceView is a page on which something is chosen for a visit.
type choiceView struct {
	base
	V       api.VisitBody
	ETag    string
	Day     []api.LateVisitBody // visits of the same day that may be chosen
	Other   string              // id of the chosen one
	Before  []string            // consequences, before the press
	Fields  []pages.Field
	Wording api.WordingBody
	Clients []api.ClientBody
	Query   string
	Instead []api.OpeningBody
	Typed   url.Values
}

// InsteadAction is where another time is sent to.
func (v choiceView) InsteadAction() string { return api.Path("visits", v.V.ID, "at") }

// Takes are the fields that go with it.
func (v choiceView) Takes() map[string]string {
	return map[string]string{"version": v.ETag, "approved": v.Typed.Get("lead_approved")}
}

// choice reads the visit that something is chosen for.
func (p page) choice(c echo.Context, title string) (choiceView, error) {
	b, err := p.start(c, "/", title)
	v := choiceView{base: b, Typed: url.Values{}}
	if err != nil {
		return v, err
	}
	reply, err := p.site.Into(c.Request().Context(), api.Question{Path: api.Path("visits", c.Param("id"))}, &v.V)
	v.ETag = reply.ETag
	v.Title = title + ": " + pages.Clean(v.V.ClientName)
	return v, err
}

// sameDay lists the other visits of the day that are booked.
func (p page) sameDay(ctx context.Context, v *choiceView) error {
	d := v.V.Start.In(v.loc).Format(time.DateOnly)
	day, err := web.Get[api.DelaysBody](ctx, p.site, api.Path("days", d, "delays"), url.Values{"remedies": {"no"}})
	if err != nil {
		return err
	}
	for _, o := range day.Visits {
		if o.VisitID != v.V.ID && (o.State == "booked" || o.State == "held") {
			v.Day = append(v.Day, o)
		}
	}
	return nil
}

// typedIn puts what was typed back and marks what is wrong.
func (v *choiceView) typedIn(form url.Values, wrong []pages.FieldError, instead []api.OpeningBody) {
	v.Typed, v.Summary, v.Instead, v.Done = form, wrong, instead, ""
	v.Fields = mark(v.Fields, wrong)
}

// VisitOption says a visit of the day in a line.
func (v choiceView) VisitOption(o api.LateVisitBody) string {
	return pages.Clean(o.Name) + ", " + v.Span(o.BookedStart, o.BookedEnd)
}

func (p page) swap(c echo.Context) error {
	v, err := p.readSwap(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	return show(c, http.StatusOK, "swap", v)
}

// readSwap reads the page; with another visit in the address it says what would
// become of both.
func (p page) readSwap(c echo.Context) (choiceView, error) {
	ctx := c.Request().Context()
	v, err := p.choice(c, "Change places")
	if err != nil {
		return v, err
	}
	if err := p.sameDay(ctx, &v); err != nil {
		return v, err
	}
	v.Day = slices.DeleteFunc(v.Day, func(o api.LateVisitBody) bool { return o.State != "booked" })
	if v.Other = c.QueryParam("other"); v.Other == "" {
		return v, nil
	}
	i := slices.IndexFunc(v.Day, func(o api.LateVisitBody) bool { return o.VisitID == v.Other })
	if i < 0 {
		v.Other = ""
		v.Summary = []pages.FieldError{{Text: "That visit is not booked on this day any more. Choose another one."}}
		return v, nil
	}
	v.Typed = url.Values{"other": {v.Other}, "other_version": {strconv.FormatInt(v.Day[i].Version, 10)}, "keep_leads": {c.QueryParam("keep_leads")}}
	v.Fields = swapFields(v.Typed)
	return v, p.previewSwap(ctx, &v)
}

func swapFields(f url.Values) []pages.Field {
	return []pages.Field{pages.Select("keep_leads", "Stylists", "", f.Get("keep_leads"), []pages.Option{{ID: "", Name: "each client stays with hers"}, {ID: "no", Name: "they change stylists, too"}}, ""),
		pages.Input("swap_approved", "Yes by", "the licensed person, only when asked for", "text", f.Get("swap_approved"))}
}

// swapBody is the question that a form asks.
func swapBody(f url.Values, preview bool) object {
	version, _ := strconv.ParseInt(f.Get("other_version"), 10, 64)
	body := object{"other_id": f.Get("other"), "other_version": max(1, version), "keep_leads": f.Get("keep_leads") != "no"}
	if preview {
		body["preview"] = true
	}
	return with(body, "approved_by", f.Get("swap_approved"))
}

// previewSwap says what would become of both visits, or why they cannot.
func (p page) previewSwap(ctx context.Context, v *choiceView) error {
	var out api.SwapAnswer
	_, err := p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: api.Path("visits", v.V.ID, "swap"), Body: swapBody(v.Typed, true), IfMatch: v.ETag}, &out)
	if err != nil {
		wrong, _, ok := web.Wrong(err, swapPointers)
		if !ok {
			return err
		}
		v.typedIn(v.Typed, wrong, nil)
		return nil
	}
	for _, b := range []api.VisitBody{out.Visit, out.Other} {
		was := v.V.Start
		if b.ID != v.V.ID {
			for _, o := range v.Day {
				if o.VisitID == b.ID {
					was = o.BookedStart
				}
			}
		}
		s := pages.Clean(b.ClientName) + ": from " + v.At(was) + " to " + v.At(b.Start) + ", until " + v.At(b.End)
		if lead := leadNames(b); lead != "" {
			s += ", with " + lead
		}
		v.Before = append(v.Before, s+". "+toldOf(b.ContactBy))
		for _, n := range b.StillNeeded {
			if n.Overdue && n.State != "done" && n.State != "overridden" {
				v.Before = append(v.Before, pages.Clean(b.ClientName)+" would still need "+n.Words+", and it is late for that.")
			}
		}
	}
	return nil
}

// leadNames names who is in charge of a visit.
func leadNames(b api.VisitBody) string {
	var out []string
	for _, x := range b.Services {
		if name := b.UnitNames[x.LeadID]; name != "" && !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return strings.Join(out, " and ")
}

// toldOf says how a client hears of a new time.
func toldOf(by string) string {
	switch by {
	case "call":
		return "She is called: it goes on the list of calls to make."
	case "not_asked":
		return "Nobody has asked her yet how she wants to hear of it: with a telephone number it goes on the list of calls."
	case "none", "":
		return "Nobody tells her: she wishes no messages."
	}
	return "She is told " + byWords[by] + "."
}

var swapPointers = map[string]string{"approved_by": "swap_approved", "other_id": "", "other_version": ""}

func (p page) swapNow(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	id := c.Param("id")
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("visits", id, "swap"),
		Body: swapBody(form, false), IfMatch: form.Get("version")}, swapPointers)
	if err != nil {
		return api.Sorry(c, err)
	}
	if len(wrong) == 0 {
		return web.Done(c, to(api.Path("visits", id), "swapped"))
	}
	c.QueryParams().Set("other", form.Get("other"))
	c.QueryParams().Set("keep_leads", form.Get("keep_leads"))
	v, err := p.readSwap(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.Fields = swapFields(form)
	v.typedIn(form, wrong, nil)
	return show(c, status, "swap", v)
}

// stylists are the people who may be in charge.
func (p page) stylists(ctx context.Context) ([]pages.Option, error) {
	list, err := web.Items[api.StaffBody](ctx, p.site, "/staff", nil)
	var out []pages.Option
	for _, s := range list {
		if s.MayLead && s.Active {
			out = append(out, pages.Option{ID: s.ID, Name: s.Name})
		}
	}
	return out, err
}

func (p page) readLead(c echo.Context, form url.Values) (choiceView, error) {
	v, err := p.choice(c, "Another stylist in charge")
	if err != nil {
		return v, err
	}
	list, err := p.stylists(c.Request().Context())
	list = append([]pages.Option{{ID: "any", Name: "anybody who can"}}, list...)
	v.Fields = []pages.Field{pages.Select("lead", "Stylist in charge", "", form.Get("lead"), list, "choose"),
		pages.Input("lead_approved", "Yes by", "the licensed person, only when asked for", "text", form.Get("lead_approved"))}
	return v, err
}

func (p page) lead(c echo.Context) error {
	v, err := p.readLead(c, url.Values{})
	if err != nil {
		return api.Sorry(c, err)
	}
	return show(c, http.StatusOK, "lead", v)
}

func (p page) leadNow(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	id := c.Param("id")
	body := with(object{}, "approved_by", form.Get("lead_approved"))
	if form.Get("lead") == "any" {
		body["any_lead"] = true
	} else {
		with(body, "lead_id", form.Get("lead"))
	}
	wrong, instead, status := chosen(form, "lead"), []api.OpeningBody(nil), http.StatusUnprocessableEntity
	if len(wrong) == 0 {
		if at, err := time.Parse(time.RFC3339, form.Get("start")); err == nil { // with the start the answer names other times
			body["start"] = at
		}
		wrong, instead, status, err = p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("visits", id, "move"), Body: body, IfMatch: form.Get("version")},
			map[string]string{"lead_id": "lead", "approved_by": "lead_approved"})
		if err != nil {
			return api.Sorry(c, err)
		}
	}
	if len(wrong) == 0 {
		return web.Done(c, to(api.Path("visits", id), "lead"))
	}
	v, err := p.readLead(c, form)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.typedIn(form, wrong, instead)
	return show(c, status, "lead", v)
}

var togetherHows = []pages.Option{{ID: "arrive_together", Name: "arrive together"}, {ID: "side_by_side", Name: "side by side"}, {ID: "one_after_other", Name: "one after the other"}}

func (p page) readTogether(c echo.Context, form url.Values) (choiceView, error) {
	v, err := p.choice(c, "Belongs to another visit")
	if err != nil {
		return v, err
	}
	if err := p.sameDay(c.Request().Context(), &v); err != nil {
		return v, err
	}
	var list []pages.Option
	for _, o := range v.Day {
		list = append(list, pages.Option{ID: o.VisitID + " " + strconv.FormatInt(o.Version, 10), Name: v.VisitOption(o)})
	}
	v.Fields = []pages.Field{pages.Select("together_with", "Which visit of the same day", "", form.Get("together_with"), list, "choose"),
		pages.Select("together_how", "How", "", form.Get("together_how"), togetherHows, "choose")}
	return v, nil
}

func (p page) together(c echo.Context) error {
	v, err := p.readTogether(c, url.Values{})
	if err != nil {
		return api.Sorry(c, err)
	}
	return show(c, http.StatusOK, "together", v)
}

func (p page) togetherNow(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	id := c.Param("id")
	wrong, status := chosen(form, "together_with", "together_how"), http.StatusUnprocessableEntity
	if len(wrong) == 0 {
		other, version, _ := strings.Cut(form.Get("together_with"), " ")
		theirs, _ := strconv.ParseInt(version, 10, 64)
		mine, _ := strconv.ParseInt(strings.Trim(form.Get("version"), `v"`), 10, 64)
		body := object{"how": form.Get("together_how"), "visits": []object{{"visit_id": id, "version": max(1, mine)}, {"visit_id": other, "version": max(1, theirs)}}}
		wrong, _, status, err = p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: "/visit-groups", Body: body, Key: form.Get("key")},
			map[string]string{"how": "together_how", "visits": "together_with", "visit_id": "together_with", "version": "together_with"})
		if err != nil {
			return api.Sorry(c, err)
		}
	}
	if len(wrong) == 0 {
		return web.Done(c, to(api.Path("visits", id), "linked"))
	}
	v, err := p.readTogether(c, form)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.typedIn(form, wrong, nil)
	return show(c, status, "together", v)
}

func (p page) readNameClient(c echo.Context, form url.Values) (choiceView, error) {
	v, err := p.choice(c, "Who is it")
	if err != nil {
		return v, err
	}
	v.Query = strings.TrimSpace(form.Get("q"))
	v.Fields = []pages.Field{pages.Input("name_approved", "Yes by", "the licensed person, only when asked for", "text", form.Get("name_approved"))}
	if v.Query != "" {
		v.Clients, err = web.Items[api.ClientBody](c.Request().Context(), p.site, "/clients", url.Values{"name": {v.Query}, "limit": {"20"}})
	}
	return v, err
}

func (p page) nameClient(c echo.Context) error {
	v, err := p.readNameClient(c, url.Values{"q": {c.QueryParam("q")}})
	if err != nil {
		return api.Sorry(c, err)
	}
	return show(c, http.StatusOK, "name-client", v)
}

func (p page) nameClientNow(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	id := c.Param("id")
	body := with(object{"client_id": form.Get("client")}, "approved_by", form.Get("name_approved"))
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("visits", id, "client"), Body: body, IfMatch: form.Get("version")},
		map[string]string{"client_id": "", "approved_by": "name_approved"})
	if err != nil {
		return api.Sorry(c, err)
	}
	if len(wrong) == 0 {
		return web.Done(c, to(api.Path("visits", id), "named"))
	}
	v, err := p.readNameClient(c, form)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.typedIn(form, wrong, nil)
	return show(c, status, "name-client", v)
}

func (p page) readConsent(c echo.Context, form url.Values) (choiceView, error) {
	v, err := p.choice(c, "Consent")
	if err != nil {
		return v, err
	}
	list, err := web.Items[api.WordingBody](c.Request().Context(), p.site, "/consent-wordings", nil)
	if err != nil {
		return v, err
	}
	v.Wording = list[len(list)-1]
	v.Fields = []pages.Field{pages.Input("consent_by", "Who agrees", "full name: the client, or a minor’s guardian", "text", form.Get("consent_by")),
		pages.Select("consent_how", "How", "", form.Get("consent_how"), hows, "choose"),
		pages.Input("consent_taken_by", "Taken by", "who here heard or saw it", "text", form.Get("consent_taken_by"))}
	return v, nil
}

func (p page) consent(c echo.Context) error {
	v, err := p.readConsent(c, url.Values{})
	if err != nil {
		return api.Sorry(c, err)
	}
	return show(c, http.StatusOK, "consent", v)
}

func (p page) consentNow(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	wrong, status := chosen(form, "consent_how"), http.StatusUnprocessableEntity
	if len(wrong) == 0 {
		wording, _ := strconv.Atoi(form.Get("wording"))
		body := object{"wording_version": max(1, wording), "given_by": form.Get("consent_by"), "how": form.Get("consent_how")}
		wrong, _, status, err = p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("clients", form.Get("client"), "consents"),
			Body: with(body, "taken_by", form.Get("consent_taken_by")), Key: form.Get("key")}, map[string]string{"given_by": "consent_by", "how": "consent_how", "taken_by": "consent_taken_by", "wording_version": ""})
		if err != nil {
			return api.Sorry(c, err)
		}
	}
	if len(wrong) == 0 {
		return web.Done(c, to(api.Path("visits", c.Param("id")), "consent"))
	}
	v, err := p.readConsent(c, form)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.typedIn(form, wrong, nil)
	return show(c, status, "consent", v)
}

// Stylists is the control that asks for another preview.
func (v choiceView) Stylists() []pages.Field { return v.Fields[:min(1, len(v.Fields))] }

// Approval is the control beside the button.
func (v choiceView) Approval() []pages.Field { return v.Fields[min(1, len(v.Fields)):] }

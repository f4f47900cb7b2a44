package desk

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

func (p page) mountClients() {
	p.site.GET("/clients", "list-clients", p.clients)
	p.site.POST("/clients", "find-clients", p.clients)
	p.site.GET("/clients/new", "add-client", p.newClient)
	p.site.POST("/clients/new", "add-client", p.addClient)
	p.site.GET("/clients/:id", "get-client-overview", p.client)
	p.site.GET("/clients/:id/edit", "update-client", p.editClient)
	p.site.POST("/clients/:id/edit", "update-client", p.saveClient)
	p.site.GET("/clients/:id/minor", "set-minor", p.minor)
	p.site.POST("/clients/:id/minor", "set-minor", p.saveMinor)
	p.site.POST("/clients/:id/minor-back", "delete-minor", p.minorBack)
	p.site.GET("/clients/:id/messages", "set-message-wishes", p.wishes)
	p.site.POST("/clients/:id/messages", "set-message-wishes", p.saveWishes)
	p.site.POST("/clients/:id/way", "update-client", p.answerWay)
	p.site.POST("/clients/:id/withdraw", "withdraw-consent", p.withdraw)
	p.site.POST("/clients/:id/delete", "delete-client", p.deleteClient)
	p.mountClientLinks()
	p.mountSame()
}

// clientsView is the search for clients.
type clientsView struct {
	base
	Query  string
	Found  []api.FoundClientBody
	Looked bool
	MayAdd bool
}

// clients looks for clients. A number is looked for by a form that sends it in its
// body, so that it stands in no address.
func (p page) clients(c echo.Context) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "/clients", "Clients")
	if err != nil {
		return api.Sorry(c, err)
	}
	form := c.QueryParams()
	if c.Request().Method == http.MethodPost {
		if form, err = web.Form(c); err != nil {
			return err
		}
	}
	v := clientsView{base: b, Query: strings.TrimSpace(form.Get("q")), MayAdd: api.May(ctx, "add-client")}
	status := http.StatusOK
	if v.Query != "" {
		v.Looked = true
		var list struct{ Items []api.FoundClientBody }
		if _, err := p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: "/clients/search", Body: object{"text": v.Query, "limit": 50}}, &list); err != nil {
			wrong, st, ok := web.Wrong(err, map[string]string{"text": "q"})
			if !ok {
				return api.Sorry(c, err)
			}
			v.Summary, status = wrong, st
		}
		v.Found = list.Items
	}
	return show(c, status, "clients", v)
}

// formView is a page with one form about a client.
type formView struct {
	base
	ID, ETag, Name, Action, Button string
	Before                         string // said before the form
	Fields                         []pages.Field
	More                           []pages.Field // of a second form
	Kinds                          []kindLine
	History                        []string
	Wish                           string
}

var contactWays = []pages.Option{{ID: "mail", Name: "by mail"}, {ID: "call", Name: "by telephone"}, {ID: "text", Name: "by text message"}, {ID: "none", Name: "not at all"}}

func clientFields(f url.Values) []pages.Field {
	return []pages.Field{pages.Input("given_name", "First name", "", "text", f.Get("given_name")), pages.Input("family_name", "Family name", "", "text", f.Get("family_name")),
		pages.Input("phone", "Telephone", "with country code, or as it is dialled here; one number may serve many", "tel", f.Get("phone")), pages.Input("mail", "Mail address", "", "email", f.Get("mail")),
		pages.Select("contact_by", "How she is reached", "", f.Get("contact_by"), contactWays, "by mail when there is an address, else nobody has asked"),
		pages.Select("growth", "Her hair grows", "as far as it was seen; measured on two visits it counts by itself", f.Get("growth"),
			[]pages.Option{{ID: "slow", Name: "slowly"}, {ID: "usual", Name: "as usual"}, {ID: "quick", Name: "quickly"}}, "nobody has looked"),
		pages.Area("note", "Good to know", "for the desk: brings children, wheelchair, prefers quiet; never health", f.Get("note"))}
}

// clientBody is what a form says of a client.
func clientBody(f url.Values) object {
	body := object{"given_name": f.Get("given_name"), "family_name": f.Get("family_name"), "phone": f.Get("phone"), "mail": f.Get("mail"),
		"note": strings.Join(strings.Fields(f.Get("note")), " ")}
	return with(with(body, "contact_by", f.Get("contact_by")), "growth", f.Get("growth"))
}

func (p page) newClient(c echo.Context) error {
	return p.showNewClient(c, http.StatusOK, url.Values{}, nil)
}

func (p page) showNewClient(c echo.Context, status int, form url.Values, wrong []pages.FieldError) error {
	b, err := p.start(c, "/clients", "New client")
	if err != nil {
		return api.Sorry(c, err)
	}
	b.Summary = wrong
	v := formView{base: b, Action: "/clients/new", Button: "Add her", Fields: mark(clientFields(form), wrong)}
	return show(c, status, "client-form", v)
}

func (p page) addClient(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	var made api.ClientBody
	_, err = p.site.Into(c.Request().Context(), api.Question{Method: http.MethodPost, Path: "/clients", Body: clientBody(form), Key: form.Get("key")}, &made)
	if err != nil {
		wrong, status, ok := web.Wrong(err, nil)
		if !ok {
			return api.Sorry(c, err)
		}
		return p.showNewClient(c, status, form, wrong)
	}
	return web.Done(c, to(api.Path("clients", made.ID), "added"))
}

// about reads the client of a form.
func (p page) about(c echo.Context, title string) (formView, api.ClientBody, error) {
	var who api.ClientBody
	b, err := p.start(c, "/clients", title)
	if err != nil {
		return formView{}, who, err
	}
	v := formView{base: b, ID: c.Param("id")}
	reply, err := p.site.Into(c.Request().Context(), api.Question{Path: api.Path("clients", v.ID)}, &who)
	v.ETag, v.Name = reply.ETag, pages.Clean(strings.TrimSpace(who.GivenName+" "+who.FamilyName))
	v.Title = title + ": " + v.Name
	return v, who, err
}

func (p page) editClient(c echo.Context) error {
	v, who, err := p.about(c, "Change")
	if err != nil {
		return api.Sorry(c, err)
	}
	v.Action, v.Button = api.Path("clients", v.ID, "edit"), "Save"
	v.Fields = clientFields(url.Values{"given_name": {who.GivenName}, "family_name": {who.FamilyName}, "phone": {who.Phone}, "mail": {who.Mail},
		"contact_by": {who.ContactBy}, "growth": {who.Growth}, "note": {who.Note}})
	return show(c, http.StatusOK, "client-form", v)
}

func (p page) saveClient(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	id := c.Param("id")
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodPut, Path: api.Path("clients", id), Body: clientBody(form), IfMatch: form.Get("version")}, nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	if len(wrong) == 0 {
		return web.Done(c, to(api.Path("clients", id), "saved"))
	}
	v, _, err := p.about(c, "Change")
	if err != nil {
		return api.Sorry(c, err)
	}
	v.Action, v.Button, v.Summary = api.Path("clients", id, "edit"), "Save", wrong
	v.Fields = mark(clientFields(form), wrong)
	return show(c, status, "client-form", v)
}

// answerWay notes how a client, or the guardian of a minor, wants to hear of visits,
// asked on the page that it comes back to.
func (p page) answerWay(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	var who api.ClientBody
	reply, err := p.site.Into(ctx, api.Question{Path: api.Path("clients", id)}, &who)
	if err != nil {
		return api.Sorry(c, err)
	}
	q := api.Question{Method: http.MethodPut, Path: api.Path("clients", id), IfMatch: reply.ETag}
	if who.Minor {
		var m api.MinorBody
		if reply, err = p.site.Into(ctx, api.Question{Path: api.Path("clients", id, "minor")}, &m); err != nil {
			return api.Sorry(c, err)
		}
		m.ContactBy, m.Changes, q.Path, q.IfMatch = form.Get("way"), nil, api.Path("clients", id, "minor"), reply.ETag
		q.Body = m
	} else {
		who.ContactBy = form.Get("way")
		q.Body = who
	}
	wrong, _, status, err := p.press(ctx, q, map[string]string{})
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		return p.showClient(c, status, wrong)
	}
	back := api.OwnPath(form.Get("back"))
	switch {
	case back == "" || back == api.Path("clients", id):
		back = to(api.Path("clients", id), "asked")
	case strings.HasPrefix(back, "/visits/") && !strings.Contains(back, "?"):
		back = to(back, "asked")
	}
	return web.Done(c, back)
}

func minorFields(f url.Values) []pages.Field {
	return []pages.Field{pages.Input("minor_until", "A minor until", "the day on which she reaches the salon’s age of consent", "date", f.Get("minor_until")),
		pages.Input("guardian_name", "Guardian", "needed before anything is booked", "text", f.Get("guardian_name")),
		pages.Input("guardian_phone", "Guardian’s telephone", "with country code, or as it is dialled here", "tel", f.Get("guardian_phone")),
		pages.Input("guardian_mail", "Guardian’s mail address", "", "email", f.Get("guardian_mail")),
		pages.Select("contact_by", "How the guardian is reached", "", f.Get("contact_by"), contactWays, "by mail when there is an address, else nobody has asked"),
		pages.Select("guardian_stays", "During the visit the guardian is", "", f.Get("guardian_stays"), []pages.Option{{ID: "reachable", Name: "reachable"}, {ID: "present", Name: "present"}}, ""),
		pages.Input("approved_by", "Yes by the licensed person", "only for an earlier day", "text", f.Get("approved_by")),
		pages.Input("reason", "Reason", "only for an earlier day; nothing about health", "text", f.Get("reason"))}
}

func (p page) readMinor(c echo.Context) (formView, url.Values, error) {
	v, _, err := p.about(c, "Minor and guardian")
	if err != nil {
		return v, nil, err
	}
	v.Action, v.Button = api.Path("clients", v.ID, "minor"), "Save"
	var m api.MinorBody
	reply, err := p.site.Into(c.Request().Context(), api.Question{Path: api.Path("clients", v.ID, "minor")}, &m)
	if v.ETag = reply.ETag; notFound(err) {
		v.Before = "Nothing is noted: she counts as an adult."
		return v, url.Values{"guardian_stays": {"reachable"}}, nil
	}
	v.More = []pages.Field{pages.Input("back_approved", "Yes by the licensed person", "needed while she is a minor", "text", ""), pages.Input("back_reason", "Reason", "needed while she is a minor; nothing about health", "text", "")}
	for _, x := range m.Changes {
		s := v.When(x.Made) + ", " + x.NotedBy + ": " + x.Was + " → " + x.Until
		if x.Reason != "" {
			s += " (" + x.Reason + ")"
		}
		v.History = append(v.History, s)
	}
	return v, url.Values{"minor_until": {m.Until}, "guardian_name": {m.GuardianName}, "guardian_phone": {m.Phone}, "guardian_mail": {m.Mail}, "contact_by": {m.ContactBy},
		"guardian_stays": {m.Stays}}, err
}

func (p page) minor(c echo.Context) error {
	v, f, err := p.readMinor(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.Fields = minorFields(f)
	return show(c, http.StatusOK, "minor", v)
}

func (p page) saveMinor(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	body := object{"minor_until": form.Get("minor_until"), "guardian_name": form.Get("guardian_name"), "guardian_phone": form.Get("guardian_phone"), "guardian_mail": form.Get("guardian_mail")}
	for _, name := range []string{"contact_by", "guardian_stays", "approved_by", "reason"} {
		with(body, name, form.Get(name))
	}
	return p.minorDone(c, form, api.Question{Method: http.MethodPut, Path: api.Path("clients", c.Param("id"), "minor"), Body: body, IfMatch: form.Get("version")}, nil, "saved")
}

func (p page) minorBack(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	q := url.Values{}
	for field, name := range map[string]string{"back_approved": "approved_by", "back_reason": "reason"} {
		if s := strings.TrimSpace(form.Get(field)); s != "" {
			q.Set(name, s)
		}
	}
	return p.minorDone(c, form, api.Question{Method: http.MethodDelete, Path: api.Path("clients", c.Param("id"), "minor"), Query: q},
		map[string]string{"approved_by": "back_approved", "reason": "back_reason"}, "withdrawn")
}

func (p page) minorDone(c echo.Context, form url.Values, q api.Question, names map[string]string, done string) error {
	wrong, _, status, err := p.press(c.Request().Context(), q, names)
	if err != nil {
		return api.Sorry(c, err)
	}
	if len(wrong) == 0 {
		return web.Done(c, to(api.Path("clients", c.Param("id")), done))
	}
	v, stands, err := p.readMinor(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	if q.Method == http.MethodPut && status != http.StatusPreconditionFailed {
		stands = form
	}
	v.Fields, v.Summary, v.Done = mark(minorFields(stands), wrong), wrong, ""
	for i := range v.More {
		v.More[i].Value = form.Get(v.More[i].Name)
	}
	v.More = mark(v.More, wrong)
	return show(c, status, "minor", v)
}

// kindLine is what becomes of one kind of message.
type kindLine struct{ Words, By, Why string }

func (p page) readWishes(c echo.Context, form url.Values) (formView, error) {
	v, _, err := p.about(c, "Messages")
	if err != nil {
		return v, err
	}
	var w api.MessageWishesBody
	reply, err := p.site.Into(c.Request().Context(), api.Question{Path: api.Path("clients", v.ID, "message-wishes")}, &w)
	if err != nil {
		return v, err
	}
	v.ETag, v.Action, v.Button = reply.ETag, api.Path("clients", v.ID, "messages"), "Save"
	agreed, stopped, ways, language, voice := w.Agreed, w.Stopped, w.Ways, w.Language, w.Voice
	if form != nil {
		agreed, stopped, ways, language, voice = form["agreed"], form["stopped"], form["ways"], form.Get("language"), form.Get("voice") != ""
	}
	var kinds []pages.Option
	for _, k := range w.Kinds {
		kinds = append(kinds, pages.Option{ID: k.Kind, Name: api.KindName(k.Kind)})
		v.Kinds = append(v.Kinds, kindLine{pages.Capital(api.KindName(k.Kind)), byWords[k.By], k.Why})
	}
	v.Fields = []pages.Field{pages.Input("language", "Language", "such as de or pt-br; empty: the salon’s", "text", language),
		pages.Tick("voice", "Word may be left on an answering machine", "", voice),
		pages.Several("ways", "Ways that she does not wish", ways, []pages.Option{{ID: "mail", Name: "mail"}, {ID: "text", Name: "text messages"}}),
		pages.Several("stopped", "Kinds that she does not wish", stopped, kinds), pages.Several("agreed", "Kinds that she agreed to", agreed, kinds)}
	if w.SaidBy == "guardian" {
		v.Before = "These are the guardian’s words, as long as she is a minor."
	}
	for _, h := range w.History {
		v.History = append(v.History, v.When(h.At)+": "+choiceWords(h))
	}
	return v, nil
}

// choiceWords says what was said of messages.
func choiceWords(h api.MessageChoiceBody) string {
	what := "every message"
	if h.Kind != "" {
		what = api.KindName(h.Kind)
	}
	if h.Way != "" {
		what += " " + byWords[h.Way]
	}
	s := what + ": " + map[string]string{"agreed": "agreed to", "stopped": "not wished", "nothing": "what was said before counts no more"}[h.Said]
	switch {
	case h.NotedBy != "":
		s += ", noted by " + h.NotedBy
	case h.How == "page":
		s += ", by herself on a page of the salon"
	case h.How == "one_click":
		s += ", by the button of a mail program"
	}
	return s
}

func (p page) wishes(c echo.Context) error {
	v, err := p.readWishes(c, nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	return show(c, http.StatusOK, "wishes", v)
}

func (p page) saveWishes(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	id := c.Param("id")
	list := func(name string) []string { return append([]string{}, form[name]...) }
	body := with(object{"voice_message_allowed": form.Get("voice") != "", "agreed_kinds": list("agreed"), "stopped_kinds": list("stopped"), "stopped_ways": list("ways")}, "language", form.Get("language"))
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodPut, Path: api.Path("clients", id, "message-wishes"), Body: body, IfMatch: form.Get("version")},
		map[string]string{"voice_message_allowed": "voice"})
	if err != nil {
		return api.Sorry(c, err)
	}
	if len(wrong) == 0 {
		return web.Done(c, to(api.Path("clients", id), "saved"))
	}
	for i := range wrong { // of an entry of a list
		if wrong[i].Field != "language" && wrong[i].Field != "voice" && wrong[i].Field != "" {
			wrong[i].Field = "stopped"
		}
	}
	v, err := p.readWishes(c, form)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.Summary, v.Done, v.Fields = wrong, "", mark(v.Fields, wrong)
	return show(c, status, "wishes", v)
}

// day says a date as "2026-06-11" in words, with its year.
func (b base) DayOf(date string) string {
	t, err := time.ParseInLocation(time.DateOnly, date, b.loc)
	if err != nil {
		return date
	}
	return t.Format("Mon 2 January 2006")
}

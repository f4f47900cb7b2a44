package signin

import (
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// peopleView lists who may sign in, or shows one of them.
type peopleView struct {
	Frame    pages.Frame
	People   []personLine
	One      *personLine // the page of one person
	Action   string
	Fields   []pages.Field
	Etag     string
	Link     string // is shown once
	Rules    []pages.Field
	RulesTag string
	For      string // whom the link is for
}

type personLine struct {
	ID, Name, Mail, Roles, State, SignedIn, Browsers string
	Enabled, Factor                                  bool
}

// here is the address of the list.
const here = "/set-up/sign-in"

var roleNames = []pages.Option{{ID: "owner", Name: "Owner: everything"}, {ID: "desk", Name: "Desk: book, clients, messages"},
	{ID: "lead", Name: "Stylist: her day and cards"}, {ID: "assistant", Name: "Assistant: her day"}}

var roleShort = map[string]string{"owner": "owner", "desk": "desk", "lead": "stylist", "assistant": "assistant"}

func (p page) line(a api.AccountBody, n web.Salon) personLine {
	var roles []string
	for _, r := range a.Roles {
		roles = append(roles, roleShort[r])
	}
	l := personLine{ID: a.ID, Name: a.Name, Mail: a.Mail, Roles: strings.Join(roles, ", "), SignedIn: "never", Browsers: strconv.Itoa(a.Browsers), Enabled: !a.Disabled, Factor: a.Factor != nil}
	if l.Name == "" {
		l.Name = "no name yet"
	}
	if a.SignedIn != nil {
		l.SignedIn = ago(p.site.Now().Sub(*a.SignedIn), a.SignedIn.In(n.Location))
	}
	switch {
	case a.Disabled:
		l.State = "may not sign in"
	case a.Left:
		l.State = "has left the staff"
	case !a.HasPassword:
		l.State = "has chosen no password yet"
	case a.HasCode:
		l.State = "has a short code"
	}
	if a.Factor != nil {
		l.State = strings.TrimPrefix(l.State+", second step on", ", ")
	}
	return l
}

// fields are those of the form for one account.
func (p page) fields(c echo.Context, a api.AccountBody) ([]pages.Field, error) {
	staff, err := web.Items[api.StaffBody](c.Request().Context(), p.site, "/staff", nil)
	if err != nil {
		return nil, err
	}
	var options []pages.Option
	for _, s := range staff {
		if s.Active || s.ID == a.StaffID {
			options = append(options, pages.Option{ID: s.ID, Name: s.Name})
		}
	}
	name := a.Name
	if a.StaffID != "" {
		name = ""
	}
	return []pages.Field{
		pages.Input("mail", "Mail address", "With which this person signs in", "email", a.Mail),
		pages.Select("staff_id", "On the staff", "", a.StaffID, options, "Nobody on the rota"),
		pages.Input("name", "Name", "Only for somebody who is not on the staff", "text", name),
		pages.Several("roles", "Roles, as many as this person has", a.Roles, roleNames),
	}, nil
}

func (p page) peopleView(c echo.Context) (peopleView, error) {
	ctx := c.Request().Context()
	n, err := p.site.Salon(ctx)
	if err != nil {
		return peopleView{}, err
	}
	list, err := web.Items[api.AccountBody](ctx, p.site, "/accounts", nil)
	if err != nil {
		return peopleView{}, err
	}
	v := peopleView{Frame: p.site.Frame(c, n, "/set-up", "Who may sign in"), Action: here}
	v.Frame.Done = done[c.QueryParam("done")]
	for _, a := range list {
		v.People = append(v.People, p.line(a, n))
	}
	if err := p.rules(c, &v); err != nil {
		return v, err
	}
	v.Fields, err = p.fields(c, api.AccountBody{})
	return v, err
}

func (p page) people(c echo.Context) error {
	v, err := p.peopleView(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	return web.Render(c, http.StatusOK, templates, "people", v)
}

func read(t typed) api.AccountBody {
	return api.AccountBody{Mail: t.get("mail"), Name: t.get("name"), StaffID: t.get("staff_id"), Roles: append([]string{}, t["roles"]...), Disabled: t.get("disabled") != ""}
}

func (p page) invite(c echo.Context) error {
	t, _, err := p.form(c)
	if err != nil {
		return err
	}
	body := read(t)
	var made api.AccountBody
	_, err = p.site.Into(c.Request().Context(), api.Question{Method: http.MethodPost, Path: "/accounts", Body: body}, &made)
	v, fault := p.peopleView(c)
	if fault != nil {
		return api.Sorry(c, fault)
	}
	if err == nil {
		v.Link, v.For = made.Link, made.Name
		return web.Render(c, http.StatusOK, templates, "people", v)
	}
	list, status, ok := wrong(c, err)
	if !ok {
		return api.Sorry(c, err)
	}
	if v.Fields, fault = p.fields(c, body); fault != nil {
		return api.Sorry(c, fault)
	}
	v.Fields[2].Value = body.Name
	v.Frame.Summary = list
	web.Mark(v.Fields, list)
	return web.Render(c, status, templates, "people", v)
}

// personView is the page of one account. typed is what was refused, nil otherwise.
func (p page) personView(c echo.Context, refused *api.AccountBody) (peopleView, error) {
	ctx := c.Request().Context()
	n, err := p.site.Salon(ctx)
	if err != nil {
		return peopleView{}, err
	}
	var a api.AccountBody
	path := api.Path("accounts", c.Param("id"))
	reply, err := p.site.Into(ctx, api.Question{Path: path}, &a)
	if err != nil {
		return peopleView{}, err
	}
	l := p.line(a, n)
	v := peopleView{Frame: p.site.Frame(c, n, "/set-up", l.Name), One: &l, Action: here + path[len("/accounts"):], Etag: reply.ETag}
	v.Frame.Done = done[c.QueryParam("done")]
	shown := a
	if refused != nil {
		shown = *refused
	}
	if v.Fields, err = p.fields(c, shown); err != nil {
		return v, err
	}
	v.Fields = append(v.Fields, pages.Tick("disabled", "May not sign in any more", "Signs this person out everywhere, at once.", shown.Disabled))
	if refused != nil {
		v.Fields[2].Value = refused.Name
	}
	return v, nil
}

func (p page) person(c echo.Context) error {
	v, err := p.personView(c, nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	return web.Render(c, http.StatusOK, templates, "people", v)
}

func (p page) change(c echo.Context) error {
	t, _, err := p.form(c)
	if err != nil {
		return err
	}
	body := read(t)
	path := api.Path("accounts", c.Param("id"))
	_, err = p.site.Ask(c.Request().Context(), api.Question{Method: http.MethodPut, Path: path, Body: body, IfMatch: t.get("etag")})
	if err == nil {
		return web.Done(c, here+"?done=changed")
	}
	list, status, ok := wrong(c, err)
	if !ok {
		return api.Sorry(c, err)
	}
	v, err := p.personView(c, &body)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.Frame.Summary = list
	web.Mark(v.Fields, list)
	return web.Render(c, status, templates, "people", v)
}

func (p page) newLink(c echo.Context) error {
	var made api.AccountLink
	path := api.Path("accounts", c.Param("id"))
	_, err := p.site.Into(c.Request().Context(), api.Question{Method: http.MethodPost, Path: path + "/link"}, &made)
	if err != nil {
		return api.Sorry(c, err)
	}
	v, err := p.personView(c, nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.Link, v.For = made.Link, v.One.Name
	return web.Render(c, http.StatusOK, templates, "people", v)
}

func (p page) endAll(c echo.Context) error {
	path := api.Path("accounts", c.Param("id"))
	if _, err := p.site.Ask(c.Request().Context(), api.Question{Method: http.MethodDelete, Path: path + "/sessions"}); err != nil {
		return api.Sorry(c, err)
	}
	return web.Done(c, here+path[len("/accounts"):]+"?done=all-out")
}

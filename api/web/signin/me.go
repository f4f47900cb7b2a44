package signin

import (
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// meView is what somebody sees of her own way in.
type meView struct {
	Frame    pages.Frame
	Own      api.OwnAccount
	Roles    string
	Password []pages.Field
	Code     []pages.Field
	Browsers []browserLine
}

type browserLine struct {
	ID, Device, Kind, Used string
	This                   bool
}

// own lets a page be used by whoever has an account and has said who she is.
func (p page) own(h func(echo.Context, api.OwnAccount) error) echo.HandlerFunc {
	return func(c echo.Context) error {
		ctx := c.Request().Context()
		if api.Session(ctx).ReadOnly {
			return web.Done(c, "/code?to=/me")
		}
		own, err := p.site.Own(ctx)
		if err != nil {
			return p.noAccount(c, err)
		}
		return h(c, own)
	}
}

// noAccount is the page of somebody whom a link has signed in.
func (p page) noAccount(c echo.Context, err error) error {
	problem := api.AsProblem(c.Request().Context(), err)
	if problem.Status != http.StatusConflict {
		return api.Sorry(c, err)
	}
	n, err := p.site.Salon(c.Request().Context())
	if err != nil {
		return api.Sorry(c, err)
	}
	v := doorView{Frame: p.site.Frame(c, n, "/me", api.Session(c.Request().Context()).Name), Lead: []string{
		"A link signed this browser in, without a password. It ends by itself, or when you sign out.",
		"For a password of your own, ask the owner for an invitation."}}
	return p.door(c, http.StatusOK, v)
}

var kinds = map[string]string{"desk": "12 hours at most", "phone": "own phone", "shared": "shared screen"}

func (p page) meView(c echo.Context, own api.OwnAccount, wrong []pages.FieldError) (meView, error) {
	n, err := p.site.Salon(c.Request().Context())
	if err != nil {
		return meView{}, err
	}
	v := meView{Frame: p.site.Frame(c, n, "/me", own.Name), Own: own, Roles: strings.Join(own.Roles, ", ")}
	v.Frame.Done, v.Frame.Summary = done[c.QueryParam("done")], wrong
	v.Password = []pages.Field{
		pages.Input("old", "Present password", "", "password", "").WithAuto("current-password"),
		pages.Input("password", "New password", "At least 12 characters, such as four words.", "password", "").WithAuto("new-password"),
		pages.Input("again", "The same once more", "", "password", "").WithAuto("new-password"),
	}
	v.Code = []pages.Field{codeField("4 to 8 digits. Leave it empty to have none."), pages.Input("code-old", "Password", "So that nobody else sets it.", "password", "").WithAuto("current-password")}
	web.Mark(v.Password, wrong)
	web.Mark(v.Code, wrong)
	now := p.site.Now()
	for _, b := range own.Browsers {
		v.Browsers = append(v.Browsers, browserLine{b.ID, b.Device, kinds[b.Kind], ago(now.Sub(b.LastUsed), b.LastUsed.In(n.Location)), b.This})
	}
	return v, nil
}

// ago says when something was, to the minute on the same day.
func ago(since time.Duration, at time.Time) string {
	switch {
	case since < 2*time.Minute:
		return "just now"
	case since < 20*time.Hour:
		return at.Format("15:04")
	}
	return at.Format("Mon 2 January 15:04")
}

func (p page) mePage(c echo.Context, own api.OwnAccount) error {
	return p.drawMe(c, http.StatusOK, own, nil)
}

func (p page) drawMe(c echo.Context, status int, own api.OwnAccount, wrong []pages.FieldError) error {
	v, err := p.meView(c, own, wrong)
	if err != nil {
		return api.Sorry(c, err)
	}
	return web.Render(c, status, templates, "me", v)
}

// changed answers a form of the page. names are the fields of the form where they
// differ from those of the interface.
func (p page) changed(c echo.Context, own api.OwnAccount, err error, code string, names map[string]string) error {
	if err == nil {
		return web.Done(c, "/me?done="+code)
	}
	list, status, ok := wrong(c, err)
	if !ok {
		return api.Sorry(c, err)
	}
	for i := range list {
		if to := names[list[i].Field]; to != "" {
			list[i].Field = to
		}
	}
	return p.drawMe(c, status, own, list)
}

func (p page) newPassword(c echo.Context, own api.OwnAccount) error {
	t, _, err := p.form(c)
	if err != nil {
		return err
	}
	err = p.site.ChangePassword(c, t.get("old"), api.NewPassword{Password: t.get("password"), Again: t.get("again")})
	return p.changed(c, own, err, "password", nil)
}

func (p page) newCode(c echo.Context, own api.OwnAccount) error {
	t, _, err := p.form(c)
	if err != nil {
		return err
	}
	code := t.get("code")
	word := "code"
	if code == "" {
		word = "no-code"
	}
	return p.changed(c, own, p.site.SetOwnCode(c.Request().Context(), t.get("code-old"), code), word, map[string]string{"old": "code-old"})
}

func (p page) endBrowser(c echo.Context, own api.OwnAccount) error {
	t, _, err := p.form(c)
	if err != nil {
		return err
	}
	err = p.site.EndBrowser(c.Request().Context(), t.get("id"))
	if gone(err) {
		err = nil // signed out already
	}
	return p.changed(c, own, err, "ended", nil)
}

func (p page) share(c echo.Context, own api.OwnAccount) error {
	return p.changed(c, own, p.site.ShareThis(c), "shared", nil)
}

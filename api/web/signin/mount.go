package signin

import (
	"embed"
	"errors"
	"html/template"
	"net/http"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
	"chairblock/scheduling"
)

//go:embed templates
var files embed.FS

var templates = template.Must(pages.Shared().ParseFS(files, "templates/*.tmpl"))

// Mount registers the pages.
func Mount(s *web.Site) {
	p := page{s}
	s.OpenDoors(api.Doors{SignIn: p.askSignIn, Code: p.askCode, Proof: p.askProof, Password: p.askPassword})
	s.Open(http.MethodGet, "/sign-in", p.signInPage)
	s.Open(http.MethodPost, "/sign-in", p.signIn)
	s.Open(http.MethodPost, "/sign-in/salon", p.chooseSalon)
	s.Open(http.MethodPost, "/sign-in/code", p.signInSecond)
	s.Open(http.MethodPost, "/open/:link", p.choosePassword)
	s.Open(http.MethodPost, "/sign-out", s.InSession(p.signOut))
	s.Open(http.MethodPost, "/sign-out-everywhere", s.InSession(p.signOutEverywhere))
	s.Open(http.MethodGet, "/code", s.InSession(p.codePage))
	s.Open(http.MethodPost, "/code", s.InSession(p.sayCode))
	s.Open(http.MethodPost, "/code/done", s.InSession(p.sayDone))
	s.Open(http.MethodGet, "/prove", s.InSession(p.own(p.provePage)))
	s.Open(http.MethodPost, "/prove", s.InSession(p.own(p.prove)))
	s.Open(http.MethodGet, "/me", s.InSession(p.own(p.mePage)))
	s.Open(http.MethodPost, "/me/password", s.InSession(p.own(p.newPassword)))
	s.Open(http.MethodPost, "/me/code", s.InSession(p.own(p.newCode)))
	s.Open(http.MethodPost, "/me/end", s.InSession(p.own(p.endBrowser)))
	s.Open(http.MethodPost, "/me/share", s.InSession(p.own(p.share)))
	s.GET(api.FactorPath, "get-own-second-factor", p.factor)
	s.POST(api.FactorPath, "begin-own-second-factor", p.beginFactor)
	s.POST(api.FactorPath+"/confirm", "confirm-own-second-factor", p.confirmFactor)
	s.POST(api.FactorPath+"/recovery-codes", "new-recovery-codes", p.newRecovery)
	s.POST(api.FactorPath+"/end", "end-own-second-factor", p.endFactor)
	s.GET("/set-up/sign-in", "list-accounts", p.people)
	s.POST("/set-up/sign-in", "add-account", p.invite)
	s.POST("/set-up/sign-in/rules", "set-access-rules", p.setRules)
	s.GET("/set-up/sign-in/:id", "get-account", p.person)
	s.POST("/set-up/sign-in/:id/second-step", "reset-second-factor", p.resetFactor)
	s.POST("/set-up/sign-in/:id", "update-account", p.change)
	s.POST("/set-up/sign-in/:id/link", "add-account-link", p.newLink)
	s.POST("/set-up/sign-in/:id/end", "end-account-sessions", p.endAll)
}

// page answers requests of this package's pages.
type page struct{ site *web.Site }

// labels are what the fields are called, for what is wrong with them.
var labels = map[string]string{"mail": "Mail address", "password": "Password", "again": "Password once more", "old": "Present password",
	"code": "Short code", "step": "Code", "who": "The name", "shared": "The shared screen", "name": "Name", "staff_id": "On the staff", "roles": "A role"}

// wrong puts what was refused into words. ok is false for what no form can put right.
func wrong(c echo.Context, err error) (list []pages.FieldError, status int, ok bool) {
	p := api.AsProblem(c.Request().Context(), err)
	list, status, ok = web.Wrong(p, nil)
	for i, w := range list {
		if name := labels[w.Field]; name != "" {
			list[i].Text = name + " " + w.Text
		}
	}
	if after := p.GetHeaders().Get("Retry-After"); after != "" {
		c.Response().Header().Set("Retry-After", after)
	}
	return list, status, ok
}

// form reads what was typed.
func (p page) form(c echo.Context) (typed, api.Carried, error) {
	values, err := web.Form(c)
	return typed(values), p.site.ReadCarried(c, values), err
}

// typed are the values of a form.
type typed map[string][]string

func (t typed) get(name string) string {
	if v := t[name]; len(v) > 0 {
		return v[0]
	}
	return ""
}

// frame is the frame of a page for somebody who need not be signed in.
func (p page) frame(title string) pages.Frame { return pages.Frame{Title: title} }

// gone reports whether err says that there is no such thing.
func gone(err error) bool { return errors.Is(err, scheduling.ErrNotFound) }

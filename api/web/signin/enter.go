package signin

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// doorView is a page at which somebody gets in.
type doorView struct {
	Frame   pages.Frame
	Action  string
	Button  string
	Lead    []string // what is said above the form
	Foot    []string
	Login   string // whose password it is, for the browser's memory of passwords
	Fields  []pages.Field
	Names   []api.CodeName // between which to choose
	Chosen  string
	Salons  []api.SalonChoice
	Carried api.Carried
	// Wanted is what the carried form is called, for the page that sends it again.
	Wanted string
}

// done are the words for what has just been done.
var done = map[string]string{
	"out":        "You are signed out. What this browser had kept of the pages is gone.",
	"password":   "Your new password is set. Other browsers are signed out.",
	"code":       "Your short code is set.",
	"no-code":    "Your short code is taken away.",
	"ended":      "That browser is signed out.",
	"shared":     "This screen is shared now.",
	"step-gone":  "Your second step is taken away. Other browsers are signed out.",
	"step-reset": "The second step of this person is taken away. She is signed out everywhere, and told by mail.",
	"changed":    "The change is kept.",
	"all-out":    "This person is signed out everywhere.",
}

func (p page) door(c echo.Context, status int, v doorView) error {
	return web.Render(c, status, templates, "door", v)
}

// askSignIn answers the form of somebody who is signed out any more.
func (p page) askSignIn(c echo.Context, k api.Carried) error {
	return p.door(c, http.StatusUnauthorized, signInView(p, nil, k))
}

func (p page) signInPage(c echo.Context) error {
	v := signInView(p, nil, api.Carried{To: api.OwnPath(c.QueryParam("to"))})
	v.Frame.Done = done[c.QueryParam("done")]
	return p.door(c, http.StatusOK, v)
}

func signInView(p page, t typed, k api.Carried) doorView {
	v := doorView{Frame: p.frame("Sign in"), Action: "/sign-in", Button: "Sign in", Carried: k, Fields: []pages.Field{
		pages.Input("mail", "Mail address", "", "email", t.get("mail")).WithAuto("username"),
		pages.Input("password", "Password", "", "password", "").WithAuto("current-password"),
		pages.Tick("phone", "This is my own phone", "Signed in for 30 days; otherwise for 12 hours, and for 2 hours without use.", t.get("phone") != ""),
		pages.Tick("shared", "This screen is shared", "For the desk: everybody reads, and whoever changes something types a short code.", t.get("shared") != ""),
	}, Foot: []string{"No password yet, or forgotten? The owner of the salon gives you a link with which you choose one."}}
	v.Frame.Scripts = []string{"signout.js"}
	switch {
	case k.Kept():
		v.Lead = []string{"Nobody is signed in here any more. What you typed is kept: after signing in you send it with one press. Nobody else can read it."}
	case k.Form:
		v.Lead = []string{"Nobody is signed in here any more."}
	}
	if k.Lost != "" {
		v.Lead = append(v.Lead, k.Lost)
	}
	return v
}

// refuse draws a page again with what was wrong.
func (p page) refuse(c echo.Context, v doorView, err error) error {
	list, status, ok := wrong(c, err)
	if !ok {
		return api.Sorry(c, err)
	}
	v.Frame.Summary = list
	web.Mark(v.Fields, list)
	return p.door(c, status, v)
}

func (p page) signIn(c echo.Context) error {
	t, k, err := p.form(c)
	if err != nil {
		return err
	}
	in, err := p.site.SignIn(c, api.SignInForm{Mail: t.get("mail"), Password: t.get("password"), Phone: t.get("phone") != "", Shared: t.get("shared") != ""})
	if err != nil {
		return p.refuse(c, signInView(p, t, k), err)
	}
	if len(in.Salons) > 0 {
		return p.door(c, http.StatusOK, doorView{Frame: p.frame("Which salon?"), Action: "/sign-in/salon", Salons: in.Salons, Carried: k})
	}
	return p.entered(c, k, in)
}

// entered leads somebody on who has signed in, or asks for the code of her second step.
func (p page) entered(c echo.Context, k api.Carried, in api.Entered) error {
	if in.Second {
		return p.door(c, http.StatusOK, secondView(p, k))
	}
	return p.goOn(c, k, in.Home, mine{account: in.Account})
}

func (p page) chooseSalon(c echo.Context) error {
	t, k, err := p.form(c)
	if err != nil {
		return err
	}
	in, err := p.site.SignInTo(c, t.get("salon"))
	if err != nil {
		return p.refuse(c, signInView(p, nil, k), err)
	}
	return p.entered(c, k, in)
}

// mine is whose forms somebody may send on: those of an account, or of the shared
// screen at which she stands.
type mine struct{ account, screen string }

// goOn leads to where somebody wanted to be. A form that she had filled in is sent
// again by a press, never by itself; nobody else's is.
func (p page) goOn(c echo.Context, k api.Carried, home string, of mine) error {
	if k.Form {
		return p.goOnWithForm(c, k, home, of)
	}
	if k.To != "" && p.site.OpensAt(k.To) {
		return web.Done(c, k.To)
	}
	return web.Done(c, home)
}

func (p page) goOnWithForm(c echo.Context, k api.Carried, home string, of mine) error {
	back := home
	if k.From != "" && p.site.OpensAt(k.From) {
		back = k.From
	}
	switch {
	case !k.Kept():
		return web.Done(c, back)
	case !p.site.Mine(k, of.account, of.screen):
		v := doorView{Frame: p.frame("You are in"), Wanted: home, Lead: []string{
			"Before, somebody else had typed something here, or it was too long ago. It was not sent, and it is not shown to you."}}
		return web.Render(c, http.StatusOK, templates, "go-on", v)
	}
	v := doorView{Frame: p.frame("Go on"), Action: k.To, Button: "Go on", Carried: k, Wanted: back,
		Lead: []string{"You are in. What you typed before has not been sent yet."}}
	if len(k.Fields) == 0 {
		v.Lead = []string{"You are in. The button that you pressed before has not been carried out yet."}
	}
	if k.Lost != "" {
		v.Lead = append(v.Lead, k.Lost)
	}
	return web.Render(c, http.StatusOK, templates, "go-on", v)
}

// askPassword is the page of a link with which somebody chooses a password.
func (p page) askPassword(c echo.Context, link string, of api.PasswordFor) error {
	return p.door(c, http.StatusOK, passwordView(p, link, of, nil))
}

func passwordView(p page, link string, of api.PasswordFor, t typed) doorView {
	v := doorView{Frame: p.frame("Choose your password"), Action: "/open/" + link, Button: "Keep it and sign in"}
	v.Frame.Salon, v.Frame.Sub = of.Salon, of.Name
	if of.Login == "" {
		v.Fields = append(v.Fields, pages.Input("mail", "Mail address with which you will sign in", "", "email", t.get("mail")).WithAuto("username"))
	} else {
		v.Lead, v.Login = []string{"You will sign in with " + of.Login + "."}, of.Login
	}
	if of.Ends {
		v.Lead = append(v.Lead, "Your second step is taken away by it: set up another one afterwards.")
	}
	v.Fields = append(v.Fields,
		pages.Input("password", "New password", "At least 12 characters, such as four words. Everything may be in it.", "password", "").WithAuto("new-password"),
		pages.Input("again", "The same once more", "", "password", "").WithAuto("new-password"),
		pages.Tick("phone", "This is my own phone", "Signed in for 30 days; otherwise for 12 hours, and for 2 hours without use.", t.get("phone") != ""))
	return v
}

func (p page) choosePassword(c echo.Context) error {
	t, _, err := p.form(c)
	if err != nil {
		return err
	}
	link := c.Param("link")
	of, in, err := p.site.ChoosePassword(c, link, api.NewPassword{Mail: t.get("mail"), Password: t.get("password"), Again: t.get("again"), Phone: t.get("phone") != ""})
	switch {
	case gone(err):
		return api.Message(c, http.StatusNotFound, "This link does not work any more", "It was used before, or its time is over. Ask for a new one.")
	case err != nil:
		return p.refuse(c, passwordView(p, link, of, t), err)
	}
	return p.entered(c, api.Carried{}, in)
}

func (p page) signOut(c echo.Context) error {
	if api.Session(c.Request().Context()).ReadOnly {
		return web.Done(c, "/code?to=/me")
	}
	if err := p.site.SignOut(c); err != nil {
		return api.Sorry(c, err)
	}
	return web.Done(c, "/sign-in?done=out")
}

func (p page) signOutEverywhere(c echo.Context) error {
	if api.Session(c.Request().Context()).ReadOnly {
		return web.Done(c, "/code?to=/me")
	}
	if err := p.site.SignOutEverywhere(c); err != nil {
		return api.Sorry(c, err)
	}
	return web.Done(c, "/sign-in?done=out")
}

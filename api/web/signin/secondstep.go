package signin

import (
	"html/template"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// factorView is what somebody sees of her second step.
type factorView struct {
	Frame    pages.Frame
	Of       api.SecondFactorBody
	Since    string
	From     string              // when it will be asked for
	SetUp    api.FactorSetUpBody // is shown once
	Code     template.HTML       // the same, to be photographed
	Fields   []pages.Field       // to confirm it
	Recovery []string            // are shown once
}

// stepField is for a code that changes with time.
func stepField(hint string) pages.Field {
	return pages.Input("step", "Code", hint, "text", "").WithAuto("one-time-code").AtMost(60)
}

// secondView asks for the code of the second step.
func secondView(p page, k api.Carried) doorView {
	return doorView{Frame: p.frame("The second step"), Action: "/sign-in/code", Button: "Sign in", Carried: k,
		Lead:   []string{"Your password is right. Now type the code that the program on your telephone shows."},
		Fields: []pages.Field{stepField("6 digits that change every 30 seconds, or one of your recovery codes")},
		Foot:   []string{"Telephone lost? A recovery code opens, each once. Without one an owner of the salon takes your second step away; whoever looks after the program can do it for the last owner."}}
}

// signInSecond signs in whoever has given her password before.
func (p page) signInSecond(c echo.Context) error {
	t, k, err := p.form(c)
	if err != nil {
		return err
	}
	in, err := p.site.SignInSecond(c, t.get("step"))
	switch {
	case err == nil:
		return p.goOn(c, k, in.Home, mine{account: in.Account})
	case api.AsProblem(c.Request().Context(), err).Status == http.StatusUnauthorized:
		return p.refuse(c, signInView(p, nil, k), err)
	}
	return p.refuse(c, secondView(p, k), err)
}

func (p page) factorView(c echo.Context) (factorView, error) {
	ctx := c.Request().Context()
	if _, err := p.site.Own(ctx); err != nil {
		return factorView{}, err
	}
	n, err := p.site.Salon(ctx)
	if err != nil {
		return factorView{}, err
	}
	v := factorView{Frame: p.site.Frame(c, n, "/me", "Second step")}
	v.Frame.Done = done[c.QueryParam("done")]
	if v.Of, err = web.Get[api.SecondFactorBody](ctx, p.site, "/me/second-factor", nil); err != nil {
		return v, err
	}
	if v.Of.Since != nil {
		v.Since = v.Of.Since.In(n.Location).Format("2 January 2006")
	}
	if v.Of.From != "" {
		first, err := time.Parse(time.DateOnly, v.Of.From)
		if err != nil {
			return v, err
		}
		v.From = first.Format("Monday 2 January 2006")
	}
	return v, nil
}

// drawFactor draws the page with what is shown once.
func (p page) drawFactor(c echo.Context, status int, more func(*factorView) error) error {
	v, err := p.factorView(c)
	if err == nil {
		err = more(&v)
	}
	if err != nil {
		return p.noFactor(c, err)
	}
	return web.Render(c, status, templates, "factor", v)
}

// noFactor is the page of somebody who has no account, or of what went wrong.
func (p page) noFactor(c echo.Context, err error) error {
	if _, own := p.site.Own(c.Request().Context()); own != nil {
		return p.noAccount(c, own)
	}
	return api.Sorry(c, err)
}

func (p page) factor(c echo.Context) error {
	return p.drawFactor(c, http.StatusOK, func(*factorView) error { return nil })
}

func (p page) beginFactor(c echo.Context) error {
	var made api.FactorSetUpBody
	if _, err := p.site.Into(c.Request().Context(), api.Question{Method: http.MethodPost, Path: "/me/second-factor"}, &made); err != nil {
		return p.noFactor(c, err)
	}
	return p.drawFactor(c, http.StatusOK, func(v *factorView) (err error) {
		v.SetUp, v.Fields = made, []pages.Field{stepField("6 digits, as the program shows them now")}
		v.Code, err = pages.SecretCode(made.Address)
		return err
	})
}

func (p page) confirmFactor(c echo.Context) error {
	t, _, err := p.form(c)
	if err != nil {
		return err
	}
	var made api.RecoveryCodesBody
	_, err = p.site.Into(c.Request().Context(), api.Question{Method: http.MethodPost, Path: "/me/second-factor/confirmation", Body: api.FactorCodeBody{Code: t.get("step")}}, &made)
	if err == nil {
		return p.showRecovery(c, made.Codes)
	}
	list, status, ok := wrong(c, err)
	if !ok || status != http.StatusUnprocessableEntity {
		return p.noFactor(c, err)
	}
	for i := range list {
		list[i].Field, list[i].Text = "step", "Code "+strings.TrimPrefix(list[i].Text, labels["code"]+" ")
	}
	return p.drawFactor(c, status, func(v *factorView) error {
		v.Fields = []pages.Field{stepField("6 digits, as the program shows them now")}
		v.Frame.Summary = list
		web.Mark(v.Fields, list)
		return nil
	})
}

// showRecovery shows codes once, under a new token of the browser.
func (p page) showRecovery(c echo.Context, codes []string) error {
	if err := p.site.NewToken(c); err != nil {
		return api.Sorry(c, err)
	}
	return p.drawFactor(c, http.StatusOK, func(v *factorView) error { v.Recovery = codes; return nil })
}

func (p page) newRecovery(c echo.Context) error {
	var made api.RecoveryCodesBody
	if _, err := p.site.Into(c.Request().Context(), api.Question{Method: http.MethodPost, Path: "/me/second-factor/recovery-codes"}, &made); err != nil {
		return p.noFactor(c, err)
	}
	return p.showRecovery(c, made.Codes)
}

func (p page) endFactor(c echo.Context) error {
	if _, err := p.site.Ask(c.Request().Context(), api.Question{Method: http.MethodDelete, Path: "/me/second-factor"}); err != nil {
		return p.noFactor(c, err)
	}
	if err := p.site.NewToken(c); err != nil {
		return api.Sorry(c, err)
	}
	return web.Done(c, "/me?done=step-gone")
}

// resetFactor takes somebody else's second step away.
func (p page) resetFactor(c echo.Context) error {
	path := api.Path("accounts", c.Param("id"))
	if _, err := p.site.Ask(c.Request().Context(), api.Question{Method: http.MethodDelete, Path: path + "/second-factor"}); err != nil {
		return api.Sorry(c, err)
	}
	return web.Done(c, here+path[len("/accounts"):]+"?done=step-reset")
}

// setRules says what the salon asks of those who sign in.
func (p page) setRules(c echo.Context) error {
	t, _, err := p.form(c)
	if err != nil {
		return err
	}
	body := api.AccessRulesBody{OwnersFactor: t.get("owners_second_factor") != "", EverybodysFactor: t.get("everybodys_second_factor") != "", From: t.get("second_factor_from")}
	_, err = p.site.Ask(c.Request().Context(), api.Question{Method: http.MethodPut, Path: "/access-rules", Body: body, IfMatch: t.get("etag")})
	if err == nil {
		return web.Done(c, here+"?done=changed")
	}
	list, status, ok := wrong(c, err)
	if !ok {
		return api.Sorry(c, err)
	}
	v, err := p.peopleView(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.Rules, v.RulesTag = ruleFields(body), t.get("etag")
	web.Mark(v.Rules, list)
	v.Frame.Summary = list
	return web.Render(c, status, templates, "people", v)
}

// rules adds to the list of people what the salon asks of them.
func (p page) rules(c echo.Context, v *peopleView) error {
	var b api.AccessRulesBody
	reply, err := p.site.Into(c.Request().Context(), api.Question{Path: "/access-rules"}, &b)
	v.Rules, v.RulesTag = ruleFields(b), reply.ETag
	return err
}

func ruleFields(b api.AccessRulesBody) []pages.Field {
	return []pages.Field{
		pages.Tick("owners_second_factor", "Owners need a second step",
			"A code from a telephone beside the password. It is advised for everybody, and for owners above all, since they may do everything. With this tick an owner who has none sets it up when she signs in next, before anything else.", b.OwnersFactor),
		pages.Tick("everybodys_second_factor", "Everybody with a password needs one", "The same for the desk and for all who work here. A shared screen, where people say by a short code who they are, asks for none.", b.EverybodysFactor),
		pages.Input("second_factor_from", "From", "The first day on which it counts, so that there is time to set it up. Empty: at once.", "date", b.From),
	}
}

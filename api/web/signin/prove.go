package signin

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
)

// askProof answers the form of somebody who has not given her password lately.
func (p page) askProof(c echo.Context, k api.Carried) error {
	own, err := p.site.Own(c.Request().Context())
	if err != nil {
		return api.Sorry(c, err)
	}
	v, err := p.proveView(c, own, k)
	if err != nil {
		return api.Sorry(c, err)
	}
	return p.door(c, http.StatusForbidden, v)
}

func (p page) provePage(c echo.Context, own api.OwnAccount) error {
	v, err := p.proveView(c, own, api.Carried{To: api.OwnPath(c.QueryParam("to"))})
	if err != nil {
		return api.Sorry(c, err)
	}
	return p.door(c, http.StatusOK, v)
}

func (p page) proveView(c echo.Context, own api.OwnAccount, k api.Carried) (doorView, error) {
	n, err := p.site.Salon(c.Request().Context())
	if err != nil {
		return doorView{}, err
	}
	v := doorView{Frame: p.site.Frame(c, n, "", "Your password once more"), Action: "/prove", Button: "Go on", Carried: k, Login: own.Login,
		Lead:   []string{"What comes next decides who gets in, so a short code or a machine that was left open is not enough for it. It is asked again after 15 minutes."},
		Fields: []pages.Field{pages.Input("old", "Password of "+own.Name, "", "password", "").WithAuto("current-password")}}
	if own.Factor != nil {
		v.Fields = append(v.Fields, stepField("6 digits from your telephone, or a recovery code"))
	}
	if k.Kept() {
		v.Lead = append(v.Lead, "What you typed is kept: you send it with one press afterwards.")
	}
	if k.Lost != "" {
		v.Lead = append(v.Lead, k.Lost)
	}
	return v, nil
}

func (p page) prove(c echo.Context, own api.OwnAccount) error {
	t, k, err := p.form(c)
	if err != nil {
		return err
	}
	if err := p.site.Prove(c, t.get("old"), t.get("step")); err != nil {
		v, fault := p.proveView(c, own, k)
		if fault != nil {
			return api.Sorry(c, fault)
		}
		return p.refuse(c, v, err)
	}
	return p.goOn(c, k, "/", mine{account: own.ID})
}

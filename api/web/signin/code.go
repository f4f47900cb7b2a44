package signin

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// askCode answers the form of somebody who has not said who she is.
func (p page) askCode(c echo.Context, k api.Carried) error {
	v, err := p.codeView(c, nil, k)
	if err != nil {
		return api.Sorry(c, err)
	}
	return p.door(c, http.StatusForbidden, v)
}

func (p page) codePage(c echo.Context) error {
	v, err := p.codeView(c, nil, api.Carried{To: api.OwnPath(c.QueryParam("to"))})
	if err != nil {
		return api.Sorry(c, err)
	}
	return p.door(c, http.StatusOK, v)
}

func (p page) codeView(c echo.Context, t typed, k api.Carried) (doorView, error) {
	ctx := c.Request().Context()
	names, err := p.site.CodeNames(ctx)
	if err != nil {
		return doorView{}, err
	}
	n, err := p.site.Salon(ctx)
	if err != nil {
		return doorView{}, err
	}
	v := doorView{Frame: p.site.Frame(c, n, "", "Who are you?"), Action: "/code", Button: "Go on", Carried: k, Names: names, Chosen: t.get("who"),
		Lead:   []string{"This screen is shared: everybody reads it, and whoever changes something says who she is."},
		Fields: []pages.Field{codeField("4 to 8 digits; you are known for 3 minutes after your last press.")}}
	v.Frame.Who = pages.Who{}
	if k.Kept() {
		v.Lead = append(v.Lead, "What you typed is kept for ten minutes: you send it with one press afterwards.")
	}
	if k.Lost != "" {
		v.Lead = append(v.Lead, k.Lost)
	}
	if len(names) == 0 {
		v.Fields, v.Button = nil, ""
		v.Lead = append(v.Lead, "Nobody has a short code yet. Whoever signs in with a password, on a phone for example, sets one on the page behind her name.")
	}
	return v, nil
}

// codeField is for a short code: hidden while it is typed, and no password, so that no
// browser offers to keep it for whoever comes next.
func codeField(hint string) pages.Field {
	f := pages.Input("code", "Short code", hint, "text", "")
	f.Mode, f.Class = "numeric", "masked"
	return f
}

func (p page) sayCode(c echo.Context) error {
	t, k, err := p.form(c)
	if err != nil {
		return err
	}
	if err := p.site.SayWho(c.Request().Context(), t.get("who"), t.get("code")); err != nil {
		v, fault := p.codeView(c, t, k)
		if fault != nil {
			return api.Sorry(c, fault)
		}
		return p.refuse(c, v, err)
	}
	return p.goOn(c, k, "/", mine{screen: p.site.Screen(c)})
}

func (p page) sayDone(c echo.Context) error {
	if err := p.site.SayDone(c.Request().Context()); err != nil {
		return api.Sorry(c, err)
	}
	return web.Done(c, "/")
}

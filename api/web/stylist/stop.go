package stylist

import (
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// stopView is the page on which a visit is stopped early.
type stopView struct {
	base
	Here, Back string
	Run        api.RunBody
	Fields     []pages.Field
}

var (
	stopReasons = []pages.Option{{ID: "skin", Name: "skin reacted"}, {ID: "eyes", Name: "something in the eyes"}, {ID: "breathing", Name: "trouble breathing or swelling"},
		{ID: "unwell", Name: "the client was unwell"}, {ID: "hair_too_weak", Name: "hair too weak"}, {ID: "hair_snapped", Name: "hair snapped"},
		{ID: "client_wished", Name: "the client wished it"}, {ID: "product", Name: "the product"}, {ID: "equipment", Name: "a device failed"}, {ID: "other", Name: "another reason"}}
	stopOutcomes = []pages.Option{{ID: "rinsed", Name: "rinsed"}, {ID: "rinsed_and_neutralized", Name: "rinsed and neutralized"}, {ID: "nothing_was_on", Name: "no product was on"},
		{ID: "sent_to_doctor", Name: "sent to a doctor"}, {ID: "emergency_called", Name: "emergency called"}, {ID: "other", Name: "otherwise"}}
	stopTold = []pages.Option{{ID: "client", Name: "the client"}, {ID: "guardian", Name: "the guardian"}, {ID: "owner", Name: "the owner"}, {ID: "maker", Name: "the maker"},
		{ID: "doctor", Name: "a doctor"}, {ID: "emergency", Name: "emergency"}}
)

func (p page) stop(c echo.Context) error { return p.showStop(c, http.StatusOK, nil, nil) }

func (p page) showStop(c echo.Context, status int, form url.Values, wrong []pages.FieldError) error {
	b, err := p.start(c, "Stop the visit early")
	if err != nil {
		return api.Sorry(c, err)
	}
	id := c.Param("id")
	v := stopView{base: b, Here: home + "visits/" + id + "/stop", Back: home + "visits/" + id}
	if v.Run, err = p.run(c.Request().Context(), id); err != nil {
		return api.Sorry(c, err)
	}
	v.Sub = v.Run.Name
	v.Summary = wrong
	v.Fields = []pages.Field{
		pages.Select("reason", "Why", "", form.Get("reason"), stopReasons, "choose"),
		pages.Select("outcome", "What was done", "", form.Get("outcome"), stopOutcomes, "choose"),
		pages.Several("told", "Who was told", form["told"], stopTold),
		pages.Area("detail", "In a few words", "you and the owner read it; kept encrypted", form.Get("detail")),
		pages.Input("clock", "When the work ended", "left empty: now", "time", form.Get("clock")),
	}
	if v.Me == "" {
		v.Fields = append(v.Fields, pages.Input("licensed", "Licensed person who decided", "the name of somebody who works here", "text", form.Get("licensed")))
	}
	v.Fields = web.Mark(v.Fields, wrong)
	return render(c, status, "stop-early", v)
}

func (p page) stopForm(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	var wrong []pages.FieldError
	for _, f := range [][2]string{{"reason", "Say why the visit is stopped"}, {"outcome", "Say what was done"}} {
		if form.Get(f[0]) == "" {
			wrong = append(wrong, pages.FieldError{Field: f[0], Text: f[1]})
		}
	}
	if len(wrong) > 0 {
		return p.showStop(c, http.StatusUnprocessableEntity, form, wrong)
	}
	ask := api.StopRequest{Reason: form.Get("reason"), Outcome: form.Get("outcome"), Detail: form.Get("detail"), Told: form["told"], Licensed: form.Get("licensed")}
	if text := form.Get("clock"); text != "" {
		if ask.At, err = p.clockOf(c, c.Param("id"), text); err != nil {
			wrong, status, _ := web.Wrong(err, map[string]string{"at": "clock"})
			return p.showStop(c, status, form, wrong)
		}
	}
	_, err = p.site.Ask(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("visits", c.Param("id"), "stop"), Body: ask, Key: form.Get("key")})
	if err != nil {
		wrong, status, ok := web.Wrong(err, map[string]string{"at": "clock"})
		if !ok {
			return api.Sorry(c, err)
		}
		return p.showStop(c, status, form, wrong)
	}
	return web.Done(c, to("visits/"+c.Param("id"), "stopped"))
}

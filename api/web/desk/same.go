package desk

import (
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

func (p page) mountSame() {
	p.site.GET("/clients/:id/same", "preview-merge", p.same)
	p.site.POST("/clients/:id/same", "merge-clients", p.putTogether)
}

// sameView asks whether two files are of one person.
type sameView struct {
	base
	M    api.MergePreviewBody
	ETag string
}

func (p page) same(c echo.Context) error {
	return p.showSame(c, http.StatusOK, c.QueryParam("other"), nil)
}

func (p page) showSame(c echo.Context, status int, other string, wrong []pages.FieldError) error {
	b, err := p.start(c, "/clients", "The same person?")
	if err != nil {
		return api.Sorry(c, err)
	}
	v := sameView{base: b}
	a, err := p.site.Into(c.Request().Context(), api.Question{Path: api.Path("clients", c.Param("id"), "merge"), Query: url.Values{"other_id": {other}}}, &v.M)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.ETag, v.Summary = a.ETag, wrong
	return show(c, status, "same", v)
}

// Names tells the two files apart.
func (v sameView) Names() [2]string {
	name := func(f api.MergeFileBody) string {
		out := []string{pages.Clean(f.Name)}
		for _, x := range []string{pages.PhoneWords(f.Phone), f.Mail} {
			if x != "" {
				out = append(out, x)
			}
		}
		return strings.Join(out, ", ")
	}
	return [2]string{name(v.M.Keep), name(v.M.Other)}
}

// Contact says how she is reached afterwards.
func (v sameView) Contact() string {
	return reached("Afterwards she", v.M.Reached.ContactBy, v.M.Reached.Phone+v.M.Reached.Mail)
}

func (p page) putTogether(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	version, wrong := whole(form, "other_version", "the page as it was shown")
	if len(wrong) > 0 {
		return api.Message(c, http.StatusUnprocessableEntity, "The page was not complete", "Go back and load it again.")
	}
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("clients", c.Param("id"), "merge"),
		Body: object{"other_id": form.Get("other"), "other_version": version}, IfMatch: form.Get("version"), Key: form.Get("key")}, map[string]string{})
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		for i := range wrong {
			wrong[i].Field = ""
		}
		return p.showSame(c, status, form.Get("other"), wrong)
	}
	return web.Done(c, to(api.Path("clients", c.Param("id")), "same"))
}

package desk

import (
	"context"
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/web"
)

// Secret addresses of a client: of her calendar and of her own pages. Each is
// shown once, as the answer to the press that made it, and nowhere kept.

func (p page) mountClientLinks() {
	// asks carries out what a form asks for; then shows what came of it.
	asks := func(path, operation string, then func(echo.Context, api.Question) error, question func(client string, form url.Values) api.Question) {
		p.site.POST("/clients/:id/"+path, operation, func(c echo.Context) error {
			form, err := web.Form(c)
			if err != nil {
				return err
			}
			return then(c, question(c.Param("id"), form))
		})
	}
	done := func(code string) func(echo.Context, api.Question) error {
		return func(c echo.Context, q api.Question) error { return p.onClient(c, q, code) }
	}
	asks("feed", "add-feed", p.secret, func(client string, form url.Values) api.Question {
		return api.Question{Method: http.MethodPost, Path: "/feeds", Body: object{"kind": "client", "subject_id": client}, Key: form.Get("key")}
	})
	asks("feed-new", "rotate-feed", p.secret, func(_ string, form url.Values) api.Question {
		return api.Question{Method: http.MethodPost, Path: api.Path("feeds", form.Get("feed"), "rotate")}
	})
	asks("feed-end", "revoke-feed", done("feed"), func(_ string, form url.Values) api.Question {
		return api.Question{Method: http.MethodDelete, Path: api.Path("feeds", form.Get("feed"))}
	})
	asks("link", "add-own-link", p.secret, func(client string, form url.Values) api.Question {
		return api.Question{Method: http.MethodPost, Path: api.Path("clients", client, "own-links"), Body: object{}, Key: form.Get("key")}
	})
	asks("link-new", "rotate-own-link", p.secret, func(_ string, form url.Values) api.Question {
		return api.Question{Method: http.MethodPost, Path: api.Path("own-links", form.Get("link"), "rotate")}
	})
	asks("link-end", "revoke-own-link", done("withdrawn"), func(_ string, form url.Values) api.Question {
		return api.Question{Method: http.MethodDelete, Path: api.Path("own-links", form.Get("link"))}
	})
}

// ownLinks lists the links to a client's own pages that have not ended.
func (p page) ownLinks(ctx context.Context, client string) ([]ownLink, error) {
	list, err := web.Items[struct {
		ID, Label string
		MadeBy    string `json:"made_by"`
		Works     bool
		Guardian  bool
		Revoked   *string `json:"revoked_at"`
	}](ctx, p.site, api.Path("clients", client, "own-links"), nil)
	var out []ownLink
	for _, l := range list {
		if l.Revoked == nil {
			out = append(out, ownLink{l.ID, l.Label, l.MadeBy, l.Works, l.Guardian})
		}
	}
	return out, err
}

// secretView shows an address once.
type secretView struct {
	base
	ID, Name string
	Made     struct {
		URL    string `json:"url"`
		Webcal string `json:"webcal_url"`
		Page   string `json:"page_url"`
	}
}

// secret asks for an address and shows it. The page is kept nowhere.
func (p page) secret(c echo.Context, q api.Question) error {
	v, _, err := p.about(c, "Address of")
	if err != nil {
		return api.Sorry(c, err)
	}
	s := secretView{base: v.base, ID: v.ID, Name: v.Name}
	if _, err := p.site.Into(c.Request().Context(), q, &s.Made); err != nil {
		wrong, status, ok := web.Wrong(err, nil)
		if !ok {
			return api.Sorry(c, err)
		}
		for i := range wrong {
			wrong[i].Field = ""
		}
		return p.showClient(c, status, wrong)
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return show(c, http.StatusOK, "secret", s)
}

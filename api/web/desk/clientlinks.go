package desk

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/web"
)

// Secret addresses of a client: of her calendar and of her own pages. Each is
// shown once, as the answer to the press that made it, and nowhere kept.

func (p page) mountClientLinks() {
	p.site.POST("/clients/:id/feed", "add-feed", func(c echo.Context) error {
		return p.secret(c, api.Question{Method: http.MethodPost, Path: "/feeds", Body: object{"kind": "client", "subject_id": c.Param("id")}})
	})
	p.site.POST("/clients/:id/feed-new", "rotate-feed", func(c echo.Context) error {
		return p.secret(c, api.Question{Method: http.MethodPost, Path: api.Path("feeds", c.FormValue("feed"), "rotate")})
	})
	p.site.POST("/clients/:id/feed-end", "revoke-feed", func(c echo.Context) error {
		return p.onClient(c, api.Question{Method: http.MethodDelete, Path: api.Path("feeds", c.FormValue("feed"))}, "feed")
	})
	p.site.POST("/clients/:id/link", "add-own-link", func(c echo.Context) error {
		return p.secret(c, api.Question{Method: http.MethodPost, Path: api.Path("clients", c.Param("id"), "own-links"), Body: object{}})
	})
	p.site.POST("/clients/:id/link-new", "rotate-own-link", func(c echo.Context) error {
		return p.secret(c, api.Question{Method: http.MethodPost, Path: api.Path("own-links", c.FormValue("link"), "rotate")})
	})
	p.site.POST("/clients/:id/link-end", "revoke-own-link", func(c echo.Context) error {
		return p.onClient(c, api.Question{Method: http.MethodDelete, Path: api.Path("own-links", c.FormValue("link"))}, "withdrawn")
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
	v, who, err := p.about(c, "Address of")
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
	_ = who
	c.Response().Header().Set("Cache-Control", "no-store")
	return show(c, http.StatusOK, "secret", s)
}

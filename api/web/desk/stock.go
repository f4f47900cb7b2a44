package desk

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

func (p page) mountStock() {
	p.site.GET("/stock", "get-stock", p.stock)
	p.site.POST("/stock/:id", "add-stock-movement", p.noteStock)
	p.site.GET("/quotes/:id", "get-quote", p.quote)
}

// stockView is what there is of every product.
type stockView struct {
	base
	Rows []stockRow
}

// stockRow is one product, with the form that notes what came or went of it.
type stockRow struct {
	api.StockBody
	Name   string
	Short  bool
	Fields []pages.Field
	Open   bool
}

var movementKinds = []pages.Option{{ID: "received", Name: "received"}, {ID: "counted", Name: "counted: this is really there"}, {ID: "used", Name: "used, beside visits"}, {ID: "wasted", Name: "wasted"}}

func (p page) stock(c echo.Context) error {
	return p.showStock(c, http.StatusOK, "", url.Values{}, nil)
}

func (p page) showStock(c echo.Context, status int, product string, f url.Values, wrong []pages.FieldError) error {
	b, err := p.start(c, "/stock", "Stock")
	if err != nil {
		return api.Sorry(c, err)
	}
	v := stockView{base: b}
	if v.Summary = wrong; len(wrong) > 0 {
		v.Done = ""
	}
	list, err := web.Items[api.StockBody](c.Request().Context(), p.site, "/stock", nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	for _, x := range list {
		r := stockRow{StockBody: x, Name: x.Name, Short: x.Free < 0 || x.ShortVisit != "", Open: x.ProductID == product}
		if x.Strength != "" {
			r.Name += ", " + x.Strength
		}
		get := func(string) string { return "" }
		if r.Open {
			get = func(name string) string { return f.Get(name + "-" + product) }
		}
		id := x.ProductID
		r.Fields = mark([]pages.Field{pages.Select("kind-"+id, "What happened", "", or(get("kind"), "received"), movementKinds, ""), pages.Number("ml-"+id, "ml", "whole ml", get("ml")),
			pages.Input("note-"+id, "Note", "", "text", get("note"))}, wrong)
		v.Rows = append(v.Rows, r)
	}
	return show(c, status, "stock", v)
}

func (p page) noteStock(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	id := c.Param("id")
	ml, wrong := whole(form, "ml-"+id, "whole ml, such as 500")
	status := http.StatusUnprocessableEntity
	if len(wrong) == 0 {
		wrong, _, status, err = p.press(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("products", id, "movements"),
			Body: with(object{"kind": form.Get("kind-" + id), "ml": ml}, "note", form.Get("note-"+id)), Key: form.Get("key") + id},
			map[string]string{"kind": "kind-" + id, "ml": "ml-" + id, "note": "note-" + id})
		if err != nil {
			return api.Sorry(c, err)
		}
	}
	if len(wrong) > 0 {
		return p.showStock(c, status, id, form, wrong)
	}
	return web.Done(c, to("/stock", "stock"))
}

// quoteView is a price that is promised for a while, to be printed.
type quoteView struct {
	base
	Q        api.QuoteBody
	Who      string
	Cautions []pages.Caution
	mayBook  bool
}

func (p page) quote(c echo.Context) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "/clients", "Quote")
	if err != nil {
		return api.Sorry(c, err)
	}
	v := quoteView{base: b, mayBook: api.May(ctx, "book-visit")}
	if v.Q, err = web.Get[api.QuoteBody](ctx, p.site, api.Path("quotes", c.Param("id")), nil); err != nil {
		return api.Sorry(c, err)
	}
	if v.Q.ClientID != "" {
		who, err := web.Get[api.ClientBody](ctx, p.site, api.Path("clients", v.Q.ClientID), nil)
		if err != nil {
			return api.Sorry(c, err)
		}
		v.Who = pages.Clean(strings.TrimSpace(who.GivenName + " " + who.FamilyName))
	}
	for _, k := range v.Q.Cautions {
		v.Cautions = append(v.Cautions, pages.Caution{Level: pages.CautionLevel(k.Level), Text: k.Text})
	}
	return show(c, http.StatusOK, "quote", v)
}

// BookHref leads to the booking of what was quoted, "" once the quote is over.
func (v quoteView) BookHref() string {
	if !v.Q.StillValid || !v.mayBook {
		return ""
	}
	return "/book?" + url.Values{pages.FieldQuote: {v.Q.ID}}.Encode()
}

// Until is the last day on which the quote holds.
func (v quoteView) Until() string {
	return v.Q.ValidUntil.Add(-time.Second).In(v.loc).Format("Mon 2 January 2006")
}

// Length says how long the visit takes.
func (v quoteView) Length() string { return minutes(v.Q.Minutes) }

// insteadOf are other times, where an answer names some.
func insteadOf(err error) []api.OpeningBody {
	if p, ok := errors.AsType[*api.Problem](err); ok {
		return p.Alternatives
	}
	return nil
}

package owner

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) productPages() {
	p.get("/set-up/products", "add-product", (*visit).productsSheet)
	p.post("/set-up/products", "add-product", (*visit).addProduct, (*visit).productsSheet)
	p.get("/set-up/products/:id", "update-product", (*visit).productSheet)
	p.post("/set-up/products/:id", "update-product", (*visit).saveProduct, (*visit).productSheet)
	p.post("/set-up/products/:id/movements", "add-stock-movement", (*visit).addMovement, (*visit).productSheet)
	p.post("/set-up/products/:id/remove", "delete-product", func(v *visit) (answer, error) {
		id := v.c.Param("id")
		return v.unlessHit("Used no more", api.ChangeRequest{Product: id}, false, func() (answer, error) {
			_, err := v.ask(http.MethodDelete, api.Path("products", id), nil, nil)
			return answer{to: "/set-up/products?done=removed"}, err
		})
	}, (*visit).productSheet)
}

func (v *visit) productsSheet() (*sheet, error) {
	list, _, err := tagged[struct{ Items []api.ProductBody }](v, "/products")
	if err != nil {
		return nil, err
	}
	stock, _, err := tagged[struct{ Items []api.StockBody }](v, "/stock")
	if err != nil {
		return nil, err
	}
	s := v.sheet("Products and stock")
	t := table{Caption: "Products", Head: append(heads("Product", "Strength", "What"), number("On hand"), number("Reserved"), cell{Text: "Enough"})}
	for _, p := range list.Items {
		r := row{Cells: []cell{{Text: p.Name, Href: "/set-up/products/" + p.ID}, {Text: p.Strength}, {Text: p.Kind}}}
		if len(p.Missing) > 0 {
			r.Cells[0].More = "ask the maker " + strings.Join(p.Missing, ", ")
		}
		for _, x := range stock.Items {
			if x.ProductID == p.ID {
				r.Cells = append(r.Cells, number(fmt.Sprintf("%d ml", x.OnHand)), number(fmt.Sprintf("%d ml", x.Reserved)), cell{Text: x.Words})
			}
		}
		t.Rows = append(t.Rows, r)
	}
	if len(t.Rows) > 0 {
		s.Parts = append(s.Parts, part{Tables: []table{t}})
	}
	kind := pages.Select("product-kind", "What", "Never changes", "solution", options("solution", "solution", "neutralizer", "neutralizer", "other", "other"), "")
	fields := append([]pages.Field{kind, pages.Input("product-strength", "Strength", "As on the label; never changes: another strength is another product", "text", "")}, v.productFields(api.ProductBody{})...)
	s.Parts = append(s.Parts, part{Title: "One more", Forms: []form{{ID: "product", Action: "/set-up/products", Hidden: []hidden{key()}, Fields: fields, Buttons: save("Add it")}}})
	return s, nil
}

// productFields are what can be changed of a product.
func (v *visit) productFields(p api.ProductBody) []pages.Field {
	l := api.LabelBody{}
	if p.Label != nil {
		l = *p.Label
	}
	cost := ""
	if p.CostCents != nil {
		cost = v.money(*p.CostCents)
	}
	return []pages.Field{
		pages.Input("product-name", "Name", "Your own word for it", "text", p.Name),
		pages.Number("product-pack_ml", "Content of a pack", "ml; empty: packs are not counted", whole(p.PackML)),
		pages.Number("product-cost_cents", "What a pack costs you", "In "+v.salon.Currency, cost),
		pages.Number("product-label-processing_minutes", "Processing", "Minutes, by the maker", whole(l.Processing)),
		pages.Number("product-label-longest_minutes", "Longest time on the hair", "Minutes, from the first strand", whole(l.Longest)),
		pages.Number("product-label-neutralizer_minutes", "Neutralizer time", "Minutes", whole(l.Neutralizer)),
		pages.Number("product-label-dry_before_iron_percent", "Dryness before the iron", "Percent", decimal(l.DryBefore)),
		pages.Number("product-label-thioglycolic_acid_percent", "Thioglycolic acid", "Percent, with its salts, as acid", decimal(l.Thioglycolic)),
		pages.Number("product-label-thioglycolate_ester_percent", "Ester of thioglycolic acid", "Percent, as acid", decimal(l.Ester)),
		pages.Number("product-label-ph", "pH", "Ready for use", decimal(l.PH)),
		pages.Number("product-label-peroxide_percent", "Hydrogen peroxide", "Percent, ready for use", decimal(l.Peroxide)),
		pages.Number("product-label-ammonia_percent", "Ammonia", "Percent", decimal(l.Ammonia)),
		pages.Number("product-label-sodium_hydroxide_percent", "Sodium hydroxide", "Percent", decimal(l.Hydroxide)),
		pages.Number("product-label-sodium_bromate_percent", "Sodium bromate", "Percent", decimal(l.Bromate)),
		pages.Number("product-label-formaldehyde_percent", "Formaldehyde", "Percent", decimal(l.Formaldehyde)),
		pages.Tick("product-label-glyoxylic_acid", "Contains glyoxylic acid", "", l.Glyoxylic),
		pages.Tick("product-label-professional_use_only", "Label: for professional use only", "", l.Professional),
	}
}

func (v *visit) productTyped(p api.ProductBody) (api.ProductBody, error) {
	var f faults
	p.Name, p.PackML, p.CostCents = v.typed("name"), v.count("pack_ml", &f), nil
	if v.typed("cost_cents") != "" {
		p.CostCents = new(v.cents("cost_cents", &f))
	}
	share := func(field string) *float64 { return v.amount("label-"+field, &f) }
	p.Label = &api.LabelBody{Processing: v.count("label-processing_minutes", &f), Longest: v.count("label-longest_minutes", &f),
		Neutralizer: v.count("label-neutralizer_minutes", &f), DryBefore: share("dry_before_iron_percent"),
		Thioglycolic: share("thioglycolic_acid_percent"), Ester: share("thioglycolate_ester_percent"), PH: share("ph"), Peroxide: share("peroxide_percent"),
		Ammonia: share("ammonia_percent"), Hydroxide: share("sodium_hydroxide_percent"), Bromate: share("sodium_bromate_percent"),
		Formaldehyde: share("formaldehyde_percent"), Glyoxylic: v.ticked("label-glyoxylic_acid"), Professional: v.ticked("label-professional_use_only")}
	p.Missing, p.Cautions = []string{}, []api.SourceBody{}
	return p, f.err()
}

func (v *visit) addProduct() (answer, error) {
	p, err := v.productTyped(api.ProductBody{Kind: v.typed("kind"), Strength: v.typed("strength")})
	if err != nil {
		return answer{}, err
	}
	_, err = v.ask(http.MethodPost, "/products", p, nil)
	return answer{to: "/set-up/products?done=added"}, err
}

func (v *visit) productSheet() (*sheet, error) {
	id := v.c.Param("id")
	p, tag, err := tagged[api.ProductBody](v, api.Path("products", id))
	if err != nil {
		return nil, err
	}
	moved, _, err := tagged[struct{ Items []api.MovementBody }](v, api.Path("products", id, "movements"))
	if err != nil {
		return nil, err
	}
	name := p.Name
	if p.Strength != "" {
		name += ", " + p.Strength
	}
	s := v.sheet(name, link{Href: "/set-up/products", Text: "Products and stock"})
	here := "/set-up/products/" + id
	first := part{Text: []string{p.Safety}}
	if len(p.Missing) > 0 {
		first.Text = append(first.Text, "Ask the maker "+strings.Join(p.Missing, ", ")+".")
	}
	for _, c := range p.Cautions {
		first.List = append(first.List, link{Text: c.Text, More: c.Source})
	}
	first.Forms = []form{{ID: "product", Action: here, Hidden: []hidden{version(tag)}, Fields: v.productFields(p), Buttons: save("Save")}}
	s.Parts = append(s.Parts, first, v.movementsPart(here, moved.Items),
		part{Title: "Use it no more", Forms: []form{press("remove", here+"/remove", "Use it no more", name, version(tag))}})
	return s, nil
}

func (v *visit) saveProduct() (answer, error) {
	id := v.c.Param("id")
	was, _, err := tagged[api.ProductBody](v, api.Path("products", id))
	if err != nil {
		return answer{}, err
	}
	p, err := v.productTyped(was)
	if err != nil {
		return answer{}, err
	}
	p.ID, p.Safety = "", ""
	_, err = v.ask(http.MethodPut, api.Path("products", id), p, nil)
	return answer{to: "/set-up/products/" + id + "?done=saved"}, err
}

var movementWords = []string{"received", "came", "used", "went, beside visits", "counted", "was counted", "wasted", "was spoilt"}

func (v *visit) movementsPart(here string, list []api.MovementBody) part {
	p := part{ID: "stock", Title: "Stock"}
	t := table{Caption: "What came and went, newest first", Head: append(heads("When", "What"), number("ml"), cell{Text: "By"})}
	for _, m := range list {
		words := m.Kind
		if i := slices.Index(movementWords, m.Kind); i >= 0 {
			words = movementWords[i+1]
		}
		if m.Counted != nil {
			words += fmt.Sprintf(": %d ml", *m.Counted)
		}
		t.Rows = append(t.Rows, row{Cells: []cell{{Text: v.moment(&m.NotedAt, "")}, {Text: words, More: m.Note}, number(signed(float64(m.ChangeML))), {Text: m.NotedBy}}})
	}
	if len(t.Rows) > 0 {
		p.Tables = []table{t}
	}
	p.Forms = []form{{ID: "movement", Action: here + "/movements", Legend: "Note what came or went", Hidden: []hidden{key()}, Fields: []pages.Field{
		choose("movement-kind", "What happened", "received", movementWords...),
		pages.Number("movement-ml", "How much", "Whole ml", ""),
		pages.Input("movement-note", "Note", "", "text", ""),
	}, Buttons: save("Note it")}}
	return p
}

func (v *visit) addMovement() (answer, error) {
	var f faults
	b := api.MovementRequest{Kind: v.typed("kind"), ML: v.must("ml", &f), Note: v.typed("note")}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	_, err := v.ask(http.MethodPost, api.Path("products", v.c.Param("id"), "movements"), b, nil)
	return answer{to: "/set-up/products/" + v.c.Param("id") + "?done=movement#stock"}, err
}

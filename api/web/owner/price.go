package owner

import (
	"cmp"
	"fmt"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/scheduling/quoting"
)

// bandRows is how many rows of a price list the form has at least (judgement).
const bandRows = 4

// priceGroups are the fields of what a service costs; what it does not follow is
// folded away.
func (v *visit) priceGroups(d api.ServiceBody) []group {
	r := api.PriceRuleBody{By: "fixed"}
	if d.PriceRule != nil {
		r = *d.PriceRule
		r.By = cmp.Or(r.By, "fixed")
	}
	money := "In " + v.salon.Currency
	price := group{Legend: "Price", Text: []string{"What it comes to for seven kinds of hair is shown before it is saved."}, Fields: []pages.Field{
		choose("service-price_rule-by", "What it follows", r.By, "fixed", "nothing: the same for everybody", "band", "length and amount of hair", "minutes", "booked minutes and product"),
		pages.Number("service-price_cents", "Price", money+"; where it follows the hair, what it usually costs", v.money(d.PriceCents)),
		pages.Number("service-price_rule-helper_cents", "More with a second pair of hands", money, v.moneyOrNothing(r.HelperCents)),
	}}
	minutes := group{Fold: "Price by booked minutes and product", Open: r.By == "minutes", Fields: []pages.Field{
		pages.Number("service-price_rule-cents_per_minute", "For each booked minute", money, v.moneyOrNothing(r.PerMinuteCents)),
		pages.Number("service-price_rule-solution_cents_per_100_ml", "100 ml of solution", money, v.moneyOrNothing(r.SolutionPer100ML)),
		pages.Number("service-price_rule-neutralizer_cents_per_100_ml", "100 ml of neutralizer", money, v.moneyOrNothing(r.NeutralizerPer100ML)),
		pages.Number("service-price_rule-least_cents", "At least", money, v.moneyOrNothing(r.LeastCents)),
		pages.Number("service-price_rule-round_up_to_cents", "Rounded up to", money, v.moneyOrNothing(r.RoundUpToCents)),
	}}
	list := group{Fold: "Price list by length and amount of hair", Open: r.By == "band"}
	for i := range max(bandRows, len(r.Bands)+1) {
		var b api.PriceBandBody
		if i < len(r.Bands) {
			b = r.Bands[i]
		}
		at := func(field string) string { return fmt.Sprintf("service-price_rule-bands-%d-%s", i, field) }
		name := fmt.Sprintf("Row %d: ", i+1)
		upTo, amount := "", func(int64) string { return "" }
		if b.UpToCM > 0 {
			upTo = plain(b.UpToCM)
		}
		if i < len(r.Bands) {
			amount = v.money
		}
		hint := ""
		if i == 0 {
			hint = "cm of stretched length; empty in the last row"
		}
		list.Fields = append(list.Fields, pages.Number(at("up_to_cm"), name+"up to cm", hint, upTo), pages.Number(at("low_cents"), name+"little hair", "", amount(b.LowCents)),
			pages.Number(at("medium_cents"), name+"an average amount", "", amount(b.MediumCents)), pages.Number(at("high_cents"), name+"a lot of hair", "", amount(b.HighCents)))
	}
	return []group{price, minutes, list}
}

// money writes an amount as people type it.
func (v *visit) money(cents int64) string { return quoting.Plain(cents, v.salon.Currency) }

func (v *visit) moneyOrNothing(cents int64) string {
	if cents == 0 {
		return ""
	}
	return v.money(cents)
}

// cents reads an amount of money, 0 where nothing is typed.
func (v *visit) cents(field string, f *faults) int64 {
	text := v.typed(field)
	if text == "" {
		return 0
	}
	n, ok := quoting.Read(text, v.salon.Currency)
	if !ok {
		f.add(v, field, fmt.Sprintf("“%s” is not an amount. Right is one such as %s.", text, v.money(12300)))
	}
	return n
}

// price reads what a service costs into d.
func (v *visit) price(d *api.ServiceBody, f *faults) {
	d.PriceCents = v.cents("price_cents", f)
	r := api.PriceRuleBody{By: v.typed("price_rule-by"), HelperCents: v.cents("price_rule-helper_cents", f)}
	if r.By == "minutes" {
		r.PerMinuteCents, r.SolutionPer100ML = v.cents("price_rule-cents_per_minute", f), v.cents("price_rule-solution_cents_per_100_ml", f)
		r.NeutralizerPer100ML, r.LeastCents = v.cents("price_rule-neutralizer_cents_per_100_ml", f), v.cents("price_rule-least_cents", f)
		r.RoundUpToCents = v.cents("price_rule-round_up_to_cents", f)
	}
	for i := 0; r.By == "band" && v.form.Has(v.name(fmt.Sprintf("price_rule-bands-%d-up_to_cm", i))); i++ {
		at := func(field string) string { return fmt.Sprintf("price_rule-bands-%d-%s", i, field) }
		if v.typed(at("up_to_cm"))+v.typed(at("low_cents"))+v.typed(at("medium_cents"))+v.typed(at("high_cents")) == "" {
			continue
		}
		n := len(r.Bands)
		for _, field := range []string{"up_to_cm", "low_cents", "medium_cents", "high_cents"} {
			v.at[fmt.Sprintf("/service/price_rule/bands/%d/%s", n, field)] = v.name(at(field))
		}
		v.at[fmt.Sprintf("/service/price_rule/bands/%d", n)] = v.name(at("up_to_cm"))
		r.Bands = append(r.Bands, api.PriceBandBody{UpToCM: orZero(v.amount(at("up_to_cm"), f)), LowCents: v.cents(at("low_cents"), f),
			MediumCents: v.cents(at("medium_cents"), f), HighCents: v.cents(at("high_cents"), f)})
	}
	if d.PriceRule = &r; r.By == "fixed" && r.HelperCents == 0 {
		d.PriceRule = nil
	}
}

// productGroup are the products that a service takes.
func productGroup(d api.ServiceBody, known []api.ProductBody) group {
	g := group{Legend: "Products", Text: []string{"Reserved for each visit and taken from stock when it is over. Solution and neutralizer without ml: what the hair needs."}}
	var list []pages.Option
	for _, p := range known {
		name := p.Name
		if p.Strength != "" {
			name += ", " + p.Strength
		}
		list = append(list, pages.Option{ID: p.ID, Name: name})
	}
	if len(list) == 0 {
		g.Text = append(g.Text, "No product is known yet.")
	}
	for i := range min(8, len(d.Products)+1) {
		var p api.ServiceProductBody
		if i < len(d.Products) {
			p = d.Products[i]
		}
		ml := ""
		if p.ML > 0 {
			ml = fmt.Sprint(p.ML)
		}
		g.Fields = append(g.Fields, pages.Select(fmt.Sprintf("service-products-%d-product_id", i), fmt.Sprintf("Product %d", i+1), "", p.ProductID, list, "none"),
			pages.Number(fmt.Sprintf("service-products-%d-ml", i), fmt.Sprintf("ml of product %d", i+1), "Empty: what the hair needs", ml))
	}
	return g
}

// takes reads the products into d.
func (v *visit) takes(d *api.ServiceBody, f *faults) {
	d.Products = []api.ServiceProductBody{}
	for i := 0; v.form.Has(v.name(fmt.Sprintf("products-%d-product_id", i))); i++ {
		id := v.typed(fmt.Sprintf("products-%d-product_id", i))
		if id == "" {
			continue
		}
		for _, field := range []string{"product_id", "ml"} {
			v.at[fmt.Sprintf("/service/products/%d/%s", len(d.Products), field)] = v.name(fmt.Sprintf("products-%d-%s", i, field))
		}
		d.Products = append(d.Products, api.ServiceProductBody{ProductID: id, ML: orZero(v.count(fmt.Sprintf("products-%d-ml", i), f))})
	}
}

package main

import (
	"context"
	"encoding/json"
	"time"

	"chairblock/api"
	"chairblock/store"
)

// demoProduct is a product of the demonstration, in the salon's own plain words.
type demoProduct struct {
	name, kind, strength string
	cents                int64 // of a pack
	label                api.LabelBody
	received             int // ml, a while ago
}

const demoPackML = 500

// demoProducts are invented, as their figures are. Of the solution there is too
// little for everybody who is booked.
var demoProducts = []demoProduct{
	{"Straightening solution", "solution", "normal", 2600, api.LabelBody{Thioglycolic: new(7.5), PH: new(9.2), Processing: new(15), Longest: new(60), DryBefore: new(80.0)}, 1700},
	{"Straightening solution", "solution", "mild", 2600, api.LabelBody{Thioglycolic: new(6.0), PH: new(8.8), Processing: new(10), Longest: new(30), DryBefore: new(90.0)}, 1000},
	{"Neutralizer", "neutralizer", "2 %", 1400, api.LabelBody{Peroxide: new(2.0), Neutralizer: new(5)}, 4500},
}

// demoPricing is what a service of the demonstration costs beside its usual
// price, and which of the products above it takes.
var demoPricing = map[string]struct {
	rule  api.PriceRuleBody
	takes []int
}{
	straightening: {api.PriceRuleBody{By: "minutes", PerMinuteCents: 105, SolutionPer100ML: 1200, LeastCents: 18000, RoundUpToCents: 500, HelperCents: 6000}, []int{0, 2}},
	"Regrowth retouch": {api.PriceRuleBody{By: "band", HelperCents: 4000, Bands: []api.PriceBandBody{
		{UpToCM: 25, LowCents: 17000, MediumCents: 19000, HighCents: 21000},
		{UpToCM: 45, LowCents: 19000, MediumCents: 21000, HighCents: 23500},
		{LowCents: 21500, MediumCents: 24000, HighCents: 27000}}}, []int{0, 2}},
}

// addProducts adds the products with what there is of them, and returns their
// ids.
func (d *demoSalon) addProducts(ctx context.Context, t *store.Tx) ([]string, error) {
	var ids []string
	for _, x := range demoProducts {
		facts, err := json.Marshal(x.label)
		if err != nil {
			return nil, err
		}
		p, err := t.AddProduct(ctx, store.Product{Name: x.name, Kind: x.kind, Strength: x.strength, PackML: new(demoPackML), CostCents: new(x.cents), Facts: facts})
		if err != nil {
			return nil, err
		}
		m := store.Movement{Product: p.ID, Kind: store.StockReceived, Change: x.received, Note: "delivery", By: "desk"}
		if _, err := t.AddMovement(ctx, m, d.now.AddDate(0, 0, -daysBack-1).Truncate(time.Minute)); err != nil {
			return nil, err
		}
		ids = append(ids, p.ID)
	}
	return ids, nil
}

// price gives a service that was just added its price rule and products.
func (d *demoSalon) price(ctx context.Context, t *store.Tx, row store.ServiceRow, products []string) error {
	x, ok := demoPricing[row.Name]
	if !ok {
		return nil
	}
	rule, err := json.Marshal(x.rule)
	if err != nil {
		return err
	}
	var takes []store.ServiceProduct
	for _, i := range x.takes {
		takes = append(takes, store.ServiceProduct{Product: products[i]})
	}
	return t.SetPricing(ctx, row.ID, row.Version, rule, takes)
}

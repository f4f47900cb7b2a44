package api

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/products"
	"chairblock/scheduling/quoting"
	"chairblock/store"
)

// PriceRuleBody is what the price of a service follows.
type PriceRuleBody struct {
	By                  string          `json:"by" enum:"fixed,band,minutes" doc:"fixed: price_cents for everybody; band: by length and amount of hair; minutes: so much a booked minute, and product"`
	Bands               []PriceBandBody `json:"bands,omitempty" nullable:"false" maxItems:"20" doc:"With by band: the price list, shortest hair first; the last row has no limit"`
	PerMinuteCents      int64           `json:"cents_per_minute,omitempty" minimum:"0" maximum:"1000000" doc:"With by minutes: for each minute that is booked"`
	SolutionPer100ML    int64           `json:"solution_cents_per_100_ml,omitempty" minimum:"0" maximum:"10000000" doc:"With by minutes: for what has to be mixed, in whole ml rounded up; left out: in the price of the minute"`
	NeutralizerPer100ML int64           `json:"neutralizer_cents_per_100_ml,omitempty" minimum:"0" maximum:"10000000"`
	LeastCents          int64           `json:"least_cents,omitempty" minimum:"0" maximum:"100000000" doc:"With by minutes: the lowest price"`
	RoundUpToCents      int64           `json:"round_up_to_cents,omitempty" minimum:"0" maximum:"1000000" doc:"With by minutes: prices are made multiples of it"`
	HelperCents         int64           `json:"helper_cents,omitempty" minimum:"0" maximum:"100000000" doc:"Added when a second pair of hands is booked"`
}

// PriceBandBody is one row of a price list.
type PriceBandBody struct {
	UpToCM      float64 `json:"up_to_cm,omitempty" minimum:"8" maximum:"119.99" doc:"Stretched length up to which the row counts, that length included; left out in the last row"`
	LowCents    int64   `json:"low_cents" minimum:"0" maximum:"100000000" doc:"For little hair"`
	MediumCents int64   `json:"medium_cents" minimum:"0" maximum:"100000000" doc:"For an average amount"`
	HighCents   int64   `json:"high_cents" minimum:"0" maximum:"100000000" doc:"For a lot of hair"`
}

// ServiceProductBody is a product that a service takes.
type ServiceProductBody struct {
	ProductID string `json:"product_id" maxLength:"64"`
	ML        int    `json:"ml,omitempty" minimum:"0" maximum:"20000" doc:"How much, the same for everybody; left out for solution and neutralizer: what the hair needs"`
}

// rule is the price of a service for the core; b may be nil.
func (b *PriceRuleBody) rule(fixed int64) quoting.Rule {
	if b == nil || quoting.By(b.By) == quoting.ByNothing || b.By == "" {
		fixedRule := quoting.Rule{By: quoting.ByNothing, Fixed: fixed}
		if b == nil {
			return fixedRule
		}
		out := b.other()
		out.By, out.Fixed = quoting.ByNothing, fixed
		return out
	}
	return b.other()
}

// other is what b says beside the fixed price.
func (b *PriceRuleBody) other() quoting.Rule {
	r := quoting.Rule{By: quoting.By(b.By), PerMinute: b.PerMinuteCents, SolutionPer100ML: b.SolutionPer100ML,
		NeutralizerPer100ML: b.NeutralizerPer100ML, Least: b.LeastCents, RoundUpTo: b.RoundUpToCents, Helper: b.HelperCents}
	for _, x := range b.Bands {
		r.Bands = append(r.Bands, quoting.Band{UpTo: x.UpToCM, Low: x.LowCents, Medium: x.MediumCents, High: x.HighCents})
	}
	return r
}

// checkPricing notes what is wrong with price and products of a service.
func (b ServiceBody) checkPricing(f *scheduling.Faults, x scheduling.Service) {
	var rule scheduling.Faults
	_ = rule.Join("", b.PriceRule.rule(b.PriceCents).Validate()) // all of it faults
	for _, x := range rule {
		if x.Field != "price_cents" { // which stands beside the rule
			x.Field = scheduling.Under("price_rule", x.Field)
		}
		f.Add(x.Field, x.Problem, x.Want)
	}
	if r := b.PriceRule; r != nil {
		everybody := "a service whose steps follow the hair"
		if !needsHair(x) && quoting.By(r.By) == quoting.ByBand {
			f.Add("price_rule.by", "is band, but the service takes the same time for everybody", everybody)
		}
		if !needsHair(x) && r.SolutionPer100ML > 0 {
			f.Add("price_rule.solution_cents_per_100_ml", "is given, but no hair says how much is needed", everybody)
		}
		if !needsHair(x) && r.NeutralizerPer100ML > 0 {
			f.Add("price_rule.neutralizer_cents_per_100_ml", "is given, but no hair says how much is needed", everybody)
		}
		if r.HelperCents > 0 && !slices.ContainsFunc(x.Steps, func(st scheduling.Step) bool { return st.Helper }) {
			f.Add("price_rule.helper_cents", "is given, but no step of this service can be shared", "a step with helper, or nothing")
		}
	}
	for i, p := range b.Products {
		at := index("products", i)
		if p.ML < 0 || p.ML > 20_000 {
			f.Addf(at+".ml", "1 to 20000 ml, or nothing", "is %d", p.ML)
		}
		if slices.ContainsFunc(b.Products[:i], func(o ServiceProductBody) bool { return o.ProductID == p.ProductID }) {
			f.Add(at+".product_id", "stands twice in the list", "each product once")
		}
	}
}

// withPricing writes price and products of the version of a service that was
// just added.
func (b ServiceBody) withPricing(ctx context.Context, t *store.Tx, r store.ServiceRow, err error) (store.ServiceRow, error) {
	if err != nil || b.PriceRule == nil && len(b.Products) == 0 {
		return r, err
	}
	var f scheduling.Faults
	kinds := map[string]bool{}
	for i, p := range b.Products {
		at := index("products", i)
		row, err := t.ProductByID(ctx, p.ProductID)
		switch {
		case is(err, scheduling.ErrNotFound) || err == nil && !row.Active:
			f.Add(at+".product_id", "is not a product of this salon", "an id from GET /products")
			continue
		case err != nil:
			return r, err
		case p.ML == 0 && (row.Kind == string(products.Other) || !needsHair(r.Service)):
			f.Add(at+".ml", "is missing, and no hair says how much is needed", "how many ml, the same for everybody")
		}
		if row.Kind != string(products.Other) && kinds[row.Kind] {
			f.Add(at+".product_id", "is a second "+row.Kind, "one solution and one neutralizer at most")
		}
		kinds[row.Kind] = true
		r.Products = append(r.Products, store.ServiceProduct{Product: p.ProductID, ML: p.ML})
	}
	if err := f.Err(); err != nil {
		return r, err
	}
	if b.PriceRule != nil {
		if r.PriceRule, err = json.Marshal(b.PriceRule); err != nil {
			return r, fmt.Errorf("api: price rule: %w", err)
		}
	}
	return r, t.SetPricing(ctx, r.ID, r.Version, r.PriceRule, r.Products)
}

// readPriceRule reads the rule of a version of a service; nil is a fixed price.
func readPriceRule(row store.ServiceRow) (*PriceRuleBody, error) {
	if len(row.PriceRule) == 0 || string(row.PriceRule) == "{}" {
		return nil, nil
	}
	var b PriceRuleBody
	if err := json.Unmarshal(row.PriceRule, &b); err != nil {
		return nil, fmt.Errorf("api: price rule of service %s: %w", row.ID, err)
	}
	return &b, nil
}

// writePricing puts price rule and products of r into b. A rule that cannot be
// read is left out: prices say so when they are asked for.
func (b *ServiceBody) writePricing(r store.ServiceRow) {
	b.PriceRule, _ = readPriceRule(r)
	b.Products = []ServiceProductBody{}
	for _, p := range r.Products {
		b.Products = append(b.Products, ServiceProductBody{p.Product, p.ML})
	}
}

// priceOf is what a service costs on this hair, in the minor units of the
// salon's currency; w is nil for a service that takes the same time for
// everybody, and for one whose hair is at fault, which is not priced then.
func (n salonDay) priceOf(row store.ServiceRow, w *worked) (quoting.Price, error) {
	if w == nil && needsHair(row.Service) {
		return quoting.Price{Cents: row.PriceCents}, nil
	}
	b, err := readPriceRule(row)
	if err != nil {
		return quoting.Price{}, err
	}
	work := quoting.Work{Hands: 1}
	var steps []scheduling.TimedStep
	if w == nil {
		steps, err = row.Time(nil, 1)
	} else {
		steps, err = row.Time(w.result.booked(), max(1, w.hair.Batches))
		work = quoting.Work{Hands: w.hair.Hands, Length: w.hair.LengthCM, Density: quoting.Density(w.hair.Density),
			SolutionML: wholeML(w.result.SolutionML), NeutralizerML: wholeML(w.result.NeutralizerML)}
	}
	if err != nil {
		return quoting.Price{}, err
	}
	for _, st := range steps {
		work.Minutes += st.Length
	}
	if work.Minutes > longestVisit { // which is refused as a whole
		return quoting.Price{Cents: row.PriceCents}, nil
	}
	return b.rule(row.PriceCents).Price(work, n.moneyWords())
}

// moneyWords says how prices of this salon are written.
func (n salonDay) moneyWords() quoting.Words {
	return quoting.Words{Currency: n.row.Currency, Inches: n.row.LengthUnit == "in"}
}

// wholeML rounds an amount of product up: what is missing in the bowl is missing
// on the head. The slack takes what was lost in adding up.
func wholeML(ml float64) int { return int(math.Ceil(ml - 1e-6)) }

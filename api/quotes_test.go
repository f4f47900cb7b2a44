package api_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// priced gives a service another price rule in a new version.
func (s *salon) priced(name string, price int, rule object, products ...object) {
	s.t.Helper()
	var x object
	tag := s.call("GET", "/v1/services/"+s.services[name], nil).is(200, &x).header.Get("ETag")
	for _, k := range []string{"id", "service_version", "needs_hair"} {
		delete(x, k)
	}
	delete(x, "price_rule")
	x["price_cents"] = price
	if rule != nil {
		x["price_rule"] = rule
	}
	x["products"] = append([]object{}, products...)
	s.call("PUT", "/v1/services/"+s.services[name], x, "If-Match", tag).is(200, nil)
}

func (s *salon) quote(body object) api.QuoteBody {
	s.t.Helper()
	var q api.QuoteBody
	s.call("POST", "/v1/quotes", body).is(201, &q)
	return q
}

var byMinute = object{"by": "minutes", "cents_per_minute": 110, "solution_cents_per_100_ml": 1200, "round_up_to_cents": 1000}

func TestAQuoteSaysWhatItCostsAndWhy(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.moneyRules(object{})
	s.priced("Straightening", 32000, byMinute)
	mara := s.client("Mara")
	q := s.quote(object{"client_id": mara, "lead_id": s.ada, "services": append(s.straightening(), object{"service_id": s.services["Dry cut"]})})
	require.Equal(t, "270 min × 1.10 = 297.00; 108 ml solution × 12.00 per 100 ml = 12.96; together 309.96, rounded up to 310.00", q.Lines[0].Working)
	require.Equal(t, "fixed price 39.00", q.Lines[1].Working)
	require.Equal(t, []int64{31000, 3900, 34900, 17450}, []int64{q.Lines[0].PriceCents, q.Lines[1].PriceCents, q.TotalCents, q.DepositCents})
	require.Equal(t, []string{"349.00 EUR", "50 % of 349.00 = 174.50"}, []string{q.Total, q.Deposit})
	require.Equal(t, 300, q.Minutes)
	require.Equal(t, s.ada, q.Lines[1].LeadID)
	require.Equal(t, "2026-07-09T00:00:00+02:00", q.ValidUntil.Format(time.RFC3339), "30 days, to the end of the day")
	require.True(t, q.StillValid)
	require.Contains(t, q.Notice, "48 hours")
	require.Contains(t, q.Late, "15 minutes late")
	require.NotEmpty(t, q.Safety)
	var e api.EstimateAnswer
	s.call("GET", "/v1/estimates/"+q.Lines[0].EstimateID, nil).is(200, &e)
	require.Equal(t, 270, e.Estimate.BlockMinutes)
	// It is kept as it was said, whatever settings and prices become.
	s.moneyRules(object{"quote_valid_days": 1, "notice_hours": 24, "late_minutes": 30})
	s.priced("Straightening", 99900, nil)
	var again api.QuoteBody
	s.call("GET", "/v1/quotes/"+q.ID, nil).is(200, &again)
	require.Equal(t, q, again)
	var list struct{ Items []api.QuoteBody }
	s.call("GET", "/v1/clients/"+mara+"/quotes", nil).is(200, &list)
	require.Equal(t, []api.QuoteBody{q}, list.Items)
	s.at(q.ValidUntil)
	s.call("GET", "/v1/quotes/"+q.ID, nil).is(200, &again)
	require.False(t, again.StillValid)
}

func TestABookingWithAQuoteKeepsItsPriceWhileItIsValid(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.priced("Straightening", 32000, byMinute)
	mara := s.client("Mara")
	q := s.quote(object{"client_id": mara, "services": s.straightening()})
	require.EqualValues(t, 31000, q.TotalCents)
	s.priced("Straightening", 50000, nil)

	book := func(client string, at time.Time, services []object, quote string) answer {
		return s.call("POST", "/v1/visits", object{"client_id": client, "start": at, "services": services, "approved_by": "Ada", "quote_id": quote}, "Idempotency-Key", quote+at.String())
	}
	var v api.VisitBody
	book(mara, start.Add(73*time.Hour), s.straightening(), q.ID).is(201, &v)
	require.EqualValues(t, 31000, v.PriceCents)
	require.Equal(t, q.ID, v.QuoteID)
	require.EqualValues(t, 50000, *v.PriceToday, "both are shown")
	with := []object{{"service_id": s.services["Straightening"], "estimate_id": q.Lines[0].EstimateID}}
	book(mara, start.Add(97*time.Hour), with, q.ID).is(201, &v)
	require.EqualValues(t, 31000, v.PriceCents)

	other := hair()
	other["length_cm"] = 36
	longer := []object{{"service_id": s.services["Straightening"], "hair": other}}
	for _, x := range []struct {
		name, client string
		services     []object
		quote        string
	}{
		{"is not a quote", mara, s.straightening(), "none"},
		{"another client", s.client("Ines"), s.straightening(), q.ID},
		{"other hair", mara, longer, q.ID},
		{"another service", mara, []object{s.by(s.ben, "Dry cut")}, q.ID},
		{"for 1 services", mara, append(s.straightening(), s.by(s.ada, "Dry cut")), q.ID},
	} {
		p := book(x.client, start.Add(121*time.Hour), x.services, x.quote).refused(422, "invalid")
		require.Equal(t, "/quote_id", places(p), x.name)
		require.Contains(t, p.Errors[0].Detail, x.name)
	}
	s.at(q.ValidUntil.Add(-time.Second))
	book(mara, q.ValidUntil.Add(10*time.Hour), s.straightening(), q.ID).is(201, &v)
	require.EqualValues(t, 31000, v.PriceCents, "to the last second")
	s.at(q.ValidUntil)
	p := book(mara, q.ValidUntil.Add(34*time.Hour), s.straightening(), q.ID).refused(422, "invalid")
	require.Equal(t, "was valid until 8 July 2026", p.Errors[0].Detail)
}

func TestAPencilledVisitKeepsTheQuotedPriceAndDeposit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.moneyRules(object{"deposit_chemical": object{"percent": 25}})
	q := s.quote(object{"services": s.straightening()})
	require.EqualValues(t, 8000, q.DepositCents)
	s.moneyRules(object{})
	var v api.VisitBody
	a := s.call("POST", "/v1/holds", object{"start": start.Add(73 * time.Hour), "services": s.straightening(), "quote_id": q.ID}, "Idempotency-Key", "h").is(201, &v)
	require.Equal(t, q.ID, v.QuoteID)
	s.call("POST", "/v1/visits/"+v.ID+"/book", object{"client_id": s.client("Mara"), "approved_by": "Ada"}, "If-Match", a.header.Get("ETag")).is(200, &v)
	require.EqualValues(t, 8000, v.Deposit.AskedCents)
	require.Equal(t, "as quoted", s.last(v.ID).Note)
}

func TestAQuoteIsForItsClientAndForgetsNoVisitThatNobodyCameTo(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.moneyRules(object{"deposit_other": object{"percent": 50}})
	mara, ines := s.client("Mara"), s.client("Ines")
	cut := []object{s.by(s.ben, "Dry cut")}
	hers, anybodys := s.quote(object{"client_id": mara, "services": cut}), s.quote(object{"services": cut})
	missed, tag := s.book(ines, start.Add(time.Hour), cut)
	s.at(start.Add(2 * time.Hour))
	s.call("POST", "/v1/visits/"+missed.ID+"/miss", nil, "If-Match", tag).is(200, nil)

	v, tag := s.pencil(start.Add(73*time.Hour), cut, object{"quote_id": hers.ID})
	require.Equal(t, "/client_id", places(s.bookHeld(v.ID, tag, object{"client_id": ines}).refused(422, "invalid")))
	v, tag = s.pencil(start.Add(75*time.Hour), cut, object{"quote_id": anybodys.ID})
	s.bookHeld(v.ID, tag, object{"client_id": ines}).is(200, &v)
	require.EqualValues(t, 3900, v.Deposit.AskedCents, "all of it, whatever was quoted to nobody in particular")

	// As long as it is pencilled the price holds, and no longer.
	s.at(hers.ValidUntil.Add(-5 * time.Minute))
	at := hers.ValidUntil.Add(33 * time.Hour)
	v, tag = s.pencil(at, cut, object{"quote_id": hers.ID})
	late, lateTag := s.pencil(at.Add(2*time.Hour), cut, object{"quote_id": hers.ID})
	s.at(hers.ValidUntil.Add(time.Minute))
	s.bookHeld(v.ID, tag, object{"client_id": mara}).is(200, &v)
	require.EqualValues(t, 1950, v.Deposit.AskedCents)
	s.at(hers.ValidUntil.Add(time.Hour))
	require.Contains(t, s.bookHeld(late.ID, lateTag, object{"client_id": mara}).refused(409, "conflict").Detail, "quote that was valid until")
}

func TestAServiceIsPricedByLengthAndAmountOfHair(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	bands := []object{{"up_to_cm": 25, "low_cents": 180, "medium_cents": 210, "high_cents": 240}, {"up_to_cm": 40, "low_cents": 260, "medium_cents": 300, "high_cents": 350},
		{"low_cents": 360, "medium_cents": 420, "high_cents": 500}}
	s.priced("Straightening", 300, object{"by": "band", "bands": bands, "helper_cents": 40})
	price := func(change object) int64 {
		h := hair()
		for k, v := range change {
			h[k] = v
		}
		return s.quote(object{"services": []object{{"service_id": s.services["Straightening"], "hair": h}}}).TotalCents
	}
	require.EqualValues(t, 300, price(nil))
	require.EqualValues(t, 240, price(object{"length_cm": 25, "density": "high"}))
	require.EqualValues(t, 260, price(object{"length_cm": 25.1, "density": "low"}))
	require.EqualValues(t, 460, price(object{"length_cm": 60, "hands": 2}))
}

func TestAPriceRuleThatContradictsItselfIsNamed(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var x object
	s.call("GET", "/v1/services/"+s.services["Dry cut"], nil).is(200, &x)
	for _, k := range []string{"id", "service_version", "needs_hair"} {
		delete(x, k)
	}
	var solution, mild, glue struct{ ID string }
	s.call("POST", "/v1/products", object{"name": "A", "kind": "solution", "strength": "normal"}).is(201, &solution)
	s.call("POST", "/v1/products", object{"name": "A", "kind": "solution", "strength": "mild"}).is(201, &mild)
	s.call("POST", "/v1/products", object{"name": "A", "kind": "other"}).is(201, &glue)
	for _, tt := range []struct {
		rule     object
		products []object
		want     string
	}{
		{object{"by": "band", "bands": []object{{"low_cents": 1, "medium_cents": 1, "high_cents": 1}}}, nil, "/price_rule/by"},
		{object{"by": "minutes", "cents_per_minute": 1, "solution_cents_per_100_ml": 5, "neutralizer_cents_per_100_ml": 5}, nil,
			"/price_rule/solution_cents_per_100_ml /price_rule/neutralizer_cents_per_100_ml"},
		{object{"by": "fixed", "cents_per_minute": 3, "helper_cents": 5}, nil, "/price_rule/cents_per_minute /price_rule/helper_cents"},
		{object{"by": "minutes"}, nil, "/price_rule/cents_per_minute"},
		{nil, []object{{"product_id": "none", "ml": 5}}, "/products/0/product_id"},
		{nil, []object{{"product_id": solution.ID}, {"product_id": glue.ID}}, "/products/0/ml /products/1/ml"},
		{nil, []object{{"product_id": solution.ID, "ml": 5}, {"product_id": solution.ID, "ml": 5}}, "/products/1/product_id"},
		{nil, []object{{"product_id": solution.ID, "ml": 5}, {"product_id": mild.ID, "ml": 5}}, "/products/1/product_id"},
	} {
		delete(x, "price_rule")
		if tt.rule != nil {
			x["price_rule"] = tt.rule
		}
		x["products"] = append([]object{}, tt.products...)
		require.Equal(t, tt.want, places(s.call("PUT", "/v1/services/"+s.services["Dry cut"], x, "If-Match", `"v1"`).refused(422, "invalid")), "%v %v", tt.rule, tt.products)
	}
}

func TestMoneyIsWrittenWithTheDecimalsOfTheCurrency(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	salon := func(currency string) object {
		return object{"name": "Harbour Chairs", "currency": currency, "length_unit": "in", "heat_unit": "C", "address": "", "phone": "", "mail": "", "emergency": "112"}
	}
	tag := s.call("GET", "/v1/salon", nil).is(200, nil).header.Get("ETag")
	require.Equal(t, "/currency", places(s.call("PUT", "/v1/salon", salon("QQQ"), "If-Match", tag).refused(422, "invalid")))
	s.call("PUT", "/v1/salon", salon("JPY"), "If-Match", tag).is(200, nil)
	q := s.quote(object{"services": s.straightening()})
	require.Equal(t, []string{"32000 JPY", "fixed price 32000"}, []string{q.Total, q.Lines[0].Working})
	s.priced("Straightening", 32000, object{"by": "band", "bands": []object{{"up_to_cm": 30, "low_cents": 1, "medium_cents": 1, "high_cents": 1}, {"low_cents": 2, "medium_cents": 2, "high_cents": 2}}})
	q = s.quote(object{"services": s.straightening()})
	require.True(t, strings.HasPrefix(q.Lines[0].Working, "13.8 in, an average amount of hair: longer than 11.8 in"), q.Lines[0].Working)
}

func TestAPriceOnTheTelephoneIsARange(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	ask := func(more object) *api.PhonePriceBody {
		body := object{"reach": "shoulder", "ponytail": "average", "history": []string{"nothing"}}
		for k, v := range more {
			body[k] = v
		}
		var a api.PhoneAnswerBody
		s.call("POST", "/v1/estimates/phone", body).is(200, &a)
		return a.Price
	}
	require.Equal(t, &api.PhonePriceBody{ServiceID: s.services["Straightening"], Name: "Straightening", FromCents: 32000, ToCents: 32000, Words: "Straightening: 320.00 EUR"}, ask(nil))
	row := func(up any, low, medium, high int) object {
		x := object{"low_cents": low, "medium_cents": medium, "high_cents": high}
		if up != nil {
			x["up_to_cm"] = up
		}
		return x
	}
	s.priced("Straightening", 300, object{"by": "band", "bands": []object{row(30, 100, 200, 300), row(40, 150, 250, 350), row(nil, 1, 2, 3)}})
	p := ask(nil)
	require.Equal(t, []int64{200, 250}, []int64{p.FromCents, p.ToCents}, "shoulder is 25 to 40 cm: two rows are touched")
	p = ask(object{"ponytail": "unknown"})
	require.Equal(t, []int64{100, 350}, []int64{p.FromCents, p.ToCents})
	s.priced("Straightening", 30000, byMinute)
	p = ask(object{"service_id": s.services["Straightening"]})
	require.Less(t, p.FromCents, int64(31000), "hair of 35 cm in the middle costs 310.00")
	require.Greater(t, p.ToCents, int64(31000))
	require.Contains(t, p.Words, "firm after the consultation")
	for name, want := range map[string]string{"Dry cut": "takes the same time", "Regrowth retouch": "new growth only"} {
		bad := s.call("POST", "/v1/estimates/phone", object{"reach": "chin", "service_id": s.services[name]}).refused(422, "invalid")
		require.Equal(t, "/service_id", places(bad))
		require.Contains(t, bad.Errors[0].Detail, want)
	}
}

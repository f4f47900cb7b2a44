package api_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestStockFollowsTheRecordCard(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	solution, neutralizer := s.product("solution", "normal", 1000, nil), s.product("neutralizer", "2 %", 1000, object{"neutralizer_minutes": 5})
	s.priced("Straightening", 32000, nil, object{"product_id": solution}, object{"product_id": neutralizer})
	left := func() []int { return []int{s.inStock(solution).OnHand, s.inStock(neutralizer).OnHand} }

	x := inSolution(s)
	s.at(monday(9, 45))
	first := x.write(object{"solution": object{"product": "the usual", "ml": 90}})
	x.write(object{"solution": object{"product": "the usual", "ml": 30.5}})
	require.Equal(t, []int{1000, 1000}, left(), "nothing is taken before the visit is over")
	s.at(monday(13, 20))
	x.ok("finish")
	require.Equal(t, []int{879, 892}, left(), "what was noted, in whole ml rounded up, and of the neutralizer what was reserved")
	require.Zero(t, s.inStock(solution).Reserved)
	// A correction takes the difference only.
	s.call("POST", "/v1/visits/"+x.id+"/card/facts/"+first.Fact.ID+"/correction", object{"solution": object{"product": "the usual", "ml": 70}}).is(201, nil)
	require.Equal(t, []int{899, 892}, left())
	x.write(object{"neutralizer": object{"product": "two per cent", "ml": 120}}, monday(12, 0))
	require.Equal(t, []int{899, 880}, left())
	x.write(object{"result": object{"outcome": "as_wished"}})
	require.Equal(t, []int{899, 880}, left())
}

func TestAVisitThatWasStoppedTakesOnlyWhatWasNoted(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	solution, neutralizer := s.product("solution", "normal", 1000, nil), s.product("neutralizer", "2 %", 1000, object{"neutralizer_minutes": 5})
	s.priced("Straightening", 32000, nil, object{"product_id": solution}, object{"product_id": neutralizer})
	x := inSolution(s)
	s.at(monday(9, 45))
	x.write(object{"solution": object{"product": "the usual", "ml": 60}})
	s.at(monday(9, 50))
	s.call("POST", "/v1/visits/"+x.id+"/stop", object{"reason": "skin", "outcome": "rinsed", "licensed": "Ada"}).is(201, nil)
	require.Equal(t, []int{940, 1000, 0}, []int{s.inStock(solution).OnHand, s.inStock(neutralizer).OnHand, s.inStock(neutralizer).Reserved})
}

func TestHairAsSeenIsPricedAndReservedByTheRuleOfTheVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	solution := s.product("solution", "normal", 1000, nil)
	s.priced("Straightening", 32000, byMinute, object{"product_id": solution})
	q := s.quote(object{"services": s.straightening()})
	require.EqualValues(t, 31000, q.TotalCents)
	s.priced("Straightening", 99900, nil)
	var v api.VisitBody
	a := s.call("POST", "/v1/visits", object{"client_id": s.client("Mara"), "start": monday(9, 0), "services": s.straightening(), "approved_by": "Ada", "quote_id": q.ID},
		"Idempotency-Key", "quoted").is(201, &v)
	require.Empty(t, v.Products, "the version that is booked takes none")
	x := &noting{s, v.ID, a.header.Get("ETag"), v}
	s.noted(v.ID, object{"kind": "price_changed", "amount_cents": 30000, "client_agreed": true})
	x.tag = s.call("GET", "/v1/visits/"+v.ID, nil).is(200, nil).header.Get("ETag")
	s.at(monday(9, 0))
	x.ok("arrive")
	out := x.looks(object{"hair": object{"length_cm": 40}, "preview": true})
	var goOn *api.ChoiceBody
	for i, c := range out.Choices {
		if c.Choice == "go_on" {
			goOn = &out.Choices[i]
		}
	}
	require.NotNil(t, goOn)
	longer := hair()
	longer["length_cm"], longer["plan"] = 40, "normal"
	s.priced("Straightening", 32000, byMinute)
	dearer := s.quote(object{"services": []object{{"service_id": s.services["Straightening"], "hair": longer}}}).TotalCents
	require.Greater(t, dearer, int64(31000))
	require.Equal(t, 30000+dearer-31000, goOn.PriceCents, "what was agreed, and the difference by the quoted rule")
}

func TestDoingLessTakesTheOtherServicesProducts(t *testing.T) {
	t.Parallel()
	for _, given := range []bool{false, true} {
		s := newSalon(t)
		strong, mild, roots := s.product("solution", "strong", 1000, nil), s.product("solution", "mild", 1000, nil), s.product("solution", "roots", 1000, nil)
		neutralizer := s.product("neutralizer", "2 %", 1000, object{"neutralizer_minutes": 5})
		cape := s.product("other", "", 100, nil)
		s.priced("Straightening", 32000, nil, object{"product_id": strong}, object{"product_id": neutralizer}, object{"product_id": cape, "ml": 2})
		s.priced("Regrowth retouch", 21000, nil, object{"product_id": roots})
		x := here(s)
		want := []any{roots, "", ""}
		if given {
			body := object{"product_id": mild, "instead_of": strong, "approved_by": "Ada"}
			x.tag = s.call("POST", "/v1/visits/"+x.id+"/products", body, "If-Match", x.tag).is(200, nil).header.Get("ETag")
			want = []any{mild, roots, "Ada"} // the licensed person's word stays
		}
		x.looks(object{"hair": object{"regrowth_cm": 6}, "choice": "do_less", "less": "retouch", "client_agreed": true})
		require.Len(t, x.v.Products, 1, "neither the neutralizer nor what went with the other service")
		p := x.v.Products[0]
		require.Equal(t, want, []any{p.ProductID, p.InsteadOf, p.ApprovedBy})
		require.Less(t, p.ML, 108)
	}
}

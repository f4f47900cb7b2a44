package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// product adds a product and so much of it.
func (s *salon) product(kind, strength string, ml int, label object) string {
	s.t.Helper()
	var p api.ProductBody
	body := object{"name": kind, "kind": kind, "strength": strength, "pack_ml": 500}
	if label != nil {
		body["label"] = label
	}
	s.call("POST", "/v1/products", body).is(201, &p)
	if ml > 0 {
		s.call("POST", "/v1/products/"+p.ID+"/movements", object{"kind": "received", "ml": ml}).is(201, nil)
	}
	return p.ID
}

// inStock is what there is of a product.
func (s *salon) inStock(product string) api.StockBody {
	s.t.Helper()
	var list struct{ Items []api.StockBody }
	s.call("GET", "/v1/stock", nil).is(200, &list)
	for _, x := range list.Items {
		if x.ProductID == product {
			return x
		}
	}
	require.FailNow(s.t, "no such product in stock")
	return api.StockBody{}
}

func textsOf(list []api.CautionBody) map[string]string {
	out := map[string]string{}
	for _, c := range list {
		out[c.Code] = c.Text
	}
	return out
}

func TestWhatAVisitTakesIsReservedAndTakenWhenItIsOver(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	solution, neutralizer := s.product("solution", "normal", 250, nil), s.product("neutralizer", "2 %", 1000, object{"neutralizer_minutes": 5})
	s.priced("Straightening", 32000, nil, object{"product_id": solution}, object{"product_id": neutralizer})
	first, _ := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	require.Len(t, first.Products, 2)
	require.Equal(t, []any{solution, 108, "normal"}, []any{first.Products[0].ProductID, first.Products[0].ML, first.Products[0].Strength})
	x := s.inStock(solution)
	require.Equal(t, []any{250, 108, 142, 0, "Enough for all booked visits"}, []any{x.OnHand, x.Reserved, x.Free, *x.Packs, x.Words})
	require.NotContains(t, textsOf(first.Cautions), "stock")

	s.book(s.client("Ines"), start.Add(49*time.Hour), s.straightening())
	third, tag := s.book(s.client("Olga"), start.Add(73*time.Hour), s.straightening())
	x = s.inStock(solution)
	require.Equal(t, []any{324, -74, third.ID, "Enough until Thursday 11 June"}, []any{x.Reserved, x.Free, x.ShortVisit, x.Words})
	require.Equal(t, "solution, normal: Enough until Thursday 11 June. This visit takes 108 ml.", textsOf(third.Cautions)["stock"], "booked all the same")

	// Another strength is the licensed person's to give.
	mild := s.product("solution", "mild", 500, nil)
	change := func(body object, tag string) answer {
		return s.call("POST", "/v1/visits/"+third.ID+"/products", body, "If-Match", tag)
	}
	require.Equal(t, "/approved_by", places(change(object{"product_id": mild, "instead_of": solution, "approved_by": "Mina"}, tag).refused(422, "invalid")))
	require.Equal(t, "/product_id", places(change(object{"product_id": neutralizer, "instead_of": neutralizer, "approved_by": "Ada"}, tag).refused(422, "invalid")))
	require.Equal(t, "/product_id", places(change(object{"product_id": "none", "instead_of": solution, "approved_by": "Ada"}, tag).refused(422, "invalid")))
	require.Equal(t, "/instead_of", places(change(object{"product_id": mild, "instead_of": "none", "approved_by": "Ada"}, tag).refused(422, "invalid")))
	a := change(object{"product_id": mild, "instead_of": solution, "approved_by": "ada"}, tag).is(200, nil)
	third, _ = s.read(third.ID)
	require.Equal(t, []any{mild, 108, "Ada", solution}, []any{third.Products[0].ProductID, third.Products[0].ML, third.Products[0].ApprovedBy, third.Products[0].InsteadOf})
	require.NotContains(t, textsOf(third.Cautions), "stock")
	require.NotEqual(t, tag, a.header.Get("ETag"))
	require.Equal(t, "Enough for all booked visits", s.inStock(solution).Words)

	// Finished, it is taken from the stock, once.
	s.at(first.Start.Add(5 * time.Hour))
	var done api.VisitBody
	s.call("POST", "/v1/visits/"+first.ID+"/finish", object{}, "If-Match", `"v1"`).is(200, &done)
	x = s.inStock(solution)
	require.Equal(t, []any{142, 108}, []any{x.OnHand, x.Reserved})
	require.Equal(t, 892, s.inStock(neutralizer).OnHand)
	var list struct{ Items []api.MovementBody }
	s.call("GET", "/v1/products/"+solution+"/movements", nil).is(200, &list)
	require.Equal(t, []any{"used", -108, first.ID}, []any{list.Items[0].Kind, list.Items[0].ChangeML, list.Items[0].VisitID})
	// A visit that is cancelled reserves nothing.
	s.call("POST", "/v1/visits/"+third.ID+"/cancel", nil, "If-Match", a.header.Get("ETag")).is(200, nil)
	require.Zero(t, s.inStock(mild).Reserved)
}

func TestMovementsAreNotedAndPagedThrough(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	p := s.product("other", "", 1200, nil)
	move := func(body object) api.MovementBody {
		var m api.MovementBody
		s.call("POST", "/v1/products/"+p+"/movements", body).is(201, &m)
		return m
	}
	require.Equal(t, -100, move(object{"kind": "wasted", "ml": 100, "note": "spilled"}).ChangeML)
	require.Equal(t, -100, move(object{"kind": "counted", "ml": 1000}).ChangeML)
	require.Equal(t, -20, move(object{"kind": "used", "ml": 20}).ChangeML)
	require.Equal(t, 980, s.inStock(p).OnHand)
	require.Equal(t, 1, *s.inStock(p).Packs)
	require.Equal(t, "/ml", places(s.call("POST", "/v1/products/"+p+"/movements", object{"kind": "used", "ml": 0}).refused(422, "invalid")))
	move(object{"kind": "used", "ml": 1000})
	require.Equal(t, "More was used than noted: count it", s.inStock(p).Words)
	move(object{"kind": "counted", "ml": 0})
	require.Zero(t, s.inStock(p).OnHand)
	move(object{"kind": "used", "ml": 9_999_999})
	require.Equal(t, "/ml", places(s.call("POST", "/v1/products/"+p+"/movements", object{"kind": "counted", "ml": 2}).refused(422, "invalid")))
	move(object{"kind": "counted", "ml": 0})
	var changes []int
	next := "/v1/products/" + p + "/movements?limit=2"
	for next != "" {
		var page struct{ Items []api.MovementBody }
		a := s.call("GET", next, nil).is(200, &page)
		for _, m := range page.Items {
			changes = append(changes, m.ChangeML)
		}
		next = linkOf(a.header.Get("Link"))
	}
	require.Equal(t, []int{9_999_999, -9_999_999, 20, -1000, -20, -100, -100, 1200}, changes)
}

// linkOf is the address in a Link header.
func linkOf(link string) string {
	for i := range link {
		if link[i] == '>' {
			return link[1:i]
		}
	}
	return ""
}

func TestAProductSaysWhatToAskItsMakerAndWhatToBeCarefulOf(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var p api.ProductBody
	label := object{"thioglycolic_acid_percent": 9, "ph": 9.2, "processing_minutes": 15, "longest_minutes": 40, "dry_before_iron_percent": 80}
	a := s.call("POST", "/v1/products", object{"name": "Solution", "kind": "solution", "strength": "strong", "label": label}).is(201, &p)
	require.Empty(t, p.Missing)
	require.Equal(t, "Reg. (EC) 1223/2009 Annex III entry 2a", p.Cautions[0].Source)
	require.Contains(t, p.Cautions[0].Text, "Re-read the current text")
	require.NotEmpty(t, p.Safety)
	tag := a.header.Get("ETag")
	put := func(body object) answer { return s.call("PUT", "/v1/products/"+p.ID, body, "If-Match", tag) }
	require.Equal(t, "/kind /strength", places(put(object{"name": "S", "kind": "neutralizer", "strength": "weak"}).refused(422, "invalid")))
	require.Equal(t, "/strength /label/processing_minutes", places(put(object{"name": "S", "kind": "solution", "strength": "",
		"label": object{"processing_minutes": 20, "longest_minutes": 10}}).refused(422, "invalid")))
	require.Equal(t, "/label/ph /strength /label/processing_minutes", places(put(object{"name": "S", "kind": "solution", "strength": "",
		"label": object{"processing_minutes": 20, "longest_minutes": 10, "ph": 15}}).refused(422, "invalid")), "in one round")
	put(object{"name": "Lotion", "kind": "solution", "strength": "strong"}).is(200, &p)
	require.Len(t, p.Missing, 3)
	require.Empty(t, p.Cautions)
	require.Equal(t, "/name", places(s.call("POST", "/v1/products", object{"name": "lotion", "kind": "solution", "strength": "Strong"}).refused(422, "invalid")))

	// A service whose neutralizer has no figure of the maker says so.
	caution := func() string {
		return textsOf(s.quote(object{"services": s.straightening()}).Cautions)["neutralizer_minutes"]
	}
	require.Contains(t, caution(), "Ask the maker")
	s.priced("Straightening", 32000, nil, object{"product_id": s.product("neutralizer", "weak", 0, nil)})
	require.Contains(t, caution(), "Ask the maker")
	s.priced("Straightening", 32000, nil, object{"product_id": s.product("neutralizer", "2 %", 0, object{"neutralizer_minutes": 5})})
	require.Empty(t, caution())
	require.Contains(t, s.call("DELETE", "/v1/products/"+p.ID, nil, "If-Match", tag).refused(412, "stale").Title, "changed it")
	s.call("DELETE", "/v1/products/"+p.ID, nil, "If-Match", `"v2"`).is(204, nil)
}

func TestTheFiguresOfTheMakerGoBeforeTheSettingsOfTheSalon(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	with := func(solution, neutralizer object) map[string]string {
		s.priced("Straightening", 32000, nil, object{"product_id": s.product("solution", time.Now().String()[11:27], 0, solution)},
			object{"product_id": s.product("neutralizer", time.Now().String()[11:27], 0, neutralizer)})
		list := s.quote(object{"services": s.straightening()}).Cautions
		out := textsOf(list)
		for _, c := range list {
			out[c.Code+" level"] = c.Level
		}
		return out
	}
	got := with(object{"longest_minutes": 60, "dry_before_iron_percent": 80}, object{"neutralizer_minutes": 5})
	require.NotContains(t, got, "longest_minutes")
	require.NotContains(t, got, "neutralizer_minutes")
	got = with(object{"longest_minutes": 30, "dry_before_iron_percent": 95}, object{"neutralizer_minutes": 10})
	require.Contains(t, got["longest_minutes"], "may stay on for 30 minutes by its maker, and would be on the first section for 45")
	require.Equal(t, "refuse", got["longest_minutes level"])
	require.NotContains(t, got, "neutralizer_minutes", "they are what is planned by")
	p := s.call("POST", "/v1/visits", object{"client_id": s.client("Mara"), "start": start.Add(73 * time.Hour), "services": s.straightening(), "approved_by": "Ada"},
		"Idempotency-Key", "x").refused(422, "refused")
	require.Equal(t, "longest_minutes", p.Cautions[0].Code)
	two := hair()
	two["batches"] = 2
	with(object{"longest_minutes": 31}, object{"neutralizer_minutes": 10})
	s.book(s.client("Ines"), start.Add(73*time.Hour), []object{{"service_id": s.services["Straightening"], "hair": two}})
}

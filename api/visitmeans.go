package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// VisitProductBody is what a visit takes of a product.
type VisitProductBody struct {
	Service    int    `json:"service_index"`
	ProductID  string `json:"product_id"`
	Name       string `json:"name"`
	Kind       string `json:"kind" enum:"solution,neutralizer,other"`
	Strength   string `json:"strength"`
	ML         int    `json:"ml" doc:"Whole ml, rounded up"`
	ApprovedBy string `json:"approved_by,omitempty" doc:"Licensed person who said yes to it instead of the service's own"`
	InsteadOf  string `json:"instead_of,omitempty" doc:"The product that the service names"`
}

// VisitProductRequest gives a visit another product or strength.
type VisitProductRequest struct {
	ProductID  string `json:"product_id" minLength:"1" maxLength:"64" doc:"What it takes from now on"`
	InsteadOf  string `json:"instead_of,omitempty" maxLength:"64" doc:"Which of its products that replaces; left out: it is taken beside the others"`
	Service    int    `json:"service_index,omitempty" minimum:"0" maximum:"7" doc:"For which service; only without instead_of"`
	ML         int    `json:"ml,omitempty" minimum:"0" maximum:"20000" doc:"How much; left out: as much as of the one that it replaces, else what the hair needs"`
	ApprovedBy string `json:"approved_by" minLength:"1" doc:"Licensed person who said yes: nobody else gives a client another strength"`
}

type visitProductInput struct {
	ByID
	Precondition
	Body VisitProductRequest
}

func (s *Server) visitProductRoutes() {
	route(s, huma.Operation{OperationID: "set-visit-product", Method: http.MethodPost, Path: "/visits/{id}/products",
		Summary: "Give a visit another product or strength, with the licensed person's yes", Errors: []int{http.StatusConflict}}, s.setVisitProduct)
}

func (s *Server) setVisitProduct(ctx context.Context, in *visitProductInput) (*found[VisitBody], error) {
	return s.changeState(ctx, &visitChange{in.ByID, in.Precondition}, func(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
		if !v.State.Open() && v.State != store.Held {
			return conflict("the visit is " + words(v.State) + ": what it used is noted on its record card")
		}
		list, err := t.VisitProducts(ctx, v.ID)
		if err != nil {
			return err
		}
		if list, err = in.Body.instead(ctx, t, *v, list); err != nil {
			return err
		}
		if err := t.SetVisitProducts(ctx, v.ID, list); err != nil {
			return err
		}
		return t.TouchVisit(ctx, v)
	})
}

// instead is list with the product that b asks for.
func (b VisitProductRequest) instead(ctx context.Context, t *store.Tx, v store.Visit, list []store.VisitProduct) ([]store.VisitProduct, error) {
	var f scheduling.Faults
	by, err := licensed(ctx, t, &f, text(&f, "approved_by", b.ApprovedBy, 1, 80))
	if err != nil {
		return nil, err
	}
	p, err := t.ProductByID(ctx, b.ProductID)
	switch {
	case is(err, scheduling.ErrNotFound) || err == nil && !p.Active:
		f.Add("product_id", "is not a product of this salon", "an id from GET /products")
		err = nil
	case err != nil:
		return nil, err
	}
	next := store.VisitProduct{Service: b.Service, Product: p.ID, ML: b.ML, ApprovedBy: by}
	at := -1
	for k, x := range list {
		if x.Product == b.ProductID && (b.InsteadOf != "" || x.Service == b.Service) {
			f.Add("product_id", "is what the visit takes already", "another product or strength")
		}
		if b.InsteadOf != "" && x.Product == b.InsteadOf {
			at = k
		}
	}
	switch {
	case b.InsteadOf == "":
		err = b.beside(ctx, t, &f, v, p, &next)
	case at < 0:
		f.Add("instead_of", "is not a product of this visit", "one of its products, or nothing")
	case p.ID != "" && p.Kind != list[at].Kind:
		f.Add("product_id", "is a "+p.Kind+", and the other one a "+list[at].Kind, "a product of the same kind")
	default:
		next.Service, next.InsteadOf = list[at].Service, list[at].InsteadOf
		if next.InsteadOf == nil {
			next.InsteadOf = new(list[at].Product)
		}
		if next.ML == 0 {
			next.ML = list[at].ML
		}
		if *next.InsteadOf == next.Product { // back to the service's own
			next.InsteadOf = nil
		}
	}
	if err != nil {
		return nil, err
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	if at < 0 {
		return append(list, next), nil
	}
	list[at] = next
	return list, nil
}

// beside works out how much is taken of a product that replaces none.
func (b VisitProductRequest) beside(ctx context.Context, t *store.Tx, f *scheduling.Faults, v store.Visit, p store.Product, next *store.VisitProduct) error {
	if b.Service < 0 || b.Service >= len(v.Services) {
		f.Addf("service_index", "a service of the visit, counted from 0", "is %d, and the visit has %d services", b.Service, len(v.Services))
		return nil
	}
	if next.ML > 0 {
		return nil
	}
	if e := v.Services[b.Service].Estimate; e != nil {
		row, err := t.EstimateByID(ctx, *e)
		if err != nil {
			return err
		}
		w, err := readEstimate(row)
		if err != nil {
			return err
		}
		next.ML = needed(p.Kind, w)
	}
	if next.ML == 0 {
		f.Add("ml", "is missing, and no hair says how much is needed", "how many ml")
	}
	return nil
}

// addMeans adds to the answer about a visit what it takes, whether there is
// enough of it, the deposit and its prices.
func (b *VisitBody) addMeans(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) error {
	list, err := t.VisitProducts(ctx, v.ID)
	if err != nil {
		return err
	}
	for _, p := range list {
		x := VisitProductBody{Service: p.Service, ProductID: p.Product, Name: p.Name, Kind: p.Kind, Strength: p.Strength, ML: p.ML, ApprovedBy: p.ApprovedBy}
		if p.InsteadOf != nil {
			x.InsteadOf = *p.InsteadOf
		}
		b.Products = append(b.Products, x)
	}
	short, err := stockCautions(ctx, t, n, v, list)
	if err != nil {
		return err
	}
	b.Cautions = append(b.Cautions, short...)
	d, err := t.DepositOf(ctx, v.ID)
	if err != nil {
		return err
	}
	b.Deposit = writeDeposit(d, n.loc)
	return b.addPrices(ctx, t, n, v)
}

// addPrices adds the quote that a visit was booked with, and what it would cost
// today where that differs.
func (b *VisitBody) addPrices(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) error {
	q, err := t.QuoteOfVisit(ctx, v.ID)
	switch {
	case err == nil:
		b.QuoteID = q.ID
	case !is(err, scheduling.ErrNotFound):
		return err
	}
	if !v.State.Open() && v.State != store.Held {
		return nil
	}
	today, err := n.priceToday(ctx, t, v)
	if err == nil && today != nil && *today != v.PriceCents {
		b.PriceToday = today
	}
	return err
}

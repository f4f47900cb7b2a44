package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/products"
	"chairblock/store"
)

// ProductBody is a product in one strength.
type ProductBody struct {
	ID        string       `json:"id" readOnly:"true" required:"false"`
	Name      string       `json:"name" doc:"The salon's own word for it" example:"Straightening solution"`
	Kind      string       `json:"kind" enum:"solution,neutralizer,other" doc:"Never changes; another kind is another product"`
	Strength  string       `json:"strength" required:"false" doc:"As on the label; needed for solution and neutralizer, whose strengths are kept apart. Never changes" example:"normal"`
	PackML    *int         `json:"pack_ml,omitempty" minimum:"1" maximum:"20000" doc:"Content of a pack; left out: packs are not counted"`
	CostCents *int64       `json:"cost_cents,omitempty" minimum:"0" maximum:"100000000" doc:"What a pack costs the salon"`
	Label     *LabelBody   `json:"label,omitempty" doc:"What the maker says of it, as far as it was copied"`
	Missing   []string     `json:"ask_the_maker" readOnly:"true" required:"false" nullable:"false" doc:"Figures of the maker that nobody has noted yet"`
	Cautions  []SourceBody `json:"cautions" readOnly:"true" required:"false" nullable:"false" doc:"What to be careful of; no caution is no approval"`
	Safety    string       `json:"safety" readOnly:"true" required:"false" doc:"What comes before every figure"`
}

// LabelBody is what the maker says of a product. Shares are percent by weight.
type LabelBody struct {
	Thioglycolic *float64 `json:"thioglycolic_acid_percent,omitempty" minimum:"0" maximum:"100" doc:"With its salts, as acid"`
	Ester        *float64 `json:"thioglycolate_ester_percent,omitempty" minimum:"0" maximum:"100" doc:"As acid"`
	PH           *float64 `json:"ph,omitempty" minimum:"0" maximum:"14" doc:"Ready for use"`
	Peroxide     *float64 `json:"peroxide_percent,omitempty" minimum:"0" maximum:"100" doc:"Hydrogen peroxide, ready for use"`
	Ammonia      *float64 `json:"ammonia_percent,omitempty" minimum:"0" maximum:"100"`
	Hydroxide    *float64 `json:"sodium_hydroxide_percent,omitempty" minimum:"0" maximum:"100"`
	Bromate      *float64 `json:"sodium_bromate_percent,omitempty" minimum:"0" maximum:"100"`
	Formaldehyde *float64 `json:"formaldehyde_percent,omitempty" minimum:"0" maximum:"100"`
	Glyoxylic    bool     `json:"glyoxylic_acid,omitempty" doc:"Contains it"`
	Professional bool     `json:"professional_use_only,omitempty" doc:"The label says so"`
	Processing   *int     `json:"processing_minutes,omitempty" minimum:"1" maximum:"120"`
	Longest      *int     `json:"longest_minutes,omitempty" minimum:"1" maximum:"120" doc:"Longest time on the hair, from the first strand"`
	Neutralizer  *int     `json:"neutralizer_minutes,omitempty" minimum:"1" maximum:"120" doc:"How long the neutralizer works"`
	DryBefore    *float64 `json:"dry_before_iron_percent,omitempty" minimum:"50" maximum:"100" doc:"How dry the hair has to be before the iron"`
}

// SourceBody is a caution with the place where its limit stands.
type SourceBody struct {
	Code   string `json:"code"`
	Text   string `json:"text"`
	Source string `json:"source"`
}

type productInput struct {
	Repeatable
	Body ProductBody
}
type productChange struct {
	ByID
	Precondition
	Body ProductBody
}

func (s *Server) productRoutes() {
	route(s, huma.Operation{OperationID: "list-products", Method: http.MethodGet, Path: "/products", Summary: "Products in use"}, s.listProducts)
	route(s, huma.Operation{OperationID: "get-product", Method: http.MethodGet, Path: "/products/{id}", Summary: "One product, with what to ask its maker"}, s.getProduct)
	route(s, huma.Operation{OperationID: "add-product", Method: http.MethodPost, Path: "/products", Summary: "Add a product in one strength",
		DefaultStatus: http.StatusCreated}, s.addProduct)
	route(s, huma.Operation{OperationID: "update-product", Method: http.MethodPut, Path: "/products/{id}", Summary: "Change a product; its kind and strength stay"}, s.updateProduct)
	route(s, huma.Operation{OperationID: "delete-product", Method: http.MethodDelete, Path: "/products/{id}",
		Summary: "Use a product no more; a service or booked visit that takes it stands in the way"}, s.deleteProduct)
}

func (b *LabelBody) label() products.Label {
	if b == nil {
		return products.Label{}
	}
	return products.Label(*b)
}

func (b ProductBody) row() (store.Product, error) {
	var f scheduling.Faults
	p := store.Product{Kind: b.Kind, PackML: b.PackML, CostCents: b.CostCents}
	p.Name = text(&f, "name", b.Name, 1, 80)
	least := 0
	if b.Kind != string(products.Other) {
		least = 1
	}
	p.Strength = text(&f, "strength", b.Strength, least, 40)
	_ = f.Join("label", b.Label.label().Validate()) // all of it faults
	if err := f.Err(); err != nil || b.Label == nil {
		return p, err
	}
	var err error
	if p.Facts, err = json.Marshal(b.Label); err != nil {
		return p, fmt.Errorf("api: label: %w", err)
	}
	return p, nil
}

// Resolve holds what is wrong with b beside what its description refuses.
func (b *ProductBody) Resolve(ctx huma.Context, at *huma.PathBuffer) []error {
	_, err := b.row()
	hold(ctx, at, err)
	return nil
}

func writeProduct(p store.Product) (ProductBody, error) {
	b := ProductBody{ID: p.ID, Name: p.Name, Kind: p.Kind, Strength: p.Strength, PackML: p.PackML, CostCents: p.CostCents,
		Missing: []string{}, Cautions: []SourceBody{}, Safety: chairtime.SafetyLine}
	label, err := labelOf(p)
	if err != nil {
		return b, err
	}
	if label != (LabelBody{}) {
		b.Label = &label
	}
	l := label.label()
	b.Missing = append(b.Missing, l.Missing(products.Kind(p.Kind))...)
	for _, c := range l.Cautions() {
		b.Cautions = append(b.Cautions, SourceBody(c))
	}
	return b, nil
}

func labelOf(p store.Product) (LabelBody, error) {
	var label LabelBody
	if len(p.Facts) > 0 {
		if err := json.Unmarshal(p.Facts, &label); err != nil {
			return label, fmt.Errorf("api: label of product %s: %w", p.ID, err)
		}
	}
	return label, nil
}

func (s *Server) listProducts(ctx context.Context, _ *empty) (*listBody[ProductBody], error) {
	var list []ProductBody
	err := s.inTx(ctx, func(t *store.Tx) error {
		rows, err := t.Products(ctx)
		list = nil
		for _, p := range rows {
			b, err := writeProduct(p)
			if err != nil {
				return err
			}
			list = append(list, b)
		}
		return err
	})
	return listOf(list, func(b ProductBody) ProductBody { return b }), err
}

// foundProduct answers with the product that f gives.
func (s *Server) foundProduct(ctx context.Context, f func(*store.Tx) (store.Product, error)) (*found[ProductBody], error) {
	var out found[ProductBody]
	err := s.inTx(ctx, func(t *store.Tx) error {
		p, err := f(t)
		if err != nil {
			return err
		}
		b, err := writeProduct(p)
		out = found[ProductBody]{etag(p.Version), b}
		return err
	})
	return &out, err
}

func (s *Server) getProduct(ctx context.Context, in *ByID) (*found[ProductBody], error) {
	return s.foundProduct(ctx, func(t *store.Tx) (store.Product, error) { return t.ProductByID(ctx, in.ID) })
}

func (s *Server) addProduct(ctx context.Context, in *productInput) (*created[ProductBody], error) {
	p, err := in.Body.row()
	if err != nil {
		return nil, err
	}
	return once(s, ctx, in.Repeatable, "/products", in.Body, func(t *store.Tx) (*created[ProductBody], error) {
		p, err := t.AddProduct(ctx, p)
		if err != nil {
			return nil, err
		}
		b, err := writeProduct(p)
		return &created[ProductBody]{Location: "/v1/products/" + p.ID, ETag: etag(p.Version), Body: b}, err
	})
}

func (s *Server) updateProduct(ctx context.Context, in *productChange) (*found[ProductBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	p, err := in.Body.row()
	if err != nil {
		return nil, err
	}
	p.ID, p.Version = in.ID, version
	return s.foundProduct(ctx, func(t *store.Tx) (store.Product, error) {
		was, err := t.ProductByID(ctx, in.ID)
		if err != nil {
			return was, err
		}
		var f scheduling.Faults
		if p.Kind != was.Kind {
			f.Add("kind", "is "+p.Kind+", and the product is "+was.Kind, was.Kind+"; another kind is another product")
		}
		if !strings.EqualFold(p.Strength, was.Strength) {
			f.Add("strength", "differs from the one of the product", "the same; another strength is another product, with a stock of its own")
		}
		if err := f.Err(); err != nil {
			return was, err
		}
		return t.UpdateProduct(ctx, p)
	})
}

func (s *Server) deleteProduct(ctx context.Context, in *removal) (*empty, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.RetireProduct(ctx, in.ID, version) })
}

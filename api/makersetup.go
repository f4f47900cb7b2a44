package api

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/products"
	"chairblock/store"
)

// MakerFiguresBody are the four figures that a salon asks the maker of what it
// straightens with. What is left out is not known; nothing is put in its place.
type MakerFiguresBody struct {
	Solution            string   `json:"solution" doc:"The salon's own word for the solution" example:"Straightening solution"`
	SolutionStrength    string   `json:"solution_strength" doc:"As on the label" example:"normal"`
	Neutralizer         string   `json:"neutralizer" doc:"The salon's own word for the neutralizer" example:"Neutralizer"`
	NeutralizerStrength string   `json:"neutralizer_strength" doc:"As on the label" example:"ready to use"`
	Processing          *int     `json:"processing_minutes,omitempty" minimum:"1" maximum:"120"`
	Longest             *int     `json:"longest_minutes,omitempty" minimum:"1" maximum:"120" doc:"Longest time on the hair, from the first strand"`
	NeutralizerMinutes  *int     `json:"neutralizer_minutes,omitempty" minimum:"1" maximum:"120" doc:"How long the neutralizer works"`
	DryBefore           *float64 `json:"dry_before_iron_percent,omitempty" minimum:"50" maximum:"100"`
}

type makerInput struct {
	Precondition
	Body MakerFiguresBody
}

func (s *Server) makerFigureRoutes() {
	route(s, huma.Operation{OperationID: "get-maker-figures", Method: http.MethodGet, Path: "/maker-figures",
		Summary: "What the maker says of the solution and the neutralizer that straightening takes"}, s.getMakerFigures)
	route(s, huma.Operation{OperationID: "set-maker-figures", Method: http.MethodPut, Path: "/maker-figures",
		Summary: "Note the maker's four figures: both products are added where they are new, and services with solution that take none yet take them"}, s.setMakerFigures)
}

// etag is the same for the same figures.
func (b MakerFiguresBody) etag() (string, error) {
	doc, err := json.Marshal(b)
	sum := sha256.Sum256(doc)
	return `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`, err
}

func (b MakerFiguresBody) found() (*found[MakerFiguresBody], error) {
	tag, err := b.etag()
	return &found[MakerFiguresBody]{tag, b}, err
}

// makerFigures reads the figures of the products that services with solution
// take, and the words for products where there are none yet. of are the products.
func makerFigures(ctx context.Context, t *store.Tx) (b MakerFiguresBody, of map[string]string, err error) {
	b, of = MakerFiguresBody{Solution: "Straightening solution", Neutralizer: "Neutralizer"}, map[string]string{}
	services, err := t.Services(ctx)
	if err != nil {
		return b, nil, err
	}
	known, err := t.Products(ctx)
	if err != nil {
		return b, nil, err
	}
	services = slices.DeleteFunc(services, func(r store.ServiceRow) bool { return !putsOn(r) })
	for _, p := range known {
		if of[p.Kind] != "" || !takenBySome(services, p.ID) {
			continue
		}
		l, err := labelOf(p)
		if err != nil {
			return b, nil, err
		}
		of[p.Kind] = p.ID
		switch p.Kind {
		case string(products.Solution):
			b.Solution, b.SolutionStrength = p.Name, p.Strength
			b.Processing, b.Longest, b.DryBefore = l.Processing, l.Longest, l.DryBefore
		case string(products.Neutralizer):
			b.Neutralizer, b.NeutralizerStrength, b.NeutralizerMinutes = p.Name, p.Strength, l.Neutralizer
		}
	}
	return b, of, nil
}

func (s *Server) getMakerFigures(ctx context.Context, _ *empty) (*found[MakerFiguresBody], error) {
	var b MakerFiguresBody
	if err := s.read(ctx, func(t *store.Tx) (err error) { b, _, err = makerFigures(ctx, t); return err }); err != nil {
		return nil, err
	}
	return b.found()
}

func (s *Server) setMakerFigures(ctx context.Context, in *makerInput) (*found[MakerFiguresBody], error) {
	tag, err := in.tag()
	if err != nil {
		return nil, err
	}
	if err := in.Body.check(); err != nil {
		return nil, err
	}
	var out MakerFiguresBody
	err = s.inTx(ctx, func(t *store.Tx) error {
		if err := t.LockRota(ctx); err != nil { // the figures have no row of their own to lock
			return err
		}
		was, of, err := makerFigures(ctx, t)
		if err != nil {
			return err
		}
		if now, err := was.etag(); err != nil || now != tag {
			return orStale(err)
		}
		if err := in.Body.keep(ctx, t, of); err != nil {
			return err
		}
		out, _, err = makerFigures(ctx, t)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out.found()
}

func orStale(err error) error {
	if err != nil {
		return err
	}
	return scheduling.ErrStale
}

// labels are what the figures say of the two products.
func (b MakerFiguresBody) labels() (solution, neutralizer products.Label) {
	return products.Label{Processing: b.Processing, Longest: b.Longest, DryBefore: b.DryBefore}, products.Label{Neutralizer: b.NeutralizerMinutes}
}

func (b *MakerFiguresBody) check() error {
	var f scheduling.Faults
	b.Solution = text(&f, "solution", b.Solution, 1, 80)
	b.SolutionStrength = text(&f, "solution_strength", b.SolutionStrength, 1, 40)
	b.Neutralizer = text(&f, "neutralizer", b.Neutralizer, 1, 80)
	b.NeutralizerStrength = text(&f, "neutralizer_strength", b.NeutralizerStrength, 1, 40)
	one, two := b.labels()
	_ = f.Join("", one.Validate()) // all of it faults
	_ = f.Join("", two.Validate())
	return f.Err()
}

// keep writes the figures to their products and gives these to every service with
// solution that takes none of their kind, or the one of before by kind, by adding a
// version.
func (b MakerFiguresBody) keep(ctx context.Context, t *store.Tx, before map[string]string) error {
	one, two := b.labels()
	solution, err := productWith(ctx, t, products.Solution, b.Solution, b.SolutionStrength, one)
	if err != nil {
		return err
	}
	neutralizer, err := productWith(ctx, t, products.Neutralizer, b.Neutralizer, b.NeutralizerStrength, two)
	if err != nil {
		return err
	}
	services, err := t.Services(ctx)
	if err != nil {
		return err
	}
	for _, r := range services {
		if putsOn(r) {
			if err := takeBoth(ctx, t, r, before, solution, neutralizer); err != nil {
				return err
			}
		}
	}
	return nil
}

// productWith finds or adds a product and notes what its maker says. What else
// was copied from its label stays.
func productWith(ctx context.Context, t *store.Tx, kind products.Kind, name, strength string, l products.Label) (store.Product, error) {
	known, err := t.Products(ctx)
	if err != nil {
		return store.Product{}, err
	}
	i := slices.IndexFunc(known, func(p store.Product) bool {
		return p.Kind == string(kind) && strings.EqualFold(p.Name, name) && strings.EqualFold(p.Strength, strength)
	})
	p := store.Product{Kind: string(kind), Name: name, Strength: strength}
	if i >= 0 {
		p = known[i]
	}
	label, err := labelOf(p)
	if err != nil {
		return p, err
	}
	if kind == products.Solution {
		label.Processing, label.Longest, label.DryBefore = l.Processing, l.Longest, l.DryBefore
	} else {
		label.Neutralizer = l.Neutralizer
	}
	if p.Facts, err = json.Marshal(label); err != nil {
		return p, fmt.Errorf("api: label: %w", err)
	}
	if i >= 0 {
		return t.UpdateProduct(ctx, p)
	}
	return t.AddProduct(ctx, p)
}

// takeBoth lets a service take the products where it takes none of their kind, or
// the one of before.
func takeBoth(ctx context.Context, t *store.Tx, r store.ServiceRow, before map[string]string, list ...store.Product) error {
	ids := make([]string, len(r.Products))
	for i, x := range r.Products {
		ids[i] = x.Product
	}
	known, err := t.ProductsByID(ctx, ids...)
	if err != nil {
		return err
	}
	next := slices.Clone(r.Products)
	for _, p := range list {
		i := slices.IndexFunc(next, func(x store.ServiceProduct) bool { return known[x.Product].Kind == p.Kind })
		if i < 0 {
			next = append(next, store.ServiceProduct{Product: p.ID})
		} else if next[i].Product == before[p.Kind] {
			next[i].Product = p.ID
		}
	}
	if slices.Equal(next, r.Products) {
		return nil
	}
	row, err := t.UpdateService(ctx, r.Service, r.Row)
	if err != nil {
		return err
	}
	return t.SetPricing(ctx, row.ID, row.Version, r.PriceRule, next)
}

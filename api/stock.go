package api

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/products"
	"chairblock/store"
)

// StockBody is what there is of a product, in whole ml.
type StockBody struct {
	ProductID string `json:"product_id"`
	Name      string `json:"name"`
	Kind      string `json:"kind" enum:"solution,neutralizer,other"`
	Strength  string `json:"strength"`
	OnHand    int    `json:"on_hand_ml" doc:"What came less what went, by what was noted; below 0: more was used than noted, count it"`
	Reserved  int    `json:"reserved_ml" doc:"For visits that are booked or going on"`
	Free      int    `json:"free_ml" doc:"On hand and not reserved; below 0: so much is missing"`
	PackML    *int   `json:"pack_ml,omitempty"`
	Packs     *int   `json:"whole_packs,omitempty" doc:"Whole packs that what is on hand would fill; left out where packs are not counted"`
	// ShortVisit is left out when there is enough for everybody.
	ShortVisit string     `json:"short_visit_id,omitempty" doc:"The first booked visit, in order of start, that cannot be covered"`
	ShortAt    *time.Time `json:"short_at,omitempty" doc:"Its start"`
	Words      string     `json:"words" example:"Enough until Thursday 11 June"`
}

// MovementRequest notes what came or went.
type MovementRequest struct {
	Kind string `json:"kind" enum:"received,used,counted,wasted" doc:"used: beside what visits use, which is noted when they are finished; counted: what is really there, whatever the books say"`
	ML   int    `json:"ml" minimum:"0" maximum:"10000000" doc:"Whole ml; 0 only when counted"`
	Note string `json:"note,omitempty"`
}

// MovementBody is what came or went.
type MovementBody struct {
	ID       string    `json:"id"`
	Kind     string    `json:"kind" enum:"received,used,counted,wasted"`
	ChangeML int       `json:"change_ml" doc:"By how much the books changed"`
	Counted  *int      `json:"counted_ml,omitempty" doc:"What was counted"`
	VisitID  string    `json:"visit_id,omitempty" doc:"The visit that used it"`
	Note     string    `json:"note"`
	NotedAt  time.Time `json:"noted_at"`
	NotedBy  string    `json:"noted_by"`
}

type movementInput struct {
	ByID
	Repeatable
	Body MovementRequest
}
type movementQuery struct {
	ByID
	Cursor string `query:"cursor" maxLength:"64" doc:"As the Link header of the page before said"`
	Limit  int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
}
type movementPage struct {
	Link string `header:"Link" doc:"The next page, when there is one"`
	Body struct {
		Items []MovementBody `json:"items" nullable:"false"`
	}
}

func (s *Server) stockRoutes() {
	route(s, huma.Operation{OperationID: "get-stock", Method: http.MethodGet, Path: "/stock", Summary: "What there is of every product, and until when it is enough"}, s.getStock)
	route(s, huma.Operation{OperationID: "add-stock-movement", Method: http.MethodPost, Path: "/products/{id}/movements", Summary: "Note what came or went of a product",
		DefaultStatus: http.StatusCreated}, s.addMovement)
	route(s, huma.Operation{OperationID: "list-stock-movements", Method: http.MethodGet, Path: "/products/{id}/movements",
		Summary: "What came and went of a product, newest first"}, s.listMovements)
}

func writeStock(x store.Stock, loc *time.Location) StockBody {
	b := StockBody{ProductID: x.ID, Name: x.Name, Kind: x.Kind, Strength: x.Strength, OnHand: x.OnHand, Reserved: x.Reserved,
		Free: x.OnHand - x.Reserved, PackML: x.PackML, ShortAt: localTime(x.ShortAt, loc), Words: enoughUntil(x, loc)}
	if x.PackML != nil {
		b.Packs = new(max(0, x.OnHand) / *x.PackML)
	}
	if x.Short != nil {
		b.ShortVisit = *x.Short
	}
	return b
}

// enoughUntil says how far the stock of a product goes: up to the first visit
// that cannot be covered.
func enoughUntil(x store.Stock, loc *time.Location) string {
	switch {
	case x.OnHand < 0:
		return "More was used than noted: count it"
	case x.ShortAt == nil:
		return "Enough for all booked visits"
	}
	return "Enough until " + x.ShortAt.In(loc).Format("Monday 2 January")
}

func (s *Server) getStock(ctx context.Context, _ *empty) (*listBody[StockBody], error) {
	var rows []store.Stock
	var loc *time.Location
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if loc, err = zone(ctx, t); err != nil {
			return err
		}
		rows, err = t.StockList(ctx)
		return err
	})
	return listOf(rows, func(x store.Stock) StockBody { return writeStock(x, loc) }), err
}

func (b MovementRequest) row(product string) (store.Movement, error) {
	var f scheduling.Faults
	m := store.Movement{Product: product, Kind: store.MovementKind(b.Kind), Change: -b.ML}
	m.Note = text(&f, "note", b.Note, 0, 200)
	switch m.Kind {
	case store.StockReceived:
		m.Change = b.ML
	case store.StockCounted:
		m.Counted = &b.ML
	case store.StockUsed, store.StockWasted:
	}
	if b.ML == 0 && m.Counted == nil {
		f.Add("ml", "is 0", "how much it was")
	}
	return m, f.Err()
}

func writeMovement(m store.Movement, loc *time.Location) MovementBody {
	b := MovementBody{ID: m.ID, Kind: string(m.Kind), ChangeML: m.Change, Counted: m.Counted, Note: m.Note, NotedAt: m.Noted.In(loc), NotedBy: m.By}
	if m.Visit != nil {
		b.VisitID = *m.Visit
	}
	return b
}

func (s *Server) addMovement(ctx context.Context, in *movementInput) (*created[MovementBody], error) {
	m, err := in.Body.row(in.ID)
	if err != nil {
		return nil, err
	}
	return once(s, ctx, in.Repeatable, "/products/"+in.ID+"/movements", in.Body, func(t *store.Tx) (*created[MovementBody], error) {
		loc, err := zone(ctx, t)
		if err != nil {
			return nil, err
		}
		if m.By, err = whoNotes(ctx, t); err != nil {
			return nil, err
		}
		m, err := t.AddMovement(ctx, m, s.now())
		return &created[MovementBody]{Location: "/v1/products/" + in.ID + "/movements", Body: writeMovement(m, loc)}, err
	})
}

func (s *Server) listMovements(ctx context.Context, in *movementQuery) (*movementPage, error) {
	var rows []store.Movement
	var loc *time.Location
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if loc, err = zone(ctx, t); err != nil {
			return err
		}
		if _, err = t.ProductByID(ctx, in.ID); err != nil {
			return err
		}
		rows, err = t.Movements(ctx, in.ID, in.Cursor, in.Limit+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	var out movementPage
	if len(rows) > in.Limit {
		rows = rows[:in.Limit]
		out.Link = nextLink("/v1/products/"+in.ID+"/movements", "", "", rows[len(rows)-1].ID, in.Limit)
	}
	out.Body.Items = listOf(rows, func(m store.Movement) MovementBody { return writeMovement(m, loc) }).Body.Items
	return &out, nil
}

// takes is what a service takes of its products on this hair; w is nil for a
// service that takes the same time for everybody.
func takes(known map[string]store.Product, i int, row store.ServiceRow, w *worked) []store.VisitProduct {
	var out []store.VisitProduct
	for _, x := range row.Products {
		p := store.VisitProduct{Service: i, Product: x.Product, Kind: known[x.Product].Kind, ML: x.ML}
		if x.ML == 0 && w != nil {
			p.ML = needed(p.Kind, w)
		}
		if p.ML > 0 {
			out = append(out, p)
		}
	}
	return out
}

// productsOf are the products of a service by id, all of them at once.
func productsOf(ctx context.Context, t *store.Tx, row store.ServiceRow) (map[string]store.Product, error) {
	ids := make([]string, len(row.Products))
	for i, x := range row.Products {
		ids[i] = x.Product
	}
	return t.ProductsByID(ctx, ids...)
}

// needed is how much of a kind of product hair needs, in whole ml.
func needed(kind string, w *worked) int {
	switch products.Kind(kind) {
	case products.Solution:
		return wholeML(w.result.SolutionML)
	case products.Neutralizer:
		return wholeML(w.result.NeutralizerML)
	case products.Other:
	}
	return 0
}

// reserve writes what a new visit takes, and what a visit whose hair was worked
// out anew takes from now on; somebody's yes to another product stays. was are
// the services of the visit before.
func (c *composed) reserve(ctx context.Context, t *store.Tx, v store.Visit, was []store.VisitService, isNew bool) error {
	if isNew {
		if len(c.takes) == 0 {
			return nil
		}
		return t.SetVisitProducts(ctx, v.ID, c.takes)
	}
	if !slices.ContainsFunc(c.estimates, func(w *worked) bool { return w != nil }) {
		return nil
	}
	list, err := t.VisitProducts(ctx, v.ID)
	if err != nil {
		return err
	}
	next := slices.Clone(list)
	for i, x := range v.Services {
		if c.estimates[i] == nil {
			continue
		}
		row, err := t.ServiceVersion(ctx, x.Service, x.Version)
		if err != nil {
			return err
		}
		if i < len(was) && was[i].Key() != x.Key() {
			before, err := t.ServiceVersion(ctx, was[i].Service, was[i].Version)
			if err != nil {
				return err
			}
			next = c.taken(next, before, i)
		}
		for k, p := range next {
			if ml := needed(p.Kind, c.estimates[i]); p.Service == i && ml > 0 && !fixedML(row, p) {
				next[k].ML = ml
			}
		}
	}
	if slices.Equal(list, next) {
		return nil
	}
	return t.SetVisitProducts(ctx, v.ID, next)
}

// taken is list with what service i, which was before, takes now. What the
// licensed person gave instead of a product of a kind is given instead of the new
// service's product of that kind, and what she gave beside them stays.
func (c *composed) taken(list []store.VisitProduct, before store.ServiceRow, i int) []store.VisitProduct {
	own := func(p store.VisitProduct) bool {
		return p.InsteadOf != nil || slices.ContainsFunc(before.Products, func(x store.ServiceProduct) bool { return x.Product == p.Product })
	}
	out := slices.DeleteFunc(slices.Clone(list), func(p store.VisitProduct) bool { return p.Service == i && own(p) })
	for _, p := range c.takes {
		if p.Service != i || slices.ContainsFunc(out, func(o store.VisitProduct) bool { return o.Service == i && o.Product == p.Product }) {
			continue
		}
		for _, o := range list {
			if o.Service != i || o.InsteadOf == nil || *o.InsteadOf != p.Product && (o.Kind != p.Kind || p.Kind == string(products.Other)) {
				continue
			}
			if p.ApprovedBy = o.ApprovedBy; o.Product != p.Product {
				p.Product, p.InsteadOf = o.Product, new(p.Product)
			}
		}
		out = append(out, p)
	}
	slices.SortStableFunc(out, func(a, b store.VisitProduct) int { return cmp.Compare(a.Service, b.Service) })
	return out
}

// fixedML reports whether the service says itself how much of p it takes.
func fixedML(row store.ServiceRow, p store.VisitProduct) bool {
	asked := p.Product
	if p.InsteadOf != nil {
		asked = *p.InsteadOf
	}
	for _, x := range row.Products {
		if x.Product == asked {
			return x.ML > 0
		}
	}
	return false
}

// useProducts takes what a visit that is over has used from the stock: what its
// record card says, else what was reserved, and of one that was stopped early
// only what the card says. Told again, only the difference is taken.
func (s *Server) useProducts(ctx context.Context, t *store.Tx, v store.Visit) error {
	list, err := t.VisitProducts(ctx, v.ID)
	if err != nil || len(list) == 0 {
		return err
	}
	card, err := t.CardOf(ctx, v.ID)
	if err != nil {
		return err
	}
	noted, err := notedML(card)
	if err != nil {
		return err
	}
	by, err := whoNotes(ctx, t)
	if err != nil {
		return err
	}
	if v.State == store.StoppedEarly {
		list = slices.DeleteFunc(list, func(p store.VisitProduct) bool { _, told := noted[p.Kind]; return !told })
	}
	return t.SetUsed(ctx, v.ID, usedOf(list, noted), s.now(), by)
}

// notedML adds up what a record card says was used, by kind of product. A kind
// of which nobody said how much it was is left out.
func notedML(c store.Card) (map[string]int, error) {
	sum := map[string]float64{}
	for _, f := range c.Current() {
		if f.Kind != string(products.Solution) && f.Kind != string(products.Neutralizer) {
			continue
		}
		var x struct {
			ML float64 `json:"ml"`
		}
		if err := json.Unmarshal(f.Value, &x); err != nil {
			return nil, fmt.Errorf("api: record card of visit %s: %w", c.Visit, err)
		}
		if x.ML > 0 {
			sum[f.Kind] += x.ML
		}
	}
	out := map[string]int{}
	for kind, ml := range sum {
		out[kind] = wholeML(ml)
	}
	return out, nil
}

// usedOf is what a visit has used of each product: what was noted of its kind,
// shared out as it was reserved, else what was reserved.
func usedOf(list []store.VisitProduct, noted map[string]int) map[string]int {
	reserved, last := map[string]int{}, map[string]int{} // by kind
	for k, p := range list {
		reserved[p.Kind] += p.ML
		last[p.Kind] = k
	}
	used, left := map[string]int{}, maps.Clone(noted)
	for k, p := range list {
		ml, told := noted[p.Kind]
		switch {
		case !told:
			used[p.Product] += p.ML
		case last[p.Kind] == k: // what the shares before have left
			used[p.Product] += left[p.Kind]
		default:
			share := ml * p.ML / reserved[p.Kind]
			used[p.Product] += share
			left[p.Kind] -= share
		}
	}
	return used
}

// stockCautions says which products will not be enough for a visit.
func stockCautions(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, list []store.VisitProduct) ([]CautionBody, error) {
	if len(list) == 0 || !v.State.Open() {
		return nil, nil
	}
	short, err := t.ShortFor(ctx, v.ID)
	if err != nil {
		return nil, err
	}
	var out []CautionBody
	for _, x := range short {
		ml := 0
		for _, p := range list {
			if p.Product == x.ID {
				ml += p.ML
			}
		}
		out = append(out, CautionBody{string(chairtime.LevelWarn), cautionStock,
			fmt.Sprintf("%s: %s. This visit takes %d ml.", productName(x.Name, x.Strength), enoughUntil(x, n.loc), ml)})
	}
	return out, nil
}

// cautionStock is the code of a caution about what there is of a product.
const cautionStock = "stock"

func productName(name, strength string) string {
	if strength == "" {
		return name
	}
	return name + ", " + cmp.Or(strength, name)
}

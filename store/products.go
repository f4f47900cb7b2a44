package store

import (
	"context"
	"encoding/json"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// Product is a product in one strength, which it keeps.
type Product struct {
	ID        string          `db:"product_id"`
	Name      string          `db:"name"` // the salon's own word for it
	Kind      string          `db:"kind"` // solution, neutralizer or other
	Strength  string          `db:"strength"`
	PackML    *int            `db:"pack_ml"`
	CostCents *int64          `db:"cost_cents"` // of a pack
	Facts     json.RawMessage `db:"facts"`      // what the maker says, as JSON of the door that took it
	Active    bool            `db:"active"`
	Version   int64           `db:"version"`
}

const productColumns = `product_id, name, kind, strength, pack_ml, cost_cents, facts, active, version`

// Products lists the products in use, by kind and name.
func (t *Tx) Products(ctx context.Context) ([]Product, error) {
	return collect[Product](ctx, t, "products", `SELECT `+productColumns+` FROM product
		WHERE salon_id = $1 AND active ORDER BY array_position(ARRAY['solution', 'neutralizer', 'other'], kind), lower(name), lower(strength), product_id`, t.salon)
}

// ProductByID returns a product, in use or not, or scheduling.ErrNotFound.
func (t *Tx) ProductByID(ctx context.Context, id string) (Product, error) {
	list, err := collect[Product](ctx, t, "product", `SELECT `+productColumns+` FROM product WHERE salon_id = $1 AND product_id = $2`, t.salon, id)
	if err == nil {
		err = one("product", int64(len(list)), nil)
	}
	if err != nil {
		return Product{}, err
	}
	return list[0], nil
}

// ProductsByID returns products, in use or not, by id; ids that there are none of
// are left out.
func (t *Tx) ProductsByID(ctx context.Context, ids ...string) (map[string]Product, error) {
	out := make(map[string]Product, len(ids))
	if len(ids) == 0 {
		return out, nil
	}
	list, err := collect[Product](ctx, t, "products", `SELECT `+productColumns+` FROM product WHERE salon_id = $1 AND product_id = ANY($2)`, t.salon, ids)
	for _, p := range list {
		out[p.ID] = p
	}
	return out, err
}

// ProductsTaken lists the products that a version of a service takes, in use or
// not.
func (t *Tx) ProductsTaken(ctx context.Context, service string, version int) ([]Product, error) {
	return collect[Product](ctx, t, "products", `SELECT `+productColumns+` FROM product
		WHERE salon_id = $1 AND product_id IN (
			SELECT x ->> 'product_id' FROM service_version v, jsonb_array_elements(v.products) x
			WHERE v.salon_id = $1 AND v.service_id = $2 AND v.service_version = $3)
		ORDER BY kind, product_id`, t.salon, service, version)
}

// sameProduct is the fault of a second product of one name and strength.
func sameProduct() error {
	return &scheduling.InvalidError{Field: "name", Problem: "is the name of another product of that kind and strength", Want: "a name or strength of its own"}
}

// AddProduct adds a product. One with the kind, name and strength of another in
// use is an *scheduling.InvalidError.
func (t *Tx) AddProduct(ctx context.Context, p Product) (Product, error) {
	p.ID, p.Active, p.Version = NewID(), true, 1
	tag, err := t.tx.Exec(ctx, `
		INSERT INTO product (salon_id, product_id, name, kind, strength, pack_ml, cost_cents, facts)
		VALUES ($1, $2, $3, $4, $5, $6, $7, coalesce($8::jsonb, '{}')) ON CONFLICT DO NOTHING`,
		t.salon, p.ID, p.Name, p.Kind, p.Strength, p.PackML, p.CostCents, p.Facts)
	if err != nil {
		return p, domain("add product", err, false)
	}
	if tag.RowsAffected() == 0 {
		return p, sameProduct()
	}
	return t.ProductByID(ctx, p.ID)
}

// UpdateProduct writes what may change of p, which is all but its kind and
// strength, when its version is still p.Version; otherwise scheduling.ErrStale.
// Errors are those of AddProduct, too.
func (t *Tx) UpdateProduct(ctx context.Context, p Product) (Product, error) {
	var taken bool
	err := t.tx.QueryRow(ctx, `
		SELECT EXISTS (SELECT FROM product o JOIN product p USING (salon_id, kind)
			WHERE p.salon_id = $1 AND p.product_id = $2 AND o.product_id <> $2 AND o.active
			  AND lower(o.strength) = lower(p.strength) AND lower(o.name) = lower($3))`, t.salon, p.ID, p.Name).Scan(&taken)
	if err != nil {
		return p, domain("update product", err, false)
	}
	if taken {
		return p, sameProduct()
	}
	tag, err := t.tx.Exec(ctx, `
		UPDATE product SET name = $4, pack_ml = $5, cost_cents = $6, facts = coalesce($7::jsonb, '{}'), version = version + 1
		WHERE salon_id = $1 AND product_id = $2 AND version = $3 AND active`, t.salon, p.ID, p.Version, p.Name, p.PackML, p.CostCents, p.Facts)
	if err != nil {
		return p, domain("update product", err, false)
	}
	if tag.RowsAffected() == 0 {
		return p, t.staleOrMissing(ctx, `SELECT 1 FROM product WHERE salon_id = $1 AND product_id = $2`, p.ID)
	}
	return t.ProductByID(ctx, p.ID)
}

// RetireProduct takes a product out of use. It returns a
// *scheduling.ConflictError while a service or a visit that is to come takes it,
// scheduling.ErrStale and ErrNotFound.
func (t *Tx) RetireProduct(ctx context.Context, id string, version int64) error {
	var service, visit bool
	err := t.tx.QueryRow(ctx, `
		SELECT EXISTS (SELECT FROM service s JOIN service_version v ON v.salon_id = s.salon_id AND v.service_id = s.service_id AND v.service_version = s.current
				WHERE s.salon_id = $1 AND s.active AND v.products @> jsonb_build_array(jsonb_build_object('product_id', $2::text))),
			EXISTS (SELECT FROM visit_product x JOIN visit v USING (salon_id, visit_id)
				WHERE x.salon_id = $1 AND x.product_id = $2 AND v.state IN ('held', 'booked', 'arrived', 'under_way'))`, t.salon, id).Scan(&service, &visit)
	switch {
	case err != nil:
		return domain("retire product", err, false)
	case service:
		return &scheduling.ConflictError{Reason: "a service takes this product: give it another one first"}
	case visit:
		return &scheduling.ConflictError{Reason: "a booked or pencilled visit takes this product: give it another one first"}
	}
	tag, err := t.tx.Exec(ctx, `UPDATE product SET active = false, version = version + 1 WHERE salon_id = $1 AND product_id = $2 AND version = $3 AND active`,
		t.salon, id, version)
	if err == nil && tag.RowsAffected() == 0 {
		return t.staleOrMissing(ctx, `SELECT 1 FROM product WHERE salon_id = $1 AND product_id = $2`, id)
	}
	return domain("retire product", err, false)
}

// ServiceProduct is a product that a version of a service takes.
type ServiceProduct struct {
	Product string `json:"product_id"`
	ML      int    `json:"ml,omitempty"` // 0: what the hair needs
}

// SetPricing writes what a version of a service costs and takes. It is for the
// transaction that added the version: versions never change afterwards.
func (t *Tx) SetPricing(ctx context.Context, service string, version int, rule json.RawMessage, list []ServiceProduct) error {
	products, err := json.Marshal(append([]ServiceProduct{}, list...))
	if err != nil {
		return domain("pricing", err, false)
	}
	tag, err := t.tx.Exec(ctx, `UPDATE service_version SET price_rule = coalesce($4::jsonb, '{}'), products = $5
		WHERE salon_id = $1 AND service_id = $2 AND service_version = $3`, t.salon, service, version, rule, products)
	return one("pricing", tag.RowsAffected(), err)
}

// VisitProduct is what a visit will take, or took, of a product.
type VisitProduct struct {
	Visit      string  `db:"visit_id"`
	Service    int     `db:"service_ordinal"`
	Product    string  `db:"product_id"`
	Name       string  `db:"name"`
	Kind       string  `db:"kind"`
	Strength   string  `db:"strength"`
	ML         int     `db:"ml"`
	ApprovedBy string  `db:"approved_by"` // who said yes to another product than the service's
	InsteadOf  *string `db:"instead_of"`  // that one
}

// VisitProducts lists what a visit takes, in the order of its services.
func (t *Tx) VisitProducts(ctx context.Context, visit string) ([]VisitProduct, error) {
	if t.bare("visit_product", visit) {
		return nil, nil
	}
	return collectOwn[VisitProduct](ctx, t, ofVisits, "products of visit", `
		SELECT x.visit_id, x.service_ordinal::int AS service_ordinal, x.product_id, p.name, p.kind, p.strength, x.ml, x.approved_by, x.instead_of
		FROM visit_product x JOIN product p USING (salon_id, product_id)
		WHERE x.salon_id = $1 AND x.visit_id = $2 ORDER BY x.ordinal`, visit)
}

// SetVisitProducts replaces what a locked visit takes. It returns an
// *scheduling.InvalidError when there is no such product.
func (t *Tx) SetVisitProducts(ctx context.Context, visit string, list []VisitProduct) error {
	var b pgx.Batch
	b.Queue(`DELETE FROM visit_product WHERE salon_id = $1 AND visit_id = $2`, t.salon, visit)
	for i, x := range list {
		b.Queue(`INSERT INTO visit_product (salon_id, visit_id, ordinal, service_ordinal, product_id, ml, approved_by, instead_of)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`, t.salon, visit, i, x.Service, x.Product, x.ML, x.ApprovedBy, x.InsteadOf)
	}
	return domain("products of visit", t.tx.SendBatch(ctx, &b).Close(), false)
}

// TouchVisit raises the version of a locked visit of which something beside its
// row has changed.
func (t *Tx) TouchVisit(ctx context.Context, v *Visit) error {
	tag, err := t.tx.Exec(ctx, `UPDATE visit SET version = version + 1, changed_at = now() WHERE salon_id = $1 AND visit_id = $2`, t.salon, v.ID)
	if err := one("visit", tag.RowsAffected(), err); err != nil {
		return err
	}
	v.Version++
	return nil
}

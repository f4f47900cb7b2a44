package store

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// MovementKind says why the stock of a product changed.
type MovementKind string

// Kinds of movements.
const (
	StockReceived MovementKind = "received"
	StockUsed     MovementKind = "used"
	StockCounted  MovementKind = "counted"
	StockWasted   MovementKind = "wasted"
)

// Movement is a change of the stock of a product, in whole ml.
type Movement struct {
	ID      string       `db:"movement_id"`
	Product string       `db:"product_id"`
	Kind    MovementKind `db:"kind"`
	Change  int          `db:"change_ml"`  // what came, negative what went
	Counted *int         `db:"counted_ml"` // only when counted
	Visit   *string      `db:"visit_id"`
	Note    string       `db:"note"`
	Noted   time.Time    `db:"noted_at"`
	By      string       `db:"noted_by"`
}

const movementColumns = `movement_id, product_id, kind, change_ml, counted_ml, visit_id, note, noted_at, noted_by`

// onHand locks a product against other movements and says what there is of it by
// the books. It returns scheduling.ErrNotFound.
func (t *Tx) onHand(ctx context.Context, product string) (int, error) {
	var ml int
	err := t.tx.QueryRow(ctx, `SELECT on_hand_ml FROM product WHERE salon_id = $1 AND product_id = $2 FOR NO KEY UPDATE`, t.salon, product).Scan(&ml)
	return ml, domain("product", err, false)
}

// mostOnHand is more than any salon has, in ml (judgement).
const mostOnHand = 100_000_000

// mostMoved is how many ml may come or go at once, as the table has it (judgement).
const mostMoved = 10_000_000

// AddMovement notes a change of stock; its id and time are chosen. Of one that
// was counted, Change follows from what the books say. It returns
// scheduling.ErrNotFound when there is no such product, and an
// *scheduling.InvalidError for more than any salon has.
func (t *Tx) AddMovement(ctx context.Context, m Movement, now time.Time) (Movement, error) {
	m.ID, m.Noted = NewID(), now
	books, err := t.onHand(ctx, m.Product)
	if err != nil {
		return m, err
	}
	if m.Counted != nil {
		m.Change = *m.Counted - books
	}
	if now := books + m.Change; now > mostOnHand || now < -mostOnHand {
		return m, &scheduling.InvalidError{Field: "ml", Problem: fmt.Sprintf("would make the books say %d ml", now), Want: "no more than any salon has; count what is there"}
	}
	if m.Change > mostMoved || m.Change < -mostMoved {
		return m, &scheduling.InvalidError{Field: "ml", Problem: fmt.Sprintf("is %d ml away from the %d ml of the books", m.Change, books),
			Want: fmt.Sprintf("at most %d ml away; count 0 first when the books are that wrong", mostMoved)}
	}
	var b pgx.Batch
	b.Queue(`
		INSERT INTO stock_movement (salon_id, movement_id, product_id, kind, change_ml, counted_ml, visit_id, note, noted_at, noted_by)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		t.salon, m.ID, m.Product, m.Kind, m.Change, m.Counted, m.Visit, m.Note, m.Noted, m.By)
	b.Queue(`UPDATE product SET on_hand_ml = $3 WHERE salon_id = $1 AND product_id = $2`, t.salon, m.Product, books+m.Change)
	return m, domain("add movement", t.tx.SendBatch(ctx, &b).Close(), false)
}

// Movements lists what came and went of a product, newest first: before the one
// with the id before, at most limit.
func (t *Tx) Movements(ctx context.Context, product, before string, limit int) ([]Movement, error) {
	return collect[Movement](ctx, t, "movements", `SELECT `+movementColumns+` FROM stock_movement
		WHERE salon_id = $1 AND product_id = $2 AND ($3 = '' OR movement_id < $3) ORDER BY movement_id DESC LIMIT $4`, t.salon, product, before, limit)
}

// SetUsed makes the books say that a locked visit has used so many ml of each
// product, and none of any other. What was noted before counts: told the same
// twice, nothing changes. Errors are those of AddMovement.
func (t *Tx) SetUsed(ctx context.Context, visit string, used map[string]int, now time.Time, by string) error {
	rows, err := t.tx.Query(ctx, `SELECT product_id, -sum(change_ml)::int FROM stock_movement
		WHERE salon_id = $1 AND visit_id = $2 AND kind = 'used' GROUP BY product_id`, t.salon, visit)
	if err != nil {
		return domain("used", err, false)
	}
	more := map[string]int{}
	maps.Copy(more, used)
	var product string
	var ml int
	if _, err = pgx.ForEachRow(rows, []any{&product, &ml}, func() error { more[product] -= ml; return nil }); err != nil {
		return domain("used", err, false)
	}
	for _, product := range slices.Sorted(maps.Keys(more)) { // always in one order, so that nobody waits in a circle
		if more[product] == 0 {
			continue
		}
		if _, err := t.AddMovement(ctx, Movement{Product: product, Kind: StockUsed, Change: -more[product], Visit: &visit, By: by}, now); err != nil {
			return err
		}
	}
	return nil
}

// Stock is what there is of a product and what is promised of it, in whole ml.
type Stock struct {
	Product
	OnHand   int `db:"on_hand"`
	Reserved int `db:"reserved"` // for visits that are to come or going on
	// Short is the first visit, in order of start, that cannot be covered any
	// more, ShortAt its start; nil when all can.
	Short   *string    `db:"short_visit"`
	ShortAt *time.Time `db:"short_at"`
}

// shortOf finds the first visit, in order of start, that what there is of a
// product does not cover any more. It needs the visits that take something, with
// how much, as need.
const shortOf = `upto AS (
			SELECT *, sum(ml) OVER (PARTITION BY product_id ORDER BY starts_at, visit_id)::int AS total FROM need WHERE ml > 0
		)`

// needOf is how much of a product x a visit v still takes.
const needOf = `greatest(0, sum(x.ml) + coalesce((
				SELECT sum(change_ml) FROM stock_movement m
				WHERE m.salon_id = $1 AND m.visit_id = v.visit_id AND m.product_id = x.product_id AND m.kind = 'used'), 0))::int AS ml`

// StockList lists what there is of every product in use, and of those out of use
// of which something is left or reserved.
func (t *Tx) StockList(ctx context.Context) ([]Stock, error) {
	return collect[Stock](ctx, t, "stock", `
		WITH need AS (
			SELECT x.product_id, v.visit_id, v.starts_at, `+needOf+`
			FROM visit v JOIN visit_product x USING (salon_id, visit_id)
			WHERE v.salon_id = $1 AND v.state IN ('booked', 'arrived', 'under_way') GROUP BY x.product_id, v.visit_id, v.starts_at
		), `+shortOf+`
		SELECT `+productColumns+`, on_hand_ml AS on_hand,
			coalesce((SELECT sum(ml)::int FROM need WHERE need.product_id = p.product_id), 0) AS reserved,
			short.visit_id AS short_visit, short.starts_at AS short_at
		FROM product p LEFT JOIN LATERAL (
			SELECT visit_id, starts_at FROM upto WHERE upto.product_id = p.product_id AND total > on_hand_ml
			ORDER BY starts_at, visit_id LIMIT 1) short ON true
		WHERE p.salon_id = $1 AND (p.active OR on_hand_ml <> 0 OR EXISTS (SELECT FROM need WHERE need.product_id = p.product_id))
		ORDER BY array_position(ARRAY['solution', 'neutralizer', 'other'], p.kind), lower(p.name), lower(p.strength), p.product_id`, t.salon)
}

// shortFor reads only the products of one visit, and the visits that are to come
// or going on up to it.
const shortFor = `
		WITH self AS (SELECT visit_id, starts_at FROM visit WHERE salon_id = $1 AND visit_id = $2),
		need AS (
			SELECT x.product_id, v.visit_id, v.starts_at, ` + needOf + `
			FROM self JOIN visit v ON (v.starts_at, v.visit_id) <= (self.starts_at, self.visit_id)
				JOIN visit_product x ON x.salon_id = v.salon_id AND x.visit_id = v.visit_id
			WHERE v.salon_id = $1 AND v.state IN ('booked', 'arrived', 'under_way')
			  AND x.product_id IN (SELECT product_id FROM visit_product WHERE salon_id = $1 AND visit_id = $2)
			GROUP BY x.product_id, v.visit_id, v.starts_at
		), ` + shortOf + `
		SELECT ` + productColumns + `, on_hand_ml AS on_hand, 0 AS reserved, short.visit_id AS short_visit, short.starts_at AS short_at
		FROM product p JOIN LATERAL (
			SELECT visit_id, starts_at FROM upto WHERE upto.product_id = p.product_id AND total > on_hand_ml
			ORDER BY starts_at, visit_id LIMIT 1) short ON true
		WHERE p.salon_id = $1 AND p.product_id IN (SELECT product_id FROM visit_product WHERE salon_id = $1 AND visit_id = $2)
		ORDER BY array_position(ARRAY['solution', 'neutralizer', 'other'], p.kind), lower(p.name), lower(p.strength), p.product_id`

// ShortFor lists the products of which a visit, with everything reserved before
// it, takes more than there is. What is reserved after it is left out.
func (t *Tx) ShortFor(ctx context.Context, visit string) ([]Stock, error) {
	return collect[Stock](ctx, t, "stock", shortFor, t.salon, visit)
}

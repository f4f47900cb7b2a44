package store

import (
	"context"
	"encoding/json"
	"time"
)

// Quote is a price that was promised, kept as it was asked and answered.
type Quote struct {
	ID           string          `db:"quote_id"`
	Client       *string         `db:"client_id"`
	Request      json.RawMessage `db:"request"`
	Answer       json.RawMessage `db:"answer"`
	TotalCents   int64           `db:"total_cents"`
	DepositCents int64           `db:"deposit_cents"`
	ValidUntil   time.Time       `db:"valid_until"`
	Created      time.Time       `db:"created_at"`
}

const quoteQuery = `
	SELECT quote_id, client_id, request, answer, total_cents, deposit_cents, valid_until, created_at
	FROM quote WHERE salon_id = $1 `

// AddQuote keeps a quote; its id is chosen when it is empty.
func (t *Tx) AddQuote(ctx context.Context, q Quote) (Quote, error) {
	if q.ID == "" {
		q.ID = NewID()
	}
	_, err := t.tx.Exec(ctx, `
		INSERT INTO quote (salon_id, quote_id, client_id, request, answer, total_cents, deposit_cents, valid_until, created_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		t.salon, q.ID, q.Client, q.Request, q.Answer, q.TotalCents, q.DepositCents, q.ValidUntil, q.Created)
	return q, domain("add quote", err, false)
}

// QuoteByID returns a quote, or scheduling.ErrNotFound.
func (t *Tx) QuoteByID(ctx context.Context, id string) (Quote, error) {
	list, err := collect[Quote](ctx, t, "quote", quoteQuery+`AND quote_id = $2`, t.salon, id)
	if err == nil {
		err = one("quote", int64(len(list)), nil)
	}
	if err != nil {
		return Quote{}, err
	}
	return list[0], nil
}

// QuotesOf lists the quotes of a client, newest first.
func (t *Tx) QuotesOf(ctx context.Context, client string) ([]Quote, error) {
	return collect[Quote](ctx, t, "quotes", quoteQuery+`AND client_id = $2 ORDER BY quote_id DESC`, t.salon, client)
}

// SetVisitQuote notes the quote that the prices of a visit come from.
func (t *Tx) SetVisitQuote(ctx context.Context, visit, quote string) error {
	tag, err := t.tx.Exec(ctx, `UPDATE visit SET quote_id = $3 WHERE salon_id = $1 AND visit_id = $2`, t.salon, visit, quote)
	t.memo.wrote[quoteOfVisit] = true
	return one("visit", tag.RowsAffected(), err)
}

// quoteOfVisit is what SetVisitQuote writes of a visit, for [Tx.bare].
const quoteOfVisit = "quote_id of visit"

// QuoteOfVisit returns the quote that a visit was booked with, or
// scheduling.ErrNotFound.
func (t *Tx) QuoteOfVisit(ctx context.Context, visit string) (Quote, error) {
	if t.bare(quoteOfVisit, visit) {
		return Quote{}, one("quote", 0, nil)
	}
	list, err := collectOwn[Quote](ctx, t, ofVisits, "quote", quoteQuery+`AND quote_id = (SELECT quote_id FROM visit WHERE salon_id = $1 AND visit_id = $2)`, visit)
	if err == nil {
		err = one("quote", int64(len(list)), nil)
	}
	if err != nil {
		return Quote{}, err
	}
	return list[0], nil
}

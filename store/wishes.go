package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/rickb777/date"
)

// WishState says what has become of a waiting-list request.
type WishState string

// States of a waiting-list request.
const (
	WishWaiting   WishState = "waiting"
	WishBooked    WishState = "booked"    // Visit is what became of it
	WishWithdrawn WishState = "withdrawn" // the client does not wait any more
)

// Wish is a request on the waiting list.
type Wish struct {
	ID         string          `db:"wish_id"`
	Client     string          `db:"client_id"`
	State      WishState       `db:"state"`
	Wanted     json.RawMessage `db:"wanted"`      // services with hair, as JSON of the door that took it
	ValueCents int64           `db:"value_cents"` // what serving it is worth, 0 to 100,000,000
	First      date.Date       `db:"first_date"`
	Last       date.Date       `db:"last_date"`
	Weekdays   []int           `db:"weekdays"`       // 1 Monday to 7 Sunday, at least one
	From       int             `db:"from_minute"`    // earliest start, in minutes after midnight, 0 to 1439
	To         int             `db:"to_minute"`      // latest end, past 1440 the day after, up to 2880
	Leads      []string        `db:"lead_ids"`       // stylists wished for; empty: anybody
	Notice     int             `db:"notice_minutes"` // how long before the start the client has to hear of it
	Note       string          `db:"note"`
	Visit      *string         `db:"visit_id"`  // while it waits: the last one that was pencilled for it
	Pencilled  bool            `db:"pencilled"` // Visit is pencilled for it now
	Version    int64           `db:"version"`
	Created    time.Time       `db:"created_at"`
}

const wishQuery = `
	SELECT wish_id, client_id, state, wanted, value_cents, first_date::text AS first_date, last_date::text AS last_date,
		weekdays::int[] AS weekdays, from_minute, to_minute, lead_ids, notice_minutes, note, visit_id, version, created_at,
		EXISTS (SELECT 1 FROM visit v WHERE v.salon_id = wish.salon_id AND v.visit_id = wish.visit_id AND v.state = 'held') AS pencilled
	FROM wish WHERE salon_id = $1 `

// Wishes lists waiting-list requests in a state and of a client, in any and of
// everybody where those are empty: by age, after the one with the id after, at
// most limit.
func (t *Tx) Wishes(ctx context.Context, state WishState, client, after string, limit int) ([]Wish, error) {
	return collect[Wish](ctx, t, "waiting list", wishQuery+`AND ($2 = '' OR state = $2) AND ($3 = '' OR client_id = $3) AND wish_id > $4
		ORDER BY wish_id LIMIT $5`, t.salon, state, client, after, limit)
}

// WaitingWishes lists the requests that wait for any day from first to last and for
// which nothing is pencilled, the most valuable first, of equal ones the oldest.
func (t *Tx) WaitingWishes(ctx context.Context, first, last date.Date, limit int) ([]Wish, error) {
	return collect[Wish](ctx, t, "waiting list", wishQuery+`AND state = 'waiting' AND first_date <= $3::text::date AND last_date >= $2::text::date
		AND NOT EXISTS (SELECT 1 FROM visit v WHERE v.salon_id = wish.salon_id AND v.visit_id = wish.visit_id AND v.state = 'held')
		ORDER BY value_cents DESC, wish_id LIMIT $4`, t.salon, first.String(), last.String(), limit)
}

// WishesByID lists those of the requests that there are, by id.
func (t *Tx) WishesByID(ctx context.Context, ids []string) ([]Wish, error) {
	return collect[Wish](ctx, t, "waiting list", wishQuery+`AND wish_id = ANY($2) ORDER BY wish_id`, t.salon, ids)
}

// WishByID returns one request, or scheduling.ErrNotFound.
func (t *Tx) WishByID(ctx context.Context, id string) (Wish, error) {
	return t.wish(ctx, id, "")
}

// LockWish is WishByID and keeps others from changing it until the transaction
// ends.
func (t *Tx) LockWish(ctx context.Context, id string) (Wish, error) {
	return t.wish(ctx, id, " FOR UPDATE")
}

func (t *Tx) wish(ctx context.Context, id, lock string) (Wish, error) {
	list, err := collect[Wish](ctx, t, "waiting-list request", wishQuery+`AND wish_id = $2`+lock, t.salon, id)
	if err == nil {
		err = one("waiting-list request", int64(len(list)), nil)
	}
	if err != nil {
		return Wish{}, err
	}
	return list[0], nil
}

// AddWish puts a request on the waiting list; its id, state, version and time
// are chosen. It returns an *scheduling.InvalidError when there is no such
// client.
func (t *Tx) AddWish(ctx context.Context, w Wish) (Wish, error) {
	w.ID, w.State, w.Visit, w.Version = NewID(), WishWaiting, nil, 1
	err := t.tx.QueryRow(ctx, `
		INSERT INTO wish (salon_id, wish_id, client_id, wanted, value_cents, first_date, last_date, weekdays, from_minute, to_minute,
			lead_ids, notice_minutes, note)
		VALUES ($1, $2, $3, $4, $5, $6::text::date, $7::text::date, $8, $9, $10, coalesce($11::text[], '{}'), $12, $13) RETURNING created_at`,
		t.salon, w.ID, w.Client, w.Wanted, w.ValueCents, w.First.String(), w.Last.String(), w.Weekdays, w.From, w.To, w.Leads, w.Notice, w.Note).
		Scan(&w.Created)
	return w, domain("add waiting-list request", err, false)
}

// SaveWish writes everything of a locked request that may change, its state and
// its visit included, and raises its version. It returns scheduling.ErrNotFound,
// and an *scheduling.InvalidError when there is no such client or visit.
func (t *Tx) SaveWish(ctx context.Context, w *Wish) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE wish SET client_id = $3, state = $4, wanted = $5, value_cents = $6, first_date = $7::text::date, last_date = $8::text::date,
			weekdays = $9, from_minute = $10, to_minute = $11, lead_ids = coalesce($12::text[], '{}'), notice_minutes = $13, note = $14,
			visit_id = $15, version = version + 1, changed_at = now()
		WHERE salon_id = $1 AND wish_id = $2`,
		t.salon, w.ID, w.Client, w.State, w.Wanted, w.ValueCents, w.First.String(), w.Last.String(), w.Weekdays, w.From, w.To, w.Leads,
		w.Notice, w.Note, w.Visit)
	if err := one("waiting-list request", tag.RowsAffected(), err); err != nil {
		return err
	}
	w.Version++
	return nil
}

// SettleWishOf takes the request off the list for which a visit was pencilled that is
// booked now, if there is one.
func (t *Tx) SettleWishOf(ctx context.Context, visit string) error {
	_, err := t.tx.Exec(ctx, `UPDATE wish SET state = 'booked', version = version + 1, changed_at = now()
		WHERE salon_id = $1 AND visit_id = $2 AND state = 'waiting'`, t.salon, visit)
	return domain("settle waiting-list request", err, false)
}

// FillWishes says which of some visits fill a request of the waiting list.
func (t *Tx) FillWishes(ctx context.Context, visits ...string) (map[string]bool, error) {
	out := map[string]bool{}
	if len(visits) == 0 {
		return out, nil
	}
	rows, err := collect[struct {
		Visit string `db:"visit_id"`
	}](ctx, t, "visits of the waiting list", `SELECT DISTINCT visit_id FROM wish WHERE salon_id = $1 AND visit_id = ANY($2)`, t.salon, visits)
	for _, r := range rows {
		out[r.Visit] = true
	}
	return out, err
}

// ReopenWishOf lets the request wait again that a visit had served whose booking was
// a mistake, if there is one.
func (t *Tx) ReopenWishOf(ctx context.Context, visit string) error {
	_, err := t.tx.Exec(ctx, `UPDATE wish SET state = 'waiting', visit_id = NULL, version = version + 1, changed_at = now()
		WHERE salon_id = $1 AND visit_id = $2 AND state = 'booked'`, t.salon, visit)
	return domain("reopen waiting-list request", err, false)
}

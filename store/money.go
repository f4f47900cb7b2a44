package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// MoneyKind says what was noted of the money of a visit.
type MoneyKind string

// Kinds of money facts. Nothing is charged by any of them.
const (
	DepositAsked MoneyKind = "deposit_asked"
	Received     MoneyKind = "received"
	CarriedOver  MoneyKind = "carried_over" // to another visit
	Returned     MoneyKind = "returned"
	Kept         MoneyKind = "kept"   // although the visit did not take place
	Waived       MoneyKind = "waived" // the deposit that was asked
	Goodwill     MoneyKind = "goodwill"
	Voucher      MoneyKind = "voucher"
	PriceChanged MoneyKind = "price_changed"
	TakenBack    MoneyKind = "taken_back" // another entry, which was wrong
)

// MoneyEntry is one money fact. Amounts are in the currency's minor units.
type MoneyEntry struct {
	ID       string     `db:"entry_id"`
	Visit    string     `db:"visit_id"`
	Kind     MoneyKind  `db:"kind"`
	Amount   int64      `db:"amount_cents"` // 0 where there is none
	Was      int64      `db:"was_cents"`    // the price before a change
	Minutes  int        `db:"minutes"`      // of goodwill
	Service  *int       `db:"service_ordinal"`
	How      string     `db:"how"`
	By       *time.Time `db:"due_at"`
	ToVisit  *string    `db:"to_visit_id"`
	Reverses *string    `db:"reverses"`
	Who      string     `db:"who"`
	Note     string     `db:"note"`
	Noted    time.Time  `db:"noted_at"`
	NotedBy  string     `db:"noted_by"`
}

const moneyQuery = `
	SELECT entry_id, visit_id, kind, coalesce(amount_cents, 0) AS amount_cents, coalesce(was_cents, 0) AS was_cents,
		coalesce(minutes, 0)::int AS minutes, service_ordinal::int AS service_ordinal, how, due_at, to_visit_id, reverses, who, note, noted_at, noted_by
	FROM money_entry WHERE salon_id = $1 `

// moneyOfVisits are the money facts of visits, what was carried over to them, and
// what takes that back. Each condition has an index of its own, which only a list
// of entries that is read first lets the last one use: compared with a subquery,
// the whole history of the salon would be read.
const moneyOfVisits = moneyQuery + `AND (visit_id = ANY($2) OR to_visit_id = ANY($2)
		OR reverses = ANY(ARRAY(SELECT entry_id FROM money_entry WHERE salon_id = $1 AND to_visit_id = ANY($2))))
	ORDER BY entry_id`

// MoneyOf lists the money facts of a visit and what was carried over to it from
// other visits, in the order in which they were noted.
func (t *Tx) MoneyOf(ctx context.Context, visit string) ([]MoneyEntry, error) {
	if t.bare("money_entry", visit) {
		return nil, nil
	}
	return ownOnly(t, ofVisits, memoKey(moneyOfVisits, visit), visit, func() ([]MoneyEntry, error) {
		return collect[MoneyEntry](ctx, t, "money", moneyOfVisits, t.salon, []string{visit})
	})
}

// MoneyOfVisits is MoneyOf for several visits, by visit.
func (t *Tx) MoneyOfVisits(ctx context.Context, visits []string) (map[string][]MoneyEntry, error) {
	if t.bare("money_entry", visits...) {
		return map[string][]MoneyEntry{}, nil
	}
	list, err := collect[MoneyEntry](ctx, t, "money", moneyOfVisits, t.salon, visits)
	byID := map[string]MoneyEntry{}
	for _, e := range list {
		byID[e.ID] = e
	}
	out := map[string][]MoneyEntry{}
	for _, e := range list {
		of := map[string]bool{e.Visit: true}
		if e.ToVisit != nil {
			of[*e.ToVisit] = true
		}
		if e.Reverses != nil { // what takes something back counts wherever that did
			if old := byID[*e.Reverses]; old.ToVisit != nil {
				of[*old.ToVisit] = true
			}
		}
		for v := range of {
			out[v] = append(out[v], e)
		}
	}
	return out, err
}

// AddMoney notes a money fact of a locked visit; its id and time are chosen. It
// returns a *scheduling.ConflictError when the entry that it takes back was
// taken back already.
func (t *Tx) AddMoney(ctx context.Context, e MoneyEntry, now time.Time) (MoneyEntry, error) {
	e.ID, e.Noted = NewID(), now
	tag, err := t.tx.Exec(ctx, `
		INSERT INTO money_entry (salon_id, entry_id, visit_id, kind, amount_cents, was_cents, minutes, service_ordinal, how, due_at,
			to_visit_id, reverses, who, note, noted_at, noted_by)
		VALUES ($1, $2, $3, $4, $5, $6, nullif($7, 0), $8, $9, $10, $11, $12, $13, $14, $15, $16)
		ON CONFLICT ON CONSTRAINT money_entry_once DO NOTHING`,
		t.salon, e.ID, e.Visit, e.Kind, e.Amount, e.Was, e.Minutes, e.Service, e.How, e.By, e.ToVisit, e.Reverses, e.Who, e.Note,
		e.Noted, e.NotedBy)
	if err != nil {
		return e, domain("add money", err, false)
	}
	if tag.RowsAffected() == 0 {
		return e, &scheduling.ConflictError{Reason: "the entry was taken back already"}
	}
	return e, nil
}

// FirmPrices makes the prices of a locked visit firm as they are.
func (t *Tx) FirmPrices(ctx context.Context, v *Visit) error {
	_, err := t.tx.Exec(ctx, `UPDATE visit_service SET price_open = false WHERE salon_id = $1 AND visit_id = $2 AND price_open`, t.salon, v.ID)
	if err != nil {
		return domain("firm prices", err, false)
	}
	for i := range v.Services {
		v.Services[i].Open = false
	}
	return nil
}

// SetPrices writes what the services of a locked visit cost, in their order and as
// firm as they say, and the visit's price, their sum. It returns scheduling.ErrNotFound.
func (t *Tx) SetPrices(ctx context.Context, v *Visit, prices []int64) error {
	var b pgx.Batch
	v.PriceCents = 0
	for i, p := range prices {
		b.Queue(`UPDATE visit_service SET price_cents = $4, price_open = $5 WHERE salon_id = $1 AND visit_id = $2 AND ordinal = $3`, t.salon, v.ID, i, p, v.Services[i].Open)
		v.PriceCents += p
	}
	if err := t.tx.SendBatch(ctx, &b).Close(); err != nil {
		return domain("prices", err, false)
	}
	tag, err := t.tx.Exec(ctx, `UPDATE visit SET price_cents = $3, version = version + 1, changed_at = now() WHERE salon_id = $1 AND visit_id = $2`,
		t.salon, v.ID, v.PriceCents)
	if err := one("visit", tag.RowsAffected(), err); err != nil {
		return err
	}
	for i, p := range prices {
		v.Services[i].PriceCents = p
	}
	v.Version++
	return nil
}

// Deposit is the deposit of a visit. The zero value is that of a visit for which
// none was asked.
type Deposit struct {
	AskedCents int64
	By         *time.Time // nil when none was asked
	// Settled is true when what was asked is there or was waived.
	Settled bool
}

// DepositOf says what was asked for a visit and whether it is settled.
func (t *Tx) DepositOf(ctx context.Context, visit string) (Deposit, error) {
	list, err := t.MoneyOf(ctx, visit)
	if err != nil {
		return Deposit{}, err
	}
	return NewBalance(visit, list).Deposit(), nil
}

// Balance is what the money facts of a visit come to.
type Balance struct {
	Asked   *MoneyEntry // the deposit, nil when none is asked
	Waived  bool
	Price   *MoneyEntry // the last change of the price
	In      int64       // received, or carried over from other visits
	Out     int64       // returned, or carried over to other visits
	Forfeit int64       // kept
}

// NewBalance adds up what MoneyOf lists for a visit. What was taken back does
// not count.
func NewBalance(visit string, list []MoneyEntry) Balance {
	back := map[string]bool{}
	for _, e := range list {
		if e.Reverses != nil {
			back[*e.Reverses] = true
		}
	}
	var b Balance
	for _, e := range list {
		if back[e.ID] {
			continue
		}
		switch e.Kind {
		case DepositAsked:
			b.Asked = &e
		case Waived:
			b.Waived = true
		case Received:
			b.In += e.Amount
		case Returned:
			b.Out += e.Amount
		case Kept:
			b.Forfeit += e.Amount
		case CarriedOver:
			if e.Visit == visit {
				b.Out += e.Amount
			} else {
				b.In += e.Amount
			}
		case PriceChanged:
			b.Price = &e
		case Goodwill, Voucher, TakenBack:
		}
	}
	return b
}

// Left is what was paid and has neither been returned, carried over nor kept.
func (b Balance) Left() int64 { return b.In - b.Out - b.Forfeit }

// Deposit is what was asked, and whether it is settled.
func (b Balance) Deposit() Deposit {
	if b.Asked == nil {
		return Deposit{}
	}
	return Deposit{AskedCents: b.Asked.Amount, By: b.Asked.By, Settled: b.Waived || b.In-b.Out >= b.Asked.Amount}
}

// MissedLast reports whether a client did not come to the last visit that she
// could have come to.
func (t *Tx) MissedLast(ctx context.Context, client string) (bool, error) {
	var missed bool
	err := t.tx.QueryRow(ctx, `SELECT state = 'missed' FROM visit
		WHERE salon_id = $1 AND client_id = $2 AND state IN ('missed', 'finished', 'stopped_early')
		ORDER BY starts_at DESC, visit_id DESC LIMIT 1`, t.salon, client).Scan(&missed)
	return missed, domain("last visit", err, true)
}

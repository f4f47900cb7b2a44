package store

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
)

// Salon is one business: one zone, one currency, one set of constants.
type Salon struct {
	ID         string          `db:"salon_id"`
	Key        string          `db:"key"`
	Name       string          `db:"name"`
	Zone       string          `db:"zone"` // IANA name
	Currency   string          `db:"currency"`
	LengthUnit string          `db:"length_unit"` // cm or in, for display
	HeatUnit   string          `db:"heat_unit"`   // C or F, for display
	Address    string          `db:"address"`
	Phone      string          `db:"phone"`
	Mail       string          `db:"mail"`
	Emergency  string          `db:"emergency"`  // number to call for help, "" until somebody has given it
	ChairTime  json.RawMessage `db:"chair_time"` // constants that differ from the default
	Booking    json.RawMessage `db:"booking"`    // rules of booking that differ from the default
	Pace       json.RawMessage `db:"pace"`       // what is set for learning and differs from the default
	Care       json.RawMessage `db:"care"`       // rules of aftercare and growth that differ from the default
	Messages   json.RawMessage `db:"messages"`   // rules of messages that differ from the default
	Version    int64           `db:"version"`
}

// unnamed stands in the column of a salon that has given no emergency number: it
// held a number always once, and what runs beside a newer version still reads it so.
const unnamed = "112"

const salonColumns = `salon_id, key, name, zone, currency, length_unit, heat_unit, address, phone, mail,
	CASE WHEN emergency_given OR emergency <> '` + unnamed + `' THEN emergency ELSE '' END AS emergency, chair_time, booking, care, pace, messages, version`

// AddSalon makes an empty salon and returns it with its id and key.
func (s *Store) AddSalon(ctx context.Context, n Salon) (Salon, error) {
	n.ID, n.Key = NewID(), newKey()
	err := s.InTx(ctx, n.ID, func(t *Tx) error {
		const q = `
			INSERT INTO salon (salon_id, key, name, zone, currency, length_unit, heat_unit, address, phone, mail, emergency, chair_time, booking, messages, emergency_given)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, coalesce($12::jsonb, '{}'), coalesce($13::jsonb, '{}'), coalesce($14::jsonb, '{}'), $15)`
		_, err := t.tx.Exec(ctx, q, n.ID, n.Key, n.Name, n.Zone, orElse(n.Currency, "EUR"),
			orElse(n.LengthUnit, "cm"), orElse(n.HeatUnit, "C"), n.Address, n.Phone, n.Mail, orElse(n.Emergency, unnamed), n.ChairTime, n.Booking, n.Messages, n.Emergency != "")
		if err != nil {
			return domain("add salon", err, false)
		}
		n, err = t.SalonRow(ctx)
		return err
	})
	return n, err
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// newKey makes the short public part of a salon's tokens.
func newKey() string { return strings.ToLower(rand.Text())[:10] }

// SalonRow returns the salon, or scheduling.ErrNotFound.
func (t *Tx) SalonRow(ctx context.Context) (Salon, error) {
	rows, err := t.tx.Query(ctx, `SELECT `+salonColumns+` FROM salon WHERE salon_id = $1`, t.salon)
	if err != nil {
		return Salon{}, domain("salon", err, false)
	}
	n, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[Salon])
	return n, domain("salon", err, false)
}

// UpdateSalon writes what may change of n when its version is still
// n.Version, and returns the new row; otherwise scheduling.ErrStale.
func (t *Tx) UpdateSalon(ctx context.Context, n Salon) (Salon, error) {
	const q = `
		UPDATE salon SET name = $3, currency = $4, length_unit = $5, heat_unit = $6, address = $7, phone = $8,
		       mail = $9, emergency = $10, emergency_given = $12, chair_time = coalesce($11::jsonb, '{}'), version = version + 1
		WHERE salon_id = $1 AND version = $2`
	tag, err := t.tx.Exec(ctx, q, t.salon, n.Version, n.Name, n.Currency, n.LengthUnit, n.HeatUnit, n.Address,
		n.Phone, n.Mail, orElse(n.Emergency, unnamed), n.ChairTime, n.Emergency != "")
	if err != nil {
		return n, domain("update salon", err, false)
	}
	if tag.RowsAffected() == 0 {
		return n, t.staleOrMissing(ctx, `SELECT 1 FROM salon WHERE salon_id = $1 AND $2 <> ''`, t.salon)
	}
	if err := t.touchAllFeeds(ctx); err != nil {
		return n, err
	}
	return t.SalonRow(ctx)
}

// SetBookingRules writes the salon's rules of booking when its version is still
// the given one, and returns the new row; otherwise scheduling.ErrStale.
func (t *Tx) SetBookingRules(ctx context.Context, version int64, rules json.RawMessage) (Salon, error) {
	tag, err := t.tx.Exec(ctx, `UPDATE salon SET booking = $3, version = version + 1 WHERE salon_id = $1 AND version = $2`,
		t.salon, version, rules)
	if err != nil {
		return Salon{}, domain("booking rules", err, false)
	}
	if tag.RowsAffected() == 0 {
		return Salon{}, t.staleOrMissing(ctx, `SELECT 1 FROM salon WHERE salon_id = $1 AND $2 <> ''`, t.salon)
	}
	return t.SalonRow(ctx)
}

// SetChairTime writes the constants of chair time that differ from the default
// when the salon's version is still the given one, and returns the new row;
// otherwise scheduling.ErrStale. Feeds show some of them.
func (t *Tx) SetChairTime(ctx context.Context, version int64, own json.RawMessage) (Salon, error) {
	tag, err := t.tx.Exec(ctx, `UPDATE salon SET chair_time = $3, version = version + 1 WHERE salon_id = $1 AND version = $2`,
		t.salon, version, own)
	if err != nil {
		return Salon{}, domain("chair time", err, false)
	}
	if tag.RowsAffected() == 0 {
		return Salon{}, t.staleOrMissing(ctx, `SELECT 1 FROM salon WHERE salon_id = $1 AND $2 <> ''`, t.salon)
	}
	if err := t.touchAllFeeds(ctx); err != nil {
		return Salon{}, err
	}
	return t.SalonRow(ctx)
}

// FirstSalon returns the oldest salon, or scheduling.ErrNotFound in an empty
// database.
func (s *Store) FirstSalon(ctx context.Context) (Salon, error) {
	rows, err := s.pool.Query(ctx, `SELECT `+salonColumns+` FROM salon ORDER BY created_at, salon_id LIMIT 1`)
	if err != nil {
		return Salon{}, domain("salon", err, false)
	}
	n, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[Salon])
	return n, domain("salon", err, false)
}

// Location loads the salon's zone from the system's zone data, once.
func (n Salon) Location() (*time.Location, error) {
	if known, ok := zones.Load(n.Zone); ok {
		return known.(*time.Location), nil
	}
	loc, err := time.LoadLocation(n.Zone)
	if err == nil {
		zones.Store(n.Zone, loc)
	}
	return loc, err
}

// zones are those that were loaded, by name.
var zones sync.Map

// DeleteSalon removes the salon with everything that belongs to it, waiting
// messages included.
func (t *Tx) DeleteSalon(ctx context.Context) error {
	visits, err := t.visits(ctx, ``)
	if err != nil {
		return err
	}
	for _, v := range visits {
		if err := t.WithdrawReminders(ctx, v.ID); err != nil {
			return err
		}
	}
	for _, table := range []string{"visit", "estimate", "head", "client", "service", "unit", "salon"} {
		if _, err := t.tx.Exec(ctx, `DELETE FROM `+table+` WHERE salon_id = $1`, t.salon); err != nil {
			return domain("delete salon", err, false)
		}
	}
	return nil
}

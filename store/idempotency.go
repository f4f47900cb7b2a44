package store

import (
	"bytes"
	"context"
	"errors"
	"slices"

	"github.com/jackc/pgx/v5"
)

// ErrRunning means that a request with the same Idempotency-Key is still
// being answered.
var ErrRunning = errors.New("a request with this Idempotency-Key is still running")

// ErrKeyReused means that an Idempotency-Key came back with another request.
var ErrKeyReused = errors.New("this Idempotency-Key was used for another request")

// Call names a request that may be repeated.
type Call struct {
	Principal   string
	Method      string
	Route       string
	Key         string
	Fingerprint []byte // SHA-256 of the request, or a SealedPrints' first
	// Older are other fingerprints of the same request, as it may have been kept
	// before the keys were changed.
	Older [][]byte
}

// Answer is what was answered to a call. Body is JSON.
type Answer struct {
	Status   int
	ETag     string
	Location string
	Body     []byte
}

// Begin claims a call for this transaction. It returns the answer and true
// when the call was answered before, ErrRunning when another transaction is at
// it, and ErrKeyReused when the key belongs to another request. End writes the row:
// until then the lock alone says that somebody is at it.
func (t *Tx) Begin(ctx context.Context, c Call) (Answer, bool, error) {
	var got, known bool
	var a Answer
	var print []byte
	var b pgx.Batch // what is read is read when the lock is held
	b.Queue(`SELECT pg_try_advisory_xact_lock(hashtextextended(concat_ws(E'\x1f', 'key', $1::text, $2::text, $3::text, $4::text, $5::text), 0))`,
		t.salon, c.Principal, c.Method, c.Route, c.Key).QueryRow(func(row pgx.Row) error { return row.Scan(&got) })
	b.Queue(`
		SELECT fingerprint, status, etag, location, body FROM idempotency
		WHERE salon_id = $1 AND principal = $2 AND method = $3 AND route = $4 AND key = $5`,
		t.salon, c.Principal, c.Method, c.Route, c.Key).QueryRow(func(row pgx.Row) error {
		err := row.Scan(&print, &a.Status, &a.ETag, &a.Location, &a.Body)
		known = err == nil
		if errors.Is(err, pgx.ErrNoRows) {
			return nil
		}
		return err
	})
	if err := t.tx.SendBatch(ctx, &b).Close(); err != nil {
		return Answer{}, false, domain("idempotency", err, false)
	}
	same := func(old []byte) bool { return bytes.Equal(print, old) }
	switch {
	case !got:
		return Answer{}, false, ErrRunning
	case !known:
		return Answer{}, false, nil
	case !same(c.Fingerprint) && !slices.ContainsFunc(c.Older, same):
		return Answer{}, false, ErrKeyReused
	}
	return a, true, nil
}

// End keeps the answer to a call that Begin claimed, when the transaction ends.
func (t *Tx) End(c Call, a Answer) error {
	if t.atEnd == nil {
		return errReading
	}
	t.atEnd.answers = append(t.atEnd.answers, func(b *pgx.Batch) {
		b.Queue(`
			INSERT INTO idempotency (salon_id, principal, method, route, key, fingerprint, status, etag, location, body)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
			t.salon, c.Principal, c.Method, c.Route, c.Key, c.Fingerprint, a.Status, a.ETag, a.Location, a.Body)
	})
	return nil
}

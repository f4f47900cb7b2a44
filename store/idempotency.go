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
// it, and ErrKeyReused when the key belongs to another request.
func (t *Tx) Begin(ctx context.Context, c Call) (Answer, bool, error) {
	var got bool
	const lock = `SELECT pg_try_advisory_xact_lock(hashtextextended(concat_ws(E'\x1f', 'key', $1::text, $2::text, $3::text, $4::text, $5::text), 0))`
	if err := t.tx.QueryRow(ctx, lock, t.salon, c.Principal, c.Method, c.Route, c.Key).Scan(&got); err != nil {
		return Answer{}, false, domain("idempotency", err, false)
	}
	if !got {
		return Answer{}, false, ErrRunning
	}
	var a Answer
	var print []byte
	err := t.tx.QueryRow(ctx, `
		SELECT fingerprint, status, etag, location, body FROM idempotency
		WHERE salon_id = $1 AND principal = $2 AND method = $3 AND route = $4 AND key = $5`,
		t.salon, c.Principal, c.Method, c.Route, c.Key).Scan(&print, &a.Status, &a.ETag, &a.Location, &a.Body)
	if errors.Is(err, pgx.ErrNoRows) {
		_, err := t.tx.Exec(ctx, `INSERT INTO idempotency (salon_id, principal, method, route, key, fingerprint) VALUES ($1, $2, $3, $4, $5, $6)`,
			t.salon, c.Principal, c.Method, c.Route, c.Key, c.Fingerprint)
		return Answer{}, false, domain("idempotency", err, false)
	}
	if err != nil {
		return Answer{}, false, domain("idempotency", err, false)
	}
	same := func(old []byte) bool { return bytes.Equal(print, old) }
	if !same(c.Fingerprint) && !slices.ContainsFunc(c.Older, same) {
		return Answer{}, false, ErrKeyReused
	}
	return a, true, nil
}

// End keeps the answer to a call that Begin claimed.
func (t *Tx) End(ctx context.Context, c Call, a Answer) error {
	_, err := t.tx.Exec(ctx, `
		UPDATE idempotency SET status = $6, etag = $7, location = $8, body = $9
		WHERE salon_id = $1 AND principal = $2 AND method = $3 AND route = $4 AND key = $5`,
		t.salon, c.Principal, c.Method, c.Route, c.Key, a.Status, a.ETag, a.Location, a.Body)
	return domain("idempotency", err, false)
}

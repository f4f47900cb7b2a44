package store

import (
	"context"
	"crypto/rand"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
)

// WrongCodes is how often a name was given a wrong code lately, on whatever screen.
type WrongCodes struct {
	Misses int
	Since  time.Time // from when Misses is counted down
	Locked time.Time // until when no code of the name is looked at, zero for never
}

// GuardCodes lets f count a try with the code of a name and keeps what f has made of
// it. Nobody else counts for the name until the transaction ends. An account of
// another salon gives a *scheduling.InvalidError.
func (t *Tx) GuardCodes(ctx context.Context, account string, now time.Time, f func(*WrongCodes)) error {
	const begin = `INSERT INTO code_guard (salon_id, account_id, misses, counted_at) VALUES ($1, $2, 0, $3) ON CONFLICT DO NOTHING`
	if _, err := t.tx.Exec(ctx, begin, t.salon, account, now); err != nil {
		return domain("code", err, false)
	}
	var x WrongCodes
	var locked *time.Time
	const read = `SELECT misses, counted_at, locked_until FROM code_guard WHERE salon_id = $1 AND account_id = $2 FOR UPDATE`
	if err := t.tx.QueryRow(ctx, read, t.salon, account).Scan(&x.Misses, &x.Since, &locked); err != nil {
		return domain("code", err, false)
	}
	if locked != nil {
		x.Locked = *locked
	}
	f(&x)
	const keep = `UPDATE code_guard SET misses = $3, counted_at = $4, locked_until = $5 WHERE salon_id = $1 AND account_id = $2`
	locked = nil
	if !x.Locked.IsZero() {
		locked = &x.Locked
	}
	_, err := t.tx.Exec(ctx, keep, t.salon, account, x.Misses, x.Since, locked)
	return domain("code", err, false)
}

// ForgetCodes forgets the wrong codes of a name: it has another code, or none.
func (t *Tx) ForgetCodes(ctx context.Context, account string) error {
	_, err := t.tx.Exec(ctx, `DELETE FROM code_guard WHERE salon_id = $1 AND account_id = $2`, t.salon, account)
	return domain("code", err, false)
}

// BrowserKey is what vouches for that which browsers keep, 32 octets that are the
// same for all salons and processes. It is made the first time.
func (s *Store) BrowserKey(ctx context.Context) ([]byte, error) {
	const read = `SELECT secret FROM browser_key`
	var key []byte
	err := s.pool.QueryRow(ctx, read).Scan(&key)
	if !errors.Is(err, pgx.ErrNoRows) {
		return key, domain("browser key", err, false)
	}
	fresh := make([]byte, 32)
	rand.Read(fresh) // documented never to fail
	if _, err := s.pool.Exec(ctx, `INSERT INTO browser_key (secret) VALUES ($1) ON CONFLICT DO NOTHING`, fresh); err != nil {
		return nil, domain("browser key", err, false)
	}
	err = s.pool.QueryRow(ctx, read).Scan(&key)
	return key, domain("browser key", err, false)
}

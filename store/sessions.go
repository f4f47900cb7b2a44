package store

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"time"

	"chairblock/scheduling"
)

// AddSessionLink makes a secret that opens one browser session of role until
// it expires. staff is the person whose session it is, empty for nobody on the
// rota.
func (t *Tx) AddSessionLink(ctx context.Context, role Role, staff string, expires time.Time) (string, error) {
	n, err := t.SalonRow(ctx)
	if err != nil {
		return "", err
	}
	secret, sum := newSecret(KindLink, n.Key)
	_, err = t.tx.Exec(ctx, `INSERT INTO session_link (salon_id, sha256, role, staff_id, expires_at) VALUES ($1, $2, $3, NULLIF($4, ''), $5)`,
		t.salon, sum, role, staff, expires)
	return secret, domain("add session link", err, false)
}

// OpenSession uses up a one-time link and returns the secret of a new browser
// session that lasts for life. A used, unknown or expired link gives
// scheduling.ErrNotFound.
func (s *Store) OpenSession(ctx context.Context, link string, life time.Duration) (string, error) {
	key, ok := splitSecret(KindLink, link)
	if !ok {
		return "", scheduling.ErrNotFound
	}
	secret, _ := newSecret(KindSession, key)
	const q = `
		WITH used AS (
			UPDATE session_link l SET used_at = now() FROM salon n
			WHERE n.salon_id = l.salon_id AND n.key = $1 AND l.sha256 = $2
			  AND l.used_at IS NULL AND l.expires_at > now() AND l.account_id IS NULL
			RETURNING l.salon_id, l.role, l.staff_id
		)
		INSERT INTO browser_session (salon_id, session_id, token, role, staff_id, kind, opened_at, last_used_at, ends_at, idle)
		SELECT salon_id, $3, $4, role, staff_id, 'desk', now(), now(), now() + $5, $5 FROM used`
	tag, err := s.pool.Exec(ctx, q, key, hash(link), NewID(), tokenHash(secret), life)
	if err := one("session link", tag.RowsAffected(), err); err != nil {
		return "", err
	}
	return secret, nil
}

// tokenHash is what is kept of a session's token.
func tokenHash(token string) string {
	h := sha256.Sum256([]byte(token))
	return base64.RawURLEncoding.EncodeToString(h[:])
}

// Session finds who holds a browser session.
func (s *Store) Session(ctx context.Context, secret string) (Principal, error) {
	if _, ok := splitSecret(KindSession, secret); !ok {
		return Principal{}, scheduling.ErrNotFound
	}
	const q = `SELECT salon_id, role, coalesce(staff_id, '') FROM browser_session WHERE token = $1 AND ends_at > now()`
	p := Principal{TokenID: "session"}
	err := s.pool.QueryRow(ctx, q, tokenHash(secret)).Scan(&p.Salon, &p.Role, &p.StaffID)
	return p, domain("session", err, false)
}

package store

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"regexp"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// Kinds of secrets, the first part of each.
const (
	KindBearer = "b"
	KindFeed   = "f"
	KindLink   = "o" // opens a session or sets a password, once
)

// Role is what a token may do.
type Role string

// Roles, from the one that may do everything to the one that may do least.
const (
	Owner         Role = "owner"
	Desk          Role = "desk"
	LeadRole      Role = "lead"
	AssistantRole Role = "assistant"
)

// Principal is who makes a request.
type Principal struct {
	Salon string
	// Role is the one in which the request is made. Roles are all that the person
	// holds, from the one that may do most; a token has one, and Roles is empty.
	Role     Role
	Roles    []Role
	TokenID  string // names the principal in idempotency keys; no secret
	StaffID  string // empty when the token belongs to no person
	Account  string // of somebody who has signed in with a password or a code, else empty
	ReadOnly bool   // a shared screen of which nobody has said who she is
	// NeedsFactor is that she has to set a second step up before she does anything else.
	NeedsFactor bool
	// Token is the id of the token with which somebody works who signed in by the
	// interface, and SignedIn how long ago that was; empty and 0 for everybody else.
	Token    string
	SignedIn time.Duration
}

// Has reports whether the person holds a role.
func (p Principal) Has(r Role) bool { return p.Role == r || slices.Contains(p.Roles, r) }

// Among returns the first of the person's roles, from the one that may do most, that
// is in a list, and whether there is one.
func (p Principal) Among(list []Role) (Role, bool) {
	for _, r := range roleOrder {
		if p.Has(r) && slices.Contains(list, r) {
			return r, true
		}
	}
	return "", false
}

// newSecret makes kind_key_secret with 256 random bits and its hash.
func newSecret(kind, key string) (string, []byte) {
	b := make([]byte, 32)
	rand.Read(b) // documented never to fail
	s := kind + "_" + key + "_" + base64.RawURLEncoding.EncodeToString(b)
	return s, hash(s)
}

func hash(secret string) []byte {
	h := sha256.Sum256([]byte(secret))
	return h[:]
}

// secretForm is what newSecret makes: 43 characters of base64 hold 256 bits.
var secretForm = regexp.MustCompile(`^([a-z])_([a-z0-9]{6,16})_[A-Za-z0-9_-]{43}$`)

// splitSecret returns the salon key of a secret of kind. What cannot be a
// secret never reaches the database.
func splitSecret(kind, secret string) (key string, ok bool) {
	m := secretForm.FindStringSubmatch(secret)
	if m == nil || m[1] != kind {
		return "", false
	}
	return m[2], true
}

// AccessToken is a bearer token without its secret.
type AccessToken struct {
	ID       string     `db:"token_id"`
	Role     Role       `db:"role"`
	StaffID  *string    `db:"staff_id"`
	Account  *string    `db:"account_id"` // of whoever has signed in by the interface
	Label    string     `db:"label"`
	Created  time.Time  `db:"created_at"`
	Expires  *time.Time `db:"expires_at"`
	Revoked  *time.Time `db:"revoked_at"`
	LastUsed *time.Time `db:"last_used_at"`
}

// AddToken makes a bearer token and returns its secret, which is shown once.
func (t *Tx) AddToken(ctx context.Context, role Role, staff, label string, expires *time.Time) (id, secret string, err error) {
	n, err := t.SalonRow(ctx)
	if err != nil {
		return "", "", err
	}
	id = NewID()
	secret, sum := newSecret(KindBearer, n.Key)
	const q = `
		INSERT INTO access_token (salon_id, token_id, sha256, role, staff_id, label, expires_at)
		VALUES ($1, $2, $3, $4, NULLIF($5, ''), $6, $7)`
	_, err = t.tx.Exec(ctx, q, t.salon, id, sum, role, staff, label, expires)
	return id, secret, domain("add token", err, false)
}

// AddAccountToken signs the person of an account in by the interface for life, by the
// database's clock, and returns the secret and when it ends.
func (t *Tx) AddAccountToken(ctx context.Context, account, label string, life time.Duration) (secret string, expires time.Time, err error) {
	n, err := t.SalonRow(ctx)
	if err != nil {
		return "", expires, err
	}
	a, err := t.AccountByID(ctx, account)
	if err != nil {
		return "", expires, err
	}
	secret, sum := newSecret(KindBearer, n.Key)
	err = t.tx.QueryRow(ctx, `
		INSERT INTO access_token (salon_id, token_id, sha256, role, account_id, label, expires_at) VALUES ($1, $2, $3, $4, $5, $6, now() + $7::interval)
		RETURNING expires_at`, t.salon, NewID(), sum, a.Roles[0], account, label, life).Scan(&expires)
	if err == nil {
		_, err = t.tx.Exec(ctx, `UPDATE account SET signed_in_at = now() WHERE salon_id = $1 AND account_id = $2`, t.salon, account)
	}
	return secret, expires, domain("add token", err, false)
}

// RenewToken gives a token that nobody has used yet another secret and returns it:
// the old one ends at once. It returns scheduling.ErrNotFound when there is no such
// token, when it was used, and when it has ended.
func (t *Tx) RenewToken(ctx context.Context, id string) (string, error) {
	n, err := t.SalonRow(ctx)
	if err != nil {
		return "", err
	}
	secret, sum := newSecret(KindBearer, n.Key)
	tag, err := t.tx.Exec(ctx, `UPDATE access_token SET sha256 = $3 WHERE salon_id = $1 AND token_id = $2 AND revoked_at IS NULL AND last_used_at IS NULL`, t.salon, id, sum)
	if err := one("token", tag.RowsAffected(), err); err != nil {
		return "", err
	}
	return secret, nil
}

// Tokens lists the bearer tokens, newest first.
func (t *Tx) Tokens(ctx context.Context) ([]AccessToken, error) {
	const q = `
		SELECT token_id, role, staff_id, account_id, label, created_at, expires_at, revoked_at, last_used_at
		FROM access_token WHERE salon_id = $1 ORDER BY token_id DESC`
	return collect[AccessToken](ctx, t, "tokens", q, t.salon)
}

// RevokeToken ends a token at once, or returns scheduling.ErrNotFound.
func (t *Tx) RevokeToken(ctx context.Context, id string) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE access_token SET revoked_at = coalesce(revoked_at, now())
		WHERE salon_id = $1 AND token_id = $2`, t.salon, id)
	return one("token", tag.RowsAffected(), err)
}

// Principal finds who holds a bearer token, or scheduling.ErrNotFound when it
// is unknown, expired or revoked.
func (s *Store) Principal(ctx context.Context, secret string) (Principal, error) {
	key, ok := splitSecret(KindBearer, secret)
	if !ok {
		return Principal{}, scheduling.ErrNotFound
	}
	// The time of last use is only worth a write when it is a minute old.
	const q = `
		SELECT t.salon_id, t.role, t.token_id, coalesce(a.staff_id, t.staff_id, ''), coalesce(t.account_id, ''), coalesce(a.roles, '{}'),
		       NOT coalesce(u.active, true), now() - t.created_at, ` + needsFactor + `, ` + tokenUnnoted + `
		FROM access_token t JOIN salon n USING (salon_id)
		LEFT JOIN account a ON a.salon_id = t.salon_id AND a.account_id = t.account_id
		LEFT JOIN unit u ON u.salon_id = a.salon_id AND u.unit_id = a.staff_id
		WHERE n.key = $1 AND t.sha256 = $2 AND t.revoked_at IS NULL
		  AND (t.expires_at IS NULL OR t.expires_at > now())
		  AND (t.account_id IS NULL OR coalesce(t.last_used_at, t.created_at) > now() - $3::interval AND ` + mayEnter + `)`
	type holder struct {
		p             Principal
		account       string
		roles         []Role
		left, unnoted bool
		needs         bool
		signedIn      time.Duration
	}
	x, err := ask(ctx, s.trips, func(r pgx.Row) (x holder, err error) {
		return x, r.Scan(&x.p.Salon, &x.p.Role, &x.p.TokenID, &x.p.StaffID, &x.account, &x.roles, &x.left, &x.signedIn, &x.needs, &x.unnoted)
	}, q, key, hash(secret), AccountTokenIdle)
	p := x.p
	if err == nil && x.account != "" {
		token := p.TokenID
		p = principalOf(p.Salon, x.account, p.StaffID, x.roles, x.left)
		p.Token, p.SignedIn, p.NeedsFactor = token, x.signedIn, x.needs
	}
	if err == nil && x.unnoted {
		err = s.note(ctx, `UPDATE access_token t SET last_used_at = now() WHERE t.salon_id = $1 AND t.sha256 = $2 AND `+tokenUnnoted, p.Salon, hash(secret))
	}
	return p, domain("token", err, false)
}

// tokenUnnoted holds for tokens t whose use is to be noted.
const tokenUnnoted = `(t.last_used_at IS NULL OR t.last_used_at < now() - interval '1 minute')`

// AccountTokenIdle is after how long without a request a token of an account ends
// (judgement, as in a browser on a machine of the salon).
const AccountTokenIdle = 2 * time.Hour

// collect runs a query and scans every row by its column names.
func collect[T any](ctx context.Context, t *Tx, what, q string, args ...any) ([]T, error) {
	rows, err := t.tx.Query(ctx, q, args...)
	if err != nil {
		return nil, domain(what, err, false)
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByName[T])
	return out, domain(what, err, false)
}

// ids is collect for a query that answers with ids alone.
func (t *Tx) ids(ctx context.Context, what, q string, args ...any) ([]string, error) {
	rows, err := t.tx.Query(ctx, q, args...)
	if err != nil {
		return nil, domain(what, err, false)
	}
	out, err := pgx.CollectRows(rows, pgx.RowTo[string])
	return out, domain(what, err, false)
}

// one turns "no row was touched" into scheduling.ErrNotFound.
func one(what string, rows int64, err error) error {
	if err != nil {
		return domain(what, err, false)
	}
	if rows == 0 {
		return domain(what, pgx.ErrNoRows, false)
	}
	return nil
}

// staleOrMissing tells a changed row from a missing one after an update by
// version found nothing.
func (t *Tx) staleOrMissing(ctx context.Context, q string, id string) error {
	var n int
	err := t.tx.QueryRow(ctx, q, t.salon, id).Scan(&n)
	if err != nil {
		return domain("row", err, false)
	}
	return scheduling.ErrStale
}

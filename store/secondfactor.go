package store

import (
	"context"
	"errors"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// factorPlace is where the secret of a second step is sealed to.
const factorPlace = "second-factor"

// Factor is what is known of somebody's second step, without its secret.
type Factor struct {
	Begun     time.Time
	Confirmed *time.Time // nil while no code of it was typed yet: it counts for nothing
	Codes     int        // recovery codes that are left
}

// On reports whether the second step is asked for.
func (f Factor) On() bool { return f.Confirmed != nil }

// FactorOf returns the second step of an account, the zero value for none.
func (t *Tx) FactorOf(ctx context.Context, account string) (f Factor, err error) {
	err = t.tx.QueryRow(ctx, `
		SELECT begun_at, confirmed_at, (SELECT count(*) FROM recovery_code r WHERE r.salon_id = f.salon_id AND r.account_id = f.account_id AND r.used_at IS NULL)
		FROM second_factor f WHERE salon_id = $1 AND account_id = $2`, t.salon, account).Scan(&f.Begun, &f.Confirmed, &f.Codes)
	return f, domain("second step", err, true)
}

// BeginFactor keeps the secret of a second step that is yet to be confirmed, in place
// of one that was never. It returns scheduling.ErrStale for an account that has one,
// ErrNoHealthKey, and an *scheduling.InvalidError for an account of another salon.
func (t *Tx) BeginFactor(ctx context.Context, account string, secret []byte, now time.Time) error {
	sealed, err := t.sealed(secret, factorPlace, account)
	if err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx, `
		INSERT INTO second_factor AS f (salon_id, account_id, sealed, begun_at) VALUES ($1, $2, $3, $4)
		ON CONFLICT (salon_id, account_id) DO UPDATE SET sealed = $3, begun_at = $4 WHERE f.confirmed_at IS NULL`, t.salon, account, sealed, now)
	if err == nil && tag.RowsAffected() == 0 {
		return scheduling.ErrStale
	}
	return domain("begin second step", err, false)
}

// FactorUse is what was tried with the second step of an account.
type FactorUse struct {
	Confirmed bool
	LastStep  int64 // of time, the last of which a code was used; -1 for none
	Wrong     WrongCodes
	// Secret opens the secret. It returns ErrNoHealthKey, a *UnknownKeyError or
	// ErrSealBroken.
	Secret func() ([]byte, error)
}

// UseFactor lets f try the second step of an account and keeps what f has made of
// LastStep and Wrong, unless f fails. Nobody else tries it until the transaction ends.
// It returns scheduling.ErrNotFound for an account that has none, and what f returns.
func (t *Tx) UseFactor(ctx context.Context, account string, now time.Time, f func(*FactorUse) error) error {
	var u FactorUse
	var sealed []byte
	var locked *time.Time
	err := t.tx.QueryRow(ctx, `SELECT sealed, confirmed_at IS NOT NULL FROM second_factor WHERE salon_id = $1 AND account_id = $2 FOR UPDATE`,
		t.salon, account).Scan(&sealed, &u.Confirmed)
	if err != nil {
		return domain("second step", err, false)
	}
	u.Secret = func() ([]byte, error) { return t.opened(sealed, factorPlace, account) }
	u.LastStep, u.Wrong.Since = -1, now
	err = t.tx.QueryRow(ctx, `SELECT last_step, misses, counted_at, locked_until FROM factor_use WHERE salon_id = $1 AND account_id = $2`,
		t.salon, account).Scan(&u.LastStep, &u.Wrong.Misses, &u.Wrong.Since, &locked)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return domain("second step", err, false)
	}
	if locked != nil {
		u.Wrong.Locked = *locked
	}
	if err := f(&u); err != nil {
		return err
	}
	locked = nil
	if !u.Wrong.Locked.IsZero() {
		locked = &u.Wrong.Locked
	}
	_, err = t.tx.Exec(ctx, `
		INSERT INTO factor_use (salon_id, account_id, last_step, misses, counted_at, locked_until) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (salon_id, account_id) DO UPDATE SET last_step = $3, misses = $4, counted_at = $5, locked_until = $6`,
		t.salon, account, u.LastStep, u.Wrong.Misses, u.Wrong.Since, locked)
	return domain("second step", err, false)
}

// ConfirmFactor makes the second step of an account count from now on, or returns
// scheduling.ErrNotFound when none waits for that.
func (t *Tx) ConfirmFactor(ctx context.Context, account string, now time.Time) error {
	tag, err := t.tx.Exec(ctx, `UPDATE second_factor SET confirmed_at = $3 WHERE salon_id = $1 AND account_id = $2 AND confirmed_at IS NULL`,
		t.salon, account, now)
	return one("second step", tag.RowsAffected(), err)
}

// EndFactor takes the second step of an account away with its recovery codes, or
// returns scheduling.ErrNotFound.
func (t *Tx) EndFactor(ctx context.Context, account string) error {
	tag, err := t.tx.Exec(ctx, `DELETE FROM second_factor WHERE salon_id = $1 AND account_id = $2`, t.salon, account)
	return one("second step", tag.RowsAffected(), err)
}

// SetRecoveryCodes replaces the recovery codes of an account. codes are as they are
// typed, folded; only their SHA-256 are kept.
func (t *Tx) SetRecoveryCodes(ctx context.Context, account string, codes []string) error {
	if _, err := t.tx.Exec(ctx, `DELETE FROM recovery_code WHERE salon_id = $1 AND account_id = $2`, t.salon, account); err != nil {
		return domain("recovery codes", err, false)
	}
	sums := make([][]byte, len(codes))
	for i, c := range codes {
		sums[i] = hash(c)
	}
	_, err := t.tx.Exec(ctx, `INSERT INTO recovery_code (salon_id, account_id, sha256) SELECT $1, $2, unnest($3::bytea[])`, t.salon, account, sums)
	return domain("recovery codes", err, false)
}

// UseRecoveryCode uses a recovery code up, or returns scheduling.ErrNotFound for one
// that is wrong or was used.
func (t *Tx) UseRecoveryCode(ctx context.Context, account, code string, now time.Time) error {
	tag, err := t.tx.Exec(ctx, `UPDATE recovery_code SET used_at = $4 WHERE salon_id = $1 AND account_id = $2 AND sha256 = $3 AND used_at IS NULL`,
		t.salon, account, hash(code), now)
	return one("recovery code", tag.RowsAffected(), err)
}

// AccessRules are what a salon asks of those who sign in.
type AccessRules struct {
	OwnersFactor     bool       // owners need a second step
	EverybodysFactor bool       // everybody does who has a password of her own
	From             *date.Date // the first day on which it is asked for; nil: at once
	Version          int64
}

// Asks reports whether the salon asks somebody with roles for a second step on a day of
// its calendar, or will later.
func (r AccessRules) Asks(roles []Role, today date.Date) (now, later bool) {
	asks := r.EverybodysFactor || r.OwnersFactor && slices.Contains(roles, Owner)
	began := r.From == nil || !r.From.After(today)
	return asks && began, asks && !began
}

// AccessRules returns what the salon has set, or the defaults.
func (t *Tx) AccessRules(ctx context.Context) (AccessRules, error) {
	r := AccessRules{Version: 1}
	err := t.tx.QueryRow(ctx, `SELECT owners_second_factor, everybodys_second_factor, second_factor_from::text, version FROM access_rule WHERE salon_id = $1`, t.salon).
		Scan(&r.OwnersFactor, &r.EverybodysFactor, &r.From, &r.Version)
	return r, domain("access rules", err, true)
}

// SetAccessRules writes them when their version is still r.Version, and returns the
// new row; otherwise scheduling.ErrStale.
func (t *Tx) SetAccessRules(ctx context.Context, r AccessRules) (AccessRules, error) {
	err := t.tx.QueryRow(ctx, `
		INSERT INTO access_rule AS a (salon_id, owners_second_factor, everybodys_second_factor, second_factor_from, version)
		SELECT $1, $3, $4, $5, 2 WHERE $2 = 1 OR EXISTS (SELECT 1 FROM access_rule WHERE salon_id = $1)
		ON CONFLICT (salon_id) DO UPDATE SET owners_second_factor = $3, everybodys_second_factor = $4, second_factor_from = $5, version = a.version + 1 WHERE a.version = $2
		RETURNING version`, t.salon, r.Version, r.OwnersFactor, r.EverybodysFactor, dayOrNull(r.From)).Scan(&r.Version)
	if errors.Is(err, pgx.ErrNoRows) {
		return r, scheduling.ErrStale
	}
	return r, domain("access rules", err, false)
}

package store

import (
	"context"
	"errors"
	"slices"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"chairblock/scheduling"
)

// Account is somebody who may sign in, without the hashes of her password and code.
type Account struct {
	ID       string     `db:"account_id"`
	Staff    string     `db:"staff_id"` // empty for nobody on the rota
	Login    string     `db:"login"`    // mail address in small letters; empty until she has named it
	Name     string     `db:"name"`     // what she is called, on the staff or else by the account
	Roles    []Role     `db:"roles"`    // from the one that may do most
	Password bool       `db:"has_password"`
	Code     bool       `db:"has_code"`
	Disabled *time.Time `db:"disabled_at"`
	// Left is that she is on the staff no more. Only an owner may still sign in.
	Left     bool       `db:"left_staff"`
	Factor   *time.Time `db:"factor_at"` // since when she has a second step, nil for none
	SignedIn *time.Time `db:"signed_in_at"`
	Created  time.Time  `db:"created_at"`
	Version  int64      `db:"version"`
}

// roleOrder is from the role that may do most to the one that may do least.
var roleOrder = []Role{Owner, Desk, LeadRole, AssistantRole}

// ranked is a set of roles from the one that may do most.
func ranked(roles []Role) []Role {
	return slices.DeleteFunc(slices.Clone(roleOrder), func(r Role) bool { return !slices.Contains(roles, r) })
}

const accountQuery = `
	SELECT a.account_id, coalesce(a.staff_id, '') AS staff_id, coalesce(a.login, '') AS login, coalesce(u.name, a.name) AS name,
	       array(SELECT r FROM unnest(ARRAY['owner', 'desk', 'lead', 'assistant']) WITH ORDINALITY o (r, n) WHERE r = ANY(a.roles) ORDER BY n) AS roles,
	       a.password IS NOT NULL AS has_password, a.code IS NOT NULL AS has_code, a.disabled_at, NOT coalesce(u.active, true) AS left_staff,
	       a.signed_in_at, a.created_at, a.version,
	       (SELECT f.confirmed_at FROM second_factor f WHERE f.salon_id = a.salon_id AND f.account_id = a.account_id) AS factor_at
	FROM account a LEFT JOIN unit u ON u.salon_id = a.salon_id AND u.unit_id = a.staff_id
	WHERE a.salon_id = $1`

// Accounts lists who may sign in, in the order they were added.
func (t *Tx) Accounts(ctx context.Context) ([]Account, error) {
	return collect[Account](ctx, t, "accounts", accountQuery+` ORDER BY a.created_at, a.account_id`, t.salon)
}

// AccountByID returns one account, or scheduling.ErrNotFound.
func (t *Tx) AccountByID(ctx context.Context, id string) (Account, error) {
	list, err := collect[Account](ctx, t, "account", accountQuery+` AND a.account_id = $2`, t.salon, id)
	if err == nil {
		err = one("account", int64(len(list)), nil)
	}
	if err != nil {
		return Account{}, err
	}
	return list[0], nil
}

// AddAccount adds one that has no password yet, and returns the row. A login or a
// person that another account of the salon has gives a *scheduling.InvalidError.
func (t *Tx) AddAccount(ctx context.Context, a Account) (Account, error) {
	a.ID = NewID()
	const q = `
		INSERT INTO account (salon_id, account_id, staff_id, login, name, roles)
		VALUES ($1, $2, NULLIF($3, ''), NULLIF($4, ''), $5, $6)`
	if _, err := t.tx.Exec(ctx, q, t.salon, a.ID, a.Staff, a.Login, a.Name, ranked(a.Roles)); err != nil {
		return a, accountTaken("add account", err)
	}
	return t.AccountByID(ctx, a.ID)
}

// UpdateAccount changes person, login, name, roles and whether the account is
// disabled, when its version is still a.Version, else scheduling.ErrStale. Whoever is
// disabled is signed out everywhere, at once. Errors are those of AddAccount.
func (t *Tx) UpdateAccount(ctx context.Context, a Account) (Account, error) {
	const q = `
		UPDATE account SET staff_id = NULLIF($4, ''), login = NULLIF($5, ''), name = $6, roles = $7,
		       disabled_at = CASE WHEN $8 THEN coalesce(disabled_at, now()) END, version = version + 1
		WHERE salon_id = $1 AND account_id = $2 AND version = $3`
	tag, err := t.tx.Exec(ctx, q, t.salon, a.ID, a.Version, a.Staff, a.Login, a.Name, ranked(a.Roles), a.Disabled != nil)
	if err != nil {
		return a, accountTaken("update account", err)
	}
	if tag.RowsAffected() == 0 {
		return a, t.staleOrMissing(ctx, `SELECT 1 FROM account WHERE salon_id = $1 AND account_id = $2`, a.ID)
	}
	if a.Disabled != nil {
		if err := t.EndSessions(ctx, a.ID, ""); err != nil {
			return a, err
		}
		if err := t.endLinks(ctx, a.ID); err != nil {
			return a, err
		}
	}
	return t.AccountByID(ctx, a.ID)
}

// accountTaken says in words what two accounts may not share.
func accountTaken(what string, err error) error {
	if pg, ok := errors.AsType[*pgconn.PgError](err); ok && pg.Code == "23505" {
		if pg.ConstraintName == "account_salon_id_staff_id_key" {
			return &scheduling.InvalidError{Field: "staff_id", Problem: "has an account already", Want: "a person who has none, or change that account"}
		}
		return &scheduling.InvalidError{Field: "mail", Problem: "is that of another account of this salon", Want: "an address of its own"}
	}
	return domain(what, err, false)
}

// LockAccounts keeps others from changing accounts of the salon until the
// transaction ends, so that it can be seen that an owner remains.
func (t *Tx) LockAccounts(ctx context.Context) error {
	_, err := t.tx.Exec(ctx, `SELECT 1 FROM account WHERE salon_id = $1 ORDER BY account_id FOR UPDATE`, t.salon)
	return domain("lock accounts", err, false)
}

// SetPassword keeps the hash of a new password, ends the account's links, and signs
// it out everywhere but in session keep, which may be empty. An account without a
// login gets that; one that has a login keeps it. It returns scheduling.ErrNotFound for
// an account that is disabled, too, and an *scheduling.InvalidError (mail) when another
// account of the salon has that login.
func (t *Tx) SetPassword(ctx context.Context, account, login, hash, keep string) error {
	const q = `
		UPDATE account SET password = $3, login = coalesce(login, NULLIF($4, '')), version = version + 1
		WHERE salon_id = $1 AND account_id = $2 AND disabled_at IS NULL`
	tag, err := t.tx.Exec(ctx, q, t.salon, account, hash, login)
	if err != nil {
		return accountTaken("set password", err)
	}
	if err := one("account", tag.RowsAffected(), nil); err != nil {
		return err
	}
	if err := t.endLinks(ctx, account); err != nil {
		return err
	}
	return t.EndSessions(ctx, account, keep)
}

func (t *Tx) endLinks(ctx context.Context, account string) error {
	_, err := t.tx.Exec(ctx, `DELETE FROM session_link WHERE salon_id = $1 AND account_id = $2`, t.salon, account)
	return domain("end links", err, false)
}

// SetCode keeps the hash of a new short code; empty means that there is none any
// more. Nobody is that person on a shared screen any longer, but in session keep,
// which may be empty: the old code may have been known to others.
func (t *Tx) SetCode(ctx context.Context, account, hash, keep string) error {
	tag, err := t.tx.Exec(ctx, `UPDATE account SET code = NULLIF($3, ''), version = version + 1 WHERE salon_id = $1 AND account_id = $2`, t.salon, account, hash)
	if err := one("account", tag.RowsAffected(), err); err != nil {
		return err
	}
	if err := t.ForgetCodes(ctx, account); err != nil {
		return err
	}
	return t.leaveScreens(ctx, account, keep)
}

// Secrets are the hashes of an account, each empty where there is none.
type Secrets struct{ Password, Code string }

// SecretsOf returns the hashes of an account that may sign in, or
// scheduling.ErrNotFound.
func (t *Tx) SecretsOf(ctx context.Context, account string) (x Secrets, err error) {
	const q = `
		SELECT coalesce(a.password, ''), coalesce(a.code, '') FROM account a LEFT JOIN unit u ON u.salon_id = a.salon_id AND u.unit_id = a.staff_id
		WHERE a.salon_id = $1 AND a.account_id = $2 AND ` + mayEnter
	err = t.tx.QueryRow(ctx, q, t.salon, account).Scan(&x.Password, &x.Code)
	return x, domain("account", err, false)
}

// mayEnter holds for accounts a, with their unit u, that are not disabled and whose
// person has not left, owners aside.
const mayEnter = `a.disabled_at IS NULL AND (coalesce(u.active, true) OR 'owner' = ANY(a.roles))`

// Credentials are what somebody who signs in is compared with.
type Credentials struct {
	Salon     string `db:"salon_id"`
	SalonName string `db:"salon_name"`
	Account   string `db:"account_id"`
	Password  string `db:"password"` // hash, empty when none is chosen yet
	Factor    bool   `db:"factor"`   // a second step is asked for
}

// CredentialsOf lists the accounts with a login, one a salon and eight at most, of
// those that may sign in. login is in small letters.
func (s *Store) CredentialsOf(ctx context.Context, login string) ([]Credentials, error) {
	const q = `
		SELECT a.salon_id, n.name AS salon_name, a.account_id, coalesce(a.password, '') AS password,
		       EXISTS (SELECT FROM second_factor f WHERE f.salon_id = a.salon_id AND f.account_id = a.account_id AND f.confirmed_at IS NOT NULL) AS factor
		FROM account a JOIN salon n USING (salon_id) LEFT JOIN unit u ON u.salon_id = a.salon_id AND u.unit_id = a.staff_id
		WHERE a.login = $1 AND ` + mayEnter + ` ORDER BY n.created_at, n.salon_id LIMIT 8`
	return collectAll[Credentials](ctx, s, "credentials", q, login)
}

// HasSalon reports whether the database has any salon.
func (s *Store) HasSalon(ctx context.Context) (bool, error) {
	var any bool
	err := s.pool.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM salon)`).Scan(&any)
	return any, domain("look for a salon", err, false)
}

// OwnerAccount is an owner's account somewhere in the database.
type OwnerAccount struct {
	Salon     string `db:"salon_id"`
	SalonName string `db:"salon_name"`
	Account   string `db:"account_id"` // empty in a salon that has no owner's account
}

// OwnersWithoutPassword lists the owners' accounts in which no password is chosen
// yet, and salons in which no owner has an account.
func (s *Store) OwnersWithoutPassword(ctx context.Context) ([]OwnerAccount, error) {
	const q = `
		SELECT n.salon_id, n.name AS salon_name, coalesce(a.account_id, '') AS account_id
		FROM salon n LEFT JOIN account a ON a.salon_id = n.salon_id AND 'owner' = ANY(a.roles) AND a.disabled_at IS NULL
		WHERE a.password IS NULL ORDER BY n.created_at, n.salon_id, a.created_at`
	return collectAll[OwnerAccount](ctx, s, "owners", q)
}

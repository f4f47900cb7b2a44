package store

import (
	"context"
	"time"

	"chairblock/scheduling"
)

// AddSessionLink makes a secret that opens one browser session of role until
// it expires. staff is the person whose session it is, empty for nobody on the
// rota.
func (t *Tx) AddSessionLink(ctx context.Context, role Role, staff string, expires time.Time) (string, error) {
	return t.addLink(ctx, role, staff, "", false, expires)
}

// AddPasswordLink makes a secret with which the person of an account chooses a
// password, once, until it expires. Earlier ones of the account end.
func (t *Tx) AddPasswordLink(ctx context.Context, account string, expires time.Time) (string, error) {
	return t.addAccountLink(ctx, account, false, expires)
}

// AddWayBackLink is AddPasswordLink for somebody who cannot take her second step: it
// is taken away when she chooses the password.
func (t *Tx) AddWayBackLink(ctx context.Context, account string, expires time.Time) (string, error) {
	return t.addAccountLink(ctx, account, true, expires)
}

func (t *Tx) addAccountLink(ctx context.Context, account string, endsFactor bool, expires time.Time) (string, error) {
	if err := t.endLinks(ctx, account); err != nil {
		return "", err
	}
	a, err := t.AccountByID(ctx, account)
	if err != nil {
		return "", err
	}
	return t.addLink(ctx, a.Roles[0], "", account, endsFactor, expires)
}

func (t *Tx) addLink(ctx context.Context, role Role, staff, account string, endsFactor bool, expires time.Time) (string, error) {
	n, err := t.SalonRow(ctx)
	if err != nil {
		return "", err
	}
	secret, sum := newSecret(KindLink, n.Key)
	const q = `
		INSERT INTO session_link (salon_id, sha256, role, staff_id, account_id, ends_factor, expires_at)
		VALUES ($1, $2, $3, NULLIF($4, ''), NULLIF($5, ''), $6, $7)`
	_, err = t.tx.Exec(ctx, q, t.salon, sum, role, staff, account, endsFactor, expires)
	return secret, domain("add session link", err, false)
}

// Link is what a one-time link is for.
type Link struct {
	Salon     string `db:"salon_id"`
	SalonName string `db:"salon_name"`
	Role      Role   `db:"role"`
	Staff     string `db:"staff_id"`
	Account   string `db:"account_id"` // whose password it sets; empty for one that opens a session
	Login     string `db:"login"`
	Name      string `db:"name"`
	Factor    bool   `db:"factor"`      // the account has a second step
	Ends      bool   `db:"ends_factor"` // which the link takes away
}

// LinkBySecret returns what a link is for, or scheduling.ErrNotFound when it was
// used, has expired or never was. Nothing changes.
func (s *Store) LinkBySecret(ctx context.Context, secret string, now time.Time) (Link, error) {
	key, ok := splitSecret(KindLink, secret)
	if !ok {
		return Link{}, scheduling.ErrNotFound
	}
	const q = `
		SELECT l.salon_id, n.name AS salon_name, l.role, coalesce(l.staff_id, '') AS staff_id, coalesce(l.account_id, '') AS account_id,
		       coalesce(a.login, '') AS login, coalesce(u.name, a.name, '') AS name,
		       EXISTS (SELECT FROM second_factor f WHERE f.salon_id = l.salon_id AND f.account_id = l.account_id AND f.confirmed_at IS NOT NULL) AS factor, l.ends_factor
		FROM session_link l JOIN salon n USING (salon_id)
		LEFT JOIN account a ON a.salon_id = l.salon_id AND a.account_id = l.account_id
		LEFT JOIN unit u ON u.salon_id = l.salon_id AND u.unit_id = a.staff_id
		WHERE n.key = $1 AND l.sha256 = $2 AND l.used_at IS NULL AND l.expires_at > $3
		  AND (l.account_id IS NULL OR ` + mayEnter + `)`
	list, err := collectAll[Link](ctx, s, "link", q, key, hash(secret), now)
	if err == nil {
		err = one("link", int64(len(list)), nil)
	}
	if err != nil {
		return Link{}, err
	}
	return list[0], nil
}

// UseLink uses up a link of the salon, so that nobody can once more, or returns
// scheduling.ErrNotFound.
func (t *Tx) UseLink(ctx context.Context, secret string, now time.Time) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE session_link SET used_at = $3 WHERE salon_id = $1 AND sha256 = $2 AND used_at IS NULL AND expires_at > $3`, t.salon, hash(secret), now)
	return one("link", tag.RowsAffected(), err)
}

package store

import (
	"context"
	"slices"
	"time"

	"github.com/alexedwards/scs/pgxstore"
	"github.com/jackc/pgx/v5"

	"chairblock/scheduling"
)

// AddSessionLink makes a secret that opens one browser session of role until
// it expires. staff is the person whose session it is, empty for nobody on the
// rota.
func (t *Tx) AddSessionLink(ctx context.Context, role Role, staff string, expires time.Time) (string, error) {
	return t.addLink(ctx, role, staff, "", expires)
}

// AddPasswordLink makes a secret with which the person of an account chooses a
// password, once, until it expires. Earlier ones of the account end.
func (t *Tx) AddPasswordLink(ctx context.Context, account string, expires time.Time) (string, error) {
	if err := t.endLinks(ctx, account); err != nil {
		return "", err
	}
	a, err := t.AccountByID(ctx, account)
	if err != nil {
		return "", err
	}
	return t.addLink(ctx, a.Roles[0], "", account, expires)
}

func (t *Tx) addLink(ctx context.Context, role Role, staff, account string, expires time.Time) (string, error) {
	n, err := t.SalonRow(ctx)
	if err != nil {
		return "", err
	}
	secret, sum := newSecret(KindLink, n.Key)
	const q = `
		INSERT INTO session_link (salon_id, sha256, role, staff_id, account_id, expires_at)
		VALUES ($1, $2, $3, NULLIF($4, ''), NULLIF($5, ''), $6)`
	_, err = t.tx.Exec(ctx, q, t.salon, sum, role, staff, account, expires)
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
		       coalesce(a.login, '') AS login, coalesce(u.name, a.name, '') AS name
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

// Kinds of browser sessions.
const (
	OwnMachine   = "desk"   // one person's, on a machine of the salon
	OwnPhone     = "phone"  // one person's, on her own phone
	SharedScreen = "shared" // read by everybody, changed by whoever says who she is
)

// BrowserSession is a browser that is signed in.
type BrowserSession struct {
	ID       string        `db:"session_id"`
	Token    string        `db:"-"` // as the session library keeps it; only to add one
	Account  string        `db:"account_id"`
	Role     Role          `db:"-"` // of a session without an account; only to add one
	Staff    string        `db:"-"` // likewise
	Kind     string        `db:"kind"`
	Device   string        `db:"device"` // in words
	Opened   time.Time     `db:"opened_at"`
	LastUsed time.Time     `db:"last_used_at"` // to the minute
	Ends     time.Time     `db:"ends_at"`
	Idle     time.Duration `db:"idle"` // unused for so long, it ends
}

// AddBrowserSession signs a browser in and returns the session's id. A session of an
// account notes when she signed in last.
func (t *Tx) AddBrowserSession(ctx context.Context, b BrowserSession) (string, error) {
	b.ID = NewID()
	const q = `
		INSERT INTO browser_session (salon_id, session_id, token, account_id, role, staff_id, kind, device, opened_at, last_used_at, ends_at, idle)
		VALUES ($1, $2, $3, NULLIF($4, ''), NULLIF($5, ''), NULLIF($6, ''), $7, $8, $9, $9, $10, $11)`
	_, err := t.tx.Exec(ctx, q, t.salon, b.ID, b.Token, b.Account, b.Role, b.Staff, b.Kind, b.Device, b.Opened, b.Ends, b.Idle)
	if err != nil || b.Account == "" {
		return b.ID, domain("add browser session", err, false)
	}
	_, err = t.tx.Exec(ctx, `UPDATE account SET signed_in_at = $3 WHERE salon_id = $1 AND account_id = $2`, t.salon, b.Account, b.Opened)
	return b.ID, domain("add browser session", err, false)
}

const browserColumns = `b.session_id, coalesce(b.account_id, '') AS account_id, b.kind, b.device, b.opened_at, b.last_used_at, b.ends_at, b.idle`

// BrowsersOf lists where an account is signed in at now, the one used last first.
func (t *Tx) BrowsersOf(ctx context.Context, account string, now time.Time) ([]BrowserSession, error) {
	return collect[BrowserSession](ctx, t, "browsers", `
		SELECT `+browserColumns+` FROM browser_session b JOIN sessions s USING (token)
		WHERE b.salon_id = $1 AND b.account_id = $2 AND b.ends_at > $3 AND b.last_used_at + b.idle > $3
		ORDER BY b.last_used_at DESC, b.session_id DESC`, t.salon, account, now)
}

// Browsers counts where each account of the salon is signed in at now.
func (t *Tx) Browsers(ctx context.Context, now time.Time) (map[string]int, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT b.account_id, count(*) FROM browser_session b JOIN sessions s USING (token)
		WHERE b.salon_id = $1 AND b.account_id IS NOT NULL AND b.ends_at > $2 AND b.last_used_at + b.idle > $2 GROUP BY 1`, t.salon, now)
	if err != nil {
		return nil, domain("browsers", err, false)
	}
	out := map[string]int{}
	var account string
	var n int
	_, err = pgx.ForEachRow(rows, []any{&account, &n}, func() error { out[account] = n; return nil })
	return out, domain("browsers", err, false)
}

// EndSession signs one browser of an account out, or returns scheduling.ErrNotFound.
func (t *Tx) EndSession(ctx context.Context, account, session string) error {
	tag, err := t.tx.Exec(ctx, `DELETE FROM browser_session WHERE salon_id = $1 AND account_id = $2 AND session_id = $3`, t.salon, account, session)
	return one("session", tag.RowsAffected(), err)
}

// EndSessions signs an account out everywhere but in session keep, which may be
// empty, and ends what it does on shared screens of others.
func (t *Tx) EndSessions(ctx context.Context, account, keep string) error {
	for _, q := range []string{
		`DELETE FROM browser_session WHERE salon_id = $1 AND account_id = $2 AND session_id <> $3`,
		`UPDATE browser_session SET person_id = NULL, person_until = NULL WHERE salon_id = $1 AND person_id = $2 AND session_id <> $3`,
	} {
		if _, err := t.tx.Exec(ctx, q, t.salon, account, keep); err != nil {
			return domain("end sessions", err, false)
		}
	}
	return nil
}

// ShareScreen makes a session one of a shared screen, with the limits of such.
func (t *Tx) ShareScreen(ctx context.Context, session string, ends time.Time, idle time.Duration) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE browser_session SET kind = 'shared', ends_at = $3, idle = $4 WHERE salon_id = $1 AND session_id = $2 AND account_id IS NOT NULL`,
		t.salon, session, ends, idle)
	return one("session", tag.RowsAffected(), err)
}

// SetPerson notes who works on a shared screen until when; an empty account means
// nobody.
func (t *Tx) SetPerson(ctx context.Context, session, account string, until time.Time) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE browser_session SET person_id = NULLIF($3, ''), person_until = CASE WHEN $3 <> '' THEN $4::timestamptz END
		WHERE salon_id = $1 AND session_id = $2 AND kind = 'shared'`, t.salon, session, account, until)
	return one("session", tag.RowsAffected(), err)
}

// TryCode counts one try in advance, so that many at once are not more than many one
// after the other, and returns which one in a row it is. With the most-th the name is
// locked until a time, which is returned; a try beyond it must not be looked at.
// ForgetTries takes the tries back when the code was right. Another round of tries
// begins when a lock is over.
func (t *Tx) TryCode(ctx context.Context, session, account string, most int, now, lock time.Time) (try int, locked time.Time, err error) {
	const q = `
		INSERT INTO code_miss AS m (salon_id, session_id, account_id, misses) VALUES ($1, $2, $3, 1)
		ON CONFLICT (salon_id, session_id, account_id) DO UPDATE SET
			misses = CASE WHEN m.locked_until <= $5 THEN 1 ELSE LEAST(m.misses + 1, 1000000) END,
			locked_until = CASE WHEN m.locked_until > $5 THEN m.locked_until WHEN m.locked_until IS NULL AND m.misses + 1 >= $4 THEN $6::timestamptz END
		RETURNING misses, locked_until`
	var until *time.Time
	if err := t.tx.QueryRow(ctx, q, t.salon, session, account, most, now, lock).Scan(&try, &until); err != nil {
		return 0, time.Time{}, domain("code", err, false)
	}
	if until != nil {
		locked = *until
	}
	return try, locked, nil
}

// ForgetTries takes back the wrong codes of a name on a shared screen.
func (t *Tx) ForgetTries(ctx context.Context, session, account string) error {
	_, err := t.tx.Exec(ctx, `DELETE FROM code_miss WHERE salon_id = $1 AND session_id = $2 AND account_id = $3`, t.salon, session, account)
	return domain("code", err, false)
}

// SignedIn is who uses a browser.
type SignedIn struct {
	Principal
	Session string
	Kind    string
	Name    string    // of the person, empty for nobody who has a name
	Until   time.Time // how long she is that person on a shared screen, else zero
}

// Press is what a request does to how long somebody is known on a shared screen.
type Press struct {
	Now time.Time
	// Stays is how long whoever said who she is remains that person; zero when the
	// request was made by no press.
	Stays time.Duration
}

// How exactly times of use are kept: a write for every request would be a waste.
const (
	usedWithin   = time.Minute
	personWithin = 15 * time.Second
)

// signedInRow is one browser as the query finds it.
type signedInRow struct {
	Salon       string     `db:"salon_id"`
	Session     string     `db:"session_id"`
	Kind        string     `db:"kind"`
	Account     string     `db:"account_id"`
	Staff       string     `db:"staff_id"`
	Roles       []Role     `db:"roles"`
	Name        string     `db:"name"`
	Left        bool       `db:"left_staff"`
	Person      *string    `db:"person_id"`
	PersonStaff string     `db:"person_staff"`
	PersonRoles []Role     `db:"person_roles"`
	PersonName  string     `db:"person_name"`
	PersonLeft  bool       `db:"person_left"`
	PersonUntil *time.Time `db:"person_until"`
}

const signedInQuery = `
	WITH hit AS (
		SELECT b.salon_id, b.session_id, b.kind, b.last_used_at, coalesce(b.account_id, '') AS account_id,
		       coalesce(a.staff_id, b.staff_id, '') AS staff_id, coalesce(a.roles, ARRAY[b.role]) AS roles,
		       coalesce(u.name, a.name, '') AS name, NOT coalesce(u.active, true) AS left_staff,
		       p.account_id AS person_id, coalesce(p.staff_id, '') AS person_staff, coalesce(p.roles, '{}') AS person_roles,
		       coalesce(pu.name, p.name, '') AS person_name, NOT coalesce(pu.active, true) AS person_left, b.person_until
		FROM sessions s JOIN browser_session b USING (token)
		LEFT JOIN account a ON a.salon_id = b.salon_id AND a.account_id = b.account_id
		LEFT JOIN unit u ON u.salon_id = b.salon_id AND u.unit_id = coalesce(a.staff_id, b.staff_id)
		LEFT JOIN account p ON p.salon_id = b.salon_id AND p.account_id = b.person_id AND b.person_until > $2 AND p.disabled_at IS NULL
		LEFT JOIN unit pu ON pu.salon_id = p.salon_id AND pu.unit_id = p.staff_id
		WHERE s.token = $1 AND b.ends_at > $2 AND b.last_used_at + b.idle > $2
		  AND a.disabled_at IS NULL AND (coalesce(u.active, true) OR 'owner' = ANY(a.roles))
	), touch AS (
		UPDATE browser_session b SET last_used_at = GREATEST(b.last_used_at, $2),
			person_until = CASE WHEN hit.person_id IS NOT NULL AND b.person_id = hit.person_id THEN GREATEST(b.person_until, $4) ELSE b.person_until END
		FROM hit WHERE b.salon_id = hit.salon_id AND b.session_id = hit.session_id
		  AND (hit.last_used_at < $3 OR hit.person_id IS NOT NULL AND hit.person_until < $5)
	)
	SELECT salon_id, session_id, kind, account_id, staff_id, roles, name, left_staff, person_id, person_staff, person_roles,
	       person_name, person_left, person_until FROM hit`

// WhoUses finds who uses the browser that holds a session, by the hash that the
// session library keeps of its token, in one query; scheduling.ErrNotFound when it
// is signed out, has not been used for too long, or its person may sign in no more.
// Uses are noted once a minute at most.
func (s *Store) WhoUses(ctx context.Context, token string, p Press) (SignedIn, error) {
	extended := p.Now.Add(p.Stays)
	writeBelow := extended.Add(-personWithin)
	if p.Stays == 0 {
		extended, writeBelow = p.Now, p.Now.Add(-time.Hour) // no press prolongs nothing
	}
	rows, err := s.pool.Query(ctx, signedInQuery, token, p.Now, p.Now.Add(-usedWithin), extended, writeBelow)
	if err != nil {
		return SignedIn{}, domain("session", err, false)
	}
	row, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[signedInRow])
	if err != nil {
		return SignedIn{}, domain("session", err, false)
	}
	out := row.signedIn()
	if out.Kind == SharedScreen && !out.ReadOnly && p.Stays > 0 && row.PersonUntil.Before(writeBelow) {
		out.Until = extended
	}
	return out, nil
}

// signedIn is who the row says it is: on a shared screen whoever has said who she
// is, and otherwise somebody of the desk who changes nothing.
func (r signedInRow) signedIn() SignedIn {
	out := SignedIn{Session: r.Session, Kind: r.Kind}
	switch {
	case r.Kind != SharedScreen:
		out.Name = r.Name
		out.Principal = principalOf(r.Salon, r.Account, r.Staff, r.Roles, r.Left)
		if r.Account == "" {
			out.TokenID = "session:" + r.Session
		}
	case r.Person != nil && (!r.PersonLeft || slices.Contains(r.PersonRoles, Owner)):
		out.Name, out.Until = r.PersonName, *r.PersonUntil
		out.Principal = principalOf(r.Salon, *r.Person, r.PersonStaff, r.PersonRoles, r.PersonLeft)
	default:
		out.Principal = Principal{Salon: r.Salon, Role: Desk, TokenID: "session:" + r.Session, ReadOnly: true}
	}
	return out
}

// principalOf is the person of an account. An owner who works at the chair no more
// keeps what needs nobody of the staff.
func principalOf(salon, account, staff string, roles []Role, left bool) Principal {
	roles = ranked(roles)
	if left {
		staff = ""
		roles = slices.DeleteFunc(roles, func(r Role) bool { return r == LeadRole || r == AssistantRole })
	}
	return Principal{Salon: salon, Role: roles[0], Roles: roles, TokenID: "account:" + account, StaffID: staff, Account: account}
}

// Sessions is where the session library keeps its tokens. Its errors are those of
// this package. Nobody cleans up beside the hourly job.
func (s *Store) Sessions() *TokenStore { return &TokenStore{s} }

// TokenStore keeps hashes of tokens in the table sessions.
type TokenStore struct{ store *Store }

func (x *TokenStore) table() *pgxstore.PostgresStore {
	return pgxstore.NewWithCleanupInterval(x.store.pool, 0)
}

// Find returns what is kept for a token, and whether there is something.
func (x *TokenStore) Find(token string) ([]byte, bool, error) {
	b, found, err := x.table().Find(token)
	return b, found, domain("find token", err, false)
}

// Commit keeps data for a token until it expires.
func (x *TokenStore) Commit(token string, data []byte, expires time.Time) error {
	return domain("keep token", x.table().Commit(token, data, expires), false)
}

// Delete forgets a token; it may be unknown.
func (x *TokenStore) Delete(token string) error {
	return domain("forget token", x.table().Delete(token), false)
}

// collectAll runs a query beyond salons and scans every row by its column names.
func collectAll[T any](ctx context.Context, s *Store, what, q string, args ...any) ([]T, error) {
	rows, err := s.pool.Query(ctx, q, args...)
	if err != nil {
		return nil, domain(what, err, false)
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByName[T])
	return out, domain(what, err, false)
}

package store

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
)

// SignedIn is who uses a browser.
type SignedIn struct {
	Principal
	Session string
	Kind    string
	Name    string    // of the person, empty for nobody who has a name
	Until   time.Time // how long she is that person on a shared screen, else zero
	Proven  time.Time // when she last gave her password in this browser, else zero
}

// Press is what a request does to how long a browser remains signed in, and somebody
// known on a shared screen.
type Press struct {
	Now time.Time
	// Pressed says that a person made the request, and not a page that keeps itself
	// fresh: only then does the browser count as used.
	Pressed bool
	// Stays is how long whoever said who she is remains that person after a press. Whom
	// a clock that was set back would let stay for more than twice as long is nobody.
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
	ProvenBy    *string    `db:"proven_by"`
	ProvenAt    *time.Time `db:"proven_at"`
	NeedsFactor bool       `db:"needs_factor"`
	Unnoted     bool       `db:"unnoted"` // its use is to be written down
}

// needsFactor holds for accounts a without a second step, in a salon where they need one
// today.
const needsFactor = `coalesce((SELECT (r.everybodys_second_factor OR r.owners_second_factor AND 'owner' = ANY(a.roles))
		AND coalesce(r.second_factor_from <= (now() AT TIME ZONE n.zone)::date, true)
		FROM access_rule r JOIN salon n USING (salon_id) WHERE r.salon_id = a.salon_id)
	AND NOT EXISTS (SELECT FROM second_factor f WHERE f.salon_id = a.salon_id AND f.account_id = a.account_id AND f.confirmed_at IS NOT NULL), false)`

// alive is whether a browser b is signed in at a moment. A clock that was ahead when
// it was used, and was set back since, gives it twice its time at the most.
func alive(now string) string {
	return `b.ends_at > ` + now + ` AND b.last_used_at + b.idle > ` + now + ` AND b.last_used_at - b.idle < ` + now
}

var signedInQuery = `
	WITH hit AS (
		SELECT b.salon_id, b.session_id, b.kind, b.last_used_at, coalesce(b.account_id, '') AS account_id,
		       coalesce(a.staff_id, b.staff_id, '') AS staff_id, coalesce(a.roles, ARRAY[b.role]) AS roles,
		       coalesce(u.name, a.name, '') AS name, NOT coalesce(u.active, true) AS left_staff,
		       p.account_id AS person_id, coalesce(p.staff_id, '') AS person_staff, coalesce(p.roles, '{}') AS person_roles,
		       coalesce(pu.name, p.name, '') AS person_name, NOT coalesce(pu.active, true) AS person_left, b.person_until,
		       b.proven_by, b.proven_at, b.kind <> 'shared' AND ` + needsFactor + ` AS needs_factor
		FROM sessions s JOIN browser_session b USING (token)
		LEFT JOIN account a ON a.salon_id = b.salon_id AND a.account_id = b.account_id
		LEFT JOIN unit u ON u.salon_id = b.salon_id AND u.unit_id = coalesce(a.staff_id, b.staff_id)
		LEFT JOIN account p ON p.salon_id = b.salon_id AND p.account_id = b.person_id AND b.person_until > $2 AND b.person_until <= $6 AND p.disabled_at IS NULL
		LEFT JOIN unit pu ON pu.salon_id = p.salon_id AND pu.unit_id = p.staff_id
		WHERE s.token = $1 AND ` + alive("$2") + `
		  AND a.disabled_at IS NULL AND (coalesce(u.active, true) OR 'owner' = ANY(a.roles))
		  AND (b.kind <> 'shared' OR a.roles && ARRAY['owner', 'desk'])
	)
	SELECT salon_id, session_id, kind, account_id, staff_id, roles, name, left_staff, person_id, person_staff, person_roles,
	       person_name, person_left, person_until, proven_by, proven_at, needs_factor,
	       $4 AND (last_used_at < $3 OR last_used_at > $7 OR person_id IS NOT NULL AND person_until < $5) AS unnoted FROM hit`

// noteSession notes that a session is used and its person is there.
const noteSession = `
	UPDATE browser_session b SET last_used_at = CASE WHEN b.last_used_at > $6 THEN $3 ELSE GREATEST(b.last_used_at, $3) END,
		person_until = CASE WHEN $4::text IS NOT NULL AND b.person_id = $4 THEN GREATEST(b.person_until, $5) ELSE b.person_until END
	WHERE b.salon_id = $1 AND b.session_id = $2`

// WhoUses finds who uses the browser that holds a session, by the hash that the
// session library keeps of its token, in one query; scheduling.ErrNotFound when it
// is signed out, has not been used for too long, or its person may sign in no more; a
// shared screen, when whoever shared it is not of the desk any more. Uses are noted
// once a minute at most.
func (s *Store) WhoUses(ctx context.Context, token string, p Press) (SignedIn, error) {
	extended := p.Now.Add(p.Stays)
	writeBelow := extended.Add(-personWithin)
	ahead := p.Now.Add(usedWithin) // of it is what was noted before a clock was set back
	rows, err := s.pool.Query(ctx, signedInQuery, token, p.Now, p.Now.Add(-usedWithin), p.Pressed, writeBelow, extended.Add(p.Stays), ahead)
	if err != nil {
		return SignedIn{}, domain("session", err, false)
	}
	row, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[signedInRow])
	if err != nil {
		return SignedIn{}, domain("session", err, false)
	}
	if row.Unnoted {
		if err := s.note(ctx, noteSession, row.Salon, row.Session, p.Now, row.Person, extended, ahead); err != nil {
			return SignedIn{}, err
		}
	}
	out := row.signedIn()
	if out.Kind == SharedScreen && !out.ReadOnly && p.Pressed && row.PersonUntil.Before(writeBelow) {
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
		out.NeedsFactor = r.NeedsFactor
		if r.Account == "" {
			out.TokenID = "session:" + r.Session
		}
	case r.Person != nil && (!r.PersonLeft || slices.Contains(r.PersonRoles, Owner)):
		out.Name, out.Until = r.PersonName, *r.PersonUntil
		out.Principal = principalOf(r.Salon, *r.Person, r.PersonStaff, r.PersonRoles, r.PersonLeft)
	default:
		out.Principal = Principal{Salon: r.Salon, Role: Desk, TokenID: "session:" + r.Session, ReadOnly: true}
	}
	if r.ProvenBy != nil && r.ProvenAt != nil && *r.ProvenBy == out.Account {
		out.Proven = *r.ProvenAt
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

// TokenStore keeps hashes of tokens in the table sessions. Each method has the time that
// its context has, and at most tokenAtMost, but goes on when that is called off: who
// signs out and closes the page is signed out.
type TokenStore struct{ store *Store }

// tokenAtMost is how long it may take to find, keep or forget one token, which takes
// milliseconds (judgement).
const tokenAtMost = 5 * time.Second

func tokenTime(ctx context.Context) (context.Context, context.CancelFunc) {
	end := time.Now().Add(tokenAtMost)
	if at, ok := ctx.Deadline(); ok && at.Before(end) {
		end = at
	}
	return context.WithDeadline(context.WithoutCancel(ctx), end)
}

// FindCtx returns what is kept for a token, and whether there is something.
func (x *TokenStore) FindCtx(ctx context.Context, token string) (data []byte, found bool, err error) {
	ctx, cancel := tokenTime(ctx)
	defer cancel()
	err = x.store.pool.QueryRow(ctx, `SELECT data FROM sessions WHERE token = $1 AND expiry > now()`, token).Scan(&data)
	return data, err == nil, domain("find token", err, true)
}

// CommitCtx keeps data for a token until it expires.
func (x *TokenStore) CommitCtx(ctx context.Context, token string, data []byte, expires time.Time) error {
	ctx, cancel := tokenTime(ctx)
	defer cancel()
	_, err := x.store.pool.Exec(ctx, `INSERT INTO sessions (token, data, expiry) VALUES ($1, $2, $3)
		ON CONFLICT (token) DO UPDATE SET data = EXCLUDED.data, expiry = EXCLUDED.expiry`, token, data, expires)
	return domain("keep token", err, false)
}

// DeleteCtx forgets a token; it may be unknown.
func (x *TokenStore) DeleteCtx(ctx context.Context, token string) error {
	ctx, cancel := tokenTime(ctx)
	defer cancel()
	_, err := x.store.pool.Exec(ctx, `DELETE FROM sessions WHERE token = $1`, token)
	return domain("forget token", err, false)
}

// Find is FindCtx without a request.
func (x *TokenStore) Find(token string) ([]byte, bool, error) {
	return x.FindCtx(context.Background(), token)
}

// Commit is CommitCtx without a request.
func (x *TokenStore) Commit(token string, data []byte, expires time.Time) error {
	return x.CommitCtx(context.Background(), token, data, expires)
}

// Delete is DeleteCtx without a request.
func (x *TokenStore) Delete(token string) error { return x.DeleteCtx(context.Background(), token) }

// collectAll runs a query beyond salons and scans every row by its column names.
func collectAll[T any](ctx context.Context, s *Store, what, q string, args ...any) ([]T, error) {
	rows, err := s.pool.Query(ctx, q, args...)
	if err != nil {
		return nil, domain(what, err, false)
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByName[T])
	return out, domain(what, err, false)
}

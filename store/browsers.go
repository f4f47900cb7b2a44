package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

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
// account notes when she signed in last, and that she gave her password just now.
func (t *Tx) AddBrowserSession(ctx context.Context, b BrowserSession) (string, error) {
	b.ID = NewID()
	const q = `
		INSERT INTO browser_session (salon_id, session_id, token, account_id, role, staff_id, kind, device, opened_at, last_used_at, ends_at, idle,
			proven_by, proven_at)
		VALUES ($1, $2, $3, NULLIF($4, ''), NULLIF($5, ''), NULLIF($6, ''), $7, $8, $9, $9, $10, $11, NULLIF($4, ''), CASE WHEN $4 <> '' THEN $9::timestamptz END)`
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
		WHERE b.salon_id = $1 AND b.account_id = $2 AND `+alive("$3")+`
		ORDER BY b.last_used_at DESC, b.session_id DESC`, t.salon, account, now)
}

// Browsers counts where each account of the salon is signed in at now.
func (t *Tx) Browsers(ctx context.Context, now time.Time) (map[string]int, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT b.account_id, count(*) FROM browser_session b JOIN sessions s USING (token)
		WHERE b.salon_id = $1 AND b.account_id IS NOT NULL AND `+alive("$2")+` GROUP BY 1`, t.salon, now)
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

// EndSessions signs an account out everywhere but in session or with token keep,
// which may be empty, and ends what it does on shared screens of others.
func (t *Tx) EndSessions(ctx context.Context, account, keep string) error {
	for _, q := range []string{
		`DELETE FROM browser_session WHERE salon_id = $1 AND account_id = $2 AND session_id <> $3`,
		`UPDATE access_token SET revoked_at = now() WHERE salon_id = $1 AND account_id = $2 AND token_id <> $3 AND revoked_at IS NULL`,
	} {
		if _, err := t.tx.Exec(ctx, q, t.salon, account, keep); err != nil {
			return domain("end sessions", err, false)
		}
	}
	return t.leaveScreens(ctx, account, keep)
}

// leaveScreens ends that an account is the one who works on shared screens, but in
// session keep.
func (t *Tx) leaveScreens(ctx context.Context, account, keep string) error {
	_, err := t.tx.Exec(ctx, `
		UPDATE browser_session SET person_id = NULL, person_until = NULL, proven_by = NULL, proven_at = NULL
		WHERE salon_id = $1 AND person_id = $2 AND session_id <> $3`, t.salon, account, keep)
	return domain("leave screens", err, false)
}

// ShareScreen makes a session one of a shared screen, with the limits of such.
func (t *Tx) ShareScreen(ctx context.Context, session string, ends time.Time, idle time.Duration) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE browser_session SET kind = 'shared', ends_at = $3, idle = $4 WHERE salon_id = $1 AND session_id = $2 AND account_id IS NOT NULL`,
		t.salon, session, ends, idle)
	return one("session", tag.RowsAffected(), err)
}

// SetPerson notes who works on a shared screen until when; an empty account means
// nobody. What her password had proved before counts no more.
func (t *Tx) SetPerson(ctx context.Context, session, account string, until time.Time) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE browser_session SET person_id = NULLIF($3, ''), person_until = CASE WHEN $3 <> '' THEN $4::timestamptz END,
		       proven_by = NULL, proven_at = NULL
		WHERE salon_id = $1 AND session_id = $2 AND kind = 'shared'`, t.salon, session, account, until)
	return one("session", tag.RowsAffected(), err)
}

// SetProven notes that the person of an account has just shown, by her password, that
// it is she who uses a browser.
func (t *Tx) SetProven(ctx context.Context, session, account string, at time.Time) error {
	tag, err := t.tx.Exec(ctx, `UPDATE browser_session SET proven_by = $3, proven_at = $4 WHERE salon_id = $1 AND session_id = $2`,
		t.salon, session, account, at)
	return one("session", tag.RowsAffected(), err)
}

// MoveSession gives a session another token, as the session library keeps it, or
// returns scheduling.ErrNotFound.
func (t *Tx) MoveSession(ctx context.Context, session, token string) error {
	tag, err := t.tx.Exec(ctx, `UPDATE browser_session SET token = $3 WHERE salon_id = $1 AND session_id = $2`, t.salon, session, token)
	return one("session", tag.RowsAffected(), err)
}

// EndToken signs the browser of a token out, whoever used it. It may be signed out
// already.
func (s *Store) EndToken(ctx context.Context, token string) error {
	var salon string
	err := s.pool.QueryRow(ctx, `DELETE FROM browser_session WHERE token = $1 RETURNING salon_id`, token).Scan(&salon)
	if err == nil {
		s.committed(salon, false)
	}
	return domain("end session", err, true)
}

// TokenAccount says whose browser a token signed in, also when it is signed out by now
// for having been used too little or too long. scheduling.ErrNotFound when nothing is
// known of it any more.
func (s *Store) TokenAccount(ctx context.Context, token string) (account, kind string, err error) {
	err = s.pool.QueryRow(ctx, `SELECT coalesce(account_id, ''), kind FROM browser_session WHERE token = $1`, token).Scan(&account, &kind)
	return account, kind, domain("session", err, false)
}

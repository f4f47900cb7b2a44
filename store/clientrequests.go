package store

import (
	"context"
	"time"

	"chairblock/scheduling"
)

// RequestKind says what a client asked for.
type RequestKind string

// What a client asks the salon for on her pages.
const (
	AskMove    RequestKind = "move"    // another time for a visit
	AskCancel  RequestKind = "cancel"  // of a visit, later than she may by herself
	AskDeposit RequestKind = "deposit" // what becomes of what she paid
	AskRetouch RequestKind = "retouch" // a call about coming again
	AskErase   RequestKind = "erase"   // of everything about her
)

// What became of a request.
const (
	RequestDone     = "done"
	RequestDeclined = "declined"
	RequestVoid     = "void" // what it was about has changed
)

// ClientRequest is something that a client asked for on her pages.
type ClientRequest struct {
	ID        string      `db:"request_id"`
	Client    string      `db:"client_id"`
	Visit     string      `db:"visit_id"` // "" when it is about none
	Kind      RequestKind `db:"kind"`
	Words     string      `db:"words"`    // at most 500 characters, as she put it
	Guardian  bool        `db:"guardian"` // asked by who answers for her
	Made      time.Time   `db:"made_at"`
	Settled   *time.Time  `db:"settled_at"`
	Outcome   string      `db:"outcome"` // "" while it is open
	SettledBy string      `db:"settled_by"`
	Note      string      `db:"note"`
}

const requestColumns = `request_id, client_id, coalesce(visit_id, '') AS visit_id, kind, words, guardian, made_at, settled_at,
	coalesce(outcome, '') AS outcome, settled_by, note`

// AddClientRequest notes a request; its id is chosen. One of the same kind about
// the same visit that is open already gets the new words instead.
func (t *Tx) AddClientRequest(ctx context.Context, r ClientRequest) (ClientRequest, error) {
	list, err := collect[ClientRequest](ctx, t, "ask", `UPDATE client_request SET words = $5, guardian = $6, made_at = $7
		WHERE salon_id = $1 AND client_id = $2 AND coalesce(visit_id, '') = $3 AND kind = $4 AND settled_at IS NULL
		RETURNING `+requestColumns, t.salon, r.Client, r.Visit, r.Kind, r.Words, r.Guardian, r.Made)
	if err != nil || len(list) > 0 {
		return append(list, r)[0], err
	}
	r.ID = NewID()
	_, err = t.tx.Exec(ctx, `INSERT INTO client_request (salon_id, request_id, client_id, visit_id, kind, words, guardian, made_at)
		VALUES ($1, $2, $3, nullif($4, ''), $5, $6, $7, $8)`, t.salon, r.ID, r.Client, r.Visit, r.Kind, r.Words, r.Guardian, r.Made)
	return r, domain("ask", err, false)
}

// OpenRequests lists what clients asked for and nobody has settled, oldest first.
func (t *Tx) OpenRequests(ctx context.Context) ([]ClientRequest, error) {
	return collect[ClientRequest](ctx, t, "requests", `SELECT `+requestColumns+` FROM client_request
		WHERE salon_id = $1 AND settled_at IS NULL ORDER BY made_at, request_id LIMIT 500`, t.salon)
}

// RequestsOf lists everything that a client ever asked for, newest first.
func (t *Tx) RequestsOf(ctx context.Context, client string) ([]ClientRequest, error) {
	return collect[ClientRequest](ctx, t, "requests", `SELECT `+requestColumns+` FROM client_request
		WHERE salon_id = $1 AND client_id = $2 ORDER BY request_id DESC LIMIT 500`, t.salon, client)
}

// SettleRequest notes what became of a request: its outcome, by whom and when. It
// returns scheduling.ErrNotFound when there is none and scheduling.ErrStale when
// it was settled before.
func (t *Tx) SettleRequest(ctx context.Context, r ClientRequest) (ClientRequest, error) {
	list, err := collect[ClientRequest](ctx, t, "settle request", `UPDATE client_request
		SET settled_at = $3, outcome = $4, settled_by = $5, note = $6
		WHERE salon_id = $1 AND request_id = $2 AND settled_at IS NULL RETURNING `+requestColumns,
		t.salon, r.ID, r.Settled, r.Outcome, r.SettledBy, r.Note)
	if err != nil {
		return r, err
	}
	if len(list) == 0 {
		return r, t.staleOrMissing(ctx, `SELECT 1 FROM client_request WHERE salon_id = $1 AND request_id = $2`, r.ID)
	}
	return list[0], nil
}

// mostAhead is how many visits to come a client's own pages show (judgement).
const mostAhead = 20

// VisitsInView lists the visits of a client that she looks at: the next ones that
// are pencilled, booked or going on, and the last one in which her hair was treated;
// newest first.
func (t *Tx) VisitsInView(ctx context.Context, client string) ([]Visit, error) {
	return t.visits(ctx, `AND client_id = $2 AND visit_id IN (
		(SELECT visit_id FROM visit WHERE salon_id = $1 AND client_id = $2 AND state IN ('held', 'booked', 'arrived', 'under_way') ORDER BY starts_at LIMIT $3)
		UNION ALL
		(SELECT p.visit_id FROM visit p WHERE p.salon_id = $1 AND p.client_id = $2 AND p.state IN ('finished', 'stopped_early') AND EXISTS (
			SELECT 1 FROM visit_service x JOIN service_version k USING (salon_id, service_id, service_version)
			WHERE x.salon_id = p.salon_id AND x.visit_id = p.visit_id AND k.aftercare) ORDER BY p.starts_at DESC LIMIT 1)
		) ORDER BY starts_at DESC, visit_id`, client, mostAhead)
}

// What a client does with a visit by herself.
const (
	BookedByClient    = "booked"
	MovedByClient     = "moved"
	CancelledByClient = "cancelled"
)

// NoteByClient notes that a client did something with a visit by herself, or
// returns scheduling.ErrNotFound when there is no such visit.
func (t *Tx) NoteByClient(ctx context.Context, visit, what string, now time.Time) error {
	tag, err := t.tx.Exec(ctx, `INSERT INTO client_act (salon_id, visit_id, act_id, what, done_at)
		SELECT salon_id, visit_id, $3, $4, $5 FROM visit WHERE salon_id = $1 AND visit_id = $2`, t.salon, visit, NewID(), what, now)
	return one("visit", tag.RowsAffected(), err)
}

// BookedByClient tells which of some visits their clients booked by themselves.
func (t *Tx) BookedByClient(ctx context.Context, visits ...string) (map[string]bool, error) {
	out := map[string]bool{}
	if len(visits) == 0 || t.bare("client_act", visits...) {
		return out, nil
	}
	rows, err := collect[struct {
		Visit string `db:"visit_id"`
	}](ctx, t, "visits of clients", `SELECT DISTINCT visit_id FROM client_act WHERE salon_id = $1 AND visit_id = ANY($2) AND what = 'booked'`, t.salon, visits)
	for _, r := range rows {
		out[r.Visit] = true
	}
	return out, err
}

// ClientMayErase tells whether clients may have everything about them deleted
// without asking the desk.
func (t *Tx) ClientMayErase(ctx context.Context) (bool, error) {
	var yes bool
	err := t.tx.QueryRow(ctx, `SELECT client_may_erase FROM salon WHERE salon_id = $1`, t.salon).Scan(&yes)
	return yes, domain("privacy", err, false)
}

// SetClientMayErase changes that, when the salon's version is still the given one,
// and does not raise it; otherwise scheduling.ErrStale.
func (t *Tx) SetClientMayErase(ctx context.Context, version int64, may bool) error {
	tag, err := t.tx.Exec(ctx, `UPDATE salon SET client_may_erase = $3 WHERE salon_id = $1 AND version = $2`, t.salon, version, may)
	if err == nil && tag.RowsAffected() == 0 {
		return scheduling.ErrStale
	}
	return domain("privacy", err, false)
}

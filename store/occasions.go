package store

import (
	"context"
	"encoding/json"
	"time"
)

// TakeBack takes back messages that have not gone out, by id, and their jobs.
func (t *Tx) TakeBack(ctx context.Context, ids ...string) error {
	if len(ids) == 0 {
		return nil
	}
	return t.withdraw(ctx, `reminder_id = ANY($2)`, ids)
}

// WaitingForStaff lists messages of a kind to one of the staff that are still
// waiting, oldest first. Until the transaction ends nobody else adds to what the
// same person is told.
func (t *Tx) WaitingForStaff(ctx context.Context, staff, kind string) ([]Reminder, error) {
	_, err := t.tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended(concat_ws('/', 'tells', $1::text, $2::text), 0))`, t.salon, staff)
	if err != nil {
		return nil, domain("messages to staff", err, false)
	}
	return collect[Reminder](ctx, t, "messages to staff", `SELECT `+reminderColumns+` FROM reminder
		WHERE salon_id = $1 AND staff_id = $2 AND kind = $3 AND state = 'waiting' ORDER BY reminder_id FOR UPDATE`, t.salon, staff, kind)
}

// SetDetail writes what a message that is still waiting keeps.
func (t *Tx) SetDetail(ctx context.Context, id string, detail json.RawMessage) error {
	_, err := t.tx.Exec(ctx, `UPDATE reminder SET detail = $3 WHERE salon_id = $1 AND reminder_id = $2 AND state = 'waiting'`, t.salon, id, detail)
	return domain("detail of message", err, false)
}

// WaitingOfKind lists messages of a kind that are still waiting, oldest first.
func (t *Tx) WaitingOfKind(ctx context.Context, kind string) ([]Reminder, error) {
	return collect[Reminder](ctx, t, "messages", `SELECT `+reminderColumns+` FROM reminder
		WHERE salon_id = $1 AND kind = $2 AND state = 'waiting' ORDER BY reminder_id FOR UPDATE`, t.salon, kind)
}

// CourseVisit is a visit as far as others of the same client depend on it.
type CourseVisit struct {
	Visit    string     `db:"visit_id"`
	State    VisitState `db:"state"`
	Start    time.Time  `db:"starts_at"`
	End      time.Time  `db:"ends_at"` // the real one, where it is known
	Treats   bool       `db:"treats"`  // hair has to be left alone after it
	Parent   *string    `db:"parent_id"`
	ParentAs *string    `db:"parent_as"`
	Waits    bool       `db:"waits"` // a message to the client waits because of it
}

// Course lists every visit of a client in short, by start. Cancelled, missed and
// lapsed ones are left out, unless a message still waits because of them.
func (t *Tx) Course(ctx context.Context, client string) ([]CourseVisit, error) {
	return collect[CourseVisit](ctx, t, "course of visits", `
		SELECT * FROM (
			SELECT v.visit_id, v.state, v.starts_at, coalesce(v.finished_at, v.ends_at) AS ends_at, v.parent_id, v.parent_as, EXISTS (
				SELECT 1 FROM visit_service x JOIN service_version k USING (salon_id, service_id, service_version)
				WHERE x.salon_id = v.salon_id AND x.visit_id = v.visit_id AND k.aftercare
			) AS treats, EXISTS (
				SELECT 1 FROM reminder r WHERE r.salon_id = v.salon_id AND r.visit_id = v.visit_id AND r.state = 'waiting' AND r.staff_id IS NULL
			) AS waits
			FROM visit v WHERE v.salon_id = $1 AND v.client_id = $2
		) c WHERE waits OR state NOT IN ('cancelled', 'missed', 'lapsed') ORDER BY starts_at, visit_id`, t.salon, client)
}

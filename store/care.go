package store

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/riverqueue/river"
)

// SetCareRules writes how long hair is left alone here and when clients are
// called back, when the salon's version is still the given one, and returns the
// new row; otherwise scheduling.ErrStale. Calendars are read anew.
func (t *Tx) SetCareRules(ctx context.Context, version int64, rules json.RawMessage) (Salon, error) {
	tag, err := t.tx.Exec(ctx, `UPDATE salon SET care = $3, version = version + 1 WHERE salon_id = $1 AND version = $2`, t.salon, version, rules)
	if err != nil {
		return Salon{}, domain("care rules", err, false)
	}
	if tag.RowsAffected() == 0 {
		return Salon{}, t.staleOrMissing(ctx, `SELECT 1 FROM salon WHERE salon_id = $1 AND $2 <> ''`, t.salon)
	}
	if err := t.touchAllFeeds(ctx); err != nil {
		return Salon{}, err
	}
	return t.SalonRow(ctx)
}

// PartsInCare lists the days of aftercare and retouch that calendars still show
// after a moment, of one client or, with an empty id, of all. The visits are
// locked for the rest of the transaction.
func (t *Tx) PartsInCare(ctx context.Context, client string, after time.Time) ([]Part, error) {
	return collect[Part](ctx, t, "parts in care", `
		SELECT p.visit_id, p.subject, p.ordinal, p.uid, p.sequence, p.changed_at, p.starts_at, p.ends_at, p.kind, p.shown, p.live
		FROM visit_part p JOIN visit v USING (salon_id, visit_id)
		WHERE p.salon_id = $1 AND p.kind IN ('aftercare', 'retouch') AND p.live AND p.ends_at > $3 AND ($2 = '' OR v.client_id = $2)
		ORDER BY p.visit_id COLLATE "C", p.kind FOR UPDATE OF v`, t.salon, client, after)
}

// SyncClientPartsOf is SyncClientParts for several visits of one transaction.
func (t *Tx) SyncClientPartsOf(ctx context.Context, list []VisitParts) error {
	at := make(map[string]int, len(list))
	ids := make([]string, len(list))
	for i, x := range list {
		at[x.Visit], ids[i] = i, x.Visit
	}
	staff, err := collect[Part](ctx, t, "parts", `SELECT `+partColumns+` FROM visit_part
		WHERE salon_id = $1 AND visit_id = ANY($2) AND live AND kind IN ('hands_on', 'watched', 'away')`, t.salon, ids)
	if err != nil {
		return err
	}
	for _, p := range staff {
		i := at[p.Visit]
		list[i].Want = append(list[i].Want, p)
	}
	return t.SyncPartsOf(ctx, list)
}

// RescheduleReminder makes a message that is still waiting due at another time,
// and its job with it. Messages that have gone out stay as they are.
func (t *Tx) RescheduleReminder(ctx context.Context, id string, due time.Time) error {
	r, waiting, err := t.waitingReminder(ctx, id)
	if err != nil || !waiting || r.Due.Equal(due) {
		return err
	}
	if r.Job != nil {
		// A job that ended long ago is not kept.
		if _, err := t.jobs.JobCancelTx(ctx, t.tx, *r.Job); err != nil && !errors.Is(err, river.ErrNotFound) {
			return domain("cancel job", err, false)
		}
	}
	job, err := t.jobs.InsertTx(ctx, t.tx, reminderArgs{t.salon, id}, &river.InsertOpts{ScheduledAt: due})
	if err != nil {
		return domain("enqueue reminder", err, false)
	}
	_, err = t.tx.Exec(ctx, `UPDATE reminder SET due_at = $3, job_id = $4 WHERE salon_id = $1 AND reminder_id = $2`, t.salon, id, due, job.Job.ID)
	return domain("reschedule reminder", err, false)
}

// retouchOf is the start of the day of a visit's retouch as calendars show it,
// nil when they show none.
func (t *Tx) retouchOf(ctx context.Context, visit string) (*time.Time, error) {
	list, err := collect[Part](ctx, t, "retouch", `SELECT `+partColumns+` FROM visit_part
		WHERE salon_id = $1 AND visit_id = $2 AND kind = 'retouch' AND live`, t.salon, visit)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	return &list[0].Start, nil
}

package store

import (
	"context"
	"encoding/json"
	"time"
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
		WHERE salon_id = $1 AND visit_id = ANY($2) AND live AND `+ofSalon, t.salon, ids)
	if err != nil {
		return err
	}
	for _, p := range staff {
		i := at[p.Visit]
		list[i].Want = append(list[i].Want, p)
	}
	return t.SyncPartsOf(ctx, list)
}

// Rescheduled is a message and when it is due instead.
type Rescheduled struct {
	Reminder string
	Due      time.Time
}

// RescheduleReminders makes messages that are still waiting due at other times,
// and their jobs with them. Messages that have gone out stay as they are.
func (t *Tx) RescheduleReminders(ctx context.Context, list []Rescheduled) error {
	if len(list) == 0 {
		return nil
	}
	ids, due := make([]string, len(list)), make([]time.Time, len(list))
	for i, r := range list {
		ids[i], due[i] = r.Reminder, r.Due
	}
	// In the order of their ids, as whoever withdraws several.
	const q = `
		WITH wanted AS (SELECT * FROM unnest($2::text[], $3::timestamptz[]) AS w (reminder_id, due_at)),
		waiting AS (
			SELECT r.reminder_id, r.job_id, w.due_at FROM reminder r JOIN wanted w USING (reminder_id)
			WHERE r.salon_id = $1 AND r.state = 'waiting' AND r.due_at <> w.due_at ORDER BY r.reminder_id FOR UPDATE OF r
		), moved AS (
			UPDATE reminder r SET due_at = w.due_at, next_at = NULL FROM waiting w WHERE r.salon_id = $1 AND r.reminder_id = w.reminder_id
		)
		UPDATE river_job j SET scheduled_at = w.due_at, state = 'scheduled' FROM waiting w
		WHERE j.id = w.job_id AND j.kind = 'reminder' AND j.state IN ('available', 'scheduled', 'retryable')`
	_, err := t.tx.Exec(ctx, q, t.salon, ids, due)
	return domain("reschedule reminders", err, false)
}

// ClientGrowth is what is known of the growth of a client's hair without looking
// any closer.
type ClientGrowth struct {
	Client   string `db:"client_id"`
	Seen     string `db:"growth"`   // as in Client
	Measured int    `db:"measured"` // on how many days new hair was measured
}

// ClientsGrowth returns the growth of some clients.
func (t *Tx) ClientsGrowth(ctx context.Context, clients []string) ([]ClientGrowth, error) {
	return collect[ClientGrowth](ctx, t, "growth", `
		SELECT c.client_id, c.growth, (
			SELECT count(DISTINCT h.measured_on) FROM head h
			WHERE h.salon_id = c.salon_id AND h.client_id = c.client_id AND (h.hair->>'regrowth_cm')::float > 0
		)::int AS measured
		FROM client c WHERE c.salon_id = $1 AND c.client_id = ANY($2)`, t.salon, clients)
}

// RemindersOfVisits lists the messages of several visits that are still waiting.
func (t *Tx) RemindersOfVisits(ctx context.Context, visits []string) ([]Reminder, error) {
	return collect[Reminder](ctx, t, "reminders", `SELECT `+reminderColumns+` FROM reminder
		WHERE salon_id = $1 AND visit_id = ANY($2) AND state = 'waiting'`, t.salon, visits)
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

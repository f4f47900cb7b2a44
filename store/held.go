package store

import (
	"context"
	"time"

	"github.com/riverqueue/river"
)

// lapse is a query that ends the pencilled visits of salon $1, or of all salons
// when that is null, whose time was over at $2, frees their blocks and takes back
// what their clients were to hear of them. It leaves out those that somebody else is changing; lapseListed, which is for
// the visits $3, waits for them.
const (
	lapse       = overDue + `ORDER BY salon_id, visit_id FOR UPDATE SKIP LOCKED` + endThem
	lapseListed = overDue + `AND visit_id = ANY($3) ORDER BY salon_id, visit_id FOR UPDATE` + endThem

	anyLapsed = `SELECT EXISTS (SELECT FROM visit WHERE salon_id = $1 AND state = 'held' AND held_until <= $2)`

	overDue = `
	WITH over AS (
		SELECT salon_id, visit_id FROM visit
		WHERE state = 'held' AND held_until <= $2 AND ($1::text IS NULL OR salon_id = $1)
		`
	endThem = `
	), lapsed AS (
		UPDATE visit v SET state = 'lapsed', version = version + 1, changed_at = now()
		FROM over WHERE v.salon_id = over.salon_id AND v.visit_id = over.visit_id
	), unsaid AS (
		UPDATE reminder r SET state = 'withdrawn', next_at = NULL, done_at = clock_timestamp()
		FROM over WHERE r.salon_id = over.salon_id AND r.visit_id = over.visit_id AND r.state IN ('waiting', 'failed')
	), freed AS (
		DELETE FROM block b USING over WHERE b.salon_id = over.salon_id AND b.visit_id = over.visit_id
	)
	SELECT count(*)::int FROM over`
)

// LapseHeld ends every pencilled visit whose time was over at now and frees its
// blocks. Whoever writes blocks calls it first, so that nobody waits for a job.
// A visit that somebody else is changing at this moment is left to them; only
// who needs its time waits for them, when the blocks are written.
func (t *Tx) LapseHeld(ctx context.Context, now time.Time) error {
	t.lapsed = now
	var any bool // mostly not, and to end none takes as long as to end some
	err := t.tx.QueryRow(ctx, anyLapsed, t.salon, now).Scan(&any)
	if err != nil || !any {
		return domain("pencilled visits", err, false)
	}
	return t.lapse(ctx, lapse, t.salon, now)
}

// lapseThese is LapseHeld, again, for visits that may have been left to somebody
// else, and waits for them. Without LapseHeld before it, nothing lapses.
func (t *Tx) lapseThese(ctx context.Context, visits []string) error {
	if t.lapsed.IsZero() {
		return nil
	}
	return t.lapse(ctx, lapseListed, t.salon, t.lapsed, visits)
}

func (t *Tx) lapse(ctx context.Context, q string, args ...any) error {
	var visits int
	err := t.tx.QueryRow(ctx, q, args...).Scan(&visits)
	*t.altered = *t.altered || visits > 0
	t.happened(VisitLapsed, visits)
	return domain("lapse pencilled visits", err, false)
}

// Holds lists the visits that are pencilled at now, those that lapse first
// before the others.
func (t *Tx) Holds(ctx context.Context, now time.Time) ([]Visit, error) {
	return t.visits(ctx, `AND state = 'held' AND held_until > $2 ORDER BY held_until, visit_id`, now)
}

// BookHeld books a locked visit for v.Client, with v.Note and v.ApprovedBy. One
// that is still pencilled keeps its blocks all the while; one that has lapsed
// has none, and needs ReplacePlan in the same transaction. It returns
// ErrClientBusy when the client has another visit at that time, and
// scheduling.ErrNotFound for a visit that is neither.
func (t *Tx) BookHeld(ctx context.Context, v *Visit) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE visit SET state = 'booked', client_id = nullif($3, ''), title = '', note = $4, approved_by = $5, held_until = NULL,
			version = version + 1, changed_at = now()
		WHERE salon_id = $1 AND visit_id = $2 AND state IN ('held', 'lapsed')`, t.salon, v.ID, v.Client, v.Note, v.ApprovedBy)
	if err := one("book pencilled visit", tag.RowsAffected(), err); err != nil {
		return err
	}
	*t.altered = true
	t.happened(VisitBooked, 1)
	v.State, v.Title, v.HeldUntil = Booked, "", nil
	v.Version++
	return nil
}

// HoldUntil lets a locked visit that is pencilled stay so until until, or
// returns scheduling.ErrNotFound.
func (t *Tx) HoldUntil(ctx context.Context, v *Visit, until time.Time) error {
	tag, err := t.tx.Exec(ctx, `
		UPDATE visit SET held_until = $3, version = version + 1, changed_at = now()
		WHERE salon_id = $1 AND visit_id = $2 AND state = 'held'`, t.salon, v.ID, until)
	if err := one("pencil longer", tag.RowsAffected(), err); err != nil {
		return err
	}
	*t.altered = true
	v.HeldUntil = &until
	v.Version++
	return t.lapseAt(ctx, until)
}

// lapseArgs is the job that ends what is pencilled until Until. It reads no
// clock: it runs at that time or later, and what was pencilled for longer in the
// meantime is not over at Until.
type lapseArgs struct {
	Salon string    `json:"salon"`
	Until time.Time `json:"until"`
}

// Kind names the job.
func (lapseArgs) Kind() string { return "lapse" }

// lapseAt enqueues that job in this transaction.
func (t *Tx) lapseAt(ctx context.Context, until time.Time) error {
	_, err := t.jobs.InsertTx(ctx, t.tx, lapseArgs{t.salon, until}, &river.InsertOpts{ScheduledAt: until})
	return domain("enqueue lapse", err, false)
}

type lapseWorker struct {
	river.WorkerDefaults[lapseArgs]
	store *Store
}

// Work ends the visit that the job was enqueued for, and any other that is over.
func (w *lapseWorker) Work(ctx context.Context, job *river.Job[lapseArgs]) error {
	return w.store.InTx(ctx, job.Args.Salon, func(t *Tx) error { return t.LapseHeld(ctx, job.Args.Until) })
}

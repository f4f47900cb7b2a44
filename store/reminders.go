package store

import (
	"context"
	"errors"
	"time"

	"github.com/riverqueue/river"
)

// ReminderState says what became of a message.
type ReminderState string

// States of a message.
const (
	Waiting   ReminderState = "waiting"
	Sent      ReminderState = "sent"
	ToCall    ReminderState = "to_call"    // the client wishes a call or a text: the desk's list
	Withdrawn ReminderState = "withdrawn"  // the visit changed first
	NotWanted ReminderState = "not_wanted" // no way to reach the client, or none wished
	Failed    ReminderState = "failed"     // the mail server refused it for good
)

// Reminder is one message that is due because of a visit.
type Reminder struct {
	ID        string        `db:"reminder_id"`
	Visit     string        `db:"visit_id"`
	Kind      string        `db:"kind"`
	Due       time.Time     `db:"due_at"`
	State     ReminderState `db:"state"`
	MessageID string        `db:"message_id"`
	Job       *int64        `db:"job_id"`
	Before    *time.Time    `db:"before_at"` // start that a moved visit had
	Done      *time.Time    `db:"done_at"`
	Problem   string        `db:"problem"`
}

const reminderColumns = `reminder_id, visit_id, kind, due_at, state, message_id, job_id, before_at, done_at, problem`

// reminderArgs is the job that sends one reminder. It carries ids only.
type reminderArgs struct {
	Salon    string `json:"salon"`
	Reminder string `json:"reminder"`
}

// Kind names the job.
func (reminderArgs) Kind() string { return "reminder" }

// InsertOpts makes a reminder's job unique.
func (reminderArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: 12, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// AddReminder notes a message and enqueues its job in this transaction: both
// are there or neither.
func (t *Tx) AddReminder(ctx context.Context, r Reminder) (Reminder, error) {
	if r.ID == "" {
		r.ID = NewID()
	}
	r.State = Waiting
	job, err := t.jobs.InsertTx(ctx, t.tx, reminderArgs{t.salon, r.ID}, &river.InsertOpts{ScheduledAt: r.Due})
	if err != nil {
		return r, domain("enqueue reminder", err, false)
	}
	r.Job = &job.Job.ID
	_, err = t.tx.Exec(ctx, `
		INSERT INTO reminder (salon_id, reminder_id, visit_id, kind, due_at, message_id, job_id, before_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`, t.salon, r.ID, r.Visit, r.Kind, r.Due, r.MessageID, r.Job, r.Before)
	return r, domain("add reminder", err, false)
}

// WithdrawReminders takes back every message of a visit that is still
// waiting, and its job.
func (t *Tx) WithdrawReminders(ctx context.Context, visit string) error {
	return t.withdraw(ctx, `visit_id = $2`, visit)
}

// WithdrawOlderRetouch takes back the retouch of a client's other visits, both
// the message and the day in the calendar: a newer treatment counts.
func (t *Tx) WithdrawOlderRetouch(ctx context.Context, client, visit string) error {
	err := t.withdraw(ctx, `kind = 'retouch' AND visit_id <> $3 AND visit_id IN (
		SELECT visit_id FROM visit WHERE salon_id = $1 AND client_id = $2)`, client, visit)
	if err != nil {
		return err
	}
	if err := t.lockFeeds(ctx, false); err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx, `
		WITH old AS (
			SELECT p.visit_id, p.subject, p.ordinal FROM visit_part p JOIN visit v USING (salon_id, visit_id)
			WHERE p.salon_id = $1 AND p.kind = 'retouch' AND p.live AND p.visit_id <> $3 AND v.client_id = $2`+partsInOrder+`
		)
		UPDATE visit_part p SET sequence = sequence + 1, changed_at = `+later+`, live = false FROM old
		WHERE p.salon_id = $1 AND p.visit_id = old.visit_id AND p.subject = old.subject AND p.ordinal = old.ordinal`,
		t.salon, client, visit)
	if err != nil || tag.RowsAffected() == 0 {
		return domain("older retouch", err, false)
	}
	return t.touchFeeds(ctx, []string{client})
}

func (t *Tx) withdraw(ctx context.Context, where string, args ...any) error {
	list, err := collect[Reminder](ctx, t, "withdraw reminders", `
		UPDATE reminder SET state = 'withdrawn', done_at = now()
		WHERE salon_id = $1 AND state = 'waiting' AND `+where+`
		RETURNING `+reminderColumns, append([]any{t.salon}, args...)...)
	if err != nil {
		return err
	}
	for _, r := range list {
		if r.Job == nil {
			continue
		}
		// A job that ended long ago is not kept.
		if _, err := t.jobs.JobCancelTx(ctx, t.tx, *r.Job); err != nil && !errors.Is(err, river.ErrNotFound) {
			return domain("cancel job", err, false)
		}
	}
	return nil
}

// Reminders lists messages that are due from..to, by time.
func (t *Tx) Reminders(ctx context.Context, from, to time.Time) ([]Reminder, error) {
	return collect[Reminder](ctx, t, "reminders", `SELECT `+reminderColumns+` FROM reminder
		WHERE salon_id = $1 AND due_at >= $2 AND due_at < $3 ORDER BY due_at, reminder_id`, t.salon, from, to)
}

// RemindersOf lists the messages of one visit, by time.
func (t *Tx) RemindersOf(ctx context.Context, visit string) ([]Reminder, error) {
	return collect[Reminder](ctx, t, "reminders", `SELECT `+reminderColumns+` FROM reminder
		WHERE salon_id = $1 AND visit_id = $2 ORDER BY due_at, reminder_id`, t.salon, visit)
}

// waitingReminder returns a reminder that is still waiting, and false when it
// is gone or settled. It waits for whoever is about to withdraw it.
func (t *Tx) waitingReminder(ctx context.Context, id string) (Reminder, bool, error) {
	list, err := collect[Reminder](ctx, t, "reminder", `SELECT `+reminderColumns+` FROM reminder
		WHERE salon_id = $1 AND reminder_id = $2 AND state = 'waiting' FOR UPDATE`, t.salon, id)
	if err != nil || len(list) == 0 {
		return Reminder{}, false, err
	}
	return list[0], true, nil
}

// settleReminder notes what became of a message. One that was withdrawn while
// it was being sent is noted as sent, because it was.
func (t *Tx) settleReminder(ctx context.Context, id string, state ReminderState, problem string) error {
	_, err := t.tx.Exec(ctx, `
		UPDATE reminder SET state = $3, problem = $4, done_at = now()
		WHERE salon_id = $1 AND reminder_id = $2 AND (state = 'waiting' OR (state = 'withdrawn' AND $3 = 'sent'))`,
		t.salon, id, state, problem)
	return domain("settle reminder", err, false)
}

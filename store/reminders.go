package store

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"time"

	"github.com/riverqueue/river"
)

// ReminderState says what became of a message.
type ReminderState string

// States of a message.
const (
	Waiting   ReminderState = "waiting"
	Sending   ReminderState = "sending" // a worker has it: nobody can tell yet whether it has gone out
	Sent      ReminderState = "sent"
	ToCall    ReminderState = "to_call"    // the client wishes a call or a text: the desk's list
	Withdrawn ReminderState = "withdrawn"  // the visit changed first
	NotWanted ReminderState = "not_wanted" // no way to reach the client, or none wished
	Failed    ReminderState = "failed"     // refused for good, or given up: nobody will try again by himself
)

// Ways in which a message leaves.
const (
	ByMail    = "mail"
	ByWebhook = "webhook" // to the salon's gateway, as a text message
)

// Reminder is one message that is due because of a visit.
type Reminder struct {
	ID        string          `db:"reminder_id"`
	Visit     string          `db:"visit_id"`
	Staff     string          `db:"staff_id"` // to whom of the staff, "" for the client of the visit
	Kind      string          `db:"kind"`     // small letters and underlines, at most 40
	Due       time.Time       `db:"due_at"`
	State     ReminderState   `db:"state"`
	MessageID string          `db:"message_id"` // one for each reason to write: it never changes
	Job       *int64          `db:"job_id"`
	Before    *time.Time      `db:"before_at"`  // start that a moved visit had
	Detail    json.RawMessage `db:"detail"`     // what the words need beside the visit; nothing about health
	Reason    string          `db:"reason"`     // why it was put in line, in a few words; at most 200 characters
	Channel   string          `db:"channel"`    // of the last try: ByMail, ByWebhook, "" before there was one
	Sending   *time.Time      `db:"sending_at"` // since when a worker has it
	Next      *time.Time      `db:"next_at"`    // when it is tried again
	Tries     int             `db:"tries"`      // since it was put in line, the one under way included
	Rounds    int             `db:"rounds"`     // how often it was put in line again by hand
	Done      *time.Time      `db:"done_at"`
	Problem   string          `db:"problem"`
}

const reminderColumns = `reminder_id, visit_id, COALESCE(staff_id, '') AS staff_id, kind, due_at, state, message_id, job_id, before_at,
	detail, reason, channel, sending_at, next_at, tries, rounds, done_at, problem`

// messages is the queue of jobs that send: a slow server does not hold up others.
const messages = "messages"

// reminderArgs is the job that sends one reminder. It carries ids only.
type reminderArgs struct {
	Salon    string `json:"salon"`
	Reminder string `json:"reminder"`
	Round    int    `json:"round,omitempty"` // so that putting it in line again is another job
}

// Kind names the job.
func (reminderArgs) Kind() string { return "reminder" }

// InsertOpts makes a reminder's job unique. How often sending is tried does not
// stand here: what the queue counts are only runs that died or could not reach
// the database, 25 as the library has it.
func (reminderArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: messages, MaxAttempts: 25, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// AddReminder notes a message and enqueues its job in this transaction: both
// are there or neither. When there is a message with the same MessageID already,
// whatever became of it, nothing is done and that one is returned: one message
// for one reason.
func (t *Tx) AddReminder(ctx context.Context, r Reminder) (Reminder, error) {
	list, err := t.AddReminders(ctx, []Reminder{r})
	if err != nil {
		return r, err
	}
	return list[0], nil
}

// AddReminders is AddReminder for several messages, in as many statements as for one.
// It returns them in their order.
func (t *Tx) AddReminders(ctx context.Context, list []Reminder) ([]Reminder, error) {
	if len(list) == 0 {
		return nil, nil
	}
	out := slices.Clone(list)
	all := make([]*Reminder, len(out))
	for i := range out {
		out[i].ID, out[i].State = cmp.Or(out[i].ID, NewID()), Waiting
		all[i] = &out[i]
	}
	// The jobs come first, so that messages go in with the numbers of theirs.
	if err := t.makeJobs(ctx, all); err != nil {
		return nil, err
	}
	var c reminderColumnsOf
	for _, r := range out {
		c.add(r)
	}
	added, err := t.ids(ctx, "add reminders", `
		INSERT INTO reminder (salon_id, reminder_id, visit_id, staff_id, kind, due_at, message_id, before_at, detail, reason, job_id)
		SELECT $1, id, visit, NULLIF(staff, ''), kind, due, message, was, detail, reason, job
		FROM unnest($2::text[], $3::text[], $4::text[], $5::text[], $6::timestamptz[], $7::text[], $8::timestamptz[], $9::jsonb[], $10::text[], $11::bigint[])
			WITH ORDINALITY n(id, visit, staff, kind, due, message, was, detail, reason, job, n) ORDER BY n
		ON CONFLICT (salon_id, message_id) DO NOTHING RETURNING reminder_id`,
		t.salon, c.ids, c.visits, c.staff, c.kinds, c.due, c.messages, c.before, c.details, c.reasons, c.jobs)
	if err != nil {
		return nil, err
	}
	for i := range out {
		r := &out[i]
		if slices.Contains(added, r.ID) {
			continue
		}
		if _, err := t.jobs.JobDeleteTx(ctx, t.tx, *r.Job); err != nil {
			return nil, domain("add reminders", err, false)
		}
		if *r, err = t.reminderWhere(ctx, `message_id = $2`, r.MessageID); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// reminderColumnsOf are messages, column by column.
type reminderColumnsOf struct {
	ids, visits, staff, kinds, messages, reasons []string
	due                                          []time.Time
	before                                       []*time.Time
	details                                      []*string
	jobs                                         []*int64
}

func (c *reminderColumnsOf) add(r Reminder) {
	c.ids, c.visits, c.staff = append(c.ids, r.ID), append(c.visits, r.Visit), append(c.staff, r.Staff)
	c.kinds, c.messages, c.reasons = append(c.kinds, r.Kind), append(c.messages, r.MessageID), append(c.reasons, r.Reason)
	c.due, c.before, c.jobs = append(c.due, r.Due), append(c.before, r.Before), append(c.jobs, r.Job)
	var detail *string
	if r.Detail != nil {
		detail = new(string(r.Detail))
	}
	c.details = append(c.details, detail)
}

// enqueue gives a message in the table a job that sends it when due.
func (t *Tx) enqueue(ctx context.Context, r Reminder, due time.Time) (*int64, error) {
	r.Due = due
	if err := t.makeJobs(ctx, []*Reminder{&r}); err != nil {
		return nil, err
	}
	_, err := t.tx.Exec(ctx, `UPDATE reminder SET job_id = $3 WHERE salon_id = $1 AND reminder_id = $2`, t.salon, r.ID, r.Job)
	return r.Job, domain("enqueue reminder", err, false)
}

// makeJobs makes the jobs that send messages when they are due. What is due already gets
// no time: the queue looks for jobs with a time every few seconds only, for others at once.
func (t *Tx) makeJobs(ctx context.Context, list []*Reminder) error {
	jobs := make([]river.InsertManyParams, len(list))
	ids := make([]string, len(list))
	for i, r := range list {
		var opts river.InsertOpts
		if r.Due.After(t.now()) {
			opts.ScheduledAt = r.Due
		}
		jobs[i], ids[i] = river.InsertManyParams{Args: reminderArgs{t.salon, r.ID, r.Rounds}, InsertOpts: &opts}, r.ID
	}
	made, err := t.jobs.InsertManyTx(ctx, t.tx, jobs)
	if err != nil {
		return domain("enqueue reminders", err, false)
	}
	numbers := make([]int64, len(list))
	for _, x := range made {
		var of reminderArgs
		if err := json.Unmarshal(x.Job.EncodedArgs, &of); err != nil {
			return domain("enqueue reminders", err, false)
		}
		i := slices.Index(ids, of.Reminder)
		numbers[i] = x.Job.ID
		list[i].Job = &numbers[i]
	}
	return nil
}

// ReminderByID returns a message, or scheduling.ErrNotFound.
func (t *Tx) ReminderByID(ctx context.Context, id string) (Reminder, error) {
	return t.reminderWhere(ctx, `reminder_id = $2`, id)
}

func (t *Tx) reminderWhere(ctx context.Context, where string, args ...any) (Reminder, error) {
	list, err := collect[Reminder](ctx, t, "reminder", `SELECT `+reminderColumns+` FROM reminder
		WHERE salon_id = $1 AND `+where, append([]any{t.salon}, args...)...)
	if err == nil {
		err = one("reminder", int64(len(list)), nil)
	}
	if err != nil {
		return Reminder{}, err
	}
	return list[0], nil
}

// WithdrawReminders takes back every message of a visit that is still waiting,
// and its job. One that is just being sent is noted as sent when it was; one that
// had failed is not worth another try any more. An old address is told all the same.
func (t *Tx) WithdrawReminders(ctx context.Context, visit string) error {
	return t.withdraw(ctx, `visit_id = $2 AND kind <> '`+KindAddressChanged+`'`, visit)
}

// WithdrawOlderRetouch takes back the retouch of a client's other visits, both
// the day in the calendar and the message: a newer treatment counts. It locks the
// visit's own parts with the others, so that it comes before they are changed, and
// takes parts, feeds and messages in the order of lockFeeds.
func (t *Tx) WithdrawOlderRetouch(ctx context.Context, client, visit string) error {
	t.lockFeeds(false)
	tag, err := t.tx.Exec(ctx, `
		WITH old AS (
			SELECT p.visit_id, p.subject, p.ordinal FROM visit_part p JOIN visit v USING (salon_id, visit_id)
			WHERE p.salon_id = $1 AND (p.visit_id = $3 OR p.kind = 'retouch' AND p.live AND v.client_id = $2)`+partsInOrder+`
		)
		UPDATE visit_part p SET sequence = sequence + 1, changed_at = `+later+`, live = false FROM old
		WHERE p.salon_id = $1 AND p.visit_id = old.visit_id AND p.subject = old.subject AND p.ordinal = old.ordinal AND p.visit_id <> $3`,
		t.salon, client, visit)
	if err != nil {
		return domain("older retouch", err, false)
	}
	if tag.RowsAffected() > 0 {
		t.touchFeeds([]string{client})
	}
	return t.withdraw(ctx, `kind = 'retouch' AND visit_id <> $3 AND visit_id IN (
		SELECT visit_id FROM visit WHERE salon_id = $1 AND client_id = $2)`, client, visit)
}

// withdraw takes messages back. It was done when their rows were locked, not when the
// transaction began: a try may have begun in between, and was no try after the end.
func (t *Tx) withdraw(ctx context.Context, where string, args ...any) error {
	// In the order of their ids, as whoever else changes several.
	list, err := collect[struct {
		Job *int64 `db:"job_id"`
	}](ctx, t, "withdraw reminders", `
		WITH open AS (
			SELECT reminder_id, state FROM reminder
			WHERE salon_id = $1 AND state IN ('waiting', 'sending', 'failed') AND `+where+` ORDER BY reminder_id FOR UPDATE
		), withdrawn AS (
			UPDATE reminder r SET state = 'withdrawn', next_at = NULL, sending_at = NULL, done_at = COALESCE(done_at, clock_timestamp())
			FROM open o WHERE r.salon_id = $1 AND r.reminder_id = o.reminder_id RETURNING r.reminder_id, r.job_id
		)
		SELECT w.job_id FROM withdrawn w JOIN open o USING (reminder_id) WHERE o.state = 'waiting'`,
		append([]any{t.salon}, args...)...)
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
	if t.bare("reminder", visit) {
		return nil, nil
	}
	return collectOwn[Reminder](ctx, t, ofMessages, "reminders", `SELECT `+reminderColumns+` FROM reminder
		WHERE salon_id = $1 AND visit_id = $2 ORDER BY due_at, reminder_id`, visit)
}

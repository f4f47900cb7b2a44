package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
)

// AttemptOutcome says how one attempt to hand a message over ended.
type AttemptOutcome string

// Outcomes of an attempt.
const (
	AttemptAccepted AttemptOutcome = "accepted"
	AttemptRefused  AttemptOutcome = "refused"   // for good
	AttemptTryAgain AttemptOutcome = "try_again" // not this time
	AttemptUnknown  AttemptOutcome = "unknown"   // the answer was lost, or whoever waited for it died: it may have been accepted
)

// Attempt is one time that a message was handed over, or was about to be.
type Attempt struct {
	Reminder string          `db:"reminder_id"`
	Number   int             `db:"attempt"` // from 1
	Channel  string          `db:"channel"` // "" when it was never known
	Started  time.Time       `db:"started_at"`
	Ended    *time.Time      `db:"ended_at"`
	Outcome  *AttemptOutcome `db:"outcome"` // nil while it is under way
	Problem  string          `db:"problem"`
}

// AttemptsOf lists what was tried for some messages, by message and number.
func (t *Tx) AttemptsOf(ctx context.Context, reminders []string) ([]Attempt, error) {
	return collect[Attempt](ctx, t, "attempts", `SELECT reminder_id, attempt, channel, started_at, ended_at, outcome, problem
		FROM reminder_attempt WHERE salon_id = $1 AND reminder_id = ANY($2) ORDER BY reminder_id, attempt`, t.salon, reminders)
}

// What is said of messages and attempts that nobody could end properly.
const (
	cutShort = "it was cut short before anybody could note what became of it"
	orphaned = "given up: sending it was cut short too often"
)

// takenReminder is a message and whether its time has come.
type takenReminder struct {
	Reminder
	Wait float64 `db:"wait_s"` // seconds until it may be sent
}

// beginAttempt takes a message that waits: it is sending from now on. It returns
// nil when there is nothing to do, or not yet; then wait is for how long.
//
// One that is sending already was left so by a run that died, or is in the hands
// of another: nobody else takes it before the other one's time is over.
func (t *Tx) beginAttempt(ctx context.Context, id string, x JobSettings) (d *Due, wait time.Duration, err error) {
	list, err := collect[takenReminder](ctx, t, "reminder", `
		SELECT `+reminderColumns+`, COALESCE(extract(epoch FROM GREATEST(due_at, next_at,
			CASE state WHEN 'sending' THEN sending_at + make_interval(secs => $3) END) - clock_timestamp()), 0)::float8 AS wait_s
		FROM reminder WHERE salon_id = $1 AND reminder_id = $2 AND state IN ('waiting', 'sending') FOR UPDATE`,
		t.salon, id, x.Timeout.Seconds())
	if err != nil {
		return nil, 0, err
	}
	if len(list) == 0 {
		return nil, 0, t.abandonAttempts(ctx, id, x.Timeout)
	}
	r := list[0].Reminder
	if s := list[0].Wait; s > 0 {
		return nil, time.Duration(s*float64(time.Second)) + time.Millisecond, nil
	}
	if r.State == Sending {
		if given, err := t.takeOver(ctx, r, x); given || err != nil {
			return nil, 0, err
		}
	}
	var number, lost int
	err = t.tx.QueryRow(ctx, `
		WITH begun AS (
			UPDATE reminder SET state = 'sending', sending_at = clock_timestamp(), next_at = NULL, tries = tries + 1
			WHERE salon_id = $1 AND reminder_id = $2 RETURNING sending_at, channel
		)
		INSERT INTO reminder_attempt (salon_id, reminder_id, attempt, channel, started_at)
		SELECT $1, $2, 1 + COALESCE((SELECT max(attempt) FROM reminder_attempt WHERE salon_id = $1 AND reminder_id = $2), 0),
			channel, sending_at FROM begun RETURNING attempt, (SELECT count(*) FROM (
				SELECT outcome, channel FROM reminder_attempt WHERE salon_id = $1 AND reminder_id = $2 ORDER BY attempt DESC LIMIT $3
			) earlier WHERE outcome = 'unknown' AND channel = 'mail')`, t.salon, id, r.Tries).Scan(&number, &lost)
	if err != nil {
		return nil, 0, domain("begin attempt", err, false)
	}
	r.State, r.Tries = Sending, r.Tries+1
	due, err := t.due(ctx, r)
	due.Attempt, due.Lost = number, lost
	return &due, 0, err
}

// takeOver ends the attempt at a message that another run has left, and gives the
// message up when that was its last.
func (t *Tx) takeOver(ctx context.Context, r Reminder, x JobSettings) (given bool, err error) {
	if err := t.abandonAttempts(ctx, r.ID, 0); err != nil || r.Tries <= len(x.waits(r.Channel)) {
		return false, err
	}
	_, err = t.tx.Exec(ctx, `UPDATE reminder SET state = 'failed', problem = $3, done_at = clock_timestamp(), sending_at = NULL
		WHERE salon_id = $1 AND reminder_id = $2`, t.salon, r.ID, givenUp(r.Tries, cutShort))
	return true, domain("give reminder up", err, false)
}

// abandonAttempts ends attempts at a message that began longer than age ago and
// whose outcome nobody will hear of any more.
func (t *Tx) abandonAttempts(ctx context.Context, id string, age time.Duration) error {
	_, err := t.tx.Exec(ctx, `UPDATE reminder_attempt SET ended_at = clock_timestamp(), outcome = 'unknown', problem = $3
		WHERE salon_id = $1 AND reminder_id = $2 AND ended_at IS NULL AND started_at <= clock_timestamp() - make_interval(secs => $4)`,
		t.salon, id, cutShort, age.Seconds())
	return domain("abandoned attempts", err, false)
}

// endAttempt notes what became of a message and of one attempt at it. A message
// that was withdrawn or given up while it was being sent is noted as sent, because
// it was; one that somebody else has begun to send meanwhile is his.
func (t *Tx) endAttempt(ctx context.Context, id string, number int, e ending) error {
	untried := 0
	if e.outcome == "" {
		untried = 1
	}
	var next *float64
	if e.outcome != "" && e.state == Waiting {
		s := e.wait.Seconds()
		next = &s
	}
	_, err := t.tx.Exec(ctx, `
		UPDATE reminder r SET state = $3, channel = COALESCE(NULLIF($4, ''), channel), problem = $5, sending_at = NULL,
			done_at = CASE WHEN $3 = 'waiting' THEN NULL ELSE clock_timestamp() END,
			next_at = clock_timestamp() + make_interval(secs => $6), due_at = COALESCE($7, due_at), tries = tries - $8
		WHERE salon_id = $1 AND reminder_id = $2 AND (
			state = 'sending' AND NOT EXISTS (SELECT 1 FROM reminder_attempt a
				WHERE a.salon_id = $1 AND a.reminder_id = $2 AND a.attempt > $9)
			OR $3 = 'sent' AND state IN ('waiting', 'withdrawn', 'failed'))`,
		t.salon, id, e.state, e.channel, e.problem, next, e.later, untried, number)
	if err != nil {
		return domain("settle reminder", err, false)
	}
	if untried == 1 {
		_, err = t.tx.Exec(ctx, `DELETE FROM reminder_attempt WHERE salon_id = $1 AND reminder_id = $2 AND attempt = $3`, t.salon, id, number)
		return domain("forget attempt", err, false)
	}
	_, err = t.tx.Exec(ctx, `UPDATE reminder_attempt SET ended_at = clock_timestamp(), outcome = $4, problem = $5, channel = $6
		WHERE salon_id = $1 AND reminder_id = $2 AND attempt = $3`, t.salon, id, number, e.outcome, e.said, e.channel)
	return domain("end attempt", err, false)
}

// MessageFilter chooses messages.
type MessageFilter struct {
	// State is theirs. Left empty: those that failed, have been sending for two
	// minutes or should have gone out ten minutes ago, without those that failed and
	// are of a kind in UntilStart, once their visit has begun at Now.
	State      ReminderState
	UntilStart []string
	Now        time.Time
	From, To   time.Time // when they are due, from From and before To; zero for whenever
	After      string    // id of the last one on the page before, "" for the first page
	Limit      int
}

// Messages lists messages by when they were put in line.
func (t *Tx) Messages(ctx context.Context, f MessageFilter) ([]Reminder, error) {
	which, args := `state = $2`, []any{t.salon, f.State, orNull(f.From), orNull(f.To), f.After, f.Limit}
	if f.State == "" {
		which = `$2 = '' AND (state = 'sending' AND sending_at < now() - interval '2 minutes'
			OR state = 'waiting' AND due_at < now() - interval '10 minutes'
			OR state = 'failed' AND NOT (COALESCE(kind = ANY($7), false) AND EXISTS (
				SELECT 1 FROM visit v WHERE v.salon_id = $1 AND v.visit_id = r.visit_id AND v.starts_at <= $8)))`
		args = append(args, f.UntilStart, f.Now)
	}
	return collect[Reminder](ctx, t, "messages", `SELECT `+reminderColumns+` FROM reminder r
		WHERE salon_id = $1 AND `+which+` AND ($3::timestamptz IS NULL OR due_at >= $3) AND ($4::timestamptz IS NULL OR due_at < $4)
		  AND reminder_id > $5 ORDER BY reminder_id LIMIT $6`, args...)
}

func orNull(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// LockReminder returns a message, or scheduling.ErrNotFound, and keeps others from
// changing it or its visit until the transaction ends.
func (t *Tx) LockReminder(ctx context.Context, id string) (Reminder, error) {
	r, err := t.ReminderByID(ctx, id)
	if err != nil {
		return r, err
	}
	// The visit first, as everybody else.
	if _, err := t.LockVisit(ctx, r.Visit, 0); err != nil {
		return r, err
	}
	return t.reminderWhere(ctx, `reminder_id = $2 FOR UPDATE`, id)
}

// LayAside takes back a message that failed or waits, and that this transaction has
// locked. why stands with it from then on; what was tried stays on record. Others
// are left as they are.
func (t *Tx) LayAside(ctx context.Context, r Reminder, why string) (Reminder, error) {
	if r.State == Failed || r.State == Waiting {
		if err := t.TakeBack(ctx, r.ID); err != nil {
			return r, err
		}
		_, err := t.tx.Exec(ctx, `UPDATE reminder SET problem = $3 WHERE salon_id = $1 AND reminder_id = $2 AND state = 'withdrawn'`, t.salon, r.ID, why)
		if err != nil {
			return r, domain("lay aside", err, false)
		}
	}
	return t.ReminderByID(ctx, r.ID)
}

// SendAgain puts a message that failed, and that this transaction has locked, in
// line again under the same MessageID: it is due at once and has all its tries
// before it. Others are left as they are.
func (t *Tx) SendAgain(ctx context.Context, r Reminder) (Reminder, error) {
	tag, err := t.tx.Exec(ctx, `UPDATE reminder SET state = 'waiting', due_at = LEAST(due_at, now()), tries = 0, rounds = rounds + 1,
		done_at = NULL, next_at = NULL, problem = '' WHERE salon_id = $1 AND reminder_id = $2 AND state = 'failed'`, t.salon, r.ID)
	if err != nil || tag.RowsAffected() == 0 {
		return r, domain("send again", err, false)
	}
	if r, err = t.ReminderByID(ctx, r.ID); err != nil {
		return r, err
	}
	r.Job, err = t.enqueue(ctx, r, t.now())
	return r, err
}

// SendAnew puts the messages about a client's visits that were not wanted for the
// reason given in line again, due as they were: that reason has gone. Whether they
// are still of use is decided when they are sent.
func (t *Tx) SendAnew(ctx context.Context, client, problem string) error {
	const q = `UPDATE reminder r SET state = 'waiting', tries = 0, rounds = rounds + 1, done_at = NULL, next_at = NULL, problem = ''
		FROM visit v WHERE r.salon_id = $1 AND v.salon_id = $1 AND v.visit_id = r.visit_id AND v.client_id = $2 AND r.state = 'not_wanted' AND r.problem = $3
			AND r.staff_id IS NULL RETURNING r.reminder_id`
	rows, err := t.tx.Query(ctx, q, t.salon, client, problem)
	if err != nil {
		return domain("send anew", err, false)
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return domain("send anew", err, false)
	}
	for _, id := range ids {
		r, err := t.ReminderByID(ctx, id)
		if err != nil {
			return err
		}
		if _, err := t.enqueue(ctx, r, t.now()); err != nil {
			return err
		}
	}
	return nil
}

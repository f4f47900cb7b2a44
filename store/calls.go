package store

import (
	"context"
	"time"
)

// What came of trying to reach a client by telephone.
const (
	Reached  = "reached"
	LeftWord = "left_word"
	NoAnswer = "no_answer"
)

// CallTry is one time that somebody tried to reach a client by telephone because
// of a message. The number is not kept.
type CallTry struct {
	ID       string     `db:"try_id"`
	Reminder string     `db:"reminder_id"`
	Outcome  string     `db:"outcome"` // Reached, LeftWord or NoAnswer
	Settles  bool       `db:"settles"` // nothing is left to be said
	Note     string     `db:"note"`
	Again    *time.Time `db:"again_at"` // when to try again, nil for any time
	SaidYes  bool       `db:"said_yes"` // the client said that she comes
	At       time.Time  `db:"tried_at"`
	By       string     `db:"tried_by"`
}

const callColumns = `try_id, reminder_id, outcome, settles, note, again_at, said_yes, tried_at, tried_by`

// OpenCalls is what a salon's list of calls is asked for.
type OpenCalls struct {
	Now time.Time
	// Asked is when a reminder was due at the earliest that still asks for a yes.
	Asked time.Time
	// Useful is when a message was due, or its visit over, at the earliest.
	Useful time.Time
	// Ahead are the kinds of message that are of no use once their visit has begun.
	Ahead []string
}

// Calls lists the messages that may have to be said by telephone, by when they
// were due: those that are to be called and still of use as far as o says, and reminders
// that went out to a visit that still is booked and of which nobody has said yes. Those
// that a try has settled are left out; whether the reason of the others still stands is
// for the caller to say. It fails only as the database does.
func (t *Tx) Calls(ctx context.Context, o OpenCalls) ([]Reminder, error) {
	return collect[Reminder](ctx, t, "calls", `SELECT `+reminderColumns+` FROM reminder r
		WHERE salon_id = $1 AND staff_id IS NULL AND reminder_id IN (
			SELECT o.reminder_id FROM reminder o JOIN visit z ON z.salon_id = o.salon_id AND z.visit_id = o.visit_id
			WHERE o.salon_id = $1 AND o.state = 'to_call' AND CASE WHEN o.kind = ANY($4) THEN z.starts_at >= $5
				ELSE o.due_at >= $3 OR greatest(z.ends_at, z.finished_at) >= $3 END
			UNION ALL
			SELECT a.reminder_id FROM reminder a JOIN visit v ON v.salon_id = a.salon_id AND v.visit_id = a.visit_id
			WHERE a.salon_id = $1 AND a.kind = 'reminder' AND a.state = 'sent' AND a.due_at >= $2 AND v.state = 'booked' AND NOT EXISTS (
				SELECT 1 FROM visit_yes y WHERE y.salon_id = v.salon_id AND y.visit_id = v.visit_id AND y.starts_at = v.starts_at))
		AND NOT EXISTS (SELECT 1 FROM call_try c WHERE c.salon_id = r.salon_id AND c.reminder_id = r.reminder_id AND c.settles)
		ORDER BY due_at, reminder_id`, t.salon, o.Asked, o.Useful, o.Ahead, o.Now)
}

// CallTries lists what came of trying to reach clients because of some messages,
// oldest first.
func (t *Tx) CallTries(ctx context.Context, reminders []string) ([]CallTry, error) {
	return collect[CallTry](ctx, t, "call tries", `SELECT `+callColumns+` FROM call_try
		WHERE salon_id = $1 AND reminder_id = ANY($2) ORDER BY tried_at, try_id`, t.salon, reminders)
}

// CallsSettled lists those of some messages that a try has settled.
func (t *Tx) CallsSettled(ctx context.Context, reminders []string) ([]string, error) {
	list, err := t.CallTries(ctx, reminders)
	var out []string
	for _, c := range list {
		if c.Settles {
			out = append(out, c.Reminder)
		}
	}
	return out, err
}

// AddCallTry notes a try.
func (t *Tx) AddCallTry(ctx context.Context, c CallTry) (CallTry, error) {
	c.ID = NewID()
	_, err := t.tx.Exec(ctx, `INSERT INTO call_try (salon_id, `+callColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		t.salon, c.ID, c.Reminder, c.Outcome, c.Settles, c.Note, c.Again, c.SaidYes, c.At, c.By)
	return c, domain("add call try", err, false)
}

// MessagesOfVisits lists the messages of several visits that were not taken back.
func (t *Tx) MessagesOfVisits(ctx context.Context, visits []string) ([]Reminder, error) {
	return collect[Reminder](ctx, t, "messages", `SELECT `+reminderColumns+` FROM reminder
		WHERE salon_id = $1 AND visit_id = ANY($2) AND state <> 'withdrawn' ORDER BY due_at, reminder_id`, t.salon, visits)
}

// DueOf reads everything that a message is about.
func (t *Tx) DueOf(ctx context.Context, r Reminder) (Due, error) { return t.due(ctx, r) }

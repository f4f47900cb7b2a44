package store

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/riverqueue/river"
)

type reminderWorker struct {
	river.WorkerDefaults[reminderArgs]
	store   *Store
	deliver Deliver
	set     JobSettings
}

// Work sends one reminder unless the visit has made it pointless meanwhile.
func (w *reminderWorker) Work(ctx context.Context, job *river.Job[reminderArgs]) error {
	wait, err := w.send(ctx, job.Args)
	if err == nil && wait > 0 {
		return river.JobSnooze(wait)
	}
	return err
}

// Timeout is that of sending one message.
func (w *reminderWorker) Timeout(*river.Job[reminderArgs]) time.Duration { return w.set.Timeout }

// longestRest is how long a run that could not reach the database rests at most
// (judgement).
const longestRest = time.Hour

// NextRetry is when a run that died or could not reach the database is repeated:
// after 1, 16, 81 s and so on, up to an hour.
func (w *reminderWorker) NextRetry(job *river.Job[reminderArgs]) time.Time {
	n := time.Duration(max(1, min(job.Attempt, 8))) // whose fourth power is above an hour
	return w.store.Now().Add(min(n*n*n*n*time.Second, longestRest))
}

// settleTime is what a delivery must leave of a job's time, so that what became
// of it can still be noted; a quarter of a job's time when that is shorter (judgement).
const settleTime = 5 * time.Second

// send takes a message in one transaction, lets go of the database while the
// server takes its time, and notes in another what became of it: who cancels the
// visit meanwhile does not have to wait, and whoever finds it after a crash sees
// that it may have gone out. It returns how long to wait for the next run, 0 when
// none is needed.
func (w *reminderWorker) send(ctx context.Context, args reminderArgs) (time.Duration, error) {
	var d *Due
	var wait time.Duration
	err := w.store.InTx(ctx, args.Salon, func(t *Tx) (err error) {
		d, wait, err = t.beginAttempt(ctx, args.Reminder, w.set)
		return err
	})
	if err != nil || d == nil {
		return wait, err
	}
	settle := min(settleTime, w.set.Timeout/4)
	end := time.Now().Add(w.set.Timeout)
	if at, ok := ctx.Deadline(); ok {
		end = at
	}
	sending, cancel := context.WithDeadline(ctx, end.Add(-settle))
	out, err := w.deliver(sending, *d)
	cancel()
	e := w.ending(*d, out, err)
	// What has been sent is noted although the job may have been called off.
	ctx, cancel = context.WithDeadline(context.WithoutCancel(ctx), latest(end, time.Now().Add(settle)))
	defer cancel()
	return e.wait, errors.Join(w.note(ctx, *d, e), e.err)
}

// note writes down how an attempt ended. It does not give up at once when the
// database is away: it would have to be sent again.
func (w *reminderWorker) note(ctx context.Context, d Due, e ending) error {
	for {
		err := w.store.InTx(ctx, d.Salon.ID, func(t *Tx) error {
			if e.outcome != "" {
				t.happened(Happening("message_"+string(e.outcome)), 1)
			}
			return t.endAttempt(ctx, d.Reminder.ID, d.Attempt, e)
		})
		if !errors.Is(err, ErrUnavailable) {
			return err
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(100 * time.Millisecond):
		}
	}
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// ending is what is noted of an attempt.
type ending struct {
	state   ReminderState
	channel string
	problem string
	outcome AttemptOutcome // "" when nothing was handed over, which leaves no trace
	said    string         // the attempt's own problem
	later   *time.Time     // put off until then
	wait    time.Duration  // until the next run of the job
	err     error          // for the queue: the run itself failed
}

// soonest is how long a message that is put off waits at least (judgement: a moment that
// is over already must not make a job spin).
const soonest = time.Second

// ending judges what came of a delivery.
func (w *reminderWorker) ending(d Due, out Outcome, err error) ending {
	e := ending{state: out.State, channel: out.Channel, problem: shorten(out.Problem), said: shorten(out.Problem)}
	switch {
	case err != nil && out.Channel == "":
		return ending{state: Waiting, problem: unsent(err), err: err}
	case err != nil:
		return w.tryAgain(e, d, err)
	case !out.Later.IsZero():
		return ending{state: Waiting, later: &out.Later, problem: e.problem, wait: max(out.Later.Sub(w.store.Now()), soonest)}
	}
	switch out.State {
	case Sent:
		e.outcome = AttemptAccepted
	case Failed:
		if out.Channel != "" {
			e.outcome = AttemptRefused
		}
	case ToCall, NotWanted, Withdrawn:
		e.channel = ""
	case Waiting, Sending:
		return ending{state: Waiting, err: fmt.Errorf("store: deliver: a message that is %q is not settled", out.State)}
	default:
		return ending{state: Waiting, err: fmt.Errorf("store: deliver: state %q is unknown", out.State)}
	}
	return e
}

// unsent says in words that give nothing away why a run could not hand a message
// over.
func unsent(err error) string {
	_, unknown := errors.AsType[*UnknownKeyError](err)
	why := "something went wrong inside the program"
	switch {
	case errors.Is(err, ErrUnavailable):
		why = "the database did not answer"
	case unknown || errors.Is(err, ErrNoHealthKey):
		why = "what it needs is sealed with a key that the service was started without"
	case errors.Is(err, ErrSealBroken):
		why = "what it needs was changed outside the program"
	case errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled):
		why = "there was not time enough"
	}
	return "it could not be got ready to be sent: " + why
}

// longestAfter is how long a server is left alone at most when it asks for it (judgement).
const longestAfter = 24 * time.Hour

// tryAgain plans the next try after one in vain, or gives up.
func (w *reminderWorker) tryAgain(e ending, d Due, err error) ending {
	tries, lost := d.Reminder.Tries, 0
	e.outcome, e.said = AttemptTryAgain, shorten(err.Error())
	var after time.Duration
	if again, ok := errors.AsType[*TryAgainError](err); ok {
		after = min(again.After, longestAfter)
		if again.Unknown {
			e.outcome, lost = AttemptUnknown, d.Lost+1
		}
	}
	waits := w.set.waits(e.channel)
	if tries > len(waits) || e.channel == ByMail && lost >= mostLost {
		e.state, e.problem = Failed, givenUp(tries, e.said)
		return e
	}
	e.state, e.problem = Waiting, e.said
	// Never sooner than planned, and not all at the same moment.
	planned := waits[max(tries, 1)-1]
	e.wait = max(planned, after) + rand.N(planned/5+1)
	return e
}

func givenUp(tries int, why string) string {
	if tries == 1 {
		return shorten("given up after one try: " + why)
	}
	return shorten(fmt.Sprintf("given up after %d tries: %s", tries, why))
}

// shorten cuts a problem to what is kept of it, in characters, as the tables have it.
func shorten(s string) string {
	const most = 300
	if r := []rune(s); len(r) > most {
		return string(r[:most])
	}
	return s
}

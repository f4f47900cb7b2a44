package store_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// sent is what becomes of most messages.
var sent = store.Outcome{State: store.Sent, Channel: store.ByMail}

// mailed is a mail that was handed over in vain.
var mailed = store.Outcome{Channel: store.ByMail}

// quick are settings under which nobody waits long for another try.
var quick = store.JobSettings{Timeout: 4 * time.Second, Rescue: 4 * time.Second,
	Mail: []time.Duration{time.Second, time.Second}, Texts: []time.Duration{time.Second}}

// outbox notes what it was given to deliver.
type outbox struct {
	mu   sync.Mutex
	sent []store.Due
	// does decides what becomes of a message; nil sends it. tries counts from 1.
	does func(ctx context.Context, d store.Due, tries int) (store.Outcome, error)
}

func (o *outbox) deliver(ctx context.Context, d store.Due) (store.Outcome, error) {
	o.mu.Lock()
	o.sent = append(o.sent, d)
	tries := 0
	for _, x := range o.sent {
		if x.Reminder.ID == d.Reminder.ID {
			tries++
		}
	}
	o.mu.Unlock()
	if o.does == nil {
		return sent, nil
	}
	return o.does(ctx, d, tries)
}

// ids are the messages that were handed over, as often as they were.
func (o *outbox) ids() (list []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, d := range o.sent {
		list = append(list, d.Reminder.ID)
	}
	return list
}

// start works off what is due until the test ends.
func (s *salon) start(o *outbox) *store.Jobs {
	s.t.Helper()
	// What these tests write is old one day by the clock of the database.
	s.tx(func(tx *store.Tx) error {
		return tx.Exec(s.t.Context(), `INSERT INTO retention_rule SELECT salon_id, 36, 12, 120, 14, 12, 3, 12, 36, '2999-01-01', 2 FROM salon ON CONFLICT DO NOTHING`)
	})
	jobs, err := s.store.StartJobs(context.Background(), o.deliver, nil)
	require.NoError(s.t, err)
	s.t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		require.NoError(s.t, jobs.Stop(ctx))
	})
	return jobs
}

// remind adds a message about a visit.
func (s *salon) remind(visit string, due time.Time) store.Reminder {
	s.t.Helper()
	r := store.Reminder{Visit: visit, Kind: "reminder", Due: due, MessageID: store.NewID() + "@harbour.example"}
	s.tx(func(t *store.Tx) (err error) { r, err = t.AddReminder(s.t.Context(), r); return err })
	return r
}

func (s *salon) remindersOf(visit string) (list []store.Reminder) {
	s.t.Helper()
	s.tx(func(t *store.Tx) (err error) { list, err = t.RemindersOf(s.t.Context(), visit); return err })
	return list
}

func (s *salon) stateOf(r store.Reminder) store.ReminderState {
	return value[store.ReminderState](s, `SELECT state FROM reminder WHERE reminder_id = $1`, r.ID)
}

func (s *salon) jobState(r store.Reminder) string {
	return value[string](s, `SELECT state::text FROM river_job WHERE id = $1`, *r.Job)
}

// until waits for something that other goroutines do.
func (s *salon) until(what string, done func() bool) {
	s.t.Helper()
	for range 6000 {
		if done() {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	s.t.Fatalf("it did not come to this: %s", what)
}

func TestAMessageIsThereWithItsJobOrNotAtAll(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	failed := errors.New("failed")
	add := func(tx *store.Tx) error {
		_, err := tx.AddReminder(t.Context(), store.Reminder{Visit: v.ID, Kind: "reminder", Due: at(8, 0), MessageID: "one"})
		return err
	}
	counts := func() []int {
		return []int{value[int](s, `SELECT count(*) FROM reminder`), value[int](s, `SELECT count(*) FROM river_job`)}
	}
	require.ErrorIs(t, s.try(func(tx *store.Tx) error { return errors.Join(add(tx), failed) }), failed)
	s.tx(func(tx *store.Tx) error {
		require.ErrorIs(t, tx.Savepoint(t.Context(), func(tx *store.Tx) error { return errors.Join(add(tx), failed) }), failed)
		return nil
	})
	require.Equal(t, []int{0, 0}, counts())
	s.tx(add)
	require.Equal(t, []int{1, 1}, counts())

	s.tx(add) // the same message twice
	require.Equal(t, []int{1, 1}, counts(), "one message for one reason")
	var bad *scheduling.InvalidError
	require.ErrorAs(t, s.try(func(tx *store.Tx) error {
		_, err := tx.AddReminder(t.Context(), store.Reminder{Visit: store.NewID(), Kind: "reminder", Due: at(8, 0), MessageID: "two"})
		return err
	}), &bad, "about no visit")
	require.Equal(t, []int{1, 1}, counts())

	list := s.remindersOf(v.ID)
	require.Len(t, list, 1)
	require.Equal(t, store.Waiting, list[0].State)
	require.Equal(t, "scheduled", s.jobState(list[0]))
	args := value[string](s, `SELECT args::text FROM river_job`)
	require.JSONEq(t, fmt.Sprintf(`{"salon": %q, "reminder": %q}`, s.row.ID, list[0].ID), args, "ids and nothing about a person")
	s.tx(func(tx *store.Tx) error {
		for _, x := range []struct {
			from, to time.Time
			n        int
		}{{at(8, 0), at(8, 1), 1}, {at(7, 0), at(8, 0), 0}, {at(8, 1), at(9, 0), 0}} {
			list, err := tx.Reminders(t.Context(), x.from, x.to)
			require.NoError(t, err)
			require.Len(t, list, x.n)
		}
		return nil
	})
}

func TestAWithdrawnMessageTakesItsJobAlong(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	other := s.booked(s.client("Guest"), at(12, 0), s.seat())
	first, second, others := s.remind(v.ID, at(8, 0)), s.remind(v.ID, at(7, 0)), s.remind(other.ID, at(8, 0))
	failed := errors.New("failed")
	withdraw := func(tx *store.Tx) error { return tx.WithdrawReminders(t.Context(), v.ID) }
	require.ErrorIs(t, s.try(func(tx *store.Tx) error { return errors.Join(withdraw(tx), failed) }), failed)
	require.Equal(t, store.Waiting, s.stateOf(first))
	require.Equal(t, "scheduled", s.jobState(first), "undone together")

	s.tx(withdraw)
	for _, r := range []store.Reminder{first, second} {
		require.Equal(t, store.Withdrawn, s.stateOf(r))
		require.Equal(t, "cancelled", s.jobState(r))
	}
	require.Equal(t, store.Waiting, s.stateOf(others))
	require.Equal(t, "scheduled", s.jobState(others))
	before := s.contents()
	s.tx(withdraw)
	require.Equal(t, before, s.contents(), "nothing is left to withdraw")

	// Jobs that ended are not kept for ever.
	_, err := s.db.Exec(t.Context(), `DELETE FROM river_job WHERE id = $1`, *others.Job)
	require.NoError(t, err)
	s.tx(func(tx *store.Tx) error { return tx.WithdrawReminders(t.Context(), other.ID) })
	require.Equal(t, store.Withdrawn, s.stateOf(others))
}

func TestEachDueMessageIsDeliveredOnceByTwoProcesses(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	client := s.client("Guest")
	v := s.booked(client, at(9, 0), s.seat())
	var want []string
	outcome := map[string]store.ReminderState{}
	for i := range 40 {
		r := s.remind(v.ID, time.Now().Add(-time.Minute))
		want = append(want, r.ID)
		outcome[r.ID] = []store.ReminderState{store.Sent, store.ToCall, store.NotWanted, store.Failed, store.Withdrawn}[i%5]
	}
	o := &outbox{does: func(_ context.Context, d store.Due, _ int) (store.Outcome, error) {
		return store.Outcome{State: outcome[d.Reminder.ID], Channel: store.ByMail, Problem: "because " + d.Reminder.ID}, nil
	}}
	s.start(o)
	second := &salon{t: t, store: open(t, s.url, 8)}
	second.start(o)
	s.until("no message waits", func() bool {
		return value[int](s, `SELECT count(*) FROM reminder WHERE state IN ('waiting', 'sending')`) == 0
	})
	got := o.ids()
	slices.Sort(got)
	slices.Sort(want)
	require.Equal(t, want, got)
	for _, r := range s.remindersOf(v.ID) {
		require.Equal(t, outcome[r.ID], r.State)
		require.Equal(t, "because "+r.ID, r.Problem)
		require.NotNil(t, r.Done)
	}
	d := o.sent[0]
	require.Equal(t, []string{s.row.ID, client, v.ID, "Ada"}, []string{d.Salon.ID, d.Client.ID, d.Visit.ID, d.Stylist})
	require.Len(t, d.Visit.Services, 1)
	s.until("the jobs are over", func() bool {
		return value[int](s, `SELECT count(*) FROM river_job WHERE kind = 'reminder' AND state <> 'completed'`) == 0
	})
}

func TestADeliveryThatFailsIsTriedAgainUnderTheSameMessageID(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	r := s.remind(v.ID, time.Now())
	s.store.WorkWith(quick)
	looked := make(chan struct{})
	o := &outbox{does: func(_ context.Context, _ store.Due, tries int) (store.Outcome, error) {
		if tries == 1 {
			return mailed, errors.New("the mail server is busy")
		}
		<-looked
		return sent, nil
	}}
	s.start(o)
	s.until("the first try has failed", func() bool { return len(o.ids()) == 1 })
	state := s.stateOf(r)
	close(looked)
	require.Equal(t, store.Waiting, state)
	s.until("it is sent", func() bool { return s.stateOf(r) == store.Sent })
	require.Len(t, o.ids(), 2)
	require.Equal(t, o.sent[0].Reminder.MessageID, o.sent[1].Reminder.MessageID)
}

// Nothing can make sending a mail and noting it one step: when it cannot be
// noted, the message is sent again, which the Message-ID lets the receiver see.
// The other order would lose messages.
func TestAMessageIsSentAgainWhenItCouldNotBeNoted(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	r := s.remind(v.ID, time.Now())
	s.store.WorkWith(quick)
	o := &outbox{does: func(_ context.Context, _ store.Due, tries int) (store.Outcome, error) {
		if tries > 1 {
			return sent, nil
		}
		// Somebody holds the row for longer than noting may take.
		tx, err := s.db.Begin(t.Context())
		if err == nil {
			_, err = tx.Exec(t.Context(), `SELECT 1 FROM reminder WHERE reminder_id = $1 FOR UPDATE`, r.ID)
			time.AfterFunc(7*time.Second, func() { _ = tx.Rollback(context.WithoutCancel(t.Context())) })
		}
		if err != nil {
			t.Error(err)
		}
		return sent, nil
	}}
	s.start(o)
	s.until("it is noted", func() bool { return s.stateOf(r) == store.Sent })
	require.Equal(t, []string{r.ID, r.ID}, o.ids())
	require.Equal(t, o.sent[0].Reminder.MessageID, o.sent[1].Reminder.MessageID)
}

func TestAMessageOfAProcessThatDiedIsTakenOver(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	r := s.remind(v.ID, time.Now())
	// What a killed process leaves behind, some minutes later.
	_, err := s.db.Exec(t.Context(), `UPDATE river_job SET state = 'running', attempt = 1, attempted_by = '{dead}',
		attempted_at = now() - interval '5 minutes' WHERE id = $1`, *r.Job)
	require.NoError(t, err)
	o := &outbox{}
	s.start(o)
	s.until("it is sent", func() bool { return s.stateOf(r) == store.Sent })
	require.Equal(t, []string{r.ID}, o.ids())
}

func TestAMessageAboutACancelledVisitIsNotDelivered(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	cancel := func(tx *store.Tx) error {
		now, err := tx.LockVisit(t.Context(), v.ID, 0)
		if err != nil {
			return err
		}
		now.State = store.Cancelled
		if err := tx.SetVisitState(t.Context(), &now); err != nil {
			return err
		}
		return tx.WithdrawReminders(t.Context(), v.ID)
	}
	o := &outbox{}
	withdrawn := s.remind(v.ID, time.Now().Add(500*time.Millisecond))
	busy := s.remind(v.ID, time.Now())
	// A job that has begun while the cancellation is under way waits for its end.
	tried := make(chan error, 1)
	s.tx(func(tx *store.Tx) error {
		if err := cancel(tx); err != nil {
			return err
		}
		s.start(o)
		go func() {
			_, err := s.store.Send(t.Context(), s.row.ID, busy.ID, o.deliver)
			tried <- err
		}()
		time.Sleep(time.Second)
		require.Empty(t, tried)
		return nil
	})
	require.NoError(t, <-tried)
	// And a job that has come back in spite of all finds nothing to do.
	_, err := s.db.Exec(t.Context(), `UPDATE river_job SET state = 'available', finalized_at = NULL, scheduled_at = now() WHERE id = $1`, *withdrawn.Job)
	require.NoError(t, err)
	s.until("the job has run", func() bool { return s.jobState(withdrawn) == "completed" })
	require.Empty(t, o.ids())
	require.Equal(t, store.Withdrawn, s.stateOf(withdrawn))
	require.Equal(t, store.Withdrawn, s.stateOf(busy))
}

func TestCancellingDoesNotWaitForTheMailServer(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	r := s.remind(v.ID, time.Now())
	begun, end := make(chan struct{}), make(chan struct{})
	release := sync.OnceFunc(func() { close(end) })
	o := &outbox{does: func(context.Context, store.Due, int) (store.Outcome, error) {
		close(begun)
		<-end
		return sent, nil
	}}
	s.start(o)
	t.Cleanup(release) // before the jobs are stopped, also when the test fails
	<-begun
	s.tx(func(tx *store.Tx) error { return tx.WithdrawReminders(t.Context(), v.ID) })
	require.Equal(t, store.Withdrawn, s.stateOf(r))
	release()
	s.until("it is noted that it went out all the same", func() bool { return s.stateOf(r) == store.Sent })
}

func TestTheLastTryEndsWithANote(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	set := quick
	set.Mail = []time.Duration{0}
	s.store.WorkWith(set)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	fails := func(context.Context, store.Due) (store.Outcome, error) {
		return mailed, &store.TryAgainError{Problem: "the mail server is busy"}
	}
	r := s.remind(v.ID, time.Now())
	_, err := s.store.Send(t.Context(), s.row.ID, r.ID, fails)
	require.NoError(t, err)
	require.Equal(t, store.Waiting, s.stateOf(r))
	wait, err := s.store.Send(t.Context(), s.row.ID, r.ID, fails)
	require.NoError(t, err)
	require.Zero(t, wait)
	require.Equal(t, store.Failed, s.stateOf(r))
	require.Equal(t, "given up after 2 tries: the mail server is busy", s.remindersOf(v.ID)[0].Problem)

	// Also when the server takes all the time there is.
	set.Mail = []time.Duration{}
	s.store.WorkWith(set)
	r = s.remind(v.ID, time.Now())
	ctx, cancel := context.WithTimeout(t.Context(), time.Second+100*time.Millisecond)
	defer cancel()
	slow := func(sending context.Context, _ store.Due) (store.Outcome, error) {
		<-sending.Done()
		require.NoError(t, ctx.Err(), "the job has time left for the note")
		return mailed, sending.Err()
	}
	_, err = s.store.Send(ctx, s.row.ID, r.ID, slow)
	require.NoError(t, err)
	require.Equal(t, store.Failed, s.stateOf(r))

	// Settled messages and those of a salon that is gone are nobody's business.
	never := func(context.Context, store.Due) (store.Outcome, error) {
		t.Error("delivered")
		return sent, nil
	}
	_, err = s.store.Send(t.Context(), s.row.ID, r.ID, never)
	require.NoError(t, err)
	r = s.remind(v.ID, at(8, 0))
	s.tx(func(tx *store.Tx) error { return tx.DeleteSalon(t.Context()) })
	require.Equal(t, "cancelled", s.jobState(r))
	_, err = s.store.Send(t.Context(), s.row.ID, r.ID, never)
	require.NoError(t, err)
}

func TestStoppingWaitsForTheDeliveryUnderWay(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	r := s.remind(v.ID, time.Now())
	begun := make(chan struct{})
	o := &outbox{does: func(context.Context, store.Due, int) (store.Outcome, error) {
		close(begun)
		time.Sleep(300 * time.Millisecond)
		return sent, nil
	}}
	jobs := s.start(o)
	<-begun
	require.NoError(t, jobs.Stop(t.Context()))
	require.Equal(t, store.Sent, s.stateOf(r))
	late := s.remind(v.ID, time.Now())
	time.Sleep(200 * time.Millisecond)
	require.Equal(t, store.Waiting, s.stateOf(late), "nothing more is begun")
}

func TestThePurgeForgetsWhatIsOldAndNothingElse(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	for _, key := range []string{"old", "young"} {
		_, _, err := s.begin(call(key), true)
		require.NoError(t, err)
	}
	lost, young, future := s.remind(v.ID, time.Now().Add(-2*time.Hour)), s.remind(v.ID, time.Now().Add(-30*time.Minute)), s.remind(v.ID, at(8, 0))
	running := s.remind(v.ID, time.Now().Add(-2*time.Hour))
	now := time.Now()
	for _, q := range []string{
		`UPDATE idempotency SET created_at = now() - interval '49 hours' WHERE key = 'old'`,
		`UPDATE idempotency SET created_at = now() - interval '47 hours' WHERE key = 'young'`,
	} {
		_, err := s.db.Exec(t.Context(), q)
		require.NoError(t, err)
	}
	for _, r := range []store.Reminder{lost, young, future} {
		_, err := s.db.Exec(t.Context(), `UPDATE river_job SET state = 'discarded', finalized_at = now() WHERE id = $1`, *r.Job)
		require.NoError(t, err)
	}
	for table, hours := range map[string][]int{"session": {-25, -23}, "session_link": {-25, -23, 5}} {
		for i, h := range hours {
			_, err := s.db.Exec(t.Context(), `INSERT INTO `+table+` (salon_id, sha256, role, expires_at)
				VALUES ($1, decode(repeat(lpad($2, 2, '0'), 32), 'hex'), 'desk', $3)`, s.row.ID, fmt.Sprint(i), now.Add(time.Duration(h)*time.Hour))
			require.NoError(t, err)
		}
	}
	require.NoError(t, s.store.Purge(t.Context()))
	require.Equal(t, []string{"young"}, rows[string](s, `SELECT key FROM idempotency`))
	require.Equal(t, 1, value[int](s, `SELECT count(*) FROM session`))
	require.Equal(t, 2, value[int](s, `SELECT count(*) FROM session_link`))
	require.Equal(t, store.Failed, s.stateOf(lost))
	for _, r := range []store.Reminder{young, future, running} {
		require.Equal(t, store.Waiting, s.stateOf(r))
	}
}

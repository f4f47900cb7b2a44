package store_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func (s *salon) attempts(r store.Reminder) (list []store.Attempt) {
	s.t.Helper()
	s.tx(func(t *store.Tx) (err error) { list, err = t.AttemptsOf(s.t.Context(), []string{r.ID}); return err })
	return list
}

func (s *salon) message(r store.Reminder) (now store.Reminder) {
	s.t.Helper()
	s.tx(func(t *store.Tx) (err error) { now, err = t.ReminderByID(s.t.Context(), r.ID); return err })
	return now
}

// exec runs a statement beside the program.
func (s *salon) exec(q string, args ...any) {
	s.t.Helper()
	_, err := s.db.Exec(s.t.Context(), q, args...)
	require.NoError(s.t, err)
}

// run is one run of a message's job.
func (s *salon) run(r store.Reminder, deliver store.Deliver) time.Duration {
	s.t.Helper()
	wait, err := s.store.Send(s.t.Context(), s.row.ID, r.ID, deliver)
	require.NoError(s.t, err)
	return wait
}

// dueNow is a message that is due.
func (s *salon) dueNow() store.Reminder {
	return s.remind(s.booked(s.client("Guest"), at(9, 0), s.seat()).ID, time.Now())
}

func always(out store.Outcome, err error) store.Deliver {
	return func(context.Context, store.Due) (store.Outcome, error) { return out, err }
}

func TestAMessageIsSendingUntilWhatBecameOfItIsNoted(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	r := s.dueNow()
	wait := s.run(r, func(_ context.Context, d store.Due) (store.Outcome, error) {
		require.Equal(t, 1, d.Attempt)
		require.Equal(t, store.Sending, s.stateOf(r))
		m := s.message(r)
		require.NotNil(t, m.Sending)
		require.Equal(t, 1, m.Tries)
		a := s.attempts(r)
		require.Len(t, a, 1)
		require.Equal(t, store.Attempt{Reminder: r.ID, Number: 1, Started: *m.Sending}, a[0], "nothing is known of its end")
		return sent, nil
	})
	require.Zero(t, wait)
	m, a := s.message(r), s.attempts(r)
	require.Equal(t, []any{store.Sent, "mail", 1}, []any{m.State, m.Channel, m.Tries})
	require.Nil(t, m.Sending)
	require.NotNil(t, m.Done)
	require.Len(t, a, 1)
	require.Equal(t, []any{"mail", store.AttemptAccepted, ""}, []any{a[0].Channel, *a[0].Outcome, a[0].Problem})
	require.False(t, a[0].Ended.Before(a[0].Started))
}

func TestWhatDiedWhileSendingIsTakenOverWhenItsTimeIsUp(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	r := s.dueNow()
	never := func(context.Context, store.Due) (store.Outcome, error) {
		t.Error("somebody else may still be at it")
		return sent, nil
	}
	dies := func(context.Context, store.Due) (store.Outcome, error) { panic("killed") }
	require.Panics(t, func() { s.run(r, dies) })
	require.Equal(t, store.Sending, s.stateOf(r))
	wait := s.run(r, never)
	require.Greater(t, wait, 110*time.Second)
	require.LessOrEqual(t, wait, 2*time.Minute+time.Millisecond)

	s.exec(`UPDATE reminder SET sending_at = now() - interval '121 seconds' WHERE reminder_id = $1`, r.ID)
	var id string
	s.run(r, func(_ context.Context, d store.Due) (store.Outcome, error) {
		id = d.Reminder.MessageID
		require.Equal(t, 2, d.Attempt)
		return sent, nil
	})
	require.Equal(t, r.MessageID, id)
	a := s.attempts(r)
	require.Len(t, a, 2)
	require.Equal(t, store.AttemptUnknown, *a[0].Outcome)
	require.Contains(t, a[0].Problem, "cut short")
	require.Equal(t, store.AttemptAccepted, *a[1].Outcome)
	require.Equal(t, 2, s.message(r).Tries)

	// One that dies at its last try is given up and may be put in line by hand.
	s.store.WorkWith(store.JobSettings{Mail: []time.Duration{}})
	r = s.dueNowToo()
	require.Panics(t, func() { s.run(r, dies) })
	s.exec(`UPDATE reminder SET sending_at = now() - interval '3 minutes' WHERE reminder_id = $1`, r.ID)
	require.Zero(t, s.run(r, never))
	m := s.message(r)
	require.Equal(t, store.Failed, m.State)
	require.Contains(t, m.Problem, "given up after one try")
	require.Equal(t, store.AttemptUnknown, *s.attempts(r)[0].Outcome)
}

// dueNowToo is another message that is due, about another visit.
func (s *salon) dueNowToo() store.Reminder {
	return s.remind(s.booked(s.client("Other"), at(14, 0), s.seat()).ID, time.Now())
}

// The one that sends is at it until the others have come: however late they are, they
// come while it is being sent.
func TestTwoWorkersNeverSendOneMessageAtOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 10)
	r := s.dueNow()
	const others = 7
	var sends, waits atomic.Int32
	came := make(chan struct{}, 1+others)
	deliver := func(context.Context, store.Due) (store.Outcome, error) { //nolint:unparam // as store.Deliver wants it
		if sends.Add(1) == 1 {
			for range others {
				<-came
			}
		}
		return sent, nil
	}
	var all sync.WaitGroup
	for range 1 + others {
		all.Go(func() {
			wait, err := s.store.Send(t.Context(), s.row.ID, r.ID, deliver)
			if err != nil {
				t.Error(err)
			}
			if wait > 0 {
				waits.Add(1)
			}
			came <- struct{}{}
		})
	}
	all.Wait()
	require.EqualValues(t, 1, sends.Load())
	require.EqualValues(t, others, waits.Load(), "the others come again")
	require.Len(t, s.attempts(r), 1)
	require.Zero(t, s.run(r, deliver))
	require.EqualValues(t, 1, sends.Load())
}

func TestAMessageThatIsPutOffIsNotTried(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	r := s.dueNow()
	later := time.Now().Add(9 * time.Hour).Truncate(time.Second)
	wait := s.run(r, always(store.Outcome{Later: later, Problem: "quiet hours"}, nil))
	require.InDelta(t, (9 * time.Hour).Seconds(), wait.Seconds(), 5)
	m := s.message(r)
	require.Equal(t, []any{store.Waiting, 0, "quiet hours"}, []any{m.State, m.Tries, m.Problem})
	require.True(t, m.Due.Equal(later))
	require.Empty(t, s.attempts(r))
	wait = s.run(r, func(context.Context, store.Due) (store.Outcome, error) {
		t.Error("it is not due")
		return sent, nil
	})
	require.InDelta(t, (9 * time.Hour).Seconds(), wait.Seconds(), 10)
	// What should have been earlier comes soon, and does not turn in circles.
	s.exec(`UPDATE reminder SET due_at = now() WHERE reminder_id = $1`, r.ID)
	require.Equal(t, time.Second, s.run(r, always(store.Outcome{Later: time.Now().Add(-time.Hour)}, nil)))
}

func TestWhatNeedsNoHandingOverLeavesNoAttempt(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	for _, state := range []store.ReminderState{store.ToCall, store.NotWanted, store.Withdrawn, store.Failed} {
		r := s.remind(v.ID, time.Now())
		require.Zero(t, s.run(r, always(store.Outcome{State: state, Problem: "because"}, nil)))
		m := s.message(r)
		require.Equal(t, []any{state, "because", "", 0}, []any{m.State, m.Problem, m.Channel, m.Tries})
		require.Empty(t, s.attempts(r))
	}
	// Neither does a failure before anything was handed over: the run is repeated.
	r := s.remind(v.ID, time.Now())
	away := errors.New("the database is away")
	_, err := s.store.Send(t.Context(), s.row.ID, r.ID, always(store.Outcome{}, away))
	require.ErrorIs(t, err, away)
	for _, out := range []store.Outcome{{}, {State: store.Waiting}, {State: store.Sending}, {State: "lost"}} {
		_, err = s.store.Send(t.Context(), s.row.ID, r.ID, always(out, nil))
		require.ErrorContains(t, err, "deliver")
	}
	m := s.message(r)
	require.Equal(t, []any{store.Waiting, 0}, []any{m.State, m.Tries})
	require.Empty(t, s.attempts(r))
}

func TestTheDeskReadsWhyAMessageCannotBeGotReady(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	r := s.remind(v.ID, time.Now())
	for want, err := range map[string]error{
		"the service was started without":         fmt.Errorf("gateway: %w", store.ErrNoHealthKey),
		"key that the service":                    &store.UnknownKeyError{},
		"changed outside":                         store.ErrSealBroken,
		"the database did not answer":             store.ErrUnavailable,
		"not time enough":                         context.DeadlineExceeded,
		"something went wrong inside the program": errors.New("mara@mail.example: no such thing"),
	} {
		_, got := s.store.Send(t.Context(), s.row.ID, r.ID, always(store.Outcome{}, err))
		require.ErrorIs(t, got, err)
		m := s.message(r)
		require.Equal(t, store.Waiting, m.State)
		require.Contains(t, m.Problem, want)
		require.NotContains(t, m.Problem, "mara")
	}
	_, err := s.store.Send(t.Context(), s.row.ID, r.ID, always(store.Outcome{}, store.ErrSealBroken))
	require.ErrorIs(t, err, store.ErrSealBroken)
	s.exec(`UPDATE reminder SET due_at = now() - interval '2 hours' WHERE reminder_id = $1`, r.ID)
	s.exec(`UPDATE river_job SET state = 'discarded', finalized_at = now() WHERE id = $1`, *r.Job)
	require.NoError(t, s.store.Purge(t.Context()))
	require.Equal(t, store.Failed, s.stateOf(r))
	require.Equal(t, "given up: it could not be got ready to be sent: what it needs was changed outside the program", s.message(r).Problem)
}

// The waits pass in an instant here: it is about when and how often a message is
// tried while a server is down for days.
func TestTriesBecomeRarerAndEndWithANoteForTheDesk(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	for channel, c := range map[string]struct {
		waits []time.Duration
		total time.Duration // at least, until it is given up
	}{
		store.ByMail: {[]time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, time.Hour, 2 * time.Hour, 3 * time.Hour, 5 * time.Hour}, 11 * time.Hour},
		store.ByWebhook: {[]time.Duration{5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour, 10 * time.Hour,
			14 * time.Hour, 20 * time.Hour, 24 * time.Hour}, 75 * time.Hour},
	} {
		r := s.remind(v.ID, time.Now())
		busy := always(store.Outcome{Channel: channel}, &store.TryAgainError{Problem: "busy"})
		var total time.Duration
		for i, planned := range c.waits {
			wait := s.run(r, busy)
			total += wait
			require.GreaterOrEqual(t, wait, planned)
			require.LessOrEqual(t, wait, planned+planned/5, "and not all at the same moment")
			m := s.message(r)
			require.Equal(t, []any{store.Waiting, i + 1, "busy", channel}, []any{m.State, m.Tries, m.Problem, m.Channel})
			require.WithinDuration(t, time.Now().Add(wait), *m.Next, 10*time.Second)
			soon := s.run(r, busy)
			require.Len(t, s.attempts(r), i+1, "not before its time")
			require.InDelta(t, wait.Seconds(), soon.Seconds(), 10)
			s.exec(`UPDATE reminder SET next_at = now() WHERE reminder_id = $1`, r.ID)
		}
		require.Zero(t, s.run(r, busy))
		require.GreaterOrEqual(t, total, c.total)
		m := s.message(r)
		require.Equal(t, store.Failed, m.State)
		require.True(t, strings.HasPrefix(m.Problem, "given up after"), m.Problem)
		for i, a := range s.attempts(r) {
			require.Equal(t, []any{i + 1, channel, store.AttemptTryAgain, "busy"}, []any{a.Number, a.Channel, *a.Outcome, a.Problem})
		}
	}
}

func TestAServerIsLeftAloneAsLongAsItAsksFor(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	for after, want := range map[time.Duration]time.Duration{0: 5 * time.Second, time.Second: 5 * time.Second, 2 * time.Hour: 2 * time.Hour, 1000 * time.Hour: 24 * time.Hour} {
		r := s.remind(v.ID, time.Now())
		wait := s.run(r, always(store.Outcome{Channel: store.ByWebhook}, &store.TryAgainError{Problem: "busy", After: after, Unknown: true}))
		require.GreaterOrEqual(t, wait, want)
		require.LessOrEqual(t, wait, want+time.Second)
		require.Equal(t, store.AttemptUnknown, *s.attempts(r)[0].Outcome)
	}
}

func TestWhatIsTakenBackWhileItIsSentIsNotedAsWhatItWas(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	withdraw := func() {
		s.tx(func(tx *store.Tx) error { return tx.WithdrawReminders(t.Context(), v.ID) })
	}
	never := func(context.Context, store.Due) (store.Outcome, error) {
		t.Error("it was taken back")
		return sent, nil
	}
	for name, c := range map[string]struct {
		out     store.Outcome
		err     error
		state   store.ReminderState
		outcome store.AttemptOutcome // "" for no attempt
	}{
		"it went out":       {sent, nil, store.Sent, store.AttemptAccepted},
		"it was refused":    {store.Outcome{State: store.Failed, Channel: store.ByMail}, nil, store.Withdrawn, store.AttemptRefused},
		"it was put off":    {mailed, errors.New("busy"), store.Withdrawn, store.AttemptTryAgain},
		"it was not wanted": {store.Outcome{State: store.NotWanted}, nil, store.Withdrawn, ""},
	} {
		r := s.remind(v.ID, time.Now())
		s.run(r, func(context.Context, store.Due) (store.Outcome, error) {
			withdraw()
			require.Equal(t, store.Withdrawn, s.stateOf(r), name)
			return c.out, c.err
		})
		require.Equal(t, c.state, s.stateOf(r), name)
		require.NotEqual(t, "cancelled", s.jobState(r), "the run may end in peace")
		a := s.attempts(r)
		if c.outcome == "" {
			require.Empty(t, a, name)
		} else {
			require.Equal(t, c.outcome, *a[0].Outcome, name)
		}
		require.Zero(t, s.run(r, never))
	}
	// Whoever died meanwhile cannot say.
	r := s.remind(v.ID, time.Now())
	require.Panics(t, func() {
		s.run(r, func(context.Context, store.Due) (store.Outcome, error) { withdraw(); panic("killed") })
	})
	s.run(r, never)
	require.Nil(t, s.attempts(r)[0].Outcome, "he may still be at it")
	s.exec(`UPDATE reminder_attempt SET started_at = now() - interval '3 minutes' WHERE reminder_id = $1`, r.ID)
	s.run(r, never)
	require.Equal(t, store.AttemptUnknown, *s.attempts(r)[0].Outcome)
	require.Equal(t, store.Withdrawn, s.stateOf(r))
}

func TestATryThatBeganBeforeAMessageWasTakenBackIsNotNotedAsLater(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	r := s.dueNow()
	begun, noted := make(chan struct{}), make(chan struct{})
	var sender sync.WaitGroup
	s.tx(func(tx *store.Tx) error {
		if err := tx.Exec(t.Context(), `SELECT 1`); err != nil { // the transaction begins
			return err
		}
		sender.Go(func() {
			_, err := s.store.Send(t.Context(), s.row.ID, r.ID, func(context.Context, store.Due) (store.Outcome, error) {
				close(begun)
				<-noted
				return sent, nil
			})
			if err != nil {
				t.Error(err)
			}
		})
		<-begun
		defer close(noted)
		if err := tx.WithdrawReminders(t.Context(), r.Visit); err != nil {
			return err
		}
		m, err := tx.ReminderByID(t.Context(), r.ID)
		require.NoError(t, err)
		require.Equal(t, store.Withdrawn, m.State)
		list, err := tx.AttemptsOf(t.Context(), []string{r.ID})
		require.NoError(t, err)
		require.Len(t, list, 1)
		require.False(t, list[0].Started.After(*m.Done), "begun %v, taken back %v", list[0].Started, *m.Done)
		return nil
	})
	sender.Wait()
}

func TestAMessageThatFailedIsPutInLineAgainByHand(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	r := s.dueNow()
	refused := always(store.Outcome{State: store.Failed, Channel: store.ByMail, Problem: "no such person"}, nil)
	again := func() (now store.Reminder) {
		s.tx(func(tx *store.Tx) (err error) {
			if now, err = tx.LockReminder(t.Context(), r.ID); err != nil {
				return err
			}
			now, err = tx.SendAgain(t.Context(), now)
			return err
		})
		return now
	}
	s.run(r, refused)
	require.Equal(t, store.Failed, s.stateOf(r))
	now := again()
	require.Equal(t, []any{store.Waiting, 0, 1, r.MessageID, ""}, []any{now.State, now.Tries, now.Rounds, now.MessageID, now.Problem})
	require.NotEqual(t, *r.Job, *now.Job)
	require.Nil(t, now.Done)
	jobs := value[int](s, `SELECT count(*) FROM river_job`)
	again()
	require.Equal(t, jobs, value[int](s, `SELECT count(*) FROM river_job`), "it is in line already")
	require.Equal(t, 1, s.message(r).Rounds)

	s.run(r, always(sent, nil))
	a := s.attempts(r)
	require.Equal(t, []store.AttemptOutcome{store.AttemptRefused, store.AttemptAccepted}, []store.AttemptOutcome{*a[0].Outcome, *a[1].Outcome})
	again()
	require.Equal(t, store.Sent, s.stateOf(r), "what was sent stays so")

	// A visit that changes takes away the reason.
	other := s.dueNowToo()
	s.run(other, refused)
	s.tx(func(tx *store.Tx) error { return tx.WithdrawReminders(t.Context(), other.Visit) })
	require.Equal(t, store.Withdrawn, s.stateOf(other))
	s.tx(func(tx *store.Tx) error {
		_, err := tx.LockReminder(t.Context(), "nothing")
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		return nil
	})
}

func TestALostMessageIsFoundAndOthersAreLeftAlone(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	made := map[string]store.Reminder{}
	for _, name := range []string{"sent", "old and open", "lost"} {
		made[name] = s.remind(v.ID, time.Now())
		if name == "sent" {
			s.run(made[name], always(sent, nil))
		}
	}
	s.exec(`UPDATE reminder SET created_at = now() - interval '500 days' WHERE reminder_id = $1`, made["old and open"].ID)
	require.Panics(t, func() {
		s.run(made["lost"], func(context.Context, store.Due) (store.Outcome, error) { panic("killed") })
	})
	s.exec(`UPDATE reminder SET sending_at = now() - interval '2 hours', due_at = now() - interval '2 hours' WHERE reminder_id = $1`, made["lost"].ID)
	s.exec(`UPDATE reminder_attempt SET started_at = now() - interval '2 hours' WHERE reminder_id = $1`, made["lost"].ID)
	s.exec(`UPDATE river_job SET state = 'discarded', finalized_at = now() WHERE id = $1`, *made["lost"].Job)
	require.NoError(t, s.store.Purge(t.Context()))
	require.Equal(t, 3, value[int](s, `SELECT count(*) FROM reminder`))
	require.Equal(t, store.Sent, s.stateOf(made["sent"]))
	require.Len(t, s.attempts(made["sent"]), 1)
	require.Equal(t, store.Waiting, s.stateOf(made["old and open"]))
	require.Equal(t, store.Failed, s.stateOf(made["lost"]))
	require.Equal(t, store.AttemptUnknown, *s.attempts(made["lost"])[0].Outcome)
}

func TestAJobThatSleepsPastItsMessageIsWoken(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	hours := func(r store.Reminder) int {
		return value[int](s, `SELECT round(extract(epoch FROM scheduled_at - now()) / 3600)::int FROM river_job WHERE id = $1`, *r.Job)
	}
	late, retried, ahead, failing := s.remind(v.ID, time.Now()), s.remind(v.ID, time.Now()), s.remind(v.ID, time.Now().Add(5*time.Hour)), s.remind(v.ID, time.Now())
	s.exec(`UPDATE reminder SET due_at = now() - interval '2 minutes' WHERE due_at < now() + interval '1 hour'`)
	s.exec(`UPDATE reminder SET next_at = now() + interval '5 hours' WHERE reminder_id = $1`, retried.ID)
	s.exec(`UPDATE river_job SET state = 'scheduled', scheduled_at = now() + interval '5 hours' WHERE kind = 'reminder'`)
	s.exec(`UPDATE river_job SET state = 'retryable' WHERE id = $1`, *failing.Job)
	require.NoError(t, s.store.Purge(t.Context()))
	require.Equal(t, []int{0, 5, 5, 5}, []int{hours(late), hours(retried), hours(ahead), hours(failing)})
}

func TestAMailThatMayHaveArrivedThriceIsNotSentAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	r := s.remind(v.ID, time.Now())
	lost, busy := &store.TryAgainError{Problem: "the answer was lost", Unknown: true}, &store.TryAgainError{Problem: "busy"}
	again := func(r store.Reminder, channel string, err error) store.ReminderState {
		s.exec(`UPDATE reminder SET next_at = now() WHERE reminder_id = $1`, r.ID)
		s.run(r, always(store.Outcome{Channel: channel}, err))
		return s.stateOf(r)
	}
	for _, err := range []error{lost, busy, lost, busy} {
		require.Equal(t, store.Waiting, again(r, store.ByMail, err))
	}
	require.Equal(t, store.Failed, again(r, store.ByMail, lost))
	require.Equal(t, "given up after 5 tries: the answer was lost", s.message(r).Problem)

	// Put in line by hand it has its tries before it.
	s.tx(func(tx *store.Tx) error { _, err := tx.SendAgain(t.Context(), s.message(r)); return err })
	require.Equal(t, store.Waiting, again(r, store.ByMail, lost))
	require.Equal(t, store.Waiting, again(r, store.ByMail, lost))
	require.Equal(t, store.Failed, again(r, store.ByMail, lost))

	// A gateway tells by the id what it has seen.
	text := s.remind(v.ID, time.Now())
	for range 5 {
		require.Equal(t, store.Waiting, again(text, store.ByWebhook, lost))
	}
}

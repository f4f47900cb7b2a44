package store_test

import (
	"context"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// notice puts a mail to somebody who signs in in line, and tells is what sends it.
func (s *salon) notice(tells func(context.Context, store.Notice) error) {
	s.t.Helper()
	a := s.enrol(store.Account{Login: "ada@example.org", Name: "Ada", Roles: []store.Role{store.Owner}})
	s.store.TellAccounts(tells)
	s.tx(func(tx *store.Tx) error { return tx.AddNotice(s.t.Context(), a.ID, "second-step-reset") })
}

func (s *salon) noticeState() string {
	return value[string](s, `SELECT state::text FROM river_job WHERE kind = 'account_notice'`)
}

func TestAMailServerThatTakesItsTimeOverANoticeIsWaitedForAsOverAnyMessage(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	s.store.WorkWith(store.JobSettings{Timeout: 2 * time.Minute, Other: time.Second})
	var calls atomic.Int64
	s.notice(func(ctx context.Context, _ store.Notice) error {
		calls.Add(1)
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(3 * time.Second):
			return nil
		}
	})
	s.start(&outbox{})
	s.until("it was sent", func() bool { return s.noticeState() == "completed" })
	require.EqualValues(t, 1, calls.Load())
}

func TestANoticeThatMayHaveArrivedThriceIsNotSentAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	lost, busy := &store.TryAgainError{Problem: "the answer was lost", Unknown: true}, &store.TryAgainError{Problem: "busy"}
	answers := []error{lost, busy, lost, busy, lost}
	var calls atomic.Int64
	s.notice(func(context.Context, store.Notice) error {
		n := calls.Add(1)
		if int(n) > len(answers) {
			return lost
		}
		return answers[n-1]
	})
	s.start(&outbox{})
	s.until("it is tried no more", func() bool {
		s.exec(`UPDATE river_job SET state = 'available', scheduled_at = now() WHERE kind = 'account_notice' AND state = 'retryable'`)
		return s.noticeState() == "completed" || s.noticeState() == "discarded"
	})
	require.EqualValues(t, len(answers), calls.Load())
}

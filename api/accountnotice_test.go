package api_test

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api/notify"
	"chairblock/store"
)

// failing is a sender that fails.
type failing struct{ err error }

func (f failing) Send(context.Context, notify.Mail) error { return f.err }

func TestANoticeWhoseAnswerWasLostIsOneThatMayHaveArrived(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	n := store.Notice{Salon: s.row, Account: store.Account{ID: "a", Name: "Ada", Login: "ada@example.org"}, What: "second-step-reset", ID: 7}
	tell := func(err error) error { return s.server.TellAccount(failing{err})(t.Context(), n) }
	require.NoError(t, tell(nil))
	again, ok := errors.AsType[*store.TryAgainError](tell(fmt.Errorf("notify: send: %w", notify.ErrAnswerLost)))
	require.True(t, ok)
	require.True(t, again.Unknown)
	again, ok = errors.AsType[*store.TryAgainError](tell(errors.New("nobody is there")))
	require.True(t, ok)
	require.False(t, again.Unknown)
}

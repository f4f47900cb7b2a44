package api

import (
	"errors"

	"chairblock/api/notify"
	"chairblock/store"
)

// handedOver turns what a sender or a gateway says of a message that was handed
// over by channel into an outcome for the store, or into an error that is worth
// another try.
func handedOver(channel string, err error) (store.Outcome, error) {
	out := store.Outcome{State: store.Sent, Channel: channel}
	if err == nil {
		return out, nil
	}
	if p, ok := errors.AsType[*notify.PermanentError](err); ok {
		out.State, out.Problem = store.Failed, p.Error()
		return out, nil
	}
	again := &store.TryAgainError{Problem: err.Error(), Unknown: errors.Is(err, notify.ErrAnswerLost)}
	if b, ok := errors.AsType[*notify.BusyError](err); ok {
		again.After = b.After
	}
	return out, again
}

package api

import (
	"context"
	"errors"
	"time"

	"chairblock/store"
)

// How long a second press of a button waits for the first to be carried out, and
// how long it rests before it looks again: twice as long each time, up to the last
// (judgement).
const (
	pressPatience  = 5 * time.Second
	pressPause     = 20 * time.Millisecond
	mostPressPause = time.Second
)

// secondPress carries a press of a button out: again as long as that returns
// store.ErrRunning, which another press of the same form is then on its way for. It
// gives up after pressPatience and when whoever pressed has gone.
func secondPress(ctx context.Context, press func() error) error {
	err := press()
	until := time.Now().Add(pressPatience)
	for pause := pressPause; is(err, store.ErrRunning) && time.Now().Before(until); pause = min(2*pause, mostPressPause) {
		rest := time.NewTimer(pause)
		select {
		case <-ctx.Done():
			rest.Stop()
			return errors.Join(err, ctx.Err())
		case <-rest.C:
		}
		err = press()
	}
	return err
}

package api

import (
	"context"
	"time"

	"chairblock/store"
)

// strandTestHeld reports whether a strand test that was fine is on record since
// the consultation c, and no later one was not.
func strandTestHeld(ctx context.Context, t *store.Tx, c store.Screening) (bool, error) {
	notes, err := t.TestNotes(ctx, c.Client)
	if err != nil {
		return false, err
	}
	held := false
	var last time.Time
	for _, n := range notes {
		if n.Unreadable != nil {
			return false, n.Unreadable
		}
		if n.What == store.StrandMade && !n.At.Before(c.Made) && !n.At.Before(last) {
			held, last = n.Result == "fine", n.At
		}
	}
	return held, nil
}

package store

import (
	"errors"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"
)

// atEnd is what a transaction writes just before it is committed: rows that many change
// at the same time, such as the version of a stylist's calendar, so that nobody waits for
// what else the transaction does. Nothing is locked after them.
type atEnd struct {
	answers []func(*pgx.Batch) // to calls that may be repeated
	feeds   map[string]bool    // subjects whose calendars have changed
	action  *LastAction
}

var errReading = errors.New("store: nothing is written while reading")

// inside is what a savepoint begins with: it takes the place of e when it is kept.
func (e *atEnd) inside() *atEnd {
	if e == nil {
		return nil
	}
	return &atEnd{slices.Clone(e.answers), maps.Clone(e.feeds), e.action}
}

// write has it go with the commit, in one order everywhere: answers before actions, these
// before calendars, and these by their subjects.
func (e *atEnd) write(t *Tx) {
	var b pgx.Batch
	for _, queue := range e.answers {
		queue(&b)
	}
	if a := e.action; a != nil {
		queueLastAction(&b, t.salon, *a)
	}
	if len(e.feeds) > 0 {
		b.Queue(touchFeedsQuery, t.salon, slices.Sorted(maps.Keys(e.feeds)))
	}
	t.tx.waiting = append(t.tx.waiting, b.QueuedQueries...)
}

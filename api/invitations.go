package api

import (
	"context"

	"chairblock/api/notify"
	"chairblock/store"
)

// invitation is the calendar object that goes with the message d to a person,
// nil when none is to go. It notes what is sent, so t must be able to write,
// and has to be committed before the mail leaves: who was invited once has to
// hear of every change.
func (s *Server) invitation(ctx context.Context, t *store.Tx, n salonDay, d store.Due, to person) (*notify.Invitation, error) {
	return nil, nil
}

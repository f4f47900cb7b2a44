package api

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// mayStart refuses to note a step of a locked visit that must not begin yet, with
// a conflict that says what is missing and what would be right. The consultation
// at the beginning of a visit may begin: what is missing may come to light in it.
// What has really happened already is a fact and is not asked about again: once
// product is on the hair, nothing here keeps the next step from being noted.
func (s *Server) mayStart(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, step int) error {
	if v.Steps[step].Kind == string(scheduling.Talk) {
		return nil
	}
	of, err := needsOf(ctx, t, n, v)
	if err != nil {
		return err
	}
	open := needs.FirstOpen(of[v.ID])
	if len(open) == 0 {
		return nil
	}
	begun, err := begunForGood(ctx, t, v)
	if err != nil || begun {
		return err
	}
	return s.cannotBegin(ctx, n, open)
}

// begunForGood reports whether it is too late to stop a visit: product is on the
// hair or, where none is used, a step but the consultation has begun.
func begunForGood(ctx context.Context, t *store.Tx, v store.Visit) (bool, error) {
	c, err := recompose(ctx, t, v, newLead{})
	if err != nil {
		return false, err
	}
	from := slices.IndexFunc(delays.CareOf(c.plan), func(c delays.Care) bool { return c.Product })
	for i, st := range v.Steps {
		if st.RealStart != nil && i >= max(from, 0) && st.Kind != string(scheduling.Talk) {
			return true, nil
		}
	}
	return false, nil
}

// cannotBegin says what is missing.
func (s *Server) cannotBegin(ctx context.Context, n salonDay, open []needs.Need) error {
	said := make([]string, len(open))
	for i, x := range open {
		said[i] = x.Words() + " (" + x.Right(n.atWords) + ")"
		if seesHealth(ctx) && x.Hidden() {
			said[i] = x.Why + " (" + x.Right(n.atWords) + ")"
		}
	}
	p := newProblem(http.StatusConflict, "not-ready", "the visit cannot begin before there is "+strings.Join(said, "; "))
	p.StillNeeded = s.writeNeeds(ctx, n, open)
	return p
}

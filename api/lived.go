package api

import (
	"context"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
)

// FinishAs ends a visit of a salon of which it is known how long each of its steps
// took, outside of a request: for records that are copied from elsewhere, and for
// demonstrations. The client came in time, the first step began as planned, and
// planned waits were kept. took has a length for each step; what they add up to must
// not end after now.
//
// It returns an *scheduling.InvalidError when the lengths do not fit the visit.
func (s *Server) FinishAs(ctx context.Context, salon, visit string, took []time.Duration) error {
	return s.store.InTx(ctx, salon, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		v, err := t.LockVisit(ctx, visit, 0)
		if err != nil {
			return err
		}
		if len(took) != len(v.Steps) {
			return &scheduling.InvalidError{Field: "took", Problem: "is not as long as the visit has steps", Want: "a length for each step"}
		}
		at := v.Start
		presses := []store.Event{{Kind: store.EventArrive, At: at}}
		for i := range v.Steps {
			if took[i] < 0 {
				return &scheduling.InvalidError{Field: index("took", i), Problem: "is below 0", Want: "how long the step took"}
			}
			presses = append(presses, store.Event{Kind: store.EventStart, Ordinal: &i, At: at})
			at = at.Add(took[i])
			if i+1 < len(v.Steps) {
				at = at.Add(v.Steps[i+1].Start.Sub(v.Steps[i].End))
			}
			at = at.Truncate(time.Second)
		}
		if at.After(s.now()) {
			return &scheduling.InvalidError{Field: "took", Problem: "add up to an end that is still to come", Want: "a visit that is over"}
		}
		if err := s.noted(ctx, t, &v, presses...); err != nil {
			return err
		}
		return s.finish(ctx, t, n, &v, &at)
	})
}

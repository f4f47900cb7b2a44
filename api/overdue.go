package api

import (
	"context"
	"slices"
	"time"

	"chairblock/api/notify"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// lapseAhead is how far ahead visits are looked at that may lapse, in days: as far
// as any latest time can be before a start.
const lapseAhead = 366

// LapseOverdue cancels the booked visits of a salon for which something is missing
// that the salon's rules do not wait for any longer. The client hears of it as of
// any cancellation, and what becomes of a deposit is for the desk to say.
//
// A visit stays when its client is here, when somebody else's word is what is
// missing, and when it was booked or moved after the latest time had passed: the
// desk knew that then.
func (s *Server) LapseOverdue(ctx context.Context, salon string) error {
	var ids []string
	err := s.store.Read(ctx, salon, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil || len(n.rules.Needs.LapseWhenOverdue) == 0 {
			return err
		}
		visits, err := s.visitsToCome(ctx, t, n, lapseAhead)
		if err != nil {
			return err
		}
		visits = slices.DeleteFunc(visits, func(v store.Visit) bool { return v.State != store.Booked })
		of, err := needsOf(ctx, t, n, visits...)
		for _, v := range visits {
			if slices.ContainsFunc(of[v.ID], func(x needs.Need) bool { return s.lapsedFor(n, x) }) {
				ids = append(ids, v.ID)
			}
		}
		return err
	})
	for _, id := range ids {
		if err == nil {
			err = s.store.InTx(ctx, salon, func(t *store.Tx) error { return s.lapse(ctx, t, id) })
		}
	}
	return err
}

// lapsedFor reports whether a visit lapses now for want of x.
func (s *Server) lapsedFor(n salonDay, x needs.Need) bool {
	return n.wouldLapse(x) && x.Overdue(s.now())
}

// wouldLapse reports whether a visit lapses for want of x once its latest time is
// over. What may be on record, only cannot be read now, is no reason to.
func (n salonDay) wouldLapse(x needs.Need) bool {
	return x.State == needs.Missing && x.Owner != needs.Licensed && !x.Unreadable && n.lapses(x.Kind)
}

// lapse cancels one visit if that is still right.
func (s *Server) lapse(ctx context.Context, t *store.Tx, id string) error {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return err
	}
	v, err := t.LockVisit(ctx, id, 0)
	if err != nil || v.State != store.Booked || !v.Start.After(s.now()) {
		return err
	}
	of, err := needsOf(ctx, t, n, v)
	if err != nil {
		return err
	}
	told, err := lastTold(ctx, t, v)
	if err != nil {
		return err
	}
	for _, x := range of[v.ID] {
		if s.lapsedFor(n, x) && told.Before(x.Latest) {
			return s.cancel(ctx, t, n, &v, store.Cancelled)
		}
	}
	return nil
}

// lastTold is when the client was told last that the visit is booked or moved.
func lastTold(ctx context.Context, t *store.Tx, v store.Visit) (time.Time, error) {
	list, err := t.RemindersOf(ctx, v.ID)
	var last time.Time
	for _, r := range list {
		if k := notify.Kind(r.Kind); (k == notify.Confirmation || k == notify.Moved) && r.Due.After(last) {
			last = r.Due
		}
	}
	return last, err
}

package store

import (
	"context"
	"log/slog"
	"time"

	"github.com/rickb777/date"
)

// mostSilent is after how many days without a run its first one erases nothing: the
// machine stood still for long, or began with a wrong date (judgement).
const mostSilent = 31

// erasingStands is what is known of a salon's erasing: before which day nothing goes, and
// the last day for which there was a run; the zero date for neither.
func (t *Tx) erasingStands(ctx context.Context) (from, last date.Date, err error) {
	err = t.tx.QueryRow(ctx, `SELECT n.erase_from::text, (SELECT max(day)::text FROM retention_run r WHERE r.salon_id = $1)
		FROM salon n WHERE n.salon_id = $1`, t.salon).Scan(&from, &last)
	return from, last, domain("erase by age", err, false)
}

// heldBack reports that nothing is to be erased on this day, health included. Where the
// day is one that nobody would believe, it sees to it that some days pass first. What a
// clock that was ahead has left behind does not hold for as long as that clock was.
func (r *erasing) heldBack(ctx context.Context) (held bool, err error) {
	var from, last date.Date
	err = r.store.Read(ctx, r.salon, func(t *Tx) error { from, last, err = t.erasingStands(ctx); return err })
	if err != nil {
		return true, err
	}
	say := func(what string) {
		slog.WarnContext(ctx, what, "salon", r.salon, "today", r.today.String(), "last_run", last.String(), "held_until", from.String())
	}
	if last.After(r.today.Add(1)) {
		say("erasing by age was noted of days to come: a clock was ahead, and the run is done anew")
		if err := r.forgetComing(ctx); err != nil {
			return true, err
		}
	}
	// That it was held back is a sign of life, too.
	if began := from.Add(-graceDays); began.After(last) && !last.IsZero() {
		last = began
	}
	switch {
	case from.After(r.today.Add(graceDays)):
		say("erasing by age was held back until a day that is far off: a clock was ahead")
	case r.today.Before(from):
		return true, nil
	case last.IsZero() || !r.today.After(last.Add(mostSilent)):
		return false, nil
	default:
		say("nothing is erased for its age for some days: the last run was long ago, and the date may be wrong")
	}
	return true, r.store.InTx(ctx, r.salon, func(t *Tx) error { return t.holdErasing(ctx, r.today) })
}

// forgetComing has runs of days to come count as of today and not done.
func (r *erasing) forgetComing(ctx context.Context) error {
	return r.store.InTx(ctx, r.salon, func(t *Tx) error {
		_, err := t.tx.Exec(ctx, `UPDATE retention_run SET day = $2::text::date, erased = 0, ended_at = NULL WHERE salon_id = $1 AND day > $2::text::date + 1`, t.salon, r.today.String())
		return domain("erase by age", err, false)
	})
}

// holdErasing lets nothing be erased for its age for as long as changed terms wait.
func (t *Tx) holdErasing(ctx context.Context, today date.Date) error {
	_, err := t.tx.Exec(ctx, `UPDATE salon SET erase_from = $2::text::date WHERE salon_id = $1`, t.salon, today.Add(graceDays).String())
	return domain("erase by age", err, false)
}

// HoldErasing lets nothing be erased for its age, in any salon, for as long as changed
// terms wait: after a backup was read back, its terms may not be the last that were set.
func (s *Store) HoldErasing(ctx context.Context, now time.Time) error {
	list, err := s.erasingSalons(ctx)
	if err != nil {
		return err
	}
	for _, n := range list {
		loc, err := Salon{Zone: n.Zone}.Location()
		if err != nil {
			return err
		}
		today := date.NewAt(now.In(loc))
		if err := s.InTx(ctx, n.ID, func(t *Tx) error { return t.holdErasing(ctx, today) }); err != nil {
			return err
		}
	}
	return nil
}

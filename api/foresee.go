package api

import (
	"context"
	"errors"
	"log/slog"
	"runtime/debug"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/store"
)

// errUnforeseen means that nobody can say how a day goes on. The day itself is as it
// is: what shows it says so and shows the rest.
var errUnforeseen = errors.New("how the day goes on cannot be foreseen")

// unforeseenWords say errUnforeseen to people.
const unforeseenWords = "How the day goes on cannot be foreseen: what happened and what is planned cannot be brought together. " +
	"Booked times stand as they are; go by what you see"

// foresee works out how a day goes on. Whatever goes wrong with that is logged by
// the kind of it, and errUnforeseen is returned.
func (s *Server) foresee(ctx context.Context, x *lateDay) (p delays.DayProjection, err error) {
	err = unforeseen(ctx, x, func() (err error) {
		p, err = s.project(x.day)
		if err == nil && len(p.Visits) != len(x.visits) {
			err = errUnforeseen
		}
		return err
	})
	return p, err
}

// unforeseen runs f, of which a mistake must not take along what else is shown.
func unforeseen(ctx context.Context, x *lateDay, f func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			slog.ErrorContext(ctx, "day not foreseen", "date", x.date.String(), "panic", p, "stack", string(debug.Stack()))
			err = errUnforeseen
		}
	}()
	err = f()
	switch {
	case err == nil, errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return err
	case errors.Is(err, delays.ErrTangled): // which a day may be
	default:
		faults, _ := errors.AsType[scheduling.Faults](err)
		for _, k := range faults {
			slog.ErrorContext(ctx, "day not foreseen", "date", x.date.String(), "field", k.Field, "problem", k.Problem)
		}
		if len(faults) == 0 {
			slog.ErrorContext(ctx, "day not foreseen", "date", x.date.String(), "err", err)
		}
	}
	return errUnforeseen
}

// asNoted is the day as it was booked and as far as it was noted, for when nobody
// can say how it goes on.
func (x *lateDay) asNoted() delays.DayProjection {
	var out delays.DayProjection
	for _, l := range x.visits {
		vp := delays.VisitProjection{ID: l.v.ID, Schedule: l.booked}
		last := -1
		for i, st := range l.v.Steps {
			if st.RealStart != nil {
				last = i
			}
		}
		for i, ph := range l.booked.Phases {
			pp := delays.PhaseProjection{Phase: ph.Phase, State: delays.PhaseToCome, Start: ph.Start, End: ph.End}
			if i < len(l.v.Steps) {
				x.noted(&pp, l.v, i, last)
			}
			vp.Phases = append(vp.Phases, pp)
		}
		vp.Start, vp.End = vp.Phases[0].Start, vp.Phases[len(vp.Phases)-1].End
		out.Visits = append(out.Visits, vp)
	}
	return out
}

// noted puts what was noted of step i into pp. last is the last step that has begun.
func (x *lateDay) noted(pp *delays.PhaseProjection, v store.Visit, i, last int) {
	st, booked := v.Steps[i], pp.Start
	switch over := v.State == store.Finished || v.State == store.StoppedEarly; {
	case st.RealStart == nil && (i < last || over):
		pp.State = delays.PhaseNever
		return
	case st.RealStart == nil:
		return
	case st.RealEnd == nil && i == last && !over:
		pp.State = delays.PhaseRuns
	default:
		pp.State = delays.PhaseDone
	}
	length := pp.End - pp.Start
	pp.Start = *x.minute(st.RealStart)
	pp.End, pp.Late = pp.Start+length, pp.Start-booked
	if st.RealEnd != nil {
		pp.End = max(pp.Start, *x.minute(st.RealEnd))
	}
	pp.End = min(pp.End, x.h.Length)
}

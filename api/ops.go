package api

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// The operations below are shared by REST and the pages. Each works inside one
// transaction of the caller.

// lateBooking is how far in the past a visit may begin when it is booked: a
// walk-in is typed in after she has sat down.
const lateBooking = 15 * time.Minute

// book works a request out, places it and writes visit, blocks, calendar parts
// and messages. A clash is a *scheduling.ConflictError.
func (s *Server) book(ctx context.Context, t *store.Tx, n salonDay, b VisitRequest) (store.Visit, error) {
	var f scheduling.Faults
	v := store.Visit{Client: b.ClientID}
	v.Note = text(&f, "note", b.Note, 0, 500)
	var err error
	if v.ApprovedBy, err = licensed(ctx, t, &f, "approved_by", text(&f, "approved_by", b.ApprovedBy, 0, 80)); err != nil {
		return v, err
	}
	wholeMinute(&f, "start", b.Start)
	if b.Start.Before(s.now().Add(-lateBooking)) {
		f.Add("start", "lies in the past", "a start that is still to come")
	}
	if err := knownClient(ctx, t, &f, b.ClientID); err != nil {
		return v, err
	}
	c, err := compose(ctx, t, n, b.Services)
	if err := f.Join("", err); err != nil {
		return v, err
	}
	c.others(&f, b.ClientID)
	if err := f.Err(); err != nil {
		return v, err
	}
	if err := c.guard(n, s.now(), b.Start, v.ApprovedBy); err != nil {
		return v, err
	}
	p, err := s.place(ctx, t, n, c.plan, b.Start)
	if err != nil {
		return v, err
	}
	if err := c.keepEstimates(ctx, t, b.ClientID); err != nil {
		return v, err
	}
	v.Services, v.PriceCents = c.services, c.price
	p.visit(&v)
	if err := taken(t.InsertVisit(ctx, &v, p.blocks())); err != nil {
		return v, err
	}
	if err := t.SyncParts(ctx, v.ID, v.Client, p.parts(n, v)); err != nil {
		return v, err
	}
	return v, s.remindBooked(ctx, t, n, v, nil)
}

// taken words a lost race for the person at the desk.
func taken(err error) error {
	for _, clash := range []error{store.ErrTaken, store.ErrClientBusy} {
		if is(err, clash) {
			return &scheduling.ConflictError{Reason: clash.Error()}
		}
	}
	return err
}

// keepEstimates stores the estimates that were worked out on the way, so that
// the visit can say where its minutes come from.
func (c *composed) keepEstimates(ctx context.Context, t *store.Tx, client string) error {
	for i, w := range c.estimates {
		if w == nil || w.id != "" {
			continue
		}
		x := c.services[i]
		row, err := w.row(x.Service, x.Version, client, "")
		if err != nil {
			return err
		}
		if row, err = t.AddEstimate(ctx, row); err != nil {
			return err
		}
		w.id = row.ID
		c.services[i].Estimate = &w.id
	}
	return nil
}

// move gives a booked visit a new start, with the minutes and the versions of
// services that it was booked with.
func (s *Server) move(ctx context.Context, t *store.Tx, n salonDay, id string, version int64, start time.Time, lead newLead,
	approvedBy string) (store.Visit, error) {
	var f scheduling.Faults
	wholeMinute(&f, "start", start)
	if start.Before(s.now().Add(-lateBooking)) {
		f.Add("start", "lies in the past", "a start that is still to come")
	}
	if err := knownLead(ctx, t, &f, "", lead.ID); err != nil {
		return store.Visit{}, err
	}
	approvedBy, err := licensed(ctx, t, &f, "approved_by", text(&f, "approved_by", approvedBy, 0, 80))
	if err != nil {
		return store.Visit{}, err
	}
	if err := f.Err(); err != nil {
		return store.Visit{}, err
	}
	v, err := t.LockVisit(ctx, id, version)
	if err != nil {
		return v, err
	}
	if v.State != store.Booked {
		return v, conflict("only a booked visit can be moved; this one is " + words(v.State))
	}
	if v.ApprovedBy = cmp.Or(approvedBy, v.ApprovedBy); v.ApprovedBy == "" && needsAftercare(v) && n.tooSoon(s.now(), start) {
		return v, needsYes([]CautionBody{n.askSkinTest()})
	}
	c, err := recompose(ctx, t, v, lead)
	if err != nil {
		return v, err
	}
	p, err := s.place(ctx, t, n, c.plan, start, id)
	if err != nil {
		return v, err
	}
	before := v.Start
	p.visit(&v)
	if err := taken(t.ReplacePlan(ctx, &v, p.blocks())); err != nil {
		return v, err
	}
	if err := t.SyncParts(ctx, v.ID, v.Client, p.parts(n, v)); err != nil {
		return v, err
	}
	if err := t.WithdrawReminders(ctx, v.ID); err != nil {
		return v, err
	}
	return v, s.remindBooked(ctx, t, n, v, &before)
}

// newLead says who is in charge of a visit after a move. The zero value keeps
// everybody.
type newLead struct {
	ID  string // in charge of whatever the stylist of the first service led
	Any bool   // anybody who can, for every service
}

func (l newLead) of(v store.Visit, i int) string {
	switch {
	case l.Any:
		return ""
	case l.ID != "" && v.Services[i].Lead == v.Services[0].Lead:
		return l.ID
	}
	return v.Services[i].Lead
}

// recompose builds the plan of a visit that is booked already, with the
// versions of services and the minutes that it was booked with.
func recompose(ctx context.Context, t *store.Tx, v store.Visit, lead newLead) (*composed, error) {
	c := &composed{}
	var parts []openings.VisitService
	for i, x := range v.Services {
		row, err := t.ServiceVersion(ctx, x.Service, x.Version)
		if err != nil {
			return nil, err
		}
		part, err := rebook(row.Service, v, i)
		if err != nil {
			return nil, err
		}
		part.LeadID = lead.of(v, i)
		parts = append(parts, part)
		c.services = append(c.services, x)
		c.estimates = append(c.estimates, nil)
		c.aftercare = c.aftercare || x.Aftercare
	}
	var err error
	c.plan, err = openings.ComposeVisit(parts)
	return c, err
}

// rebook gives the steps of service i of v the minutes they have in the plan.
func rebook(x scheduling.Service, v store.Visit, i int) (openings.VisitService, error) {
	out := openings.VisitService{Service: x, Hands: 1}
	var planned []scheduling.PlannedStep
	var seated []bool
	for _, st := range v.Steps {
		if st.Service != i {
			continue
		}
		planned = append(planned, scheduling.PlannedStep{Kind: scheduling.StepKind(st.Kind),
			Length: int(st.End.Sub(st.Start) / time.Minute), Looks: st.Looks})
		seated = append(seated, st.UnitIn(openings.RoleChair) != "")
		if st.UnitIn(openings.RoleHelper) != "" {
			out.Hands = 2
		}
	}
	var err error
	if out.Steps, err = x.Retime(planned); err != nil {
		return out, fmt.Errorf("api: visit %s: %w", v.ID, err)
	}
	for k := range out.Steps {
		if !seated[k] {
			out.Steps[k].Where = scheduling.AtDesk
		}
	}
	return out, nil
}

// cancel frees the time of a visit that has not begun, as cancelled or missed.
func (s *Server) cancel(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, to store.VisitState) error {
	if v.State != store.Booked && (v.State != store.Arrived || to != store.Cancelled) {
		return conflict("the visit is " + words(v.State) + " and cannot become " + words(to))
	}
	v.State = to
	if err := t.SetVisitState(ctx, v); err != nil {
		return err
	}
	if err := t.SyncParts(ctx, v.ID, v.Client, nil); err != nil {
		return err
	}
	if err := t.WithdrawReminders(ctx, v.ID); err != nil || to == store.Missed {
		return err
	}
	return s.remind(ctx, t, n, *v, "cancelled", s.now(), nil)
}

func (s *Server) arrive(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
	if v.State != store.Booked {
		return conflict("the visit is " + words(v.State))
	}
	if day := scheduling.CivilDate(v.Start, n.loc); !day.Equal(scheduling.CivilDate(s.now(), n.loc)) {
		return conflict("the visit is on " + v.Start.In(n.loc).Format("Monday 2 January") + ": only today's clients can arrive")
	}
	now := s.now().Truncate(time.Second)
	v.State, v.ArrivedAt = store.Arrived, &now
	return t.SetVisitState(ctx, v)
}

// finish notes the real end, from which aftercare counts.
func (s *Server) finish(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, ended *time.Time) error {
	if !v.State.Open() {
		return conflict("the visit is " + words(v.State))
	}
	now := s.now().Truncate(time.Second)
	if ended == nil {
		ended = &now
	}
	if !ended.After(v.Start) || ended.After(now.Add(time.Minute)) {
		return &scheduling.InvalidError{Field: "ended_at", Problem: "is " + ended.Format(time.RFC3339),
			Want: "a time after the start of the visit and not in the future"}
	}
	v.State, v.FinishedAt = store.Finished, ended
	if err := t.SetVisitState(ctx, v); err != nil {
		return err
	}
	if err := t.SyncClientParts(ctx, v.ID, v.Client, clientParts(n, *v, *ended)); err != nil {
		return err
	}
	if err := t.WithdrawReminders(ctx, v.ID); err != nil {
		return err
	}
	if needsAftercare(*v) {
		if err := t.WithdrawOlderRetouch(ctx, v.Client, v.ID); err != nil {
			return err
		}
	}
	return s.remindFinished(ctx, t, n, *v)
}

// words names a state as screens do.
func words(s store.VisitState) string {
	switch s {
	case store.UnderWay:
		return "under way"
	case store.StoppedEarly:
		return "stopped early"
	case store.Missed:
		return "marked as “did not come”"
	case store.Held:
		return "pencilled"
	case store.Lapsed:
		return "pencilled and not booked in time"
	case store.Booked, store.Arrived, store.Finished, store.Cancelled:
	}
	return string(s)
}

// Book books a visit of a salon outside of a request, by the same way as
// POST /v1/visits.
func (s *Server) Book(ctx context.Context, salon string, b VisitRequest) (store.Visit, error) {
	var v store.Visit
	err := s.store.InTx(ctx, salon, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		v, err = s.book(ctx, t, n, b)
		return err
	})
	return v, err
}

// Openings asks when a visit of a salon fits, by the same way as
// POST /v1/openings.
func (s *Server) Openings(ctx context.Context, salon string, b OpeningsRequest) (OpeningsAnswer, error) {
	out, err := s.findOpenings(withPrincipal(ctx, store.Principal{Salon: salon}), &openingsInput{Body: b})
	if err != nil {
		return OpeningsAnswer{}, err
	}
	return out.Body, nil
}

// Finish ends a visit of a salon as it was planned.
func (s *Server) Finish(ctx context.Context, salon, visit string) error {
	return s.store.InTx(ctx, salon, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		v, err := t.LockVisit(ctx, visit, 0)
		if err != nil {
			return err
		}
		end := v.End
		return s.finish(ctx, t, n, &v, &end)
	})
}

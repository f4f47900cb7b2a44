package api

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// The operations below are shared by REST and the pages. Each works inside one
// transaction of the caller.

// lateBooking is how far in the past a visit may begin when it is booked (judgement): a
// walk-in is typed in after she has sat down.
const lateBooking = 15 * time.Minute

// book works a request out, places it and writes visit, blocks, calendar parts
// and messages. A clash is a *scheduling.ConflictError.
func (s *Server) book(ctx context.Context, t *store.Tx, n salonDay, b VisitRequest) (store.Visit, error) {
	list, err := s.rearrange(ctx, t, n, []change{{book: &b}})
	if err != nil {
		return store.Visit{}, err
	}
	return list[0], s.noteDone(ctx, t, didBook, list[0], wasVisit{})
}

// asked works a request out and checks all of it but whether its time is free.
func (s *Server) asked(ctx context.Context, t *store.Tx, n salonDay, b VisitRequest, as newAs) (store.Visit, *composed, error) {
	var f scheduling.Faults
	v := store.Visit{Client: b.ClientID, Title: as.title, HeldUntil: as.until}
	if as.parent != nil {
		v.Parent, v.ParentAs = as.parent, &as.parentAs
	}
	v.Note = text(&f, "note", b.Note, 0, 500)
	var err error
	if v.ApprovedBy, err = licensed(ctx, t, &f, text(&f, "approved_by", b.ApprovedBy, 0, 80)); err != nil {
		return v, nil, err
	}
	wholeMinute(&f, "start", b.Start)
	if b.Start.Before(s.now().Add(-lateBooking)) {
		f.Add("start", "lies in the past", "a start that is still to come")
	}
	somebody := b.ClientID != "" || !as.anybody()
	if somebody {
		if err := knownClient(ctx, t, &f, b.ClientID); err != nil {
			return v, nil, err
		}
	}
	c, err := compose(ctx, t, n, b.Services)
	if err := f.Join("", err); err != nil {
		return v, nil, err
	}
	if somebody {
		c.others(&f, b.ClientID)
	}
	if b.QuoteID != "" && c != nil {
		if err := c.asQuoted(ctx, t, n, &f, b.QuoteID, b.ClientID, s.now()); err != nil {
			return v, nil, err
		}
	}
	if err := f.Err(); err != nil {
		return v, nil, err
	}
	if as.parent != nil && *n.rules.FollowUpsFree {
		c.free()
	}
	if as.until != nil {
		return v, c, c.mayPencil(ctx, t, n, s.now(), b.Start, b.ClientID)
	}
	if b.ClientID != "" {
		if c.chemical {
			t.Ahead(func(t *store.Tx) error { _, err := t.LatestScreening(ctx, b.ClientID); return err })
		}
		t.Ahead(func(t *store.Tx) error { _, err := t.NeedRecords(ctx, []store.Visit{{Client: b.ClientID}}); return err })
	}
	near, err := s.spacingOf(ctx, t, n, b.ClientID, c, b.Start, "")
	if err != nil {
		return v, nil, err
	}
	if err := c.consult(ctx, t, n, b.ClientID, b.Start); err != nil {
		return v, nil, err
	}
	if err := c.prove(ctx, t, n, b.ClientID, b.Start); err != nil {
		return v, nil, err
	}
	if err := c.guarded(); err != nil {
		return v, nil, err
	}
	return v, c, c.guard(n, s.now(), b.Start, v.ApprovedBy, near)
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

// move gives a visit a new start, with the minutes and the versions of services
// that it was booked with.
func (s *Server) move(ctx context.Context, t *store.Tx, n salonDay, c change) (store.Visit, error) {
	list, err := s.rearrange(ctx, t, n, []change{c})
	if err != nil {
		return store.Visit{}, err
	}
	return list[0], nil
}

// moving locks a visit that is to be changed and checks all of the change but
// whether the new time is free.
func (s *Server) moving(ctx context.Context, t *store.Tx, n salonDay, j *job) error {
	var f scheduling.Faults
	if !j.start.IsZero() {
		wholeMinute(&f, "start", j.start)
		if j.start.Before(s.now().Add(-lateBooking)) {
			f.Add("start", "lies in the past", "a start that is still to come")
		}
	}
	if err := j.lead.known(ctx, t, &f); err != nil {
		return err
	}
	approvedBy, err := licensed(ctx, t, &f, text(&f, "approved_by", j.approvedBy, 0, 80))
	if err != nil {
		return err
	}
	if err := f.Err(); err != nil {
		return err
	}
	if j.v, err = t.LockVisit(ctx, j.id, j.version); err != nil {
		return err
	}
	j.before = j.v
	j.before.Services = slices.Clone(j.v.Services)
	switch {
	case j.exact != nil && len(j.exact.sch.Phases) > 0:
		j.start = j.exact.h.Time(j.exact.sch.Phases[0].Start)
	case j.start.IsZero():
		j.start = j.v.Start
	}
	if err := mayMove(n, j.v, j.start, s.now()); err != nil {
		return err
	}
	if err := j.lead.fits(j.v); err != nil {
		return err
	}
	j.v.ApprovedBy = cmp.Or(approvedBy, j.v.ApprovedBy)
	if j.c = j.work; j.c == nil {
		if j.c, err = recompose(ctx, t, j.v, j.lead); err != nil {
			return err
		}
	}
	if err := j.c.prove(ctx, t, n, j.v.Client, j.start); err != nil {
		return err
	}
	var ask []CautionBody
	if !j.c.tested && n.skinTestAgain(s.now(), j.before, j.c, j.start, approvedBy) {
		ask = append(ask, n.askSkinTest())
	}
	if !j.start.Equal(j.before.Start) {
		asked, err := j.c.elsewhere(ctx, t, n, j.v.Client, j.start)
		if err != nil {
			return err
		}
		if j.v.State != store.Held { // which is asked about when it is booked
			ask = append(ask, asked...)
		}
	}
	return s.guardMove(ctx, t, n, j.before, j.c, j.start, approvedBy, ask)
}

// skinTestAgain reports whether a new start of v asks for a yes because a skin
// test made now could not be read before it. Agreed to is only a start that was
// too soon already; a later one then gives more time.
func (n salonDay) skinTestAgain(now time.Time, v store.Visit, c *composed, start time.Time, approvedBy string) bool {
	agreed := approvedBy != "" || v.ApprovedBy != "" && n.tooSoon(now, v.Start) && start.After(v.Start)
	return !agreed && (c.testsSkin(n) || needsAftercare(v)) && !start.Equal(v.Start) && n.tooSoon(now, start)
}

// mayMove refuses a new start for a visit that is not to come any more. While
// its client is here it keeps its start, and the rest may still change.
func mayMove(n salonDay, v store.Visit, start, now time.Time) error {
	switch {
	case len(v.Services) == 0:
		return nobodyComes()
	case v.State == store.Held && !now.Before(*v.HeldUntil):
		return conflict("the visit was pencilled until " + v.HeldUntil.In(n.loc).Format("15:04") + " and not booked in time")
	case v.State.Open() && start.Equal(v.Start), v.State == store.Held && start.Equal(v.Start):
		return nil
	case v.State != store.Booked && v.State != store.Held:
		return conflict("only a booked or pencilled visit can be moved; this one is " + words(v.State))
	case start.Before(now.Add(-lateBooking)):
		return conflict("the new start, " + start.In(n.loc).Format("15:04") + ", lies in the past")
	}
	return nil
}

// newLead says who is in charge of a visit after a move. The zero value keeps
// everybody.
type newLead struct {
	ID  string   // in charge of whatever the stylist of the first service led
	By  []string // by service, "" keeps; goes before ID
	Any bool     // anybody who can, for every service
}

func (l newLead) of(v store.Visit, i int) string {
	switch {
	case l.Any:
		return ""
	case i < len(l.By) && l.By[i] != "":
		return l.By[i]
	case l.ID != "" && v.Services[i].Lead == v.Services[0].Lead:
		return l.ID
	}
	return v.Services[i].Lead
}

// known notes people who cannot be in charge.
func (l newLead) known(ctx context.Context, t *store.Tx, f *scheduling.Faults) error {
	if err := knownLead(ctx, t, f, "", l.ID); err != nil {
		return err
	}
	for i, id := range l.By {
		var one scheduling.Faults
		if err := knownLead(ctx, t, &one, "", id); err != nil {
			return err
		}
		for _, e := range one {
			f.Add(index("lead_ids", i), e.Problem, e.Want)
		}
	}
	return nil
}

// fits reports more stylists than the visit has services.
func (l newLead) fits(v store.Visit) error {
	if len(l.By) > len(v.Services) {
		return &scheduling.InvalidError{Field: "lead_ids", Problem: fmt.Sprintf("has %d entries", len(l.By)),
			Want: fmt.Sprintf("at most %d, one for each service of the visit", len(v.Services))}
	}
	return nil
}

// recompose builds the plan of a visit that is booked already, with the
// versions of services and the minutes that it was booked with.
func recompose(ctx context.Context, t *store.Tx, v store.Visit, lead newLead) (*composed, error) {
	return recomposeWith(func(x store.VisitService) (store.ServiceRow, error) {
		return t.ServiceVersion(ctx, x.Service, x.Version)
	}, v, lead)
}

// recomposeWith is recompose with somebody else who knows the services.
func recomposeWith(service func(store.VisitService) (store.ServiceRow, error), v store.Visit, lead newLead) (*composed, error) {
	c := &composed{visit: v.ID}
	var parts []openings.VisitService
	for i, x := range v.Services {
		row, err := service(x)
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
		c.chemical = c.chemical || row.Chemical
		c.spaced = append(c.spaced, row.Spaced())
	}
	var err error
	c.plan, err = openings.ComposeVisit(parts)
	return c, err
}

// rebook gives the steps of service i of v the minutes they have in the plan.
func rebook(x scheduling.Service, v store.Visit, i int) (openings.VisitService, error) {
	out := openings.VisitService{Service: x, Hands: 1}
	var planned []scheduling.PlannedStep
	var seated, led []bool
	for _, st := range v.Steps {
		if st.Service != i {
			continue
		}
		planned = append(planned, scheduling.PlannedStep{Kind: scheduling.StepKind(st.Kind),
			Length: int(st.End.Sub(st.Start) / time.Minute), Looks: st.Looks})
		seated, led = append(seated, st.UnitIn(openings.RoleChair) != ""), append(led, st.UnitIn(openings.RoleLead) != "")
		if st.UnitIn(openings.RoleHelper) != "" {
			out.Hands = 2
		}
		if w := st.UnitIn(openings.RoleWatcher); w != "" {
			out.WatcherID = w
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
		if st := &out.Steps[k]; led[k] && st.Who == scheduling.ByAssistant {
			st.Who = scheduling.ByLead // no assistant might do it when it was booked
		}
	}
	return out, nil
}

// cancel frees the time of a visit that has not begun, as cancelled or missed.
func (s *Server) cancel(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, to store.VisitState) error {
	return s.cancelAll(ctx, t, n, to, v)
}

// cancelAll is cancel for locked visits that end together.
func (s *Server) cancelAll(ctx context.Context, t *store.Tx, n salonDay, to store.VisitState, visits ...*store.Visit) error {
	var parts []store.VisitParts
	before := make([]store.Visit, len(visits))
	for i, v := range visits {
		if v.State != store.Booked && (v.State != store.Arrived && v.State != store.Held || to != store.Cancelled) {
			return conflict("the visit is " + words(v.State) + " and cannot become " + words(to))
		}
		before[i] = *v
		v.State = to
		if err := t.SetVisitState(ctx, v); err != nil {
			return err
		}
		parts = append(parts, store.VisitParts{Visit: v.ID, Client: v.Client})
	}
	if err := t.SyncPartsOf(ctx, parts); err != nil {
		return err
	}
	var news []changedVisit
	for i, v := range visits {
		if err := s.tellOff(ctx, t, n, *v, before[i].State); err != nil {
			return err
		}
		news = append(news, changedVisit{before: before[i], is: *v})
	}
	if to == store.Missed {
		return s.tellMissed(ctx, t, n, news...)
	}
	return s.tellDays(ctx, t, n, news...)
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
	if err := canEnd(n, *v, *ended, now); err != nil {
		return err
	}
	v.State, v.FinishedAt = store.Finished, ended
	if err := s.noted(ctx, t, v, store.Event{Kind: store.EventDone, At: *ended}); err != nil {
		return err
	}
	g, err := growthFor(ctx, t, n, *v)
	if err != nil {
		return err
	}
	if needsAftercare(*v) {
		if err := t.WithdrawOlderRetouch(ctx, v.Client, v.ID); err != nil {
			return err
		}
	}
	if err := freeRest(ctx, t, *v, clientParts(n, *v, *ended, g)); err != nil {
		return err
	}
	if err := s.followVisit(ctx, t, n, *v); err != nil {
		return err
	}
	if err := s.useProducts(ctx, t, *v); err != nil {
		return err
	}
	return s.followOthers(ctx, t, n, *v)
}

// Book books a visit of a salon outside of a request, by the same way as
// POST /v1/visits. Errors are scheduling.Faults or an *scheduling.InvalidError about
// fields of b, a *scheduling.ConflictError when something stands in the way, and those
// of store.Tx.
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
// POST /v1/openings. Errors are scheduling.Faults or an *scheduling.InvalidError about
// fields of b, and those of store.Tx.
func (s *Server) Openings(ctx context.Context, salon string, b OpeningsRequest) (OpeningsAnswer, error) {
	out, err := s.findOpenings(withPrincipal(ctx, store.Principal{Salon: salon}), &openingsInput{Body: b})
	if err != nil {
		return OpeningsAnswer{}, err
	}
	return out.Body, nil
}

// Finish ends a visit of a salon as it was planned. It returns scheduling.ErrNotFound, a
// *Problem with status 409 for a visit that is over, and an *scheduling.InvalidError
// (ended_at) when it cannot have ended at its planned end.
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

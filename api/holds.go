package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/store"
)

// longestHold is how long a visit can be pencilled until a given time: what is
// given is the date of a deposit (judgement).
const longestHold = 30 * 24 * time.Hour

// HoldRequest pencils a visit at a start that POST /openings gave.
type HoldRequest struct {
	Start    time.Time        `json:"start" doc:"Whole minute, as an opening said"`
	Services []ServiceRequest `json:"services" nullable:"false" minItems:"1" maxItems:"8" doc:"In order, in one chair"`
	ClientID string           `json:"client_id,omitempty" maxLength:"64" doc:"Left out: nobody who is known yet"`
	Title    string           `json:"title,omitempty" doc:"Who is asking, where the client is not known yet"`
	Note     string           `json:"note,omitempty"`
	QuoteID  string           `json:"quote_id,omitempty" maxLength:"64" doc:"A quote for the same services and hair, whose prices are kept"`
	// WaitingID is served by what is pencilled.
	WaitingID string `json:"waiting_list_id,omitempty" maxLength:"64" doc:"The waiting-list request of the same client for which the time is pencilled: as long as it is, the request is offered nothing else, and it is taken off the list when the visit is booked"`
	HoldFor
}

// HoldFor says how long a visit is pencilled.
type HoldFor struct {
	Minutes int        `json:"minutes,omitempty" minimum:"1" maximum:"1440" doc:"From now on, but no longer than the visit can still be booked; left out: hold_minutes of the rules of booking"`
	Until   *time.Time `json:"until,omitempty" doc:"Instead of minutes: such as the date by which a deposit is to be there; no later than the start, and at most 30 days from now"`
	Deposit string     `json:"until_deposit,omitempty" format:"date" doc:"Instead of both: until the end of the day by which the deposit is to be there, but no longer than the visit can still be booked; at most needs.deposit_hold_days of the rules of booking from today"`
}

// HoldBody is a pencilled visit.
type HoldBody struct {
	VisitBody
	SecondsLeft int   `json:"seconds_left" doc:"Until it lapses, as of this answer"`
	Version     int64 `json:"version" doc:"The number in the visit's ETag"`
}

// HeldBooking books a pencilled visit.
type HeldBooking struct {
	ClientID   string `json:"client_id,omitempty" maxLength:"64" doc:"Whom the visit is for; left out: the client for whom it was pencilled"`
	ApprovedBy string `json:"approved_by,omitempty" doc:"Licensed person who said yes to cautions that ask for it"`
	Note       string `json:"note,omitempty" doc:"Left out: the one it was pencilled with"`
}

type holdInput struct {
	Repeatable
	Body HoldRequest
}
type bookHeldInput struct {
	ByID
	Precondition
	Body HeldBooking
}
type holdLongerInput struct {
	ByID
	Precondition
	Body HoldFor
}

func (s *Server) holdRoutes() {
	route(s, huma.Operation{OperationID: "add-hold", Method: http.MethodPost, Path: "/holds", Summary: "Pencil a visit: nobody else gets its time for a while",
		DefaultStatus: http.StatusCreated, Errors: []int{http.StatusBadRequest, http.StatusConflict}}, s.addHold)
	route(s, huma.Operation{OperationID: "list-holds", Method: http.MethodGet, Path: "/holds", Summary: "Visits that are pencilled, those that lapse first before the others"}, s.listHolds)
	route(s, huma.Operation{OperationID: "book-held-visit", Method: http.MethodPost, Path: "/visits/{id}/book",
		Summary: "Book a pencilled visit; one that has lapsed is booked when its time is still free"}, s.bookHeldVisit)
	route(s, huma.Operation{OperationID: "release-visit", Method: http.MethodPost, Path: "/visits/{id}/release", Summary: "Give a pencilled visit up"}, s.releaseVisit)
	route(s, huma.Operation{OperationID: "hold-visit", Method: http.MethodPost, Path: "/visits/{id}/hold", Summary: "Let a pencilled visit stay pencilled for longer"}, s.holdLonger)
}

// newAs says how a new visit differs from one that is booked for a client.
type newAs struct {
	until *time.Time // pencilled until then; nil: booked
	title string     // who it is for, where that is no client who is known
	walk  bool       // somebody who is here and whose name is enough

	parent   *string // the visit that it follows from
	parentAs string  // how; see store.Visit
}

// anybody reports whether the visit may be without a client.
func (a newAs) anybody() bool { return a.until != nil || a.walk }

// until reads how long a visit at start is to be pencilled. Later than it can be
// booked there is nothing to wait for.
func (b HoldFor) until(f *scheduling.Faults, n salonDay, now, start time.Time) time.Time {
	now = now.Truncate(time.Second)
	if b.Deposit != "" {
		return b.untilDeposit(f, n, now, start)
	}
	if b.Until == nil {
		if b.Minutes != 0 {
			f.Count("minutes", b.Minutes, 1, 1440)
		}
		until := now.Add(time.Duration(cmp.Or(b.Minutes, n.rules.HoldMinutes)) * time.Minute)
		if last := start.Add(lateBooking); until.After(last) {
			until = last
		}
		if !until.After(now) {
			f.Add("start", "lies in the past", "a start that is still to come")
		}
		return until
	}
	until := b.Until.Truncate(time.Second)
	switch {
	case b.Minutes != 0:
		f.Add("minutes", "is given beside until", "one of the two")
	case !until.After(now):
		f.Add("until", "lies in the past", "a time that is still to come")
	case until.After(start):
		f.Add("until", "is later than the start of the visit", "the start or an earlier time")
	case until.After(now.Add(longestHold)):
		f.Add("until", "is more than 30 days away", "at most 30 days from now")
	}
	return until
}

// untilDeposit is the end of the day by which a deposit is to be there.
func (b HoldFor) untilDeposit(f *scheduling.Faults, n salonDay, now, start time.Time) time.Time {
	if b.Minutes != 0 || b.Until != nil {
		f.Add("until_deposit", "is given beside minutes or until", "one of the three")
	}
	var own scheduling.Faults
	d, today, most := day(&own, "until_deposit", b.Deposit), n.today(now), n.depositHoldDays()
	switch {
	case len(own) > 0:
		*f = append(*f, own...)
	case d.Before(today):
		f.Add("until_deposit", "lies in the past", "today or a later day")
	case int(d.Sub(today)) > most:
		f.Add("until_deposit", fmt.Sprintf("is more than %d days away", most), today.Add(date.PeriodOfDays(most)).String()+" or earlier")
	case d.After(n.today(start)):
		f.Add("until_deposit", "is later than the day of the visit", "that day or an earlier one")
	}
	_, until := scheduling.DayBounds(n.loc, d)
	if until.After(start) {
		until = start
	}
	if len(own) == 0 && !d.Before(today) && !until.After(now) {
		f.Add("start", "lies in the past", "a start that is still to come")
	}
	return until
}

// hold pencils a visit. It is hindered by what hinders a booking, but for what
// the licensed person can say yes to when it is booked.
func (s *Server) hold(ctx context.Context, t *store.Tx, n salonDay, b HoldRequest) (store.Visit, error) {
	var f scheduling.Faults
	as := newAs{title: text(&f, "title", b.Title, 0, 80)}
	until := b.HoldFor.until(&f, n, s.now(), b.Start)
	if err := f.Err(); err != nil {
		return store.Visit{}, err
	}
	as.until = &until
	v, err := s.seize(ctx, t, n, change{as: as,
		book: &VisitRequest{ClientID: b.ClientID, Start: b.Start, Services: b.Services, Note: b.Note, QuoteID: b.QuoteID, WaitingID: b.WaitingID}})
	if err != nil {
		return v, err
	}
	return v, s.noteDone(ctx, t, didHold, v, wasVisit{})
}

// raceTries is how often a start is tried for somebody who does not mind the
// chair or the stylist when others keep being faster (judgement).
const raceTries = 3

// seize is rearrange for one new visit. Who has lost what it was to get to
// somebody faster gets another chair or stylist at the same start, if there is
// one.
func (s *Server) seize(ctx context.Context, t *store.Tx, n salonDay, c change) (store.Visit, error) {
	var list []store.Visit
	var err error
	for range raceTries {
		err = t.Savepoint(ctx, func(t *store.Tx) (err error) {
			list, err = s.rearrange(ctx, t, n, []change{c})
			return err
		})
		if e, ok := errors.AsType[*scheduling.ConflictError](err); !ok || e.Reason != store.ErrTaken.Error() {
			break
		}
	}
	if err != nil {
		return store.Visit{}, err
	}
	return list[0], nil
}

// mayPencil refuses what can never be booked, and a time at which the client,
// if known, has another visit.
func (c *composed) mayPencil(ctx context.Context, t *store.Tx, n salonDay, now, start time.Time, client string) error {
	if err := c.consult(ctx, t, n, client, start); err != nil {
		return err
	}
	if err := c.prove(ctx, t, n, client, start); err != nil {
		return err
	}
	if err := c.guard(n, now, start, "asked when it is booked", nil); err != nil || client == "" {
		return err
	}
	other, err := t.ClientTimes(ctx, client, start, start.Add(time.Duration(c.minutes())*time.Minute), "")
	if err == nil && len(other) > 0 {
		err = taken(store.ErrClientBusy)
	}
	return err
}

func (s *Server) addHold(ctx context.Context, in *holdInput) (*created[VisitBody], error) {
	out, err := createVisit(ctx, s, in.Repeatable, "/holds", in.Body, s.hold)
	return out, s.withAlternatives(ctx, err, in.Body.Start, func(t *store.Tx, n salonDay) (*composed, string, error) {
		c, err := compose(ctx, t, n, in.Body.Services)
		return c, in.Body.ClientID, err
	}, "")
}

func (s *Server) listHolds(ctx context.Context, _ *empty) (*listBody[HoldBody], error) {
	var rows []store.Visit
	var n salonDay
	now := s.now()
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if n, err = loadSalon(ctx, t); err != nil {
			return err
		}
		rows, err = t.Holds(ctx, now)
		return err
	})
	return listOf(rows, func(v store.Visit) HoldBody {
		return HoldBody{writeVisit(v, n, nil), secondsLeft(v, now), v.Version}
	}), err
}

// secondsLeft is how long v is still pencilled at now, 0 when it is not.
func secondsLeft(v store.Visit, now time.Time) int {
	if v.State != store.Held {
		return 0
	}
	return max(0, int(v.HeldUntil.Sub(now)/time.Second))
}

// over reports whether v was pencilled and its time has run out by now, noted
// or not.
func over(v store.Visit, now time.Time) bool {
	return v.State == store.Lapsed || v.State == store.Held && !now.Before(*v.HeldUntil)
}

// lockHeld locks a visit that is or was pencilled. That it has lapsed since it
// was read is no change that somebody made: the version before it counts, too.
func lockHeld(ctx context.Context, t *store.Tx, id string, version int64) (store.Visit, error) {
	v, err := t.LockVisit(ctx, id, 0)
	switch {
	case err != nil:
		return v, err
	case v.Version != version && !(v.State == store.Lapsed && v.Version == version+1):
		return v, scheduling.ErrStale
	case v.State != store.Held && v.State != store.Lapsed:
		return v, conflict("the visit is " + words(v.State) + " and not pencilled")
	}
	return v, nil
}

func (s *Server) bookHeldVisit(ctx context.Context, in *bookHeldInput) (*found[VisitBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var start time.Time
	out, err := s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) {
		v, err := s.bookHeld(ctx, t, n, in.ID, version, in.Body)
		start = v.Start
		return v, err
	})
	return out, s.withAlternatives(ctx, err, start, func(t *store.Tx, _ salonDay) (*composed, string, error) {
		v, err := t.VisitByID(ctx, in.ID)
		if err != nil {
			return nil, "", err
		}
		c, err := recompose(ctx, t, v, newLead{})
		return c, cmp.Or(in.Body.ClientID, v.Client), err
	}, in.ID)
}

// bookHeld books a pencilled visit. As long as its row says that it is pencilled
// its blocks are there, whatever the clock says, and they stay: at no moment can
// anybody else have its time. One that has lapsed is booked at the same start
// with the same stylists when they are still free; a *scheduling.ConflictError
// says that they are not. With an error, v tells as much as was read.
func (s *Server) bookHeld(ctx context.Context, t *store.Tx, n salonDay, id string, version int64, b HeldBooking) (store.Visit, error) {
	v, err := lockHeld(ctx, t, id, version)
	if err != nil {
		return v, err
	}
	lapsed := v.State == store.Lapsed
	c, err := s.maybeBooked(ctx, t, n, &v, b)
	if err != nil {
		return v, err
	}
	if !lapsed {
		if err := s.stillThere(ctx, t, n, v); err != nil {
			return v, err
		}
	}
	if err := taken(t.BookHeld(ctx, &v)); err != nil {
		return v, err
	}
	if lapsed {
		list, err := s.rearrange(ctx, t, n, []change{{id: v.ID, version: v.Version, approvedBy: v.ApprovedBy}})
		if err != nil {
			return v, err
		}
		v = list[0]
	} else if err := fillCalendars(ctx, t, n, c, v); err != nil {
		return v, err
	}
	if err := s.askDeposit(ctx, t, n, v, c.chemical); err != nil {
		return v, err
	}
	if err := t.SettleWishOf(ctx, v.ID); err != nil {
		return v, err
	}
	if err := s.tellBooked(ctx, t, n, v); err != nil {
		return v, err
	}
	if err := s.tellDays(ctx, t, n, changedVisit{is: v}); err != nil {
		return v, err
	}
	return v, s.noteDone(ctx, t, didBook, v, wasVisit{})
}

// maybeBooked checks all of the booking of v but whether its time is free, with
// today's cautions, and notes in v for whom it is.
func (s *Server) maybeBooked(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, b HeldBooking) (*composed, error) {
	var f scheduling.Faults
	v.Note = cmp.Or(text(&f, "note", b.Note, 0, 500), v.Note)
	var err error
	if v.ApprovedBy, err = licensed(ctx, t, &f, text(&f, "approved_by", b.ApprovedBy, 0, 80)); err != nil {
		return nil, err
	}
	if v.Client = cmp.Or(b.ClientID, v.Client); v.Client == "" {
		f.Add("client_id", "is missing, and the visit was pencilled for nobody in particular", "the id of a client of this salon")
	} else if err := knownClient(ctx, t, &f, v.Client); err != nil {
		return nil, err
	}
	c, err := recompose(ctx, t, *v, newLead{})
	if err != nil {
		return nil, err
	}
	if err := f.Join("", c.judge(ctx, t, n, *v)); err != nil {
		return nil, err
	}
	c.others(&f, v.Client)
	if err := stillQuoted(ctx, t, n, &f, *v, s.now()); err != nil {
		return nil, err
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	if v.Start.Before(s.now().Add(-lateBooking)) {
		return nil, conflict("the visit was to begin at " + v.Start.In(n.loc).Format("15:04") + ", which is over")
	}
	near, err := spacing(ctx, t, n, v.Client, c.spaced, v.Start, v.End, v.ID, s.now())
	if err != nil {
		return nil, err
	}
	if err := c.consult(ctx, t, n, v.Client, v.Start); err != nil {
		return nil, err
	}
	if err := c.prove(ctx, t, n, v.Client, v.Start); err != nil {
		return nil, err
	}
	if err := c.guarded(); err != nil {
		return nil, err
	}
	return c, c.guard(n, s.now(), v.Start, v.ApprovedBy, near)
}

// judge reads the estimates of a visit that was worked out before and judges its
// hair by today's settings, with the steps that are booked.
func (c *composed) judge(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) error {
	var f scheduling.Faults
	for i, x := range v.Services {
		if x.Estimate == nil {
			continue
		}
		row, err := t.EstimateByID(ctx, *x.Estimate)
		if err != nil {
			return err
		}
		w, err := readEstimate(row)
		if err != nil {
			return err
		}
		var steps []scheduling.TimedStep
		for _, st := range c.plan.Steps {
			if st.Service == i {
				steps = append(steps, st.TimedStep)
			}
		}
		w.cautions, err = n.cautions(w.head(), steps)
		if err := f.Join(scheduling.Under(index("services", i), "hair"), err); err != nil {
			return err
		}
		c.estimates[i], c.spaced[i].RegrowthCM = w, w.hair.RegrowthCM
	}
	return f.Err()
}

// stillThere is a clash when somebody whom v needs is away at its time, or the
// salon closed, which may have been decided after it was pencilled. Until the
// transaction ends nobody can decide so.
func (s *Server) stillThere(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) error {
	blocks, err := t.BlocksBetween(ctx, v.Start, v.End)
	if err != nil {
		return err
	}
	var units []string
	for unit, list := range blocks {
		if slices.ContainsFunc(list, func(b store.DayBlock) bool { return b.Visit == v.ID }) {
			units = append(units, unit)
		}
	}
	if err := t.LockForBooking(ctx, units, v.Start, v.End); err != nil {
		return err
	}
	h := around(n.loc, scheduling.CivilDate(v.Start, n.loc), scheduling.CivilDate(v.End, n.loc))
	shop, err := t.LoadShop(ctx, h, s.now(), v.ID)
	if err != nil {
		return err
	}
	names, err := unitNames(ctx, t)
	if err != nil {
		return err
	}
	var why []string
	for _, k := range misfit(h, shop, v, blocks) {
		why = append(why, misfitWords(k, names, n.loc))
	}
	if len(why) > 0 {
		return &scheduling.ConflictError{Reason: strings.Join(why, "; ")}
	}
	return nil
}

// misfitWords says what does not fit.
func misfitWords(k store.DayBlock, names map[string]string, loc *time.Location) string {
	if k.Unit == "" {
		return "the salon is not open for the whole visit"
	}
	return fmt.Sprintf("%s is not there from %s to %s", names[k.Unit], k.Start.In(loc).Format("15:04"), k.End.In(loc).Format("15:04"))
}

// fillCalendars puts a visit that was only pencilled into the calendars.
func fillCalendars(ctx context.Context, t *store.Tx, n salonDay, c *composed, v store.Visit) error {
	h := around(n.loc, scheduling.CivilDate(v.Start, n.loc), scheduling.CivilDate(v.End, n.loc))
	sch, ok := scheduleOf(c.plan, v, h)
	if !ok {
		return fmt.Errorf("api: pencilled visit %s has other steps than its services", v.ID)
	}
	for _, st := range c.plan.Steps { // some are in charge without being there
		sch.Roles[st.Lead] = v.Services[st.Service].Lead
	}
	p := placed{h: h, plan: c.plan, sch: sch}
	g, err := growthFor(ctx, t, n, v)
	if err != nil {
		return err
	}
	return t.SyncParts(ctx, v.ID, v.Client, p.parts(n, v, g))
}

// asksLater is what will need the licensed person's yes when a pencilled visit
// is booked.
func (s *Server) asksLater(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) ([]CautionBody, error) {
	if v.State != store.Held {
		return nil, nil
	}
	c, err := recompose(ctx, t, v, newLead{})
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults // hair that today's settings do not take any more is said when it is booked
	if err := f.Join("", c.judge(ctx, t, n, v)); err != nil {
		return nil, err
	}
	if err := c.consult(ctx, t, n, v.Client, v.Start); err != nil {
		return nil, err
	}
	if err := c.prove(ctx, t, n, v.Client, v.Start); err != nil {
		return nil, err
	}
	if p, ok := errors.AsType[*Problem](c.guard(n, s.now(), v.Start, "", nil)); ok {
		return p.Cautions, nil
	}
	return nil, nil
}

func (s *Server) releaseVisit(ctx context.Context, in *visitChange) (*found[VisitBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) { return s.release(ctx, t, n, in.ID, version) })
}

// release gives a pencilled visit up. One that has lapsed stays as it is.
func (s *Server) release(ctx context.Context, t *store.Tx, n salonDay, id string, version int64) (store.Visit, error) {
	v, err := lockHeld(ctx, t, id, version)
	if err != nil || v.State == store.Lapsed {
		return v, err
	}
	err = s.cancel(ctx, t, n, &v, store.Cancelled)
	return v, err
}

func (s *Server) holdLonger(ctx context.Context, in *holdLongerInput) (*found[VisitBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) {
		v, err := lockHeld(ctx, t, in.ID, version)
		if err == nil {
			err = s.pencilLonger(ctx, t, n, &v, in.Body)
		}
		return v, err
	})
}

// pencilLonger lets a locked visit stay pencilled for as long as b says.
func (s *Server) pencilLonger(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, b HoldFor) error {
	if v.State == store.Lapsed {
		return conflict("the visit was pencilled until " + v.HeldUntil.In(n.loc).Format("15:04") + " and its time is free again: book it, or pencil it anew")
	}
	var f scheduling.Faults
	until := b.until(&f, n, s.now(), v.Start)
	if err := f.Err(); err != nil {
		return err
	}
	if err := t.HoldUntil(ctx, v, until); err != nil {
		return err
	}
	return s.followVisit(ctx, t, n, *v)
}

package api

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/store"
)

// VisitRequest books a visit at a start that POST /openings gave.
type VisitRequest struct {
	ClientID   string           `json:"client_id" maxLength:"64"`
	Start      time.Time        `json:"start" doc:"Whole minute, as an opening said"`
	Services   []ServiceRequest `json:"services" nullable:"false" minItems:"1" maxItems:"8" doc:"In order, in one chair"`
	Note       string           `json:"note,omitempty"`
	ApprovedBy string           `json:"approved_by,omitempty" doc:"Licensed person who said yes to cautions that ask for it"`
	QuoteID    string           `json:"quote_id,omitempty" maxLength:"64" doc:"A quote for the same services and hair, whose prices are kept; left out: today's prices"`
	WaitingID  string           `json:"waiting_list_id,omitempty" maxLength:"64" doc:"The waiting-list request of the same client that the visit serves: it is taken off the list with the booking, or nothing is booked"`
}

// VisitBody is a visit.
type VisitBody struct {
	ID           string             `json:"id"`
	ClientID     string             `json:"client_id" doc:"Empty for a walk-in, for kept time and for a pencilled visit of somebody who is not known yet"`
	Title        string             `json:"title,omitempty" doc:"Who or what the time is for, where there is no client"`
	HeldUntil    *time.Time         `json:"held_until,omitempty" doc:"Pencilled until then"`
	GroupID      string             `json:"group_id,omitempty" doc:"Visits that belong together"`
	State        string             `json:"state" enum:"held,lapsed,booked,arrived,under_way,finished,stopped_early,cancelled,missed"`
	Start        time.Time          `json:"start"`
	End          time.Time          `json:"end"`
	ChairID      string             `json:"chair_id"`
	PriceCents   int64              `json:"price_cents" doc:"As it was booked, in the currency's smallest unit; a new price of a service changes nothing"`
	FromCents    int64              `json:"price_from_cents,omitempty" doc:"With price_to_cents: between which the price lies as it was said on the telephone; both left out once it is firm, which it is when somebody has looked at the hair or has noted a price. price_cents is that of the time that is kept"`
	ToCents      int64              `json:"price_to_cents,omitempty"`
	Note         string             `json:"note"`
	ApprovedBy   string             `json:"approved_by"`
	ArrivedAt    *time.Time         `json:"arrived_at,omitempty"`
	FinishedAt   *time.Time         `json:"finished_at,omitempty"`
	SaidYesAt    *time.Time         `json:"client_said_yes_at,omitempty" doc:"When the client said that she comes at this start"`
	KeepDryUntil *time.Time         `json:"keep_dry_until,omitempty"`
	UntiedUntil  *time.Time         `json:"untied_until,omitempty"`
	Services     []VisitServiceBody `json:"services" nullable:"false"`
	Steps        []VisitStepBody    `json:"steps" nullable:"false"`
	// CanStartUntil is left out where it does not matter or is not asked for.
	CanStartUntil *StartUntilBody `json:"can_start_until,omitempty" doc:"How late it can begin; only in the answer about one visit and of a day, while it is booked or the client is here"`
	Reminders     []ReminderBody  `json:"reminders,omitempty" doc:"Messages that are due because of the visit"`
	WaitingFits   *int            `json:"waiting_list_fits,omitempty" doc:"How many of the waiting-list requests for that day fit now, of the 20 most valuable; only in the answer when the visit is cancelled or did not come, and somebody waits"`
	Reply         *ReplyWords     `json:"invitation_reply,omitempty" doc:"What the client's calendar answered last to the invitation; only where one visit is answered"`
	StillNeeded   []NeedBody      `json:"still_needed,omitempty" doc:"What there has to be before the visit can begin, done or not; only where one visit is answered, while it is to come"`
	StillOpen     *int            `json:"still_needed_open,omitempty" doc:"How much of that is not there; only in the answer about one visit and of a day"`
	FollowsID     string          `json:"follows_visit_id,omitempty" doc:"The visit that this one follows from"`
	FollowsAs     string          `json:"follows_as,omitempty" enum:"first_wash_check,correction"`
	Source        string          `json:"source,omitempty" enum:"client" doc:"client: she booked it on her own pages; only where one visit is answered"`
	Cautions      []CautionBody   `json:"cautions,omitempty" doc:"Too near to another visit of the client, and as long as it is pencilled what needs a yes when it is booked; only where one visit is answered"`

	PriceToday *int64               `json:"price_today_cents,omitempty" doc:"What it would cost if it were booked today; only where one visit is answered, and where that differs"`
	QuoteID    string               `json:"quote_id,omitempty" doc:"The quote that its prices are from; only where one visit is answered"`
	Products   []VisitProductBody   `json:"products,omitempty" doc:"What it takes, reserved until it is over; only where one visit is answered"`
	Deposit    *MoneyDepositBody    `json:"deposit,omitempty" doc:"What was asked ahead; only where one visit is answered"`
	Question   *DepositQuestionBody `json:"deposit_question,omitempty" doc:"Only in the answer when the visit is cancelled or did not come, and something was paid for it"`

	ClientName string            `json:"client_name,omitempty" doc:"First name and initial, or whom or what the time is for; only in the answers to GET of one visit or a group, and to a swap"`
	UnitNames  map[string]string `json:"unit_names,omitempty" doc:"Names of everybody and everything in it by id; only in the answers to GET of one visit or a group, and to a swap"`
	ContactBy  string            `json:"contact_by,omitempty" enum:"mail,call,text,none,not_asked" doc:"The preferred way of the client, or of a minor's guardian; only in the answers to GET of one visit and to a swap"`
	Chemical   bool              `json:"chemical,omitempty" doc:"A service of it works with chemicals; only in the answers to GET of one visit and to a swap"`
	Kept       []string          `json:"kept,omitempty" doc:"Who and what is kept, where the time is for no visit; only in the answers to GET of one visit and to a swap"`
	Booked     []CautionBody     `json:"cautions_when_booked,omitempty" doc:"What there was to say of the hair when it was booked; only in the answers to GET of one visit and to a swap"`
}

// VisitServiceBody is one service of a visit.
type VisitServiceBody struct {
	ServiceID      string `json:"service_id"`
	ServiceVersion int    `json:"service_version"`
	Name           string `json:"name"`
	LeadID         string `json:"lead_id"`
	EstimateID     string `json:"estimate_id,omitempty"`
	PriceCents     int64  `json:"price_cents"`
	FromCents      int64  `json:"price_from_cents,omitempty" doc:"As for the visit"`
	ToCents        int64  `json:"price_to_cents,omitempty"`
}

// VisitStepBody is one step of a visit's plan.
type VisitStepBody struct {
	Service int            `json:"service_index"`
	Kind    string         `json:"kind"`
	Label   string         `json:"label"`
	Start   time.Time      `json:"start"`
	End     time.Time      `json:"end"`
	HandsOn bool           `json:"hands_on"`
	Watched bool           `json:"watched"`
	Units   []StepUnitBody `json:"units" nullable:"false"`
	// WatchFor is left out where visits are listed.
	WatchFor []string `json:"watch_for,omitempty" doc:"Short lines for whoever does it, as the visit was booked, with the salon's figures filled in; left out where several visits are listed"`
	// What really happened, as long as somebody knows.
	RealStart *time.Time `json:"real_start,omitempty" doc:"When it really began"`
	RealEnd   *time.Time `json:"real_end,omitempty" doc:"When it was really over"`
	Inferred  []string   `json:"inferred,omitempty" enum:"real_start,real_end" doc:"Which of the two nobody noted: it follows from what was noted of other steps"`
}

// StepUnitBody is a person or station at work in a step.
type StepUnitBody struct {
	UnitID string `json:"unit_id"`
	Role   string `json:"role" enum:"lead,chair,basin,assistant,helper,watcher"`
}

type visitInput struct {
	Repeatable
	Body VisitRequest
}
type visitQuery struct {
	ClientID string `query:"client_id" maxLength:"64" doc:"Every visit of one client"`
	From     string `query:"first_date" format:"date" doc:"With last_date: visits on these days"`
	To       string `query:"last_date" format:"date"`
}
type moveInput struct {
	ByID
	Precondition
	Body struct {
		Start   *time.Time `json:"start,omitempty" doc:"New start; left out: the one it has"`
		LeadID  string     `json:"lead_id,omitempty" maxLength:"64" doc:"Stylist in charge from now on, instead of the one of the first service; left out: those it was booked with"`
		LeadIDs []string   `json:"lead_ids,omitempty" maxItems:"8" doc:"Stylists in charge by service, in the order of the services; an empty text keeps whoever it was"`
		Any     bool       `json:"any_lead,omitempty" doc:"Anybody who can may be in charge"`
		// A visit that was booked with a yes keeps it.
		ApprovedBy string `json:"approved_by,omitempty" doc:"Licensed person who said yes when the new start is too soon for a new skin test"`
		BreakLink  bool   `json:"break_link,omitempty" doc:"Let the visit leave the visits that it belongs to when the new time does not suit them"`
	}
}
type cancelInput struct {
	ByID
	Precondition
	Body *struct {
		Others string `json:"others,omitempty" enum:"keep,cancel" doc:"What becomes of the visits that it belongs to; needed when there are any"`
	}
}
type visitChange struct {
	ByID
	Precondition
}
type finishInput struct {
	ByID
	Precondition
	Body struct {
		EndedAt *time.Time `json:"ended_at,omitempty" doc:"Real end; left out: now"`
	}
}

func (s *Server) visitRoutes() {
	route(s, huma.Operation{OperationID: "book-visit", Method: http.MethodPost, Path: "/visits", Summary: "Book a visit",
		DefaultStatus: http.StatusCreated, Errors: []int{http.StatusBadRequest, http.StatusConflict}}, s.bookVisit)
	route(s, huma.Operation{OperationID: "list-visits", Method: http.MethodGet, Path: "/visits", Summary: "Visits of a client or of some days"}, s.listVisits)
	route(s, huma.Operation{OperationID: "get-visit", Method: http.MethodGet, Path: "/visits/{id}", Summary: "One visit"}, s.getVisit)
	route(s, huma.Operation{OperationID: "move-visit", Method: http.MethodPost, Path: "/visits/{id}/move", Summary: "Move a visit to another start",
		Errors: []int{http.StatusConflict, http.StatusPreconditionFailed}}, s.moveVisit)
	route(s, huma.Operation{OperationID: "cancel-visit", Method: http.MethodPost, Path: "/visits/{id}/cancel", Summary: "Cancel a visit"}, s.cancelVisit)
	route(s, huma.Operation{OperationID: "arrive-visit", Method: http.MethodPost, Path: "/visits/{id}/arrive", Summary: "The client is here"}, s.arriveVisit)
	route(s, huma.Operation{OperationID: "finish-visit", Method: http.MethodPost, Path: "/visits/{id}/finish", Summary: "The visit is over; aftercare begins"}, s.finishVisit)
	route(s, huma.Operation{OperationID: "miss-visit", Method: http.MethodPost, Path: "/visits/{id}/miss", Summary: "The client did not come"}, s.missVisit)
}

func writeVisit(v store.Visit, n salonDay, reminders []store.Reminder) VisitBody {
	loc := n.loc
	b := VisitBody{ID: v.ID, ClientID: v.Client, State: string(v.State), Start: v.Start.In(loc), End: v.End.In(loc), ChairID: v.Chair,
		PriceCents: v.PriceCents, Note: v.Note, ApprovedBy: v.ApprovedBy, ArrivedAt: localTime(v.ArrivedAt, loc),
		FinishedAt: localTime(v.FinishedAt, loc), SaidYesAt: localTime(v.SaidYesAt, loc), Services: []VisitServiceBody{}, Steps: []VisitStepBody{}}
	if from, to := v.PriceRange(); from < to {
		b.FromCents, b.ToCents = from, to
	}
	b.Title, b.HeldUntil = v.Title, localTime(v.HeldUntil, loc)
	if v.Group != nil {
		b.GroupID = *v.Group
	}
	if v.Parent != nil {
		b.FollowsID, b.FollowsAs = *v.Parent, *v.ParentAs
	}
	for _, x := range v.Services {
		sb := VisitServiceBody{ServiceID: x.Service, ServiceVersion: x.Version, Name: x.Name, LeadID: x.Lead, PriceCents: x.PriceCents}
		if x.Estimate != nil {
			sb.EstimateID = *x.Estimate
		}
		if x.Open {
			sb.FromCents, sb.ToCents = x.FromCents, x.ToCents
		}
		b.Services = append(b.Services, sb)
		if x.Aftercare && !v.FollowUpHeld {
			b.KeepDryUntil, b.UntiedUntil = new(n.keepDryUntil(realEnd(v))), new(n.untiedUntil(realEnd(v)))
		}
	}
	f := factsOf(v)
	for i, x := range v.Steps {
		st := VisitStepBody{Service: x.Service, Kind: x.Kind, Label: x.Label, Start: x.Start.In(loc), End: x.End.In(loc),
			HandsOn: x.HandsOn, Watched: x.Watched, Units: []StepUnitBody{}, RealStart: localTime(x.RealStart, loc),
			RealEnd: localTime(x.RealEnd, loc), Inferred: f.guessed(i, x)}
		for _, u := range x.Units {
			st.Units = append(st.Units, StepUnitBody{u.Unit, u.Role})
		}
		slices.SortFunc(st.Units, func(a, b StepUnitBody) int {
			return cmp.Or(cmp.Compare(a.Role, b.Role), cmp.Compare(a.UnitID, b.UnitID))
		})
		b.Steps = append(b.Steps, st)
	}
	for _, r := range reminders {
		b.Reminders = append(b.Reminders, writeReminder(r, loc))
	}
	return b
}

// visitBody is one visit with the messages that are due because of it, and what
// there is to know of other visits near it.
func (s *Server) visitBody(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (VisitBody, error) {
	w, err := n.watchFor(ctx, t, v)
	if err != nil {
		return VisitBody{}, err
	}
	now := s.now()
	visitAhead(ctx, t, n, v, w.services, now)
	reminders, err := t.RemindersOf(ctx, v.ID)
	if err != nil {
		return VisitBody{}, err
	}
	b := writeVisit(v, n, reminders)
	w.fill(&b, v)
	if b.Reply, err = s.replyTo(ctx, t, n, v); err != nil {
		return b, err
	}
	if b.StillNeeded, b.StillOpen, err = s.stillNeeded(ctx, t, n, v); err != nil {
		return b, err
	}
	if b.Cautions, err = visitCautions(ctx, t, n, v, w.services, now); err != nil {
		return b, err
	}
	later, err := s.asksLater(ctx, t, n, v)
	if err != nil {
		return b, err
	}
	b.Cautions = append(b.Cautions, later...)
	by, err := t.BookedByClient(ctx, v.ID)
	if err != nil {
		return b, err
	}
	if by[v.ID] {
		b.Source = string(clientRole)
	}
	if err := b.addMeans(ctx, t, n, v); err != nil {
		return b, err
	}
	return b, s.nameVisit(ctx, t, n, v, &b)
}

func realEnd(v store.Visit) time.Time {
	if v.FinishedAt != nil {
		return *v.FinishedAt
	}
	return v.End
}

func localTime(t *time.Time, loc *time.Location) *time.Time {
	if t == nil {
		return nil
	}
	l := t.In(loc)
	return &l
}

// createVisit runs add once for a request that may be repeated, and answers with
// the visit it made.
func createVisit[B any](ctx context.Context, s *Server, r Repeatable, route string, body B,
	add func(context.Context, *store.Tx, salonDay, B) (store.Visit, error)) (*created[VisitBody], error) {
	if r.key() == "" {
		return nil, needsKey()
	}
	return once(s, store.PlannedOnce(ctx), r, route, body, func(t *store.Tx) (*created[VisitBody], error) {
		if x, ok := any(body).(aheadAsker); ok {
			x.askAhead(ctx, t)
		}
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		v, err := add(ctx, t, n, body)
		if err != nil {
			return nil, err
		}
		b, err := s.visitBody(withoutHealth(ctx), t, n, v) // the answer is kept
		return &created[VisitBody]{Location: "/v1/visits/" + v.ID, ETag: etag(v.Version), Body: b}, err
	})
}

func (s *Server) bookVisit(ctx context.Context, in *visitInput) (*created[VisitBody], error) {
	out, err := createVisit(ctx, s, in.Repeatable, "/visits", in.Body, s.book)
	return out, s.withAlternatives(ctx, err, in.Body.Start, func(t *store.Tx, n salonDay) (*composed, string, error) {
		servicesAhead(ctx, t, in.Body.Services, true)
		c, err := compose(ctx, t, n, in.Body.Services)
		return c, in.Body.ClientID, err
	}, "")
}

// withAlternatives adds to a clash the next starts at which the visit that
// load works out fits, for its client too. Other errors pass through, and when
// no starts can be found the clash is answered without them.
func (s *Server) withAlternatives(ctx context.Context, err error, wish time.Time,
	load func(*store.Tx, salonDay) (c *composed, client string, err error), except string) error {
	if _, ok := errors.AsType[*scheduling.ConflictError](err); !ok {
		return err
	}
	p := problem(ctx, err)
	err = s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		c, client, err := load(t, n)
		if err != nil {
			return err
		}
		a, err := s.openings(ctx, t, n, c, OpeningsRequest{ClientID: client, NotBefore: &wish, Limit: 3, few: true,
			FirstDate: scheduling.CivilDate(wish, n.loc).String()}, except)
		p.Alternatives = a.Openings
		return err
	})
	if err != nil {
		p.Alternatives = nil
	}
	return p
}

func (s *Server) listVisits(ctx context.Context, in *visitQuery) (*listBody[VisitBody], error) {
	var f scheduling.Faults
	var first, last date.Date
	switch {
	case in.ClientID != "" && (in.From != "" || in.To != ""):
		f.Add("query.client_id", "is given beside days", "one of the two")
	case in.ClientID == "":
		first, last = day(&f, "query.first_date", in.From), day(&f, "query.last_date", in.To)
		if len(f) == 0 && (last.Before(first) || last.Sub(first) > 62) {
			f.Add("query.last_date", "does not lie within 62 days from first_date", "first_date or a later day")
		}
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	var rows []store.Visit
	var n salonDay
	err := s.inTx(ctx, func(t *store.Tx) (err error) {
		if n, err = loadSalon(ctx, t); err != nil {
			return err
		}
		if in.ClientID != "" {
			rows, err = t.VisitsOfClient(ctx, in.ClientID)
			return err
		}
		from, _ := scheduling.DayBounds(n.loc, first)
		_, to := scheduling.DayBounds(n.loc, last)
		rows, err = t.VisitsBetween(ctx, from, to)
		return err
	})
	return listOf(rows, func(v store.Visit) VisitBody { return writeVisit(v, n, nil) }), err
}

func (s *Server) getVisit(ctx context.Context, in *ByID) (*found[VisitBody], error) {
	var out found[VisitBody]
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		v, err := t.VisitByID(ctx, in.ID)
		if err != nil {
			return err
		}
		b, err := s.visitBody(ctx, t, n, v)
		if err != nil {
			return err
		}
		b.CanStartUntil, err = s.startUntil(ctx, t, n, v)
		out = found[VisitBody]{etag(v.Version), b}
		return err
	})
	if err == nil && slices.ContainsFunc(out.Body.StillNeeded, NeedBody.speaks) {
		err = s.inTx(ctx, func(t *store.Tx) error { return s.noteNeeds(ctx, t, out.Body.ClientID, out.Body.StillNeeded) })
	}
	return &out, err
}

// answerVisit runs f in a transaction and answers with the visit it returns.
func (s *Server) answerVisit(ctx context.Context, f func(*store.Tx, salonDay) (store.Visit, error)) (*found[VisitBody], error) {
	var out found[VisitBody]
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		v, err := f(t, n)
		if err != nil {
			return err
		}
		b, err := s.visitBody(ctx, t, n, v)
		out = found[VisitBody]{etag(v.Version), b}
		return errors.Join(err, s.noteNeeds(ctx, t, v.Client, b.StillNeeded))
	})
	return &out, err
}

func (s *Server) moveVisit(ctx context.Context, in *moveInput) (*found[VisitBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	b := in.Body
	c := change{id: in.ID, version: version, lead: newLead{ID: b.LeadID, By: b.LeadIDs, Any: b.Any}, approvedBy: b.ApprovedBy}
	switch {
	case b.Start != nil:
		c.start = *b.Start
	case b.LeadID == "" && len(b.LeadIDs) == 0 && !b.Any:
		return nil, &scheduling.InvalidError{Field: "start", Problem: "is missing", Want: "a new start, or who is in charge from now on"}
	}
	if b.BreakLink {
		c.link = breakLink
	}
	out, err := s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) {
		before, err := t.VisitByID(ctx, c.id)
		moved := s.move
		if err == nil && isKept(before) {
			moved = s.moveKept
		}
		v, err := moved(ctx, t, n, c)
		if err != nil {
			return v, err
		}
		return v, s.noteDone(ctx, t, didMove, v, wasOf(before))
	})
	if b.Start == nil {
		return out, err
	}
	return out, s.withAlternatives(ctx, err, *b.Start, func(t *store.Tx, _ salonDay) (*composed, string, error) {
		v, err := t.VisitByID(ctx, in.ID)
		if err != nil || isKept(v) {
			return nil, "", cmp.Or(err, scheduling.ErrNotFound)
		}
		c, err := recompose(ctx, t, v, c.lead)
		return c, v.Client, err
	}, in.ID)
}

func (s *Server) cancelVisit(ctx context.Context, in *cancelInput) (*found[VisitBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	decision := ""
	if in.Body != nil {
		decision = in.Body.Others
	}
	out, err := s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) {
		v, others, err := lockWithOthers(ctx, t, in.ID, version)
		if err != nil {
			return v, err
		}
		list := []*store.Visit{&v}
		switch {
		case len(others) == 0 || decision == "keep":
		case decision == "cancel":
			for i := range others {
				list = append(list, &others[i])
			}
		default:
			return v, askOthers(ctx, t, n, v, others)
		}
		was := wasOf(v)
		if was.Units, err = keptUnits(ctx, t, v); err != nil {
			return v, err
		}
		if err := s.cancelAll(ctx, t, n, store.Cancelled, list...); err != nil {
			return v, err
		}
		did := didCancel
		switch {
		case len(list) > 1:
			did = didCancelAll
		case was.State == string(store.Held):
			did = didRelease
		}
		return v, s.noteDone(ctx, t, did, v, was)
	})
	out, err = s.withFits(ctx, out, err)
	return s.withDeposit(ctx, out, err)
}

func (s *Server) missVisit(ctx context.Context, in *visitChange) (*found[VisitBody], error) {
	out, err := s.changeState(ctx, in, func(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
		if s.now().Before(v.Start) {
			return conflict("the visit has not begun yet: cancel it instead")
		}
		if err := s.cancel(ctx, t, n, v, store.Missed); err != nil {
			return err
		}
		return s.noteDone(ctx, t, didMiss, *v, wasVisit{})
	})
	out, err = s.withFits(ctx, out, err)
	return s.withDeposit(ctx, out, err)
}

func (s *Server) arriveVisit(ctx context.Context, in *arriveInput) (*found[VisitBody], error) {
	return s.changeState(ctx, &visitChange{in.ByID, in.Precondition}, func(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
		if err := s.arrive(ctx, t, n, v, in.Body.at()); err != nil {
			return err
		}
		return s.noteDone(ctx, t, didArrive, *v, wasVisit{})
	})
}

func (s *Server) finishVisit(ctx context.Context, in *finishInput) (*found[VisitBody], error) {
	return s.changeState(ctx, &visitChange{in.ByID, in.Precondition}, func(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
		if err := s.mayFinish(ctx, t, n, *v, in.Body.EndedAt); err != nil {
			return err
		}
		if err := s.finish(ctx, t, n, v, in.Body.EndedAt); err != nil {
			return err
		}
		return s.noteDone(ctx, t, didEnd, *v, wasVisit{})
	})
}

// changeState locks a visit under its version, lets f change it and answers
// with what it became. Time that is kept is no visit that anything happens to.
func (s *Server) changeState(ctx context.Context, in *visitChange, f func(context.Context, *store.Tx, salonDay, *store.Visit) error) (*found[VisitBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) {
		v, err := t.LockVisit(ctx, in.ID, version)
		switch {
		case err != nil:
		case isKept(v):
			err = nobodyComes()
		default:
			err = f(ctx, t, n, &v)
		}
		return v, err
	})
}

func conflict(detail string) error { return newProblem(http.StatusConflict, "conflict", detail) }

package api

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/card"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// CardBody is the record card of a visit: what was planned and what really
// happened.
type CardBody struct {
	VisitID   string             `json:"visit_id"`
	ClientID  string             `json:"client_id"`
	Name      string             `json:"name" doc:"First name and initial"`
	State     string             `json:"state" enum:"booked,arrived,under_way,finished,stopped_early,held,lapsed,cancelled,missed"`
	Date      string             `json:"date" format:"date"`
	Services  []string           `json:"services" nullable:"false"`
	Lead      string             `json:"lead" doc:"Stylist in charge"`
	Hair      *HeadBody          `json:"hair,omitempty" doc:"As it was seen on the day, or as it was booked"`
	HairSeen  bool               `json:"hair_seen" doc:"Somebody looked at the hair on the day"`
	Steps     []CardStepBody     `json:"steps" nullable:"false"`
	Product   []ProductRunBody   `json:"product_on" nullable:"false" doc:"Every stretch of time in which product was on the hair"`
	Facts     []FactBody         `json:"facts" nullable:"false" doc:"All that was written, in the order in which it was noted; replaced facts stay readable"`
	Flags     []FlagBody         `json:"flags" nullable:"false" doc:"What lies outside a limit, the gravest first"`
	Open      []CardQuestionBody `json:"open_questions" nullable:"false" doc:"What the card still asks for"`
	Stopped   *StopBody          `json:"stopped,omitempty" doc:"Why the visit was stopped early; the owner and stylists in charge see it"`
	OutOfPace bool               `json:"out_of_pace" doc:"The visit says nothing of anybody's pace: it was stopped or interrupted"`
	ParentID  string             `json:"follows_visit_id,omitempty" doc:"The visit that this one follows from"`
	ParentAs  string             `json:"follows_as,omitempty" enum:"first_wash_check,correction"`
	Safety    string             `json:"safety" doc:"What comes before every figure"`
}

// CardStepBody is a step as it was planned and as it was.
type CardStepBody struct {
	Ordinal        int        `json:"ordinal"`
	Kind           string     `json:"kind"`
	Label          string     `json:"label"`
	Start          time.Time  `json:"start"`
	End            time.Time  `json:"end"`
	PlannedMinutes int        `json:"planned_minutes"`
	RealStart      *time.Time `json:"real_start,omitempty"`
	RealEnd        *time.Time `json:"real_end,omitempty"`
	RealMinutes    *float64   `json:"real_minutes,omitempty"`
	Inferred       []string   `json:"inferred,omitempty" enum:"real_start,real_end" doc:"Which of the two nobody noted"`
}

// ProductRunBody is a stretch of time in which product was on.
type ProductRunBody struct {
	Product     string     `json:"product" enum:"solution,neutralizer"`
	FirstStep   int        `json:"first_step"`
	LastStep    int        `json:"last_step"`
	FirstStrand time.Time  `json:"first_strand_at"`
	Off         *time.Time `json:"off_at,omitempty" doc:"Left out while it is on"`
	Minutes     float64    `json:"minutes"`
	Inferred    bool       `json:"inferred" doc:"One of the two times was noted by nobody"`
}

// FlagBody is something on a card that lies outside a limit.
type FlagBody struct {
	Level      string           `json:"level" enum:"warn,over,stop" doc:"warn: read it; over: outside a limit; stop: stop and ask the licensed person"`
	Code       string           `json:"code"`
	Words      string           `json:"words"`
	FactID     string           `json:"fact_id,omitempty" doc:"The fact that is flagged"`
	Step       *int             `json:"step,omitempty"`
	AsksReason bool             `json:"asks_reason" doc:"Somebody has to say why: a fact of the kind reason"`
	Reasons    []FlagReasonBody `json:"reasons" nullable:"false" doc:"What was said"`
}

// FlagReasonBody answers a flag.
type FlagReasonBody struct {
	Text string    `json:"text"`
	By   string    `json:"by"`
	At   time.Time `json:"at"`
}

// CardQuestionBody is something that a card still asks for.
type CardQuestionBody struct {
	Code   string `json:"code" doc:"Kind of the fact that answers it"`
	Words  string `json:"words"`
	FactID string `json:"fact_id,omitempty" doc:"What a reason is asked for"`
	Flag   string `json:"flag,omitempty" doc:"Code of that flag"`
}

// FactRequest writes a fact on a card.
type FactRequest struct {
	Kind string     `json:"kind" enum:"check,solution,neutralizer,iron,press,dryness,result,aftercare,pause,interruption,reason" doc:"Which of the members below is given"`
	Step *int       `json:"step,omitempty" minimum:"0" maximum:"199" doc:"Which step, counted from 0"`
	At   *time.Time `json:"at,omitempty" doc:"When it happened; left out: now"`
	FactValue
}

// Resolve holds what is wrong with b beside what its description refuses.
func (b *FactRequest) Resolve(ctx huma.Context, at *huma.PathBuffer) []error {
	hold(ctx, at, b.FactValue.faults(card.Kind(b.Kind)))
	return nil
}

// FactCorrection corrects a fact or takes it back.
type FactCorrection struct {
	TakeBack bool       `json:"take_back,omitempty" doc:"It was not so at all; nothing else is given then"`
	Step     *int       `json:"step,omitempty" minimum:"0" maximum:"199" doc:"Left out: as it was"`
	At       *time.Time `json:"at,omitempty" doc:"Left out: as it was"`
	FactValue
}

// FactAnswer is a fact that was written down.
type FactAnswer struct {
	Fact  FactBody           `json:"fact"`
	Flags []FlagBody         `json:"flags" nullable:"false" doc:"What is to be said of it; it is written down all the same"`
	Open  []CardQuestionBody `json:"open_questions" nullable:"false" doc:"What the card still asks for"`
	Now   NowBody            `json:"now" doc:"What there is to do now"`
}

type factInput struct {
	Repeatable
	ByID
	Body FactRequest
}
type correctionInput struct {
	Repeatable
	ByID
	Fact string `path:"fact" maxLength:"64" doc:"Id of the fact"`
	Body FactCorrection
}

func (s *Server) cardRoutes() {
	route(s, huma.Operation{OperationID: "get-card", Method: http.MethodGet, Path: "/visits/{id}/card",
		Summary: "The record card of a visit"}, s.getCard)
	route(s, huma.Operation{OperationID: "get-visit-now", Method: http.MethodGet, Path: "/visits/{id}/now",
		Summary: "What there is to do now: when to check, by when product has to be off"}, s.visitNow)
	route(s, huma.Operation{OperationID: "add-card-fact", Method: http.MethodPost, Path: "/visits/{id}/card/facts",
		Summary: "Write a fact on the record card", DefaultStatus: http.StatusCreated, Errors: []int{http.StatusConflict}}, s.addFact)
	route(s, huma.Operation{OperationID: "correct-card-fact", Method: http.MethodPost, Path: "/visits/{id}/card/facts/{fact}/correction",
		Summary: "Correct a fact; the old one stays readable", DefaultStatus: http.StatusCreated, Errors: []int{http.StatusConflict}}, s.correctFact)
}

// cardOf is the card of a visit with all that it is judged by.
type cardOf struct {
	n      salonDay
	v      store.Visit
	c      *composed
	row    store.Card
	client store.Client
	facts  []keptFact // all of them, replaced ones too
	stands []keptFact // those that stand
	limits card.Limits
	booked *HeadBody // nil for services whose time is the same for everybody
	hair   *HeadBody // as it was seen, or as it is booked
	seen   bool
	runs   []productRun
	watch  [][]string // what to watch for, by step
}

func loadCard(ctx context.Context, t *store.Tx, visit string) (*cardOf, error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return nil, err
	}
	v, err := t.VisitByID(ctx, visit)
	if err != nil {
		return nil, err
	}
	return cardOfVisit(ctx, t, n, v)
}

func cardOfVisit(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (*cardOf, error) {
	row, err := t.CardOf(ctx, v.ID)
	if err != nil {
		return nil, err
	}
	return readCard(ctx, t, n, v, row)
}

// readCard reads a card that was loaded with others.
func readCard(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, row store.Card) (*cardOf, error) {
	x := &cardOf{n: n, v: v, row: row}
	if isKept(v) {
		return nil, nobodyComes()
	}
	var err error
	if x.client, err = clientOf(ctx, t, v); err != nil {
		return nil, err
	}
	if x.c, err = recompose(ctx, t, v, newLead{}); err != nil {
		return nil, err
	}
	if x.facts, err = readFacts(row.Facts); err != nil {
		return nil, err
	}
	if x.stands, err = readFacts(row.Current()); err != nil {
		return nil, err
	}
	if err := x.judgedBy(ctx, t); err != nil {
		return nil, err
	}
	w, err := n.watchFor(ctx, t, v)
	if err != nil {
		return nil, err
	}
	x.watch = w.of(v)
	x.runs = runsOf(v, x.c, x.stands)
	return x, nil
}

// judgedBy finds the hair and the limits of the card: those that were kept on the
// day, or as long as there are none those of today.
func (x *cardOf) judgedBy(ctx context.Context, t *store.Tx) error {
	for _, sv := range x.v.Services {
		if x.booked != nil || sv.Estimate == nil {
			continue
		}
		row, err := t.EstimateByID(ctx, *sv.Estimate)
		if err != nil {
			return err
		}
		w, err := readEstimate(row)
		if err != nil {
			return err
		}
		x.booked = &w.hair
	}
	x.hair = x.booked
	for _, k := range x.stands {
		if k.hair != nil {
			x.hair, x.seen = &k.hair.Hair, true
		}
	}
	if x.row.Limits != nil {
		if err := json.Unmarshal(x.row.Limits, &x.limits); err != nil {
			return fmt.Errorf("api: card limits: %w", err)
		}
		return nil
	}
	var err error
	x.limits, err = x.n.cardLimits(ctx, t, x.v, x.hair)
	return err
}

// cardLimits are today's limits for hair, nil for hair that nobody described: the
// maker's of what the visit takes, and the salon's where those are not known.
func (n salonDay) cardLimits(ctx context.Context, t *store.Tx, v store.Visit, hair *HeadBody) (card.Limits, error) {
	var h *chairtime.Head
	if hair != nil {
		head := hair.Head()
		h = &head
	}
	l := card.LimitsFor(n.time, h)
	l.Fahrenheit = n.row.HeatUnit == "F"
	said, err := makersOfVisit(ctx, t, v)
	return l.By(said.limits()), err
}

// keepLimits writes down the limits by which the card is judged, once for all or
// anew because the hair is another one.
func (x *cardOf) keepLimits(ctx context.Context, t *store.Tx, anew bool) error {
	if x.row.Limits != nil && !anew {
		return nil
	}
	if anew {
		var err error
		if x.limits, err = x.n.cardLimits(ctx, t, x.v, x.hair); err != nil {
			return err
		}
	}
	doc, err := json.Marshal(x.limits)
	if err != nil {
		return fmt.Errorf("api: card limits: %w", err)
	}
	x.row.Limits = doc
	return t.SetCardLimits(ctx, x.v.ID, doc)
}

func (s *Server) getCard(ctx context.Context, in *ByID) (*found[CardBody], error) {
	var out CardBody
	var client string
	err := s.read(ctx, func(t *store.Tx) error {
		x, err := loadCard(ctx, t, in.ID)
		if err != nil {
			return err
		}
		client = x.v.Client
		names, err := unitNames(ctx, t)
		if err != nil {
			return err
		}
		ctx, err := healthOf(ctx, t, client)
		out = x.body(names, s.now(), seesHealth(ctx))
		return err
	})
	if err == nil && out.Stopped != nil {
		err = s.noteStops(ctx, client)
	}
	return &found[CardBody]{Body: out}, err
}

// body writes the card; with stops, why it was stopped early is on it.
func (x *cardOf) body(names map[string]string, now time.Time, stops bool) CardBody {
	b := CardBody{VisitID: x.v.ID, ClientID: x.v.Client, Name: shortName(x.client), State: string(x.v.State),
		Date: scheduling.CivilDate(x.v.Start, x.n.loc).String(), Services: []string{}, Lead: names[x.v.Lead()], Hair: x.hair, HairSeen: x.seen,
		Steps: []CardStepBody{}, Product: []ProductRunBody{}, Facts: []FactBody{}, Flags: x.flags(now), Open: x.open(now),
		OutOfPace: x.outOfPace(), Safety: chairtime.SafetyLine}
	if b.Hair != nil {
		b.Hair = new(b.Hair.shown(x.n.units()))
	}
	if x.v.Parent != nil {
		b.ParentID, b.ParentAs = *x.v.Parent, *x.v.ParentAs
	}
	for _, sv := range x.v.Services {
		b.Services = append(b.Services, sv.Name)
	}
	f := factsOf(x.v)
	for i, st := range x.v.Steps {
		b.Steps = append(b.Steps, writeCardStep(st, i, f.guessed(i, st), x.n.loc))
	}
	for _, r := range x.runs {
		if !r.begun {
			continue
		}
		p := ProductRunBody{"solution", r.first, r.last, r.run.First.In(x.n.loc), localTime(r.run.Off, x.n.loc), decimals(r.minutes(now), 1), r.inferred}
		if r.run.Neutralizer {
			p.Product = "neutralizer"
		}
		b.Product = append(b.Product, p)
	}
	for _, k := range x.facts {
		b.Facts = append(b.Facts, k.body(x.n, x.row))
	}
	if x.row.Stop != nil && stops {
		b.Stopped = writeStop(*x.row.Stop, x.n.loc)
	}
	return b
}

func writeCardStep(st store.VisitStep, i int, guessed []string, loc *time.Location) CardStepBody {
	b := CardStepBody{Ordinal: i, Kind: st.Kind, Label: st.Label, Start: st.Start.In(loc), End: st.End.In(loc),
		PlannedMinutes: int(st.End.Sub(st.Start) / time.Minute), RealStart: localTime(st.RealStart, loc), RealEnd: localTime(st.RealEnd, loc), Inferred: guessed}
	if st.RealStart != nil && st.RealEnd != nil {
		m := decimals(st.RealEnd.Sub(*st.RealStart).Minutes(), 1)
		b.RealMinutes = &m
	}
	return b
}

// outOfPace reports whether the visit says nothing of anybody's pace.
func (x *cardOf) outOfPace() bool {
	return x.v.State == store.StoppedEarly || slices.ContainsFunc(x.stands, func(k keptFact) bool { return k.value.Interruption != nil })
}

// addFact writes a fact on a card, whatever it says.
func (s *Server) addFact(ctx context.Context, in *factInput) (*created[FactAnswer], error) {
	return once(s, ctx, in.Repeatable, "/visits/"+in.ID+"/card/facts", in.Body, func(t *store.Tx) (*created[FactAnswer], error) {
		return s.addFactIn(ctx, t, in.ID, in.Body, "")
	})
}

// addFactIn writes a fact on the card of a visit; at is where the fact stands in
// the body of the request.
func (s *Server) addFactIn(ctx context.Context, t *store.Tx, visit string, b FactRequest, at string) (*created[FactAnswer], error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	value := b.FactValue
	fact := store.CardFact{Kind: b.Kind, Step: b.Step, At: s.now().Truncate(time.Second)}
	if b.At != nil {
		fact.At = b.At.Truncate(time.Second)
	}
	if fact.Value, err = value.read(n, &f, card.Kind(fact.Kind)); err != nil && len(f) == 0 {
		return nil, err
	}
	x, err := s.lockFor(ctx, t, &f, visit, fact, value)
	if err != nil {
		var g scheduling.Faults
		if at != "" {
			return nil, cmp.Or(g.Join(at, err), g.Err())
		}
		return nil, err
	}
	return s.writeFact(ctx, t, x, fact)
}

// lockCard locks a visit that facts can be noted of.
func (s *Server) lockCard(ctx context.Context, t *store.Tx, visit string) (*cardOf, error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return nil, err
	}
	v, err := t.LockVisit(ctx, visit, 0)
	if err != nil {
		return nil, err
	}
	x, err := cardOfVisit(ctx, t, n, v)
	if err != nil {
		return nil, err
	}
	if !v.State.Open() && v.State != store.Finished && v.State != store.StoppedEarly {
		return nil, conflict("the visit is " + words(v.State))
	}
	return x, onItsDay(n, v, s.now())
}

// checkPlace notes a step that the visit does not have and a time at which
// nothing of the visit can have happened.
func (x *cardOf) checkPlace(f *scheduling.Faults, fact store.CardFact, now time.Time) {
	if st := fact.Step; st != nil && *st >= len(x.v.Steps) {
		f.Addf("step", fmt.Sprintf("0 to %d, a step of the visit", len(x.v.Steps)-1), "is %d", *st)
	}
	from, _ := scheduling.DayBounds(x.n.loc, scheduling.CivilDate(x.v.Start, x.n.loc))
	if fact.At.Before(from) || fact.At.After(now.Add(ahead)) {
		f.Add("at", "is "+fact.At.In(x.n.loc).Format("15:04 on 2 January 2006"), "a time from the day of the visit to now")
	}
}

// checkReason notes a reason for what is not flagged.
func (x *cardOf) checkReason(f *scheduling.Faults, r *ReasonFact, now time.Time) {
	if r == nil || r.Flag == "" {
		return
	}
	list := x.flags(now)
	if !slices.ContainsFunc(list, func(b FlagBody) bool { return b.Code == r.Flag }) {
		f.Add("reason.flag", "is not a flag of this card", "a code from the flags of the card")
		return
	}
	if r.FactID != "" && !slices.ContainsFunc(list, func(b FlagBody) bool { return b.Code == r.Flag && b.FactID == r.FactID }) {
		f.Add("reason.fact_id", "is not a fact that is flagged so", "the fact_id of the flag, or none")
	}
}

// writeFact writes a fact that was checked and answers with what it means.
func (s *Server) writeFact(ctx context.Context, t *store.Tx, x *cardOf, fact store.CardFact) (*created[FactAnswer], error) {
	by, err := whoNotes(ctx, t)
	if err != nil {
		return nil, err
	}
	fact.By, fact.Noted = by, s.now()
	if err := x.keepLimits(ctx, t, false); err != nil {
		return nil, err
	}
	if fact, err = t.AddCardFact(ctx, &x.row, fact); err != nil {
		return nil, err
	}
	if k := card.Kind(fact.Kind); (k == card.KindSolution || k == card.KindNeutralizer) && (x.v.State == store.Finished || x.v.State == store.StoppedEarly) {
		if err := s.useProducts(ctx, t, x.v); err != nil { // it was taken from the stock already
			return nil, err
		}
	}
	if x, err = readCard(ctx, t, x.n, x.v, x.row); err != nil {
		return nil, err
	}
	if err := s.followLook(ctx, t, x); err != nil {
		return nil, err
	}
	k, err := readFact(fact)
	if err != nil {
		return nil, err
	}
	out := FactAnswer{Fact: k.body(x.n, x.row), Flags: []FlagBody{}, Open: x.open(s.now()), Now: x.now(s.now())}
	for _, b := range x.flags(s.now()) {
		if b.FactID == fact.ID {
			out.Flags = append(out.Flags, b)
		}
	}
	return &created[FactAnswer]{Location: "/v1/visits/" + x.v.ID + "/card", Body: out}, nil
}

// correctFact replaces a fact that stands.
func (s *Server) correctFact(ctx context.Context, in *correctionInput) (*created[FactAnswer], error) {
	path := "/visits/" + in.ID + "/card/facts/" + in.Fact + "/correction"
	return once(s, ctx, in.Repeatable, path, in.Body, func(t *store.Tx) (*created[FactAnswer], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		row, err := t.CardOf(ctx, in.ID)
		if err != nil {
			return nil, err
		}
		old := row.Fact(in.Fact)
		if old == nil {
			return nil, scheduling.ErrNotFound
		}
		fact := store.CardFact{Kind: old.Kind, Step: cmp.Or(in.Body.Step, old.Step), At: old.At, Replaces: &old.ID}
		if in.Body.At != nil {
			fact.At = in.Body.At.Truncate(time.Second)
		}
		var f scheduling.Faults
		value := in.Body.FactValue
		if in.Body.TakeBack {
			noMore(&f, value.members(n), in.Body)
		} else if fact.Value, err = value.read(n, &f, card.Kind(old.Kind)); err != nil && len(f) == 0 {
			return nil, err
		}
		x, err := s.lockFor(ctx, t, &f, in.ID, fact, value)
		if err != nil {
			return nil, err
		}
		if err := x.mayCorrect(*old); err != nil {
			return nil, err
		}
		return s.writeFact(ctx, t, x, fact)
	})
}

// lockFor locks the card of a visit for a fact. It returns f with what is wrong
// with the place of the fact and with its reason, when anything is.
func (s *Server) lockFor(ctx context.Context, t *store.Tx, f *scheduling.Faults, visit string, fact store.CardFact, value FactValue) (*cardOf, error) {
	x, err := s.lockCard(ctx, t, visit)
	if err != nil {
		return nil, cmp.Or(f.Err(), err)
	}
	x.checkPlace(f, fact, s.now())
	x.checkReason(f, value.Reason, s.now())
	return x, f.Err()
}

// noMore notes whatever stands beside a fact that is taken back.
func noMore(f *scheduling.Faults, members []member, b FactCorrection) {
	given := map[string]bool{"step": b.Step != nil, "at": b.At != nil}
	for _, m := range members {
		given[string(m.kind)] = m.given
	}
	for _, name := range slices.Sorted(keys(given)) {
		if given[name] {
			f.Add(name, "is given beside take_back", "take_back alone")
		}
	}
}

func (x *cardOf) mayCorrect(old store.CardFact) error {
	switch {
	case x.row.Replacement(old.ID) != nil:
		return conflict("this was corrected already: correct what stands now")
	case old.TakenBack():
		return conflict("this takes back what was noted before: note it anew")
	case card.Kind(old.Kind) == card.KindHairAsSeen:
		return conflict("hair as it was seen is corrected by looking at it again")
	case card.Kind(old.Kind) == card.KindRinseNow:
		return conflict("“rinse now” is taken back as such")
	case card.Kind(old.Kind) == card.KindUnready:
		return conflict("nobody wrote this by hand: say why in a fact of the kind reason")
	}
	return nil
}

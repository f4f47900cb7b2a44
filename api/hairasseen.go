package api

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/card"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/delays"
	"chairblock/store"
)

// HairCorrection is what is otherwise about hair than it was booked with. What is
// left out is as it was.
type HairCorrection struct {
	LengthCM   *float64 `json:"length_cm,omitempty" minimum:"8" maximum:"120" doc:"Stretched length from crown to ends" example:"42"`
	LengthIn   *float64 `json:"length_in,omitempty" minimum:"3.14" maximum:"47.3" doc:"The same in inches"`
	Density    string   `json:"density,omitempty" enum:"low,medium,high" doc:"How much hair"`
	Strand     string   `json:"strand,omitempty" enum:"fine,medium,coarse" doc:"Each hair"`
	Porosity   string   `json:"porosity,omitempty" enum:"low,normal,high" doc:"low is resistant, high is porous"`
	Damaged    *bool    `json:"damaged,omitempty" doc:"Weakened; not sure counts as yes"`
	RegrowthCM *float64 `json:"regrowth_cm,omitempty" minimum:"0" maximum:"120" doc:"New hair when only that is treated; 0 when all is"`
	RegrowthIn *float64 `json:"regrowth_in,omitempty" minimum:"0" maximum:"47.3" doc:"The same in inches"`
}

// HairSeenRequest says how the hair was seen before solution goes on.
type HairSeenRequest struct {
	Preview   bool            `json:"preview,omitempty" doc:"Say what it would mean, and change nothing"`
	Unchanged bool            `json:"unchanged,omitempty" doc:"The hair is as it was booked"`
	Hair      *HairCorrection `json:"hair,omitempty" doc:"What is otherwise; needed unless it is unchanged"`
	Choice    string          `json:"choice,omitempty" enum:"go_on,do_less,helper,rebook" doc:"What is done about it; left out: go on with the whole of it"`
	Less      string          `json:"less,omitempty" enum:"hairline,retouch" doc:"With do_less: what is treated"`
	Start     *time.Time      `json:"start,omitempty" doc:"With rebook: the new start"`
	// ClientAgreed is asked for as soon as the price is another one.
	ClientAgreed bool   `json:"client_agreed,omitempty" doc:"The client agreed to the new price"`
	ApprovedBy   string `json:"approved_by,omitempty" doc:"Licensed person who said yes to cautions that ask for it"`
}

// HairSeenFact is hair as it was seen, on a record card.
type HairSeenFact struct {
	Unchanged    bool      `json:"unchanged"`
	Hair         HeadBody  `json:"hair" doc:"As it was seen"`
	Before       *HeadBody `json:"before,omitempty" doc:"As it was booked, where that is otherwise"`
	Choice       string    `json:"choice" enum:"go_on,do_less,helper,rebook"`
	Less         string    `json:"less,omitempty" enum:"hairline,retouch"`
	PriceCents   int64     `json:"price_cents"`
	WasCents     int64     `json:"price_was_cents"`
	ClientAgreed bool      `json:"client_agreed" doc:"The client agreed to the price"`
	End          time.Time `json:"end"`
	EndWas       time.Time `json:"end_was"`
	ApprovedBy   string    `json:"approved_by,omitempty"`
}

func (h *HairSeenFact) words() string {
	if h.Unchanged {
		return "hair seen: as it was booked"
	}
	return "hair seen: " + hairWords(h.Hair) + "; " + choiceWords[h.Choice]
}

var choiceWords = map[string]string{choiceGoOn: "went on", choiceLess: "did less", choiceHelper: "with a helper", choiceRebook: "rebooked"}

// What is done about hair that is otherwise than it was booked.
const (
	choiceGoOn   = "go_on"
	choiceLess   = "do_less"
	choiceHelper = "helper"
	choiceRebook = "rebook"

	lessHairline = "hairline"
	lessRetouch  = "retouch"
)

// HairSeenAnswer says what hair as it was seen means.
type HairSeenAnswer struct {
	Preview   bool         `json:"preview" doc:"Nothing was changed"`
	Unchanged bool         `json:"unchanged"`
	Hair      HeadBody     `json:"hair" doc:"As it was seen"`
	Before    HeadBody     `json:"before" doc:"As it was booked"`
	EndWas    time.Time    `json:"end_was"`
	WasCents  int64        `json:"price_was_cents"`
	WasFrom   int64        `json:"price_was_from_cents,omitempty" doc:"With price_was_to_cents: what was said on the telephone"`
	WasTo     int64        `json:"price_was_to_cents,omitempty"`
	Choices   []ChoiceBody `json:"choices" nullable:"false" doc:"What can be done about it; empty when the hair is unchanged"`
	HeadID    string       `json:"head_id,omitempty" doc:"The measurement that was noted for the client"`
	Visit     *VisitBody   `json:"visit,omitempty" doc:"What became of the visit; left out of a preview"`
}

// ChoiceBody is one thing that can be done.
type ChoiceBody struct {
	Choice     string        `json:"choice" enum:"go_on,do_less,helper,rebook"`
	Less       string        `json:"less,omitempty" enum:"hairline,retouch"`
	Fits       bool          `json:"fits"`
	Minutes    int           `json:"booked_minutes" doc:"Of all steps"`
	End        *time.Time    `json:"end,omitempty" doc:"The new end, where it fits"`
	PriceCents int64         `json:"price_cents"`
	AsksClient bool          `json:"asks_client" doc:"The price is another one, or none of those that were said on the telephone: the client has to agree"`
	InTheWay   string        `json:"in_the_way,omitempty" doc:"What it collides with, where it does not fit"`
	Cautions   []CautionBody `json:"cautions" nullable:"false"`
	Openings   []OpeningBody `json:"openings,omitempty" doc:"With rebook: the next starts"`
	Words      string        `json:"words"`
}

type hairSeenInput struct {
	Repeatable
	ByID
	Body HairSeenRequest
}

func (s *Server) hairSeenRoutes() {
	route(s, huma.Operation{OperationID: "hair-as-seen", Method: http.MethodPost, Path: "/visits/{id}/hair-as-seen",
		Summary: "Say how the hair is, between the client's arrival and solution; with preview only what it would mean", DefaultStatus: http.StatusCreated,
		Errors: []int{http.StatusConflict}}, s.hairAsSeen)
}

// hairAsSeen notes how the hair was seen and carries out what is done about it.
func (s *Server) hairAsSeen(ctx context.Context, in *hairSeenInput) (*created[HairSeenAnswer], error) {
	work := func(t *store.Tx) (*created[HairSeenAnswer], error) {
		x, err := s.lookAt(ctx, t, in.ID, in.Body)
		if err != nil {
			return nil, err
		}
		out := &created[HairSeenAnswer]{Location: "/v1/visits/" + in.ID + "/card"}
		if out.Body, err = x.answer(ctx, t); err != nil || in.Body.Preview {
			return out, err
		}
		v, err := x.carryOut(ctx, t, &out.Body)
		if err != nil {
			return nil, err
		}
		b, err := s.visitBody(withoutHealth(ctx), t, x.card.n, v) // the answer is kept
		out.Body.Visit, out.Body.Choices = &b, []ChoiceBody{}
		return out, err
	}
	if in.Body.Preview { // nothing to remember
		var out *created[HairSeenAnswer]
		err := s.inTx(ctx, func(t *store.Tx) (err error) { out, err = work(t); return err })
		return out, err
	}
	return once(s, ctx, in.Repeatable, "/visits/"+in.ID+"/hair-as-seen", in.Body, work)
}

// looking is somebody looking at the hair of a client who is here.
type looking struct {
	s          *Server
	card       *cardOf
	b          HairSeenRequest
	was, hair  HeadBody // as booked, as seen
	approvedBy string
	shape      *reshaping
}

// lookAt locks a visit whose hair can be looked at and checks what is said of it.
func (s *Server) lookAt(ctx context.Context, t *store.Tx, id string, b HairSeenRequest) (*looking, error) {
	x := &looking{s: s, b: b}
	var f scheduling.Faults
	var err error
	if x.approvedBy, err = licensed(ctx, t, &f, text(&f, "approved_by", b.ApprovedBy, 0, 80)); err != nil {
		return nil, err
	}
	c, err := s.lockCard(ctx, t, id)
	if err != nil {
		return nil, cmp.Or(f.Err(), err)
	}
	x.card = c
	if err := x.inTime(); err != nil {
		return nil, cmp.Or(f.Err(), err)
	}
	x.check(&f)
	if err := f.Err(); err != nil {
		return nil, err
	}
	x.shape, err = s.reshape(ctx, t, c)
	return x, err
}

// inTime refuses to look at hair before the client is here, and after solution
// is on.
func (x *looking) inTime() error {
	v := x.card.v
	booked := x.card.booked
	switch {
	case v.State != store.Arrived && v.State != store.UnderWay:
		return conflict("the visit is " + words(v.State) + ": hair is looked at once the client is here and before solution goes on")
	case booked == nil:
		return conflict("no service of this visit depends on the hair")
	}
	if i := firstProduct(x.card); i >= 0 {
		for k := i; k < len(v.Steps); k++ {
			if v.Steps[k].RealStart != nil {
				return conflict(fmt.Sprintf("“%s” began at %s: hair is looked at before solution goes on", v.Steps[k].Label, clockAt(x.card.n, *v.Steps[k].RealStart)))
			}
		}
	}
	x.was, x.hair = *booked, *booked
	return nil
}

// firstProduct is the first step in which product goes onto the hair, in a service
// that depends on the hair; -1 when there is none.
func firstProduct(c *cardOf) int {
	for i, care := range delays.CareOf(c.c.plan) {
		if care.Product && c.v.Services[c.v.Steps[i].Service].Estimate != nil {
			return i
		}
	}
	return -1
}

// check notes what contradicts itself and applies the correction.
func (x *looking) check(f *scheduling.Faults) {
	b := x.b
	switch {
	case b.Unchanged && b.Hair != nil:
		f.Add("hair", "is given although it is unchanged", "one of the two")
	case !b.Unchanged && b.Hair == nil:
		f.Add("hair", "is missing", "what is otherwise than it was booked, or unchanged")
	case b.Hair != nil:
		if b.Hair.LengthCM != nil && b.Hair.LengthIn != nil {
			f.Add("hair.length_in", "is given beside length_cm", "one of the two")
		}
		if b.Hair.RegrowthCM != nil && b.Hair.RegrowthIn != nil {
			f.Add("hair.regrowth_in", "is given beside regrowth_cm", "one of the two")
		}
		b.Hair.apply(&x.hair)
		join(f, "hair", x.hair.Head().Validate())
	}
	if x.b.Choice == "" {
		x.b.Choice = choiceGoOn
	}
	if b.Preview {
		return
	}
	switch less := x.b.Choice == choiceLess; {
	case less && b.Less == "":
		f.Add("less", "is missing", "hairline or retouch, what is treated")
	case !less && b.Less != "":
		f.Add("less", "is given beside the choice "+x.b.Choice, "the choice do_less, or no less")
	case b.Less == lessRetouch && x.hair.RegrowthCM <= 0:
		f.Add("hair.regrowth_cm", "is missing, and a retouch treats only new growth", "the new growth in cm")
	}
	switch rebook := x.b.Choice == choiceRebook; {
	case rebook && b.Start == nil:
		f.Add("start", "is missing", "the new start")
	case !rebook && b.Start != nil:
		f.Add("start", "is given beside the choice "+x.b.Choice, "the choice rebook, or no start")
	}
}

// apply corrects hair as it was booked. A length that is seen takes the place of
// one that was worked out, and an amount that of a count.
func (c *HairCorrection) apply(h *HeadBody) {
	if c.LengthIn != nil {
		c.LengthCM = new(chairtime.CMOfInches(*c.LengthIn))
	}
	if c.RegrowthIn != nil {
		c.RegrowthCM = new(chairtime.CMOfInches(*c.RegrowthIn))
	}
	if c.LengthCM != nil {
		h.LengthCM, h.FreeLengthCM, h.Shrinkage = *c.LengthCM, 0, nil
	}
	if c.Density != "" {
		h.Density, h.HairsPerCM2 = c.Density, 0
	}
	h.Strand, h.Porosity = cmp.Or(c.Strand, h.Strand), cmp.Or(c.Porosity, h.Porosity)
	if c.Damaged != nil {
		h.Damaged = *c.Damaged
	}
	if c.RegrowthCM != nil {
		h.RegrowthCM = *c.RegrowthCM
	}
}

// answer lists what can be done about the hair.
func (x *looking) answer(ctx context.Context, t *store.Tx) (HairSeenAnswer, error) {
	v := x.card.v
	out := HairSeenAnswer{Preview: x.b.Preview, Unchanged: x.b.Unchanged, Hair: x.hair.shown(x.card.n.units()), Before: x.was.shown(x.card.n.units()), EndWas: v.End.In(x.card.n.loc),
		WasCents: v.PriceCents, Choices: []ChoiceBody{}}
	if from, to := v.PriceRange(); from < to {
		out.WasFrom, out.WasTo = from, to
	}
	if x.b.Unchanged || !x.b.Preview {
		return out, nil
	}
	for _, way := range []struct{ choice, less string }{{choiceGoOn, ""}, {choiceLess, lessHairline}, {choiceLess, lessRetouch}, {choiceHelper, ""},
		{choiceRebook, ""}} {
		b, err := x.choice(ctx, t, way.choice, way.less)
		if err != nil {
			return out, err
		}
		if b != nil {
			out.Choices = append(out.Choices, *b)
		}
	}
	return out, nil
}

// choice works out one thing that can be done; nil when it makes no sense for
// this hair.
func (x *looking) choice(ctx context.Context, t *store.Tx, choice, less string) (*ChoiceBody, error) {
	var f scheduling.Faults
	r, err := x.reshaped(ctx, t, &f, choice, less)
	if err != nil || len(f) > 0 || r == nil {
		return nil, err
	}
	b := &ChoiceBody{Choice: choice, Less: less, Minutes: r.c.minutes(), PriceCents: r.price, AsksClient: !x.said(r.price),
		Cautions: r.cautions()}
	if choice == choiceRebook {
		now := x.s.now()
		a, err := x.s.openings(ctx, t, x.card.n, r.c, OpeningsRequest{ClientID: x.card.v.Client, NotBefore: &now, Limit: 3,
			FirstDate: scheduling.CivilDate(now, x.card.n.loc).String()}, x.card.v.ID)
		if err != nil {
			return nil, err
		}
		b.Openings, b.Fits = a.Openings, len(a.Openings) > 0
		b.Words = "rebook: the visit and what was paid for it are kept"
		if b.Fits {
			b.Words += ", next " + a.Openings[0].Start.Format("Mon 2 January 15:04")
		}
		return b, nil
	}
	sch, ok, err := x.shape.fit(r)
	if err != nil {
		return nil, err
	}
	what := map[string]string{choiceGoOn: "go on", choiceLess + lessHairline: "hairline only", choiceLess + lessRetouch: "new growth only", choiceHelper: "with a helper"}[choice+less]
	if b.Fits = ok && !refused(b.Cautions); ok {
		end := x.shape.h.Time(r.c.plan.End(sch)).In(x.card.n.loc)
		b.End = &end
		b.Words = what + " until " + clockAt(x.card.n, end)
	} else {
		if b.InTheWay, err = x.shape.inTheWay(ctx, t, r); err != nil {
			return nil, err
		}
		b.Words = what + " does not fit: " + b.InTheWay
	}
	if refused(b.Cautions) {
		b.Words = what + " is not done so: " + b.Cautions[0].Text
	}
	return b, nil
}

func refused(list []CautionBody) bool {
	return slices.ContainsFunc(list, func(c CautionBody) bool { return c.Level == string(chairtime.LevelRefuse) })
}

// reshaped is the visit worked out anew for a choice, nil when the choice makes
// no sense for this hair.
func (x *looking) reshaped(ctx context.Context, t *store.Tx, f *scheduling.Faults, choice, less string) (*reshaped, error) {
	hair := x.hair
	hair.Plan, hair.Batches = NormalPlan, 0
	switch {
	case less == lessHairline:
		hair.Areas, hair.AreaShare = []string{string(chairtime.AreaHairline)}, 0
	case less == lessRetouch && hair.RegrowthCM <= 0, choice == choiceHelper && hair.Hands > 1:
		return nil, nil
	case less == lessRetouch:
		return x.shape.work(ctx, t, f, hair, true, choice != choiceRebook)
	case choice == choiceHelper:
		hair.Hands = 2
	}
	return x.shape.work(ctx, t, f, hair, false, choice != choiceRebook)
}

// carryOut notes the hair and does what was chosen.
func (x *looking) carryOut(ctx context.Context, t *store.Tx, out *HairSeenAnswer) (store.Visit, error) {
	v, n := x.card.v, x.card.n
	fact := HairSeenFact{Unchanged: x.b.Unchanged, Hair: x.hair, Choice: x.b.Choice, Less: x.b.Less, PriceCents: v.PriceCents, WasCents: v.PriceCents,
		ClientAgreed: x.b.ClientAgreed, End: v.End, EndWas: v.End, ApprovedBy: x.approvedBy}
	if x.b.Unchanged && x.b.Choice == choiceGoOn {
		if err := t.FirmPrices(ctx, &v); err != nil {
			return v, err
		}
		return v, x.note(ctx, t, v, fact, out)
	}
	if !x.b.Unchanged {
		fact.Before = &x.was
	}
	var f scheduling.Faults
	r, err := x.reshaped(ctx, t, &f, x.b.Choice, x.b.Less)
	if r != nil {
		r.c.seen = true
	}
	if err == nil && r == nil && len(f) == 0 {
		f.Add("choice", "makes no sense for this hair", "another choice of the preview")
	}
	if err := cmp.Or(err, f.Err()); err != nil {
		return v, err
	}
	if err := x.mayGoOn(r); err != nil {
		return v, err
	}
	was := slices.Clone(v.Services)
	if v, err = x.move(ctx, t, v, r); err != nil {
		return v, err
	}
	if err := x.notePrices(ctx, t, was, v); err != nil {
		return v, err
	}
	fact.PriceCents, fact.End = v.PriceCents, v.End.In(n.loc)
	x.card.v = v
	return v, x.note(ctx, t, v, fact, out)
}

// mayGoOn holds the cautions of the hair and its price against the request.
func (x *looking) mayGoOn(r *reshaped) error {
	var ask []CautionBody
	for _, c := range r.cautions() {
		if c.Level == string(chairtime.LevelRefuse) {
			p := newProblem(http.StatusUnprocessableEntity, "refused", c.Text)
			p.Cautions = r.cautions()
			return p
		}
		if c.Level == string(chairtime.LevelNeedsYes) && c.Code != chairtime.CautionPatchTest {
			ask = append(ask, c)
		}
	}
	if len(ask) > 0 && x.approvedBy == "" {
		return needsYes(ask)
	}
	if !x.said(r.price) && !x.b.ClientAgreed {
		cur := x.card.n.row.Currency
		return &scheduling.InvalidError{Field: "client_agreed", Problem: fmt.Sprintf("is not given, and the price is %s instead of %s",
			price(r.price, cur), x.card.n.priceWords(x.card.v)), Want: "true once the client has agreed"}
	}
	return nil
}

// said reports whether the client was told of a price: it is the one that was
// booked, or lies between those that were said on the telephone.
func (x *looking) said(cents int64) bool {
	from, to := x.card.v.PriceRange()
	return from <= cents && cents <= to
}

// move gives the visit its new minutes from now on, or its new start.
func (x *looking) move(ctx context.Context, t *store.Tx, v store.Visit, r *reshaped) (store.Visit, error) {
	s, n := x.s, x.card.n
	if x.b.Choice == choiceRebook {
		if err := s.notHere(ctx, t, &v); err != nil {
			return v, err
		}
		return s.move(ctx, t, n, change{id: v.ID, version: v.Version, start: *x.b.Start, approvedBy: x.approvedBy, work: r.c})
	}
	sch, ok, err := x.shape.fit(r)
	if err != nil {
		return v, err
	}
	if !ok {
		return v, x.doesNotFit(ctx, t, r)
	}
	return s.move(ctx, t, n, change{id: v.ID, version: v.Version, link: looseLink, approvedBy: x.approvedBy, work: r.c,
		exact: &exact{h: x.shape.h, sch: sch}})
}

// notePrices notes among the money facts which services cost something else now.
func (x *looking) notePrices(ctx context.Context, t *store.Tx, was []store.VisitService, v store.Visit) error {
	by, err := whoNotes(ctx, t)
	if err != nil {
		return err
	}
	for i, sv := range v.Services {
		if sv.PriceCents == was[i].PriceCents {
			continue
		}
		note := "hair as seen, the client agreed"
		if w := was[i]; w.Open && w.FromCents <= sv.PriceCents && sv.PriceCents <= w.ToCents {
			note = "hair as seen, as it was said on the telephone"
		}
		_, err := t.AddMoney(ctx, store.MoneyEntry{Visit: v.ID, Kind: store.PriceChanged, Amount: sv.PriceCents, Was: was[i].PriceCents, Service: &i,
			Note: note, NotedBy: by}, x.s.now())
		if err != nil {
			return err
		}
	}
	return nil
}

// notHere takes back all that was noted of a visit, so that it can have another
// start.
func (s *Server) notHere(ctx context.Context, t *store.Tx, v *store.Visit) error {
	var undo []store.Event
	next := *v
	for f := factsOf(next); f.last != nil; f = factsOf(next) {
		e := store.Event{Kind: store.EventUndo, Ordinal: f.last.Ordinal, At: f.last.At}
		undo = append(undo, e)
		next.Events = append(slices.Clip(next.Events), e)
	}
	return s.noted(ctx, t, v, undo...)
}

// doesNotFit says what is in the way and what would fit instead.
func (x *looking) doesNotFit(ctx context.Context, t *store.Tx, r *reshaped) error {
	why, err := x.shape.inTheWay(ctx, t, r)
	if err != nil {
		return err
	}
	var fits []string
	for _, way := range []struct{ choice, less string }{{choiceLess, lessHairline}, {choiceLess, lessRetouch}, {choiceHelper, ""}, {choiceRebook, ""}} {
		if way.choice == x.b.Choice && way.less == x.b.Less {
			continue
		}
		b, err := x.choice(ctx, t, way.choice, way.less)
		if err != nil {
			return err
		}
		if b != nil && b.Fits {
			fits = append(fits, b.Words)
		}
	}
	detail := fmt.Sprintf("%d minutes of steps do not fit any more: %s", r.c.minutes(), why)
	if len(fits) > 0 {
		detail += "; what fits: " + strings.Join(fits, "; ")
	}
	return newProblem(http.StatusConflict, "taken", detail)
}

// note writes the hair on the card and among the measurements of the client, with
// the limits by which the card is judged from now on.
func (x *looking) note(ctx context.Context, t *store.Tx, v store.Visit, fact HairSeenFact, out *HairSeenAnswer) error {
	c := x.card
	by, err := whoNotes(ctx, t)
	if err != nil {
		return err
	}
	doc, err := json.Marshal(fact)
	if err != nil {
		return fmt.Errorf("api: hair as seen: %w", err)
	}
	row := store.CardFact{Kind: string(card.KindHairAsSeen), At: x.s.now().Truncate(time.Second), Value: doc, By: by, Noted: x.s.now()}
	for _, k := range c.stands {
		if k.hair != nil {
			row.Replaces = &k.ID
		}
	}
	if _, err := t.AddCardFact(ctx, &c.row, row); err != nil {
		return err
	}
	c.hair, c.seen = &x.hair, true
	if err := c.keepLimits(ctx, t, true); err != nil {
		return err
	}
	if v.Client == "" {
		return nil
	}
	hair, err := json.Marshal(x.hair)
	if err != nil {
		return fmt.Errorf("api: hair as seen: %w", err)
	}
	h, err := t.AddHead(ctx, store.Head{Client: v.Client, MeasuredOn: scheduling.CivilDate(x.s.now(), c.n.loc), Hair: hair})
	out.HeadID = h.ID
	return err
}

// hairLookedAt refuses to put solution onto hair that nobody has looked at on the day.
// It says so of the first step that is missing, whichever step is noted.
func hairLookedAt(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, step int) error {
	if !slices.ContainsFunc(v.Services, func(x store.VisitService) bool { return x.Estimate != nil }) {
		return nil
	}
	c, err := cardOfVisit(ctx, t, n, v)
	if err != nil {
		return err
	}
	on := firstProduct(c)
	if on < 0 || step < on || c.seen || v.Steps[on].RealStart != nil {
		return nil
	}
	return conflict(fmt.Sprintf("“%s” cannot begin before somebody has looked at the hair: note hair as seen, one press when it is as booked", v.Steps[on].Label))
}

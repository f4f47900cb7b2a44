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
	"chairblock/store"
)

// RinseBody is that the product had to come off at once, and what is to be done
// then.
type RinseBody struct {
	FactID    string    `json:"fact_id"`
	At        time.Time `json:"at" doc:"The minute in which it was noted"`
	Product   string    `json:"product" enum:"solution,neutralizer" doc:"What was on the hair"`
	Words     []string  `json:"words" nullable:"false" doc:"What to do, in this order"`
	Emergency string    `json:"emergency" doc:"Emergency number; empty until the salon has given it"`
}

// StopRequest ends a visit early.
type StopRequest struct {
	At       *time.Time `json:"at,omitempty" doc:"When the work ended; left out: now"`
	Reason   string     `json:"reason" enum:"skin,eyes,breathing,unwell,hair_too_weak,hair_snapped,client_wished,product,equipment,other"`
	Detail   string     `json:"detail,omitempty" doc:"In a few words, at most 300 characters; the owner and stylists in charge see it"`
	Outcome  string     `json:"outcome" enum:"rinsed,rinsed_and_neutralized,nothing_was_on,sent_to_doctor,emergency_called,other"`
	Told     []string   `json:"told,omitempty" nullable:"false" enum:"client,guardian,owner,maker,doctor,emergency" doc:"Who was told"`
	Licensed string     `json:"licensed,omitempty" maxLength:"80" doc:"Name or id of the licensed person who decided; left out: whose token it is"`
}

// StopBody is why a visit was stopped early.
type StopBody struct {
	At          time.Time  `json:"at"`
	Reason      string     `json:"reason,omitempty" doc:"Left out with detail and outcome when it was not kept, is erased, or cannot be read now"`
	Detail      string     `json:"detail,omitempty"`
	Outcome     string     `json:"outcome,omitempty"`
	Told        []string   `json:"told" nullable:"false"`
	LicensedID  string     `json:"licensed_id"`
	Licensed    string     `json:"licensed"`
	NotedAt     time.Time  `json:"noted_at"`
	NotedBy     string     `json:"noted_by"`
	ClearedAt   *time.Time `json:"follow_up_cleared_at,omitempty" doc:"Left out as long as no message follows the visit"`
	ClearedByID string     `json:"follow_up_cleared_by_id,omitempty"`
	ClearedBy   string     `json:"follow_up_cleared_by,omitempty"`
	ClearedWhy  string     `json:"follow_up_cleared_why,omitempty"`
}

// ClearRequest lets messages and aftercare follow a visit that was stopped early.
type ClearRequest struct {
	Licensed string `json:"licensed,omitempty" maxLength:"80" doc:"Name or id of the licensed person who says so; left out: whose token it is"`
	Why      string `json:"why,omitempty" doc:"At most 300 characters"`
}

type rinseInput struct {
	Repeatable
	ByID
	Body *pressBody
}
type stopInput struct {
	Repeatable
	ByID
	Body StopRequest
}
type clearInput struct {
	ByID
	Precondition
	Body ClearRequest
}

func (s *Server) stopRoutes() {
	route(s, huma.Operation{OperationID: "rinse-now", Method: http.MethodPost, Path: "/visits/{id}/rinse-now",
		Summary: "Product has to come off at once: note the minute, and say what to do", DefaultStatus: http.StatusCreated,
		Errors: []int{http.StatusConflict}}, s.rinseNow)
	route(s, huma.Operation{OperationID: "undo-rinse-now", Method: http.MethodPost, Path: "/visits/{id}/rinse-now/undo",
		Summary: "Take “rinse now” back", Errors: []int{http.StatusConflict}}, s.undoRinse)
	route(s, huma.Operation{OperationID: "stop-visit", Method: http.MethodPost, Path: "/visits/{id}/stop",
		Summary: "Stop a visit early: its time is freed, and no message follows until it is cleared", DefaultStatus: http.StatusCreated,
		Errors: []int{http.StatusConflict}}, s.stopVisit)
	route(s, huma.Operation{OperationID: "clear-follow-up", Method: http.MethodPost, Path: "/visits/{id}/clear-follow-up",
		Summary: "Let messages and aftercare follow a visit that was stopped early"}, s.clearFollowUp)
}

// rinseWords are what to do when product has to come off at once (common
// practice; the maker's directions come first).
func rinseWords(emergency string) []string {
	whom := cmp.Or(emergency, "the emergency services")
	return []string{
		"Rinse fully, nape first, with plenty of tepid water.",
		"Do not iron.",
		"The licensed person decides by the maker's directions whether to neutralize.",
		"In the eyes: rinse them at once with plenty of water, and get medical help.",
		"Trouble breathing, or the face swells: call " + whom + ".",
	}
}

func (x *cardOf) rinseBody(k keptFact) *RinseBody {
	b := &RinseBody{FactID: k.ID, At: k.At.In(x.n.loc), Product: "solution", Words: rinseWords(x.n.row.Emergency), Emergency: x.n.row.Emergency}
	for _, r := range runsOf(x.v, x.c, nil) {
		if r.on(k.At) && r.run.Neutralizer {
			b.Product = "neutralizer"
		}
	}
	return b
}

// rinseNow notes that product has to come off. Whoever presses twice has pressed
// once: what stands for this product is given again.
func (s *Server) rinseNow(ctx context.Context, in *rinseInput) (*created[RinseBody], error) {
	return once(s, ctx, in.Repeatable, "/visits/"+in.ID+"/rinse-now", in.Body, func(t *store.Tx) (*created[RinseBody], error) {
		return s.rinseIn(ctx, t, in.ID, in.Body.at())
	})
}

// rinseIn notes that product has to come off a visit's hair, at a time or now.
func (s *Server) rinseIn(ctx context.Context, t *store.Tx, visit string, when *time.Time) (*created[RinseBody], error) {
	x, err := s.lockCard(ctx, t, visit)
	if err != nil {
		return nil, err
	}
	at := s.now().Truncate(time.Second)
	if when != nil {
		at = when.Truncate(time.Second)
	}
	var f scheduling.Faults
	x.checkPlace(&f, store.CardFact{At: at}, s.now())
	if err := f.Err(); err != nil {
		return nil, err
	}
	run, at := x.rinseable(at)
	if run == nil {
		return nil, conflict("no product was noted as on the hair at " + clockAt(x.n, at) + ": note when it was put on. Whatever the record says: " +
			strings.Join(rinseWords(x.n.row.Emergency), " "))
	}
	for _, k := range x.stands {
		if card.Kind(k.Kind) == card.KindRinseNow && run.on(k.At) {
			return rinsed(x, k), nil
		}
	}
	if !x.v.State.Open() {
		return nil, conflict("the visit is " + words(x.v.State))
	}
	by, err := whoNotes(ctx, t)
	if err != nil {
		return nil, err
	}
	if err := x.keepLimits(ctx, t, false); err != nil {
		return nil, err
	}
	fact, err := t.AddCardFact(ctx, &x.row, store.CardFact{Kind: string(card.KindRinseNow), At: at, Value: json.RawMessage(`{}`),
		By: by, Noted: s.now()})
	return rinsed(x, keptFact{CardFact: fact}), err
}

func rinsed(x *cardOf, k keptFact) *created[RinseBody] {
	return &created[RinseBody]{Location: "/v1/visits/" + x.v.ID + "/card", Body: *x.rinseBody(k)}
}

// rinseable is the run that is on the hair at a time, whether or not somebody has
// noted already that it has to come off; nil when none is. Two clocks seldom agree: of
// product that another device noted as put on a moment later, up to ahead, the time is
// the one at which it was put on.
func (x *cardOf) rinseable(at time.Time) (*productRun, time.Time) {
	list := runsOf(x.v, x.c, nil)
	for _, when := range []time.Time{at, at.Add(ahead)} {
		if i := slices.IndexFunc(list, func(r productRun) bool { return r.on(when) }); i >= 0 {
			return &list[i], laterOf(at, list[i].run.First)
		}
	}
	return nil, at
}

// undoRinse takes back the last “rinse now” of a visit that is going on. A second
// time it finds nothing left to do.
func (s *Server) undoRinse(ctx context.Context, in *ByID) (*found[NowBody], error) {
	var out NowBody
	err := s.inTx(ctx, func(t *store.Tx) (err error) { out, err = s.undoRinseIn(ctx, t, in.ID); return err })
	return &found[NowBody]{Body: out}, err
}

func (s *Server) undoRinseIn(ctx context.Context, t *store.Tx, visit string) (NowBody, error) {
	x, err := s.lockCard(ctx, t, visit)
	if err != nil {
		return NowBody{}, err
	}
	if !x.v.State.Open() {
		return NowBody{}, conflict("the visit is " + words(x.v.State) + ": “rinse now” is taken back while it goes on")
	}
	k := x.rinse()
	if k == nil {
		if !slices.ContainsFunc(x.row.Facts, func(f store.CardFact) bool { return card.Kind(f.Kind) == card.KindRinseNow }) {
			return NowBody{}, conflict("“rinse now” was not noted")
		}
		return x.now(s.now()), nil
	}
	by, err := whoNotes(ctx, t)
	if err != nil {
		return NowBody{}, err
	}
	if _, err := t.AddCardFact(ctx, &x.row, store.CardFact{Kind: k.Kind, At: k.At, By: by, Noted: s.now(), Replaces: &k.ID}); err != nil {
		return NowBody{}, err
	}
	if x, err = readCard(ctx, t, x.n, x.v, x.row); err != nil {
		return NowBody{}, err
	}
	return x.now(s.now()), nil
}

// whoIsTold are those who can be told of a stop.
var whoIsTold = []string{"client", "guardian", "owner", "maker", "doctor", "emergency"}

// stopVisit ends a visit early.
func (s *Server) stopVisit(ctx context.Context, in *stopInput) (*created[VisitBody], error) {
	print, err := s.stopPrint(in.Body)
	if err != nil {
		return nil, err
	}
	out, err := once(s, ctx, in.Repeatable, "/visits/"+in.ID+"/stop", print, func(t *store.Tx) (*created[VisitBody], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		var f scheduling.Faults
		in.Body.Detail = text(&f, "detail", in.Body.Detail, 0, 300)
		if len(in.Body.Told) > len(whoIsTold) {
			f.Addf("told", fmt.Sprintf("at most %d entries", len(whoIsTold)), "has %d", len(in.Body.Told))
		}
		p, err := licensedPerson(ctx, t, &f, "licensed", in.Body.Licensed)
		if err != nil {
			return nil, err
		}
		v, err := t.LockVisit(ctx, in.ID, 0)
		if err != nil {
			return nil, cmp.Or(f.Err(), err)
		}
		if err := s.stop(ctx, t, n, &v, in.Body, p, f); err != nil {
			return nil, err
		}
		b, err := s.visitBody(withoutHealth(ctx), t, n, v) // the answer is kept
		return &created[VisitBody]{Location: "/v1/visits/" + v.ID, ETag: etag(v.Version), Body: b}, err
	})
	if err != nil || out.Replayed != "" {
		return out, err
	}
	with, err := s.withFits(ctx, &found[VisitBody]{ETag: out.ETag, Body: out.Body}, nil)
	out.Body = with.Body
	return out, err
}

// stopPrint is what is kept of a request to know it again, without a word about
// health that could be guessed from it. Without a key only time and person tell two
// requests apart: a visit is stopped even so.
func (s *Server) stopPrint(b StopRequest) (any, error) {
	raw, err := json.Marshal(b)
	if err != nil {
		return nil, err
	}
	prints, err := s.store.SealedPrints(raw)
	if is(err, store.ErrNoHealthKey) {
		return StopRequest{At: b.At, Licensed: b.Licensed}, nil
	}
	return prints, err
}

// stop ends a locked visit early: what it still reserves is freed, nothing
// follows it, and why is written where only few can read it.
func (s *Server) stop(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, b StopRequest, p store.Staff, f scheduling.Faults) error {
	switch {
	case len(f) > 0 && v.ArrivedAt == nil:
		return f
	case isKept(*v):
		return nobodyComes()
	case v.State != store.Arrived && v.State != store.UnderWay:
		return conflict("the visit is " + words(v.State) + ": only one whose client is here can be stopped")
	}
	at := s.now().Truncate(time.Second)
	if b.At != nil {
		at = b.At.Truncate(time.Second)
	}
	x := bounds{from: *v.ArrivedAt, to: s.now().Add(ahead), why: "before the client came", whyNot: "which is still to come"}
	if marks := factsOf(*v).marks(); len(marks) > 0 {
		last := marks[len(marks)-1]
		x.from, x.why = last.at, fmt.Sprintf("before what was noted of “%s” for %s", v.Steps[last.step].Label, clockAt(n, last.at))
	}
	if err := f.Join("", x.hold(n, "", press{at: &at}, at)); err != nil {
		return err
	}
	if err := f.Err(); err != nil {
		return err
	}
	by, err := whoNotes(ctx, t)
	if err != nil {
		return err
	}
	told := slices.Clone(b.Told)
	slices.Sort(told)
	err = t.AddStop(ctx, store.Stop{Visit: v.ID, At: at, LicensedID: p.ID, LicensedName: p.Name, Noted: s.now(), By: by,
		StopWords: store.StopWords{Reason: b.Reason, Detail: b.Detail, Outcome: b.Outcome, Told: slices.Compact(told)}})
	if err != nil {
		return err
	}
	return s.endEarly(ctx, t, n, v, at)
}

// endEarly gives the visit its state and frees what it still reserves.
func (s *Server) endEarly(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, at time.Time) error {
	v.State, v.FinishedAt, v.FollowUpHeld = store.StoppedEarly, &at, true
	if err := s.noted(ctx, t, v, store.Event{Kind: store.EventStop, At: at}); err != nil {
		return err
	}
	free := at.Add(time.Minute - 1).Truncate(time.Minute)
	if now := s.now().Truncate(time.Minute); free.Before(now) { // what is past frees nobody
		free = now
	}
	if _, err := t.CutBlocks(ctx, v.ID, free); err != nil {
		return err
	}
	if err := s.useProducts(ctx, t, *v); err != nil {
		return err
	}
	// Of a visit that is not cleared nothing depends on growth.
	if err := t.CutParts(ctx, v.ID, v.Client, free, clientParts(n, *v, at, scheduling.Growth{})); err != nil {
		return err
	}
	if err := s.followVisit(ctx, t, n, *v); err != nil {
		return err
	}
	return s.followOthers(ctx, t, n, *v)
}

// clearFollowUp lets aftercare count from the real end and messages go out.
func (s *Server) clearFollowUp(ctx context.Context, in *clearInput) (*found[VisitBody], error) {
	return s.changeState(ctx, &visitChange{in.ByID, in.Precondition}, func(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
		var f scheduling.Faults
		why := text(&f, "why", in.Body.Why, 0, 300)
		p, err := licensedPerson(ctx, t, &f, "licensed", in.Body.Licensed)
		if err := cmp.Or(err, f.Err()); err != nil {
			return err
		}
		switch {
		case v.State != store.StoppedEarly:
			return conflict("the visit is " + words(v.State) + ": only what follows one that was stopped early is cleared")
		case !v.FollowUpHeld:
			return conflict("what follows this visit was cleared already")
		}
		if err := t.ClearStop(ctx, v.ID, s.now(), p.ID, p.Name, why); err != nil {
			return err
		}
		v.FollowUpHeld = false
		if err := t.SetVisitState(ctx, v); err != nil {
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
		if err := t.SyncClientParts(ctx, v.ID, v.Client, clientParts(n, *v, realEnd(*v), g)); err != nil {
			return err
		}
		if !needsAftercare(*v) {
			return nil
		}
		return s.followOthers(ctx, t, n, *v)
	})
}

func writeStop(st store.Stop, loc *time.Location) *StopBody {
	return &StopBody{At: st.At.In(loc), Reason: st.Reason, Detail: st.Detail, Outcome: st.Outcome, Told: append([]string{}, st.Told...),
		LicensedID: st.LicensedID, Licensed: st.LicensedName, NotedAt: st.Noted.In(loc), NotedBy: st.By, ClearedAt: localTime(st.Cleared, loc),
		ClearedByID: st.ClearedID, ClearedBy: st.ClearedName, ClearedWhy: st.ClearedWhy}
}

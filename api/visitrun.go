package api

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// RunBody is a visit as whoever carries it out needs it: the steps with what to
// watch for, what to note next, and by which figures product is watched.
type RunBody struct {
	VisitID    string     `json:"visit_id"`
	ClientID   string     `json:"client_id" doc:"Empty for a walk-in"`
	Name       string     `json:"name" doc:"First name and initial"`
	GivenName  string     `json:"given_name"`
	State      string     `json:"state" enum:"booked,arrived,under_way,finished,stopped_early,held,lapsed,cancelled,missed"`
	Version    int64      `json:"version"`
	Start      time.Time  `json:"start"`
	End        time.Time  `json:"end"`
	Ends       time.Time  `json:"day_ends_at" doc:"Midnight after the day of the visit"`
	Services   []string   `json:"services" nullable:"false"`
	LeadID     string     `json:"lead_id"`
	Lead       string     `json:"lead" doc:"Stylist in charge"`
	InCharge   bool       `json:"in_charge" doc:"Whoever asks is a stylist in charge of the visit"`
	SeesHealth bool       `json:"may_read_health" doc:"Whoever asks may read what the client has told"`
	Chair      string     `json:"chair"`
	ArrivedAt  *time.Time `json:"arrived_at,omitempty"`
	FinishedAt *time.Time `json:"finished_at,omitempty"`
	DryUntil   *time.Time `json:"keep_dry_until,omitempty"`
	Late       int        `json:"late_minutes" doc:"By what was noted last; below 0: early"`
	Note       string     `json:"note,omitempty"`

	Steps  []RunStepBody      `json:"steps" nullable:"false"`
	Next   RunNextBody        `json:"next" doc:"What is noted next when only the most telling steps are noted"`
	Last   *RunNotedBody      `json:"last_noted,omitempty" doc:"What can be taken back"`
	Looks  []RunLookBody      `json:"looks" nullable:"false" doc:"Looks at the hair while product was on"`
	Limits LookLimitsBody     `json:"limits"`
	Now    NowBody            `json:"now"`
	Asks   []CardQuestionBody `json:"open_questions" nullable:"false" doc:"What the record card still asks for"`

	AsksHair   bool            `json:"asks_hair_as_seen" doc:"Somebody has to look at the hair before solution goes on"`
	HairBooked string          `json:"hair_booked,omitempty" doc:"The hair as it was booked, in words"`
	HairSeen   string          `json:"hair_seen,omitempty" doc:"As it was seen on the day, in words"`
	Needed     []NeedBody      `json:"still_needed" nullable:"false" doc:"What is not there yet"`
	Until      *StartUntilBody `json:"can_start_until,omitempty"`
	OnRinse    []string        `json:"on_rinse_now" nullable:"false" doc:"What to do when product has to come off at once, in this order"`
}

// RunStepBody is one step of a visit that is carried out.
type RunStepBody struct {
	Ordinal   int        `json:"ordinal"`
	Kind      string     `json:"kind"`
	Label     string     `json:"label"`
	Start     time.Time  `json:"start"`
	End       time.Time  `json:"end"`
	Planned   int        `json:"planned_minutes"`
	HandsOn   bool       `json:"hands_on"`
	Watched   bool       `json:"watched"`
	Who       []string   `json:"who" nullable:"false"`
	Where     string     `json:"where"`
	WatchFor  []string   `json:"watch_for" nullable:"false"`
	RealStart *time.Time `json:"real_start,omitempty"`
	RealEnd   *time.Time `json:"real_end,omitempty"`
	Inferred  []string   `json:"inferred,omitempty" enum:"real_start,real_end"`
	Tap       string     `json:"tap,omitempty" enum:"begin,solution_on,solution_off,iron,neutralizer_on,neutralizer_off" doc:"Its beginning tells most of the steps around it; noting only these and the end is enough"`
	Product   string     `json:"product,omitempty" enum:"solution,neutralizer" doc:"What is on the hair in it"`
	Judged    bool       `json:"judged,omitempty" doc:"Somebody looks at the hair while that is on"`
}

// RunNextBody is what is noted next.
type RunNextBody struct {
	Tap   string `json:"tap" enum:"arrive,begin,solution_on,solution_off,iron,neutralizer_on,neutralizer_off,done,none"`
	Step  *int   `json:"step,omitempty" doc:"The step that begins with it"`
	Words string `json:"words"`
}

// RunNotedBody is what was noted last.
type RunNotedBody struct {
	Kind  string    `json:"kind" enum:"arrive,start,finish,done"`
	Step  *int      `json:"step,omitempty"`
	At    time.Time `json:"at"`
	Words string    `json:"words"`
}

// RunLookBody is a look at the hair.
type RunLookBody struct {
	FactID string    `json:"fact_id"`
	At     time.Time `json:"at"`
	Ready  bool      `json:"ready"`
	Weak   bool      `json:"too_weak"`
	Next   int       `json:"next_minutes,omitempty"`
	Words  string    `json:"words"`
}

// LookLimitsBody are the figures by which product is watched, for a screen that
// goes on without a network. A figure of 0 is none.
type LookLimitsBody struct {
	FirstLook   float64 `json:"first_look_minutes" doc:"After the first strand was wetted"`
	NextLook    float64 `json:"next_look_minutes" doc:"After a look that found it not ready"`
	Grace       float64 `json:"look_grace_minutes" doc:"By how much a look may be late"`
	Warn        float64 `json:"warn_after_minutes" doc:"Since the first strand"`
	Off         float64 `json:"off_after_minutes" doc:"Since the first strand product has to be off"`
	Neutralizer float64 `json:"neutralizer_least_minutes" doc:"Since all of it was on"`
}

// tapWords say what is noted next.
var tapWords = map[string]string{"arrive": "The client is here", "begin": "Begin", "solution_on": "Solution on", "solution_off": "Solution off, rinse",
	"iron": "Start the iron", "neutralizer_on": "Neutralizer on", "neutralizer_off": "Neutralizer off, rinse", "done": "Done, the visit is over", "none": ""}

func (s *Server) visitRunRoutes() {
	route(s, huma.Operation{OperationID: "get-visit-run", Method: http.MethodGet, Path: "/visits/{id}/run",
		Summary: "A visit as whoever carries it out needs it: steps, what to watch for, what to note next"}, s.getVisitRun)
	route(s, huma.Operation{OperationID: "tap-visit", Method: http.MethodPost, Path: "/visits/{id}/taps",
		Summary:       "Note one thing of a visit that is carried out, however late it arrives here",
		Description:   "Sent again with its key by the same person it has one effect, also when that person has signed in again meanwhile. It needs no ETag: what somebody saw happen does not depend on what was noted elsewhere. What was noted already is changed only with correct.",
		DefaultStatus: http.StatusCreated, Errors: []int{http.StatusConflict}}, s.tapVisit)
}

func (s *Server) getVisitRun(ctx context.Context, in *ByID) (*found[RunBody], error) {
	var out found[RunBody]
	err := s.read(ctx, func(t *store.Tx) error {
		x, err := loadCard(ctx, t, in.ID)
		if err != nil {
			return err
		}
		out.ETag = etag(x.v.Version)
		out.Body, err = s.run(ctx, t, x)
		return err
	})
	if err == nil && slices.ContainsFunc(out.Body.Needed, NeedBody.speaks) {
		err = s.inTx(ctx, func(t *store.Tx) error { return s.noteNeeds(ctx, t, out.Body.ClientID, out.Body.Needed) })
	}
	return &out, err
}

// run writes a visit for whoever carries it out.
func (s *Server) run(ctx context.Context, t *store.Tx, x *cardOf) (RunBody, error) {
	v, loc, now := x.v, x.n.loc, s.now()
	names, err := unitNames(ctx, t)
	if err != nil {
		return RunBody{}, err
	}
	body := writeVisit(v, x.n, nil)
	_, ends := scheduling.DayBounds(loc, scheduling.CivilDate(v.Start, loc))
	b := RunBody{VisitID: v.ID, ClientID: v.Client, Name: shortName(x.client), GivenName: x.client.GivenName, State: string(v.State), Version: v.Version,
		Start: body.Start, End: body.End, Ends: ends.In(loc), Services: []string{}, LeadID: v.Lead(), Lead: names[v.Lead()],
		InCharge: inCharge(v, principal(ctx).StaffID), Chair: names[v.Chair], ArrivedAt: body.ArrivedAt, FinishedAt: body.FinishedAt,
		DryUntil: body.KeepDryUntil, Late: lateBy(v), Note: v.Note, Looks: []RunLookBody{}, Needed: []NeedBody{}, Now: x.now(now), Asks: x.open(now), OnRinse: rinseWords(x.n.row.Emergency)}
	for _, sv := range v.Services {
		b.Services = append(b.Services, sv.Name)
	}
	b.Steps = x.runSteps(names)
	b.Next, b.Last = x.nextTap(b.Steps), lastNoted(x.n, v)
	b.Limits = LookLimitsBody{x.limits.FirstLook, x.limits.NextLook, x.limits.LookGrace, x.limits.WarnAfter, x.limits.OffAfter, x.limits.NeutralizerLeast}
	x.runHair(&b)
	if b.Until, err = s.startUntil(ctx, t, x.n, v); err != nil {
		return b, err
	}
	return b, s.runNeeds(ctx, t, x, &b)
}

// runNeeds adds what is not there yet, as whoever asks may know it.
func (s *Server) runNeeds(ctx context.Context, t *store.Tx, x *cardOf, b *RunBody) error {
	ctx, err := healthOf(ctx, t, x.v.Client)
	if err != nil {
		return err
	}
	b.SeesHealth = seesHealth(ctx) && x.v.Client != ""
	if !toCome(x.v) {
		return nil
	}
	of, err := needsOf(ctx, t, x.n, x.v)
	if err != nil {
		return err
	}
	open := needs.FirstOpen(of[x.v.ID])
	if !seesHealth(ctx) {
		open = inKindOrder(open)
	}
	b.Needed = s.writeNeeds(ctx, x.n, open)
	return nil
}

// runHair adds what is known of the hair, and the looks at it.
func (x *cardOf) runHair(b *RunBody) {
	if x.booked != nil {
		b.HairBooked = hairWords(x.booked.shown(x.n.units()))
		on := firstProduct(x)
		here := x.v.State == store.Arrived || x.v.State == store.UnderWay
		b.AsksHair = !x.seen && here && on >= 0 && x.v.Steps[on].RealStart == nil
	}
	for _, k := range x.stands {
		if k.hair != nil {
			b.HairSeen = k.hair.words()
		}
		c := k.value.Check
		if c == nil {
			continue
		}
		b.Looks = append(b.Looks, RunLookBody{FactID: k.ID, At: k.At.In(x.n.loc), Ready: c.Ready,
			Weak: len(x.limits.Elasticity(c.Stretch, c.Returned)) > 0, Next: c.Next, Words: c.words()})
	}
	slices.SortStableFunc(b.Looks, func(a, z RunLookBody) int { return a.At.Compare(z.At) })
}

// runSteps writes the steps, and which of them tell most of the others.
func (x *cardOf) runSteps(names map[string]string) []RunStepBody {
	f := factsOf(x.v)
	out := make([]RunStepBody, len(x.v.Steps))
	for i, st := range x.v.Steps {
		who, where := atWork(st, names)
		out[i] = RunStepBody{Ordinal: i, Kind: st.Kind, Label: st.Label, Start: st.Start.In(x.n.loc), End: st.End.In(x.n.loc),
			Planned: int(st.End.Sub(st.Start) / time.Minute), HandsOn: st.HandsOn, Watched: st.Watched, Who: append([]string{}, who...), Where: where,
			WatchFor: append([]string{}, x.watch[i]...), RealStart: localTime(st.RealStart, x.n.loc), RealEnd: localTime(st.RealEnd, x.n.loc),
			Inferred: f.guessed(i, st)}
		if scheduling.StepKind(st.Kind) == scheduling.Iron {
			out[i].Tap = "iron"
		}
	}
	for _, r := range x.runs {
		on, off := "solution_on", "solution_off"
		if r.run.Neutralizer {
			on, off = "neutralizer_on", "neutralizer_off"
		}
		out[r.first].Tap = on
		if r.last+1 < len(out) {
			out[r.last+1].Tap = off
		}
		for i := r.first; i <= r.last; i++ {
			out[i].Product, out[i].Judged = "solution", !r.run.Neutralizer && x.limits.FirstLook > 0
			if r.run.Neutralizer {
				out[i].Product = "neutralizer"
			}
		}
	}
	for i, st := range x.v.Steps { // of a service without product its beginning
		first := i == 0 || x.v.Steps[i-1].Service != st.Service
		if first && !slices.ContainsFunc(out, func(b RunStepBody) bool { return b.Tap != "" && x.v.Steps[b.Ordinal].Service == st.Service }) {
			out[i].Tap = "begin"
		}
	}
	return out
}

// nextTap is the first telling step after all that was noted.
func (x *cardOf) nextTap(steps []RunStepBody) RunNextBody {
	tap := func(kind string, step *int) RunNextBody { return RunNextBody{kind, step, tapWords[kind]} }
	switch x.v.State {
	case store.Booked:
		return tap("arrive", nil)
	case store.Arrived, store.UnderWay:
	default:
		return tap("none", nil)
	}
	from := 0
	for i, st := range x.v.Steps {
		if st.RealStart != nil {
			from = i + 1
		}
	}
	for i := from; i < len(steps); i++ {
		if steps[i].Tap == "" {
			continue
		}
		out := tap(steps[i].Tap, &i)
		k := scheduling.StepKind(steps[i].Kind)
		named := steps[i].Tap == "solution_on" && !k.FirstStrand() || steps[i].Tap == "solution_off" && k != scheduling.Rinse1 && k != scheduling.RinseShort
		if named || steps[i].Tap == "begin" {
			out.Words = "Begin: " + steps[i].Label
		}
		return out
	}
	return tap("done", nil)
}

// lastNoted is what was noted last, as long as it can be taken back.
func lastNoted(n salonDay, v store.Visit) *RunNotedBody {
	last := factsOf(v).last
	if last == nil || !v.State.Open() || last.Ordinal == nil && last.Kind != store.EventArrive {
		return nil
	}
	return &RunNotedBody{Kind: string(last.Kind), Step: last.Ordinal, At: last.At.In(n.loc), Words: strings.TrimPrefix(lastInWords(n, v, last), "that ")}
}

// TapRequest is one thing that somebody noted of a visit.
type TapRequest struct {
	Kind    string       `json:"kind" enum:"arrive,start,finish,undo,done,rinse_now,undo_rinse_now,fact" doc:"undo: take back what was noted last of the step, or without a step that the client came; done: the visit is over"`
	Step    *int         `json:"step,omitempty" minimum:"0" maximum:"199" doc:"With start, finish and undo: which step, counted from 0"`
	At      *time.Time   `json:"at,omitempty" doc:"When it was; left out: now"`
	Correct bool         `json:"correct,omitempty" doc:"It was noted before, and this time is the right one"`
	Fact    *FactRequest `json:"fact,omitempty" doc:"With fact: what is written on the record card; its time is that of the tap unless it has its own"`
}

// TapAnswer says what became of it.
type TapAnswer struct {
	VisitID string     `json:"visit_id"`
	State   string     `json:"state" enum:"booked,arrived,under_way,finished,stopped_early,held,lapsed,cancelled,missed"`
	Version int64      `json:"version"`
	Words   string     `json:"words"`
	Now     NowBody    `json:"now"`
	Flags   []FlagBody `json:"flags" nullable:"false" doc:"What is to be said of a fact; it is written down all the same"`
}

type tapInput struct {
	Repeatable
	ByID
	Body TapRequest
}

// tapOperation is what a tap stands for, whose roles it asks for.
var tapOperation = map[string]string{"arrive": "arrive-visit", "start": "start-step", "finish": "finish-step", "undo": "undo-step", "done": "finish-visit",
	"rinse_now": "rinse-now", "undo_rinse_now": "undo-rinse-now", "fact": "add-card-fact"}

// tapVisit notes one thing.
func (s *Server) tapVisit(ctx context.Context, in *tapInput) (*created[TapAnswer], error) {
	if refusal := mayDo(ctx, tapOperation[in.Body.Kind]); refusal != "" {
		return nil, newProblem(http.StatusForbidden, "forbidden", refusal)
	}
	b := in.Body
	var f scheduling.Faults
	steps := b.Kind == "start" || b.Kind == "finish"
	switch {
	case steps && b.Step == nil:
		f.Add("step", "is missing", "which step it is, counted from 0")
	case !steps && b.Kind != "undo" && b.Step != nil:
		f.Add("step", "is given beside the kind "+b.Kind, "the kind start, finish or undo, or no step")
	}
	if (b.Kind == "fact") != (b.Fact != nil) {
		f.Add("fact", "and the kind "+b.Kind+" do not belong together", "the kind fact with its fact, or neither")
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	who := PersonKey(ctx) // who signs in anew is the same person
	return onceOf(s, ctx, who, in.Repeatable, "/visits/"+in.ID+"/taps", b, func(t *store.Tx) (*created[TapAnswer], error) {
		out := TapAnswer{VisitID: in.ID, Flags: []FlagBody{}}
		if err := s.carryOutTap(ctx, t, in.ID, b, &out); err != nil {
			return nil, err
		}
		x, err := loadCard(ctx, t, in.ID)
		if err != nil {
			return nil, err
		}
		out.State, out.Version, out.Now = string(x.v.State), x.v.Version, x.now(s.now())
		return &created[TapAnswer]{Location: "/v1/visits/" + in.ID + "/run", ETag: etag(x.v.Version), Body: out}, nil
	})
}

func (s *Server) carryOutTap(ctx context.Context, t *store.Tx, visit string, b TapRequest, out *TapAnswer) error {
	at := s.now().Truncate(time.Second)
	if b.At != nil {
		at = b.At.Truncate(time.Second)
	}
	switch b.Kind {
	case "rinse_now":
		r, err := s.rinseIn(ctx, t, visit, &at)
		if err == nil {
			out.Words = r.Body.Words[0]
		}
		return err
	case "undo_rinse_now":
		_, err := s.undoRinseIn(ctx, t, visit)
		out.Words = "“Rinse now” was taken back."
		return err
	case "fact":
		fact := *b.Fact
		if fact.At == nil {
			fact.At = &at
		}
		r, err := s.addFactIn(ctx, t, visit, fact, "fact")
		if err == nil {
			out.Words, out.Flags = r.Body.Fact.Words, r.Body.Flags
		}
		return err
	}
	n, err := loadSalon(ctx, t)
	if err != nil {
		return err
	}
	v, err := t.LockVisit(ctx, visit, 0)
	if err != nil {
		return err
	}
	out.Words, err = s.tapLocked(ctx, t, n, &v, b, at)
	return err
}

// tapLocked notes something of a locked visit itself.
func (s *Server) tapLocked(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, b TapRequest, at time.Time) (said string, err error) {
	switch b.Kind {
	case "arrive":
		if v.ArrivedAt != nil && !b.Correct {
			return "", conflict("the client is noted as here since " + clockAt(n, *v.ArrivedAt))
		}
		err = s.arrive(ctx, t, n, v, &at)
	case "undo":
		err = s.undoLast(ctx, t, n, v, b.Step)
		return "Taken back.", err
	case "done":
		return "The visit is over.", s.finish(ctx, t, n, v, &at)
	default:
		p := press{kind: store.EventStart, step: *b.Step, at: &at}
		if b.Kind == "finish" {
			p.kind = store.EventFinish
		}
		if err := hasStep(*v, p.step); err != nil {
			return "", err
		}
		if noted := factsOf(*v).of(p); noted != nil && !b.Correct {
			return "", conflict("“" + v.Steps[p.step].Label + "” " + p.verb() + " at " + clockAt(n, *noted) + " already")
		}
		err = s.press(ctx, t, n, v, p)
	}
	if err != nil {
		return "", err
	}
	return "Noted: " + strings.TrimPrefix(lastInWords(n, *v, factsOf(*v).last), "that ") + ".", nil
}

// undoLast takes back what was noted last, which has to be about a step, or about
// the client's arrival where step is nil.
func (s *Server) undoLast(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, step *int) error {
	if !v.State.Open() {
		return conflict("the visit is " + words(v.State))
	}
	last := factsOf(*v).last
	same := last != nil && (step == nil && last.Kind == store.EventArrive || step != nil && last.Ordinal != nil && *last.Ordinal == *step)
	if !same {
		return conflict("only what was noted last can be taken back: " + lastInWords(n, *v, last))
	}
	return s.noted(ctx, t, v, store.Event{Kind: store.EventUndo, Ordinal: step, At: last.At})
}

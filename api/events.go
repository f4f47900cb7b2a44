package api

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/store"
)

// ahead is how far the clock of whoever notes something may be ahead of ours
// (judgement).
const ahead = time.Minute

// StepPath is the path of one step.
type StepPath struct {
	Ordinal int `path:"ordinal" minimum:"0" maximum:"199" doc:"Which step, counted from 0"`
}
type pressBody struct {
	At *time.Time `json:"at,omitempty" doc:"When it was, if it was forgotten; left out: now. On what was noted already it is a correction"`
}
type pressInput struct {
	ByID
	StepPath
	Precondition
	Body *pressBody
}
type undoInput struct {
	ByID
	StepPath
	Precondition
}
type arriveInput struct {
	ByID
	Precondition
	Body *pressBody
}

// EventBody is one thing that was noted of a visit.
type EventBody struct {
	Kind     string    `json:"kind" enum:"arrive,start,finish,done,undo,remedy,stop,rinse_now,undo_rinse_now"`
	Step     *int      `json:"step,omitempty" doc:"Which step, counted from 0; left out for the visit"`
	At       time.Time `json:"at" doc:"When it happened; the last one of a kind and step counts, as long as it is not undone"`
	NotedAt  time.Time `json:"noted_at"`
	NotedBy  string    `json:"noted_by"`
	Inferred bool      `json:"inferred" doc:"Nobody noted it: it follows from what was noted before it"`
}

func (s *Server) eventRoutes() {
	changed := []int{http.StatusConflict}
	route(s, huma.Operation{OperationID: "start-step", Method: http.MethodPost, Path: "/visits/{id}/steps/{ordinal}/start",
		Summary: "A step has begun; the one before it is over", Errors: changed}, s.startStep)
	route(s, huma.Operation{OperationID: "finish-step", Method: http.MethodPost, Path: "/visits/{id}/steps/{ordinal}/finish",
		Summary: "A step is over", Errors: changed}, s.finishStep)
	route(s, huma.Operation{OperationID: "undo-step", Method: http.MethodPost, Path: "/visits/{id}/steps/{ordinal}/undo",
		Summary: "Take back what was noted last, which has to be about this step", Errors: changed}, s.undoStep)
	route(s, huma.Operation{OperationID: "list-visit-events", Method: http.MethodGet, Path: "/visits/{id}/events",
		Summary: "What was noted of a visit, oldest first"}, s.listEvents)
}

func (b *pressBody) at() *time.Time {
	if b == nil {
		return nil
	}
	return b.At
}

func (s *Server) startStep(ctx context.Context, in *pressInput) (*found[VisitBody], error) {
	return s.changeState(ctx, &visitChange{in.ByID, in.Precondition}, func(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
		if err := s.press(ctx, t, n, v, press{kind: store.EventStart, step: in.Ordinal, at: in.Body.at()}); err != nil {
			return err
		}
		return s.noteDone(ctx, t, didStart, *v, wasVisit{Ordinal: &in.Ordinal})
	})
}

func (s *Server) finishStep(ctx context.Context, in *pressInput) (*found[VisitBody], error) {
	return s.changeState(ctx, &visitChange{in.ByID, in.Precondition}, func(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
		if err := s.press(ctx, t, n, v, press{kind: store.EventFinish, step: in.Ordinal, at: in.Body.at()}); err != nil {
			return err
		}
		return s.noteDone(ctx, t, didFinish, *v, wasVisit{Ordinal: &in.Ordinal})
	})
}

func (s *Server) undoStep(ctx context.Context, in *undoInput) (*found[VisitBody], error) {
	return s.changeState(ctx, &visitChange{in.ByID, in.Precondition}, func(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
		return s.takeBackStep(ctx, t, n, v, in.Ordinal)
	})
}

// takeBackStep takes back what was noted last of a locked visit, which has to be
// about a step.
func (s *Server) takeBackStep(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, step int) error {
	if err := hasStep(*v, step); err != nil {
		return err
	}
	if !v.State.Open() {
		return conflict("the visit is " + words(v.State))
	}
	last := factsOf(*v).last
	if last == nil || last.Ordinal == nil || *last.Ordinal != step {
		return conflict("only what was noted last can be taken back: " + lastInWords(n, *v, last))
	}
	return s.noted(ctx, t, v, store.Event{Kind: store.EventUndo, Ordinal: &step, At: last.At})
}

func lastInWords(n salonDay, v store.Visit, last *store.Event) string {
	switch {
	case last == nil:
		return "nothing was noted yet"
	case last.Kind == store.EventArrive:
		return "that the client is here, at " + clockAt(n, last.At)
	case last.Ordinal == nil || *last.Ordinal >= len(v.Steps):
		return "something else"
	case last.Kind == store.EventStart:
		return fmt.Sprintf("that “%s” began at %s", v.Steps[*last.Ordinal].Label, clockAt(n, last.At))
	}
	return fmt.Sprintf("that “%s” ended at %s", v.Steps[*last.Ordinal].Label, clockAt(n, last.At))
}

func clockAt(n salonDay, t time.Time) string { return t.In(n.loc).Format("15:04") }

func (s *Server) listEvents(ctx context.Context, in *ByID) (*listBody[EventBody], error) {
	var v store.Visit
	var loc *time.Location
	var rinses []store.RinseNote
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if loc, err = zone(ctx, t); err != nil {
			return err
		}
		if v, err = t.VisitByID(ctx, in.ID); err != nil {
			return err
		}
		rinses, err = t.RinsesOf(ctx, in.ID)
		return err
	})
	out := listOf(v.Events, func(e store.Event) EventBody { return writeEvent(e, loc) })
	if err == nil && len(rinses) > 0 {
		out.Body.Items = withRinses(out.Body.Items, rinses, loc)
	}
	return out, err
}

func writeEvent(e store.Event, loc *time.Location) EventBody {
	b := EventBody{Kind: string(e.Kind), Step: e.Ordinal, At: e.At.In(loc), NotedAt: e.Noted.In(loc), NotedBy: e.By}
	for inferred, kind := range map[store.EventKind]store.EventKind{store.EventArriveInferred: store.EventArrive,
		store.EventStartInferred: store.EventStart, store.EventFinishInferred: store.EventFinish} {
		if e.Kind == inferred {
			b.Kind, b.Inferred = string(kind), true
		}
	}
	return b
}

// press is somebody noting something of a step.
type press struct {
	kind store.EventKind // EventStart or EventFinish
	step int
	at   *time.Time // nil is now
}

func hasStep(v store.Visit, step int) error {
	if isKept(v) {
		return nobodyComes()
	}
	if step < 0 || step >= len(v.Steps) {
		return &scheduling.InvalidError{Field: "path.ordinal", Problem: fmt.Sprintf("is %d", step),
			Want: fmt.Sprintf("0 to %d, a step of the visit", len(v.Steps)-1)}
	}
	return nil
}

// press notes that a step of a locked visit began or ended. What that means for
// the steps before it is inferred.
func (s *Server) press(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, p press) error {
	if err := hasStep(*v, p.step); err != nil {
		return err
	}
	over := v.State == store.Finished || v.State == store.StoppedEarly
	switch {
	case !v.State.Open() && !over:
		return conflict("the visit is " + words(v.State))
	case over && p.at == nil:
		return conflict("the visit is " + words(v.State) + ": say when it was")
	}
	if err := onItsDay(n, *v, s.now()); err != nil {
		return err
	}
	f := factsOf(*v)
	if noted := f.of(p); noted != nil && p.at == nil {
		return conflict(fmt.Sprintf("“%s” %s at %s already: say when it was to correct that", v.Steps[p.step].Label, p.verb(), clockAt(n, *noted)))
	}
	at := s.now()
	if p.at != nil {
		at = *p.at
	}
	at = at.Truncate(time.Second)
	if err := f.bounds(n, *v, p, s.now()).hold(n, v.Steps[p.step].Label, p, at); err != nil {
		return err
	}
	if !over {
		if err := clientIsHere(ctx, t, *v, p.step); err != nil {
			return err
		}
		if err := s.mayStart(ctx, t, n, *v, p.step, at); err != nil {
			return err
		}
		if err := hairLookedAt(ctx, t, n, *v, p.step); err != nil {
			return err
		}
	} else if err := s.noteUnready(ctx, t, n, *v, p.step, at); err != nil {
		return err
	}
	return s.noted(ctx, t, v, store.Event{Kind: p.kind, Ordinal: &p.step, At: at})
}

func (p press) verb() string {
	if p.kind == store.EventStart {
		return "began"
	}
	return "ended"
}

// onItsDay refuses to note anything of a visit before its day.
func onItsDay(n salonDay, v store.Visit, now time.Time) error {
	if from, _ := scheduling.DayBounds(n.loc, scheduling.CivilDate(v.Start, n.loc)); now.Before(from) {
		return conflict("the visit is on " + v.Start.In(n.loc).Format("Monday 2 January") + ": it cannot have begun yet")
	}
	return nil
}

// clientIsHere refuses to put product on the hair of a client who has not come.
// Before that, whoever notes a step has seen her.
func clientIsHere(ctx context.Context, t *store.Tx, v store.Visit, step int) error {
	if v.ArrivedAt != nil {
		return nil
	}
	c, err := recompose(ctx, t, v, newLead{})
	if err != nil {
		return err
	}
	on := slices.IndexFunc(delays.CareOf(c.plan), func(c delays.Care) bool { return c.Product })
	if on < 0 || step < on {
		return nil
	}
	return conflict(fmt.Sprintf("“%s” cannot begin before the client is here: note first that she came", v.Steps[on].Label))
}

// of is when what is pressed was noted before; nil when it was not.
func (f *facts) of(p press) *time.Time {
	if p.kind == store.EventStart {
		return f.starts[p.step]
	}
	return f.ends[p.step]
}

// bounds are the times that something can have happened at. why says what it
// comes after, whyNot what it comes before.
type bounds struct {
	from, to    time.Time
	why, whyNot string
}

// bounds holds a press against everything else that was noted.
func (f *facts) bounds(n salonDay, v store.Visit, p press, now time.Time) bounds {
	b := bounds{to: now.Add(ahead), whyNot: "which is still to come"}
	b.from, _ = scheduling.DayBounds(n.loc, scheduling.CivilDate(v.Start, n.loc))
	b.why = "before the day of the visit"
	if f.arrived != nil {
		b.from, b.why = *f.arrived, "before the client came, at "+clockAt(n, *f.arrived)
	}
	if v.FinishedAt != nil && v.FinishedAt.Before(b.to) {
		b.to, b.whyNot = *v.FinishedAt, "after the visit was over, at "+clockAt(n, *v.FinishedAt)
	}
	note := func(step int, end bool, at time.Time) {
		verb := "began"
		if end {
			verb = "ended"
		}
		what := fmt.Sprintf("“%s” %s at %s", v.Steps[step].Label, verb, clockAt(n, at))
		if step < p.step || step == p.step && !end {
			if !at.Before(b.from) {
				b.from, b.why = at, "before "+what
			}
		} else if !at.After(b.to) {
			b.to, b.whyNot = at, "after "+what
		}
	}
	for i := range v.Steps {
		if at := f.starts[i]; at != nil && (i != p.step || p.kind == store.EventFinish) {
			note(i, false, *at)
		}
		if at := f.ends[i]; at != nil && (i != p.step || p.kind == store.EventStart) {
			note(i, true, *at)
		}
	}
	return b
}

// hold refuses a time that cannot be.
func (b bounds) hold(n salonDay, label string, p press, at time.Time) error {
	var why string
	switch {
	case at.Before(b.from):
		why = b.why
	case at.After(b.to):
		why = b.whyNot
	default:
		return nil
	}
	if p.at == nil {
		return conflict(fmt.Sprintf("“%s” cannot have %s now, %s: say when it was", label, map[string]string{"began": "begun", "ended": "ended"}[p.verb()], why))
	}
	return &scheduling.InvalidError{Field: "at", Problem: fmt.Sprintf("is %s, %s", at.In(n.loc).Format("15:04 on 2 January"), why),
		Want: fmt.Sprintf("%s to %s", b.from.In(n.loc).Format(time.RFC3339), b.to.In(n.loc).Truncate(time.Second).Format(time.RFC3339))}
}

// noted adds presses to a locked visit, works out what follows from them and
// writes both. The state of a visit that is not over follows, and its version
// rises.
func (s *Server) noted(ctx context.Context, t *store.Tx, v *store.Visit, presses ...store.Event) error {
	by, err := whoNotes(ctx, t)
	if err != nil {
		return err
	}
	was := *v
	was.Steps = slices.Clone(v.Steps)
	next := *v
	next.Events = append(slices.Clip(v.Events), presses...)
	f := factsOf(next)
	f.infer(v)
	s.follow(f, v)
	list := append(slices.Clone(presses), inferred(f, was, *v)...)
	for i := range list {
		list[i].By, list[i].Noted = by, s.now()
	}
	if err := t.AddEvents(ctx, v, list); err != nil {
		return err
	}
	if err := t.SetRealTimes(ctx, *v); err != nil {
		return err
	}
	if v.State == store.Finished || v.State == store.StoppedEarly {
		if err := t.RefitPace(ctx); err != nil {
			return err
		}
	}
	if err := t.SetVisitState(ctx, v); err != nil {
		return err
	}
	n, err := loadSalon(ctx, t)
	if err != nil {
		return err
	}
	if v.State != was.State {
		if err := s.followVisit(ctx, t, n, *v); err != nil {
			return err
		}
	}
	return s.followLooks(ctx, t, n, *v)
}

// follow gives a visit that is not over the state that its facts say.
func (s *Server) follow(f *facts, v *store.Visit) {
	if !v.State.Open() {
		return
	}
	marks := f.marks()
	switch {
	case f.arrived != nil:
		v.ArrivedAt = f.arrived
	case len(marks) > 0:
		came := f.came(*v, marks[0])
		v.ArrivedAt = &came
	default:
		v.ArrivedAt = nil
	}
	switch {
	case f.begun():
		v.State = store.UnderWay
	case v.ArrivedAt != nil:
		v.State = store.Arrived
	default:
		v.State = store.Booked
	}
}

// inferred lists what was inferred anew when was became v.
func inferred(f *facts, was, v store.Visit) []store.Event {
	var out []store.Event
	note := func(kind store.EventKind, step *int, before, now, fact *time.Time) {
		if now != nil && fact == nil && (before == nil || !before.Equal(*now)) {
			out = append(out, store.Event{Kind: kind, Ordinal: step, At: *now})
		}
	}
	note(store.EventArriveInferred, nil, was.ArrivedAt, v.ArrivedAt, f.arrived)
	for i, st := range v.Steps {
		note(store.EventStartInferred, &i, was.Steps[i].RealStart, st.RealStart, f.starts[i])
		note(store.EventFinishInferred, &i, was.Steps[i].RealEnd, st.RealEnd, f.ends[i])
	}
	return out
}

// whoNotes names the person whose token it is, or what the token is for.
func whoNotes(ctx context.Context, t *store.Tx) (string, error) {
	p := principal(ctx)
	if p.StaffID == "" {
		return string(p.Role), nil
	}
	row, err := t.StaffByID(ctx, p.StaffID)
	return cmp.Or(row.Name, string(p.Role)), err
}

// arrive notes that the client is here, or corrects since when.
func (s *Server) arrive(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, at *time.Time) error {
	if isKept(*v) {
		return nobodyComes()
	}
	if v.State != store.Booked && (at == nil || v.State != store.Arrived && v.State != store.UnderWay) {
		return conflict("the visit is " + words(v.State))
	}
	from, to := scheduling.DayBounds(n.loc, scheduling.CivilDate(v.Start, n.loc))
	now := s.now()
	if at == nil && (now.Before(from) || !now.Before(to)) || now.Before(from) {
		return conflict("the visit is on " + v.Start.In(n.loc).Format("Monday 2 January") + ": only today's clients can arrive")
	}
	came := now.Truncate(time.Second)
	if at != nil {
		came = at.Truncate(time.Second)
		b := bounds{from: from, to: now.Add(ahead), why: "before the day of the visit", whyNot: "which is still to come"}
		if marks := factsOf(*v).marks(); len(marks) > 0 && marks[0].at.Before(b.to) {
			b.to, b.whyNot = marks[0].at, fmt.Sprintf("after “%s” had begun, at %s", v.Steps[marks[0].step].Label, clockAt(n, marks[0].at))
		}
		if err := b.hold(n, "", press{at: at}, came); err != nil {
			return err
		}
	}
	return s.noted(ctx, t, v, store.Event{Kind: store.EventArrive, At: came})
}

package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// undoFor is how long what was done last can be undone (judgement: a slip is noticed
// within minutes; what is older has been built upon).
const undoFor = 10 * time.Minute

// What can be undone, by the names under which it is kept.
const (
	didBook      = "book"
	didWalkIn    = "walk-in"
	didHold      = "hold"
	didKeep      = "keep"
	didMove      = "move"
	didCancel    = "cancel"
	didCancelAll = "cancel-all"
	didRelease   = "release"
	didMiss      = "miss"
	didArrive    = "arrive"
	didStart     = "start-step"
	didFinish    = "finish-step"
	didEnd       = "finish"
	didWait      = "wait"
)

// neverUndone says why some things cannot be undone.
var neverUndone = map[string]string{
	didEnd:       "a visit that is over stays over; correct its times instead",
	didCancelAll: "several visits were cancelled together; book them again",
	didRelease:   "a pencilled visit was given up; pencil it again",
}

// undoNeeds is the operation whose roles may undo.
var undoNeeds = map[string]string{didBook: "cancel-visit", didWalkIn: "cancel-visit", didHold: "release-visit", didKeep: "cancel-visit", didMove: "move-visit",
	didCancel: "book-visit", didMiss: "undo-miss", didArrive: "undo-arrival", didStart: "undo-step", didFinish: "undo-step", didWait: "withdraw-waiting"}

// LastActionBody is what the caller did last.
type LastActionBody struct {
	ID       string    `json:"id" doc:"Names what was done; give it with the undo"`
	Kind     string    `json:"kind" enum:"book,walk-in,hold,keep,move,cancel,cancel-all,release,miss,arrive,start-step,finish-step,finish,wait"`
	Words    string    `json:"words" example:"moved Juna K. to 14:00"`
	Done     time.Time `json:"done_at"`
	VisitID  string    `json:"visit_id,omitempty"`
	WishID   string    `json:"waiting_list_id,omitempty"`
	Possible bool      `json:"possible"`
	Why      string    `json:"why,omitempty" doc:"Why it cannot be undone"`
}

// UndoBody is what the caller can undo.
type UndoBody struct {
	Action *LastActionBody `json:"action,omitempty" doc:"Left out: nothing in the last ten minutes"`
}

// UndoneBody is what became of what was undone.
type UndoneBody struct {
	Words   string `json:"words" example:"undone: moved Juna K. to 14:00"`
	VisitID string `json:"visit_id,omitempty"`
}

type undoLastInput struct {
	Body struct {
		ID string `json:"id" maxLength:"120" pattern:"^[!-~]*$" patternDescription:"an id as GET /undo gives it" doc:"From GET /undo: nothing else than that is undone"`
	}
}

func (s *Server) undoRoutes() {
	route(s, huma.Operation{OperationID: "get-undo", Method: http.MethodGet, Path: "/undo",
		Summary: "What the caller did last, within ten minutes, and whether it can be undone"}, s.getUndo)
	route(s, huma.Operation{OperationID: "undo-last", Method: http.MethodPost, Path: "/undo", Errors: []int{http.StatusConflict, http.StatusBadRequest},
		Summary: "Undo what the caller did last, unless somebody has changed it since"}, s.undoDone)
	route(s, huma.Operation{OperationID: "undo-arrival", Method: http.MethodPost, Path: "/visits/{id}/arrive/undo",
		Summary: "The client is not here after all; nothing has begun", Errors: []int{http.StatusConflict}}, s.undoArrival)
}

// wasVisit is where a visit stood before it was changed.
type wasVisit struct {
	Start   time.Time `json:"start"`
	End     time.Time `json:"end"`
	Chair   string    `json:"chair,omitempty"`
	Leads   []string  `json:"leads,omitempty"`
	Steps   []wasStep `json:"steps,omitempty"`
	Units   []string  `json:"units,omitempty"` // of kept time
	State   string    `json:"state"`
	Ordinal *int      `json:"ordinal,omitempty"`
}

type wasStep struct {
	Start time.Time        `json:"start"`
	End   time.Time        `json:"end"`
	Units []store.StepUnit `json:"units"`
}

func wasOf(v store.Visit) wasVisit {
	w := wasVisit{Start: v.Start, End: v.End, Chair: v.Chair, Leads: leadsOf(v), State: string(v.State)}
	for _, st := range v.Steps {
		w.Steps = append(w.Steps, wasStep{st.Start, st.End, slices.Clone(st.Units)})
	}
	return w
}

// noteDone notes what whoever makes the request did to a visit that is v now, so
// that it can be undone. What the program does by itself is nobody's.
func (s *Server) noteDone(ctx context.Context, t *store.Tx, kind string, v store.Visit, was wasVisit) error {
	return s.noteAction(ctx, t, kind, v.ID, v.Version, was)
}

func (s *Server) noteAction(ctx context.Context, t *store.Tx, kind, subject string, version int64, was any) error {
	p := principal(ctx)
	if p.TokenID == "" || p.Role == clientRole { // clients undo nothing, and nothing is kept of who they are
		return nil
	}
	raw, err := json.Marshal(was)
	if err != nil {
		return fmt.Errorf("api: last action: %w", err)
	}
	return t.SetLastAction(ctx, store.LastAction{Doer: p.TokenID, Kind: kind, Subject: subject, Version: version, Was: raw, At: s.now()})
}

// actionID names an action: two of one person are never at the same moment.
func actionID(a store.LastAction) string {
	return fmt.Sprintf("%s-%s-%d-%d", a.Kind, a.Subject, a.Version, a.At.UnixMicro())
}

func (s *Server) getUndo(ctx context.Context, _ *empty) (*found[UndoBody], error) {
	out := &found[UndoBody]{}
	err := s.read(ctx, func(t *store.Tx) (err error) {
		out.Body.Action, err = s.lastAction(ctx, t)
		return err
	})
	return out, err
}

// lastAction is what the caller did last, nil when that is too long ago.
func (s *Server) lastAction(ctx context.Context, t *store.Tx) (*LastActionBody, error) {
	a, err := t.LastAction(ctx, principal(ctx).TokenID)
	if is(err, scheduling.ErrNotFound) || err == nil && s.now().Sub(a.At) > undoFor {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	n, err := loadSalon(ctx, t)
	if err != nil {
		return nil, err
	}
	b := &LastActionBody{ID: actionID(a), Kind: a.Kind, Done: a.At.In(n.loc), Why: neverUndone[a.Kind]}
	if a.Kind == didWait {
		b.WishID = a.Subject
		err = s.wishAction(ctx, t, a, b)
	} else {
		b.VisitID = a.Subject
		err = s.visitAction(ctx, t, n, a, b)
	}
	if is(err, scheduling.ErrNotFound) {
		return nil, nil
	}
	if need := undoNeeds[a.Kind]; b.Why == "" && need != "" {
		b.Why = mayDo(ctx, need)
	}
	b.Possible = b.Why == ""
	return b, err
}

// Undo is what whoever uses a page can take back, with the page to come back to.
func (s *Server) Undo(ctx context.Context, back string) pages.Undo {
	var a *LastActionBody
	err := s.read(ctx, func(t *store.Tx) (err error) { a, err = s.lastAction(ctx, t); return err })
	if err != nil || a == nil { // the page is right without it
		return pages.Undo{}
	}
	return a.line(back)
}

func (b *LastActionBody) line(back string) pages.Undo {
	return pages.Undo{Words: b.Words, ID: b.ID, Why: b.Why, Back: back}
}

// changedSince says that somebody was there after it.
const changedSince = "it was changed again since"

func (s *Server) wishAction(ctx context.Context, t *store.Tx, a store.LastAction, b *LastActionBody) error {
	w, err := t.WishByID(ctx, a.Subject)
	if err != nil {
		return err
	}
	c, err := t.ClientByID(ctx, w.Client)
	if err != nil {
		return err
	}
	b.Words = "put " + shortName(c) + " on the waiting list"
	if w.Version != a.Version {
		b.Why = changedSince
	}
	return nil
}

func (s *Server) visitAction(ctx context.Context, t *store.Tx, n salonDay, a store.LastAction, b *LastActionBody) error {
	v, err := t.VisitByID(ctx, a.Subject)
	if err != nil {
		return err
	}
	clients, err := clientsOf(ctx, t, []store.Visit{v})
	if err != nil {
		return err
	}
	var was wasVisit
	if err := json.Unmarshal(a.Was, &was); err != nil {
		return fmt.Errorf("api: last action: %w", err)
	}
	who := shortName(clients[v.ID])
	if who == "" {
		who = v.Title
	}
	if who == "" {
		who = "a visit"
	}
	b.Words = s.actionWords(n, a.Kind, who, v, was)
	if v.Version != a.Version && b.Why == "" {
		b.Why = changedSince
	}
	return nil
}

// actionWords says what was done: "moved Juna K. to 14:00".
func (s *Server) actionWords(n salonDay, kind, who string, v store.Visit, was wasVisit) string {
	at := func(t time.Time) string {
		if n.today(t).Equal(n.today(s.now())) {
			return clockAt(n, t)
		}
		return t.In(n.loc).Format("Mon 2 January 15:04")
	}
	step := "a step"
	if o := was.Ordinal; o != nil && *o < len(v.Steps) {
		step = "“" + v.Steps[*o].Label + "”"
	}
	switch kind {
	case didBook:
		return "booked " + who + " for " + at(v.Start)
	case didWalkIn:
		return who + " walked in at " + at(v.Start)
	case didHold:
		return "pencilled " + who + " for " + at(v.Start)
	case didKeep:
		return "kept " + at(v.Start) + " for " + who
	case didMove:
		if was.Start.Equal(v.Start) {
			return "changed who is in charge of " + who
		}
		return "moved " + who + " to " + at(v.Start)
	case didCancel, didCancelAll, didRelease:
		return "cancelled " + who + ", " + at(v.Start)
	case didMiss:
		return who + " did not come"
	case didArrive:
		return who + " is here"
	case didStart:
		return step + " of " + who + " began"
	case didFinish:
		return step + " of " + who + " is over"
	case didEnd:
		return "the visit of " + who + " is over"
	}
	return "something of " + who
}

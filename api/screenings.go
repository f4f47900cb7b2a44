package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/screening"
	"chairblock/store"
)

// AnswerBody is the answer to one question.
type AnswerBody struct {
	Question string `json:"question" doc:"Id of the question"`
	Answer   string `json:"answer" doc:"yes, no or not_sure, a date, a text or the id of a choice, as the question says"`
}

// ConsentInput is the client's agreement to keep the answers.
type ConsentInput struct {
	By     string `json:"by" enum:"client,guardian" doc:"Who agreed"`
	Agreed bool   `json:"agreed" doc:"true: without it nothing is kept"`
}

// ScreeningInput is a consultation form that was answered.
type ScreeningInput struct {
	FormVersion int          `json:"form_version" minimum:"1" maximum:"1000000" doc:"Version of the form that was answered"`
	Answers     []AnswerBody `json:"answers" doc:"One for each question that was asked"`
	Consent     ConsentInput `json:"consent"`
}

// ScreeningMade says what the answers came to. Read the consultation for the
// reasons.
type ScreeningMade struct {
	ID      string `json:"id"`
	Outcome string `json:"outcome,omitempty" enum:"clear,ask,do_not_book" doc:"Left out when the answers are erased by the time a request is repeated"`
}

// ScreeningItem is a consultation without its answers. The front desk sees
// whether it is done, and nothing of what it came to.
type ScreeningItem struct {
	ID          string     `json:"id"`
	Made        time.Time  `json:"made_at"`
	FormVersion int        `json:"form_version"`
	Words       string     `json:"words" enum:"done,ask the stylist,erased" doc:"What the front desk says"`
	Erased      *time.Time `json:"erased_at,omitempty"`
	Outcome     string     `json:"outcome,omitempty" enum:"clear,ask,do_not_book" doc:"For the stylist and the owner"`
	StrandTest  *bool      `json:"needs_strand_test,omitempty" doc:"For the stylist and the owner"`
	Earliest    string     `json:"earliest,omitempty" format:"date" doc:"First day for a service with chemicals"`
	Decision    string     `json:"decision,omitempty" enum:"yes,no" doc:"What the licensed person said last"`
	DecidedBy   string     `json:"decided_by,omitempty"`
	DecidedAt   *time.Time `json:"decided_at,omitempty"`
}

type screeningInput struct {
	ByID
	Repeatable
	Body ScreeningInput
}

func (s *Server) screeningRoutes() {
	s.formRoutes()
	s.healthRoutes()
	route(s, huma.Operation{OperationID: "list-screenings", Method: http.MethodGet, Path: "/clients/{id}/screenings",
		Summary: "A client's consultations, newest first, without the answers"}, s.listScreenings)
	route(s, huma.Operation{OperationID: "add-screening", Method: http.MethodPost, Path: "/clients/{id}/screenings",
		Summary:     "Keep the answers of a consultation, encrypted",
		Description: "Nothing is approved by any outcome: the maker's directions, local rules and the licensed person come first.", DefaultStatus: http.StatusCreated}, s.addScreening)
	route(s, huma.Operation{OperationID: "get-screening", Method: http.MethodGet, Path: "/screenings/{id}",
		Summary: "A consultation with its answers; the reading is noted"}, s.getScreening)
	route(s, huma.Operation{OperationID: "delete-screening", Method: http.MethodDelete, Path: "/screenings/{id}",
		Summary: "Erase the answers of a consultation; that there was one stays"}, s.deleteScreening)
	route(s, huma.Operation{OperationID: "decide-screening", Method: http.MethodPost, Path: "/screenings/{id}/decision",
		Summary: "What the licensed person says to a consultation", Errors: []int{http.StatusConflict}}, s.decideScreening)
}

// today is the salon's date at a moment.
func (n salonDay) today(at time.Time) date.Date { return date.NewAt(at.In(n.loc)) }

func (s *Server) addScreening(ctx context.Context, in *screeningInput) (*created[ScreeningMade], error) {
	raw, err := json.Marshal(in.Body)
	if err != nil {
		return nil, err
	}
	prints, err := s.store.SealedPrints(raw) // what is kept of the request must not tell what was answered
	if err != nil {
		return nil, err
	}
	var made store.Screening
	out, err := once(s, ctx, in.Repeatable, "/clients/"+in.ID+"/screenings", prints, func(t *store.Tx) (*created[ScreeningMade], error) {
		var err error
		made, err = s.keepScreening(ctx, t, in.ID, in.Body)
		return &created[ScreeningMade]{Location: "/v1/screenings/" + made.ID, Body: ScreeningMade{ID: made.ID}}, err // the answer is kept: no outcome in it
	})
	if err != nil {
		return nil, err
	}
	if out.Replayed != "" {
		err = s.read(ctx, func(t *store.Tx) (err error) { made, err = t.ScreeningByID(ctx, out.Body.ID); return err })
		if is(err, scheduling.ErrNotFound) { // gone with its client
			made, err = store.Screening{}, nil
		}
	}
	out.Body.Outcome = string(made.Outcome)
	return out, err
}

// keepScreening judges the answers of a client and keeps them.
func (s *Server) keepScreening(ctx context.Context, t *store.Tx, client string, b ScreeningInput) (store.Screening, error) {
	var c store.Screening
	if err := t.LockClient(ctx, client); err != nil {
		return c, err
	}
	n, err := loadSalon(ctx, t)
	if err != nil {
		return c, err
	}
	form, err := currentForm(ctx, t)
	if err != nil {
		return c, err
	}
	if b.FormVersion != form.Version {
		return c, conflict(fmt.Sprintf("the form has changed: the salon asks version %d now", form.Version))
	}
	now := s.now()
	answers := make([]screening.Answer, len(b.Answers))
	for i, a := range b.Answers {
		answers[i] = screening.Answer{Question: a.Question, Text: a.Answer}
	}
	var f scheduling.Faults
	o, err := screening.Judge(form.Form, answers, n.today(now))
	if err := f.Join("answers", err); err != nil {
		return c, err
	}
	if !b.Consent.Agreed {
		f.Add("consent.agreed", "is false", "true: answers are kept only when the client agrees")
	}
	if err := f.Err(); err != nil {
		return c, err
	}
	if _, err := form.keep(ctx, t); err != nil {
		return c, err
	}
	words, err := json.Marshal(b.Answers)
	if err != nil {
		return c, err
	}
	c, err = t.AddScreening(ctx, store.Screening{Client: client, FormVersion: form.Version, Outcome: o.Level, StrandTest: o.StrandTest,
		AfterStrandTest: o.AfterStrandTest, Earliest: o.Earliest, Made: now, MadeBy: principal(ctx).StaffID,
		ConsentBy: b.Consent.By, ConsentAt: now, ConsentWording: form.ConsentWording}, words)
	if err != nil {
		return c, err
	}
	return c, s.noteHealth(ctx, t, c.ID, "made")
}

// noteHealth notes that the caller did something with sealed answers.
func (s *Server) noteHealth(ctx context.Context, t *store.Tx, screening, what string) error {
	p := principal(ctx)
	return t.NoteHealthRead(ctx, store.HealthRead{Screening: screening, At: s.now(), What: what, Role: string(p.Role), Staff: p.StaffID, Token: p.TokenID})
}

func (s *Server) listScreenings(ctx context.Context, in *ByID) (*listBody[ScreeningItem], error) {
	var rows []store.Screening
	var n salonDay
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if n, err = loadSalon(ctx, t); err != nil {
			return err
		}
		if _, err = t.ClientByID(ctx, in.ID); err != nil {
			return err
		}
		if ctx, err = healthOf(ctx, t, in.ID); err != nil {
			return err
		}
		rows, err = t.Screenings(ctx, in.ID)
		return err
	})
	if err != nil {
		return nil, err
	}
	return listOf(rows, func(c store.Screening) ScreeningItem {
		return n.screeningItem(c, seesHealth(ctx) || heldBy(ctx, c))
	}), nil
}

// screeningItem shows what a consultation came to to those who may know.
func (n salonDay) screeningItem(c store.Screening, mayKnow bool) ScreeningItem {
	b := ScreeningItem{ID: c.ID, Made: c.Made.In(n.loc), FormVersion: c.FormVersion, Words: "ask the stylist"}
	switch {
	case c.Erased != nil:
		b.Words, b.Erased = "erased", new(c.Erased.In(n.loc))
		return b
	case c.Standing() == screening.Clear:
		b.Words = "done"
	}
	if !mayKnow {
		return b
	}
	b.Outcome, b.StrandTest, b.Decision, b.DecidedBy = string(c.Outcome), &c.StrandTest, c.Decision, c.DecidedName
	if c.Earliest != nil {
		b.Earliest = c.Earliest.String()
	}
	if c.DecidedAt != nil {
		b.DecidedAt = new(c.DecidedAt.In(n.loc))
	}
	return b
}

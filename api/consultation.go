package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/screening"
	"chairblock/store"
)

// OptionBody is one answer to a question of kind choice.
type OptionBody struct {
	ID   string `json:"id"`
	Text string `json:"text"`
}

// QuestionBody is one question of the consultation form.
type QuestionBody struct {
	ID       string       `json:"id"`
	Text     string       `json:"text" doc:"The question as it is asked"`
	For      string       `json:"for" doc:"What it is asked for"`
	Kind     string       `json:"kind" enum:"yes_no_not_sure,date,text,choice" doc:"How it is answered: yes, no or not_sure; a date or not_sure; a text of at most 500 characters; the id of a choice. Not sure counts as yes."`
	Choices  []OptionBody `json:"choices,omitempty" nullable:"false"`
	After    string       `json:"after,omitempty" doc:"Asked only when the question with this id is answered by yes or not sure"`
	Optional bool         `json:"optional" doc:"May be left unanswered"`
}

// OwnQuestionBody is a question that the salon adds.
type OwnQuestionBody struct {
	Text    string `json:"text" doc:"Answered by yes, no or not sure; 1 to 200 characters. Nobody is asked for their origin." example:"Do you wear contact lenses?"`
	Outcome string `json:"outcome" enum:"ask,do_not_book" doc:"What a yes or not sure leads to"`
}

// ConsentText is what a client agrees to.
type ConsentText struct {
	Wording int    `json:"wording" doc:"Version of the text"`
	Text    string `json:"text"`
}

// ConsultationForm is the consultation form that the salon asks now.
type ConsultationForm struct {
	Version   int               `json:"version" doc:"Every consultation keeps the version that it answered"`
	Questions []QuestionBody    `json:"questions" nullable:"false" doc:"All questions in order, the salon's own ones last"`
	Own       []OwnQuestionBody `json:"own_questions" nullable:"false" doc:"The salon's own questions alone"`
	Consent   ConsentText       `json:"consent" doc:"What the client agrees to before anything is kept"`
	Words     string            `json:"words" doc:"What goes before every outcome"`
}

type formInput struct {
	Precondition
	Body struct {
		Own []OwnQuestionBody `json:"own_questions" maxItems:"10" doc:"All own questions, in order; the form gets a new version"`
	}
}

func (s *Server) formRoutes() {
	route(s, huma.Operation{OperationID: "get-consultation-form", Method: http.MethodGet, Path: "/consultation-form",
		Summary: "The questions of the consultation"}, s.getForm)
	route(s, huma.Operation{OperationID: "set-consultation-form", Method: http.MethodPut, Path: "/consultation-form",
		Summary: "Replace the salon's own questions of the consultation"}, s.setForm)
}

// askedForm is a version of a salon's form.
type askedForm struct {
	screening.Form
	own []OwnQuestionBody
}

// ownOf turns a salon's own questions into those of the core.
func ownOf(list []OwnQuestionBody) []screening.Own {
	out := make([]screening.Own, len(list))
	for i, q := range list {
		out[i] = screening.Own{Text: q.Text, Level: screening.Level(q.Outcome)}
	}
	return out
}

// readForm makes the form of a row.
func readForm(row store.Form) (askedForm, error) {
	a := askedForm{}
	if err := json.Unmarshal(row.Own, &a.own); err != nil {
		return a, fmt.Errorf("api: consultation form: %w", err)
	}
	var known bool
	if a.Form, known = screening.NewForm(row.Version, row.Standard, ownOf(a.own)); !known {
		return a, fmt.Errorf("api: consultation form: version %d of the questions is not known to this program", row.Standard)
	}
	return a, nil
}

// currentForm is the form that the salon asks now, kept or not: one that has
// never been answered or changed is not kept yet, and a program that brings newer
// questions makes a new version.
func currentForm(ctx context.Context, t *store.Tx) (askedForm, error) {
	row, err := t.NewestForm(ctx)
	switch {
	case is(err, scheduling.ErrNotFound):
		row = store.Form{Version: 1, Standard: screening.Newest, Own: []byte(`[]`)}
	case err != nil:
		return askedForm{}, err
	case row.Standard < screening.Newest:
		row.Version, row.Standard = row.Version+1, screening.Newest
	}
	return readForm(row)
}

// keep keeps the version, and reports whether it was the first to do so.
func (a askedForm) keep(ctx context.Context, t *store.Tx) (bool, error) {
	own, err := json.Marshal(a.own)
	if err != nil {
		return false, err
	}
	return t.KeepForm(ctx, store.Form{Version: a.Version, Standard: a.Standard, Own: own})
}

func writeForm(a askedForm) *found[ConsultationForm] {
	b := ConsultationForm{Version: a.Version, Own: a.own, Consent: ConsentText{a.ConsentWording, a.Consent}, Words: screening.First}
	for _, q := range a.Questions {
		x := QuestionBody{ID: q.ID, Text: q.Text, For: q.For, Kind: string(q.Kind), After: q.After, Optional: q.Optional}
		for _, o := range q.Choices {
			x.Choices = append(x.Choices, OptionBody(o))
		}
		b.Questions = append(b.Questions, x)
	}
	return &found[ConsultationForm]{etag(int64(a.Version)), b}
}

func (s *Server) getForm(ctx context.Context, _ *empty) (*found[ConsultationForm], error) {
	var a askedForm
	err := s.read(ctx, func(t *store.Tx) (err error) { a, err = currentForm(ctx, t); return err })
	if err != nil {
		return nil, err
	}
	return writeForm(a), nil
}

func (s *Server) setForm(ctx context.Context, in *formInput) (*found[ConsultationForm], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	own := slices.Clone(in.Body.Own)
	for i := range own {
		own[i].Text = strings.TrimSpace(own[i].Text)
	}
	if err := f.Join("own_questions", screening.CheckOwn(ownOf(own))); err != nil {
		return nil, err
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	var a askedForm
	err = s.inTx(ctx, func(t *store.Tx) error {
		if a, err = currentForm(ctx, t); err != nil {
			return err
		}
		if int64(a.Version) != version {
			return scheduling.ErrStale
		}
		if slices.Equal(a.own, own) {
			return nil
		}
		next, err := json.Marshal(own)
		if err != nil {
			return err
		}
		row := store.Form{Version: a.Version + 1, Standard: screening.Newest, Own: next}
		if a, err = readForm(row); err != nil {
			return err
		}
		first, err := t.KeepForm(ctx, row)
		if err == nil && !first {
			err = scheduling.ErrStale // somebody else made that version
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return writeForm(a), nil
}

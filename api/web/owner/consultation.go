package owner

import (
	"fmt"
	"net/http"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) consultationPages() {
	p.get("/set-up/consultation", "set-consultation-form", (*visit).consultationSheet)
	p.post("/set-up/consultation/questions", "set-consultation-form", (*visit).saveQuestions, (*visit).consultationSheet)
	p.post("/set-up/consultation/wording", "add-consent-wording", (*visit).addWording, (*visit).consultationSheet)
}

// mostQuestions is how many questions of its own a salon may ask, as the interface says.
const mostQuestions = 10

func (v *visit) consultationSheet() (*sheet, error) {
	asked, tag, err := tagged[api.ConsultationForm](v, "/consultation-form")
	if err != nil {
		return nil, err
	}
	words, _, err := tagged[struct{ Items []api.WordingBody }](v, "/consent-wordings")
	if err != nil {
		return nil, err
	}
	s := v.sheet("Consultation and consent")
	s.Parts = append(s.Parts, questionsPart(asked, tag))
	if n := len(words.Items); n > 0 {
		s.Parts = append(s.Parts, wordingPart(words.Items[n-1]))
	}
	return s, nil
}

func questionsPart(b api.ConsultationForm, tag string) part {
	f := form{ID: "questions", Action: "/set-up/consultation/questions", Hidden: []hidden{version(tag)}, Buttons: save("Save the questions")}
	for i := range mostQuestions {
		q := api.OwnQuestionBody{Outcome: "ask"}
		if i < len(b.Own) {
			q = b.Own[i]
		}
		f.Fields = append(f.Fields, pages.Input(fmt.Sprintf("questions-own_questions-%d-text", i), fmt.Sprintf("Question %d", i+1), "Answered by yes, no or not sure; empty for none", "text", q.Text),
			choose(fmt.Sprintf("questions-own_questions-%d-outcome", i), fmt.Sprintf("Yes or not sure to question %d", i+1), q.Outcome, "ask", "the licensed person is asked", "do_not_book", "no visit is booked"))
	}
	p := part{ID: "questions", Title: "Questions of your own", Forms: []form{f}, Text: []string{
		"They are asked after the questions that came with the program. A change makes a new version of the form; consultations keep the one that they answered. Nobody is asked for their origin."}}
	for _, q := range b.Questions[:max(0, len(b.Questions)-len(b.Own))] {
		p.List = append(p.List, link{Text: q.Text})
	}
	return p
}

// saveQuestions replaces the questions by those that are typed, without gaps.
func (v *visit) saveQuestions() (answer, error) {
	own := []api.OwnQuestionBody{}
	v.at["/own_questions"] = v.name("own_questions-0-text")
	for i := range mostQuestions {
		at := func(field string) string { return fmt.Sprintf("own_questions-%d-%s", i, field) }
		if v.typed(at("text")) == "" {
			continue
		}
		v.at[fmt.Sprintf("/own_questions/%d", len(own))] = v.name(at("text"))
		v.at[fmt.Sprintf("/own_questions/%d/outcome", len(own))] = v.name(at("outcome"))
		own = append(own, api.OwnQuestionBody{Text: v.typed(at("text")), Outcome: v.typed(at("outcome"))})
	}
	_, err := v.ask(http.MethodPut, "/consultation-form", map[string]any{"own_questions": own}, nil)
	return answer{to: "/set-up/consultation?done=saved#questions"}, err
}

func wordingPart(b api.WordingBody) part {
	return part{ID: "wording", Title: "What a client agrees to before a treatment", Text: []string{fmt.Sprintf("Wording %d is in use. With another one every client is asked again; consents to the old ones stay on record.", b.Version)},
		Forms: []form{{ID: "wording", Action: "/set-up/consultation/wording", Hidden: []hidden{key()}, Fields: []pages.Field{
			pages.Area("wording-text", "The wording", "1 to 4000 characters", b.Text)}, Buttons: save("Use this wording")}}}
}

func (v *visit) addWording() (answer, error) {
	list, _, err := tagged[struct{ Items []api.WordingBody }](v, "/consent-wordings")
	if err != nil {
		return answer{}, err
	}
	if n := len(list.Items); n > 0 && list.Items[n-1].Text == v.typed("text") {
		return answer{to: "/set-up/consultation?done=saved#wording"}, nil // is in use already
	}
	_, err = v.ask(http.MethodPost, "/consent-wordings", api.WordingBody{Text: v.typed("text")}, nil)
	return answer{to: "/set-up/consultation?done=saved#wording"}, err
}

package stylist

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// toldView is what a client has told and shown of herself: for the stylist in
// charge of her and the owner alone, never kept on a phone.
type toldView struct {
	base
	Here, Back string
	Run        api.RunBody
	Look       string // "", "form" or "tests"
	Items      []api.ScreeningItem
	Opened     *api.ScreeningBody
	Decide     []pages.Field
	Form       *api.ConsultationForm
	Questions  []question
	Agreed     pages.Field
	By         pages.Field
	Skin       []skinTest
	Strand     []api.StrandTestBody
	Reactions  []api.ReactionBody
	SkinForm   []pages.Field
	StrandForm []pages.Field
	Reaction   []pages.Field
	Worker     bool // whoever did it has to be named
}

// question is one of the consultation with the answer that was given.
type question struct {
	api.QuestionBody
	Name, Answer, Error string
	Date                string
	Options             []pages.Choice
}

type skinTest struct {
	api.SkinTestBody
	Fields []pages.Field
	Open   bool
}

func (p page) told(c echo.Context) error { return p.showTold(c, http.StatusOK, nil, nil) }

func (p page) showTold(c echo.Context, status int, form url.Values, wrong []pages.FieldError) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "What the client told us") // no name: titles are kept in histories
	if err != nil {
		return api.Sorry(c, err)
	}
	b.Manifest = ""
	id := c.Param("id")
	v := toldView{base: b, Here: home + "visits/" + id + "/told", Back: home + "visits/" + id, Look: c.QueryParam("look"), Worker: b.Me == ""}
	if form != nil {
		v.Look = form.Get("look")
	}
	if v.Run, err = p.run(ctx, id); err != nil {
		return api.Sorry(c, err)
	}
	if !v.Run.SeesHealth {
		return api.Message(c, http.StatusForbidden, "What the client told us", "This is for the stylist in charge of the client, and the owner.")
	}
	v.Summary = wrong
	client := v.Run.ClientID
	switch v.Look {
	case "form":
		err = p.toldQuestions(ctx, &v, form, wrong)
	case "tests":
		err = p.toldTests(ctx, &v, client, form, wrong)
	default:
		err = p.toldBefore(ctx, &v, client, c.QueryParam("open"), form, wrong)
	}
	if err != nil {
		return api.Sorry(c, err)
	}
	return render(c, status, "told", v)
}

// toldBefore lists the consultations that were held, one of them opened.
func (p page) toldBefore(ctx context.Context, v *toldView, client, open string, form url.Values, wrong []pages.FieldError) error {
	var err error
	if v.Items, err = web.Items[api.ScreeningItem](ctx, p.site, api.Path("clients", client, "screenings"), nil); err != nil {
		return err
	}
	if form.Get("id") != "" {
		open = form.Get("id")
	}
	if open == "" {
		return nil
	}
	x, err := web.Get[api.ScreeningBody](ctx, p.site, api.Path("screenings", open), nil)
	if err != nil {
		return err
	}
	if x.ClientID != client {
		return &api.Problem{Status: http.StatusNotFound, Title: "There is no such consultation", Detail: "It is none of this client's."}
	}
	v.Opened = &x
	v.Decide = []pages.Field{
		pages.Select("decision", "What do you say?", "", form.Get("decision"), []pages.Option{{ID: "yes", Name: "yes, it may be done"}, {ID: "no", Name: "no"}}, "choose"),
		pages.Area("why", "Why", "1 to 500 characters; kept encrypted, with your name and the time", form.Get("why")),
	}
	if v.Worker {
		v.Decide = append(v.Decide, pages.Input("decided_by", "Licensed person", "the name of somebody who works here", "text", form.Get("decided_by")))
	}
	v.Decide = web.Mark(v.Decide, wrong)
	return nil
}

// toldQuestions shows the form of the consultation.
func (p page) toldQuestions(ctx context.Context, v *toldView, form url.Values, wrong []pages.FieldError) error {
	f, err := web.Get[api.ConsultationForm](ctx, p.site, "/consultation-form", nil)
	if err != nil {
		return err
	}
	v.Form = &f
	for _, q := range f.Questions {
		x := question{QuestionBody: q, Name: "q-" + q.ID, Answer: form.Get("q-" + q.ID)}
		if x.Kind == "date" {
			if x.Date = x.Answer; x.Date == "" && form.Get(x.Name+"-unknown") != "" {
				x.Answer = "not_sure"
			}
		}
		for _, o := range q.Choices {
			x.Options = append(x.Options, pages.Choice{Value: o.ID, Text: o.Text, Chosen: o.ID == x.Answer})
		}
		for _, w := range wrong {
			if w.Field == x.Name {
				x.Error = w.Text
			}
		}
		v.Questions = append(v.Questions, x)
	}
	fields := web.Mark([]pages.Field{
		pages.Tick("agreed", "The client agrees", f.Consent.Text, form.Get("agreed") == "true"),
		pages.Select("by", "Who agreed", "", form.Get("by"), []pages.Option{{ID: "client", Name: "the client"}, {ID: "guardian", Name: "the guardian"}}, ""),
	}, wrong)
	v.Agreed, v.By = fields[0], fields[1]
	return nil
}

// toldTests lists tests and reactions.
func (p page) toldTests(ctx context.Context, v *toldView, client string, form url.Values, wrong []pages.FieldError) error {
	list, err := web.Items[api.SkinTestBody](ctx, p.site, api.Path("clients", client, "skin-tests"), nil)
	if err != nil {
		return err
	}
	if v.Strand, err = web.Items[api.StrandTestBody](ctx, p.site, api.Path("clients", client, "strand-tests"), nil); err != nil {
		return err
	}
	if v.Reactions, err = web.Items[api.ReactionBody](ctx, p.site, api.Path("clients", client, "reactions"), nil); err != nil {
		return err
	}
	is := func(prefix, name string) string {
		if form.Get("prefix") == prefix {
			return form.Get(prefix + "-" + name)
		}
		return ""
	}
	who := func(prefix string, fields []pages.Field) []pages.Field {
		if v.Worker {
			fields = append(fields, pages.Input(prefix+"-by", "Who did it", "the name of somebody who works here", "text", is(prefix, "by")))
		}
		return web.Mark(fields, wrong)
	}
	results := []pages.Option{{ID: "negative", Name: "negative: nothing to be seen"}, {ID: "positive", Name: "positive"}, {ID: "unclear", Name: "unclear: counts as positive"}}
	for _, x := range list {
		prefix := "r" + x.ID
		v.Skin = append(v.Skin, skinTest{x, who(prefix, []pages.Field{
			pages.Select(prefix+"-result", "What is to be seen", "", is(prefix, "result"), results, "choose"),
			pages.Input(prefix+"-note", "In a few words", "", "text", is(prefix, "note")),
			pages.Input(prefix+"-correction", "Why the last reading was wrong", "only to change one that stands; a licensed person says it", "text", is(prefix, "correction")),
		}), form.Get("prefix") == prefix})
	}
	v.SkinForm = who("skin", []pages.Field{pages.Input("skin-product", "Product", "as it says on the bottle", "text", is("skin", "product")),
		pages.Input("skin-strength", "Strength", "as the maker calls it", "text", is("skin", "strength")),
		pages.Select("skin-place", "Where", "", is("skin", "place"), []pages.Option{{ID: "behind_the_ear", Name: "behind the ear"}, {ID: "inner_elbow", Name: "inner elbow"}}, "")})
	v.StrandForm = who("strand", []pages.Field{pages.Input("strand-product", "Product", "as it says on the bottle", "text", is("strand", "product")),
		pages.Input("strand-strength", "Strength", "as the maker calls it", "text", is("strand", "strength")),
		pages.Select("strand-result", "Result", "", is("strand", "result"), []pages.Option{{ID: "fine", Name: "fine"}, {ID: "stretched_too_far", Name: "stretched too far"}, {ID: "snapped", Name: "snapped"}}, "choose"),
		pages.Input("strand-note", "In a few words", "", "text", is("strand", "note"))})
	v.Reaction = web.Mark([]pages.Field{pages.Input("reaction-product", "Product", "as far as it is known", "text", is("reaction", "product")),
		pages.Area("reaction-note", "What was seen", "kept encrypted", is("reaction", "note"))}, wrong)
	return nil
}

// toldForm keeps what a form of the page says.
func (p page) toldForm(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	ctx := c.Request().Context()
	r, err := p.run(ctx, c.Param("id"))
	if err != nil {
		return api.Sorry(c, err)
	}
	if !r.SeesHealth {
		return api.Message(c, http.StatusForbidden, "What the client told us", "This is for the stylist in charge of the client, and the owner.")
	}
	here := "visits/" + c.Param("id") + "/told"
	what := c.Param("what")
	if what == "answers" {
		return p.keepAnswers(c, r, form, here)
	}
	prefix := form.Get("prefix")
	get := func(name string) string { return strings.TrimSpace(form.Get(prefix + "-" + name)) }
	q := api.Question{Method: http.MethodPost, Key: form.Get("key")}
	done, look := "test", "tests"
	switch what {
	case "decision":
		q.Path, done, look = api.Path("screenings", form.Get("id"), "decision"), "decided", ""
		q.Body = api.DecisionInput{Decision: form.Get("decision"), Why: form.Get("why"), DecidedBy: form.Get("decided_by")}
	case "skin":
		q.Path = api.Path("clients", r.ClientID, "skin-tests")
		q.Body = api.SkinTestInput{Product: get("product"), Strength: get("strength"), Place: get("place"), By: get("by")}
	case "reading":
		q.Path, done = api.Path("skin-tests", form.Get("id"), "reading"), "read"
		q.Body = api.ReadingInput{Result: get("result"), Note: get("note"), Correction: get("correction"), By: get("by")}
	case "strand":
		q.Path = api.Path("clients", r.ClientID, "strand-tests")
		q.Body = api.StrandTestBody{Product: get("product"), Strength: get("strength"), Result: get("result"), Note: get("note"), By: get("by")}
	case "reaction":
		q.Path, done = api.Path("clients", r.ClientID, "reactions"), "reaction"
		q.Body = api.ReactionBody{Product: get("product"), Note: get("note")}
	default:
		return echo.NewHTTPError(http.StatusNotFound)
	}
	if _, err := p.site.Ask(ctx, q); err != nil {
		names := map[string]string{}
		for _, n := range []string{"product", "strength", "place", "by", "result", "note", "correction"} {
			names[n] = prefix + "-" + n
		}
		wrong, status, ok := web.Wrong(err, names)
		if !ok {
			return api.Sorry(c, err)
		}
		form.Set("look", look)
		return p.showTold(c, status, form, wrong)
	}
	return web.Done(c, home+here+"?"+url.Values{"done": {done}, "look": {look}}.Encode())
}

// keepAnswers keeps the answers of a consultation.
func (p page) keepAnswers(c echo.Context, r api.RunBody, form url.Values, here string) error {
	ctx := c.Request().Context()
	f, err := web.Get[api.ConsultationForm](ctx, p.site, "/consultation-form", nil)
	if err != nil {
		return api.Sorry(c, err)
	}
	form.Set("look", "form")
	body, wrong := readAnswers(f, form)
	if len(wrong) > 0 {
		return p.showTold(c, http.StatusUnprocessableEntity, form, wrong)
	}
	var made api.ScreeningMade
	_, err = p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: api.Path("clients", r.ClientID, "screenings"), Body: body, Key: form.Get("key")}, &made)
	if err != nil {
		names := map[string]string{}
		wrong, status, ok := web.Wrong(err, names)
		if !ok {
			return api.Sorry(c, err)
		}
		return p.showTold(c, status, form, atQuestions(err, body, wrong))
	}
	return web.Done(c, home+here+"?"+url.Values{"done": {"answers"}, "open": {made.ID}}.Encode())
}

// atQuestions puts faults of answers beside their questions.
func atQuestions(err error, body api.ScreeningInput, wrong []pages.FieldError) []pages.FieldError {
	p, ok := err.(*api.Problem) //nolint:errorlint // web.Wrong has found one
	if !ok || len(p.Errors) != len(wrong) {
		return wrong
	}
	for i, e := range p.Errors {
		var n int
		if _, err := fmt.Sscanf(e.Pointer, "/answers/%d", &n); err == nil && n >= 0 && n < len(body.Answers) {
			wrong[i].Field = "q-" + body.Answers[n].Question
		}
	}
	return wrong
}

// readAnswers makes answers of what was ticked. Not sure is an answer; none is
// only left out where that is allowed, or where nothing is asked.
func readAnswers(f api.ConsultationForm, form url.Values) (api.ScreeningInput, []pages.FieldError) {
	out := api.ScreeningInput{FormVersion: f.Version, Answers: []api.AnswerBody{}, Consent: api.ConsentInput{By: form.Get("by"), Agreed: form.Get("agreed") == "true"}}
	var wrong []pages.FieldError
	given := map[string]string{}
	for _, q := range f.Questions {
		text := strings.TrimSpace(form.Get("q-" + q.ID))
		if q.Kind == "date" && text == "" && form.Get("q-"+q.ID+"-unknown") != "" {
			text = "not_sure"
		}
		given[q.ID] = text
		asked := q.After == "" || given[q.After] != "" && given[q.After] != "no"
		switch {
		case text != "" && asked:
			out.Answers = append(out.Answers, api.AnswerBody{Question: q.ID, Answer: text})
		case text == "" && asked && !q.Optional:
			wrong = append(wrong, pages.FieldError{Field: "q-" + q.ID, Text: "Not answered: " + q.Text})
		}
	}
	if !out.Consent.Agreed {
		wrong = append(wrong, pages.FieldError{Field: "agreed", Text: "Answers are kept only when the client agrees"})
	}
	return out, wrong
}

// Dated is when something happened, as the page says it.
func (v toldView) Dated(t *time.Time) string {
	if t == nil {
		return ""
	}
	return v.When(*t)
}

// SourceWords is where a reason comes from, "" where it is a default that nobody has
// published: at the chair that helps nobody, and the salon's rules say it.
func (v toldView) SourceWords(source string) string {
	if strings.Contains(source, "no source") {
		return ""
	}
	return source
}

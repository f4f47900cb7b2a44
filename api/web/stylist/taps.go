package stylist

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// again is how long after a page was made a press on it is taken for the second
// half of the press before (judgement: nobody reads a page in less).
const again = 2 * time.Second

// tapForm notes what a form without script says.
func (p page) tapForm(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	here := "visits/" + c.Param("id")
	if made, err := strconv.ParseInt(form.Get("made"), 10, 64); err == nil && form.Get("after") != "" && p.site.Now().UnixMilli()-made < again.Milliseconds() {
		return web.Done(c, to(here, "twice"))
	}
	if _, err := p.note(c, c.Param("id"), form, nil); err != nil {
		wrong, status, ok := wrongTap(err, form)
		if !ok {
			return api.Sorry(c, err)
		}
		return p.showVisit(c, status, wrong, form)
	}
	done := "noted"
	switch form.Get("kind") {
	case "undo", "undo_rinse_now":
		done = "back"
	case "done":
		done = "over"
	}
	return web.Done(c, to(here, done))
}

// wrongTap puts a refusal into the words of the form.
func wrongTap(err error, form url.Values) ([]pages.FieldError, int, bool) {
	kind := form.Get("kind")
	names := map[string]string{"at": "clock-" + form.Get("step") + "-" + kind + form.Get("which"), "step": ""}
	for _, name := range []string{"product", "ml", "setting", "percent"} {
		names[name] = kind + "-" + name
	}
	return web.Wrong(err, names)
}

// tapped is a tap as the phone sends it.
type tapped struct {
	Visit  string            `json:"visit"`
	Me     *string           `json:"me,omitempty"` // whose tap it is; the browser may have been signed in to somebody else since
	Key    string            `json:"key"`
	At     time.Time         `json:"at"`
	Fields map[string]string `json:"fields"`
}

// taps notes what was tapped on a phone, perhaps long ago.
func (p page) taps(c echo.Context) error {
	var t tapped
	d := json.NewDecoder(c.Request().Body)
	d.DisallowUnknownFields()
	if err := d.Decode(&t); err != nil || t.Visit == "" || t.Key == "" || t.At.IsZero() {
		return c.JSON(http.StatusBadRequest, map[string]any{"refused": "This tap cannot be read."})
	}
	if t.Me != nil && *t.Me != api.PersonKey(c.Request().Context()) {
		return c.JSON(http.StatusUnauthorized, map[string]any{"refused": "Somebody else is signed in here now."})
	}
	form := url.Values{}
	for k, v := range t.Fields {
		form.Set(k, v)
	}
	form = api.Keepable(form)
	form.Set("key", t.Key)
	words, err := p.note(c, t.Visit, form, &t.At)
	if err == nil {
		return c.JSON(http.StatusCreated, map[string]any{"words": pages.Capital(words)})
	}
	problem, is := errors.AsType[*api.Problem](err)
	if !is || problem.Status >= http.StatusInternalServerError {
		return c.JSON(http.StatusServiceUnavailable, map[string]any{"later": true})
	}
	if problem.Status == http.StatusConflict && strings.HasSuffix(problem.Type, "/running") {
		// The page before this one sent it, too, and is being answered.
		return c.JSON(http.StatusAccepted, map[string]any{"later": true})
	}
	list, _, _ := web.Wrong(err, nil)
	said := make([]string, len(list))
	for i, w := range list {
		said[i] = w.Text
	}
	return c.JSON(problem.Status, map[string]any{"refused": pages.Capital(strings.Join(said, "; ")),
		"already": problem.Status == http.StatusConflict && strings.HasSuffix(problem.Detail, " already")})
}

// note carries out one tap. at is when it was tapped, nil for now.
func (p page) note(c echo.Context, visit string, form url.Values, at *time.Time) (string, error) {
	ctx := c.Request().Context()
	b, err := readTap(form)
	if err != nil {
		return "", err
	}
	b.At = at
	if text := strings.TrimSpace(form.Get("clock")); text != "" {
		if b.At, err = p.clockOf(c, visit, text); err != nil {
			return "", err
		}
		b.Correct = true
	}
	var out api.TapAnswer
	_, err = p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: api.Path("visits", visit, "taps"), Body: b, Key: form.Get("key")}, &out)
	return out.Words, err
}

// clockOf is the instant of a clock time on the day of a visit.
func (p page) clockOf(c echo.Context, visit, text string) (*time.Time, error) {
	ctx := c.Request().Context()
	n, err := p.site.Salon(ctx)
	if err != nil {
		return nil, err
	}
	r, err := p.run(ctx, visit)
	if err != nil {
		return nil, err
	}
	at, err := base{loc: n.Location}.at(r.Start, text)
	if gap, ok := errors.AsType[*api.GapError](err); ok {
		return nil, refused("at", fmt.Sprintf("is shown by no clock that day: they go from %s to %s", gap.From, gap.To), "a time before or after that")
	}
	if err != nil {
		return nil, refused("at", "is no time of day", "a time such as 11:40")
	}
	return &at, nil
}

// refused is a fault of one field, as the interface would say it.
func refused(field, problem, want string) error {
	return &api.Problem{Status: http.StatusUnprocessableEntity, Errors: []api.FieldProblem{{In: "body", Pointer: "/" + field, Detail: problem, Expected: want}}}
}

// readTap makes a tap of what a form says.
func readTap(form url.Values) (api.TapRequest, error) {
	b := api.TapRequest{Kind: form.Get("kind"), Correct: form.Get("correct") != ""}
	if text := form.Get("step"); text != "" && text[0] != '-' {
		n, err := strconv.Atoi(text)
		if err != nil {
			return b, refused("step", "is no number", "a step of the visit")
		}
		b.Step = &n
	}
	fact := func(f api.FactRequest) { b.Kind, b.Fact = "fact", &f }
	kind := b.Kind
	number := func(name string) (float64, error) {
		text := strings.ReplaceAll(strings.TrimSpace(form.Get(kind+"-"+name)), ",", ".")
		if text == "" {
			return 0, nil
		}
		n, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return 0, refused(name, "is no number", "a number")
		}
		return n, nil
	}
	var err error
	switch kind {
	case "check", "check-ready":
		check := api.CheckFact{Ready: kind == "check-ready"}
		if text := form.Get("next"); text != "" && !check.Ready {
			if check.Next, err = strconv.Atoi(text); err != nil {
				return b, refused("next_minutes", "is no number", "whole minutes")
			}
		}
		fact(api.FactRequest{Kind: "check", FactValue: api.FactValue{Check: &check}})
	case "solution", "neutralizer":
		x := api.ProductFact{Product: form.Get(kind + "-product")}
		if x.ML, err = number("ml"); err != nil {
			return b, err
		}
		v := api.FactValue{Solution: &x}
		if kind == "neutralizer" {
			v = api.FactValue{Neutralizer: &x}
		}
		fact(api.FactRequest{Kind: kind, FactValue: v})
	case "iron":
		x := api.IronFact{}
		if x.Setting, err = number("setting"); err != nil {
			return b, err
		}
		fact(api.FactRequest{Kind: kind, FactValue: api.FactValue{Iron: &x}})
	case "dryness":
		x := api.DrynessFact{}
		if x.Percent, err = number("percent"); err != nil {
			return b, err
		}
		fact(api.FactRequest{Kind: kind, FactValue: api.FactValue{Dryness: &x}})
	}
	return b, nil
}

package stylist

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
	"chairblock/scheduling/quoting"
)

// hairView is the page on which hair is corrected before solution goes on.
type hairView struct {
	base
	Here, Back string
	Card       api.CardBody
	Fields     []pages.Field
	Answer     *api.HairSeenAnswer
	Choices    []hairChoice
	Carried    []pages.Field // what was corrected, hidden in the forms of the choices
	EndWas     string
	PriceWas   string
}

// hairChoice is one thing that can be done about the hair.
type hairChoice struct {
	api.ChoiceBody
	Key      string
	Words    string
	Price    string
	Less     string
	Cautions []pages.Caution
	AsksYes  bool
	Starts   []hairStart
	Can      bool
}

type hairStart struct{ Value, Words string }

func (p page) hair(c echo.Context) error { return p.showHair(c, http.StatusOK, nil, nil, nil) }

func (p page) showHair(c echo.Context, status int, form url.Values, answer *api.HairSeenAnswer, wrong []pages.FieldError) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "Hair as seen")
	if err != nil {
		return api.Sorry(c, err)
	}
	id := c.Param("id")
	v := hairView{base: b, Here: home + "visits/" + id + "/hair", Back: home + "visits/" + id, Answer: answer}
	if v.Card, err = web.Get[api.CardBody](ctx, p.site, api.Path("visits", id, "card"), nil); err != nil {
		return api.Sorry(c, err)
	}
	if v.Card.Hair == nil {
		return api.Message(c, http.StatusNotFound, "Hair as seen", "No service of this visit depends on the hair.")
	}
	v.title("Hair as seen: " + v.Card.Name)
	v.Summary = wrong
	v.Fields = web.Mark(hairFields(b, *v.Card.Hair, form), wrong)
	if answer != nil {
		v.choices(form)
	}
	return render(c, status, "hair-seen", v)
}

// hairFields are the fields of hair, with what was typed or as it is booked.
func hairFields(b base, h api.HeadBody, form url.Values) []pages.Field {
	unit, length, regrowth := "cm", h.LengthCM, h.RegrowthCM
	if b.salon.Inches {
		unit = "in"
		if h.LengthIn != nil {
			length = *h.LengthIn
		}
		if h.RegrowthIn != nil {
			regrowth = *h.RegrowthIn
		}
	}
	was := func(name, booked string) string {
		if form != nil && form.Has(name) {
			return form.Get(name)
		}
		return booked
	}
	number := func(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
	yes := map[bool]string{true: "yes", false: "no"}
	return []pages.Field{
		pages.Number("length", "Stretched length, "+unit, "from crown to ends; booked: "+number(length), was("length", number(length))),
		pages.Select("density", "How much hair", "", was("density", h.Density), []pages.Option{{ID: "low", Name: "little"}, {ID: "medium", Name: "average"}, {ID: "high", Name: "a lot"}}, ""),
		pages.Select("strand", "Each hair", "", was("strand", h.Strand), []pages.Option{{ID: "fine", Name: "fine"}, {ID: "medium", Name: "medium"}, {ID: "coarse", Name: "coarse"}}, ""),
		pages.Select("porosity", "Takes up liquid", "", was("porosity", h.Porosity), []pages.Option{{ID: "low", Name: "slowly: resistant"}, {ID: "normal", Name: "neither"}, {ID: "high", Name: "quickly: porous"}}, ""),
		pages.Select("damaged", "Bleached, brittle or weakened", "not sure counts as yes", was("damaged", yes[h.Damaged]), []pages.Option{{ID: "no", Name: "no"}, {ID: "yes", Name: "yes"}, {ID: "not_sure", Name: "not sure"}}, ""),
		pages.Number("regrowth", "New hair, "+unit, "when only that is treated; 0 for all of it", was("regrowth", number(regrowth))),
	}
}

// readHair makes a correction of what was typed.
func readHair(b base, form url.Values) (*api.HairCorrection, []pages.FieldError) {
	h := &api.HairCorrection{Density: form.Get("density"), Strand: form.Get("strand"), Porosity: form.Get("porosity")}
	var wrong []pages.FieldError
	number := func(name string) *float64 {
		text := strings.ReplaceAll(strings.TrimSpace(form.Get(name)), ",", ".")
		if text == "" {
			return nil
		}
		n, err := strconv.ParseFloat(text, 64)
		if err != nil {
			wrong = append(wrong, pages.FieldError{Field: name, Text: "This is no number: write a length such as 42"})
			return nil
		}
		return &n
	}
	length, regrowth := number("length"), number("regrowth")
	if b.salon.Inches {
		h.LengthIn, h.RegrowthIn = length, regrowth
	} else {
		h.LengthCM, h.RegrowthCM = length, regrowth
	}
	if text := form.Get("damaged"); text != "" {
		damaged := text != "no"
		h.Damaged = &damaged
	}
	return h, wrong
}

// hairNames are the fields of the form by the interface's.
var hairNames = map[string]string{"length_cm": "length", "length_in": "length", "regrowth_cm": "regrowth", "regrowth_in": "regrowth", "client_agreed": "agreed", "approved_by": "approved"}

// hairForm works out what the hair means, or carries out what was chosen.
func (p page) hairForm(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	ctx, id := c.Request().Context(), c.Param("id")
	b, err := p.start(c, "")
	if err != nil {
		return api.Sorry(c, err)
	}
	ask := api.HairSeenRequest{Unchanged: form.Get("unchanged") == "true", Choice: form.Get("choice"), Less: form.Get("less"), ClientAgreed: form.Get("agreed") == "true"}
	if !ask.Unchanged {
		var wrong []pages.FieldError
		if ask.Hair, wrong = readHair(b, form); len(wrong) > 0 {
			return p.showHair(c, http.StatusUnprocessableEntity, form, nil, wrong)
		}
	}
	ask.Preview = !ask.Unchanged && ask.Choice == ""
	if text := form.Get("start"); text != "" {
		if at, err := time.Parse(time.RFC3339, text); err == nil {
			ask.Start = &at
		}
	}
	ask.ApprovedBy = form.Get("approved")
	if ask.ApprovedBy == "true" {
		ask.ApprovedBy = b.Me
	}
	var out api.HairSeenAnswer
	_, err = p.site.Into(ctx, api.Question{Method: http.MethodPost, Path: api.Path("visits", id, "hair-as-seen"), Body: ask, Key: form.Get("key")}, &out)
	switch {
	case err != nil && ask.Unchanged:
		wrong, status, ok := web.Wrong(err, hairNames)
		if !ok {
			return api.Sorry(c, err)
		}
		return p.showVisit(c, status, wrong, form)
	case err != nil:
		return p.refusedHair(c, form, ask, err)
	case ask.Preview:
		return p.showHair(c, http.StatusOK, form, &out, nil)
	}
	done := map[string]string{"do_less": "less", "helper": "helper", "rebook": "rebooked"}[ask.Choice]
	if done == "" {
		done = "seen"
	}
	return web.Done(c, to("visits/"+id, done))
}

// refusedHair shows the choices again with what was refused.
func (p page) refusedHair(c echo.Context, form url.Values, ask api.HairSeenRequest, err error) error {
	wrong, status, ok := web.Wrong(err, hairNames)
	if !ok {
		return api.Sorry(c, err)
	}
	var again *api.HairSeenAnswer
	if !ask.Preview {
		var out api.HairSeenAnswer
		look := api.HairSeenRequest{Preview: true, Hair: ask.Hair}
		if _, err := p.site.Into(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("visits", c.Param("id"), "hair-as-seen"), Body: look}, &out); err == nil {
			again = &out
		}
	}
	return p.showHair(c, status, form, again, wrong)
}

// choices puts what can be done into words, with what it costs.
func (v *hairView) choices(form url.Values) {
	v.EndWas, v.PriceWas = v.At(v.Answer.EndWas), api.PriceWords(v.Answer.WasCents, v.Answer.WasFrom, v.Answer.WasTo, v.salon.Currency)
	for _, name := range []string{"length", "density", "strand", "porosity", "damaged", "regrowth"} {
		v.Carried = append(v.Carried, pages.Field{Name: name, Value: form.Get(name)})
	}
	for _, x := range v.Answer.Choices {
		h := hairChoice{ChoiceBody: x, Key: v.Key + "-" + x.Choice + x.Less, Words: pages.Capital(x.Words), Price: quoting.Amount(x.PriceCents, v.salon.Currency), Less: x.Less, Can: x.Fits}
		for _, k := range x.Cautions {
			h.Cautions = append(h.Cautions, pages.Caution{Level: pages.CautionLevel(k.Level), Text: k.Text})
			h.AsksYes = h.AsksYes || k.Level == "needs_yes"
		}
		for _, o := range x.Openings {
			h.Starts = append(h.Starts, hairStart{o.Start.Format(time.RFC3339), v.When(o.Start) + " with " + o.LeadName})
		}
		v.Choices = append(v.Choices, h)
	}
}

package stylist

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// cardView is the record card of a visit.
type cardView struct {
	base
	Here, Back string
	Card       api.CardBody
	Steps      []stepRow
	Facts      []factRow
	Flags      []flagRow
	Adds       []factForm
	Last       *api.LastCardBody
	Map        *api.HairMapBody
	Hair       string
	Stop       []string
}

// factRow is a fact of the card, with a form that corrects it.
type factRow struct {
	api.FactBody
	When    string
	Gone    bool
	Correct *factForm
}

// flagRow is something outside a limit, with a form for why.
type flagRow struct {
	api.FlagBody
	Level string
	Why   *factForm
}

// factForm writes a fact down or corrects one.
type factForm struct {
	Kind, Title, Action, Key string
	Prefix                   string
	Flag, Fact               string // what a reason is given for
	Fields                   []pages.Field
	Open                     bool
	TakeBack                 bool // it may be taken back as well
}

func (p page) card(c echo.Context) error { return p.showCard(c, http.StatusOK, nil, nil) }

func (p page) showCard(c echo.Context, status int, form url.Values, wrong []pages.FieldError) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "Record card")
	if err != nil {
		return api.Sorry(c, err)
	}
	id := c.Param("id")
	v := cardView{base: b, Here: home + "visits/" + id + "/card", Back: home + "visits/" + id}
	if v.Card, err = web.Get[api.CardBody](ctx, p.site, api.Path("visits", id, "card"), nil); err != nil {
		return api.Sorry(c, err)
	}
	v.title("Record card: " + v.Card.Name)
	v.Summary = wrong
	if v.Card.ClientID != "" && api.May(ctx, "get-last-card") {
		last, err := web.Get[api.LastCardAnswer](ctx, p.site, api.Path("clients", v.Card.ClientID, "last-card"), nil)
		if err == nil && last.Last != nil && last.Last.VisitID != id {
			v.Last = last.Last
		}
		if m, err := web.Get[api.HairMapBody](ctx, p.site, api.Path("clients", v.Card.ClientID, "hair-map"), nil); err == nil {
			v.Map = &m
		}
	}
	v.draw(form, wrong)
	return render(c, status, "record-card", v)
}

// levelWords are those of flags.
var levelWords = map[string]string{"warn": "Take care", "over": "Outside the limit", "stop": "Stop and ask the licensed person"}

func (v *cardView) draw(form url.Values, wrong []pages.FieldError) {
	run := visitView{base: v.base}
	for _, s := range v.Card.Steps {
		r := run.row(api.RunStepBody{Ordinal: s.Ordinal, Kind: s.Kind, Label: s.Label, Start: s.Start, End: s.End, Planned: s.PlannedMinutes, HandsOn: true,
			RealStart: s.RealStart, RealEnd: s.RealEnd, Inferred: s.Inferred})
		v.Steps = append(v.Steps, r)
	}
	open := form.Get("prefix")
	for i, k := range v.Card.Facts {
		r := factRow{FactBody: k, When: v.At(k.At), Gone: k.ReplacedBy != "" || k.TakenBack}
		if f, ok := factForms[k.Kind]; ok && !r.Gone {
			prefix := "c" + string(rune('a'+i%26)) + k.ID[max(0, len(k.ID)-6):]
			x := f
			x.Title, x.Action, x.Prefix, x.TakeBack = "Correct", v.Here+"/"+k.ID, prefix, true
			x.Key, x.Open = v.Key+"-"+prefix, open == prefix
			x.Fields = web.Mark(factFields(k.Kind, prefix, k.FactValue, form), wrong)
			r.Correct = &x
		}
		v.Facts = append(v.Facts, r)
	}
	for i, k := range v.Card.Flags {
		r := flagRow{FlagBody: k, Level: levelWords[k.Level]}
		if k.AsksReason && len(k.Reasons) == 0 {
			prefix := "why" + string(rune('a'+i%26))
			r.Why = &factForm{Kind: "reason", Title: "Say why", Action: v.Here, Prefix: prefix, Key: v.Key + "-" + prefix, Flag: k.Code, Fact: k.FactID, Open: open == prefix,
				Fields: web.Mark(factFields("reason", prefix, api.FactValue{}, form), wrong)}
		}
		v.Flags = append(v.Flags, r)
	}
	for _, kind := range []string{"check", "solution", "neutralizer", "dryness", "iron", "press", "result", "aftercare", "pause", "interruption"} {
		x := factForms[kind]
		x.Action, x.Prefix, x.Key, x.Open = v.Here, kind, v.Key+"-"+kind, open == kind
		x.Fields = web.Mark(factFields(kind, kind, api.FactValue{}, form), wrong)
		v.Adds = append(v.Adds, x)
	}
}

// factForms are the kinds of facts that are written by hand.
var factForms = map[string]factForm{
	"check": {Kind: "check", Title: "A look at the hair"}, "solution": {Kind: "solution", Title: "Solution that was used"},
	"neutralizer": {Kind: "neutralizer", Title: "Neutralizer that was used"}, "dryness": {Kind: "dryness", Title: "How dry before the iron"},
	"iron": {Kind: "iron", Title: "Setting of the iron"}, "press": {Kind: "press", Title: "How long the iron closed"}, "result": {Kind: "result", Title: "How it turned out"},
	"aftercare": {Kind: "aftercare", Title: "Aftercare that was given"}, "pause": {Kind: "pause", Title: "A pause"},
	"interruption": {Kind: "interruption", Title: "What interrupted the work"}, "reason": {Kind: "reason", Title: "Why it was done so"},
}

func (p page) cardForm(c echo.Context) error {
	return p.writeCard(c, func(form url.Values, value api.FactValue) (string, any, error) {
		b := api.FactRequest{Kind: form.Get("kind"), FactValue: value}
		if text := form.Get(form.Get("prefix") + "-clock"); text != "" {
			var err error
			if b.At, err = p.clockOf(c, c.Param("id"), text); err != nil {
				return "", nil, err
			}
		}
		return api.Path("visits", c.Param("id"), "card", "facts"), b, nil
	}, "written")
}

func (p page) correctForm(c echo.Context) error {
	return p.writeCard(c, func(form url.Values, value api.FactValue) (string, any, error) {
		b := api.FactCorrection{FactValue: value}
		if form.Get("take_back") != "" {
			b = api.FactCorrection{TakeBack: true}
		} else if text := form.Get(form.Get("prefix") + "-clock"); text != "" {
			var err error
			if b.At, err = p.clockOf(c, c.Param("id"), text); err != nil {
				return "", nil, err
			}
		}
		return api.Path("visits", c.Param("id"), "card", "facts", c.Param("fact"), "correction"), b, nil
	}, "corrected")
}

// writeCard writes on the card what request makes of a form.
func (p page) writeCard(c echo.Context, request func(url.Values, api.FactValue) (string, any, error), done string) error {
	form, err := web.Form(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	value, wrong := readFact(form)
	if len(wrong) > 0 && form.Get("take_back") == "" {
		return p.showCard(c, http.StatusUnprocessableEntity, form, wrong)
	}
	path, body, err := request(form, value)
	if err == nil {
		_, err = p.site.Ask(c.Request().Context(), api.Question{Method: http.MethodPost, Path: path, Body: body, Key: form.Get("key")})
	}
	if err != nil {
		names := map[string]string{"at": form.Get("prefix") + "-clock"}
		for _, n := range factNames {
			names[n] = form.Get("prefix") + "-" + n
		}
		wrong, status, ok := web.Wrong(err, names)
		if !ok {
			return api.Sorry(c, err)
		}
		return p.showCard(c, status, form, wrong)
	}
	return web.Done(c, to("visits/"+c.Param("id")+"/card", done))
}

// MapWords are the hair from the scalp to the ends.
func (v cardView) MapWords() []string {
	if v.Map == nil {
		return nil
	}
	var out []string
	for _, z := range v.Map.Zones {
		out = append(out, z.Words)
	}
	for _, k := range v.Map.Cautions {
		out = append(out, k.Text)
	}
	return slices.DeleteFunc(out, func(s string) bool { return strings.TrimSpace(s) == "" })
}

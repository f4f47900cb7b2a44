package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"reflect"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// given is a number of a query that may be left out.
type given struct {
	Value float64
	Set   bool
}

// Schema describes the number alone.
func (g given) Schema(r huma.Registry) *huma.Schema {
	return huma.SchemaFromType(r, reflect.TypeOf(g.Value))
}

// Receiver is where the framework puts the number.
func (g *given) Receiver() reflect.Value { return reflect.ValueOf(g).Elem().Field(0) }

// OnParamSet notes whether there was one.
func (g *given) OnParamSet(isSet bool, _ any) { g.Set = isSet }

// hairQuery asks for hair on a day.
type hairQuery struct {
	ByID
	On    string `query:"on" format:"date" doc:"The day; left out: today"`
	CutCM given  `query:"cut_cm" minimum:"0" maximum:"120" doc:"What was cut since the hair was last measured; 0 when nothing was; left out: not asked yet"`
	CutIn given  `query:"cut_in" minimum:"0" maximum:"47.3" doc:"The same in inches"`
}

// cut is what was cut in cm, nil when nobody has asked.
func (q hairQuery) cut(f *scheduling.Faults) *float64 {
	switch {
	case q.CutIn.Set && q.CutCM.Set && !same(chairtime.CMOfInches(q.CutIn.Value), q.CutCM.Value):
		f.Addf("query.cut_in", "one of the two", "is %s beside cut_cm, which is %s", scheduling.Number(q.CutIn.Value), scheduling.Number(q.CutCM.Value))
	case q.CutIn.Set:
		return new(chairtime.CMOfInches(q.CutIn.Value))
	case q.CutCM.Set:
		return &q.CutCM.Value
	}
	return nil
}

// day is the day that is asked for.
func (q hairQuery) day(f *scheduling.Faults, n salonDay, now time.Time) date.Date {
	if q.On == "" {
		return scheduling.CivilDate(now, n.loc)
	}
	return day(f, "query.on", q.On)
}

// inQuery names the fields of err as the query does.
func (q hairQuery) inQuery(err error) error {
	var f scheduling.Faults
	if other := f.Join("query", err); other != nil {
		return other
	}
	for _, e := range f {
		if e.Field == "query.cut_cm" && q.CutIn.Set {
			e.Field = "query.cut_in"
		}
	}
	return f.Err()
}

// ExpectedHair is the hair of a client as it should be on a day.
type ExpectedHair struct {
	On             string          `json:"on" format:"date"`
	Hair           *HeadBody       `json:"hair,omitempty" doc:"To send with a request; left out when nothing is known of this hair"`
	Counts         []HairCountBody `json:"counts" nullable:"false" doc:"How the figures of the hair were worked out"`
	MeasuredOn     string          `json:"measured_on,omitempty" format:"date" doc:"When what it starts from was seen"`
	HeadID         string          `json:"head_id,omitempty" doc:"The measurement that it starts from; left out when that was the hair of a visit"`
	StraightenedOn string          `json:"straightened_on,omitempty" format:"date" doc:"Last straightening here that was finished"`
	Growth         HairGrowthBody  `json:"growth"`
	Ask            []HairAskBody   `json:"ask" nullable:"false" doc:"What has to be asked or looked at before it holds"`
}

// HairCountBody is one figure with its count.
type HairCountBody struct {
	Figure  string   `json:"figure" enum:"length,regrowth"`
	CM      float64  `json:"cm"`
	In      *float64 `json:"in,omitempty"`
	Working string   `json:"working" example:"35 cm measured on 1 June 2026 + 3.1 months × 1.1 cm = 3.4 cm = 38.4 cm"`
}

// HairGrowthBody is how hair grows.
type HairGrowthBody struct {
	CM       float64  `json:"cm_per_month"`
	SlowCM   float64  `json:"slow_cm_per_month" doc:"Lower end of its range"`
	QuickCM  float64  `json:"quick_cm_per_month" doc:"Upper end"`
	In       *float64 `json:"in_per_month,omitempty"`
	SlowIn   *float64 `json:"slow_in_per_month,omitempty"`
	QuickIn  *float64 `json:"quick_in_per_month,omitempty"`
	Measured bool     `json:"measured" doc:"The client's own, from new hair measured on two visits or more"`
	Words    string   `json:"words"`
}

// HairAskBody is something to ask or to look at.
type HairAskBody struct {
	Code string `json:"code" enum:"measure,cut_since,done_since,consultation,too_short"`
	Text string `json:"text"`
}

func (s *Server) expectedHairRoutes() {
	route(s, huma.Operation{OperationID: "expect-hair", Method: http.MethodGet, Path: "/clients/{id}/expected-hair",
		Summary: "A client's hair as it should be on a day, and what has to be asked"}, s.expectedHair)
}

func (s *Server) expectedHair(ctx context.Context, in *hairQuery) (*found[ExpectedHair], error) {
	return onHair(ctx, s, in, hairPast.expect)
}

// onHair answers a question about what is known of a client's hair on a day, when
// so many cm were cut since.
func onHair[B any](ctx context.Context, s *Server, in *hairQuery, ask func(hairPast, salonDay, date.Date, *float64) (B, error)) (*found[B], error) {
	var out found[B]
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		var f scheduling.Faults
		on, cut := in.day(&f, n, s.now()), in.cut(&f)
		if err := f.Err(); err != nil {
			return err
		}
		p, err := loadHairPast(ctx, t, n, in.ID)
		if err != nil {
			return err
		}
		out.Body, err = ask(p, n, on, cut)
		return in.inQuery(err)
	})
	return &out, err
}

// expect is the hair as it should be on a day when cut cm were cut since it was
// last seen; nil: nobody has asked.
func (p hairPast) expect(n salonDay, on date.Date, cut *float64) (ExpectedHair, error) {
	u, g := n.time.Units, p.growth(n)
	out := ExpectedHair{On: on.String(), Counts: []HairCountBody{}, Ask: []HairAskBody{}, Growth: p.growthBody(n, g)}
	here := p.straightened()
	if here != nil {
		out.StraightenedOn = here.String()
	}
	if len(p.seen) == 0 {
		out.ask("measure", "This hair was never measured here: length, how much hair, each hair, porosity and curl.")
		out.ask("consultation", "Ask what was done to the hair in the last three years: anything but nothing needs a consultation first.")
		return out, nil
	}
	last := p.seen[len(p.seen)-1]
	out.MeasuredOn, out.HeadID = last.on.String(), last.head
	x := chairtime.Seen{On: last.on, Length: last.hair.LengthCM, Straightened: here, Cut: cut}
	if last.head != "" {
		x.Regrowth = last.hair.RegrowthCM
	}
	e, err := chairtime.Expect(x, g, on, u)
	if err != nil {
		return out, err
	}
	out.Hair = new(last.hair.grownTo(e, len(p.work) > 0).shown(u))
	out.Counts = []HairCountBody{
		{"length", e.Length, inchesIf(u, e.Length), e.LengthWorking},
		{"regrowth", e.Regrowth, inchesIf(u, e.Regrowth), e.RegrowthWorking},
	}
	out.askAbout(p, last, cut, n)
	return out, nil
}

// grownTo is the hair with new lengths, as far as it can be known beforehand.
func (b HeadBody) grownTo(e chairtime.Expected, treatedHere bool) HeadBody {
	b.LengthCM, b.RegrowthCM = e.Length, e.Regrowth
	b.FreeLengthCM, b.Shrinkage = 0, nil // stretched now
	b.NewClient = b.NewClient && !treatedHere
	b.ConsultationHeld, b.Hands, b.Batches = false, max(b.Hands, 1), 0
	return b
}

func (e *ExpectedHair) ask(code, text string, args ...any) {
	e.Ask = append(e.Ask, HairAskBody{code, fmt.Sprintf(text, args...)})
}

// askAbout says what cannot be known beforehand.
func (e *ExpectedHair) askAbout(p hairPast, last hairSeen, cut *float64, n salonDay) {
	u := n.time.Units
	since := last.on.Format("2 January 2006")
	if cut == nil {
		e.ask("cut_since", "How much was cut since %s? Send it as cut_%s; 0 when nothing was.", since, u.LengthUnit())
	}
	e.ask("done_since", "What was done to the hair since %s? Anything but nothing and straightened here needs a consultation first.", since)
	if len(p.work) == 0 {
		e.ask("consultation", "Not straightened here yet: ask what was done to the hair in the last three years.")
	}
	if minutes := n.time.TalkReturning; e.Hair.NewClient {
		e.ask("consultation", "A first visit: %s minutes of consultation.", scheduling.Number(n.time.TalkNew))
	} else {
		e.ask("consultation", "A returning client: %s minutes of consultation; porosity and damage are as last seen and have to be looked at again.", scheduling.Number(minutes))
	}
	if err := n.time.Settle(e.Hair.Head()).Validate(); err != nil {
		if f, ok := errors.AsType[scheduling.Faults](err); ok && strings.HasPrefix(f[0].Field, "length_") {
			e.ask("too_short", "%s would be left, which is outside what an estimate takes: %s.", u.Length(e.Hair.LengthCM), f[0].Want)
		}
	}
}

func (p hairPast) growthBody(n salonDay, g scheduling.Growth) HairGrowthBody {
	u := n.time.Units
	b := HairGrowthBody{CM: decimals(g.Rate, 2), SlowCM: decimals(g.Slow, 2), QuickCM: decimals(g.Quick, 2), Measured: g.Measured,
		In: inchesIf(u, g.Rate), SlowIn: inchesIf(u, g.Slow), QuickIn: inchesIf(u, g.Quick)}
	how := map[string]string{"slow": "looks slow", "quick": "looks quick", "usual": "looks usual"}[p.client.Growth]
	switch {
	case g.Measured:
		how = fmt.Sprintf("the client's own, measured on %d days", len(p.measured()))
	case how == "":
		how = "the salon's usual, not measured yet"
	}
	b.Words = fmt.Sprintf("%s a month: %s", u.Length(decimals(g.Rate, 2)), how)
	return b
}

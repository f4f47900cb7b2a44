package api

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/card"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// CheckFact is a look at a strand.
type CheckFact struct {
	Stretch  float64 `json:"stretch,omitempty" doc:"Length of the stretched wet strand as a multiple of its own, 1.0 to 2.5; left out: it was not stretched" example:"1.3"`
	Returned *bool   `json:"returned,omitempty" doc:"It went back to its length; left out: nobody said"`
	Ready    bool    `json:"ready" doc:"Ready to be rinsed"`
	Next     int     `json:"next_minutes,omitempty" minimum:"0" maximum:"60" doc:"When to look again; left out: the salon's own"`
}

// ProductFact is a solution or neutralizer that was used.
type ProductFact struct {
	Product  string  `json:"product" doc:"As it says on the bottle" example:"Solution for normal hair"`
	Strength string  `json:"strength,omitempty"`
	ML       float64 `json:"ml,omitempty" doc:"How much; left out: not measured"`
}

// IronFact is the setting of the iron.
type IronFact struct {
	Setting float64 `json:"setting" doc:"As the iron shows it" example:"175"`
	Unit    string  `json:"unit,omitempty" enum:"C,F" doc:"Left out: the salon's unit"`
}

// PressFact is how long the iron closed on one spot.
type PressFact struct {
	Seconds float64 `json:"seconds" example:"2.5"`
	Passes  int     `json:"passes,omitempty" minimum:"0" maximum:"20" doc:"How often over the same spot; left out: once"`
}

// DrynessFact is how dry the hair was.
type DrynessFact struct {
	Percent float64 `json:"percent" doc:"Before the iron" example:"90"`
}

// ResultFact is how it turned out.
type ResultFact struct {
	Outcome string `json:"outcome" enum:"as_wished,partly,uneven,too_little,too_much,damaged" doc:"too_little: bends came back; too_much: limp or flat; damaged: rough or snapped hair"`
	Text    string `json:"text,omitempty" doc:"In a few words"`
}

// AftercareFact is what the client was told to do at home.
type AftercareFact struct {
	How  []string `json:"how" nullable:"false" enum:"said,printed,message" doc:"All ways in which it was given"`
	Text string   `json:"text,omitempty" doc:"What is special for this client"`
}

// PauseFact is a pause at a place where it hurts nobody.
type PauseFact struct {
	Minutes int    `json:"minutes" minimum:"1" maximum:"240"`
	Text    string `json:"text,omitempty"`
}

// InterruptionFact says why a visit says nothing of anybody's pace.
type InterruptionFact struct {
	Text string `json:"text" doc:"What interrupted the work"`
}

// ReasonFact answers a flag.
type ReasonFact struct {
	Flag   string `json:"flag" doc:"Code of the flag"`
	FactID string `json:"fact_id,omitempty" maxLength:"64" doc:"The fact that was flagged; left out: whatever was flagged so"`
	Text   string `json:"text" doc:"Why it was done so"`
}

// FactValue is what a fact says: exactly the member that its kind names.
type FactValue struct {
	Check        *CheckFact        `json:"check,omitempty"`
	Solution     *ProductFact      `json:"solution,omitempty"`
	Neutralizer  *ProductFact      `json:"neutralizer,omitempty"`
	Iron         *IronFact         `json:"iron,omitempty"`
	Press        *PressFact        `json:"press,omitempty"`
	Dryness      *DrynessFact      `json:"dryness,omitempty"`
	Result       *ResultFact       `json:"result,omitempty"`
	Aftercare    *AftercareFact    `json:"aftercare,omitempty"`
	Pause        *PauseFact        `json:"pause,omitempty"`
	Interruption *InterruptionFact `json:"interruption,omitempty"`
	Reason       *ReasonFact       `json:"reason,omitempty"`
}

// member is one kind of a FactValue.
type member struct {
	kind  card.Kind
	given bool
	value any
	check func(*scheduling.Faults, string) // tidies the texts and notes what cannot be
}

// members lists the kinds of v in the order in which they are documented. Kinds
// that are given point into v.
func (v *FactValue) members(n salonDay) []member {
	product := func(p *ProductFact) func(*scheduling.Faults, string) {
		return func(f *scheduling.Faults, at string) {
			p.Product, p.Strength = text(f, at+".product", p.Product, 1, 120), text(f, at+".strength", p.Strength, 0, 60)
			join(f, at, card.Product{Millilitres: p.ML}.Validate())
		}
	}
	return []member{
		{card.KindCheck, v.Check != nil, v.Check, func(f *scheduling.Faults, at string) { join(f, at, v.Check.fact().Validate()) }},
		{card.KindSolution, v.Solution != nil, v.Solution, product(v.Solution)},
		{card.KindNeutralizer, v.Neutralizer != nil, v.Neutralizer, product(v.Neutralizer)},
		{card.KindIron, v.Iron != nil, v.Iron, func(f *scheduling.Faults, at string) {
			if v.Iron.Unit == "" {
				v.Iron.Unit = n.row.HeatUnit
			}
			join(f, at, card.Iron{CelsiusSet: v.Iron.celsius()}.Validate())
		}},
		{card.KindPress, v.Press != nil, v.Press, func(f *scheduling.Faults, at string) {
			if v.Press.Passes == 0 {
				v.Press.Passes = 1
			}
			join(f, at, card.Press{Seconds: v.Press.Seconds, Passes: v.Press.Passes}.Validate())
		}},
		{card.KindDryness, v.Dryness != nil, v.Dryness, func(f *scheduling.Faults, at string) {
			join(f, at, card.Dryness{Percent: v.Dryness.Percent}.Validate())
		}},
		{card.KindResult, v.Result != nil, v.Result, func(f *scheduling.Faults, at string) { v.Result.Text = text(f, at+".text", v.Result.Text, 0, 300) }},
		{card.KindAftercare, v.Aftercare != nil, v.Aftercare, func(f *scheduling.Faults, at string) {
			v.Aftercare.Text = text(f, at+".text", v.Aftercare.Text, 0, 300)
			if len(v.Aftercare.How) == 0 || len(v.Aftercare.How) > 3 {
				f.Addf(at+".how", "1 to 3 of said, printed and message", "has %d entries", len(v.Aftercare.How))
			}
			slices.Sort(v.Aftercare.How)
			v.Aftercare.How = slices.Compact(v.Aftercare.How)
		}},
		{card.KindPause, v.Pause != nil, v.Pause, func(f *scheduling.Faults, at string) {
			v.Pause.Text = text(f, at+".text", v.Pause.Text, 0, 300)
			join(f, at, card.Pause{Minutes: v.Pause.Minutes}.Validate())
		}},
		{card.KindInterruption, v.Interruption != nil, v.Interruption, func(f *scheduling.Faults, at string) {
			v.Interruption.Text = text(f, at+".text", v.Interruption.Text, 1, 300)
		}},
		{card.KindReason, v.Reason != nil, v.Reason, func(f *scheduling.Faults, at string) {
			v.Reason.Flag, v.Reason.Text = text(f, at+".flag", v.Reason.Flag, 1, 40), text(f, at+".text", v.Reason.Text, 1, 300)
		}},
	}
}

// join adds the faults of a fact, which are the only errors that its Validate has.
func join(f *scheduling.Faults, at string, err error) {
	if err := f.Join(at, err); err != nil {
		panic(err)
	}
}

// read checks that v says what kind names and nothing else, and returns that as
// it is kept.
func (v *FactValue) read(n salonDay, f *scheduling.Faults, kind card.Kind) (json.RawMessage, error) {
	var out any
	for _, m := range v.members(n) {
		at := string(m.kind)
		switch {
		case m.kind == kind && !m.given:
			f.Add(at, "is missing", "what the kind "+at+" says")
		case m.kind == kind:
			m.check(f, at)
			out = m.value
		case m.given:
			f.Add(at, "is given beside the kind "+string(kind), "the member "+string(kind)+" alone")
		}
	}
	doc, err := json.Marshal(out)
	if err != nil { // a number that is none was noted as a fault
		return nil, fmt.Errorf("api: fact: %w", err)
	}
	return doc, nil
}

// faults are those that read would find, as far as they do not depend on the
// salon. v is left as it is.
func (v FactValue) faults(kind card.Kind) error {
	doc, err := json.Marshal(v)
	if err != nil {
		return nil //nolint:nilerr // a number that is none, which a description refuses
	}
	var mine FactValue
	if err := json.Unmarshal(doc, &mine); err != nil {
		return nil //nolint:nilerr // the same
	}
	if mine.Iron != nil && mine.Iron.Unit == "" { // in the salon's unit
		return nil
	}
	var f scheduling.Faults
	if _, err := mine.read(salonDay{}, &f, kind); err != nil && len(f) == 0 {
		return nil //nolint:nilerr // the same
	}
	return f.Err()
}

// write fills in the member of a kept fact.
func (v *FactValue) write(kind card.Kind, doc json.RawMessage) error {
	into := map[card.Kind]any{card.KindCheck: &v.Check, card.KindSolution: &v.Solution, card.KindNeutralizer: &v.Neutralizer, card.KindIron: &v.Iron,
		card.KindPress: &v.Press, card.KindDryness: &v.Dryness, card.KindResult: &v.Result, card.KindAftercare: &v.Aftercare, card.KindPause: &v.Pause,
		card.KindInterruption: &v.Interruption, card.KindReason: &v.Reason}[kind]
	if into == nil {
		return nil // written by an operation of its own
	}
	if err := json.Unmarshal(doc, into); err != nil {
		return fmt.Errorf("api: card fact: %w", err)
	}
	return nil
}

func (c *CheckFact) fact() card.Check {
	return card.Check{Stretch: c.Stretch, Returned: c.Returned, Ready: c.Ready, Next: c.Next}
}

func (i *IronFact) celsius() float64 {
	if i.Unit == "F" {
		return chairtime.CelsiusOfFahrenheit(i.Setting)
	}
	return i.Setting
}

// flags judges one fact by itself.
func (v *FactValue) flags(l card.Limits) []card.Flag {
	switch {
	case v.Check != nil:
		return l.Elasticity(v.Check.Stretch, v.Check.Returned)
	case v.Iron != nil:
		return l.Iron(v.Iron.celsius())
	case v.Press != nil:
		return l.Press(v.Press.Seconds, v.Press.Passes)
	case v.Dryness != nil:
		return l.Dryness(v.Dryness.Percent / 100)
	}
	return nil
}

// words says a fact for people.
func (v *FactValue) words() string {
	more := func(s string, rest ...string) string {
		for _, r := range rest {
			if r != "" {
				s += ", " + r
			}
		}
		return s
	}
	switch {
	case v.Check != nil:
		return v.Check.words()
	case v.Solution != nil:
		return more("solution: "+v.Solution.Product, v.Solution.Strength, v.Solution.amount())
	case v.Neutralizer != nil:
		return more("neutralizer: "+v.Neutralizer.Product, v.Neutralizer.Strength, v.Neutralizer.amount())
	case v.Iron != nil:
		return "iron at " + scheduling.Number(v.Iron.Setting) + " °" + v.Iron.Unit
	case v.Press != nil && v.Press.Passes > 1:
		return fmt.Sprintf("iron closed for %s s, %d times over each spot", scheduling.Number(v.Press.Seconds), v.Press.Passes)
	case v.Press != nil:
		return "iron closed for " + scheduling.Number(v.Press.Seconds) + " s"
	case v.Dryness != nil:
		return scheduling.Number(v.Dryness.Percent) + " % dry before the iron"
	case v.Result != nil:
		return more("result: "+outcomeWords[v.Result.Outcome], v.Result.Text)
	case v.Aftercare != nil:
		return more("aftercare given: "+strings.Join(v.Aftercare.How, ", "), v.Aftercare.Text)
	case v.Pause != nil:
		return more(fmt.Sprintf("pause of %d min", v.Pause.Minutes), v.Pause.Text)
	case v.Interruption != nil:
		return more("interrupted", v.Interruption.Text)
	case v.Reason != nil:
		return "reason: " + v.Reason.Text
	}
	return ""
}

var outcomeWords = map[string]string{"as_wished": "as wished", "partly": "partly as wished", "uneven": "uneven", "too_little": "bends came back",
	"too_much": "limp or flat", "damaged": "rough or snapped hair"}

func (p *ProductFact) amount() string {
	if p.ML == 0 {
		return ""
	}
	return scheduling.Number(p.ML) + " ml"
}

func (c *CheckFact) words() string {
	s := "check: not ready"
	if c.Ready {
		s = "check: ready"
	}
	if c.Stretch > 0 {
		s += ", stretched to " + scheduling.Number(c.Stretch) + " times its length"
	}
	if c.Returned != nil {
		s += map[bool]string{true: ", returned", false: ", did not return"}[*c.Returned]
	}
	if c.Next > 0 {
		s += fmt.Sprintf(", again in %d min", c.Next)
	}
	return s
}

// FactBody is a fact on a record card.
type FactBody struct {
	ID         string    `json:"id"`
	Kind       string    `json:"kind" enum:"check,solution,neutralizer,iron,press,dryness,result,aftercare,pause,interruption,reason,hair_as_seen,rinse_now,begun_unready"`
	Step       *int      `json:"step,omitempty" doc:"Which step, counted from 0"`
	At         time.Time `json:"at" doc:"When it happened"`
	Words      string    `json:"words"`
	NotedAt    time.Time `json:"noted_at"`
	NotedBy    string    `json:"noted_by"`
	Replaces   string    `json:"replaces,omitempty" doc:"The fact that this one corrects"`
	ReplacedBy string    `json:"replaced_by,omitempty" doc:"The fact that corrects this one, which no longer stands"`
	TakenBack  bool      `json:"taken_back,omitempty" doc:"It only takes back the fact that it replaces"`
	FactValue
	HairAsSeen *HairSeenFact `json:"hair_as_seen,omitempty"`
}

// keptFact is a fact with what it says.
type keptFact struct {
	store.CardFact
	value FactValue
	hair  *HairSeenFact
}

func readFact(f store.CardFact) (keptFact, error) {
	k := keptFact{CardFact: f}
	if f.TakenBack() {
		return k, nil
	}
	if card.Kind(f.Kind) == card.KindHairAsSeen {
		k.hair = &HairSeenFact{}
		if err := json.Unmarshal(f.Value, k.hair); err != nil {
			return k, fmt.Errorf("api: card fact: %w", err)
		}
		return k, nil
	}
	return k, k.value.write(card.Kind(f.Kind), f.Value)
}

func readFacts(list []store.CardFact) ([]keptFact, error) {
	out := make([]keptFact, len(list))
	for i, f := range list {
		var err error
		if out[i], err = readFact(f); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (k keptFact) words() string {
	switch {
	case k.TakenBack():
		return "taken back"
	case k.hair != nil:
		return k.hair.words()
	case card.Kind(k.Kind) == card.KindRinseNow:
		return "rinse now"
	case card.Kind(k.Kind) == card.KindUnready:
		return "begun although something was missing"
	}
	return k.value.words()
}

func (k keptFact) body(n salonDay, c store.Card) FactBody {
	b := FactBody{ID: k.ID, Kind: k.Kind, Step: k.Step, At: k.At.In(n.loc), Words: k.words(), NotedAt: k.Noted.In(n.loc), NotedBy: k.By,
		TakenBack: k.TakenBack(), FactValue: k.value, HairAsSeen: k.hair}
	if k.Replaces != nil {
		b.Replaces = *k.Replaces
	}
	if r := c.Replacement(k.ID); r != nil {
		b.ReplacedBy = r.ID
	}
	return b
}

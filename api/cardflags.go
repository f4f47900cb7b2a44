package api

import (
	"cmp"
	"iter"
	"maps"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/card"
	"chairblock/store"
)

func keys[V any](m map[string]V) iter.Seq[string] { return maps.Keys(m) }

func sortLooks(list []card.Look) {
	slices.SortStableFunc(list, func(a, b card.Look) int { return a.At.Compare(b.At) })
}

// flags lists what lies outside a limit, the gravest first: facts, how long
// product was on, and an iron taken up where none should be.
func (x *cardOf) flags(now time.Time) []FlagBody {
	out := []FlagBody{}
	add := func(list []card.Flag, fact string, step *int) {
		for _, f := range list {
			out = append(out, FlagBody{Level: string(f.Level), Code: f.Code, Words: f.Text, FactID: fact, Step: step, AsksReason: f.AsksReason()})
		}
	}
	for _, k := range x.stands {
		add(k.value.flags(x.limits), k.ID, k.Step)
		if card.Kind(k.Kind) == card.KindUnready {
			add([]card.Flag{card.BegunUnready()}, k.ID, k.Step)
		}
	}
	for _, r := range x.runs {
		if !r.begun {
			continue
		}
		if !r.run.Neutralizer {
			add(r.exposed(x.limits, now), "", &r.first)
		} else if m, ok := r.worked(); ok {
			add(x.limits.Neutralizer(m), "", &r.last)
		}
	}
	if k := x.rinse(); k != nil {
		for i, st := range x.v.Steps {
			if st.Kind == string(scheduling.Iron) && st.RealStart != nil && st.RealStart.After(k.At) {
				add([]card.Flag{card.IronedAfterRinse()}, k.ID, &i)
			}
		}
	}
	for i := range out {
		out[i].Reasons = x.reasons(out[i])
	}
	slices.SortStableFunc(out, func(a, b FlagBody) int { return cmp.Compare(gravity(b.Level), gravity(a.Level)) })
	return out
}

// exposed judges how long the solution was on. Where nobody noted when it went on
// or came off, that is said, and no reason is asked for what may not be so.
func (r productRun) exposed(l card.Limits, now time.Time) []card.Flag {
	list := l.Exposure(r.minutes(now))
	for i := range list {
		if r.inferred && r.run.Off != nil {
			list[i].Level = card.LevelWarn
			list[i].Text += " Nobody noted both when it went on and when it came off."
		}
	}
	return list
}

func gravity(level string) int {
	return slices.Index([]string{string(card.LevelWarn), string(card.LevelOver), string(card.LevelStop)}, level)
}

// reasons are those that were given for a flag.
func (x *cardOf) reasons(b FlagBody) []FlagReasonBody {
	out := []FlagReasonBody{}
	for _, k := range x.stands {
		if r := k.value.Reason; r != nil && r.Flag == b.Code && (r.FactID == "" || r.FactID == b.FactID) {
			out = append(out, FlagReasonBody{r.Text, k.By, k.Noted.In(x.n.loc)})
		}
	}
	return out
}

// rinse is the “rinse now” that stands, or nil.
func (x *cardOf) rinse() *keptFact {
	for i := range x.stands {
		if card.Kind(x.stands[i].Kind) == card.KindRinseNow {
			return &x.stands[i]
		}
	}
	return nil
}

// asked is a fact that a card asks for once a step of some kind has begun.
type asked struct {
	kind  card.Kind
	after []scheduling.StepKind
	words string
}

var askedFacts = []asked{
	{card.KindSolution, []scheduling.StepKind{scheduling.Apply, scheduling.Apply1}, "Which solution, and how much of it?"},
	{card.KindCheck, []scheduling.StepKind{scheduling.Rinse1}, "How did the strand stretch when it was ready?"},
	{card.KindDryness, []scheduling.StepKind{scheduling.Iron}, "How dry was the hair before the iron?"},
	{card.KindIron, []scheduling.StepKind{scheduling.Iron}, "At which setting was the iron?"},
	{card.KindNeutralizer, []scheduling.StepKind{scheduling.Neutral}, "Which neutralizer, and how much of it?"},
}

// open lists what the card still asks for: reasons first, then facts.
func (x *cardOf) open(now time.Time) []CardQuestionBody {
	out := []CardQuestionBody{}
	for _, b := range x.flags(now) {
		if b.AsksReason && len(b.Reasons) == 0 {
			out = append(out, CardQuestionBody{Code: string(card.KindReason), Words: "Why? " + b.Words, FactID: b.FactID, Flag: b.Code})
		}
	}
	has := func(kind card.Kind) bool {
		return slices.ContainsFunc(x.stands, func(k keptFact) bool { return k.Kind == string(kind) })
	}
	for _, a := range askedFacts {
		begun := slices.ContainsFunc(x.v.Steps, func(st store.VisitStep) bool {
			return st.RealStart != nil && slices.Contains(a.after, scheduling.StepKind(st.Kind))
		})
		if begun && !has(a.kind) {
			out = append(out, CardQuestionBody{Code: string(a.kind), Words: a.words})
		}
	}
	if x.v.State == store.Finished && needsAftercare(x.v) {
		for _, a := range []asked{{card.KindResult, nil, "How did it turn out?"}, {card.KindAftercare, nil, "How was the aftercare given?"}} {
			if !has(a.kind) {
				out = append(out, CardQuestionBody{Code: string(a.kind), Words: a.words})
			}
		}
	}
	return out
}

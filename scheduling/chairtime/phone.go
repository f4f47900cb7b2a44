package chairtime

import (
	"fmt"
	"math"
	"slices"

	"chairblock/scheduling"
)

// Reach says where the hair reaches when pulled straight or wet.
type Reach string

// Reaches; the bands of length are derived, the charts in use disagree.
const (
	ReachEar      Reach = "ear"      // 8 to 15 cm
	ReachChin     Reach = "chin"     // 15 to 25 cm
	ReachShoulder Reach = "shoulder" // 25 to 40 cm
	ReachMidBack  Reach = "mid_back" // 40 to 60 cm
	ReachWaist    Reach = "waist"    // 60 to 80 cm
	ReachLonger   Reach = "longer"   // 80 to 120 cm
)

// Ponytail says how thick the ponytail is: like a pencil, a finger, two
// fingers (common practice).
type Ponytail string

// Ponytails; a lot of hair is divided into 5 sections, less into 4.
const (
	PonytailLittle  Ponytail = "little"
	PonytailAverage Ponytail = "average"
	PonytailALot    Ponytail = "a_lot"
	PonytailUnknown Ponytail = "unknown"
)

// History is one answer to what was done to the hair in the last three years.
type History string

// Histories. "Not sure" counts as a yes to everything.
const (
	HistoryNothing             History = "nothing"
	HistoryStraightenedHere    History = "straightened_here" // card on file
	HistoryStraightened        History = "straightened"
	HistoryColoured            History = "coloured"
	HistoryBleachedHighlighted History = "bleached_or_highlighted"
	HistoryRelaxerPerm         History = "relaxer_or_perm"
	HistoryHennaOther          History = "henna_or_other"
	HistoryNotSure             History = "not_sure"
)

// PhoneQuestions are the three questions that the desk asks a stranger on the
// telephone.
type PhoneQuestions struct {
	Reach    Reach
	Ponytail Ponytail // "" means unknown
	// History holds every answer that applies; none means not sure.
	History []History
}

// PhoneAnswer is what the desk can say.
type PhoneAnswer struct {
	// P20 and P80 are the minutes that 2 and 8 of 10 such visits do not exceed.
	P20, P80 float64
	// From and To are the same as Words say them, to quarters of an hour.
	From, To int
	// Keep is the minutes to keep free: P80 rounded up to the salon's step. An
	// overshoot of no more than PhoneGrace is not worth another step, since P80
	// is not known any better while the hair has not been seen.
	Keep int
	// OnlyConsultation is true when nothing but a consultation of
	// ConsultationMinutes may be booked, the long visit to be pencilled behind
	// it. StrandTest is true when a strand test belongs to it.
	OnlyConsultation    bool
	ConsultationMinutes int
	StrandTest          bool
	// NeedsHelp is true when for half of such hair or more one stylist without
	// batches would be refused, since product would stay on too long.
	NeedsHelp bool
	Words     string // the answer as one or two sentences
}

const (
	// So many slices of the lengths between two answers are worked out, which is finer than
	// anybody tells a length on the telephone, for an iron of so many cm (both judgement).
	lengthSlices = 60
	// The exposure changes slowly with the length: one slice stands for so many (judgement).
	exposureEvery = 10
	phonePlateCM  = 3
	quarterHour   = 15 // to which what is said is rounded, in minutes (judgement)
)

var reachBands = map[Reach][2]float64{
	ReachEar: {8, 15}, ReachChin: {15, 25}, ReachShoulder: {25, 40},
	ReachMidBack: {40, 60}, ReachWaist: {60, 80}, ReachLonger: {80, 120},
}

// historyDamage is the share of heads with that history that turn out damaged
// and porous (judgement, not measured).
var historyDamage = map[History]float64{
	HistoryNothing: 0, HistoryStraightenedHere: 0, HistoryStraightened: 0.25,
	HistoryColoured: 0.25, HistoryBleachedHighlighted: 0.75, HistoryRelaxerPerm: 0.5,
	HistoryHennaOther: 0.25, HistoryNotSure: 0.25,
}

// Validate returns Faults for reach, ponytail and history.
func (q PhoneQuestions) Validate() error {
	var f scheduling.Faults
	oneOf(&f, "reach", q.Reach, ReachEar, ReachChin, ReachShoulder, ReachMidBack, ReachWaist, ReachLonger)
	if q.Ponytail != "" {
		oneOf(&f, "ponytail", q.Ponytail, PonytailLittle, PonytailAverage, PonytailALot, PonytailUnknown)
	}
	for i, h := range q.History {
		oneOf(&f, fmt.Sprintf("history[%d]", i), h, HistoryNothing, HistoryStraightenedHere, HistoryStraightened,
			HistoryColoured, HistoryBleachedHighlighted, HistoryRelaxerPerm, HistoryHennaOther, HistoryNotSure)
	}
	if len(q.History) > 1 && slices.Contains(q.History, HistoryNothing) {
		f.Add("history", "says nothing was done and something else as well", "nothing alone, or only what was done")
	}
	return f.Err()
}

// Phone answers q by mixing over what the caller cannot know: length even over
// the band, strand and porosity (and the amount of hair when unknown) by the
// salon's weights, one stylist, whole head, new client unless straightened
// here. The mixture is computed, not drawn: the same answers always get the
// same figures.
//
// It returns Faults naming the answers, or the settings below "settings", that
// are outside their range.
func (c Settings) Phone(q PhoneQuestions) (PhoneAnswer, error) {
	if err := q.Validate(); err != nil {
		return PhoneAnswer{}, err
	}
	if err := c.checked(); err != nil {
		return PhoneAnswer{}, err
	}
	if len(q.History) == 0 {
		q.History = []History{HistoryNotSure}
	}
	m := c.callers(q)
	a := PhoneAnswer{P20: m.quantile(0.2), P80: m.quantile(0.8), NeedsHelp: m.refused >= 0.5}
	a.Keep = c.keep(a.P80, c.BlockStep)
	c.consult(q, &a)
	a.From, a.To = quarterHour*int(math.Round(a.P20/quarterHour)), c.keep(a.P80, quarterHour)
	a.Words = c.phoneWords(a)
	return a, nil
}

// mixture is a weighted set of visits; the weights add up to 1.
type mixture struct {
	visits  []total
	weights []float64
	refused float64 // weight of those whose plain plan is refused
}

func (m mixture) below(minute float64) float64 {
	var p float64
	for i, t := range m.visits {
		p += m.weights[i] * t.below(minute)
	}
	return p
}

// quantile halves the interval between the least and the greatest quantile of
// the parts until it is far below a second.
func (m mixture) quantile(p float64) float64 {
	z := normalQuantile(p)
	lo, hi := math.Inf(1), 0.0
	for _, t := range m.visits {
		lo, hi = min(lo, t.at(z)), max(hi, t.at(z))
	}
	for hi-lo > 1e-4 {
		if mid := (lo + hi) / 2; m.below(mid) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// weighed is a value with its weight.
type weighed[T any] struct {
	value  T
	weight float64
}

// callers returns the visits of all who would answer q.
func (c *Settings) callers(q PhoneQuestions) mixture {
	var m mixture
	c.eachCaller(q, lengthSlices, func(h Head, i int, weight float64) {
		w := c.measure(h)
		m.visits = append(m.visits, totalOf(c.steps(&w), c.Correlation))
		m.weights = append(m.weights, weight)
		if i%exposureEvery != exposureEvery/2 {
			return
		}
		if e, _ := c.estimate(h); c.exposureLevel(h, e.BookedExposure) == LevelRefuse {
			m.refused += weight * exposureEvery
		}
	})
	return m
}

// eachCaller calls f for all hair that would answer q, with its share of it, the
// lengths at the middles of so many equal slices of the band.
func (c *Settings) eachCaller(q PhoneQuestions, lengths int, f func(h Head, slice int, share float64)) {
	band := reachBands[q.Reach]
	slice := (band[1] - band[0]) / float64(lengths)
	h := Head{PlateWidth: phonePlateCM, Hands: 1, NewClient: !slices.Contains(q.History, HistoryStraightenedHere)}
	for _, density := range c.densities(q.Ponytail) {
		h.Density, h.Sections = density.value, phoneSections(density.value)
		for _, strand := range c.strands() {
			h.Strand = strand.value
			for _, kind := range c.porosities(q.History) {
				h.Porosity, h.Damaged = kind.value.porosity, kind.value.damaged
				share := density.weight * strand.weight * kind.weight / float64(lengths)
				for i := range lengths {
					h.Length = band[0] + slice*(float64(i)+0.5)
					f(h, i, share)
				}
			}
		}
	}
}

// Caller is hair that would answer the questions, with its share of all such
// hair.
type Caller struct {
	Head  Head
	Share float64
}

// callerLengths is how many lengths stand for a band where every hair is worked
// out on its own (judgement): prices and product change slowly with the length.
const callerLengths = 5

// Callers returns the hair that Phone mixes over, more coarsely, for what else
// depends on it. The shares add up to 1. Errors are those of Phone.
func (c Settings) Callers(q PhoneQuestions) ([]Caller, error) {
	if err := q.Validate(); err != nil {
		return nil, err
	}
	if err := c.checked(); err != nil {
		return nil, err
	}
	if len(q.History) == 0 {
		q.History = []History{HistoryNotSure}
	}
	var out []Caller
	c.eachCaller(q, callerLengths, func(h Head, _ int, share float64) { out = append(out, Caller{h, share}) })
	return out, nil
}

func (c *Settings) densities(p Ponytail) []weighed[Density] {
	switch p {
	case PonytailLittle:
		return []weighed[Density]{{DensityLow, 1}}
	case PonytailAverage:
		return []weighed[Density]{{DensityMedium, 1}}
	case PonytailALot:
		return []weighed[Density]{{DensityHigh, 1}}
	case PonytailUnknown:
	}
	return normed([]weighed[Density]{{DensityLow, c.DensityWeight.Low}, {DensityMedium, c.DensityWeight.Medium}, {DensityHigh, c.DensityWeight.High}})
}

func (c *Settings) strands() []weighed[Strand] {
	return normed([]weighed[Strand]{{StrandFine, c.StrandWeight.Fine}, {StrandMedium, c.StrandWeight.Medium}, {StrandCoarse, c.StrandWeight.Coarse}})
}

// soundness is porosity together with damage.
type soundness struct {
	porosity Porosity
	damaged  bool
}

// porosities mixes the salon's porosities for sound hair with damaged hair,
// which is taken to be porous, by the gravest answer.
func (c *Settings) porosities(answers []History) []weighed[soundness] {
	damaged := 0.0
	for _, h := range answers {
		damaged = max(damaged, historyDamage[h])
	}
	out := normed([]weighed[soundness]{
		{soundness{PorosityLow, false}, c.PorosityWeight.Low},
		{soundness{PorosityNormal, false}, c.PorosityWeight.Normal},
		{soundness{PorosityHigh, false}, c.PorosityWeight.High},
	})
	for i := range out {
		out[i].weight *= 1 - damaged
	}
	if damaged > 0 {
		out = append(out, weighed[soundness]{soundness{PorosityHigh, true}, damaged})
	}
	return out
}

// normed drops what has no weight and scales the rest to 1.
func normed[T any](in []weighed[T]) []weighed[T] {
	var sum float64
	out := in[:0]
	for _, w := range in {
		sum += w.weight
		if w.weight > 0 {
			out = append(out, w)
		}
	}
	for i := range out {
		out[i].weight /= sum
	}
	return out
}

func phoneSections(d Density) int {
	if d == DensityHigh {
		return 5
	}
	return 4
}

// consult decides whether the caller has to be seen first, and for how long.
func (c *Settings) consult(q PhoneQuestions, a *PhoneAnswer) {
	for _, h := range q.History {
		switch h {
		case HistoryNothing, HistoryStraightenedHere:
		case HistoryColoured:
			a.OnlyConsultation = true
		default:
			a.OnlyConsultation, a.StrandTest = true, true
		}
	}
	switch {
	case a.StrandTest:
		a.ConsultationMinutes = int(c.ConsultationStrandTest)
	case a.OnlyConsultation:
		a.ConsultationMinutes = int(c.ConsultationMinutes)
	}
}

// keep rounds minutes up to step, forgiving a slight overshoot.
func (c *Settings) keep(minutes, step float64) int {
	return int(step) * ceil((minutes-c.PhoneGrace)/step)
}

func (c *Settings) phoneWords(a PhoneAnswer) string {
	s := fmt.Sprintf("%s; we keep %s; ", hoursBetween(a.From, a.To), Hours(a.Keep))
	if a.NeedsHelp {
		s += "needs batches or a helper; "
	}
	s += "firm after the consultation."
	if !a.OnlyConsultation {
		return s
	}
	with := ""
	if a.StrandTest {
		with = " with a strand test"
	}
	return s + fmt.Sprintf(" For now only a consultation of %s%s can be booked; pencil the long visit in behind it.",
		Hours(a.ConsultationMinutes), with)
}

package chairtime

import (
	"slices"
	"strconv"
	"sync"

	"chairblock/scheduling"
)

// text is a text under way. The workings of an estimate are written one behind
// the other and become one string in the end, because a string for each part
// would cost more than the estimate itself.
type text []byte

// texts are kept for the next estimate.
var texts = sync.Pool{New: func() any { return new(text) }}

// say appends words.
func (t *text) say(parts ...string) {
	for _, p := range parts {
		*t = append(*t, p...)
	}
}

// count appends a whole number.
func (t *text) count(n int) { *t = strconv.AppendInt(*t, int64(n), 10) }

// num appends v with at most two decimals and no trailing zeros.
func (t *text) num(v float64) { t.numTo(fewDecimals, v) }

// numTo appends v with at most so many decimals and no trailing zeros.
func (t *text) numTo(decimals int, v float64) {
	*t = strconv.AppendFloat(*t, roundTo(v, decimals), 'f', -1, 64)
}

// Numbers of a working have two decimals, and up to six where it is rounded up.
const fewDecimals, mostDecimals = 2, 6

// decimals returns with how many decimals the numbers of a quotient have to be
// written for a reader who rounds it up to come to n. Two do, unless they lead past
// a whole number: 51.0625 cm ÷ 2.6869 cm is a little over 19, 51.06 ÷ 2.69 is not.
func decimals(n int, quotient func(written func(v float64) float64) float64) int {
	for d := fewDecimals; d < mostDecimals; d++ {
		if ceil(quotient(func(v float64) float64 { return roundTo(v, d) })) == n {
			return d
		}
	}
	return mostDecimals
}

// tenths appends v with one decimal.
func (t *text) tenths(v float64) { *t = strconv.AppendFloat(*t, v, 'f', 1, 64) }

// of appends a number with its unit or whatever follows it.
func (t *text) of(v float64, unit string) { t.ofTo(fewDecimals, v, unit) }

// ofTo is of with at most so many decimals.
func (t *text) ofTo(decimals int, v float64, unit string) {
	t.numTo(decimals, v)
	t.say(unit)
}

// rate appends v per centimetre as so much per unit of length. Four decimals
// of a rate per inch keep its product with a length what it was.
func (t *text) rate(u Units, v float64) {
	if !u.Inches {
		t.num(v)
		return
	}
	*t = strconv.AppendFloat(*t, roundTo(v*CMPerInch, otherDecimals), 'f', -1, 64)
}

// length appends a length of cm centimetres with its unit.
func (t *text) length(u Units, cm float64) {
	t.num(u.InLength(cm))
	t.say(" ", u.LengthUnit())
}

// times appends a factor unless it has no effect.
func (t *text) times(f float64, why string) {
	if f == 1 {
		return
	}
	t.say(" × ")
	t.num(f)
	t.say(" ", why)
}

// enclose puts what was appended since t was from bytes long into brackets.
func (t *text) enclose(from int) {
	*t = append(slices.Insert(*t, from, '('), ')')
}

// describe writes the workings of all steps of e and of its exposure, so that a
// stylist can see which number to doubt.
func (c *Settings) describe(w *work, e *Estimate) {
	t := texts.Get().(*text)
	defer texts.Put(t)
	*t = (*t)[:0]
	var from, ends [mostSteps]int
	for i := range e.Steps {
		s := &e.Steps[i]
		if k := alikeBefore(e.Steps[:i], s); k >= 0 { // another batch
			from[i], ends[i] = from[k], ends[k]
			continue
		}
		from[i] = len(*t)
		c.count(t, w, s.Kind)
		t.further(s)
		if p, ok := c.paceShown(s.Kind, w.head.Hands); ok {
			t.enclose(from[i])
			t.times(p.Factor, p.Words)
		}
		t.say(" = ")
		t.tenths(s.Mean)
		t.say(" min")
		ends[i] = len(*t)
	}
	steps := len(*t)
	c.exposureWorking(t, e)
	all := string(*t)
	for i := range e.Steps {
		e.Steps[i].Working = all[from[i]:ends[i]]
	}
	e.ExposureWorking = all[steps:]
}

// alikeBefore returns which of steps is the same step of another batch, and -1
// where none is.
func alikeBefore(steps []StepTime, s *StepTime) int {
	if s.Batch < 2 {
		return -1
	}
	return slices.IndexFunc(steps, func(o StepTime) bool { return o.Kind == s.Kind && o.Mean == s.Mean && o.planned() == s.planned() })
}

// count writes down the count behind the mean of the step k.
func (c *Settings) count(t *text, w *work, k scheduling.StepKind) {
	h := &w.head
	switch k {
	case scheduling.Talk:
		countTalk(t, h)
	case scheduling.Wash:
		c.perLength(t, c.WashBase, c.WashPerCM, h.Length)
	case scheduling.Prep:
		c.countPrep(t, w)
	case scheduling.Apply:
		c.countApply(t, w)
	case scheduling.Apply1:
		c.countStage(t, w, w.treatedLength-w.ends, "roots and mid-lengths", w.looks)
	case scheduling.Apply2:
		c.countStage(t, w, w.ends, "ends", w.looksEnds)
	case scheduling.Process:
		t.say(porosityWords(h.Porosity))
		if m := c.maker.Processing; m != nil && c.Processing(h.Porosity) == *m {
			t.say(", by the maker")
		}
	case scheduling.Process1:
		t.say(porosityWords(h.Porosity))
	case scheduling.Process2:
		t.say(porosityWords(h.Porosity), ", after the ends")
	case scheduling.Check1, scheduling.Check2:
		t.say("stretch a wet strand")
	case scheduling.RinseShort:
		t.say("between two batches")
	case scheduling.Rinse1:
		c.countRinse(t, w, c.Rinse1Base, c.Rinse1PerCM)
	case scheduling.Rinse2:
		c.countRinse(t, w, c.Rinse2Base, c.Rinse2PerCM)
	case scheduling.Dry1:
		c.countDry(t, w, w.dryFraction, w.curl)
	case scheduling.Iron:
		c.countIron(t, w)
	case scheduling.Neutral:
		c.strips(t, w, c.NeutralHandling, c.NeutralSpread, w.treatedLength)
		t.hands(w)
	case scheduling.Dry2:
		c.countDry(t, w, 1, 1)
	case scheduling.Dwell:
		if c.maker.Neutralizer != nil {
			t.say("by the maker")
		} else {
			t.say("set by the product")
		}
	case scheduling.Finish:
		t.count(w.finishPanels)
		t.say(" panels × (")
		t.of(c.FinishHandling, " s + ")
		t.rate(c.Units, c.FinishPerCM)
		t.say(" s × ")
		t.length(c.Units, h.Length)
		t.say(")")
		t.times(w.careOther, "damaged")
		t.hands(w)
	case scheduling.Close:
		t.say("any visit")
	default:
		t.say(string(k))
	}
}

func countTalk(t *text, h *Head) {
	if h.NewClient {
		t.say("new client")
	} else {
		t.say("returning client")
	}
	if h.ConsultationHeld {
		t.say(", consultation already held")
	}
}

func porosityWords(p Porosity) string {
	switch p {
	case PorosityLow:
		return "resistant hair"
	case PorosityHigh:
		return "porous hair"
	case PorosityNormal:
	}
	return "normal porosity"
}

func (c *Settings) countPrep(t *text, w *work) {
	from := len(*t)
	t.of(c.PrepBase, " min + ")
	t.count(w.head.Sections)
	t.say(" sections × ")
	t.of(c.PrepPerSection, " min + ")
	t.rate(c.Units, c.PrepPerCM)
	t.say(" min/", c.Units.LengthUnit(), " × ")
	t.length(c.Units, w.head.Length)
	if w.curl != 1 || w.careOther != 1 {
		t.enclose(from)
		t.curl(w)
		t.times(w.careOther, "damaged")
	}
	if w.head.Damaged && c.ProtectorDamaged > 0 {
		t.say(" + ")
		t.of(c.ProtectorDamaged, " min protector")
	}
	if !w.untreated && c.ProtectOldLengths > 0 {
		t.say(" + ")
		t.of(c.ProtectOldLengths, " min shielding old lengths")
	}
}

func (c *Settings) countApply(t *text, w *work) {
	c.countStage(t, w, w.treatedLength, "", w.looks)
}

// countStage is countApply for length cm of the treated length; what names it
// when it is not all of it.
func (c *Settings) countStage(t *text, w *work, length float64, what string, looks int) {
	c.strips(t, w, w.stripHandling, c.BrushOn, w.treatedLength)
	t.times(w.care, "damaged")
	t.hands(w)
	if w.batches > 1 {
		t.say(" ÷ ")
		t.of(w.batches, " batches")
	}
	if what != "" {
		t.say(" × ")
		t.length(c.Units, length)
		t.say(" ÷ ")
		t.length(c.Units, w.treatedLength)
		t.say(" for the ", what)
	}
	if looks > 0 {
		t.say(" + ")
		t.count(looks)
		t.say(" ", plural(looks, "check"), " × ")
		t.of(c.LookMinutes, " min")
	}
}

// further appends what further looks add to a planned wait.
func (t *text) further(s *StepTime) {
	if s.Further == nil {
		return
	}
	t.say(", ")
	t.of(s.planned(), " min + ")
	t.of(s.Further.Mean, " min for further looks")
}

func (c *Settings) countRinse(t *text, w *work, base, each float64) {
	from := len(*t)
	c.perLength(t, base, each, w.head.Length)
	if w.careOther != 1 {
		t.enclose(from)
		t.times(w.careOther, "damaged")
	}
	if c.rinseExtra(w) > 0 {
		t.say(" + ")
		t.of(c.RinseExtra, " min × (")
		t.of(w.hairGrams, " g − ")
		t.of(c.RinseExtraFrom, " g) ÷ ")
		t.of(c.RinseExtraGrams, " g")
	}
}

func (c *Settings) countDry(t *text, w *work, fraction, curl float64) {
	again := curl != 1 && w.hands != 1 // hands share all but the set-up, to which curl adds
	if again {
		t.of(c.DrySetUp, " min + (")
	}
	from := len(*t)
	t.of(c.DrySetUp, " min + ")
	t.of(100*fraction, " % of ")
	t.of(w.water, " g water per g × ")
	t.of(w.hairGrams, " g hair ÷ ")
	t.of(c.DryRate, " g/min")
	if curl != 1 {
		t.enclose(from)
		t.times(curl, string(w.head.Curl))
	}
	if again {
		t.say(" − ")
		t.of(c.DrySetUp, " min)")
	}
	t.hands(w)
}

func (c *Settings) countIron(t *text, w *work) {
	t.count(w.panels)
	t.say(" panels × (")
	t.of(c.PanelHandling, " s + ")
	t.count(w.pressesPerPanel)
	t.say(" presses × ")
	t.of(w.press, " s")
	if n := w.head.passes(); n > 1 {
		t.say(" × ")
		t.count(n)
		t.say(" passes")
	}
	if !w.untreated && c.RetouchLightPass > 0 {
		t.say(" + ")
		t.of(c.RetouchLightPass, " s light pass")
	}
	t.say(")")
	t.times(w.care, "damaged")
	t.curl(w)
	t.hands(w)
}

// strips appends the work on all strips, length cm of each.
func (c *Settings) strips(t *text, w *work, handling, perCM, length float64) {
	t.count(w.strips)
	t.say(" strips × (")
	t.of(handling, " s + ")
	t.rate(c.Units, perCM)
	t.say(" s")
	t.times(w.strandWork, string(w.head.Strand))
	if w.strandWork != 1 {
		t.say(" hair")
	}
	t.say(" × ")
	t.length(c.Units, length)
	t.say(")")
}

func (c *Settings) perLength(t *text, base, each, length float64) {
	t.of(base, " min + ")
	t.rate(c.Units, each)
	t.say(" min/", c.Units.LengthUnit(), " × ")
	t.length(c.Units, length)
}

func (t *text) curl(w *work) { t.times(w.curl, string(w.head.Curl)) }

func (t *text) hands(w *work) {
	if w.hands == 1 {
		return
	}
	t.say(" ÷ ")
	t.of(w.hands, " for two pairs of hands")
}

// exposureWorking writes down what keeps product on the first section for so
// many booked minutes; wait and walk only where there are any.
func (c *Settings) exposureWorking(t *text, e *Estimate) {
	for i, s := range e.Steps {
		if !s.Kind.FirstStrand() {
			continue
		}
		_, _, booked := exposed(e.Steps[i:])
		if float64(booked)+c.ExposureWait+c.BasinWalk < e.BookedExposure-ceilSlack {
			continue // another batch keeps it on longer
		}
		for k := i; k < len(e.Steps) && !rinses(e.Steps[k].Kind); k++ {
			if k > i {
				t.say(" + ")
			}
			t.count(e.Steps[k].Booked)
			t.say(" ", exposureWords(e.Steps[k].Kind))
		}
		if c.ExposureWait > 0 {
			t.say(" + ")
			t.of(c.ExposureWait, " longest wait")
		}
		if c.BasinWalk > 0 {
			t.say(" + ")
			t.of(c.BasinWalk, " walk to the basin")
		}
		t.say(" = ")
		t.of(e.BookedExposure, " min")
		return
	}
}

// exposureWords says what keeps product on during a step.
func exposureWords(k scheduling.StepKind) string {
	switch {
	case k == scheduling.Apply2:
		return "the ends"
	case k.PutsOnSolution():
		return "applying"
	case k.ChecksStrand():
		return "check"
	}
	return "processing"
}

func plural(n int, one string) string {
	if n == 1 {
		return one
	}
	return one + "s"
}

// brief writes v with at most two decimals and no trailing zeros.
func brief(v float64) string {
	var t text
	t.num(v)
	return string(t)
}

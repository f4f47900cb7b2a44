package chairtime

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// SafetyLine stands wherever chemicals are used.
const SafetyLine = "The product maker's directions, local rules and the licensed person's judgement come before every figure here. " +
	"If hair or skin reacts badly: stop, rinse, get help."

// CautionLevel says what a caution asks for. A refused plan is still worked
// out, so that it can be changed, but it is not booked.
type CautionLevel string

// Levels, in rising order; "" means nothing to say.
const (
	LevelWarn     CautionLevel = "warn"      // read it
	LevelNeedsYes CautionLevel = "needs_yes" // the licensed person has to agree first
	LevelRefuse   CautionLevel = "refuse"    // do not do it this way
)

func (l CautionLevel) rank() int {
	switch l {
	case LevelWarn:
		return 1
	case LevelNeedsYes:
		return 2
	case LevelRefuse:
		return 3
	}
	return 0
}

// Words says the level for people. A level that is not known counts as asking
// for the licensed person's yes, never as less.
func (l CautionLevel) Words() string {
	switch l {
	case LevelWarn:
		return "Take care"
	case LevelRefuse:
		return "Not to be booked"
	case LevelNeedsYes:
	}
	return "Needs the licensed person's yes"
}

// Caution is one thing that the desk or the stylist must know about an
// estimate. Cautions never approve anything.
type Caution struct {
	Level CautionLevel
	Code  string // for programs, one of the Caution… constants
	Text  string // for people
}

// Codes of cautions.
const (
	CautionExposure       = "exposure"
	CautionDamaged        = "damaged"
	CautionIronTooHot     = "iron_too_hot"
	CautionIronDamaged    = "iron_damaged"
	CautionPress          = "long_press"
	CautionContact        = "iron_contact"
	CautionRegrowthShort  = "regrowth_short"
	CautionRegrowthLong   = "regrowth_long"
	CautionSections       = "sections"
	CautionPatchTest      = "patch_test"
	regrowthAskBelowCM    = 3    // judgement
	regrowthLookFromCM    = 5    // common practice: the new hair has to fit the iron
	sectionsLow, sections = 4, 5 // common practice, no source
)

// Level returns the highest level among the cautions of e, "" when there is
// none.
func (e Estimate) Level() CautionLevel {
	var worst CautionLevel
	for _, c := range e.Cautions {
		if c.Level.rank() > worst.rank() {
			worst = c.Level
		}
	}
	return worst
}

// exposureLimits returns at how many minutes on the first section to warn and
// to refuse on the hair of h. Defaults are judgement: the maker's figure
// replaces them.
func (c *Settings) exposureLimits(h Head) (warn, refuse float64) {
	if h.tender() {
		return c.ExposureWarnTender, c.ExposureRefuseTender
	}
	return c.ExposureWarn, c.ExposureRefuse
}

func (c *Settings) exposureLevel(h Head, booked float64) CautionLevel {
	warn, refuse := c.exposureLimits(h)
	switch {
	case booked >= refuse-ceilSlack:
		return LevelRefuse
	case booked >= warn-ceilSlack:
		return LevelWarn
	}
	return ""
}

// cautions collects what has to be said, the gravest first.
func (c *Settings) cautions(w *work, e *Estimate) []Caution {
	out := make([]Caution, 0, 2)
	say := func(level CautionLevel, code, text string, args ...any) {
		out = append(out, Caution{level, code, fmt.Sprintf(text, args...)})
	}
	h := w.head
	c.sayExposure(h, e.BookedExposure, say)
	if h.Damaged {
		say(LevelNeedsYes, CautionDamaged, "Damaged hair: a strand test first, and the licensed person decides.")
	}
	c.sayIron(w, say)
	c.sayRegrowth(w, say)
	if h.Sections < sectionsLow || h.Sections > sections {
		say(LevelWarn, CautionSections, "%d sections are unusual; 4 or 5 are common.", h.Sections)
	}
	say(LevelWarn, CautionPatchTest, "A skin test has to be done at least %s hours before the visit.", brief(c.PatchTestHours))
	slices.SortStableFunc(out, func(a, b Caution) int { return cmp.Compare(b.Level.rank(), a.Level.rank()) })
	return out
}

func (c *Settings) sayExposure(h Head, booked float64, say func(CautionLevel, string, string, ...any)) {
	warn, refuse := c.exposureLimits(h)
	hair := "this hair"
	if h.tender() {
		hair = "porous or damaged hair"
	}
	switch c.exposureLevel(h, booked) {
	case LevelRefuse:
		say(LevelRefuse, CautionExposure, "Product would stay on the first section for %.0f minutes as booked; for %s it must be rinsed before %s minutes. Plan batches or a helper.",
			math.Ceil(booked), hair, brief(refuse))
	case LevelWarn:
		say(LevelWarn, CautionExposure, "Product would stay on the first section for %.0f minutes as booked; for %s stay below %s minutes. Batches or a helper shorten it.",
			math.Ceil(booked), hair, brief(warn))
	case LevelNeedsYes:
	}
}

func (c *Settings) sayIron(w *work, say func(CautionLevel, string, string, ...any)) {
	h := w.head
	switch {
	case h.IronCelsius > c.IronMax:
		say(LevelRefuse, CautionIronTooHot, "Iron at %s: never above %s.", c.Units.Heat(h.IronCelsius), c.Units.Heat(c.IronMax))
	case h.Damaged && h.IronCelsius > c.IronMaxDamaged:
		say(LevelWarn, CautionIronDamaged, "Iron at %s: stay at or below %s on damaged hair.", c.Units.Heat(h.IronCelsius), c.Units.Heat(c.IronMaxDamaged))
	}
	if w.press > c.PressWarn {
		say(LevelWarn, CautionPress, "One press lasts %s seconds; stay at or below %s.", brief(w.press), brief(c.PressWarn))
	}
	if contact := w.press * float64(h.passes()); contact > c.ContactRefuse {
		say(LevelRefuse, CautionContact, "The iron would rest %s seconds on one spot over all passes; never more than %s.", brief(contact), brief(c.ContactRefuse))
	}
}

func (c *Settings) sayRegrowth(w *work, say func(CautionLevel, string, string, ...any)) {
	switch r := w.head.Regrowth; {
	case r == 0:
	case w.overGrown:
		say(LevelWarn, CautionRegrowthLong, "New hair of %s is most of the length of %s: timed as untreated hair.", c.Units.Length(r), c.Units.Length(w.head.Length))
	case r < regrowthAskBelowCM:
		say(LevelNeedsYes, CautionRegrowthShort, "New hair of %s is hardly long enough for the iron, and overlap breaks treated hair: ask the licensed person.", c.Units.Length(r))
	case r < regrowthLookFromCM:
		say(LevelWarn, CautionRegrowthShort, "New hair of %s is short for the iron; waiting until %s makes overlap less likely.", c.Units.Length(r), c.Units.Length(regrowthLookFromCM))
	}
}

// ExposureCaution says what a plan that leaves product on the first section of
// h for so many booked minutes calls for, and false when nothing: the same
// limits as in Estimate, held against the steps that are really booked.
func (c Settings) ExposureCaution(h Head, minutes int) (Caution, bool) {
	var out Caution
	c.sayExposure(h, float64(minutes)+c.BasinWalk, func(level CautionLevel, code, text string, args ...any) {
		out = Caution{level, code, fmt.Sprintf(text, args...)}
	})
	return out, out.Level != ""
}

// Looks returns after how many minutes hair like h is looked at for the first
// time once solution is on, and how often from then on.
func (c Settings) Looks(h Head) (first, every int) {
	first = int(c.LookFirst)
	if h.tender() {
		first = int(c.LookFirstTender)
	}
	return first, int(c.LookEvery)
}

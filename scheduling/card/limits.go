package card

import (
	"math"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// Limits are those by which the facts of one card are judged. They are kept with
// the card, so that a later change of settings does not rewrite it. A limit of 0
// is none; the zero value judges nothing but what needs no limit.
type Limits struct {
	// Damaged and Tender say what the hair is: weakened, or that or porous.
	Damaged bool `json:"damaged,omitempty"`
	Tender  bool `json:"tender,omitempty"`
	// Fahrenheit writes heat in °F, as the salon does.
	Fahrenheit bool `json:"fahrenheit,omitempty"`

	// IronMax is the hottest setting in °C: 180 at most (salon trade page; small
	// pores up to that, larger voids above: J Cosmet Sci 62(2) 2011 p. 119).
	IronMax float64 `json:"iron_max_celsius,omitempty"`
	// IronWarn is from where to take care in °C, 0 on sound hair; 160 on damaged
	// hair (common practice).
	IronWarn float64 `json:"iron_warn_celsius,omitempty"`
	// PressWarn is the longest press in seconds, 5 (common practice).
	PressWarn float64 `json:"press_warn_seconds,omitempty"`
	// ContactMax is the longest contact of one spot with the iron over all presses
	// in seconds, 30 (common practice).
	ContactMax float64 `json:"contact_max_seconds,omitempty"`
	// DryLeast is how dry hair has to be before the iron, 0 to 1: 0.8, and 0.9
	// when damaged (common practice; wet ironing does more harm to the structure
	// than dry: Ruetsch & Kamath, J Cosmet Sci 55:13, 2004).
	DryLeast float64 `json:"dry_least,omitempty"`

	// WarnAfter and OffAfter are minutes since the first strand was wetted at
	// which to warn and at which product has to be off: 40 and 60, porous or
	// damaged 20 and 30 (judgement).
	WarnAfter float64 `json:"warn_after_minutes,omitempty"`
	OffAfter  float64 `json:"off_after_minutes,omitempty"`
	// NeutralizerLeast is how long the neutralizer works at least, in minutes
	// (the maker's directions; 5 where they are not known, common practice).
	NeutralizerLeast float64 `json:"neutralizer_least_minutes,omitempty"`
	// StretchMax is how many times its length a wet strand may stretch to: 1.5
	// (sound hair stretches by about half when wet, and returns: several trade
	// pages).
	StretchMax float64 `json:"stretch_max,omitempty"`

	// FirstLook is after how many minutes somebody looks first: 10, porous or
	// damaged 5; NextLook how long after a look that found it not ready: 5. A look
	// is late LookGrace minutes after it was due: 3 (all judgement and common
	// practice).
	FirstLook float64 `json:"first_look_minutes,omitempty"`
	NextLook  float64 `json:"next_look_minutes,omitempty"`
	LookGrace float64 `json:"look_grace_minutes,omitempty"`
}

// Values without a setting: times its length, and minutes.
const (
	stretchMax = 1.5 // several trade pages
	lookGrace  = 3   // common practice: two to three minutes late at most
)

// LimitsFor returns a salon's limits for hair like h. Without h, as for a service
// whose time is the same for everybody, there are none that depend on the hair.
func LimitsFor(c chairtime.Settings, h *chairtime.Head) Limits {
	l := Limits{IronMax: c.IronMax, PressWarn: c.PressWarn, ContactMax: c.ContactRefuse, DryLeast: c.DryFraction,
		StretchMax: stretchMax, NextLook: c.NextLook, LookGrace: lookGrace}
	if h == nil {
		return l
	}
	l.Damaged = h.Damaged
	l.Tender = h.Damaged || h.Porosity == chairtime.PorosityHigh
	l.WarnAfter, l.OffAfter, l.FirstLook = c.ExposureWarn, c.ExposureRefuse, c.LookFirst
	l.NeutralizerLeast = c.DwellMin
	if l.Damaged {
		l.IronWarn, l.DryLeast = c.IronMaxDamaged, c.DryFractionDamaged
	}
	if l.Tender {
		l.WarnAfter, l.OffAfter, l.FirstLook = c.ExposureWarnTender, c.ExposureRefuseTender, c.LookFirstTender
	}
	return l
}

// Maker is what the maker of the product asks for; nil is not known.
type Maker struct {
	LongestOn   *float64 // minutes that the solution may stay on
	Neutralizer *float64 // least minutes of the neutralizer
	DryLeast    *float64 // dryness before the iron, 0 to 1
}

// By returns the limits with the maker's figures in the place of the salon's.
func (l Limits) By(m Maker) Limits {
	if m.LongestOn != nil {
		l.OffAfter = *m.LongestOn
		l.WarnAfter = min(l.WarnAfter, l.OffAfter)
		l.FirstLook = min(l.FirstLook, l.OffAfter)
	}
	if m.Neutralizer != nil {
		l.NeutralizerLeast = *m.Neutralizer
	}
	switch {
	case m.DryLeast == nil:
	case l.Damaged: // the salon's own for damaged hair stands where it is drier
		l.DryLeast = max(l.DryLeast, *m.DryLeast)
	default:
		l.DryLeast = *m.DryLeast
	}
	return l
}

// Level says how grave a flag is.
type Level string

// Levels, in rising order.
const (
	LevelWarn Level = "warn" // read it
	LevelOver Level = "over" // outside a limit: a reason is asked for
	LevelStop Level = "stop" // stop and ask the licensed person; a reason is asked for, too
)

// Words says the level for people.
func (l Level) Words() string {
	switch l {
	case LevelWarn:
		return "Take care"
	case LevelOver:
		return "Outside the limit"
	case LevelStop:
	}
	return "Stop and ask the licensed person"
}

// Flag is one thing about a card that somebody has to know.
type Flag struct {
	Level Level
	Code  string // for programs, one of the Flag… constants
	Text  string // for people
}

// AsksReason reports whether somebody has to say why.
func (f Flag) AsksReason() bool { return f.Level != LevelWarn }

// Codes of flags.
const (
	FlagIronTooHot   = "iron_too_hot"
	FlagIronDamaged  = "iron_damaged"
	FlagPress        = "long_press"
	FlagContact      = "iron_contact"
	FlagWet          = "ironed_wet"
	FlagTooWeak      = "too_weak"
	FlagNoReturn     = "no_return"
	FlagExposureWarn = "exposure_long"
	FlagExposure     = "exposure"
	FlagNeutralizer  = "neutralizer_short"
	FlagIronedAfter  = "ironed_after_rinse_now"
	FlagUnready      = "begun_unready"
)

// degrees writes °C as the salon does. °F are rounded to whole ones, as irons
// show them.
func (l Limits) degrees(celsius float64) string {
	if l.Fahrenheit {
		return scheduling.Number(math.Round(chairtime.FahrenheitOfCelsius(celsius))) + " °F"
	}
	return scheduling.Number(math.Round(celsius*10)/10) + " °C"
}

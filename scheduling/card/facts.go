package card

import (
	"fmt"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// Kind names what a fact is about.
type Kind string

// Kinds of facts. Those of the last group are written by operations, and
// not by hand.
const (
	KindCheck        Kind = "check"       // a strand was stretched or looked at
	KindSolution     Kind = "solution"    // what was put on, and how much
	KindNeutralizer  Kind = "neutralizer" // the same of the neutralizer
	KindIron         Kind = "iron"        // the setting of the iron
	KindPress        Kind = "press"       // how long the iron closed on one spot
	KindDryness      Kind = "dryness"     // before the iron
	KindResult       Kind = "result"      // how it turned out
	KindAftercare    Kind = "aftercare"   // what the client was told, and how
	KindPause        Kind = "pause"       // a safe pause
	KindInterruption Kind = "interruption"
	KindReason       Kind = "reason" // why something lies outside a limit

	KindHairAsSeen Kind = "hair_as_seen"
	KindRinseNow   Kind = "rinse_now"
	KindUnready    Kind = "begun_unready" // noted of a visit that must not have begun
)

// Bounds of what can have happened at all. A fact outside them is a slip of the
// pen, one within them is written down however unsafe it is (judgement, wide on purpose).
const (
	stretchLeast, stretchMost = 1, 2.5   // times its length; hair snaps well before
	nextLookMost              = 60       // min
	millilitresMost           = 2000     // ml of one product in one visit
	ironLeast, ironMost       = 40, 300  // °C; no iron for hair is colder or hotter
	pressLeast, pressMost     = 0.5, 120 // s
	passesMost                = 20
	pauseMost                 = 240 // min
)

// Check is a look at a strand.
type Check struct {
	Stretch  float64 // times its length, 1 to 2.5, or 0 when it was not stretched
	Returned *bool   // to its length, nil when nobody said
	Ready    bool
	Next     int // minutes until the next look, 0 for the salon's own
}

// Validate returns Faults with every number that cannot be, named as in JSON.
func (c Check) Validate() error {
	var f scheduling.Faults
	if c.Stretch != 0 {
		f.Between("stretch", c.Stretch, stretchLeast, stretchMost, "times its length")
	}
	if c.Next != 0 {
		f.Count("next_minutes", c.Next, 1, nextLookMost)
	}
	if c.Ready && c.Next != 0 {
		f.Add("next_minutes", "is given although the hair is ready", "one of the two")
	}
	return f.Err()
}

// Product is a solution or neutralizer that was used.
type Product struct {
	Millilitres float64 // 0 when not told
}

// Validate returns Faults with every number that cannot be, named as in JSON.
func (p Product) Validate() error {
	var f scheduling.Faults
	if p.Millilitres != 0 {
		f.Between("ml", p.Millilitres, 1, millilitresMost, "ml")
	}
	return f.Err()
}

// Iron is the setting of an iron.
type Iron struct{ CelsiusSet float64 }

// Validate returns Faults when no iron can be set so.
func (i Iron) Validate() error {
	var f scheduling.Faults
	if c := i.CelsiusSet; !(c >= ironLeast && c <= ironMost) {
		f.Addf("setting", fmt.Sprintf("%d to %d °C, or %.0f to %.0f °F", ironLeast, ironMost, chairtime.FahrenheitOfCelsius(ironLeast),
			chairtime.FahrenheitOfCelsius(ironMost)), "is %s °C", scheduling.Number(c))
	}
	return f.Err()
}

// Press is how long and how often the iron closed on one spot.
type Press struct {
	Seconds float64
	Passes  int
}

// Validate returns Faults with every number that cannot be, named as in JSON.
func (p Press) Validate() error {
	var f scheduling.Faults
	f.Between("seconds", p.Seconds, pressLeast, pressMost, "seconds")
	f.Count("passes", p.Passes, 1, passesMost)
	return f.Err()
}

// Pause is a pause that hurts nobody.
type Pause struct{ Minutes int }

// Validate returns Faults when it cannot have been so long.
func (p Pause) Validate() error {
	var f scheduling.Faults
	f.Count("minutes", p.Minutes, 1, pauseMost)
	return f.Err()
}

// Dryness is how dry the hair was, in percent.
type Dryness struct{ Percent float64 }

// Validate returns Faults when hair cannot be so dry.
func (d Dryness) Validate() error {
	var f scheduling.Faults
	f.Between("percent", d.Percent, 0, 100, "%")
	return f.Err()
}

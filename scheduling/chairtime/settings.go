package chairtime

import (
	"fmt"
	"math"

	"chairblock/scheduling"
)

// Settings holds every constant of the model of chair time. All of them are a
// salon's settings; Settings lists name, unit, default, range and source of
// each. Start from Default: the zero value is not usable.
//
// The model is a proposal from first principles: its form is common practice
// or derived, no study of hair-service times was found.
type Settings struct {
	// Units are what texts are written in; figures stay in cm and °C.
	Units Units

	// The hair.
	ScalpArea                                            float64   // cm²
	NapeShare, SidesShare, CrownBackShare, FrontTopShare float64   // of the scalp area
	HairlineShare, FringeShare                           float64   // inside the four above
	Hairs                                                ByDensity // per cm²
	Diameter                                             ByStrand  // µm
	Matter                                               float64   // g/cm³
	ProfileBase, ProfilePerCM, ProfileFloor              float64   // mean length as a share of the length
	OffScalp                                             float64   // cm
	UntreatedShare                                       float64   // regrowth above it is an untreated head

	// Talking, washing, drying, in minutes where nothing else is said.
	TalkNew, TalkReturning, TalkHeld, CloseMin                       float64
	CloseAtDesk                                                      float64 // 1: the chair is not held meanwhile
	WashBase, WashPerCM                                              float64
	PrepBase, PrepPerSection, PrepPerCM                              float64
	ProtectorDamaged, ProtectOldLengths                              float64
	Rinse1Base, Rinse1PerCM, Rinse2Base, Rinse2PerCM, RinseShortBase float64
	RinseExtra, RinseExtraGrams, RinseExtraFrom                      float64 // minutes for every so many g above so many
	WaterPerGram, WaterPorous                                        float64 // g/g, factor
	DryRate                                                          float64 // g/min
	DrySetUp                                                         float64
	DryFraction, DryFractionDamaged                                  float64 // dryness before the iron

	// Solution and neutralizer.
	ApplyParting                                       ByDensity  // cm
	StripWidth                                         float64    // cm
	StripUntreated, StripRetouch                       float64    // s
	BrushOn                                            float64    // s/cm
	StrandWork                                         ByStrand   // factor
	NeutralHandling, NeutralSpread                     float64    // s, s/cm
	ProcessMin, ProcessSecondMin                       ByPorosity // the second after the ends
	EndsCM, CheckMin                                   float64    // solution in two stages
	NextLook, NotReadyShare                            float64    // min; chance at the planned end of a wait
	DwellMin                                           float64
	SolutionPerGram, SolutionFloor                     float64 // ml/g, ml
	NeutralizerPerGram, NeutralizerFloor               float64 // ml/g, ml
	BowlWaste, PackML                                  float64 // share, ml
	LookFirst, LookFirstTender, LookEvery, LookMinutes float64
	ExposureWarn, ExposureRefuse                       float64
	ExposureWarnTender, ExposureRefuseTender           float64 // porous or damaged hair
	ExposureWait, BasinWalk                            float64
	PatchTestHours                                     float64

	// The iron.
	IronParting                      ByDensity // cm
	PanelWidth, PanelHandling        float64   // cm, s
	Press                            ByStrand  // s
	PlateOverlap                     float64   // share
	RetouchLightPass, RetouchOverlap float64   // s, cm
	FinishParting, FinishWidth       float64   // cm
	FinishHandling, FinishPerCM      float64   // s, s/cm
	IronMax, IronMaxDamaged          float64   // °C
	PressWarn, ContactRefuse         float64   // s

	// Factors.
	CareMain, CareOther float64 // damaged hair
	CurlWork            ByCurl
	Shrinkage           ByWave  // 1 − free length ÷ stretched length
	PairFactor          float64 // a second pair of hands divides by

	// Spread and booking.
	Spread      ByStep
	Correlation float64
	Quantile    float64
	BlockStep   float64

	// Telephone: weights of what is not known yet.
	StrandWeight                                ByStrand
	PorosityWeight                              ByPorosity
	DensityWeight                               ByDensity
	PhoneGrace                                  float64
	ConsultationMinutes, ConsultationStrandTest float64

	pace  *Pace // see At
	maker Maker // see By
}

// ByDensity is one value for each Density.
type ByDensity struct{ Low, Medium, High float64 }

func (b *ByDensity) of(d Density) float64 {
	switch d {
	case DensityLow:
		return b.Low
	case DensityHigh:
		return b.High
	case DensityMedium:
	}
	return b.Medium
}

// ByStrand is one value for each Strand.
type ByStrand struct{ Fine, Medium, Coarse float64 }

func (b *ByStrand) of(s Strand) float64 {
	switch s {
	case StrandFine:
		return b.Fine
	case StrandCoarse:
		return b.Coarse
	case StrandMedium:
	}
	return b.Medium
}

// ByPorosity is one value for each Porosity.
type ByPorosity struct{ Low, Normal, High float64 }

func (b *ByPorosity) of(p Porosity) float64 {
	switch p {
	case PorosityLow:
		return b.Low
	case PorosityHigh:
		return b.High
	case PorosityNormal:
	}
	return b.Normal
}

// ByCurl is one value for each Curl.
type ByCurl struct{ Straight, Wavy, Curly, Coily float64 }

func (b *ByCurl) of(c Curl) float64 {
	switch c {
	case CurlWavy:
		return b.Wavy
	case CurlCurly:
		return b.Curly
	case CurlCoily:
		return b.Coily
	case CurlStraight:
	}
	return b.Straight
}

// ByWave is one value for each Curl that is not straight.
type ByWave struct{ Wavy, Curly, Coily float64 }

// of returns 0 for straight hair.
func (b *ByWave) of(c Curl) float64 {
	switch c {
	case CurlWavy:
		return b.Wavy
	case CurlCurly:
		return b.Curly
	case CurlCoily:
		return b.Coily
	case CurlStraight:
	}
	return 0
}

// ByStep is the spread of each kind of hands-on work: its standard deviation
// as a share of its mean.
type ByStep struct {
	Talk, Wash, Prep, Apply, Rinse, Dry, Iron, Neutral, Finish, Close float64
}

// of returns 0 for the steps of fixed length.
func (b *ByStep) of(k scheduling.StepKind) float64 {
	switch k {
	case scheduling.Talk:
		return b.Talk
	case scheduling.Wash:
		return b.Wash
	case scheduling.Prep:
		return b.Prep
	case scheduling.Apply, scheduling.Apply1, scheduling.Apply2:
		return b.Apply
	case scheduling.Rinse1, scheduling.Rinse2, scheduling.RinseShort:
		return b.Rinse
	case scheduling.Dry1, scheduling.Dry2:
		return b.Dry
	case scheduling.Iron:
		return b.Iron
	case scheduling.Neutral:
		return b.Neutral
	case scheduling.Finish:
		return b.Finish
	case scheduling.Close:
		return b.Close
	case scheduling.Process, scheduling.Dwell, scheduling.Process1, scheduling.Process2, scheduling.Check1, scheduling.Check2:
	}
	return 0
}

// Default returns every setting at its default: the plain model, in
// which every further factor has no effect.
func Default() Settings {
	var c Settings
	for i := range settingRows {
		*settingRows[i].in(&c) = settingRows[i].Default
	}
	return c
}

// Demo returns the settings of the demonstration salon. They differ
// from the defaults in the factors that a working salon meets every day; their
// values are judgement and not measured.
func Demo() Settings {
	c := Default()
	c.PairFactor = 1.7
	c.CurlWork = ByCurl{Straight: 1, Wavy: 1, Curly: 1.15, Coily: 1.3}
	c.CareOther = c.CareMain
	c.ProtectorDamaged = 8
	c.RinseExtra = 1
	c.BowlWaste = 0.15
	c.PackML = 100
	c.ProtectOldLengths = 6
	c.TalkHeld = 5
	c.CloseAtDesk = 1
	c.LookMinutes = 1
	c.NotReadyShare = 0.15
	return c
}

// Validate returns Faults naming each setting that is outside its range, that
// has to be whole and is not, or that contradicts another one.
func (c Settings) Validate() error { return c.faults().Err() }

func (c *Settings) faults() scheduling.Faults {
	var f scheduling.Faults
	for i := range settingRows {
		row := &settingRows[i]
		v := *row.in(c)
		switch {
		case !within(v, row.Min, row.Max):
			f.Addf(row.Name, row.rangeText(), "is %s", scheduling.Number(v))
		case row.Whole && v != math.Trunc(v):
			f.Addf(row.Name, "a whole number, "+row.rangeText(), "is %s", scheduling.Number(v))
		}
	}
	c.validatePairs(&f)
	return f
}

func (c *Settings) validatePairs(f *scheduling.Faults) {
	notAbove := func(lowName string, low float64, highName string, high float64) {
		if low > high {
			f.Addf(lowName, fmt.Sprintf("at most %s, which is %s", highName, scheduling.Number(high)), "is %s", scheduling.Number(low))
		}
	}
	notAbove("exposure_warn_minutes", c.ExposureWarn, "exposure_refuse_minutes", c.ExposureRefuse)
	notAbove("exposure_warn_tender_minutes", c.ExposureWarnTender, "exposure_refuse_tender_minutes", c.ExposureRefuseTender)
	notAbove("iron_max_damaged_celsius", c.IronMaxDamaged, "iron_max_celsius", c.IronMax)
	for _, w := range []struct {
		name string
		sum  float64
	}{
		{"phone_strand_*_weight", c.StrandWeight.Fine + c.StrandWeight.Medium + c.StrandWeight.Coarse},
		{"phone_porosity_*_weight", c.PorosityWeight.Low + c.PorosityWeight.Normal + c.PorosityWeight.High},
		{"phone_density_*_weight", c.DensityWeight.Low + c.DensityWeight.Medium + c.DensityWeight.High},
	} {
		if w.sum == 0 {
			f.Add(w.name, "are all 0", "at least one above 0")
		}
	}
}

// Value returns the setting called name, and whether there is one.
func (c Settings) Value(name string) (float64, bool) {
	if i, ok := settingIndex[name]; ok {
		return *settingRows[i].in(&c), true
	}
	return 0, false
}

// Set changes the setting called name. It does not look at the range; call
// Validate when all changes are made. It returns an *InvalidError when there
// is no such setting.
func (c *Settings) Set(name string, v float64) error {
	i, ok := settingIndex[name]
	if !ok {
		return &scheduling.InvalidError{Field: name, Problem: "is not a setting of chair time", Want: "one of the listed names"}
	}
	*settingRows[i].in(c) = v
	return nil
}

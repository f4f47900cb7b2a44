package chairtime

import (
	"fmt"
	"math"

	"chairblock/scheduling"
)

// agreeCM is how far two figures for one length may lie apart and still count
// as the same, so that an answer can be sent back as it came.
const agreeCM = 0.01

// DensityOf returns the class of so many hairs per cm²: below 160 low, up to 220
// medium, above that high (derived from Loussouarn, El Rawadi & Genain 2005; no
// standard exists).
func DensityOf(hairsPerCM2 float64) Density {
	switch {
	case hairsPerCM2 < 160:
		return DensityLow
	case hairsPerCM2 <= 220:
		return DensityMedium
	}
	return DensityHigh
}

// hairsPerCM2 is what was counted on h, else what is usual for its class.
func (c *Settings) hairsPerCM2(h *Head) float64 {
	if h.HairsPerCM2 > 0 {
		return h.HairsPerCM2
	}
	return c.Hairs.of(h.Density)
}

// Stretched returns the length in cm of hair that hangs free cm long when it is
// pulled straight: free ÷ (1 − shrinkage).
func Stretched(free, shrinkage float64) float64 { return roundTo(free/(1-shrinkage), siDecimals) }

// Settle fills in what follows from the other figures of h: the stretched
// length from the free one, the shrinkage from the curl, the class from the
// count. What cannot be worked out stays as it is, for Validate to name.
func (c Settings) Settle(h Head) Head { return c.settled(h) }

func (c *Settings) settled(h Head) Head {
	if h.Density == "" && within(h.HairsPerCM2, minHairsPerCM2, maxHairsPerCM2) {
		h.Density = DensityOf(h.HairsPerCM2)
	}
	if h.FreeLength == 0 {
		return h
	}
	if h.Shrinkage == nil {
		switch h.Curl {
		case CurlStraight, CurlWavy, CurlCurly, CurlCoily:
			h.Shrinkage = new(c.Shrinkage.of(h.Curl))
		default:
			return h
		}
	}
	if h.Length == 0 && *h.Shrinkage < maxShrinkage {
		h.Length = Stretched(h.FreeLength, *h.Shrinkage)
	}
	return h
}

// LengthWorking writes down how the stretched length of a settled head was
// worked out, such as "17.5 cm ÷ (1 − 0.5) = 35 cm stretched"; "" when it was
// measured.
func (h Head) LengthWorking(u Units) string {
	if h.FreeLength == 0 || h.Shrinkage == nil {
		return ""
	}
	return fmt.Sprintf("%s ÷ (1 − %s) = %s stretched", u.Length(h.FreeLength), shareText(*h.Shrinkage), u.Length(h.Length))
}

// shareText writes a share with at most three decimals.
func shareText(v float64) string { return scheduling.Number(roundTo(v, 3)) }

func (h Head) validateLength(f *scheduling.Faults) {
	if h.FreeLength == 0 {
		if h.Shrinkage != nil {
			f.Add("shrinkage", "is given, but no free length that it belongs to", "free_length_cm beside it, or neither")
		}
		length("length", h.Given.Length).between(f, h.Length, minLengthCM, maxLengthCM)
		return
	}
	free := length("free_length", h.Given.Length)
	before := len(*f)
	if !(h.FreeLength > 0 && h.FreeLength <= maxLengthCM) {
		f.Addf(free.name, fmt.Sprintf("more than 0, up to %s %s", free.most(maxLengthCM), free.unit), "is %s", free.number(h.FreeLength))
	}
	if h.Shrinkage == nil {
		switch {
		case h.Curl == "":
			f.Add(free.name, "is given, but not how much shorter than stretched that is", "shrinkage or curl beside it, or the stretched length")
		case h.Length != 0:
			f.Add(free.name, "is given beside the stretched length", "one of the two")
		}
		return
	}
	s := *h.Shrinkage
	switch {
	case !(s >= 0 && s < maxShrinkage):
		f.Addf("shrinkage", "0 to below 0.95", "is %s", scheduling.Number(s))
	case h.Curl == CurlStraight && s >= wavyShrinkage:
		f.Addf("shrinkage", "below 0.1, or curl wavy, curly or coily", "is %s on hair that is said to be straight", scheduling.Number(s))
	}
	if len(*f) > before {
		return
	}
	stretched := Stretched(h.FreeLength, s)
	if h.Length != 0 && !(math.Abs(h.Length-stretched) <= agreeCM) {
		f.Addf(free.name, "one of the two, or two that agree", "is %s %s, which is %s %s stretched, but the stretched length is given as %s %s",
			free.number(h.FreeLength), free.unit, free.number(stretched), free.unit, free.number(h.Length), free.unit)
		return
	}
	if !within(stretched, minLengthCM, maxLengthCM) {
		f.Addf(free.name, fmt.Sprintf("a stretched length of %s to %s %s", free.least(minLengthCM), free.most(maxLengthCM), free.unit),
			"is %s %s, which is %s %s stretched", free.number(h.FreeLength), free.unit, free.number(stretched), free.unit)
	}
}

func (h Head) validateDensity(f *scheduling.Faults) {
	counted := h.HairsPerCM2 != 0
	if counted {
		f.Between("hairs_per_cm2", h.HairsPerCM2, minHairsPerCM2, maxHairsPerCM2, "hairs per cm²")
	}
	if !counted || h.Density != "" {
		before := len(*f)
		oneOf(f, "density", h.Density, DensityLow, DensityMedium, DensityHigh)
		if len(*f) > before {
			return
		}
	}
	if class := DensityOf(h.HairsPerCM2); counted && h.Density != "" && h.Density != class && within(h.HairsPerCM2, minHairsPerCM2, maxHairsPerCM2) {
		f.Addf("density", string(class)+", or only one of density and hairs_per_cm2",
			"is %s, but %s hairs per cm² are %s (low below 160, medium to 220, high above)", string(h.Density), scheduling.Number(h.HairsPerCM2), string(class))
	}
}

// figure is a field of a head as it was given: its name, its unit, and how the
// kept value is turned into that unit.
type figure struct {
	name, unit string
	turn       func(float64) float64 // nil for what is kept
}

func length(name string, inches bool) figure {
	if inches {
		return figure{name + "_in", "in", InchesOfCM}
	}
	return figure{name + "_cm", "cm", nil}
}

func heat(name string, fahrenheit bool) figure {
	if fahrenheit {
		return figure{name + "_fahrenheit", "°F", FahrenheitOfCelsius}
	}
	return figure{name + "_celsius", "°C", nil}
}

func (x figure) number(v float64) string {
	if x.turn == nil {
		return scheduling.Number(v)
	}
	return scheduling.Number(x.turn(v))
}

// least and most write the ends of a range so that what is shown lies within.
func (x figure) least(v float64) string { return x.end(v, math.Ceil) }
func (x figure) most(v float64) string  { return x.end(v, math.Floor) }

func (x figure) end(v float64, round func(float64) float64) string {
	if x.turn == nil {
		return scheduling.Number(v)
	}
	return scheduling.Number(round(x.turn(v)*100) / 100)
}

// between adds a fault unless v is a finite number from lo to hi, all as kept.
func (x figure) between(f *scheduling.Faults, v, lo, hi float64) {
	if !within(v, lo, hi) {
		f.Addf(x.name, x.least(lo)+" to "+x.most(hi)+" "+x.unit, "is %s", x.number(v))
	}
}

package quoting

import (
	"fmt"
	"slices"

	"chairblock/scheduling"
)

// MostCents is the greatest price of anything, in minor units: more is a slip of
// the keyboard (judgement).
const MostCents = 100_000_000

// By says what a price follows.
type By string

// What a price can follow.
const (
	ByNothing By = "fixed"   // the same for everybody
	ByBand    By = "band"    // length and amount of hair
	ByMinute  By = "minutes" // booked minutes, and product
)

// Rule is what one version of a service costs. The zero value is a fixed price
// of nothing.
type Rule struct {
	By By // "" is ByNothing
	// Fixed is the price of ByNothing.
	Fixed int64
	// Bands are the price list of ByBand, shortest hair first.
	Bands []Band
	// PerMinute is what a booked minute costs by ByMinute, and the two below what
	// 100 ml of product cost; 0 when product is in the price of the minute.
	PerMinute           int64
	SolutionPer100ML    int64
	NeutralizerPer100ML int64
	// Least is the lowest price of ByMinute.
	Least int64
	// RoundUpTo makes prices of ByMinute multiples of it; 0 leaves them.
	RoundUpTo int64
	// Helper is added when a second pair of hands is booked.
	Helper int64
}

// Band is the row of a price list for hair up to a length.
type Band struct {
	UpTo float64 // cm, included; 0 is any length, for the last one
	// Price by the amount of hair.
	Low, Medium, High int64
}

// Limits of what a rule can say. They keep every sum far below the end of an
// int64 (judgement otherwise). Prices are in minor units of the currency.
const (
	mostBands      = 20
	mostPerMinute  = 1_000_000
	mostPer100ML   = 10_000_000
	mostRoundUpTo  = 1_000_000
	shortestHair   = 8 // cm, as everywhere
	longestHair    = 120
	mostMinutes    = 24 * 60
	mostML         = 20_000
	millilitresPer = 100 // of a price of product
)

// Validate returns Faults with everything in r that contradicts itself: what
// belongs to another kind of price, a price list that leaves hair out or names it
// twice, and amounts that nobody means.
func (r Rule) Validate() error {
	var f scheduling.Faults
	switch r.By {
	case "", ByNothing:
		cents(&f, "price_cents", r.Fixed, 0, MostCents)
		r.without(&f, "bands", len(r.Bands) > 0)
		r.withoutMinutes(&f)
	case ByBand:
		r.checkBands(&f)
		r.withoutMinutes(&f)
	case ByMinute:
		cents(&f, "cents_per_minute", r.PerMinute, 1, mostPerMinute)
		cents(&f, "solution_cents_per_100_ml", r.SolutionPer100ML, 0, mostPer100ML)
		cents(&f, "neutralizer_cents_per_100_ml", r.NeutralizerPer100ML, 0, mostPer100ML)
		cents(&f, "least_cents", r.Least, 0, MostCents)
		cents(&f, "round_up_to_cents", r.RoundUpTo, 0, mostRoundUpTo)
		r.without(&f, "bands", len(r.Bands) > 0)
	default:
		f.Addf("by", "fixed, band or minutes", "is %q", string(r.By))
	}
	cents(&f, "helper_cents", r.Helper, 0, MostCents)
	return f.Err()
}

func cents(f *scheduling.Faults, field string, v, lo, hi int64) {
	if v < lo || v > hi {
		f.Addf(field, fmt.Sprintf("%d to %d, in the currency's smallest unit", lo, hi), "is %d", v)
	}
}

// without notes what belongs to another kind of price.
func (r Rule) without(f *scheduling.Faults, field string, given bool) {
	if given {
		f.Add(field, "is given for a price that does not follow it", "the kind of price in by that it belongs to, or nothing")
	}
}

func (r Rule) withoutMinutes(f *scheduling.Faults) {
	r.without(f, "cents_per_minute", r.PerMinute != 0)
	r.without(f, "solution_cents_per_100_ml", r.SolutionPer100ML != 0)
	r.without(f, "neutralizer_cents_per_100_ml", r.NeutralizerPer100ML != 0)
	r.without(f, "least_cents", r.Least != 0)
	r.without(f, "round_up_to_cents", r.RoundUpTo != 0)
}

func (r Rule) checkBands(f *scheduling.Faults) {
	if n := len(r.Bands); n < 1 || n > mostBands {
		f.Addf("bands", fmt.Sprintf("1 to %d bands of length", mostBands), "has %d entries", n)
		return
	}
	for i, b := range r.Bands {
		at := fmt.Sprintf("bands[%d]", i)
		last := i == len(r.Bands)-1
		switch {
		case last && b.UpTo != 0:
			f.Add(at+".up_to_cm", "is given for the last band, and longer hair would have no price", "no limit for the last band")
		case last:
		case b.UpTo == 0:
			f.Add(at+".up_to_cm", "is missing, so that the bands behind it would never count", "a length in cm; only the last band has none")
		default:
			// false for NaN, too
			if !(b.UpTo >= shortestHair && b.UpTo < longestHair) {
				f.Addf(at+".up_to_cm", fmt.Sprintf("%d to less than %d cm", shortestHair, longestHair), "is %s", scheduling.Number(b.UpTo))
			} else if i > 0 && b.UpTo <= r.Bands[i-1].UpTo {
				f.Addf(at+".up_to_cm", "more than "+scheduling.Number(r.Bands[i-1].UpTo)+", the limit of the band before it", "is %s", scheduling.Number(b.UpTo))
			}
		}
		cents(f, at+".low_cents", b.Low, 0, MostCents)
		cents(f, at+".medium_cents", b.Medium, 0, MostCents)
		cents(f, at+".high_cents", b.High, 0, MostCents)
	}
}

// band finds the row of the price list for a length in cm.
func (r Rule) band(length float64) int {
	return slices.IndexFunc(r.Bands, func(b Band) bool { return b.UpTo == 0 || length <= b.UpTo })
}

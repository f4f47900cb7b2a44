package chairtime

import (
	"fmt"
	"strconv"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// Seen is what the salon knows of somebody's hair from before.
type Seen struct {
	// On is the day of the last measurement, Length the stretched length and
	// Regrowth the new hair in cm found then, 0 when it was not measured.
	On               date.Date
	Length, Regrowth float64
	// Straightened is the day of the last straightening here, nil when there was
	// none.
	Straightened *date.Date
	// Cut is what was cut since On in cm, nil when nobody has asked.
	Cut *float64
}

// Expected is hair as it should be on a day, with the count behind each figure.
// The figures are those of the counts: months, rates and centimetres are rounded
// as they are written, so that the sums add up for a reader.
type Expected struct {
	Length, Regrowth               float64 // cm
	LengthWorking, RegrowthWorking string
}

// Expect works out the hair of x on a day: what was measured, what has grown
// since and what was cut. Regrowth is what grew since the last straightening
// here, 0 when there was none; never more than the length.
//
// It returns an *InvalidError when the day is before the measurement or the
// straightening, or when more was cut than there is.
func Expect(x Seen, g scheduling.Growth, on date.Date, u Units) (Expected, error) {
	var out Expected
	if on.Before(x.On) {
		return out, tooEarly(on, "the last measurement", x.On)
	}
	if x.Straightened != nil && on.Before(*x.Straightened) {
		return out, tooEarly(on, "the last straightening", *x.Straightened)
	}
	since := grownSince(x.On, on, g, u)
	sum := u.tenthsOf(x.Length) + since.grown
	words := fmt.Sprintf("%s measured on %s + %s", u.said(u.tenthsOf(x.Length)), dayText(x.On), since.words)
	if x.Cut != nil {
		cut := u.tenthsOf(*x.Cut)
		if !(cut >= 0 && cut < sum) {
			return out, &scheduling.InvalidError{Field: "cut_cm", Problem: "is " + u.Length(*x.Cut),
				Want: "0 to less than the hair that there is, about " + u.said(roundTo(sum, 1))}
		}
		sum -= cut
		words += " − " + u.said(cut) + " cut"
	}
	sum = roundTo(sum, 1)
	out.Length, out.LengthWorking = u.OfLength(sum), words+" = "+u.said(sum)
	if x.Straightened == nil {
		out.RegrowthWorking = "not straightened here yet: all of the hair is treated"
		return out, nil
	}
	fresh, words := x.regrowth(g, on, u)
	if fresh > sum {
		fresh = sum
		words += ", which is all of the hair"
	}
	out.Regrowth, out.RegrowthWorking = u.OfLength(fresh), words
	return out, nil
}

func tooEarly(on date.Date, what string, d date.Date) error {
	return &scheduling.InvalidError{Field: "on", Problem: "is " + on.String() + ", before " + what, Want: d.String() + " or later"}
}

// regrowth is the new hair on a day in the salon's unit.
func (x Seen) regrowth(g scheduling.Growth, on date.Date, u Units) (float64, string) {
	if x.Regrowth > 0 && x.On.After(*x.Straightened) {
		since := grownSince(x.On, on, g, u)
		before := u.tenthsOf(x.Regrowth)
		fresh := roundTo(before+since.grown, 1)
		return fresh, fmt.Sprintf("%s measured on %s + %s = %s of new hair", u.said(before), dayText(x.On), since.words, u.said(fresh))
	}
	since := grownSince(*x.Straightened, on, g, u)
	return since.grown, "straightened on " + dayText(*x.Straightened) + ": " + since.words
}

// grown is new hair in the salon's unit and how it is counted.
type grown struct {
	grown float64
	words string
}

func grownSince(from, on date.Date, g scheduling.Growth, u Units) grown {
	months, rate := scheduling.Months(from, on), roundTo(u.InLength(g.Rate), 2)
	v := roundTo(months*rate, 1)
	return grown{v, fmt.Sprintf("%s months × %s = %s", scheduling.Number(months), u.said(rate), u.said(v))}
}

// tenthsOf is a length in the salon's unit as a tape measure gives it.
func (u Units) tenthsOf(cm float64) float64 { return roundTo(u.InLength(cm), 1) }

// said writes a figure that is in the salon's unit already.
func (u Units) said(v float64) string {
	return strconv.FormatFloat(v, 'f', -1, 64) + " " + u.LengthUnit()
}

// dayText writes a day for people.
func dayText(d date.Date) string { return d.Format("2 January 2006") }

package quoting

import (
	"fmt"
	"strings"

	"chairblock/scheduling"
)

// Density is how much hair there is.
type Density string

// Amounts of hair that a price list tells apart.
const (
	Low    Density = "low"
	Medium Density = "medium"
	High   Density = "high"
)

// Work is what a price is asked for.
type Work struct {
	Minutes int // booked, 1 to 1440
	Hands   int // pairs of hands; 0 is 1
	// Length and Density are those of the hair; Length is 0 where the service
	// takes the same time for everybody.
	Length  float64 // cm
	Density Density
	// SolutionML and NeutralizerML are whole ml that have to be mixed.
	SolutionML, NeutralizerML int
}

// Words says in which currency and unit of length a working is written.
type Words struct {
	Currency string // ISO 4217
	Inches   bool
}

// Price is what something costs, and why.
type Price struct {
	Cents   int64
	Working string
}

// Price works out w. By the minute it is rounded once, half up, when everything
// but a step to round up to has been added; the least price counts before that
// step.
//
// It returns Faults for a rule that contradicts itself, and for work without the
// hair that a price list asks about or beyond any visit.
func (r Rule) Price(w Work, words Words) (Price, error) {
	if err := r.Validate(); err != nil {
		return Price{}, err
	}
	if err := r.checkWork(w); err != nil {
		return Price{}, err
	}
	var p Price
	switch r.By {
	case ByBand:
		p = r.byBand(w, words)
	case ByMinute:
		p = r.byMinute(w, words)
	default:
		p = Price{r.Fixed, "fixed price " + Plain(r.Fixed, words.Currency)}
		p = r.withHelper(p, w, words)
	}
	if p.Cents > MostCents {
		return Price{}, &scheduling.InvalidError{Field: "price", Problem: "comes to " + Amount(p.Cents, words.Currency),
			Want: "at most " + Amount(MostCents, words.Currency)}
	}
	return p, nil
}

func (r Rule) checkWork(w Work) error {
	var f scheduling.Faults
	f.Count("minutes", w.Minutes, 1, mostMinutes)
	f.Count("solution_ml", w.SolutionML, 0, mostML)
	f.Count("neutralizer_ml", w.NeutralizerML, 0, mostML)
	if r.By == ByBand {
		f.Between("length_cm", w.Length, shortestHair, longestHair, "cm")
		if w.Density != Low && w.Density != Medium && w.Density != High {
			f.Addf("density", "low, medium or high", "is %q", string(w.Density))
		}
	}
	return f.Err()
}

// withHelper adds what a second pair of hands costs.
func (r Rule) withHelper(p Price, w Work, words Words) Price {
	if w.Hands < 2 || r.Helper == 0 {
		return p
	}
	p.Cents += r.Helper
	p.Working += fmt.Sprintf("; second pair of hands %s; together %s", Plain(r.Helper, words.Currency), Plain(p.Cents, words.Currency))
	return p
}

var amounts = map[Density]string{Low: "little hair", Medium: "an average amount of hair", High: "a lot of hair"}

func (r Rule) byBand(w Work, words Words) Price {
	i := r.band(w.Length)
	b := r.Bands[i]
	p := Price{Cents: map[Density]int64{Low: b.Low, Medium: b.Medium, High: b.High}[w.Density]}
	p.Working = fmt.Sprintf("%s, %s: %s = %s", length(w.Length, words), amounts[w.Density], r.bandWords(i, words), Plain(p.Cents, words.Currency))
	return r.withHelper(p, w, words)
}

func (r Rule) bandWords(i int, words Words) string {
	b := r.Bands[i]
	switch {
	case len(r.Bands) == 1:
		return "any length"
	case i == 0:
		return "up to " + length(b.UpTo, words)
	case b.UpTo == 0:
		return "longer than " + length(r.Bands[i-1].UpTo, words)
	}
	return "longer than " + length(r.Bands[i-1].UpTo, words) + ", up to " + length(b.UpTo, words)
}

// length writes a length with one decimal in inches, as it is in centimetres.
func length(cm float64, words Words) string {
	if words.Inches {
		return fmt.Sprintf("%.1f in", cm/2.54)
	}
	return scheduling.Number(cm) + " cm"
}

// byMinute adds up in hundredths of the minor unit, in which every part is whole.
func (r Rule) byMinute(w Work, words Words) Price {
	digits, _ := MinorDigits(words.Currency)
	exact := func(v int64) string { return decimal(v, digits+2, digits) }
	var sum int64
	var parts []string
	add := func(v int64, text string) {
		sum += v
		parts = append(parts, text)
	}
	time := int64(w.Minutes) * r.PerMinute * millilitresPer
	add(time, fmt.Sprintf("%d min × %s = %s", w.Minutes, Plain(r.PerMinute, words.Currency), exact(time)))
	for _, x := range []struct {
		name string
		ml   int
		per  int64
	}{{"solution", w.SolutionML, r.SolutionPer100ML}, {"neutralizer", w.NeutralizerML, r.NeutralizerPer100ML}} {
		if x.ml > 0 && x.per > 0 {
			v := int64(x.ml) * x.per
			add(v, fmt.Sprintf("%d ml %s × %s per 100 ml = %s", x.ml, x.name, Plain(x.per, words.Currency), exact(v)))
		}
	}
	if w.Hands > 1 && r.Helper > 0 {
		add(r.Helper*millilitresPer, "second pair of hands "+Plain(r.Helper, words.Currency))
	}
	p := Price{Cents: (sum + millilitresPer/2) / millilitresPer}
	if len(parts) > 1 {
		parts = append(parts, "together "+exact(sum))
	}
	p.Working = strings.Join(parts, "; ")
	if p.Cents*millilitresPer != sum {
		p.Working += ", rounded to " + Plain(p.Cents, words.Currency)
	}
	return r.raised(p, words)
}

// raised applies the least price and the step to round up to.
func (r Rule) raised(p Price, words Words) Price {
	if p.Cents < r.Least {
		p.Cents = r.Least
		p.Working += ", but at least " + Plain(p.Cents, words.Currency)
	}
	if r.RoundUpTo > 0 && p.Cents%r.RoundUpTo != 0 {
		p.Cents += r.RoundUpTo - p.Cents%r.RoundUpTo
		p.Working += ", rounded up to " + Plain(p.Cents, words.Currency)
	}
	return p
}

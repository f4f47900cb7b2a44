package chairtime

import "strings"

// WhyPhone counts out the figures of a, the answer to q by c.
func (c Settings) WhyPhone(q PhoneQuestions, a PhoneAnswer) []Reason {
	if len(q.History) == 0 {
		q.History = []History{HistoryNotSure}
	}
	band := reachBands[q.Reach]
	parts := []string{"any length from " + c.Units.Length(band[0]) + " to " + c.Units.Length(band[1])}
	parts = append(parts, mixed(c.densities(q.Ponytail), func(d Density) string {
		return map[Density]string{DensityLow: "little hair", DensityMedium: "average amount of hair", DensityHigh: "a lot of hair"}[d]
	}), "each hair "+mixed(c.strands(), func(s Strand) string { return string(s) }),
		mixed(c.porosities(q.History), func(s soundness) string {
			if s.damaged {
				return "porous and damaged"
			}
			return porosityWords(s.porosity)
		}))
	var t text
	t.say(strings.Join(parts, "; "), ": 2 of 10 such visits end within ")
	t.tenths(a.P20)
	t.say(" min, 8 of 10 within ")
	t.tenths(a.P80)
	t.say(" min")
	var keep text
	d := decimals(a.Keep/int(c.BlockStep), func(written func(float64) float64) float64 {
		return (written(a.P80) - written(c.PhoneGrace)) / c.BlockStep
	})
	keep.ofTo(d, a.P80, " min")
	if c.PhoneGrace > 0 {
		keep.say(" − ")
		keep.of(c.PhoneGrace, " min that are not worth more time while nobody has seen the hair")
	}
	keep.say(", rounded up to a multiple of ")
	keep.of(c.BlockStep, " min = ")
	keep.count(a.Keep)
	keep.say(" min")
	return []Reason{{"", "hair that she may have, by one stylist at once", string(t)}, {"keep_minutes", "to keep free", string(keep)}}
}

// mixed says which shares there are of what.
func mixed[T any](list []weighed[T], words func(T) string) string {
	if len(list) == 1 {
		return words(list[0].value)
	}
	var t text
	for i, x := range list {
		if i > 0 {
			t.say(", ")
		}
		t.of(100*x.weight, " % "+words(x.value))
	}
	return string(t)
}

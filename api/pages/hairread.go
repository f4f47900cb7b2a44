package pages

import (
	"net/url"
	"strconv"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// readHair reads what ReadHairDrawing takes, and the faults of fields that are
// no numbers.
func readHair(q url.Values) (HairDrawing, scheduling.Faults) {
	var f scheduling.Faults
	u := chairtime.Units{Inches: q.Get("inches") == "1"}
	number := func(name, field string) float64 {
		text := q.Get(name)
		if text == "" {
			return 0
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			f.Addf(field, "a number", "is %q", shortened(text))
		}
		return v
	}
	count := func(name, field string, otherwise int) int {
		text := q.Get(name)
		if text == "" {
			return otherwise
		}
		n, err := strconv.Atoi(text)
		if err != nil {
			f.Addf(field, "a whole number", "is %q", shortened(text))
		}
		return n
	}
	h := HairDrawing{
		LengthCM: u.OfLength(number("length", "length_cm")), RegrowthCM: u.OfLength(number("regrowth", "regrowth_cm")),
		Retouch: q.Get("retouch") == "1", Density: chairtime.Density(q.Get("density")),
		Sections: count("sections", "sections", 4), Panels: count("panels", "panels", 0), Inches: u.Inches,
	}
	return h, f
}

// shortened keeps what is quoted in a fault short.
func shortened(s string) string {
	if r := []rune(s); len(r) > 20 {
		return string(r[:20]) + "…"
	}
	return s
}

package scheduling

import "time"

// When solution is looked at, counted from the first strand: after ten
// minutes, then every five (judgement; the maker's directions come first).
const (
	firstLook = 10 * time.Minute
	nextLook  = 5 * time.Minute
)

// Looks lists the times inside from..to, both left out, at which the stylist
// looks at hair that carries solution since firstStrand.
func Looks(firstStrand, from, to time.Time) []time.Time {
	var out []time.Time
	for t := firstStrand.Add(firstLook); t.Before(to); t = t.Add(nextLook) {
		if t.After(from) {
			out = append(out, t)
		}
	}
	return out
}

package scheduling

import "time"

// When solution is looked at, counted from the first strand: after ten
// minutes, then every five (judgement; the maker's directions come first).
const (
	firstLook = 10 * time.Minute
	nextLook  = 5 * time.Minute
	tooClose  = 2 * time.Minute // a look just before the last check tells nothing new
)

// Looks lists the times after from and at least two minutes before to at which
// the stylist looks at hair that carries solution since firstStrand. The check
// at the end itself is not among them.
func Looks(firstStrand, from, to time.Time) []time.Time {
	var out []time.Time
	for t := firstStrand.Add(firstLook); !t.After(to.Add(-tooClose)); t = t.Add(nextLook) {
		if t.After(from) {
			out = append(out, t)
		}
	}
	return out
}

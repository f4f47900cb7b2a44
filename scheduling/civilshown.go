package scheduling

import (
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"
)

// Shown counts how often the clocks of loc show c on d: once on most days, never in
// a gap where they go forward, twice where they go back. Instant tells which instant
// is meant in each case.
func Shown(loc *time.Location, d date.Date, c clock.Clock) int {
	wall := d.UTC().Add(c.DurationSinceMidnight())
	before, after := offsetAt(loc, wall.Add(-civilReach)), offsetAt(loc, wall.Add(civilReach))
	n := 0
	for i, offset := range []time.Duration{before, after} {
		if t := wall.Add(-offset); (i == 0 || before != after) && wall.Add(-offsetAt(loc, t)).Equal(t) {
			n++
		}
	}
	return n
}

package api

import (
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"

	"chairblock/scheduling"
)

// atOnce is how near a visit has to be for what is said of it to go out in quiet
// hours, too: whoever wakes up to it may otherwise be on the way already
// (judgement).
const atOnce = 12 * time.Hour

// quietUntil is when the quiet hours end in which now lies, and false when now
// lies in none. They are clock times: on the night in which the clocks change they
// are an hour longer or shorter.
func (b MessageRules) quietUntil(now time.Time, loc *time.Location) (time.Time, bool) {
	var f scheduling.Faults
	from, to := clockOf(&f, "quiet_from", b.QuietFrom), clockOf(&f, "quiet_to", b.QuietTo)
	if len(f) > 0 || from == to {
		return time.Time{}, false
	}
	at := func(d date.Date, minutes int) time.Time {
		return scheduling.Instant(loc, d, clock.New(0, minutes, 0, 0))
	}
	today := scheduling.CivilDate(now, loc)
	// Hours that pass midnight began yesterday.
	for _, d := range []date.Date{today.Add(-1), today} {
		last := d
		if to < from {
			last = d.Add(1)
		}
		if begin, end := at(d, from), at(last, to); !now.Before(begin) && now.Before(end) {
			return end, true
		}
	}
	return time.Time{}, false
}

// wait is when a message of kind about a visit that starts at start and ends at
// end goes out instead of now, and false when it goes out now.
func (b MessageRules) wait(kind string, start, end, now time.Time, loc *time.Location) (time.Time, bool) {
	until, quiet := b.quietUntil(now, loc)
	if !quiet || isNear(kind, start, end, now) {
		return time.Time{}, false
	}
	return until, true
}

// isNear reports whether a message says something about the next hours, or what
// has to be heeded from now on.
func isNear(kind string, start, end, now time.Time) bool {
	switch kind {
	case "held", "confirmation", "moved", "cancelled", "running_late", "day_changed", "helper_away":
		return start.Sub(now) < atOnce
	case "aftercare": // how to sleep tonight
		return now.Sub(end) < atOnce
	case "client_late", "did_not_come", "check_due":
		return true
	}
	return false
}

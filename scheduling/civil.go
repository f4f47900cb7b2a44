package scheduling

import (
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"
)

// civilReach is how far from a wall time its zone's offset is read, before
// and after. Wall time taken as UTC is at most 14 hours off, and the longest
// gap on record is the 24 hours that Apia skipped, so that one change of
// clocks near the wall time lies between the two readings (derived).
const civilReach = 36 * time.Hour

// Instant returns the instant at which the clocks of loc show c on d. It is
// the only way from civil date and clock time to an instant.
//
// A time that occurs twice, because clocks go back, means the first of the
// two. A time that is skipped, because clocks go forward, is read with the
// offset in force before the gap: 02:30 in a gap from 02:00 to 03:00 is the
// instant shown as 03:30. Both are the rule of RFC 5545 section 3.3.5.
//
// c may lie outside the day; 24:00 is midnight of the next one. The result is
// exact to the millisecond and has the location loc.
func Instant(loc *time.Location, d date.Date, c clock.Clock) time.Time {
	wall := d.UTC().Add(c.DurationSinceMidnight())
	before := offsetAt(loc, wall.Add(-civilReach))
	after := offsetAt(loc, wall.Add(civilReach))
	first, second := wall.Add(-before), wall.Add(-after)
	if second.Before(first) {
		first, second = second, first
	}
	for _, t := range []time.Time{first, second} {
		if wall.Add(-offsetAt(loc, t)).Equal(t) {
			return t.In(loc)
		}
	}
	return wall.Add(-before).In(loc)
}

// DayBounds returns the instants at which d begins and ends in loc: its
// midnight and the next day's, or the moment after a gap that swallows
// midnight. The days of a zone follow each other without hole or overlap. A
// day that the zone skipped has from equal to to. Where clocks go back across
// midnight, the repeated piece of the evening belongs to the new day, which
// had already begun.
func DayBounds(loc *time.Location, d date.Date) (from, to time.Time) {
	return dayStart(loc, d), dayStart(loc, d.Add(1))
}

func dayStart(loc *time.Location, d date.Date) time.Time {
	t := Instant(loc, d, clock.Midnight)
	if clock.NewAt(t) == clock.Midnight && CivilDate(t, loc) == d {
		return t
	}
	// Midnight is skipped and t is read with the offset before the gap, so the
	// change lies at most the length of the gap before t.
	lo, hi := t.Add(-civilReach).Unix(), t.Unix()
	after := offsetAt(loc, t)
	for hi-lo > 1 {
		mid := lo + (hi-lo)/2
		if offsetAt(loc, time.Unix(mid, 0)) == after {
			hi = mid
		} else {
			lo = mid
		}
	}
	return time.Unix(hi, 0).In(loc)
}

// CivilDate returns the date that the calendars of loc show at t.
func CivilDate(t time.Time, loc *time.Location) date.Date {
	return date.NewAt(t.In(loc))
}

func offsetAt(loc *time.Location, t time.Time) time.Duration {
	_, seconds := t.In(loc).Zone()
	return time.Duration(seconds) * time.Second
}

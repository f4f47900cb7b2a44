package notify

import (
	"fmt"
	"strings"
	"time"
)

// clock writes instants as wall-clock times of one zone. The zone's name is
// added when the instants of the message do not share one UTC offset, and the
// offset itself where the same wall time comes twice that night.
type clock struct {
	zone   *time.Location
	hour24 bool
	named  bool // write the zone's name
}

// newClock returns the clock for a message that shows instants; zero ones do
// not count.
func newClock(zone *time.Location, hour24 bool, instants ...time.Time) clock {
	c := clock{zone: zone, hour24: hour24}
	first, seen := 0, false
	for _, t := range instants {
		if t.IsZero() {
			continue
		}
		offset := c.offset(t)
		if seen && offset != first {
			c.named = true
		}
		first, seen = offset, true
	}
	return c
}

// offset returns the UTC offset at t in seconds.
func (c clock) offset(t time.Time) int {
	_, offset := t.In(c.zone).Zone()
	return offset
}

// time writes the wall-clock time of t.
func (c clock) time(t time.Time) string {
	t = t.In(c.zone)
	s := c.wall(t)
	switch {
	case c.repeated(t):
		return s + " (" + t.Format("UTC-07:00") + ")"
	case c.named:
		return s + " " + zoneName(t)
	}
	return s
}

// wall writes hours and minutes. Twelve o'clock gets a word, since few people
// agree on what 12:00 pm is.
func (c clock) wall(t time.Time) string {
	if c.hour24 {
		return t.Format("15:04")
	}
	if t.Minute() == 0 && t.Hour()%12 == 0 {
		if t.Hour() == 0 {
			return "12:00 midnight"
		}
		return "12:00 noon"
	}
	return t.Format("3:04 pm")
}

// repeated tells whether another instant of the same night shows the same
// wall-clock time. It looks at the offsets a day before and a day after t
// rather than at the zone's list of changes, which Go cuts short for zone
// data of the slim kind.
func (c clock) repeated(t time.Time) bool {
	here := c.offset(t)
	for _, other := range []int{c.offset(t.Add(-26 * time.Hour)), c.offset(t.Add(26 * time.Hour))} {
		if other == here {
			continue
		}
		twin := t.Add(time.Duration(here-other) * time.Second)
		if c.offset(twin) == other {
			return true
		}
	}
	return false
}

// zoneName returns the abbreviation in use at t, or the offset for zones that
// have none.
func zoneName(t time.Time) string {
	name, _ := t.Zone()
	if strings.HasPrefix(name, "+") || strings.HasPrefix(name, "-") {
		return t.Format("UTC-07:00")
	}
	return name
}

// day writes weekday, day and month; dated adds the year; at adds the time.
func (c clock) day(t time.Time) string   { return t.In(c.zone).Format("Monday 2 January") }
func (c clock) dated(t time.Time) string { return t.In(c.zone).Format("Monday 2 January 2006") }
func (c clock) at(t time.Time) string    { return c.day(t) + ", " + c.time(t) }

// span writes start and end, the end's day only where it is another one.
func (c clock) span(start, end time.Time) string {
	to := c.time(end)
	if c.dated(start) != c.dated(end) {
		to = c.at(end)
	}
	return c.dated(start) + ", " + c.time(start) + " to about " + to
}

// change says in a sentence that clocks change between a and b, or nothing.
func (c clock) change(a, b time.Time) string {
	switch d := c.offset(b) - c.offset(a); {
	case d > 0:
		return "The clocks go forward in between; that is already counted in."
	case d < 0:
		return "The clocks go back in between; that is already counted in."
	}
	return ""
}

// long writes a length of time in hours and minutes, rounded up to minutes.
func long(d time.Duration) string {
	m := int((d + time.Minute - 1) / time.Minute)
	var parts []string
	if h := m / 60; h > 0 {
		parts = append(parts, counted(h, "hour"))
	}
	if m%60 > 0 || m == 0 {
		parts = append(parts, counted(m%60, "minute"))
	}
	return strings.Join(parts, " ")
}

// hours returns d in whole hours, to the nearest.
func hours(d time.Duration) string {
	return counted(int(d.Round(time.Hour)/time.Hour), "hour")
}

func counted(n int, unit string) string {
	if n == 1 {
		return "1 " + unit
	}
	return fmt.Sprintf("%d %ss", n, unit)
}

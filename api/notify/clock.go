package notify

import (
	"strings"
	"time"

	"github.com/rickb777/date"
)

// clock writes instants as wall-clock times of one zone in one language. The
// zone's name is added when the instants of the message do not share one UTC
// offset, and the offset itself where the same wall time comes twice that
// night.
type clock struct {
	w      *Words
	zone   *time.Location
	hour24 bool
	named  bool      // write the zone's name
	sent   time.Time // zero when not known
}

// newClock returns the clock for a message that shows instants; zero ones do
// not count.
func newClock(w *Words, f Facts, instants ...time.Time) clock {
	c := clock{w: w, zone: f.Zone, hour24: f.Hour24, sent: f.Sent}
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
	switch {
	case c.repeated(t):
		return c.w.form(formOffset, values{"time": {text: c.wall(t)}, "zone": {text: t.Format("UTC-07:00")}})
	case c.named:
		return c.w.form(formZone, values{"time": {text: c.wall(t)}, "zone": {text: zoneName(t)}})
	}
	return c.wall(t)
}

// wall writes hours and minutes. Twelve o'clock gets a word, since few people
// agree on what 12:00 pm is.
func (c clock) wall(t time.Time) string {
	h, m := t.Hour(), t.Minute()
	v := values{"minute": {text: c.w.number(m, 2)}}
	if c.hour24 {
		v["hour"], v["hour2"] = value{text: c.w.number(h, 1)}, value{text: c.w.number(h, 2)}
		return c.w.form(formClock24, v)
	}
	half := formAM
	if h >= 12 {
		half = formPM
	}
	if m == 0 && h%12 == 0 {
		if h == 0 {
			return c.w.form(formMidnight, nil)
		}
		return c.w.form(formNoon, nil)
	}
	v["hour"], v["half"] = value{text: c.w.number((h+11)%12+1, 1)}, value{text: c.w.form(half, nil)}
	return c.w.form(formClock12, v)
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

// farAway is from when on a day gets its year: half a year on, nobody takes
// a weekday and a day for this or for next year's (judgement).
const farAway = 183 * 24 * time.Hour

// far tells whether t gets its year.
func (c clock) far(t time.Time) bool {
	return !c.sent.IsZero() && t.Sub(c.sent).Abs() > farAway
}

// day writes weekday, day and month, and the year of a far day.
func (c clock) day(t time.Time) string {
	t = t.In(c.zone)
	return c.w.date(date.New(t.Year(), t.Month(), t.Day()), c.far(t))
}

// at writes day and time.
func (c clock) at(t time.Time) string {
	return c.w.form(formDayTime, values{"day": {text: c.day(t)}, "time": {text: c.time(t)}})
}

// atOther writes t beside other: the day only where it is another one.
func (c clock) atOther(t, other time.Time) string {
	if c.day(t) == c.day(other) {
		return c.time(t)
	}
	return c.at(t)
}

// span writes start and end, the end's day only where it is another one. The
// year is there unless the day is known to be near.
func (c clock) span(start, end time.Time) string {
	s := start.In(c.zone)
	first := date.New(s.Year(), s.Month(), s.Day())
	return c.w.form(formSpan, values{
		"day": {text: c.w.date(first, c.sent.IsZero() || c.far(start))}, "from": {text: c.time(start)}, "to": {text: c.atOther(end, start)},
	})
}

// civil writes a day of the calendar, with its year unless it is known to be
// near.
func (c clock) civil(d date.Date) string {
	t := time.Date(d.Year(), d.Month(), d.Day(), 12, 0, 0, 0, c.zone)
	return c.w.date(d, c.sent.IsZero() || c.far(t))
}

// daysOn counts the midnights between the message and t; known is false when
// nobody said when the message goes out.
func (c clock) daysOn(t time.Time) (days int, known bool) {
	if c.sent.IsZero() || t.IsZero() {
		return 0, false
	}
	s, e := c.sent.In(c.zone), t.In(c.zone)
	return int(date.New(e.Year(), e.Month(), e.Day()).Sub(date.New(s.Year(), s.Month(), s.Day()))), true
}

// change says in a sentence that clocks change between a and b, or nothing.
func (c clock) change(a, b time.Time) string {
	switch d := c.offset(b) - c.offset(a); {
	case d > 0:
		return c.w.form(formForward, nil)
	case d < 0:
		return c.w.form(formBack, nil)
	}
	return ""
}

// long writes a length of time in hours and minutes, rounded up to minutes.
func (w *Words) long(d time.Duration) string {
	m := int((d + time.Minute - 1) / time.Minute)
	switch h := m / 60; {
	case h == 0:
		return w.counted(minuteUnit, m)
	case m%60 == 0:
		return w.counted(hourUnit, h)
	default:
		return w.form(formHoursMinutes, values{"hours": {text: w.counted(hourUnit, h)}, "minutes": {text: w.counted(minuteUnit, m%60)}})
	}
}

// hours returns d in whole hours, to the nearest.
func (w *Words) hours(d time.Duration) string {
	return w.counted(hourUnit, int(d.Round(time.Hour)/time.Hour))
}

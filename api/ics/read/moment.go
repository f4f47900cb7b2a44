package read

import (
	"strings"
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"

	"chairblock/scheduling"
)

const day = 24 * 60 * 60 // seconds, as clocks show them

// wall is what a calendar and a clock on the wall show, as seconds since
// 1 January 1970 00:00. It is the domain in which series repeat.
type wall int64

// days is the number of days since 1 January 1970.
func (w wall) days() int64 { return floor(int64(w), day) }

// floor divides rounding down.
func floor(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// in returns the instant at which the clocks of loc show w, by the rule of
// scheduling.Instant for times that are skipped or occur twice.
func (w wall) in(loc *time.Location) time.Time {
	if loc == time.UTC {
		return time.Unix(int64(w), 0).UTC()
	}
	d := w.days()
	seconds := int64(w) - d*day
	return scheduling.Instant(loc, civil(d), clock.Clock(seconds*1000))
}

func civil(days int64) date.Date { return date.NewOfDays(date.PeriodOfDays(days)) }

// wallAt is what the clocks of loc show at t.
func wallAt(t time.Time, loc *time.Location) wall {
	_, offset := t.In(loc).Zone()
	return wall(t.Unix() + int64(offset))
}

// form says how a date or time was written.
type form int

const (
	absent   form = iota
	dateOnly      // a DATE
	floating      // a DATE-TIME without a zone
	zoned         // a DATE-TIME with a zone or in UTC
)

// moment is one DATE or DATE-TIME value as written (RFC 5545 sections 3.3.4
// and 3.3.5). The zero value is none.
type moment struct {
	form form
	wall wall           // midnight of a date
	loc  *time.Location // of a zoned one
}

// instant is when the moment is. Zone is that of dates and floating times.
func (m moment) instant(zone *time.Location) time.Time {
	switch m.form { //nolint:exhaustive // the others need nothing here
	case dateOnly:
		return dayStart(m.wall.days(), zone)
	case floating:
		return m.wall.in(zone)
	}
	return m.wall.in(m.loc)
}

// dayStart is when a day of zone begins, which is not always midnight.
func dayStart(days int64, zone *time.Location) time.Time {
	from, _ := scheduling.DayBounds(zone, civil(days))
	return from
}

// parseMoment reads one value. Loc is the zone of a time that does not end in
// Z, nil when it has none. Beside the forms of the standard it takes those with
// hyphens and colons, without seconds, and with an offset from UTC.
func parseMoment(s string, loc *time.Location) (moment, bool) {
	s = strings.ToUpper(strings.TrimSpace(s))
	datePart, timePart, timed := strings.Cut(s, "T")
	if !timed {
		datePart, timePart, timed = strings.Cut(s, " ")
	}
	year, month, dayOfMonth, ok := parseDate(datePart)
	if !ok {
		return moment{}, false
	}
	m := moment{form: dateOnly, wall: wall(time.Date(year, time.Month(month), dayOfMonth, 0, 0, 0, 0, time.UTC).Unix())}
	if !timed {
		return m, true
	}
	m.form, m.loc = floating, loc
	if loc != nil {
		m.form = zoned
	}
	seconds, offset, absolute, ok := parseTime(timePart)
	if !ok {
		return moment{}, false
	}
	m.wall += wall(seconds)
	if absolute {
		m.form, m.loc = zoned, time.UTC
		m.wall -= wall(offset)
	}
	return m, true
}

func parseDate(s string) (year, month, dayOfMonth int, ok bool) {
	if len(s) == 10 && s[4] == '-' && s[7] == '-' {
		s = s[:4] + s[5:7] + s[8:]
	}
	if len(s) != 8 {
		return 0, 0, 0, false
	}
	year, okY := number(s[:4], 0, 9999)
	month, okM := number(s[4:6], 1, 12)
	dayOfMonth, okD := number(s[6:], 1, 31)
	if !okY || !okM || !okD || dayOfMonth > monthLength(year, month) {
		return 0, 0, 0, false
	}
	return year, month, dayOfMonth, true
}

// parseTime reads a time of day, and its offset from UTC in seconds when it
// has one or ends in Z. A leap second is the second before it, and 24:00 is
// the next midnight.
func parseTime(s string) (seconds, offset int, absolute, ok bool) {
	if i := strings.IndexAny(s, "Z+-"); i >= 0 {
		absolute = true
		if zone := s[i:]; zone != "Z" {
			if offset, ok = parseOffset(strings.ReplaceAll(zone, ":", "")); !ok {
				return 0, 0, false, false
			}
		}
		s = s[:i]
	}
	s, _, _ = strings.Cut(s, ".")
	if len(s) == 5 || len(s) == 8 {
		s = strings.ReplaceAll(s, ":", "")
	}
	if len(s) == 4 {
		s += "00"
	}
	if len(s) != 6 {
		return 0, 0, false, false
	}
	h, okH := number(s[:2], 0, 24)
	m, okM := number(s[2:4], 0, 59)
	sec, okS := number(s[4:], 0, 60)
	seconds = h*3600 + m*60 + min(sec, 59)
	return seconds, offset, absolute, okH && okM && okS && seconds <= day
}

// parseOffset reads a UTC offset (RFC 5545 section 3.3.14) of less than a day,
// in seconds east.
func parseOffset(s string) (int, bool) {
	if len(s) != 5 && len(s) != 7 && len(s) != 3 || s[0] != '+' && s[0] != '-' {
		return 0, false
	}
	digits := s[1:] + "0000"[:7-len(s)]
	h, okH := number(digits[:2], 0, 23)
	m, okM := number(digits[2:4], 0, 59)
	sec, okS := number(digits[4:6], 0, 59)
	seconds := h*3600 + m*60 + sec
	if s[0] == '-' {
		seconds = -seconds
	}
	return seconds, okH && okM && okS
}

// number reads digits, at most nine of them, as a number from lo to hi.
func number(s string, lo, hi int) (int, bool) {
	if s == "" || len(s) > 9 {
		return 0, false
	}
	n := 0
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return 0, false
		}
		n = n*10 + int(s[i]-'0')
	}
	return n, lo <= n && n <= hi
}

func monthLength(year, month int) int {
	switch {
	case month == 2 && leap(year):
		return 29
	case month == 2:
		return 28
	case month == 4 || month == 6 || month == 9 || month == 11:
		return 30
	}
	return 31
}

func leap(year int) bool { return year%4 == 0 && (year%100 != 0 || year%400 == 0) }

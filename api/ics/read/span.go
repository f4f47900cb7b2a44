package read

import (
	"strings"
	"time"
)

// longest is the most that a span may last, in days. A span of 100 years is a
// fault or a joke (judgement).
const longest = 36_525

// span is how long an event lasts: whole days of the calendar, which are 23 to
// 25 hours when clocks change, and then exact seconds (RFC 5545 section 3.3.6).
type span struct {
	days    int64
	seconds int64
}

// end is when a span ends that begins at start, which clocks of loc show as w.
func (s span) end(start time.Time, w wall, loc *time.Location) time.Time {
	if s.days != 0 {
		start = (w + wall(s.days*day)).in(loc)
	}
	return start.Add(time.Duration(s.seconds) * time.Second)
}

// reach is a number of seconds that no such span exceeds.
func (s span) reach() int64 { return (s.days+1)*day + s.seconds }

// parseSpan reads a duration (RFC 5545 section 3.3.6), weeks beside other units
// and missing units between two others too. It reports false for one that is
// no duration, is negative, or lasts more than 100 years.
func parseSpan(s string) (span, bool) {
	s = strings.ToUpper(strings.TrimSpace(s))
	s, ok := strings.CutPrefix(strings.TrimPrefix(s, "+"), "P")
	if !ok || s == "" || s == "T" {
		return span{}, false
	}
	var out span
	units, timed := "WD", false
	for s != "" {
		if s[0] == 'T' && !timed {
			units, timed, s = "HMS", true, s[1:]
			continue
		}
		i := strings.IndexAny(s, units)
		if i < 0 {
			return span{}, false
		}
		n, ok := number(s[:i], 0, 999_999_999)
		if !ok {
			return span{}, false
		}
		switch s[i] {
		case 'W':
			out.days += 7 * int64(n)
		case 'D':
			out.days += int64(n)
		case 'H':
			out.seconds += 3600 * int64(n)
		case 'M':
			out.seconds += 60 * int64(n)
		case 'S':
			out.seconds += int64(n)
		}
		units = units[strings.IndexByte(units, s[i])+1:]
		s = s[i+1:]
	}
	return out, out.days <= longest && out.seconds <= longest*day
}

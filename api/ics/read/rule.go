package read

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// frequency is the length of a rule's period.
type frequency int

const (
	minutely frequency = iota
	hourly
	daily
	weekly
	monthly
	yearly
)

// SECONDLY is left out on purpose: nobody is busy by the second.
var frequencies = map[string]frequency{"MINUTELY": minutely, "HOURLY": hourly, "DAILY": daily, "WEEKLY": weekly, "MONTHLY": monthly, "YEARLY": yearly}

var weekdays = map[string]time.Weekday{"SU": time.Sunday, "MO": time.Monday, "TU": time.Tuesday, "WE": time.Wednesday, "TH": time.Thursday, "FR": time.Friday, "SA": time.Saturday}

// mostInterval is the greatest interval that is told from a greater one (judgement): ten
// million minutes are 19 years (derived). It keeps sums far from their limits.
const mostInterval = 10_000_000

// rule is one recurrence rule (RFC 5545 section 3.3.10). Lists are bit sets, so
// that a list of ten thousand days costs what one day costs.
type rule struct {
	freq      frequency
	interval  int64
	count     int // 0 when it does not count
	until     moment
	weekStart time.Weekday

	given     part         // which lists there are
	months    uint64       // bits 1 to 12
	weeks     counted      // of the year
	yearDays  [2][6]uint64 // from the first and from the last of the year, 1 to 366
	monthDays counted      // of the month
	weekdays  [7]counted   // of the month or year; bit 0 of front: every one
	hours     uint64       // bits 0 to 23
	minutes   uint64       // bits 0 to 59
	seconds   uint64       // bits 0 to 59
	positions []int        // ascending, never 0
}

// counted is a set of numbers counted from the front and from the back, 1 to 63.
type counted struct{ front, back uint64 }

// part is one of a rule's lists, or a set of them.
type part int

const (
	byMonth part = 1 << iota
	byWeek
	byYearDay
	byMonthDay
	byDay
	byHour
	byMinute
	bySecond
	byPosition
)

var lists = map[string]part{"BYMONTH": byMonth, "BYWEEKNO": byWeek, "BYYEARDAY": byYearDay, "BYMONTHDAY": byMonthDay, "BYDAY": byDay,
	"BYHOUR": byHour, "BYMINUTE": byMinute, "BYSECOND": bySecond, "BYSETPOS": byPosition}

func (r *rule) has(any part) bool { return r.given&any != 0 }

// parseRule reads a rule. Wrong is a clause on why it cannot be followed, or
// empty; doubts are clauses on what in it is against the standard but clear.
func parseRule(s string) (r *rule, wrong string, doubts []string) {
	r = &rule{freq: -1, interval: 1, weekStart: time.Monday}
	s = strings.ToUpper(strings.TrimSpace(s))
	seen := map[string]bool{}
	for _, field := range strings.Split(s, ";") {
		field = strings.TrimSpace(field)
		if field == "" {
			continue
		}
		name, value, _ := strings.Cut(field, "=")
		name, value = strings.TrimSpace(name), strings.TrimSpace(value)
		if seen[name] {
			return nil, "says " + short(name, 20) + " twice", nil
		}
		seen[name] = true
		wrong, doubt := r.set(name, value)
		if wrong != "" {
			return nil, wrong, nil
		}
		if doubt != "" {
			doubts = append(doubts, doubt)
		}
	}
	if r.freq < 0 {
		return nil, "says no frequency", nil
	}
	if r.count > 0 && r.until.form != absent {
		doubts = append(doubts, "has both COUNT and UNTIL; the earlier end counts")
	}
	return r, "", slices.Concat(doubts, r.misplaced(), r.settle())
}

// set takes one part of a rule over. Parts that nobody knows are passed over
// with a doubt, since what is known of the rule is still the best guess.
func (r *rule) set(name, value string) (wrong, doubt string) {
	ok := true
	switch name {
	case "FREQ":
		if r.freq, ok = frequencies[value]; !ok {
			return "repeats by a frequency that is not followed: " + strconv.Quote(short(value, 20)), ""
		}
	case "INTERVAL":
		var n int
		n, ok = number(strings.TrimPrefix(value, "+"), 1, 999_999_999)
		r.interval = int64(min(n, mostInterval))
	case "COUNT":
		r.count, ok = number(value, 1, 999_999_999)
	case "UNTIL":
		r.until, ok = parseMoment(value, nil)
	case "WKST":
		r.weekStart, ok = weekdays[value]
	case "RSCALE":
		ok = value == "GREGORIAN"
	case "SKIP":
		ok = value == "OMIT"
	default:
		if p := lists[name]; p != 0 {
			r.given |= p
			ok = r.list(p, value)
		} else if !strings.HasPrefix(name, "X-") {
			return "", "has the unknown part " + strconv.Quote(short(name, 20)) + ", which is passed over"
		}
	}
	if !ok {
		return "has a part that is not understood: " + strconv.Quote(short(name+"="+value, 40)), ""
	}
	return "", ""
}

// list takes one list over. It reports false when an entry is out of range.
func (r *rule) list(p part, value string) bool {
	for _, entry := range strings.Split(value, ",") {
		entry = strings.TrimSpace(entry)
		if !r.entry(p, entry) {
			return false
		}
	}
	slices.Sort(r.positions)
	r.positions = slices.Compact(r.positions)
	return true
}

func (r *rule) entry(p part, entry string) bool {
	if p == byDay {
		n := len(entry) - 2
		if n < 0 {
			return false
		}
		weekday, ok := weekdays[entry[n:]]
		if n == 0 {
			r.weekdays[weekday].front |= 1
			return ok
		}
		nth, okN := signed(entry[:n], 53)
		r.weekdays[weekday].add(nth)
		return ok && okN && nth != 0
	}
	switch p { //nolint:exhaustive // the others need nothing here
	case byHour, byMinute, bySecond:
		return r.clock(p, entry)
	case byMonth:
		n, ok := number(entry, 1, 12)
		r.months |= 1 << n
		return ok
	}
	most := 366
	switch p { //nolint:exhaustive // the others need nothing here
	case byWeek:
		most = 53
	case byMonthDay:
		most = 31
	}
	n, ok := signed(entry, most)
	if !ok || n == 0 {
		return false
	}
	switch p { //nolint:exhaustive // the others need nothing here
	case byWeek:
		r.weeks.add(n)
	case byMonthDay:
		r.monthDays.add(n)
	case byYearDay:
		side := 0
		if n < 0 {
			side, n = 1, -n
		}
		r.yearDays[side][n/64] |= 1 << (n % 64)
	case byPosition:
		r.positions = append(r.positions, n)
	}
	return true
}

// clock takes one entry of the lists of the time of day over. Second 60 is the
// second before it, since no clock here shows leap seconds.
func (r *rule) clock(p part, entry string) bool {
	set, most := &r.hours, 23
	switch p { //nolint:exhaustive // the others need nothing here
	case byMinute:
		set, most = &r.minutes, 59
	case bySecond:
		set, most = &r.seconds, 60
	}
	n, ok := number(entry, 0, most)
	*set |= 1 << min(n, 59)
	return ok
}

func (c *counted) add(n int) {
	if n < 0 {
		c.back |= 1 << -n
	} else {
		c.front |= 1 << n
	}
}

// signed reads a number from -most to most.
func signed(s string, most int) (int, bool) {
	if rest, negative := strings.CutPrefix(s, "-"); negative {
		n, ok := number(rest, 0, most)
		return -n, ok
	}
	return number(strings.TrimPrefix(s, "+"), 0, most)
}

// misplaced says which parts the standard does not allow with the frequency
// (RFC 5545 section 3.3.10, table of expanding and limiting parts). They limit
// all the same, as in most calendars.
func (r *rule) misplaced() (doubts []string) {
	if r.has(byWeek) && r.freq != yearly {
		doubts = append(doubts, "has BYWEEKNO although it is not yearly; it limits all the same")
	}
	if r.has(byMonthDay) && r.freq == weekly {
		doubts = append(doubts, "has BYMONTHDAY although it is weekly; it limits all the same")
	}
	if r.has(byYearDay) && daily <= r.freq && r.freq <= monthly {
		doubts = append(doubts, "has BYYEARDAY although it repeats by days, weeks or months; it limits all the same")
	}
	return doubts
}

// settle makes the rule whole and tells what it passes over.
func (r *rule) settle() (doubts []string) {
	if r.freq == monthly || r.freq == yearly && !r.has(byWeek) {
		return nil
	}
	for i := range r.weekdays {
		w := &r.weekdays[i]
		if (w.front|w.back)&^1 != 0 {
			*w = counted{front: 1}
			doubts = []string{fmt.Sprintf("counts weekdays as in %q, which only monthly and yearly rules can; every such weekday counts", "2MO")}
		}
	}
	return doubts
}

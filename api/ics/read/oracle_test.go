package read

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// plainRule is a rule as its parts, for an expansion that is slow and obvious:
// it looks at every day and minute of two years and asks every part of RFC 5545
// section 3.3.10 whether it lets it through.
type plainRule struct {
	freq                                                       string
	interval, count                                            int
	until                                                      time.Time // zero when there is none
	weekStart                                                  time.Weekday
	months, weeks, yearDays, monthDays, hours, minutes, setPos []int
	weekdays                                                   []plainDay
}

type plainDay struct {
	n       int // 0: every one
	weekday time.Weekday
}

var dayNames = []string{"SU", "MO", "TU", "WE", "TH", "FR", "SA"}

func (p plainRule) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "FREQ=%s;INTERVAL=%d;WKST=%s", p.freq, p.interval, dayNames[p.weekStart])
	list := func(name string, numbers []int) {
		if len(numbers) > 0 {
			fmt.Fprintf(&b, ";%s=%s", name, strings.ReplaceAll(strings.Trim(fmt.Sprint(numbers), "[]"), " ", ","))
		}
	}
	list("BYMONTH", p.months)
	list("BYWEEKNO", p.weeks)
	list("BYYEARDAY", p.yearDays)
	list("BYMONTHDAY", p.monthDays)
	list("BYHOUR", p.hours)
	list("BYMINUTE", p.minutes)
	list("BYSETPOS", p.setPos)
	for i, d := range p.weekdays {
		b.WriteString([]string{";BYDAY=", ","}[min(i, 1)])
		if d.n != 0 {
			fmt.Fprint(&b, d.n)
		}
		b.WriteString(dayNames[d.weekday])
	}
	if p.count > 0 {
		fmt.Fprintf(&b, ";COUNT=%d", p.count)
	}
	if !p.until.IsZero() {
		b.WriteString(";UNTIL=" + p.until.Format(wallForm))
	}
	return b.String()
}

// pick returns up to n different numbers from lo to hi, some of them negative
// when the list may be counted from the back.
func pick(r *rand.Rand, n, lo, hi int, back bool) []int {
	var list []int
	for range 1 + r.IntN(n) {
		v := lo + r.IntN(hi-lo+1)
		if back && r.IntN(3) == 0 {
			v = -v
		}
		if !slices.Contains(list, v) {
			list = append(list, v)
		}
	}
	return list
}

// randomRule makes a rule that the standard allows.
func randomRule(r *rand.Rand, start time.Time) plainRule {
	p := plainRule{freq: []string{"MINUTELY", "HOURLY", "DAILY", "WEEKLY", "WEEKLY", "MONTHLY", "MONTHLY", "MONTHLY", "YEARLY", "YEARLY", "YEARLY", "YEARLY"}[r.IntN(12)], weekStart: time.Weekday(r.IntN(7))}
	p.interval = 1 + r.IntN([]int{1, 4, 30}[r.IntN(3)])
	maybe := func(odds int) bool { return r.IntN(odds) == 0 }
	if maybe(3) {
		p.months = pick(r, 4, 1, 12, false)
	}
	if p.freq == "YEARLY" && maybe(4) {
		p.weeks = pick(r, 3, 1, 53, true)
	}
	if (p.freq == "YEARLY" || p.freq == "HOURLY" || p.freq == "MINUTELY") && maybe(5) {
		p.yearDays = pick(r, 5, 1, 366, true)
	}
	if p.freq != "WEEKLY" && maybe(4) {
		p.monthDays = pick(r, 5, 1, 31, true)
	}
	if maybe(2) {
		nth := (p.freq == "MONTHLY" || p.freq == "YEARLY" && len(p.weeks) == 0) && maybe(2)
		for range 1 + r.IntN(3) {
			d := plainDay{weekday: time.Weekday(r.IntN(7))}
			if nth && maybe(2) {
				most := 5
				if p.freq == "YEARLY" && len(p.months) == 0 {
					most = 53
				}
				d.n = pick(r, 1, 1, most, true)[0]
			}
			p.weekdays = append(p.weekdays, d)
		}
	}
	if maybe(4) {
		p.hours = pick(r, 3, 0, 23, false)
	}
	if maybe(4) {
		p.minutes = pick(r, 3, 0, 59, false)
	}
	if maybe(4) {
		p.setPos = pick(r, 3, 1, []int{2, 10}[r.IntN(2)], true)
	}
	switch r.IntN(4) {
	case 0:
		p.count = 1 + r.IntN(60)
	case 1:
		p.until = start.Add(time.Duration(r.IntN(600*24)) * time.Hour)
	}
	return p
}

// letsDay reports whether every given list of days, and what is taken from the
// start in place of all of them, lets t's day through.
func (p plainRule) letsDay(t, start time.Time) bool {
	in := func(list []int, front, back int) bool {
		return len(list) == 0 || slices.Contains(list, front) || slices.Contains(list, -back)
	}
	yearLen := time.Date(t.Year(), 12, 31, 0, 0, 0, 0, time.UTC).YearDay()
	monthLen := time.Date(t.Year(), t.Month()+1, 0, 0, 0, 0, 0, time.UTC).Day()
	if !in(p.months, int(t.Month()), -99) || !in(p.yearDays, t.YearDay(), yearLen-t.YearDay()+1) || !in(p.monthDays, t.Day(), monthLen-t.Day()+1) {
		return false
	}
	if len(p.weeks) > 0 {
		if week, weeks := p.week(t); !in(p.weeks, week, weeks-week+1) {
			return false
		}
	}
	at, length := t.Day(), monthLen
	if p.freq == "YEARLY" && len(p.months) == 0 {
		at, length = t.YearDay(), yearLen
	}
	ok := len(p.weekdays) == 0
	for _, d := range p.weekdays {
		ok = ok || d.weekday == t.Weekday() && (d.n == 0 || d.n == (at-1)/7+1 || -d.n == (length-at)/7+1)
	}
	switch {
	case !ok || len(p.weekdays)+len(p.monthDays)+len(p.yearDays) > 0:
		return ok
	case p.freq == "WEEKLY" || len(p.weeks) > 0:
		return t.Weekday() == start.Weekday()
	case p.freq == "MONTHLY":
		return t.Day() == start.Day()
	case p.freq == "YEARLY":
		return t.Day() == start.Day() && (len(p.months) > 0 || t.Month() == start.Month())
	}
	return true
}

// letsTime does the same for the time of day.
func (p plainRule) letsTime(t, start time.Time) bool {
	hour := p.freq == "MINUTELY" || p.freq == "HOURLY" || t.Hour() == start.Hour()
	if len(p.hours) > 0 {
		hour = slices.Contains(p.hours, t.Hour())
	}
	minute := p.freq == "MINUTELY" || t.Minute() == start.Minute()
	if len(p.minutes) > 0 {
		minute = slices.Contains(p.minutes, t.Minute())
	}
	return hour && minute
}

// week is the number of t's week and how many its year has: the weeks of a year
// are those with their fourth day in it.
func (p plainRule) week(t time.Time) (int, int) {
	fourth := t
	for fourth.Weekday() != (p.weekStart+3)%7 {
		// the fourth day of the week that holds t
		if (fourth.Weekday()-p.weekStart+7)%7 < 3 {
			fourth = fourth.AddDate(0, 0, 1)
		} else {
			fourth = fourth.AddDate(0, 0, -1)
		}
	}
	n, weeks := 0, 0
	for d := time.Date(fourth.Year(), 1, 1, 0, 0, 0, 0, time.UTC); d.Year() == fourth.Year(); d = d.AddDate(0, 0, 1) {
		if d.Weekday() == (p.weekStart+3)%7 {
			weeks++
			if !d.After(fourth) {
				n++
			}
		}
	}
	return n, weeks
}

// period numbers the period of t, counted from that of the start.
func (p plainRule) period(t, start time.Time) int {
	weekOf := func(t time.Time) int {
		return int(floor(t.Unix()/day-int64((t.Weekday()-p.weekStart+7)%7)+3, 7)) // 1 January 1970 was a Thursday
	}
	switch p.freq {
	case "MINUTELY":
		return int(t.Truncate(time.Minute).Sub(start.Truncate(time.Minute)).Minutes())
	case "HOURLY":
		return int(t.Truncate(time.Hour).Sub(start.Truncate(time.Hour)).Hours())
	case "DAILY":
		return int(t.Unix()/day - start.Unix()/day)
	case "WEEKLY":
		return weekOf(t) - weekOf(start)
	case "MONTHLY":
		return (t.Year()-start.Year())*12 + int(t.Month()) - int(start.Month())
	}
	return t.Year() - start.Year()
}

// slow expands the rule from its start to an end.
func (p plainRule) slow(start, end time.Time) []time.Time {
	begin := start.AddDate(0, 0, -start.YearDay()-7) // periods begin before the start
	var set, all []time.Time
	last := 0
	flush := func() {
		for i, t := range set {
			if len(p.setPos) == 0 || slices.Contains(p.setPos, i+1) || slices.Contains(p.setPos, i-len(set)) {
				all = append(all, t)
			}
		}
		set = nil
	}
	begin = begin.Truncate(24 * time.Hour)
	for d := begin; d.Before(end.AddDate(1, 0, 0)); d = d.AddDate(0, 0, 1) {
		if !p.letsDay(d, start) {
			continue
		}
		for m := range 24 * 60 {
			t := d.Add(time.Duration(m)*time.Minute + time.Duration(start.Second())*time.Second)
			if !p.letsTime(t, start) {
				continue
			}
			n := p.period(t, start)
			if n < 0 || n%p.interval != 0 {
				continue
			}
			if n != last {
				flush()
				last = n
			}
			set = append(set, t)
		}
	}
	flush()
	out := []time.Time{start}
	for _, t := range all {
		if t.After(start) && t.Before(end) && (p.until.IsZero() || !t.After(p.until)) && (p.count == 0 || len(out) < p.count) {
			out = append(out, t)
		}
	}
	return out
}

func TestWeeksAreNumberedAsISO8601AndTheSlowCountSay(t *testing.T) {
	for d := dayOf(0); d.year < 2060; d = d.next() {
		at := time.Unix(d.days*day, 0).UTC()
		require.Equal(t, dayOf(d.days), d)
		year, want := at.ISOWeek()
		front, back := d.week(time.Monday)
		last := time.Date(year, 12, 28, 0, 0, 0, 0, time.UTC) // is always in the last week
		_, weeks := last.ISOWeek()
		if front != want || back != weeks-want+1 {
			t.Fatalf("%s is in week %d, -%d; want %d of %d", at.Format(time.DateOnly), front, back, want, weeks)
		}
		if d.month == 1 && d.monthDay < 9 || d.month == 12 && d.monthDay > 22 {
			start := time.Weekday(d.days / 3 % 7)
			n, weeks := plainRule{weekStart: start}.week(at)
			if front, back := d.week(start); front != n || back != weeks-n+1 {
				t.Fatalf("%s is in week %d, -%d from %s on; want %d of %d", at.Format(time.DateOnly), front, back, start, n, weeks)
			}
		}
	}
}

func TestRandomRulesRepeatAsTheSlowExpansionSays(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	rules, instances := 0, 0
	for range 300 {
		start := time.Date(2023+r.IntN(3), time.January, 1+r.IntN(366), r.IntN(24), r.IntN(60), []int{0, 7}[r.IntN(2)], 0, time.UTC)
		p := randomRule(r, start)
		end := start.AddDate(2, 0, 0)
		if p.freq == "MINUTELY" || p.freq == "HOURLY" {
			end = start.AddDate(0, 4, 0)
		}
		want := p.slow(start, end)
		text := p.String()
		rule, wrong, _ := parseRule(text)
		require.Empty(t, wrong, text)
		rules, instances = rules+1, instances+len(want)
		to := wall(end.Unix())
		if !p.until.IsZero() {
			to = min(to, wall(p.until.Unix())+1)
		}
		for _, from := range []time.Time{start, start.AddDate(0, 0, r.IntN(400))} {
			var got []time.Time
			steps := 1 << 30
			w := walk{rule: *rule, start: wall(start.Unix()), from: wall(from.Unix()), to: to, steps: &steps, give: func(t wall) bool {
				got = append(got, time.Unix(int64(t), 0).UTC())
				return true
			}}
			require.True(t, w.all())
			early := func(t time.Time) bool { return t.Before(from) }
			require.Equal(t, slices.DeleteFunc(slices.Clone(want), early), slices.DeleteFunc(got, early), "seed %d: %s from %s, looked at from %s", seed, text, start, from)
		}
	}
	t.Logf("%d rules, %d instances", rules, instances)
}

package read

import "time"

// calendarDay is one day with all that rules ask of it.
type calendarDay struct {
	days      int64 // since 1 January 1970
	year      int
	month     int // 1 to 12
	monthDay  int // from 1
	yearDay   int // from 1
	monthLen  int
	yearLen   int
	weekday   time.Weekday
	yearStart int64 // days since 1970 of 1 January
}

func dayOf(days int64) calendarDay {
	t := time.Unix(days*day, 0).UTC()
	year, month, monthDay := t.Date()
	d := calendarDay{days: days, year: year, month: int(month), monthDay: monthDay, yearDay: t.YearDay(), weekday: t.Weekday()}
	d.monthLen, d.yearLen = monthLength(year, d.month), yearLength(year)
	d.yearStart = days - int64(d.yearDay) + 1
	return d
}

// next is the day after d.
func (d calendarDay) next() calendarDay {
	d.days++
	d.weekday = (d.weekday + 1) % 7
	d.yearDay++
	if d.monthDay++; d.monthDay > d.monthLen {
		d.monthDay = 1
		if d.month++; d.month > 12 {
			d.month, d.yearDay = 1, 1
			d.year++
			d.yearStart, d.yearLen = d.days, yearLength(d.year)
		}
		d.monthLen = monthLength(d.year, d.month)
	}
	return d
}

func yearLength(year int) int {
	if leap(year) {
		return 366
	}
	return 365
}

// firstOf is the number of days from 1 January 1970 to the first of a month;
// months may lie outside of 1 to 12.
func firstOf(year, month int) int64 {
	return time.Date(year, time.Month(month), 1, 0, 0, 0, 0, time.UTC).Unix() / day
}

// week returns the number of d's week, from the front and from the back of the
// year that the week belongs to: week 1 is the first one with at least four
// days in the year (RFC 5545 section 3.3.10, ISO 8601 when it starts Monday).
func (d calendarDay) week(start time.Weekday) (front, back int) {
	// A week belongs to the year of its fourth day.
	fourth := d.days - int64((d.weekday-start+7)%7) + 3
	first, length := d.yearStart, d.yearLen
	if fourth < first {
		length = yearLength(d.year - 1)
		first -= int64(length)
	} else if fourth >= first+int64(length) {
		first += int64(length)
		length = yearLength(d.year + 1)
	}
	passed := int(fourth - first)
	return passed/7 + 1, (length-1-passed)/7 + 1
}

// fits reports whether the rule's parts by days let d through.
func (r *rule) fits(d *calendarDay) bool {
	if r.has(byMonth) && r.months>>d.month&1 == 0 {
		return false
	}
	if r.has(byMonthDay) && !r.monthDays.holds(d.monthDay, d.monthLen-d.monthDay+1) {
		return false
	}
	if r.has(byDay) && !r.fitsWeekday(d) {
		return false
	}
	if r.has(byYearDay) {
		front, back := d.yearDay, d.yearLen-d.yearDay+1
		if r.yearDays[0][front/64]>>(front%64)&1 == 0 && r.yearDays[1][back/64]>>(back%64)&1 == 0 {
			return false
		}
	}
	if r.has(byWeek) {
		return r.weeks.holds(d.week(r.weekStart))
	}
	return true
}

func (r *rule) fitsWeekday(d *calendarDay) bool {
	w := &r.weekdays[d.weekday]
	if w.front&1 != 0 {
		return true
	}
	if w.front|w.back == 0 {
		return false
	}
	at, length := d.yearDay, d.yearLen
	if r.freq == monthly || r.has(byMonth) {
		at, length = d.monthDay, d.monthLen
	}
	return w.holds((at-1)/7+1, (length-at)/7+1)
}

// holds reports whether a thing counted so from the front and from the back is
// in the set.
func (c counted) holds(front, back int) bool {
	return c.front>>front&1 != 0 || c.back>>back&1 != 0
}

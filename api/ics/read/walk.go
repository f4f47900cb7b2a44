package read

import (
	"math/bits"
	"slices"
)

// walk gives the times at which a rule repeats. The caller fills in the first
// fields and calls all.
type walk struct {
	rule  rule
	start wall
	dates bool // whole days repeat: parts of the time of day do not count
	// strict leaves the start out when it does not fit the rule. Without it the
	// start always comes first and counts (RFC 5545 section 3.8.5.3).
	strict bool
	from   wall            // earlier times need not be given
	to     wall            // this and later times are not given
	steps  *int            // taken off by one for every day or time looked at
	give   func(wall) bool // whether to go on

	left   int     // times left to give when the rule counts, else -1
	clock  []int32 // seconds into a period's day, hour or minute; ascending
	chosen []wall  // by position, reused
	days   []int64 // of a period, reused
}

// all gives every time at which the rule repeats, in order, and only once.
// Times of a rule that counts are given from the start on. It reports false
// when the steps did not suffice.
func (w *walk) all() bool {
	w.left = -1
	if w.rule.count > 0 {
		w.left = w.rule.count
		w.from = w.start // counting begins at the start
	}
	if !w.strict && !w.offer(w.start) {
		return *w.steps > 0
	}
	if *w.steps -= w.fill(); *w.steps > 0 {
		w.run()
	}
	return *w.steps > 0
}

// offer gives one time that comes next.
func (w *walk) offer(t wall) bool {
	if t >= w.to {
		return false
	}
	if w.left > 0 {
		w.left--
	}
	return w.give(t) && w.left != 0
}

// fill takes what the rule does not say from the start (RFC 5545 section
// 3.3.10) and returns what that cost in steps.
func (w *walk) fill() int {
	r := &w.rule
	d := dayOf(w.start.days())
	if r.freq > daily && !r.has(byWeek|byYearDay|byMonthDay|byDay) {
		switch r.freq {
		case yearly:
			if !r.has(byMonth) {
				r.given |= byMonth
				r.months = 1 << d.month
			}
			fallthrough
		case monthly:
			r.given |= byMonthDay
			r.monthDays = counted{front: 1 << d.monthDay}
		default:
			r.given |= byDay
			r.weekdays[d.weekday].front = 1
		}
	}
	if r.has(byWeek) && !r.has(byYearDay|byMonthDay|byDay) {
		r.given |= byDay
		r.weekdays[d.weekday].front = 1
	}
	if w.dates {
		w.clock = []int32{0}
		return 1
	}
	seconds := int64(w.start) - d.days*day
	if !r.has(byHour) {
		r.hours = 1 << (seconds / 3600)
	}
	if !r.has(byMinute) {
		r.minutes = 1 << (seconds / 60 % 60)
	}
	if !r.has(bySecond) {
		r.seconds = 1 << (seconds % 60)
	}
	hours, minutes := r.hours, r.minutes
	if r.freq < daily {
		hours = 1
	}
	if r.freq < hourly {
		minutes = 1
	}
	n := bits.OnesCount64(hours) * bits.OnesCount64(minutes) * bits.OnesCount64(r.seconds)
	if *w.steps > n {
		w.clock = times(hours, minutes, r.seconds)
	}
	return n
}

func times(hours, minutes, seconds uint64) []int32 {
	var list []int32
	for h := hours; h != 0; h &= h - 1 {
		for m := minutes; m != 0; m &= m - 1 {
			for s := seconds; s != 0; s &= s - 1 {
				list = append(list, int32(bits.TrailingZeros64(h)*3600+bits.TrailingZeros64(m)*60+bits.TrailingZeros64(s)))
			}
		}
	}
	return list
}

func (w *walk) run() {
	switch w.rule.freq {
	case yearly:
		w.years()
	case monthly:
		w.months()
	case weekly:
		w.weeks()
	case daily:
		w.everyDay()
	case hourly:
		w.everyUnit(3600)
	case minutely:
		w.everyUnit(60)
	}
}

// skipped is how many periods lie before the one that holds at, when the first
// one is first.
func (w *walk) skipped(first, at int64) int64 {
	return max(0, floor(at-first, w.rule.interval)) * w.rule.interval
}

func (w *walk) years() {
	first, last := dayOf(w.start.days()).year, dayOf(w.to.days()).year
	for y := first + int(w.skipped(int64(first), int64(dayOf(w.from.days()).year))); y <= last; y += int(w.rule.interval) {
		w.days = w.days[:0]
		for month := 1; month <= 12; month++ {
			if w.rule.has(byMonth) && w.rule.months>>month&1 == 0 {
				continue
			}
			w.collect(firstOf(y, month), int64(monthLength(y, month)))
		}
		if !w.period() {
			return
		}
	}
}

func (w *walk) months() {
	d, at, end := dayOf(w.start.days()), dayOf(w.from.days()), dayOf(w.to.days())
	first, last := int64(d.year*12+d.month-1), int64(end.year*12+end.month-1)
	for m := first + w.skipped(first, int64(at.year*12+at.month-1)); m <= last; m += w.rule.interval {
		y, month := int(floor(m, 12)), int(m-floor(m, 12)*12)+1
		w.days = w.days[:0]
		if w.rule.has(byMonth) && w.rule.months>>month&1 == 0 {
			*w.steps--
		} else {
			w.collect(firstOf(y, month), int64(monthLength(y, month)))
		}
		if !w.period() {
			return
		}
	}
}

func (w *walk) weeks() {
	d := dayOf(w.start.days())
	first := d.days - int64((d.weekday-w.rule.weekStart+7)%7)
	step := 7 * w.rule.interval
	for at := first + 7*w.skipped(0, floor(w.from.days()-first, 7)); at <= w.to.days(); at += step {
		w.days = w.days[:0]
		w.collect(at, 7)
		if !w.period() {
			return
		}
	}
}

func (w *walk) everyDay() {
	first := w.start.days()
	for at := first + w.skipped(first, w.from.days()); at <= w.to.days(); at += w.rule.interval {
		w.days = w.days[:0]
		w.collect(at, 1)
		if !w.period() {
			return
		}
	}
}

// collect adds those of n days from first on that fit the rule to the period.
func (w *walk) collect(first, n int64) {
	*w.steps -= int(n)
	d := dayOf(first)
	for range n {
		if w.rule.fits(&d) {
			w.days = append(w.days, d.days)
		}
		d = d.next()
	}
}

// period gives the times of the collected days, and reports whether to go on.
func (w *walk) period() bool {
	if len(w.rule.positions) > 0 {
		return w.positioned(len(w.days)*len(w.clock), func(i int) wall {
			return wall(w.days[i/len(w.clock)]*day + int64(w.clock[i%len(w.clock)]))
		})
	}
	for _, d := range w.days {
		if wall(d*day) >= w.to {
			return false
		}
		for _, seconds := range w.clock {
			if !w.take(wall(d*day + int64(seconds))) {
				return false
			}
		}
	}
	return *w.steps > 0
}

// positioned gives those of a period's n times that BYSETPOS chooses.
func (w *walk) positioned(n int, at func(int) wall) bool {
	w.chosen = w.chosen[:0]
	for _, p := range w.rule.positions {
		if p > 0 && p <= n {
			w.chosen = append(w.chosen, at(p-1))
		} else if p < 0 && -p <= n {
			w.chosen = append(w.chosen, at(n+p))
		}
	}
	*w.steps -= len(w.rule.positions)
	slices.Sort(w.chosen)
	for _, t := range slices.Compact(w.chosen) {
		if !w.take(t) {
			return false
		}
	}
	return *w.steps > 0
}

// take gives t unless it is not wanted, and reports whether to go on.
func (w *walk) take(t wall) bool {
	*w.steps--
	if t >= w.to || *w.steps <= 0 {
		return false
	}
	if t < w.start || t < w.from || t == w.start && !w.strict {
		return true
	}
	return w.offer(t)
}

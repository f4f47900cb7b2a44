package read

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// recurrence is how an event repeats, beside its start.
type recurrence struct {
	rules    []bounded
	exRules  []bounded // EXRULE, which RFC 5545 appendix A.2.3 has given up
	dates    []extra
	exDates  []moment
	lookBack int64 // seconds
}

// bounded is a rule with the end it has for its event.
type bounded struct {
	rule *rule
	last wall // no later time repeats
	// exact is the last instant, zero when last says it all. It serves an end in
	// UTC where clocks show a time twice.
	exact time.Time
}

// extra is one RDATE. Its length is that of the event unless own is set.
type extra struct {
	start  moment
	length span
	own    bool
}

// mostLookBack is the longest that an instance of a series may have lasted and
// still be found, in seconds: a little over a year (judgement).
const mostLookBack = 400 * day

// repeat reads the rules and dates of a series.
func (r *reader) repeat(c *component, e *Event) {
	for i := range c.props {
		p := &c.props[i]
		switch p.name {
		case "RRULE":
			if b, ok := r.rule(p, e); ok {
				e.repeats.rules = append(e.repeats.rules, b)
			}
		case "EXRULE":
			if b, ok := r.rule(p, e); ok {
				e.repeats.exRules = append(e.repeats.exRules, b)
			}
		case "EXDATE":
			r.values(p, e, func(s string) bool {
				m, ok := r.at(p, s)
				if ok {
					e.repeats.exDates = append(e.repeats.exDates, m)
				}
				return ok
			})
		case "RDATE":
			r.values(p, e, func(s string) bool {
				x, ok := r.extra(p, s)
				if ok {
					e.repeats.dates = append(e.repeats.dates, x)
				}
				return ok
			})
		}
	}
	e.repeats.lookBack = e.length.reach()
	if len(e.repeats.rules) > 0 && e.repeats.lookBack > mostLookBack {
		e.repeats.lookBack = mostLookBack
		r.doubt(e, c.line, "", fmt.Sprintf("repeats and lasts more than %d days; its older instances are left out", mostLookBack/day))
	}
}

// values reads a list with use and tells once how many of it are lost.
func (r *reader) values(p *property, e *Event, use func(string) bool) {
	lost := 0
	for s := range strings.SplitSeq(p.value, ",") {
		if s != "" && !use(s) {
			lost++
		}
	}
	if lost > 0 {
		r.doubt(e, p.line, p.name, fmt.Sprintf("has values that are no dates or times, %d in number; they are left out", lost))
	}
}

// extra reads one value of an RDATE.
func (r *reader) extra(p *property, s string) (extra, bool) {
	begin, end, period := strings.Cut(s, "/")
	m, ok := r.at(p, begin)
	if !ok {
		return extra{}, false
	}
	x := extra{start: m}
	if period {
		x.length, x.own = r.periodLength(p, m, end)
		return x, x.own
	}
	return x, true
}

// periodLength reads what follows the slash of a period (RFC 5545 section
// 3.3.9): its end or its length.
func (r *reader) periodLength(p *property, begin moment, s string) (span, bool) {
	if length, ok := parseSpan(s); ok {
		return length, true
	}
	end, ok := r.at(p, s)
	if !ok {
		return span{}, false
	}
	seconds := end.instant(r.salon).Unix() - begin.instant(r.salon).Unix()
	return span{seconds: seconds}, seconds >= 0 && seconds <= longest*day
}

// rule reads a rule and where it ends for its event.
func (r *reader) rule(p *property, e *Event) (bounded, bool) {
	value := p.value
	if len(value) > len(p.name) && strings.EqualFold(value[:len(p.name)+1], p.name+":") {
		value = value[len(p.name)+1:]
	}
	rule, wrong, doubts := parseRule(value)
	if wrong == "" && e.start.form == dateOnly && rule.freq < daily {
		wrong = "repeats within the day although the event is of whole days"
	}
	if wrong != "" {
		r.doubt(e, p.line, p.name, wrong+"; it is left out")
		return bounded{}, false
	}
	for _, what := range doubts {
		r.doubt(e, p.line, p.name, what)
	}
	b := bounded{rule: rule, last: math.MaxInt64 - 1}
	until := rule.until
	switch {
	case until.form == absent:
	case e.start.form == dateOnly:
		b.last = wall(r.dayMeant(until) * day)
	case until.form == dateOnly:
		b.last = until.wall + day - 1
	case until.form == floating:
		b.last = until.wall
	default:
		b.exact = until.instant(r.salon)
		b.last = wallAt(b.exact, e.zone(r.salon)) + day // clocks may go back in between
	}
	return b, true
}

// dayMeant is the day of a series of whole days that a moment stands for.
// Midnight of whatever zone is a date written as a time; any other time is read
// in the salon's zone.
func (r *reader) dayMeant(m moment) int64 {
	if m.form == zoned && m.wall != wall(m.wall.days()*day) {
		return wallAt(m.instant(r.salon), r.salon).days()
	}
	return m.wall.days()
}

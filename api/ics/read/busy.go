package read

import (
	"cmp"
	"slices"
	"time"
)

const (
	// ruleSteps is the most that one rule may take of the steps of a call (judgement: a
	// tenth of the usual Limits.Steps).
	ruleSteps = 2_000_000
	// instanceSteps is what an instance costs: about so many times as long as
	// looking at a day (measured).
	instanceSteps = 20
)

// Busy returns when the owner of the calendar is busy between from and to: one
// interval for every opaque event or instance that begins before to and ends
// after from, sorted by start. They may overlap, and reach beyond from and to.
// Equal ones are given once.
//
// The problems say what was left out because of a limit: 10,000 intervals and
// 20,000,000 days or times looked at, unless Options say otherwise.
func (c *Calendar) Busy(from, to time.Time) ([]Interval, []Problem) {
	b := expansion{Calendar: c, from: from, to: to, steps: c.limits.Steps, log: problems{limit: c.limits.Problems}}
	for i := range c.series {
		if e := c.series[i].event; e.busy && e.start.form != absent && (e.start.form != dateOnly || c.allDayBusy) {
			b.series(&c.series[i])
		}
	}
	for _, p := range c.periods {
		b.add(p)
	}
	b.compact()
	if b.cut {
		b.log.addf(0, "", "calendar", "is busy more often than %d times; the later ones are left out", c.limits.Intervals)
	}
	return b.found, b.log.list()
}

// expansion is one call of Busy.
type expansion struct {
	*Calendar
	from, to time.Time
	steps    int
	log      problems
	found    []Interval
	cut      bool
}

// add takes an interval over when it lies in the window.
func (b *expansion) add(i Interval) {
	if !i.Start.Before(b.to) || !i.End.After(b.from) || !i.Start.Before(i.End) {
		return
	}
	b.found = append(b.found, i)
	if len(b.found) >= 4*b.limits.Intervals {
		b.compact()
	}
}

// compact sorts what was found, and leaves out what is there twice or too much.
func (b *expansion) compact() {
	slices.SortFunc(b.found, func(x, y Interval) int {
		return cmp.Or(x.Start.Compare(y.Start), x.End.Compare(y.End), truth(x.AllDay, y.AllDay), truth(x.Tentative, y.Tentative))
	})
	b.found = slices.CompactFunc(b.found, func(x, y Interval) bool {
		return x.Start.Equal(y.Start) && x.End.Equal(y.End) && x.AllDay == y.AllDay && x.Tentative == y.Tentative
	})
	if len(b.found) > b.limits.Intervals {
		b.found = b.found[:b.limits.Intervals]
		b.cut = true
	}
}

func truth(x, y bool) int {
	switch {
	case x == y:
		return 0
	case y:
		return -1
	}
	return 1
}

// instance is one planned start of a series.
type instance struct {
	start time.Time
	wall  wall // as the clocks of the event's zone show it
}

// series adds the instances of one event.
func (b *expansion) series(s *series) {
	e := s.event
	loc := e.zone(b.zone)
	excluded := map[wall]bool{}
	for _, r := range e.repeats.exRules {
		b.rule(e, r, true, func(i instance) { excluded[i.wall] = true })
	}
	give := func(i instance, length span) {
		if s.excluded.hold(i, loc) || s.replaced.hold(i, loc) || excluded[i.wall] {
			return
		}
		found := Interval{Start: i.start.In(b.zone), AllDay: e.start.form == dateOnly, Tentative: e.tentative}
		if found.AllDay {
			found.End = dayStart(i.wall.days()+length.days, b.zone)
		} else {
			found.End = length.end(i.start, i.wall, loc).In(b.zone)
		}
		b.add(found)
	}
	if len(e.repeats.rules) == 0 {
		give(e.at(e.start.wall, b.zone), e.length)
	}
	for _, r := range e.repeats.rules {
		b.rule(e, r, false, func(i instance) { give(i, e.length) })
	}
	for _, x := range e.repeats.dates {
		length := e.length
		if x.own {
			length = x.length
		}
		give(x.instance(e, b.zone), length)
	}
}

// at is the instance that clocks of the event's zone show as w.
func (e *Event) at(w wall, salon *time.Location) instance {
	if e.start.form == dateOnly {
		return instance{dayStart(w.days(), salon), w}
	}
	return instance{w.in(e.zone(salon)), w}
}

// instance is that of an RDATE.
func (x *extra) instance(e *Event, salon *time.Location) instance {
	switch {
	case e.start.form == dateOnly:
		return e.at(wall(x.start.wall.days()*day), salon)
	case x.start.form == dateOnly:
		// The standard wants a time here; the event's own is meant.
		return e.at(x.start.wall+e.start.wall-wall(e.start.wall.days()*day), salon)
	case x.start.form == floating:
		return e.at(x.start.wall, salon)
	}
	start := x.start.instant(salon)
	return instance{start, wallAt(start, e.zone(salon))}
}

// rule gives the instances of one rule that may reach into the window. Strict
// leaves the start out when it does not fit.
func (b *expansion) rule(e *Event, r bounded, strict bool, give func(instance)) {
	const slack = 2 * day // more than any two offsets from UTC differ (judgement)
	loc := e.zone(b.zone)
	from := wallAt(b.from, loc) - wall(e.repeats.lookBack) - slack
	steps := min(b.steps, ruleSteps)
	before, given := steps, 0
	w := walk{
		rule: *r.rule, start: e.start.wall, dates: e.start.form == dateOnly, strict: strict,
		from: from, to: min(wallAt(b.to, loc)+slack, r.last+1), steps: &steps,
		give: func(t wall) bool {
			if t < from {
				return true
			}
			steps -= instanceSteps
			if i := e.at(t, b.zone); r.exact.IsZero() || !i.start.After(r.exact) {
				give(i)
				given++
			}
			return given <= 2*b.limits.Intervals
		},
	}
	if !w.all() {
		b.log.add(e.line, e.UID, "VEVENT RRULE", "takes too long to follow; later instances are left out")
	}
	b.cut = b.cut || given > 2*b.limits.Intervals
	b.steps -= before - max(steps, 0)
}

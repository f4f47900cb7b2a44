package read

import (
	"cmp"
	"fmt"
)

// series is an event that stands for itself, with the instances of it that do
// not take place as planned.
type series struct {
	event *Event
	// skipped are the starts of instances that were taken out or are
	// replaced, and days those of which every instance was.
	skipped map[int64]bool // Unix time
	days    map[int64]bool // since 1970, as the calendar of the event's zone shows them
}

// skip takes the instance out that m names. For an event of whole days it is
// the day, otherwise a date names every instance that begins on it, and a time
// without a zone is one of the event's own (lenient; the standard wants the
// same form as that of the start).
func (s *series) skip(m moment, r *reader) {
	loc := s.event.zone(r.salon)
	switch {
	case s.event.start.form == dateOnly:
		s.days = put(s.days, r.dayMeant(m))
	case m.form == dateOnly:
		s.days = put(s.days, m.wall.days())
	case m.form == floating:
		s.skipped = put(s.skipped, m.wall.in(loc).Unix())
	default:
		s.skipped = put(s.skipped, m.wall.in(m.loc).Unix())
	}
}

func put(m map[int64]bool, key int64) map[int64]bool {
	if m == nil {
		m = map[int64]bool{}
	}
	m[key] = true
	return m
}

// gather groups the events by UID: those that stand for one instance take it
// out of their series, and of several revisions the latest counts.
func (c *Calendar) gather(log *problems) {
	groups := map[string][]*Event{}
	var order []string
	for i := range c.Events {
		e := &c.Events[i]
		key := e.UID
		if key == "" {
			key = fmt.Sprint("\x00", i) // no two events without a name belong together
		}
		if groups[key] == nil {
			order = append(order, key)
		}
		groups[key] = append(groups[key], e)
	}
	for _, key := range order {
		c.group(groups[key], log)
	}
}

// group makes the series of all events of one UID.
func (c *Calendar) group(events []*Event, log *problems) {
	var masters, replacements []*Event
	newest := map[moment]*Event{}
	sequence := 0
	for _, e := range events {
		if e.replaces.form == absent {
			masters = append(masters, e)
			sequence = max(sequence, e.Sequence)
			continue
		}
		replacements = append(replacements, e)
		key := e.replaces
		if key.form != dateOnly {
			key = moment{form: zoned, wall: wall(e.RecurrenceID.Unix())}
		}
		if old := newest[key]; old == nil || !older(e, old) {
			newest[key] = e
		}
	}
	kept := map[*Event]bool{}
	for _, e := range newest {
		kept[e] = true
	}
	r := reader{zones: zones{salon: c.zone}}
	for _, e := range masters {
		if e.Sequence < sequence {
			log.add(e.line, e.UID, "VEVENT", "is an older revision of another event of the file and is left out")
			continue
		}
		s := series{event: e}
		for _, m := range e.repeats.exDates {
			s.skip(m, &r)
		}
		for _, o := range replacements {
			s.skip(o.replaces, &r)
		}
		c.series = append(c.series, s)
	}
	for _, e := range replacements {
		if !kept[e] {
			log.add(e.line, e.UID, "VEVENT", "is an older revision of another event of the file and is left out")
			continue
		}
		c.series = append(c.series, series{event: e})
	}
}

// older reports whether a is an older revision than b (RFC 5546 section
// 2.1.5).
func older(a, b *Event) bool {
	return cmp.Or(cmp.Compare(a.Sequence, b.Sequence), a.Stamp.Compare(b.Stamp)) < 0
}

// out reports whether an instance does not take place as planned.
func (s *series) out(i instance) bool {
	return s.days[i.wall.days()] || s.skipped[i.start.Unix()]
}

package read

import (
	"cmp"
	"fmt"
	"time"
)

// series is an event that stands for itself, with the instances of it that do
// not take place as planned.
type series struct {
	event    *Event
	excluded *skips // its EXDATEs
	replaced *skips // instances that other events stand for; all series of a UID share it
}

// skips are starts of instances. Nil has none.
type skips struct {
	starts map[int64]bool // Unix time
	walls  map[wall]bool  // as the clocks of an event's zone show them
	days   map[int64]bool // since 1970, as the calendar of an event's zone shows them; every instance
}

// skipsOf returns the instances that moments name. For an event of whole days
// they are days, otherwise a date names every instance that begins on it, and a
// time without a zone is one of the event's own (lenient; the standard wants the
// same form as that of the start).
func (r *reader) skipsOf(moments []moment, wholeDays bool) *skips {
	if len(moments) == 0 {
		return nil
	}
	s := skips{map[int64]bool{}, map[wall]bool{}, map[int64]bool{}}
	for _, m := range moments {
		switch {
		case wholeDays:
			s.days[r.dayMeant(m)] = true
		case m.form == dateOnly:
			s.days[m.wall.days()] = true
		case m.form == floating:
			s.walls[m.wall] = true
		default:
			s.starts[m.wall.in(m.loc).Unix()] = true
		}
	}
	return &s
}

// hold reports whether an instance is among them; loc is the event's zone.
func (s *skips) hold(i instance, loc *time.Location) bool {
	if s == nil {
		return false
	}
	return s.days[i.wall.days()] || s.starts[i.start.Unix()] ||
		len(s.walls) > 0 && (s.names(i.wall, i, loc) || s.names(wallAt(i.start, loc), i, loc))
}

// names reports whether w is among the times without a zone and means i: where
// clocks go back, a time means the first of two instants.
func (s *skips) names(w wall, i instance, loc *time.Location) bool {
	return s.walls[w] && w.in(loc).Equal(i.start)
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
	var replaced []moment
	newest := map[moment]*Event{}
	sequence := 0
	for _, e := range events {
		if e.replaces.form == absent {
			masters = append(masters, e)
			sequence = max(sequence, e.Sequence)
			continue
		}
		replacements = append(replacements, e)
		replaced = append(replaced, e.replaces)
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
	shared := map[bool]*skips{} // by whether whole days repeat
	for _, e := range masters {
		if e.Sequence < sequence {
			log.add(e.line, e.UID, "VEVENT", "is an older revision of another event of the file and is left out")
			continue
		}
		wholeDays := e.start.form == dateOnly
		if shared[wholeDays] == nil {
			shared[wholeDays] = r.skipsOf(replaced, wholeDays)
		}
		c.series = append(c.series, series{e, r.skipsOf(e.repeats.exDates, wholeDays), shared[wholeDays]})
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

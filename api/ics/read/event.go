package read

import (
	"strings"
	"time"
)

// reader turns the components of one VCALENDAR into values.
type reader struct {
	zones
	method string
}

// take adds what one VCALENDAR holds.
func (c *Calendar) take(root *component, left *zoneLimits, log *problems) {
	r := reader{
		zones: zones{
			salon: c.zone, fallback: root.text("X-WR-TIMEZONE"), described: vtimezones(root),
			left: left, log: log, found: map[string]*time.Location{},
		},
		method: root.upper("METHOD"),
	}
	for _, part := range root.children {
		switch part.name {
		case "VEVENT":
			c.Events = append(c.Events, r.event(part))
		case "VFREEBUSY":
			c.periods = append(c.periods, r.freeBusy(part)...)
		}
	}
}

// doubt tells of something in one property of an event.
func (r *reader) doubt(e *Event, line int, name, what string) {
	r.log.add(line, e.UID, strings.TrimSpace("VEVENT "+name), what)
}

// event reads one VEVENT.
func (r *reader) event(c *component) Event {
	e := Event{line: c.line, UID: c.uid, Status: c.upper("STATUS")}
	r.once(c, &e)
	e.Sequence, _ = number(c.text("SEQUENCE"), 0, 999_999_999)
	if p := c.first("DTSTAMP"); p != nil {
		if m, ok := r.at(p, p.value); ok {
			e.Stamp = m.instant(r.salon)
		}
	}
	r.people(c, &e)
	r.weigh(c, &e)
	r.begin(c, &e)
	if e.start.form == absent {
		return e
	}
	r.last(c, &e)
	r.wholeDays(c, &e)
	e.AllDay = e.start.form == dateOnly
	e.Start = e.start.instant(r.salon).In(r.salon)
	e.End = e.ends(e.Start, e.start.wall, r.salon).In(r.salon)
	if e.replaces.form == absent {
		r.repeat(c, &e)
	} else if c.first("RRULE") != nil || c.first("RDATE") != nil {
		r.doubt(&e, c.line, "RECURRENCE-ID", "stands for one instance and repeats; the repetition is left out")
	}
	return e
}

// zone is that in which the event repeats.
func (e *Event) zone(salon *time.Location) *time.Location {
	if e.start.form == zoned {
		return e.start.loc
	}
	return salon
}

// ends is when an instance ends that begins at start, shown as w on the clocks
// of the event's zone.
func (e *Event) ends(start time.Time, w wall, salon *time.Location) time.Time {
	if e.start.form == dateOnly {
		return dayStart(w.days()+e.length.days, salon)
	}
	return e.length.end(start, w, e.zone(salon))
}

// once tells of properties that may occur once only and occur again.
func (r *reader) once(c *component, e *Event) {
	seen := map[string]bool{}
	for i := range c.props {
		switch p := &c.props[i]; p.name {
		case "DTSTART", "DTEND", "DURATION", "RECURRENCE-ID", "UID":
			if seen[p.name] {
				r.doubt(e, p.line, p.name, "occurs twice; the first one counts")
			}
			seen[p.name] = true
		}
	}
}

// people reads who asks and who is asked.
func (r *reader) people(c *component, e *Event) {
	if p := c.first("ORGANIZER"); p != nil {
		e.Organizer = address(p)
	}
	for i := range c.props {
		if p := &c.props[i]; p.name == "ATTENDEE" {
			answer := strings.ToUpper(p.param("PARTSTAT"))
			if answer == "" {
				answer = "NEEDS-ACTION" // RFC 5545 section 3.2.12
			}
			e.Attendees = append(e.Attendees, Attendee{Address: address(p), PartStat: answer})
		}
	}
}

// address returns the mail address of a person (RFC 5545 section 3.3.3, RFC
// 7986 section 6.2).
func address(p *property) string {
	const scheme = "mailto:"
	if s := p.value; len(s) > len(scheme) && strings.EqualFold(s[:len(scheme)], scheme) {
		s, _, _ = strings.Cut(s[len(scheme):], "?")
		return strings.TrimSpace(s)
	}
	if mail := p.param("EMAIL"); mail != "" {
		return mail
	}
	return p.value
}

// weigh reads whether the event makes its owner busy. The word of one vendor
// counts where the standard's is missing.
func (r *reader) weigh(c *component, e *Event) {
	vendor := c.upper("X-MICROSOFT-CDO-BUSYSTATUS")
	switch c.upper("TRANSP") {
	case "TRANSPARENT", "1": // 1 in files of version 1.0
		e.busy = false
	case "":
		e.busy = vendor != "FREE"
	default:
		e.busy = true
	}
	switch {
	case e.Status == "CANCELLED" || e.Status == "CANCELED" || r.method == "CANCEL":
		e.busy = false
	case e.Status == "TENTATIVE" || vendor == "TENTATIVE":
		e.tentative = true
	}
}

// begin reads when the event begins and which instance it stands for.
func (r *reader) begin(c *component, e *Event) {
	if p := c.first("RECURRENCE-ID"); p != nil {
		if m, ok := r.at(p, p.value); ok {
			e.replaces = m
			e.RecurrenceID = m.instant(r.salon).In(r.salon)
		} else {
			r.doubt(e, p.line, p.name, "is no date or time; the event is read as one of its own")
		}
		if p.param("RANGE") != "" {
			r.doubt(e, p.line, p.name, "changes all later instances too; only the one is changed")
		}
	}
	p := c.first("DTSTART")
	if p == nil {
		// Answers and cancellations may name an event by its UID alone (RFC 5546
		// sections 3.2.3 and 3.2.5).
		if r.method != "REPLY" && r.method != "CANCEL" {
			r.doubt(e, c.line, "", "has no start and is left out")
		}
		return
	}
	m, ok := r.at(p, p.value)
	if !ok {
		r.doubt(e, p.line, p.name, "is no date or time, so the event is left out")
		return
	}
	e.start = m
}

// last reads how long the event lasts (RFC 5545 section 3.6.1: without an end
// a date lasts one day, a time nothing).
func (r *reader) last(c *component, e *Event) {
	end, duration := c.first("DTEND"), c.first("DURATION")
	switch {
	case end != nil:
		if duration != nil {
			r.doubt(e, duration.line, duration.name, "stands beside DTEND; DTEND counts")
		}
		r.until(end, e)
	case duration != nil:
		s, ok := parseSpan(duration.value)
		if !ok {
			r.doubt(e, duration.line, duration.name, "is no duration of 0 to 100 years; the event is read as one without an end")
		}
		if ok {
			e.length = s
		}
	}
	if e.start.form != dateOnly {
		return
	}
	if e.length.seconds > 0 {
		e.length = span{days: e.length.days + (e.length.seconds+day-1)/day}
	}
	e.length.days = max(e.length.days, 1)
}

// until reads DTEND as a length: series keep the exact length of their first
// instance (RFC 5545 section 3.8.5.3).
func (r *reader) until(p *property, e *Event) {
	m, ok := r.at(p, p.value)
	if !ok {
		r.doubt(e, p.line, p.name, "is no date or time; the event is read as one without an end")
		return
	}
	var length span
	if e.start.form == dateOnly {
		if m.form != dateOnly {
			r.doubt(e, p.line, p.name, "is a time although the start is a date; the days up to it count")
		}
		length.days = floor(int64(m.wall-e.start.wall)+day-1, day)
	} else {
		if m.form == dateOnly {
			r.doubt(e, p.line, p.name, "is a date although the start is a time; the midnight it begins with counts")
		}
		if m.form != zoned && e.start.form == zoned {
			m = moment{zoned, m.wall, e.start.loc}
		}
		length.seconds = m.instant(r.salon).Unix() - e.start.instant(r.salon).Unix()
	}
	switch {
	case length.days < 0 || length.seconds < 0:
		r.doubt(e, p.line, p.name, "is before the start; the event is read as one without an end")
	case length.days > longest || length.seconds > longest*day:
		r.doubt(e, p.line, p.name, "is more than 100 years after the start; the event is read as one without an end")
	default:
		e.length = length
	}
}

// wholeDays makes an event of whole days of one that says it is one but is
// written with times, as some programs do.
func (r *reader) wholeDays(c *component, e *Event) {
	if e.start.form == dateOnly || c.upper("X-MICROSOFT-CDO-ALLDAYEVENT") != "TRUE" {
		return
	}
	start := e.start.instant(r.salon)
	end := wallAt(e.ends(start, e.start.wall, r.salon), e.zone(r.salon))
	if n := int64(end - e.start.wall); n > 0 && n%day == 0 && e.start.wall == wall(e.start.wall.days()*day) {
		e.start = moment{form: dateOnly, wall: e.start.wall}
		e.length = span{days: n / day}
	}
}

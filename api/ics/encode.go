package ics

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/emersion/go-ical"
	"github.com/rickb777/date"

	"chairblock/scheduling"
)

const (
	productID   = "-//chairblock//calendar feed//EN"
	dateForm    = "20060102"
	wallForm    = "20060102T150405"
	instantForm = "20060102T150405Z"
)

// Encode returns the calendar as a stream of folded lines. Its time zone is
// described from the day of the first event or from, whichever is earlier, to the
// day of the last event or to, whichever is later; both are included and of c.Zone. A
// calendar without events holds the time zone alone.
//
// Events stand in the order of their start, then of their UID. Texts are
// cleaned. Encode returns scheduling.Faults, with paths such as
// "events[2].uid", when a value cannot be written; nothing is written then.
func (c Calendar) Encode(from, to date.Date) ([]byte, error) {
	if err := c.check(from, to); err != nil {
		return nil, fmt.Errorf("ics: encode: %w", err)
	}
	first, _ := scheduling.DayBounds(c.Zone, from)
	_, last := scheduling.DayBounds(c.Zone, to)
	events := c.sorted()
	for _, e := range events {
		first = earlier(first, e.from)
		last = later(last, e.until)
	}
	// Whole days, so that many calendars share one description of the zone.
	first, _ = scheduling.DayBounds(c.Zone, scheduling.CivilDate(first, c.Zone))
	_, last = scheduling.DayBounds(c.Zone, scheduling.CivilDate(last.Add(-1), c.Zone))
	w := lines{out: make([]byte, 0, 1024*(2+len(events)))} // about what an event takes
	w.raw("BEGIN", ical.CompCalendar)
	c.header(&w)
	w.out = append(w.out, zoneText(c.Zone, first, last)...)
	for _, e := range events {
		c.write(&w, *e.Event)
	}
	w.raw("END", ical.CompCalendar)
	return w.out, nil
}

// header writes what the calendar says of itself.
func (c Calendar) header(w *lines) {
	name, about := oneLine(c.Name), clean(c.Description)
	refresh := duration(cmp.Or(c.Refresh, DefaultRefresh))
	w.text(ical.PropColor, c.Color)
	w.text(ical.PropDescription, about)
	if !c.LastModified.IsZero() {
		w.instant(ical.PropLastModified, c.LastModified)
	}
	w.text(ical.PropName, name)
	w.raw(ical.PropProductID, productID)
	w.raw(ical.PropRefreshInterval+";VALUE=DURATION", refresh)
	w.raw(ical.PropVersion, "2.0")
	w.raw("X-PUBLISHED-TTL", refresh)
	w.text("X-WR-CALDESC", about)
	w.text("X-WR-CALNAME", name)
	w.raw("X-WR-TIMEZONE", c.Zone.String())
}

// timed is an event with the instants it lies between.
type timed struct {
	*Event
	from, until time.Time
}

func (c Calendar) sorted() []timed {
	events := make([]timed, len(c.Events))
	for i := range c.Events {
		e := timed{Event: &c.Events[i], from: c.Events[i].Start, until: c.Events[i].End}
		if e.AllDay {
			e.from, _ = scheduling.DayBounds(c.Zone, e.StartDate)
			e.until, _ = scheduling.DayBounds(c.Zone, e.EndDate)
		}
		events[i] = e
	}
	slices.SortFunc(events, func(a, b timed) int {
		return cmp.Or(a.from.Compare(b.from), strings.Compare(a.UID, b.UID))
	})
	return events
}

// write writes one event.
func (c Calendar) write(w *lines, e Event) {
	transparency, busy := busyness(e)
	w.raw("BEGIN", ical.CompEvent)
	w.categories(e.Categories)
	w.text(ical.PropDescription, clean(e.Description))
	c.time(w, ical.PropDateTimeEnd, e, e.End, e.EndDate)
	w.instant(ical.PropDateTimeStamp, e.Stamp)
	c.time(w, ical.PropDateTimeStart, e, e.Start, e.StartDate)
	w.instant(ical.PropLastModified, e.Stamp)
	w.text(ical.PropLocation, oneLine(e.Location))
	for _, r := range e.RelatedTo {
		w.text(ical.PropRelatedTo+";RELTYPE="+string(r.Type), r.UID)
	}
	w.raw(ical.PropSequence, strconv.Itoa(e.Sequence))
	w.raw(ical.PropStatus, string(e.Status))
	w.text(ical.PropSummary, oneLine(e.Summary))
	w.raw(ical.PropTransparency, transparency)
	w.text(ical.PropUID, e.UID)
	if e.URL != "" {
		w.raw(ical.PropURL, e.URL)
	}
	w.raw("X-MICROSOFT-CDO-BUSYSTATUS", busy)
	for _, a := range e.Alarms {
		w.alarm(a)
	}
	w.raw("END", ical.CompEvent)
}

// categories writes a list, whose commas are bare.
func (w *lines) categories(list []string) {
	if len(list) == 0 {
		return
	}
	w.begin(ical.PropCategories)
	for i, s := range list {
		if i > 0 {
			w.line = append(w.line, ',')
		}
		w.line = appendEscaped(w.line, oneLine(s))
	}
	w.end()
}

// time writes the start or the end of e as a local time of the zone. A wall time
// that occurs twice is written in UTC: its second run cannot be written
// otherwise, and readers disagree which run a local time means.
func (c Calendar) time(w *lines, name string, e Event, t time.Time, d date.Date) {
	switch {
	case e.AllDay:
		w.raw(name+";VALUE=DATE", d.UTC().Format(dateForm))
	case occursTwice(c.Zone, e.Start) || occursTwice(c.Zone, e.End):
		w.instant(name, t)
	default:
		w.begin(name + ";TZID=" + c.Zone.String())
		w.line = t.In(c.Zone).AppendFormat(w.line, wallForm)
		w.end()
	}
}

// event is e as a component of the library, for objects that say more of an
// event than a feed does. It reads what write has written, so that both are the
// same.
func (c Calendar) event(e Event) *ical.Component {
	var w lines
	w.raw("BEGIN", ical.CompCalendar)
	c.write(&w, e)
	w.raw("END", ical.CompCalendar)
	cal, err := ical.NewDecoder(bytes.NewReader(w.out)).Decode()
	if err != nil {
		panic(err) // lines of this package
	}
	return cal.Children[0]
}

// busyness gives TRANSP and the property that some mail programs read instead.
func busyness(e Event) (transparency, busy string) {
	switch {
	case !e.Busy:
		return "TRANSPARENT", "FREE"
	case e.Status == Tentative:
		return "OPAQUE", "TENTATIVE"
	default:
		return "OPAQUE", "BUSY"
	}
}

func (w *lines) alarm(a Alarm) {
	trigger := ical.PropTrigger
	if a.FromEnd {
		trigger += ";RELATED=END"
	}
	w.raw("BEGIN", ical.CompAlarm)
	w.raw(ical.PropAction, "DISPLAY")
	w.text(ical.PropDescription, clean(a.Text))
	w.raw(trigger, duration(a.Offset))
	w.text(ical.PropUID, a.UID)
	w.raw("END", ical.CompAlarm)
}

// put appends a property whose value is already in its written form.
func put(p ical.Props, name, value string) {
	p[name] = append(p[name], ical.Prop{Name: name, Value: value})
}

func instant(t time.Time) string { return t.UTC().Format(instantForm) }

// duration writes d, in whole seconds, as an exact DURATION (RFC 5545 section
// 3.3.6): hours, minutes and seconds, never the nominal days and weeks.
func duration(d time.Duration) string {
	sign := ""
	if d < 0 {
		sign, d = "-", -d
	}
	h, m, s := int(d/time.Hour), int(d%time.Hour/time.Minute), int(d%time.Minute/time.Second)
	var b strings.Builder
	b.WriteString(sign + "PT")
	if h > 0 {
		b.WriteString(strconv.Itoa(h) + "H")
	}
	// The grammar has no hours with seconds alone.
	if m > 0 || h > 0 && s > 0 {
		b.WriteString(strconv.Itoa(m) + "M")
	}
	if s > 0 || h == 0 && m == 0 {
		b.WriteString(strconv.Itoa(s) + "S")
	}
	return b.String()
}

// occursTwice reports whether the clocks of loc show the time of t once more.
func occursTwice(loc *time.Location, t time.Time) bool {
	const reach = 36 * time.Hour // more than a day, by which clocks were set where the date line moved (judgement)
	_, offset := t.In(loc).Zone()
	for _, near := range []time.Duration{-reach, reach} {
		_, other := t.Add(near).In(loc).Zone()
		twin := t.Add(time.Duration(offset-other) * time.Second)
		if _, shown := twin.In(loc).Zone(); other != offset && shown == other {
			return true
		}
	}
	return false
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

package ics

import (
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
// described from the first event or from, whichever is earlier, to the last
// event or to, whichever is later; both days are included and of c.Zone. A
// calendar without events holds the time zone alone.
//
// Events stand in the order of their start, then of their UID. Texts are
// cleaned. Encode returns scheduling.Faults, with paths such as
// "events[2].uid", when a value cannot be written; nothing is written then.
func (c Calendar) Encode(from, to date.Date) ([]byte, error) {
	if err := c.check(from, to); err != nil {
		return nil, fmt.Errorf("ics: encode: %w", err)
	}
	cal := ical.NewCalendar()
	c.header(cal.Props)
	first, _ := scheduling.DayBounds(c.Zone, from)
	_, last := scheduling.DayBounds(c.Zone, to)
	events := c.sorted()
	for _, e := range events {
		first = earlier(first, e.from)
		last = later(last, e.until)
	}
	cal.Children = append(cal.Children, timezone(c.Zone, first, last))
	for _, e := range events {
		cal.Children = append(cal.Children, c.event(*e.Event))
	}
	var f folder
	f.out.Grow(1024 * (1 + len(events))) // about what an event takes
	if err := ical.NewEncoder(&f).Encode(cal); err != nil {
		return nil, fmt.Errorf("ics: encode: %w", err)
	}
	return f.out.Bytes(), nil
}

func (c Calendar) header(p ical.Props) {
	refresh := duration(cmp.Or(c.Refresh, DefaultRefresh))
	put(p, ical.PropProductID, productID)
	put(p, ical.PropVersion, "2.0")
	put(p, ical.PropName, escape(oneLine(c.Name)))
	put(p, "X-WR-CALNAME", escape(oneLine(c.Name)))
	if d := clean(c.Description); d != "" {
		put(p, ical.PropDescription, escape(d))
		put(p, "X-WR-CALDESC", escape(d))
	}
	put(p, "X-WR-TIMEZONE", c.Zone.String())
	put(p, ical.PropRefreshInterval, refresh, ical.ParamValue, string(ical.ValueDuration))
	put(p, "X-PUBLISHED-TTL", refresh)
	if c.Color != "" {
		put(p, ical.PropColor, c.Color)
	}
	if !c.LastModified.IsZero() {
		put(p, ical.PropLastModified, instant(c.LastModified))
	}
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

func (c Calendar) event(e Event) *ical.Component {
	comp := ical.NewComponent(ical.CompEvent)
	p := comp.Props
	put(p, ical.PropUID, escape(e.UID))
	put(p, ical.PropDateTimeStamp, instant(e.Stamp))
	put(p, ical.PropLastModified, instant(e.Stamp))
	put(p, ical.PropSequence, strconv.Itoa(e.Sequence))
	c.times(p, e)
	put(p, ical.PropSummary, escape(oneLine(e.Summary)))
	if s := clean(e.Description); s != "" {
		put(p, ical.PropDescription, escape(s))
	}
	if s := oneLine(e.Location); s != "" {
		put(p, ical.PropLocation, escape(s))
	}
	if e.URL != "" {
		put(p, ical.PropURL, e.URL)
	}
	if len(e.Categories) > 0 {
		list := make([]string, len(e.Categories))
		for i, s := range e.Categories {
			list[i] = escape(oneLine(s))
		}
		put(p, ical.PropCategories, strings.Join(list, ","))
	}
	put(p, ical.PropStatus, string(e.Status))
	transparency, busy := busyness(e)
	put(p, ical.PropTransparency, transparency)
	put(p, "X-MICROSOFT-CDO-BUSYSTATUS", busy)
	for _, r := range e.RelatedTo {
		put(p, ical.PropRelatedTo, escape(r.UID), ical.ParamRelationshipType, string(r.Type))
	}
	for _, a := range e.Alarms {
		comp.Children = append(comp.Children, alarm(a))
	}
	return comp
}

// times writes start and end as local times of the zone. A wall time that
// occurs twice is written in UTC: its second run cannot be written otherwise,
// and readers disagree which run a local time means.
func (c Calendar) times(p ical.Props, e Event) {
	if e.AllDay {
		put(p, ical.PropDateTimeStart, e.StartDate.UTC().Format(dateForm), ical.ParamValue, string(ical.ValueDate))
		put(p, ical.PropDateTimeEnd, e.EndDate.UTC().Format(dateForm), ical.ParamValue, string(ical.ValueDate))
		return
	}
	if occursTwice(c.Zone, e.Start) || occursTwice(c.Zone, e.End) {
		put(p, ical.PropDateTimeStart, instant(e.Start))
		put(p, ical.PropDateTimeEnd, instant(e.End))
		return
	}
	put(p, ical.PropDateTimeStart, e.Start.In(c.Zone).Format(wallForm), ical.ParamTimezoneID, c.Zone.String())
	put(p, ical.PropDateTimeEnd, e.End.In(c.Zone).Format(wallForm), ical.ParamTimezoneID, c.Zone.String())
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

func alarm(a Alarm) *ical.Component {
	comp := ical.NewComponent(ical.CompAlarm)
	put(comp.Props, ical.PropUID, escape(a.UID))
	put(comp.Props, ical.PropAction, "DISPLAY")
	put(comp.Props, ical.PropDescription, escape(clean(a.Text)))
	if a.FromEnd {
		put(comp.Props, ical.PropTrigger, duration(a.Offset), ical.ParamRelated, "END")
	} else {
		put(comp.Props, ical.PropTrigger, duration(a.Offset))
	}
	return comp
}

// put appends a property whose value is already in its written form, with at
// most one parameter, given as name and value. No parameter ever holds text
// that a person typed.
func put(p ical.Props, name, value string, param ...string) {
	prop := ical.Prop{Name: name, Value: value}
	if len(param) == 2 {
		prop.Params = ical.Params{param[0]: {param[1]}}
	}
	p[name] = append(p[name], prop)
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
	const reach = 36 * time.Hour
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

// Package read reads calendar files that somebody else wrote (RFC 5545) and
// says when their owner is busy.
//
// Foreign files are full of faults and now and then hostile, so reading is
// lenient and bounded: what can be understood is kept, what is lost is
// reported with its line, and no file costs more than its limits allow.
// Nothing here keeps, logs or reports what an event is about: titles, places
// and descriptions are never even looked at.
//
// The package is pure but for the zone data of the machine, and it does not
// fetch anything.
package read

import (
	"fmt"
	"io"
	"time"

	"chairblock/scheduling"
)

// Options says how a file is read. The zero value is usable.
type Options struct {
	// Zone is the salon's zone: that of whole days, of times without a zone and
	// of times whose zone nobody knows. Nil means UTC.
	Zone *time.Location
	// AllDayBusy makes opaque events of whole days count as busy.
	AllDayBusy bool
	Limits     Limits
}

// Limits bounds what one file may cost. A field of 0 means its default, which
// is ours, not a standard's: judgement, so that the greatest files of
// real calendars pass several times over.
type Limits struct {
	Bytes      int // of the whole file; 5 MB
	Line       int // bytes of one unfolded line, which is skipped when longer; 16 KB
	Parameter  int // bytes of one parameter of a line, likewise; 2 KB
	Depth      int // of components inside each other, deeper ones are skipped; 6
	Components int // in the whole file; 50,000
	Properties int // in the whole file; 500,000
	Zones      int // different names of time zones; 200
	Problems   int // problems told one by one; 200
	Intervals  int // results of one call of Busy; 10,000
	Steps      int // days or times that one call of Busy looks at; 20,000,000
}

func (l Limits) withDefaults() Limits {
	for _, f := range []struct {
		field    *int
		standard int
	}{
		{&l.Bytes, 5 << 20}, {&l.Line, 16 << 10}, {&l.Parameter, 2 << 10}, {&l.Depth, 6},
		{&l.Components, 50_000}, {&l.Properties, 500_000}, {&l.Zones, 200},
		{&l.Problems, 200}, {&l.Intervals, 10_000}, {&l.Steps, 20_000_000},
	} {
		if *f.field <= 0 {
			*f.field = f.standard
		}
	}
	return l
}

// Calendar is what was understood of one file. It does not change and may be
// used by several goroutines.
type Calendar struct {
	// Method is the METHOD of the file in capitals, such as "REPLY", or empty.
	Method string
	// Events are the events in the order of the file, those that stand for one
	// instance of a series among them. They all have been read, whether or not
	// they make anybody busy.
	Events []Event

	zone       *time.Location
	allDayBusy bool
	limits     Limits
	series     []series
	periods    []Interval // of VFREEBUSY, unsorted
}

// Event is what a file says of one event, without what it is about.
type Event struct {
	// UID is the event's name in the world, as written; empty when it has none.
	UID string
	// Sequence is the revision, 0 when it says none.
	Sequence int
	// Stamp is when this copy or revision was made; zero when it says none.
	Stamp time.Time
	// RecurrenceID is the planned start of the instance of a series that the
	// event stands for; zero when it stands for itself.
	RecurrenceID time.Time
	// Start and End bound the event, or the first one of its series, in the
	// salon's zone. Both are zero when the event has no start, as in a reply.
	// An event without length has End equal to Start.
	Start, End time.Time
	AllDay     bool
	// Status is TENTATIVE, CONFIRMED, CANCELLED, empty or whatever the file
	// says, in capitals.
	Status    string
	Organizer string // mail address, or empty
	Attendees []Attendee

	line      int
	busy      bool // opaque and not cancelled
	tentative bool
	start     moment
	length    span
	repeats   recurrence
	replaces  moment // RECURRENCE-ID as written
}

// Attendee is one person asked to an event and the answer.
type Attendee struct {
	Address string // mail address, or another address as written
	// PartStat is the answer in capitals: NEEDS-ACTION when there is none,
	// ACCEPTED, DECLINED, TENTATIVE, DELEGATED or whatever the file says.
	PartStat string
}

// Interval is a stretch of busy time. End is after Start.
type Interval struct {
	Start, End time.Time
	// AllDay is set when whole days of the salon's zone are meant.
	AllDay bool
	// Tentative is set when the owner has not settled it yet.
	Tentative bool
}

// Parse reads a calendar file. Problems say what of it was lost or is
// doubtful, in the order of the file.
//
// Parse returns a *scheduling.InvalidError when r holds no calendar at all (a
// web page, an empty file) or exceeds a limit of the whole file, and the error
// of r, wrapped, when it cannot be read.
func Parse(r io.Reader, o Options) (*Calendar, []Problem, error) {
	limits := o.Limits.withDefaults()
	data, err := io.ReadAll(io.LimitReader(r, int64(limits.Bytes)+1))
	if err != nil {
		return nil, nil, fmt.Errorf("ics/read: parse: %w", err)
	}
	if len(data) > limits.Bytes {
		return nil, nil, tooMuch("bytes", limits.Bytes)
	}
	data, err = plainText(data)
	if err != nil {
		return nil, nil, err
	}
	log := problems{limit: limits.Problems}
	roots, err := components(data, limits, &log)
	if err != nil {
		return nil, nil, err
	}
	zone := o.Zone
	if zone == nil {
		zone = time.UTC
	}
	c := &Calendar{zone: zone, allDayBusy: o.AllDayBusy, limits: limits}
	left := zoneLimits{named: limits.Zones, steps: zoneSteps}
	for i, root := range roots {
		if i == 0 {
			c.Method = root.upper("METHOD")
		}
		c.take(root, &left, &log)
	}
	c.gather(&log)
	return c, log.list(), nil
}

func tooMuch(what string, limit int) error {
	return &scheduling.InvalidError{Field: "calendar", Problem: fmt.Sprintf("has more than %d %s", limit, what), Want: "a smaller calendar, or one of fewer years"}
}

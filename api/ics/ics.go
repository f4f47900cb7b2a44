// Package ics writes calendar objects (RFC 5545, RFC 7986): it turns plain
// values into the bytes of a subscription feed and answers the requests of
// subscribed calendars.
//
// Writing is pure: the same values give the same bytes, wherever and whenever
// they are encoded with the same zone data. Nothing here decides who may see
// a feed, and a feed is not a way to remind anybody: web calendars poll every
// 8 to 24 hours and most calendars drop the alarms of subscribed feeds.
package ics

import (
	"time"

	"github.com/rickb777/date"
)

// Renderer is the version of what this package writes. It rises whenever the
// same values give other bytes, so that entity tags change with it.
const Renderer = 5

// DefaultRefresh is the polling interval that a calendar without one asks for
// (judgement).
const DefaultRefresh = 15 * time.Minute

// Calendar is one feed.
type Calendar struct {
	// Name is the calendar's name as phones show it; required.
	Name        string
	Description string
	// Zone is the salon's time zone, loaded by its IANA name.
	Zone *time.Location
	// Refresh is the polling interval to ask for, in whole seconds; 0 means
	// DefaultRefresh.
	Refresh time.Duration
	// Color is a colour name of CSS3, such as "steelblue", or empty.
	Color string
	// LastModified is when the data last changed; the zero time leaves it out.
	LastModified time.Time
	Events       []Event
}

// Status says whether an event takes place.
type Status string

// The statuses of an event (RFC 5545 section 3.8.1.11).
const (
	Tentative Status = "TENTATIVE"
	Confirmed Status = "CONFIRMED"
	Cancelled Status = "CANCELLED"
)

// Event is one entry of a calendar.
type Event struct {
	// UID is unique in the world and the same for ever; 1 to 255 octets.
	UID string
	// Stamp is when the event was last revised, never when it is written.
	Stamp time.Time
	// Sequence starts at 0 and rises with every change of time or status. A
	// cancelled event has at least 1.
	Sequence int
	// Start and End bound a timed event, which lasts at least a second.
	// Fractions of a second are cut off.
	Start, End time.Time
	// AllDay makes it an event of whole days from StartDate up to, not
	// including, EndDate; Start and End are then ignored.
	AllDay             bool
	StartDate, EndDate date.Date
	// Summary is the title; required.
	Summary     string
	Description string
	Location    string
	// URL is empty or an absolute http or https address.
	URL    string
	Status Status
	// Busy is whether the time counts as taken.
	Busy       bool
	Alarms     []Alarm
	RelatedTo  []Relation
	Categories []string
}

// Alarm shows a text at a time near its event.
type Alarm struct {
	// UID is unlike that of any other alarm or event.
	UID string
	// Text is what is shown; required.
	Text string
	// Offset is added to the event's start, or to its end when FromEnd is set;
	// negative is before. Whole seconds.
	Offset  time.Duration
	FromEnd bool
}

// RelationType says how an event stands to another one of the same calendar.
type RelationType string

// Relations whose direction all readers agree on (RFC 5545 section 3.2.15,
// RFC 9253).
const (
	Parent RelationType = "PARENT"
	Next   RelationType = "NEXT"  // the other one follows this one
	First  RelationType = "FIRST" // the other one is the first of the row
)

// Relation points from its event to another one of the same calendar.
type Relation struct {
	Type RelationType
	UID  string
}

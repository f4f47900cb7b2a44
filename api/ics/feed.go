package ics

import (
	"strings"
	"time"
	"unicode"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// The days that a feed shows beside today (judgement). Feeds beyond about 1 MB or 1,000
// events are reported to lose some in a web calendar (from memory).
const (
	DaysBack  = 30
	DaysAhead = 180
	// MostEvents is the most events of a feed.
	MostEvents = 1000
)

// Window returns the first and the last day of a feed fetched on a day.
func Window(on date.Date) (from, to date.Date) {
	return on.Add(-DaysBack), on.Add(DaysAhead)
}

// Feed is what a feed says of itself; its fields are those of Calendar.
type Feed struct {
	Name, Description string
	Zone              *time.Location
	Color             string
	LastModified      time.Time
}

func (f Feed) calendar(events []Event) Calendar {
	return Calendar{
		Name: f.Name, Description: f.Description, Zone: f.Zone, Color: f.Color,
		LastModified: f.LastModified, Events: events,
	}
}

// clock is t as the salon's clocks show it.
func (f Feed) clock(t time.Time) string { return t.In(f.Zone).Format("15:04") }

// initials reports whether s may stand for a client in a feed: a few letters,
// nothing that could be a name, a number or an address.
func initials(s string) bool {
	run := 0
	for _, r := range s {
		switch {
		case unicode.IsLetter(r):
			if run++; run > 2 {
				return false
			}
		case unicode.IsMark(r):
		case r == '.' || r == ' ' || r == '-':
			run = 0
		default:
			return false
		}
	}
	return len([]rune(s)) <= 12
}

// needZone refuses a feed whose clock times could not be told.
func (f Feed) needZone() error {
	var faults scheduling.Faults
	checkZone(&faults, f.Zone)
	return faults.Err()
}

// sentence joins the parts that are not empty.
func sentence(sep string, parts ...string) string {
	kept := make([]string, 0, len(parts))
	for _, p := range parts {
		if p = strings.TrimSpace(p); p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, sep)
}

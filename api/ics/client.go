package ics

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// Appointment is one visit as its client sees it.
type Appointment struct {
	// UID survives every move, Sequence rises with every change of time and
	// with the cancellation, Changed is the time of the last change.
	UID        string
	Sequence   int
	Changed    time.Time
	Start, End time.Time
	Services   []string
	// Salon, Address and Phone are the salon's own.
	Salon, Address, Phone string
	// Link is empty or the address at which the client changes the appointment.
	Link string
	// Cancelled keeps the appointment, marked and free, until the day of its
	// old end is over; its aftercare and retouch are left out at once.
	Cancelled bool
	// Prepare are lines on how to come, such as PrepareChemical.
	Prepare []string
	// Aftercare is what the hair must be kept from; empty without chemical work.
	// Each stretch becomes an event of its own: one when hair may be washed and
	// tied again at the same time, two when not, so that each has its own end.
	Aftercare []Aftercare
	Retouch   *Retouch
}

// Aftercare is a stretch of real hours after a visit.
type Aftercare struct {
	UID      string
	Sequence int
	Changed  time.Time
	// AlarmUID is that of the alarm at its end.
	AlarmUID string
	// From is the real end of the visit; the zero time means the planned one.
	From, Until time.Time
	// Keep says how the hair is to be kept, such as "dry and untied".
	Keep string
	// Rules are lines on what that means, such as AftercareStraightening.
	Rules []string
}

// Retouch is the day on which the regrowth should be long enough.
type Retouch struct {
	UID      string
	Sequence int
	Changed  time.Time
	Date     date.Date
	// Earliest and Latest give the range when both are set.
	Earliest, Latest date.Date
	// Link is empty or the address at which to book.
	Link string
}

// PrepareChemical tells how to come to a straightening or another chemical
// service. Common practice, no source.
func PrepareChemical() []string {
	return []string{
		"Eat something first: it is a long sit.",
		"Come without oil in your hair.",
		"Do not brush or scratch your scalp on the day before and on the day itself.",
		"Wear nothing with a high collar, and no hair tie on the way home.",
	}
}

// The lines below tell how straightened hair is treated until it may be washed
// and tied. Common practice, no source; the maker's directions come first.
const (
	noWater = "No water and no shampoo."
	noTies  = "No ties, clips, pins or hats, and do not tuck it behind your ears."
	gotWet  = "If it gets wet or sweaty, dry it at once, combed straight down."
)

// AftercareStraightening is for hours in which hair is neither washed nor tied;
// emergency is the number to call, "" where the salon has given none.
func AftercareStraightening(emergency string) []string {
	return append([]string{noWater + " " + noTies, gotWet}, whenInTrouble(emergency)...)
}

// AftercareDry is for hours in which it stays dry, when those for ties are
// others.
func AftercareDry(emergency string) []string {
	return append([]string{noWater, gotWet}, whenInTrouble(emergency)...)
}

// AftercareUntied is for hours without ties, when those without water are others.
func AftercareUntied() []string { return []string{noTies} }

func whenInTrouble(emergency string) []string {
	return []string{
		"Burning, blisters or hair that snaps: call us.",
		"Swelling of the face or trouble breathing: call " + cmp.Or(emergency, "the emergency services") + " at once.",
	}
}

// ClientFeed is the calendar of one client as it is fetched on a day of the
// salon's zone: each appointment as one block, its aftercare with an alarm at
// the end, and the day of the retouch. What ended before the window is left out:
// a retouch is shown long after its visit.
//
// ClientFeed returns scheduling.Faults, with paths such as
// "appointments[0].services", for values that it cannot say in words; Encode
// finds the rest.
func ClientFeed(f Feed, on date.Date, appointments []Appointment) (Calendar, error) {
	if err := f.needZone(); err != nil {
		return Calendar{}, fmt.Errorf("ics: client feed: %w", err)
	}
	var faults scheduling.Faults
	var events []Event
	first, _ := Window(on)
	from, _ := scheduling.DayBounds(f.Zone, first)
	for i, a := range appointments {
		at := fmt.Sprintf("appointments[%d]", i)
		a.check(&faults, at)
		if a.Cancelled && scheduling.CivilDate(a.End, f.Zone).Before(on) {
			continue
		}
		if a.End.After(from) {
			events = append(events, f.appointmentEvent(a))
		}
		if a.Cancelled {
			continue
		}
		for _, care := range a.Aftercare {
			if care.Until.After(from) {
				events = append(events, f.aftercareEvent(a, care))
			}
		}
		if a.Retouch != nil {
			events = append(events, retouchEvent(a, *a.Retouch))
		}
	}
	if err := faults.Err(); err != nil {
		return Calendar{}, fmt.Errorf("ics: client feed: %w", err)
	}
	return f.calendar(events), nil
}

func (a Appointment) check(f *scheduling.Faults, at string) {
	if oneLine(sentence(" ", a.Services...)) == "" {
		f.Add(at+".services", "are missing", "what the client comes for")
	}
	for i, care := range a.Aftercare {
		field := fmt.Sprintf("%s.aftercare[%d]", at, i)
		if oneLine(care.Keep) == "" {
			f.Add(field+".keep", "is empty", "how to keep the hair, such as dry and untied")
		}
		if from := care.from(a); !care.Until.After(from) {
			f.Addf(field+".until", "a time after the visit", "is %s, not after %s", care.Until.Format(time.RFC3339), from.Format(time.RFC3339))
		}
	}
	if r := a.Retouch; r != nil && r.ranged() && (r.Date.Before(r.Earliest) || r.Latest.Before(r.Date)) {
		f.Addf(at+".retouch.date", "a day of the range", "is %s, outside %s to %s", r.Date, r.Earliest, r.Latest)
	}
}

func (f Feed) appointmentEvent(a Appointment) Event {
	e := Event{
		UID: a.UID, Stamp: a.Changed, Sequence: a.Sequence,
		Start: a.Start, End: a.End,
		Summary:     strings.Join(a.Services, ", "),
		Description: f.appointmentText(a),
		Location:    sentence(", ", a.Salon, a.Address),
		URL:         a.Link,
		Status:      Confirmed,
		Busy:        true,
	}
	if a.Salon != "" {
		e.Summary += " at " + a.Salon
	}
	if a.Cancelled {
		e.Summary = "Cancelled: " + e.Summary
		e.Status, e.Busy = Cancelled, false
	}
	return e
}

func (f Feed) appointmentText(a Appointment) string {
	if a.Cancelled {
		return sentence("\n", "This appointment does not take place.", linked("Book another time: ", a.Link), linked("Call us: ", a.Phone))
	}
	lines := []string{"Please plan for about " + stay(a.End.Sub(a.Start)) + ", until " + f.clock(a.End) + "."}
	lines = append(lines, a.Prepare...)
	lines = append(lines, linked("Change or cancel: ", a.Link), linked("Call us: ", a.Phone))
	return sentence("\n", lines...)
}

func (f Feed) aftercareEvent(a Appointment, care Aftercare) Event {
	until := care.Until.In(f.Zone).Format("Mon 15:04")
	lines := append([]string{"Until " + care.Until.In(f.Zone).Format("Monday 2 January, 15:04") + "."}, care.Rules...)
	return Event{
		UID: care.UID, Stamp: care.Changed, Sequence: care.Sequence,
		Start: care.from(a), End: care.Until,
		Summary:     "Keep your hair " + care.Keep + " until " + until,
		Description: sentence("\n", append(lines, linked("Call us: ", a.Phone))...),
		Status:      Confirmed,
		Alarms:      []Alarm{{UID: care.AlarmUID, Text: "You need not keep your hair " + care.Keep + " any longer.", FromEnd: true}},
	}
}

func retouchEvent(a Appointment, r Retouch) Event {
	e := Event{
		UID: r.UID, Stamp: r.Changed, Sequence: r.Sequence,
		AllDay: true, StartDate: r.Date, EndDate: r.Date.Add(1),
		Summary: "Time for a retouch?",
		URL:     r.Link,
		Status:  Tentative,
	}
	if a.Salon != "" {
		e.Summary = "Time for a retouch at " + a.Salon + "?"
	}
	text := "About now your new growth should be long enough to treat. Nothing is booked yet."
	if r.ranged() {
		text += " It may be ready between " + longDate(r.Earliest) + " and " + longDate(r.Latest) + "."
	}
	e.Description = sentence("\n", text, linked("Book: ", r.Link), linked("Call us: ", a.Phone))
	return e
}

func (care Aftercare) from(a Appointment) time.Time {
	if care.From.IsZero() {
		return a.End
	}
	return care.From
}

func (r Retouch) ranged() bool { return !r.Earliest.IsZero() && !r.Latest.IsZero() }

func longDate(d date.Date) string { return d.UTC().Format("2 January 2006") }

// linked is label and value, or nothing without a value.
func linked(label, value string) string {
	if value == "" {
		return ""
	}
	return label + value
}

// stay is a length in hours and minutes.
func stay(d time.Duration) string {
	h, m := int(d/time.Hour), int(d%time.Hour/time.Minute)
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	default:
		return fmt.Sprintf("%d h %d min", h, m)
	}
}

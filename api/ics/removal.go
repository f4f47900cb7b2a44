package ics

import (
	"fmt"
	"strconv"
	"time"

	"github.com/emersion/go-ical"

	"chairblock/scheduling"
)

// Removal takes a visit out of the calendar of an address that was invited to it
// and is told of it no more. It says which entry that is and nothing else: whoever
// reads that address may be a stranger by now, whom it does not concern when the
// visit takes place, where and what for.
type Removal struct {
	UID       string
	Sequence  int  // of the appointment as it is now, at least 1
	Over      bool // the appointment takes place for nobody any more
	Organizer Party
	Attendee  Party
	Written   time.Time // when the object is made
}

// Encode returns the removal as a stream of folded lines with the method CANCEL.
// It returns scheduling.Faults, with paths such as "attendee.mail", when a value
// cannot be written; nothing is written then.
func (r Removal) Encode() ([]byte, error) {
	var f scheduling.Faults
	checkUID(&f, map[string]string{}, "uid", r.UID)
	if r.Sequence < 1 {
		f.Addf("sequence", "at least 1, since every CANCEL raises it", "is %d", r.Sequence)
	}
	if r.Written.IsZero() {
		f.Add("written", "is missing", "when the removal is made")
	} else {
		checkYear(&f, "written", r.Written.Year())
	}
	r.Organizer.check(&f, "organizer")
	r.Attendee.check(&f, "attendee")
	if err := f.Err(); err != nil {
		return nil, fmt.Errorf("ics: removal: %w", err)
	}
	cal := ical.NewCalendar()
	put(cal.Props, ical.PropProductID, inviterID)
	put(cal.Props, ical.PropVersion, "2.0")
	put(cal.Props, ical.PropMethod, Cancel)
	comp := ical.NewComponent(ical.CompEvent)
	put(comp.Props, ical.PropUID, r.UID)
	put(comp.Props, ical.PropDateTimeStamp, instant(r.Written))
	put(comp.Props, ical.PropSequence, strconv.Itoa(r.Sequence))
	if r.Over { // stands only where nobody is invited any more (RFC 5546 section 3.2.5)
		put(comp.Props, ical.PropStatus, string(Cancelled))
	}
	comp.Props[ical.PropOrganizer] = []ical.Prop{r.Organizer.prop(ical.PropOrganizer)}
	comp.Props[ical.PropAttendee] = []ical.Prop{r.Attendee.prop(ical.PropAttendee)}
	cal.Children = append(cal.Children, comp)
	var out folder
	if err := ical.NewEncoder(&out).Encode(cal); err != nil {
		return nil, fmt.Errorf("ics: removal: %w", err)
	}
	return out.out.Bytes(), nil
}

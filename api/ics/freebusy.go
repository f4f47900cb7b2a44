package ics

import (
	"fmt"
	"time"

	"github.com/emersion/go-ical"

	"chairblock/scheduling"
)

// FreeBusyDays is how many days from today on free/busy time is told for (judgement: two
// months).
const FreeBusyDays = 60

const freeBusyID = "-//chairblock//free and busy time//EN"

// Period is a stretch of time in which somebody is not free.
type Period struct {
	Start, End time.Time
	// Unavailable is time in which nothing can be planned for them, such as an
	// absence; otherwise something is.
	Unavailable bool
}

// FreeBusy is when somebody is busy, without saying with what (RFC 5545 section
// 3.6.4). It is an object without a method: publishing it with one would need an
// ORGANIZER (RFC 5546 section 3.3.1, from memory), which is a mail address.
type FreeBusy struct {
	// Name is what programs show; required.
	Name string
	UID  string
	// Stamp is when what is said was last revised, as far as that is known.
	Stamp      time.Time
	Start, End time.Time // what is told about
	// Busy are stretches in the order of their start that do not overlap and lie
	// between Start and End. The rest is free.
	Busy []Period
}

// Encode returns the object as a stream of folded lines, one for each period:
// some readers refuse lists. All times are in UTC. It returns scheduling.Faults,
// with paths such as "busy[2].start", when a value cannot be written.
func (b FreeBusy) Encode() ([]byte, error) {
	if err := b.check(); err != nil {
		return nil, fmt.Errorf("ics: free/busy: %w", err)
	}
	w := lines{out: make([]byte, 0, 64*(len(b.Busy)+8))}
	w.raw("BEGIN", ical.CompCalendar)
	name, refresh := oneLine(b.Name), duration(DefaultRefresh)
	w.text(ical.PropName, name)
	w.raw(ical.PropProductID, freeBusyID)
	w.raw(ical.PropRefreshInterval+";VALUE=DURATION", refresh)
	w.raw(ical.PropVersion, "2.0")
	w.raw("X-PUBLISHED-TTL", refresh)
	w.text("X-WR-CALNAME", name)
	w.raw("BEGIN", ical.CompFreeBusy)
	w.instant(ical.PropDateTimeEnd, b.End)
	w.instant(ical.PropDateTimeStamp, b.Stamp)
	w.instant(ical.PropDateTimeStart, b.Start)
	for _, p := range b.Busy {
		kind := "BUSY" // said although it is the default: some readers show nothing without it
		if p.Unavailable {
			kind = "BUSY-UNAVAILABLE"
		}
		w.period(ical.PropFreeBusy+";FBTYPE="+kind, p.Start, p.End)
	}
	w.text(ical.PropUID, b.UID)
	w.raw("END", ical.CompFreeBusy)
	w.raw("END", ical.CompCalendar)
	return w.out, nil
}

func (b FreeBusy) check() error {
	var f scheduling.Faults
	if oneLine(b.Name) == "" {
		f.Add("name", "is empty", "whose time it is")
	}
	checkUID(&f, map[string]string{}, "uid", b.UID)
	for _, x := range []struct {
		field string
		at    time.Time
	}{{"stamp", b.Stamp}, {"start", b.Start}, {"end", b.End}} {
		checkYear(&f, x.field, x.at.Year())
	}
	if b.End.Unix() <= b.Start.Unix() {
		f.Addf("end", "a time after the start", "is %s, not after %s", b.End.Format(time.RFC3339), b.Start.Format(time.RFC3339))
	}
	last := b.Start
	for i, p := range b.Busy {
		if p.Start.Before(last) {
			f.Addf(fmt.Sprintf("busy[%d].start", i), "periods in order within start and end, one after the other", "is at %s", p.Start.Format(time.RFC3339))
		}
		if p.End.Unix() <= p.Start.Unix() || p.End.After(b.End) {
			f.Addf(fmt.Sprintf("busy[%d].end", i), "a time after its start and not after the end", "is at %s", p.End.Format(time.RFC3339))
		}
		last = p.End
	}
	return f.Err()
}

package ics

import (
	"fmt"
	netmail "net/mail"
	"strings"
	"time"

	"github.com/emersion/go-ical"

	"chairblock/scheduling"
)

// Methods of the invitations that are written here (RFC 5546 section 1.4).
const (
	Request = "REQUEST"
	Cancel  = "CANCEL"
)

const inviterID = "-//chairblock//invitation//EN"

// Party is who invites or is invited.
type Party struct {
	Name string // may be empty
	Mail string // a bare mail address in ASCII
}

// Invitation is one visit as a mail program is to put it into the calendar of
// its client, change it there or take it out: one object for one mail.
//
// It holds no alarm. What reminds of the visit comes from the salon, and whoever
// wants an alarm beside sets it in her own calendar.
type Invitation struct {
	Appointment // without aftercare and retouch, which nobody is invited to
	Zone        *time.Location
	Organizer   Party
	Attendee    Party
	// Written is when the object is made, which DTSTAMP says in one with a
	// method (RFC 5545 section 3.8.7.2).
	Written time.Time
}

// Method is CANCEL for an appointment that is cancelled and REQUEST for every
// other one, new or changed.
func (v Invitation) Method() string {
	if v.Cancelled {
		return Cancel
	}
	return Request
}

// Encode returns the invitation as a stream of folded lines, with the time zone
// it needs. It returns scheduling.Faults, with paths such as "attendee.mail",
// when a value cannot be written; nothing is written then.
func (v Invitation) Encode() ([]byte, error) {
	f := Feed{Zone: v.Zone}
	if err := f.needZone(); err != nil {
		return nil, fmt.Errorf("ics: invitation: %w", err)
	}
	v.Aftercare, v.Retouch = nil, nil
	e := f.appointmentEvent(v.Appointment)
	if err := v.faults(e); err != nil {
		return nil, fmt.Errorf("ics: invitation: %w", err)
	}
	cal := ical.NewCalendar()
	put(cal.Props, ical.PropProductID, inviterID)
	put(cal.Props, ical.PropVersion, "2.0")
	put(cal.Props, ical.PropMethod, v.Method())
	comp := Calendar{Zone: v.Zone}.event(e)
	if comp.Props.Get(ical.PropDateTimeStart).Params.Get(ical.ParamTimezoneID) != "" {
		cal.Children = append(cal.Children, timezone(v.Zone, e.Start, e.End))
	}
	delete(comp.Props, ical.PropDateTimeStamp)
	put(comp.Props, ical.PropDateTimeStamp, instant(v.Written))
	comp.Props[ical.PropOrganizer] = []ical.Prop{v.Organizer.prop(ical.PropOrganizer)}
	comp.Props[ical.PropAttendee] = []ical.Prop{v.invited()}
	cal.Children = append(cal.Children, comp)
	var out folder
	if err := ical.NewEncoder(&out).Encode(cal); err != nil {
		return nil, fmt.Errorf("ics: invitation: %w", err)
	}
	return out.out.Bytes(), nil
}

func (v Invitation) faults(e Event) error {
	var f scheduling.Faults
	v.check(&f, "appointment")
	checkUID(&f, map[string]string{}, "uid", e.UID)
	e.check(&f)
	if v.Written.IsZero() {
		f.Add("written", "is missing", "when the invitation is made")
	} else {
		checkYear(&f, "written", v.Written.Year())
	}
	v.Organizer.check(&f, "organizer")
	v.Attendee.check(&f, "attendee")
	return f.Err()
}

// invited is the attendee with what is asked of her (RFC 5546 section 3.2.2);
// a cancellation asks nothing.
func (v Invitation) invited() ical.Prop {
	p := v.Attendee.prop(ical.PropAttendee)
	p.Params.Set(ical.ParamCalendarUserType, "INDIVIDUAL")
	p.Params.Set(ical.ParamRole, "REQ-PARTICIPANT")
	if !v.Cancelled {
		p.Params.Set(ical.ParamParticipationStatus, "NEEDS-ACTION")
		p.Params.Set(ical.ParamRSVP, "TRUE")
	}
	return p
}

// check wants an address that can stand behind mailto: and in a mail's header.
func (p Party) check(f *scheduling.Faults, at string) {
	parsed, err := netmail.ParseAddress(p.Mail)
	ok := err == nil && parsed.Address == p.Mail && len(p.Mail) <= 254 &&
		!strings.ContainsFunc(p.Mail, func(r rune) bool { return r <= ' ' || r > '~' || strings.ContainsRune(`"(),:;<>[\]`, r) })
	if !ok {
		f.Add(at+".mail", "is not a mail address", "name@host in plain ASCII")
	}
}

func (p Party) prop(name string) ical.Prop {
	out := ical.Prop{Name: name, Params: ical.Params{}, Value: "mailto:" + mailto.Replace(p.Mail)}
	if n := paramText(p.Name); n != "" {
		out.Params.Set(ical.ParamCommonName, n)
	}
	return out
}

// mailto writes what an address may hold and a URI may not (RFC 6068 section 2).
var mailto = strings.NewReplacer("%", "%25", "/", "%2F", "?", "%3F", "#", "%23", "&", "%26", "=", "%3D",
	"^", "%5E", "`", "%60", "{", "%7B", "|", "%7C", "}", "%7D")

// maxName is the longest name beside an address, in characters; judgement.
const maxName = 80

// paramText is a name as the value of a parameter, where quotes and carets have
// to be written otherwise (RFC 6868 section 3.1).
func paramText(s string) string {
	if list := []rune(oneLine(s)); len(list) > maxName {
		s = string(list[:maxName])
	}
	return carets.Replace(oneLine(s))
}

var carets = strings.NewReplacer("^", "^^", `"`, "^'")

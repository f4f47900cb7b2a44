package ics

import (
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// invited is the invitation to the straightening, written when it was booked.
func invited() Invitation {
	a := appointments()[1]
	return Invitation{
		Appointment: a, Zone: client().Zone, Written: revised.Add(5 * time.Second),
		Organizer: Party{"Plain Salon", "replies+3vq7tmzc6y5i2k4h@salon.example"},
		Attendee:  Party{"Mara", "mara@client.example"},
	}
}

func written(t testing.TB, v Invitation) string {
	t.Helper()
	out, err := v.Encode()
	require.NoError(t, err)
	return string(out)
}

// unfolded are the content lines of a calendar object.
func unfolded(s string) []string {
	return strings.Split(strings.TrimSuffix(strings.ReplaceAll(s, "\r\n ", ""), "\r\n"), "\r\n")
}

func TestInvitations(t *testing.T) {
	first := invited()
	moved := first
	moved.Sequence, moved.Changed, moved.Written = 1, revised.Add(time.Hour), revised.Add(time.Hour)
	moved.Start, moved.End = first.Start.Add(24*time.Hour), first.End.Add(24*time.Hour)
	gone := moved
	gone.Sequence, gone.Changed, gone.Written = 2, revised.Add(2*time.Hour), revised.Add(2*time.Hour)
	gone.Cancelled = true
	for name, v := range map[string]Invitation{"invite_request.ics": first, "invite_update.ics": moved, "invite_cancel.ics": gone} {
		t.Run(name, func(t *testing.T) { golden(t, name, []byte(written(t, v))) })
	}
}

// RFC 5546 section 3.2.2 says what a REQUEST holds, 3.2.5 what a CANCEL does, and
// 2.1.4 that every CANCEL raises the sequence.
func TestInvitationsHoldWhatTheirMethodsAsk(t *testing.T) {
	for _, cancelled := range []bool{false, true} {
		v := invited()
		if v.Cancelled = cancelled; cancelled {
			v.Sequence = 1
		}
		lines := unfolded(written(t, v))
		count := map[string]int{}
		for _, l := range lines[:] {
			count[l[:strings.IndexAny(l, ":;")]]++
		}
		for _, name := range []string{"METHOD", "ORGANIZER", "ATTENDEE", "DTSTAMP", "UID", "SEQUENCE", "SUMMARY", "LOCATION"} {
			require.Equal(t, 1, count[name], name)
		}
		require.Equal(t, 1, strings.Count(strings.Join(lines, "\n"), "BEGIN:VTIMEZONE"))
		require.Zero(t, strings.Count(strings.Join(lines, "\n"), "VALARM"))
		require.Contains(t, lines, "METHOD:"+v.Method())
		require.Contains(t, lines, "DTSTAMP:20261120T083005Z", "when it was written, not when the visit changed")
		require.Contains(t, lines, "ORGANIZER;CN=Plain Salon:mailto:replies+3vq7tmzc6y5i2k4h@salon.example")
		if cancelled {
			require.Contains(t, lines, "STATUS:CANCELLED")
			require.Contains(t, lines, "ATTENDEE;CN=Mara;CUTYPE=INDIVIDUAL;ROLE=REQ-PARTICIPANT:mailto:mara@client.example")
			require.Contains(t, lines, "TRANSP:TRANSPARENT")
		} else {
			require.Contains(t, lines, "STATUS:CONFIRMED")
			require.Contains(t, lines, "ATTENDEE;CN=Mara;CUTYPE=INDIVIDUAL;PARTSTAT=NEEDS-ACTION;ROLE=REQ-PARTICIPANT;RSVP=TRUE:mailto:mara@client.example")
		}
	}
}

func TestAnInvitationHasTheSameUIDAsTheFeed(t *testing.T) {
	c, err := ClientFeed(client(), thursday, appointments()[1:])
	require.NoError(t, err)
	require.Contains(t, unfolded(written(t, invited())), "UID:"+c.Events[0].UID)
}

func TestNobodyIsInvitedToAftercare(t *testing.T) {
	out := written(t, invited())
	require.Equal(t, 1, strings.Count(out, "BEGIN:VEVENT"), "one object in one mail")
	require.NotContains(t, out, "Keep your hair")
}

// A wall time that occurs twice is written in UTC, which needs no zone.
func TestAnInvitationToAnHourThatOccursTwice(t *testing.T) {
	v := invited()
	v.Start = time.Date(2026, time.October, 25, 1, 30, 0, 0, time.UTC) // the second 01:30
	v.End = v.Start.Add(time.Hour)
	out := written(t, v)
	require.Contains(t, out, "DTSTART:20261025T013000Z\r\n")
	require.NotContains(t, out, "VTIMEZONE")
}

func TestInvitationsInOtherZones(t *testing.T) {
	for name, wall := range map[string]string{"America/New_York": "20261126T040000", "Australia/Lord_Howe": "20261126T200000"} {
		v := invited()
		var err error
		v.Zone, err = time.LoadLocation(name)
		require.NoError(t, err)
		out := written(t, v)
		require.Contains(t, out, "DTSTART;TZID="+name+":"+wall+"\r\n")
		require.Contains(t, out, "TZID:"+name+"\r\n")
	}
}

func TestNamesAreCleanedAndQuoted(t *testing.T) {
	for name, want := range map[string]string{
		`Mara "Mo" Quist`:               "CN=Mara ^'Mo^' Quist;",
		"a^b":                           "CN=a^^b;",
		"Quist, Mara":                   `CN="Quist, Mara";`,
		"x;PARTSTAT=ACCEPTED:y":         `CN="x;PARTSTAT=ACCEPTED:y";`,
		"Eve\r\nATTENDEE:mailto:e@x.ex": `CN="Eve ATTENDEE:mailto:e@x.ex";`,
		"\x00\u2028":                    "ATTENDEE;CUTYPE=",
		strings.Repeat("ä", 100):        "CN=" + strings.Repeat("ä", maxName) + ";",
	} {
		v := invited()
		v.Attendee.Name = name
		lines := strings.Join(unfolded(written(t, v)), "\n")
		require.Contains(t, lines, want)
		require.Equal(t, 1, strings.Count(lines, "\nATTENDEE"))
	}
}

func TestAddressesAreURIs(t *testing.T) {
	v := invited()
	v.Attendee.Mail = "a/b?c#d%41&e=f^g@client.example"
	require.Contains(t, strings.Join(unfolded(written(t, v)), "\n"), ":mailto:a%2Fb%3Fc%23d%2541%26e%3Df%5Eg@client.example\n")
}

func TestBadInvitationsAreRefusedByName(t *testing.T) {
	for _, tt := range []struct {
		name, field string
		spoil       func(*Invitation)
	}{
		{"no organizer", "organizer.mail", func(v *Invitation) { v.Organizer.Mail = "" }},
		{"two attendees", "attendee.mail", func(v *Invitation) { v.Attendee.Mail = "a@x.example,b@x.example" }},
		{"a line break in an address", "attendee.mail", func(v *Invitation) { v.Attendee.Mail = "a@x.example\r\nX:y" }},
		{"a quoted address", "attendee.mail", func(v *Invitation) { v.Attendee.Mail = `"a b"@x.example` }},
		{"no UID", "uid", func(v *Invitation) { v.UID = "" }},
		{"cancelled without a rise", "sequence", func(v *Invitation) { v.Cancelled = true }},
		{"no service", "appointment.services", func(v *Invitation) { v.Services = nil }},
		{"never written", "written", func(v *Invitation) { v.Written = time.Time{} }},
		{"ends before it begins", "end", func(v *Invitation) { v.End = v.Start }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			v := invited()
			tt.spoil(&v)
			_, err := v.Encode()
			faults, ok := errors.AsType[scheduling.Faults](err)
			require.True(t, ok, "%v", err)
			require.Len(t, faults, 1)
			require.Equal(t, tt.field, faults[0].Field)
		})
	}
	v := invited()
	v.Zone = time.Local
	_, err := v.Encode()
	require.ErrorContains(t, err, "ics: invitation: zone")
}

func FuzzInvitationsStayOneAttendee(f *testing.F) {
	for _, s := range []string{"Mara", `a"b`, "a\r\nb", "^n", "\xff", "a;b:c,d", "\u2028", strings.Repeat("x", 300)} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		v := invited()
		v.Attendee.Name, v.Organizer.Name = name, name
		for line := range strings.SplitSeq(written(t, v), "\r\n") {
			require.LessOrEqual(t, len(line), foldAt)
			require.NotContains(t, line, "\n")
		}
		lines := unfolded(written(t, v))
		found := 0
		for _, l := range lines {
			if strings.HasPrefix(l, "ATTENDEE") || strings.HasPrefix(l, "ORGANIZER") {
				found++
			}
		}
		require.Equal(t, 2, found)
		require.Len(t, lines, len(unfolded(written(t, invited()))))
	})
}

// readInvitation prints what another library makes of an invitation.
const readInvitation = `
import json, sys, datetime as dt
import icalendar
cal = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
e, = cal.walk("VEVENT")
if e.errors: sys.exit(str(e.errors))
utc = lambda v: v.astimezone(dt.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")
json.dump({"method": cal["METHOD"], "uid": e["UID"], "sequence": int(e["SEQUENCE"]), "start": utc(e["DTSTART"].dt), "end": utc(e["DTEND"].dt),
    "status": e["STATUS"], "organizer": e["ORGANIZER"], "attendee": e["ATTENDEE"], "cn": e["ATTENDEE"].params["CN"],
    "rsvp": e["ATTENDEE"].params.get("RSVP", ""), "zones": [z["TZID"] for z in cal.walk("VTIMEZONE")]}, sys.stdout)
`

func TestPythonReadsAnInvitation(t *testing.T) {
	program := python(t)
	for _, cancelled := range []bool{false, true} {
		v := invited()
		v.Attendee.Name = "Mara, von der Brücke"
		v.Start, v.End = london(date.New(2027, time.March, 28), 9, 0), london(date.New(2027, time.March, 28), 13, 30)
		want := map[string]any{"method": "REQUEST", "status": "CONFIRMED", "rsvp": "TRUE", "sequence": 3.0}
		if v.Sequence, v.Cancelled = 3, cancelled; cancelled {
			want["method"], want["status"], want["rsvp"] = "CANCEL", "CANCELLED", ""
		}
		want["uid"], want["start"], want["end"] = v.UID, "2027-03-28T08:00:00Z", "2027-03-28T12:30:00Z"
		want["organizer"], want["attendee"], want["cn"] = "mailto:"+v.Organizer.Mail, "mailto:"+v.Attendee.Mail, v.Attendee.Name
		want["zones"] = []any{"Europe/London"}
		cmd := exec.Command(program, "-c", readInvitation)
		cmd.Stdin, cmd.Stderr = strings.NewReader(written(t, v)), os.Stderr
		out, err := cmd.Output()
		require.NoError(t, err)
		var got map[string]any
		require.NoError(t, json.Unmarshal(out, &got))
		require.Equal(t, want, got)
	}
}

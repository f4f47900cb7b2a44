package read

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// london is the salon's zone of most tests.
func london(t testing.TB) *time.Location { return location(t, "Europe/London") }

func location(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

// calendar puts lines into a VCALENDAR.
func calendar(lines ...string) string {
	return "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//test//\r\n" + strings.Join(lines, "\r\n") + "\r\nEND:VCALENDAR\r\n"
}

// event puts lines into a VEVENT with a UID.
func event(uid string, lines ...string) string {
	return "BEGIN:VEVENT\r\nUID:" + uid + "\r\nDTSTAMP:20260101T000000Z\r\n" + strings.Join(lines, "\r\n") + "\r\nEND:VEVENT"
}

// parse reads a text that holds a calendar, in London, whole days counted.
func parse(t testing.TB, text string) (*Calendar, []Problem) {
	t.Helper()
	c, problems, err := Parse(strings.NewReader(text), Options{Zone: london(t), AllDayBusy: true})
	require.NoError(t, err)
	return c, problems
}

// busy returns the intervals of a text in UTC, "2026-03-01T09:00Z/10:00Z" and
// the like, between two dates, and demands that there are no problems.
func busy(t testing.TB, text, from, to string) []string {
	t.Helper()
	c, problems := parse(t, text)
	require.Empty(t, problems)
	list, problems := c.Busy(instant(t, from), instant(t, to))
	require.Empty(t, problems)
	return written(list)
}

func written(list []Interval) []string {
	var out []string
	for _, i := range list {
		s := i.Start.UTC().Format("2006-01-02T15:04:05Z") + " " + i.End.Sub(i.Start).String()
		if i.AllDay {
			s += " all day"
		}
		if i.Tentative {
			s += " tentative"
		}
		out = append(out, s)
	}
	return out
}

func instant(t testing.TB, s string) time.Time {
	t.Helper()
	for _, form := range []string{time.RFC3339, time.DateOnly} {
		if at, err := time.Parse(form, s); err == nil {
			return at
		}
	}
	require.FailNow(t, "no time", s)
	return time.Time{}
}

// what joins the problems' texts.
func what(problems []Problem) string {
	var lines []string
	for _, p := range problems {
		lines = append(lines, p.String())
	}
	return strings.Join(lines, "\n")
}

func TestAReplySaysWhoAnsweredWhat(t *testing.T) {
	c, problems := parse(t, strings.ReplaceAll(calendar("METHOD:REPLY", event("visit-1@example.org",
		"SEQUENCE:3", "RECURRENCE-ID;TZID=Europe/London:20260705T140000", "ORGANIZER;CN=\"Salon; north\":mailto:visits+k3j2@example.org",
		"ATTENDEE;CN=\"A. Person\";PARTSTAT=ACCEPTED;ROLE=REQ-PARTICIPANT:MAILTO:a.person@exam\r\n ple.org",
		"ATTENDEE:mailto:b@example.org", "SUMMARY:secret")), "DTSTAMP:20260101T000000Z", "DTSTAMP:20260701T101112Z"))
	require.Empty(t, problems)
	require.Equal(t, "REPLY", c.Method)
	require.Len(t, c.Events, 1)
	e := c.Events[0]
	require.Equal(t, "visit-1@example.org", e.UID)
	require.Equal(t, 3, e.Sequence)
	require.True(t, e.Stamp.Equal(instant(t, "2026-07-01T10:11:12Z")))
	require.True(t, e.RecurrenceID.Equal(instant(t, "2026-07-05T13:00:00Z")))
	require.Equal(t, "visits+k3j2@example.org", e.Organizer)
	require.Equal(t, []Attendee{{"a.person@example.org", "ACCEPTED"}, {"b@example.org", "NEEDS-ACTION"}}, e.Attendees)
	require.True(t, e.Start.IsZero())
}

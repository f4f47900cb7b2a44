package read

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Values of the examples in RFC 5545, with the section that they stand in.
func TestExamplesOfRFC5545MakeBusy(t *testing.T) {
	newYork := "TZID=America/New_York"
	for _, tt := range []struct {
		section, name string
		text          string
		from, to      string
		want          []string
	}{
		{"3.6.1", "a meeting makes busy", event("1", "DTSTART:19970903T163000Z", "DTEND:19970903T190000Z"),
			"1997-01-01", "1998-01-01", []string{"1997-09-03T16:30:00Z 2h30m0s"}},
		{"3.6.1", "a reminder is transparent", event("1", "DTSTART:19970401T163000Z", "DTEND:19970402T010000Z", "TRANSP:TRANSPARENT"),
			"1997-01-01", "1998-01-01", nil},
		{"3.6.1", "an anniversary is a day of every year", event("1", "DTSTART;VALUE=DATE:19971102", "RRULE:FREQ=YEARLY"),
			"1997-01-01", "1999-01-01", []string{"1997-11-02T00:00:00Z 24h0m0s all day", "1998-11-02T00:00:00Z 24h0m0s all day"}},
		{"3.6.1", "a feast of eleven days ends the day before DTEND", event("1", "DTSTART;VALUE=DATE:20070628", "DTEND;VALUE=DATE:20070709"),
			"2007-01-01", "2008-01-01", []string{"2007-06-27T23:00:00Z 264h0m0s all day"}},
		{"3.6.1", "a time without an end lasts nothing", event("1", "DTSTART:19970903T163000Z"), "1997-01-01", "1998-01-01", nil},
		{"3.6.4", "answers to a request for busy time, as lengths", "BEGIN:VFREEBUSY\r\nDTSTART:19971015T050000Z\r\nDTEND:19971016T050000Z\r\n" +
			"FREEBUSY:19971015T050000Z/PT8H30M,\r\n 19971015T160000Z/PT5H30M,19971015T223000Z/PT6H30M\r\nEND:VFREEBUSY",
			"1997-01-01", "1998-01-01", []string{"1997-10-15T05:00:00Z 8h30m0s", "1997-10-15T16:00:00Z 5h30m0s", "1997-10-15T22:30:00Z 6h30m0s"}},
		{"3.6.4", "published busy time, as ends", "BEGIN:VFREEBUSY\r\nFREEBUSY:19980314T233000Z/19980315T003000Z\r\nFREEBUSY:19980316T153000Z/19980316T163000Z\r\n" +
			"FREEBUSY:19980318T030000Z/19980318T040000Z\r\nEND:VFREEBUSY",
			"1998-01-01", "1999-01-01", []string{"1998-03-14T23:30:00Z 1h0m0s", "1998-03-16T15:30:00Z 1h0m0s", "1998-03-18T03:00:00Z 1h0m0s"}},
		{"3.8.2.6", "unavailable is busy, free is not", "BEGIN:VFREEBUSY\r\nFREEBUSY;FBTYPE=BUSY-UNAVAILABLE:19970308T160000Z/PT8H30M\r\n" +
			"FREEBUSY;FBTYPE=FREE:19970308T160000Z/PT3H,19970308T200000Z/PT1H\r\nEND:VFREEBUSY",
			"1997-01-01", "1998-01-01", []string{"1997-03-08T16:00:00Z 8h30m0s"}},
		{"3.2.9", "tentative busy time, and a type nobody knows", "BEGIN:VFREEBUSY\r\nFREEBUSY;FBTYPE=BUSY-TENTATIVE:19970308T160000Z/PT1H\r\nFREEBUSY;FBTYPE=X-AWAY:19970309T160000Z/PT1H\r\nEND:VFREEBUSY",
			"1997-01-01", "1998-01-01", []string{"1997-03-08T16:00:00Z 1h0m0s tentative", "1997-03-09T16:00:00Z 1h0m0s"}},
		{"3.8.5.1", "days taken out of a series", event("1", "DTSTART:19960401T010000Z", "DURATION:PT1H", "RRULE:FREQ=DAILY;COUNT=5", "EXDATE:19960402T010000Z,19960403T010000Z,19960404T010000Z"),
			"1996-01-01", "1997-01-01", []string{"1996-04-01T01:00:00Z 1h0m0s", "1996-04-05T01:00:00Z 1h0m0s"}},
		{"3.8.5.2", "one more time, in UTC and in a zone", event("1", "DTSTART:19970701T123000Z", "DURATION:PT1H", "RDATE:19970714T123000Z", "RDATE;"+newYork+":19970715T083000"),
			"1997-01-01", "1998-01-01", []string{"1997-07-01T12:30:00Z 1h0m0s", "1997-07-14T12:30:00Z 1h0m0s", "1997-07-15T12:30:00Z 1h0m0s"}},
		{"3.8.5.2", "periods last what they say", event("1", "DTSTART:19960402T010000Z", "DTEND:19960402T013000Z", "RDATE;VALUE=PERIOD:19960403T020000Z/19960403T040000Z,19960404T010000Z/PT3H"),
			"1996-01-01", "1997-01-01", []string{"1996-04-02T01:00:00Z 30m0s", "1996-04-03T02:00:00Z 2h0m0s", "1996-04-04T01:00:00Z 3h0m0s"}},
		{"3.8.5.2", "days of feasts", event("1", "DTSTART;VALUE=DATE:19970101", "RDATE;VALUE=DATE:19970101,19970120,19970217"),
			"1997-01-01", "1998-01-01", []string{"1997-01-01T00:00:00Z 24h0m0s all day", "1997-01-20T00:00:00Z 24h0m0s all day", "1997-02-17T00:00:00Z 24h0m0s all day"}},
		{"3.3.5", "a time that occurs twice means the first", event("1", "DTSTART;"+newYork+":20071104T013000", "DURATION:PT1M"),
			"2007-01-01", "2008-01-01", []string{"2007-11-04T05:30:00Z 1m0s"}},
		{"3.3.5", "a time that is skipped is read with the offset before", event("1", "DTSTART;"+newYork+":20070311T023000", "DURATION:PT1M"),
			"2007-01-01", "2008-01-01", []string{"2007-03-11T07:30:00Z 1m0s"}},
		{"3.3.6", "fifteen days, five hours and twenty seconds", event("1", "DTSTART:19970101T000000Z", "DURATION:P15DT5H0M20S"),
			"1997-01-01", "1998-01-01", []string{"1997-01-01T00:00:00Z 365h0m20s"}},
		{"3.3.6", "seven weeks", event("1", "DTSTART:19970101T000000Z", "DURATION:P7W"), "1997-01-01", "1998-01-01", []string{"1997-01-01T00:00:00Z 1176h0m0s"}},
		{"3.8.2.7", "opaque is what is meant when nothing is said", event("1", "DTSTART:19970101T000000Z", "DURATION:PT1H") + "\r\n" + event("2", "DTSTART:19970102T000000Z", "DURATION:PT1H", "TRANSP:OPAQUE"),
			"1997-01-01", "1998-01-01", []string{"1997-01-01T00:00:00Z 1h0m0s", "1997-01-02T00:00:00Z 1h0m0s"}},
		{"3.8.1.11", "cancelled is not busy, tentative is said to be", event("1", "DTSTART:19970101T000000Z", "DURATION:PT1H", "STATUS:CANCELLED") + "\r\n" + event("2", "DTSTART:19970102T000000Z", "DURATION:PT1H", "STATUS:TENTATIVE"),
			"1997-01-01", "1998-01-01", []string{"1997-01-02T00:00:00Z 1h0m0s tentative"}},
		{"3.8.4.4", "an instance of a series that moved", event("1", "DTSTART:19960401T130000Z", "DURATION:PT1H", "RRULE:FREQ=DAILY;COUNT=3") + "\r\n" +
			event("1", "RECURRENCE-ID:19960402T130000Z", "DTSTART:19960402T170000Z", "DURATION:PT2H"),
			"1996-01-01", "1997-01-01", []string{"1996-04-01T13:00:00Z 1h0m0s", "1996-04-02T17:00:00Z 2h0m0s", "1996-04-03T13:00:00Z 1h0m0s"}},
	} {
		t.Run(tt.section+" "+tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, busy(t, calendar(tt.text), tt.from, tt.to))
		})
	}
}

// The zone of New York from 1967 on, as RFC 5545 section 3.6.5 describes it:
// rules that end, one date, and rules that go on.
var newYorkSince1967 = strings.Join([]string{"BEGIN:VTIMEZONE", "TZID:Fictitious", "LAST-MODIFIED:20050809T050000Z",
	observancePart("DAYLIGHT", "19670430T020000", "-0500", "-0400", "RRULE:FREQ=YEARLY;BYMONTH=4;BYDAY=-1SU;UNTIL=19730429T070000Z"),
	observancePart("STANDARD", "19671029T020000", "-0400", "-0500", "RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU;UNTIL=20061029T060000Z"),
	observancePart("DAYLIGHT", "19740106T020000", "-0500", "-0400", "RDATE:19750223T020000"),
	observancePart("DAYLIGHT", "19760425T020000", "-0500", "-0400", "RRULE:FREQ=YEARLY;BYMONTH=4;BYDAY=-1SU;UNTIL=19860427T070000Z"),
	observancePart("DAYLIGHT", "19870405T020000", "-0500", "-0400", "RRULE:FREQ=YEARLY;BYMONTH=4;BYDAY=1SU;UNTIL=20060402T070000Z"),
	observancePart("DAYLIGHT", "20070311T020000", "-0500", "-0400", "RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=2SU"),
	observancePart("STANDARD", "20071104T020000", "-0400", "-0500", "RRULE:FREQ=YEARLY;BYMONTH=11;BYDAY=1SU"),
	"END:VTIMEZONE"}, "\r\n")

func observancePart(name, start, from, to string, more ...string) string {
	lines := append([]string{"BEGIN:" + name, "DTSTART:" + start, "TZOFFSETFROM:" + from, "TZOFFSETTO:" + to}, more...)
	return strings.Join(append(lines, "END:"+name), "\r\n")
}

func TestTheZoneOfRFC5545Section365IsThatOfNewYork(t *testing.T) {
	var list []expected
	for _, c := range tzChanges(t)["America/New_York"] {
		if c.UTC.Year() >= 1967 {
			list = append(list, around(c)...)
		}
	}
	requireInstants(t, newYorkSince1967, "Fictitious", list)
}

package read

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// requireSound checks what must hold of every file, however broken.
func requireSound(t *testing.T, text string) {
	t.Helper()
	o := Options{Zone: london(t), AllDayBusy: true, Limits: Limits{Intervals: 500, Steps: 200_000, Problems: 50}}
	c, problems, err := Parse(strings.NewReader(text), o)
	if err != nil {
		require.Nil(t, c)
		return
	}
	require.LessOrEqual(t, len(problems), o.Limits.Problems+1)
	for _, p := range problems {
		require.NotEmpty(t, p.Where)
		require.NotEmpty(t, p.What)
		require.NotContains(t, p.String(), "\n")
		require.Less(t, len(p.String()), 1000)
	}
	from, to := instant(t, "2026-01-01"), instant(t, "2027-01-01")
	list, problems := c.Busy(from, to)
	require.LessOrEqual(t, len(list), o.Limits.Intervals)
	require.LessOrEqual(t, len(problems), o.Limits.Problems+2)
	for i, x := range list {
		require.True(t, x.Start.Before(x.End) && x.Start.Before(to) && x.End.After(from), "%s to %s", x.Start, x.End)
		require.False(t, i > 0 && x.Start.Before(list[i-1].Start), "not sorted")
	}
	again, _ := c.Busy(from, to)
	require.Equal(t, list, again)
}

// seeds adds what the tests of the package read.
func seeds(f *testing.F) {
	paths, err := filepath.Glob("../testdata/*.ics")
	require.NoError(f, err)
	require.NotEmpty(f, paths)
	for _, path := range paths {
		raw, err := os.ReadFile(path)
		require.NoError(f, err)
		f.Add(string(raw))
	}
	for _, text := range hostile() {
		if len(text) < 5_000 {
			f.Add(text)
		}
	}
}

func FuzzParse(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, text string) { requireSound(t, text) })
}

// FuzzBusy varies what decides when somebody is busy, in a file that is sound
// otherwise.
func FuzzBusy(f *testing.F) {
	f.Add("DTSTART;TZID=Europe/London:20260301T090000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY;BYDAY=MO,TU", "EXDATE;TZID=Europe/London:20260302T090000", "20260329T013000")
	f.Add("DTSTART;VALUE=DATE:20260301", "DTEND;VALUE=DATE:20260303", "RRULE:FREQ=MONTHLY;BYSETPOS=-1;BYDAY=FR", "RDATE;VALUE=PERIOD:20260405T000000Z/P1D", "16010101T020000")
	f.Add("DTSTART:19900101T000000Z", "DURATION:P1DT1H", "RRULE:FREQ=MINUTELY;INTERVAL=7;BYHOUR=1,2;COUNT=1000", "EXRULE:FREQ=YEARLY;BYWEEKNO=-1", "20261025T010000")
	f.Fuzz(func(t *testing.T, start, end, rule, dates, onset string) {
		for _, s := range []string{start, end, rule, dates, onset} {
			if strings.ContainsAny(s, "\r\n") || len(s) > 2000 {
				t.Skip("would be more than one line")
			}
		}
		zone := "BEGIN:VTIMEZONE\nTZID:Own\nBEGIN:STANDARD\nDTSTART:" + onset + "\n" + rule + "\nTZOFFSETFROM:+0200\nTZOFFSETTO:+0100\nEND:STANDARD\nEND:VTIMEZONE\n"
		requireSound(t, calendar(zone, event("1", start, end, rule, dates), event("1", start, end, dates, "RECURRENCE-ID:20260301T090000Z")))
	})
}

// hostile are texts that break readers, or keep them busy for ever.
func hostile() map[string]string {
	n := func(s string, n int) string { return strings.Repeat(s, n) }
	ev := func(lines ...string) string { return calendar(event("x", lines...)) }
	dates := func(name string, n int, step time.Duration) string {
		var b strings.Builder
		at := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
		for i := range n {
			if i%500 == 0 {
				b.WriteString("\r\n" + name + ":")
			} else {
				b.WriteByte(',')
			}
			b.WriteString(at.Add(time.Duration(i) * step).Format("20060102T150405Z"))
		}
		return b.String()[2:]
	}
	each := func(n int, f func(int) string) string {
		var b strings.Builder
		for i := range n {
			b.WriteString(f(i))
		}
		return b.String()
	}
	inZones := func(n int, tzid func(int) string) string {
		return each(n, func(i int) string { return event("x", "DTSTART;TZID="+tzid(i)+":20260301T090000") + "\r\n" })
	}
	unknown := func(i int) string { return fmt.Sprint("unknown", i) }
	full := "BEGIN:VCALENDAR\nBEGIN:VEVENT\n" + n("STATUS:\n", 240_000) // an event of many properties and no name
	return map[string]string{
		"nothing":                             "",
		"a web page":                          "<!DOCTYPE html><html>",
		"no colon after a parameter":          ev("ATTENDEE;CN=foo"),
		"text after a quoted parameter":       ev(`ATTENDEE;CN="foo"bar:mailto:a@example.org`),
		"a parameter of 400 KB":               ev("ATTENDEE;CN=" + n("x", 400_000) + ":mailto:a@example.org"),
		"400 KB of parameters":                ev("DTSTART" + n(";X=1", 100_000) + ":20260301T090000Z"),
		"400 KB of quotation marks":           ev("DTSTART;X=" + n(`"`, 400_001) + ":20260301T090000Z"),
		"400 KB of semicolons":                ev("DTSTART" + n(";", 400_000)),
		"many lines of quotation marks":       ev(n("DTSTART;X="+n(`";`, 8_000)+"\r\n", 300)),
		"5 MB of BEGIN:A":                     n("BEGIN:A\n", 650_000),
		"27 MB of BEGIN:A":                    n("BEGIN:A\n", 3_400_000),
		"40,000 components inside each other": "BEGIN:VCALENDAR\n" + n("BEGIN:A\n", 40_000),
		"40,000 events without END":           "BEGIN:VCALENDAR\n" + n("BEGIN:VEVENT\n", 40_000),
		"events inside events":                "BEGIN:VCALENDAR\nBEGIN:VEVENT\nBEGIN:VEVENT\nDTSTART:20260301T090000Z\nDTEND:20260301T100000Z\n",
		"5 MB of ends":                        "BEGIN:VCALENDAR\n" + n("END:A\n", 850_000),
		"5 MB of lines without colon":         "BEGIN:VCALENDAR\n" + n("x\n", 2_500_000),
		"5 MB of carriage returns":            "BEGIN:VCALENDAR\r" + n("\r", 5_000_000),
		"5 MB of one fold":                    "BEGIN:VCALENDAR\nUID:" + n("\n x", 1_700_000),
		"5 MB of properties":                  "BEGIN:VCALENDAR\nBEGIN:VEVENT\n" + n("A:\n", 1_700_000),
		"150,000 dates taken out":             ev("DTSTART:20000101T000000Z", "DURATION:PT1M", "RRULE:FREQ=HOURLY", dates("EXDATE", 150_000, time.Hour)),
		"150,000 further dates":               ev("DTSTART:20000101T000000Z", "DURATION:PT1H", dates("RDATE", 150_000, 2*time.Hour)),
		"a rule with 10,000 weekdays":         ev("DTSTART:20260301T090000Z", "DURATION:PT1H", "RRULE:FREQ=YEARLY;BYDAY="+n("1MO,-1TU,", 1_600)+"WE"),
		"a rule with all times of a day":      ev("DTSTART:20260301T090000Z", "DURATION:PT1S", "RRULE:FREQ=YEARLY;BYYEARDAY="+from1(366)+";BYHOUR="+from0(24)+";BYMINUTE="+from0(60)+";BYSECOND="+from0(60)),
		"the same, by position":               ev("DTSTART:20260301T090000Z", "DURATION:PT1S", "RRULE:FREQ=YEARLY;BYHOUR="+from0(24)+";BYMINUTE="+from0(60)+";BYSECOND="+from0(60)+";BYSETPOS="+from1(366)),
		"2,500 rules with all times of a day": calendar(n(event("x", "DTSTART:20260301T090000Z", "DURATION:PT1S", "RRULE:FREQ=YEARLY;BYHOUR="+from0(24)+";BYMINUTE="+from0(60)+";BYSECOND="+from0(60))+"\r\n", 2_500)),
		"4,000 rules that count from year 1":  calendar(n(event("x", "DTSTART:00010101T000000Z", "DURATION:PT1S", "RRULE:FREQ=DAILY;COUNT=999999999")+"\r\n", 4_000)),
		"a start in the year 1":               ev("DTSTART:00010101T000000", "DURATION:PT1H", "RRULE:FREQ=DAILY"),
		"a start in the year 0":               ev("DTSTART:00000101T000000", "DURATION:PT1H", "RRULE:FREQ=DAILY;COUNT=999999999"),
		"a start in the year 9999":            ev("DTSTART:99991231T235959", "DTEND:99991231T235959", "RRULE:FREQ=DAILY"),
		"from year 1 to 9999":                 ev("DTSTART:00010101T000000Z", "DTEND:99991231T235959Z"),
		"a great interval":                    ev("DTSTART:20260301T090000Z", "DURATION:PT1H", "RRULE:FREQ=YEARLY;INTERVAL=999999999"),
		"a greater interval":                  ev("DTSTART:20260301T090000Z", "DURATION:PT1H", "RRULE:FREQ=YEARLY;INTERVAL=99999999999999999999"),
		"every second":                        ev("DTSTART:20260301T090000Z", "DURATION:PT1H", "RRULE:FREQ=SECONDLY"),
		"every minute since 1970":             ev("DTSTART:19700101T000000Z", "DURATION:PT1H", "RRULE:FREQ=MINUTELY"),
		"every minute, counted from 1970":     ev("DTSTART:19700101T000000Z", "DURATION:PT1H", "RRULE:FREQ=MINUTELY;COUNT=999999999"),
		"every hour of 30 February":           ev("DTSTART:19700101T000000Z", "DURATION:PT1H", "RRULE:FREQ=HOURLY;BYMONTH=2;BYMONTHDAY=30;COUNT=5"),
		"a duration of a trillion hours":      ev("DTSTART:20260301T090000Z", "DURATION:PT99999999999999H"),
		"a duration of 999,999,999 weeks":     ev("DTSTART:20260301T090000Z", "DURATION:P999999999W"),
		"100 years every day":                 ev("DTSTART:20260301T090000Z", "DURATION:P36500D", "RRULE:FREQ=DAILY"),
		"an absurd offset":                    calendar(ownZone("Own", "TZOFFSETFROM:+9999", "TZOFFSETTO:-9999"), event("x", "DTSTART;TZID=Own:20260301T090000", "DURATION:PT1H")),
		"a zone that changes every second":    calendar(ownZone("Own", "TZOFFSETFROM:+0100", "TZOFFSETTO:+0200", "RRULE:FREQ=SECONDLY"), event("x", "DTSTART;TZID=Own:20260301T090000", "DURATION:PT1H")),
		"a zone that changes every day":       calendar(ownZone("Own", "TZOFFSETFROM:+0100", "TZOFFSETTO:+0200", "RRULE:FREQ=MONTHLY;BYDAY=SU,MO,TU,WE,TH,FR,SA;BYHOUR="+from0(24)), event("x", "DTSTART;TZID=Own:20260301T090000", "DURATION:PT1H")),
		"two zones of one name":               calendar(ownZone("Own", "TZOFFSETTO:+0100"), ownZone("Own", "TZOFFSETTO:+0200"), event("x", "DTSTART;TZID=Own:20260301T090000", "DURATION:PT1H")),
		"a zone without a name":               calendar(ownZone("", "TZOFFSETTO:+0100"), event("x", "DTSTART;TZID=:20260301T090000", "DURATION:PT1H")),
		"a zone called by a path outwards":    ev("DTSTART;TZID=../../etc/passwd:20260301T090000"),
		"a zone called local":                 ev("DTSTART;TZID=Local:20260301T090000"),
		"an instance without its series":      ev("RECURRENCE-ID:20260301T090000Z", "DTSTART:20260301T090000Z", "DTEND:20260301T100000Z"),
		"an instance of an instance":          ev("RECURRENCE-ID:20260301T090000Z", "DTSTART:20260301T090000Z", "DTEND:20260301T100000Z", "RRULE:FREQ=DAILY"),
		"not UTF-8":                           ev("DTSTART:20260301T090000Z", "UID:\xff\xfe", "RRULE:\xff"),
		"a byte order mark only":              "\ufeff",
		"half of a character in UTF-16":       "\xff\xfeB\x00E\x00G",
		"a card":                              "BEGIN:VCARD\nBEGIN:VEVENT\nEND:VCARD\n",
		"an event of 490,000 names":           ev(n("UID:a\n", 490_000)),
		"lines without colon in a full event": full + n("x\n", 1_500_000),
		"ends in a full event":                full + n("END:A\n", 500_000),
		"no colons in a full event":           full + n("STATUS;x\n", 250_000),
		"450,000 busy times that are none":    "BEGIN:VCALENDAR\nBEGIN:VFREEBUSY\n" + n("FREEBUSY:x\n", 450_000),
		"25,000 changes of 25,000 series":     manySeries(24_999),
		"150,000 parameters of long lists":    ev("DTSTART:20260301T090000Z", n("EXDATE"+n(";RANGE", 1_300)+":"+n("x,", 4_000)+"\r\n", 115), n("EXDATE"+n(";RANGE", 1_300)+":"+n("20260301,", 900)+"\r\n", 115)),
		"200 zones in a calendar of slashes":  calendar("X-WR-TIMEZONE:"+n("/", 16_000), inZones(200, unknown)),
		"200 zones of slashes":                calendar(inZones(200, func(i int) string { return unknown(i) + ":" + n("/", 16_000) })),
		"200 zones that change on no day": calendar(each(200, func(i int) string {
			return ownZone(unknown(i), "TZOFFSETTO:+0100", n("RRULE:FREQ=MONTHLY;BYMONTHDAY=31;BYMONTH=2,4,6,9,11\r\n", 60)) + "\r\n"
		}), inZones(200, unknown)),
		"a long zone that is named in 200 ways": calendar(ownZone("own", "TZOFFSETTO:+0100", n("RDATE:"+n("20260301,", 1_700)+"\r\n", 300)), inZones(200, func(i int) string { return n(`\`, i) + "own" })),
		"200 zones and a full one":              calendar("BEGIN:VTIMEZONE\n"+n("TZOFFSETTO:\n", 380_000)+"END:VTIMEZONE", inZones(200, unknown)),
	}
}

// manySeries is a file of n series and n instances instead of theirs, all of one
// name.
func manySeries(n int) string {
	var b strings.Builder
	at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range n {
		b.WriteString("BEGIN:VEVENT\nUID:a\nDTSTART:20260301T090000Z\nEND:VEVENT\n")
		fmt.Fprintf(&b, "BEGIN:VEVENT\nUID:a\nRECURRENCE-ID:%s\nEND:VEVENT\n", at.Add(time.Duration(i)*time.Minute).Format("20060102T150405Z"))
	}
	return calendar(b.String())
}

func ownZone(name string, lines ...string) string {
	return "BEGIN:VTIMEZONE\r\nTZID:" + name + "\r\nBEGIN:STANDARD\r\nDTSTART:16010101T000000\r\n" + strings.Join(lines, "\r\n") + "\r\nEND:STANDARD\r\nEND:VTIMEZONE"
}

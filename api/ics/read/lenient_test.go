package read

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"unicode/utf16"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// plain is a file with one busy hour, whatever is done to its bytes.
var plain = calendar(event("einé-1", "DTSTART;TZID=Europe/London:20260701T090000", "DURATION:PT1H", "SUMMARY:x"))

func inUTF16(s string) string {
	var b strings.Builder
	for _, u := range utf16.Encode([]rune("\ufeff" + s)) {
		b.Write([]byte{byte(u), byte(u >> 8)})
	}
	return b.String()
}

// foldedEverywhere folds a text after every byte of a line.
func foldedEverywhere(s string) string {
	var b strings.Builder
	for line := range strings.Lines(s) {
		for i, c := range []byte(strings.TrimRight(line, "\r\n")) {
			if i > 0 {
				b.WriteString("\r\n ")
			}
			b.WriteByte(c)
		}
		b.WriteString("\r\n")
	}
	return b.String()
}

func TestFilesAreReadHoweverTheirLinesAreWritten(t *testing.T) {
	for name, text := range map[string]string{
		"as the standard says":        plain,
		"LF":                          strings.ReplaceAll(plain, "\r\n", "\n"),
		"CR":                          strings.ReplaceAll(plain, "\r\n", "\r"),
		"doubled line ends":           strings.ReplaceAll(plain, "\r\n", "\r\r\n"),
		"a byte order mark":           "\ufeff" + plain,
		"UTF-16":                      inUTF16(plain),
		"empty lines first":           "\r\n\r\n" + plain,
		"no end of the last line":     strings.TrimRight(plain, "\r\n"),
		"folded inside characters":    foldedEverywhere(plain),
		"folded with tabs":            strings.ReplaceAll(plain, "DURATION", "DURA\r\n\tTION"),
		"folds after doubled ends":    strings.ReplaceAll(plain, "DURATION", "DURA\r\r\n TION"),
		"white space around":          strings.ReplaceAll(plain, "DURATION:PT1H", "DURATION : PT1H "),
		"names in small letters":      strings.NewReplacer("BEGIN:VEVENT", "begin:vevent", "END:VEVENT", "End:VEvent", "DTSTART", "dtstart", "UID", "uid").Replace(plain),
		"read in small pieces":        plain,
		"a parameter in a caret form": strings.ReplaceAll(plain, "TZID=Europe/London", "X=^'^n^^;TZID=\"Europe/London\""),
	} {
		t.Run(name, func(t *testing.T) {
			c, problems, err := Parse(iotest.HalfReader(strings.NewReader(text)), Options{})
			require.NoError(t, err)
			require.Empty(t, problems)
			require.Len(t, c.Events, 1)
			require.Equal(t, "einé-1", c.Events[0].UID)
			list, problems := c.Busy(instant(t, "2026-01-01"), instant(t, "2027-01-01"))
			require.Empty(t, problems)
			require.Equal(t, []string{"2026-07-01T08:00:00Z 1h0m0s"}, written(list))
		})
	}
}

func TestWhatIsNoCalendarIsRefused(t *testing.T) {
	for text, want := range map[string]string{
		"":                                      "calendar is empty; expected an iCalendar file, which begins with BEGIN:VCALENDAR",
		" \r\n":                                 "calendar is empty; ",
		"<!DOCTYPE html><title>Sign in</title>": "calendar is a web page; ",
		"\ufeff\n<html>BEGIN:VCALENDAR":         "calendar is a web page; ",
		`["vcalendar",[],[]]`:                   "calendar is JSON; ",
		"hello":                                 "calendar holds no calendar; ",
		"BEGIN:VCARD\r\nFN:x\r\nEND:VCARD\r\n":  "calendar holds no calendar; ",
		"BEGIN:VCALENDAR\n" + repeated("X:\n", 9): "calendar has more than 8 properties; expected a smaller calendar, or one of fewer years",
		repeated("BEGIN:VCALENDAR\n", 5):          "calendar has more than 4 components; ",
		repeated("x", 201):                        "calendar has more than 200 bytes; ",
	} {
		c, problems, err := Parse(strings.NewReader(text), Options{Limits: Limits{Properties: 8, Components: 4, Bytes: 200}})
		require.Nil(t, c)
		require.Empty(t, problems)
		invalid, ok := errors.AsType[*scheduling.InvalidError](err)
		require.True(t, ok, "%v", err)
		require.Contains(t, invalid.Error(), want)
	}
	_, _, err := Parse(iotest.ErrReader(io.ErrUnexpectedEOF), Options{})
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
}

func repeated(s string, n int) string { return strings.Repeat(s, n) }

func TestAnEmptyCalendarIsACalendar(t *testing.T) {
	c, problems := parse(t, "BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n")
	require.Empty(t, problems)
	require.Empty(t, c.Events)
}

func TestEveryLossAndDoubtIsTold(t *testing.T) {
	hour := "DURATION:PT1H"
	start := "DTSTART:20260701T090000Z"
	for _, tt := range []struct {
		name string
		text string
		told string // one of the problems
		busy int    // intervals that are left
	}{
		{"no start", event("u", hour), "line 4: VEVENT has no start and is left out (u)", 0},
		{"a start that is none", event("u", "DTSTART:tomorrow", hour), "line 7: VEVENT DTSTART is no date or time, so the event is left out (u)", 0},
		{"a day that does not exist", event("u", "DTSTART:20260230T090000Z", hour), "DTSTART is no date or time", 0},
		{"an end that is none", event("u", start, "DTEND:soon"), "line 8: VEVENT DTEND is no date or time; the event is read as one without an end (u)", 0},
		{"an end before the start", event("u", start, "DTEND:20260701T080000Z"), "line 8: VEVENT DTEND is before the start; the event is read as one without an end (u)", 0},
		{"a last day before the first", event("u", "DTSTART;VALUE=DATE:20260701", "DTEND;VALUE=DATE:20260630"), "DTEND is before the start", 1},
		{"an end in a thousand years", event("u", start, "DTEND:30260701T080000Z"), "DTEND is more than 100 years after the start", 0},
		{"a duration backwards", event("u", start, "DURATION:-PT1H"), "DURATION is no duration of 0 to 100 years", 0},
		{"an end and a duration", event("u", start, "DTEND:20260701T100000Z", "DURATION:PT5H"), "line 9: VEVENT DURATION stands beside DTEND; DTEND counts (u)", 1},
		{"a time that ends on a date", event("u", start, "DTEND;VALUE=DATE:20260702"), "DTEND is a date although the start is a time", 1},
		{"a date that ends at a time", event("u", "DTSTART;VALUE=DATE:20260701", "DTEND:20260702T120000Z"), "DTEND is a time although the start is a date", 1},
		{"two starts", event("u", start, "DTSTART:20260801T090000Z", hour), "line 8: VEVENT DTSTART occurs twice; the first one counts (u)", 1},
		{"every second", event("u", start, hour, "RRULE:FREQ=SECONDLY"), `line 9: VEVENT RRULE repeats by a frequency that is not followed: "SECONDLY"; it is left out (u)`, 1},
		{"no frequency", event("u", start, hour, "RRULE:COUNT=3"), "RRULE says no frequency; it is left out", 1},
		{"a rule of an old version", event("u", start, hour, "RRULE:D1 #5"), `RRULE says no frequency; it is left out`, 1},
		{"a part that nobody knows", event("u", start, hour, "RRULE:RRULE:Anything;FREQ=WEEKLY;COUNT=2"), `RRULE has the unknown part "ANYTHING", which is passed over (u)`, 2},
		{"another calendar of years", event("u", start, hour, "RRULE:RSCALE=HEBREW;FREQ=YEARLY"), `RRULE has a part that is not understood: "RSCALE=HEBREW"; it is left out`, 1},
		{"days that are not left out", event("u", start, hour, "RRULE:RSCALE=GREGORIAN;FREQ=YEARLY;SKIP=FORWARD"), `"SKIP=FORWARD"; it is left out`, 1},
		{"no interval", event("u", start, hour, "RRULE:FREQ=DAILY;INTERVAL=0"), `"INTERVAL=0"; it is left out`, 1},
		{"a weekday that is none", event("u", start, hour, "RRULE:FREQ=WEEKLY;BYDAY=MO,XX"), `"BYDAY=MO,XX"; it is left out`, 1},
		{"a month that is none", event("u", start, hour, "RRULE:FREQ=YEARLY;BYMONTH=13"), `"BYMONTH=13"; it is left out`, 1},
		{"a frequency given twice", event("u", start, hour, "RRULE:FREQ=DAILY;FREQ=WEEKLY"), "RRULE says FREQ twice; it is left out", 1},
		{"a count and an end", event("u", start, hour, "RRULE:FREQ=DAILY;COUNT=5;UNTIL=20260702T090000Z"), "RRULE has both COUNT and UNTIL; the earlier end counts (u)", 2},
		{"a count and a later end", event("u", start, hour, "RRULE:FREQ=DAILY;COUNT=2;UNTIL=20260720T090000Z"), "RRULE has both COUNT and UNTIL", 2},
		{"the second Monday of a week", event("u", start, hour, "RRULE:FREQ=WEEKLY;BYDAY=2MO;COUNT=3"), `RRULE counts weekdays as in "2MO"`, 3},
		{"weeks of a month", event("u", start, hour, "RRULE:FREQ=MONTHLY;BYWEEKNO=30;COUNT=2"), "RRULE has BYWEEKNO although it is not yearly", 2},
		{"days of the month in a week", event("u", start, hour, "RRULE:FREQ=WEEKLY;BYMONTHDAY=15;COUNT=2"), "RRULE has BYMONTHDAY although it is weekly", 2},
		{"days of the year in a month", event("u", start, hour, "RRULE:FREQ=MONTHLY;BYYEARDAY=200;BYMONTHDAY=19;COUNT=2"), "RRULE has BYYEARDAY although it repeats by days", 2},
		{"whole days every hour", event("u", "DTSTART;VALUE=DATE:20260701", "RRULE:FREQ=HOURLY"), "RRULE repeats within the day although the event is of whole days; it is left out", 1},
		{"dates that are none", event("u", start, hour, "EXDATE:x,20260701T090000Z,y"), "line 9: VEVENT EXDATE has values that are no dates or times, 2 in number; they are left out (u)", 0},
		{"periods that are none", event("u", start, hour, "RDATE;VALUE=PERIOD:20260801T090000Z/x"), "RDATE has values that are no dates or times, 1 in number", 1},
		{"busy periods that are none", "BEGIN:VFREEBUSY\r\nFREEBUSY:20260701T090000Z,x,20260701T090000Z/PT1H,\r\nEND:VFREEBUSY", "line 5: VFREEBUSY FREEBUSY has values that are no periods, 2 in number; they are left out", 1},
		{"all later instances", event("u", start, hour, "RRULE:FREQ=DAILY;COUNT=3") + "\r\n" + event("u", "RECURRENCE-ID;RANGE=THISANDFUTURE:20260702T090000Z", "DTSTART:20260702T100000Z", hour),
			"RECURRENCE-ID changes all later instances too; only the one is changed (u)", 3},
		{"an instance that repeats", event("u", "RECURRENCE-ID:20260702T090000Z", "DTSTART:20260702T100000Z", hour, "RRULE:FREQ=DAILY"), "RECURRENCE-ID stands for one instance and repeats; the repetition is left out (u)", 1},
		{"an instance that is none", event("u", "RECURRENCE-ID:x", start, hour), "RECURRENCE-ID is no date or time; the event is read as one of its own (u)", 1},
		{"an older revision", event("u", start, hour, "SEQUENCE:1") + "\r\n" + event("u", "DTSTART:20260801T090000Z", hour), "line 11: VEVENT is an older revision of another event of the file and is left out (u)", 1},
		{"an older revision of an instance", event("u", "RECURRENCE-ID:20260702T090000Z", start, hour, "SEQUENCE:2") + "\r\n" + event("u", "RECURRENCE-ID;TZID=Europe/London:20260702T100000", "DTSTART:20260801T090000Z", hour, "SEQUENCE:1"),
			"line 12: VEVENT is an older revision", 1},
		{"years every day", event("u", start, "DURATION:P500D", "RRULE:FREQ=YEARLY"), "line 4: VEVENT repeats and lasts more than 400 days; its older instances are left out (u)", 1},
		{"a line that is none", event("u", start, hour, "nonsense"), "line 9: VEVENT has a line that is not a name, a colon and a value; it is skipped (u)", 1},
		{"a parameter without an end", event("u", start, hour, "ATTENDEE;CN=foo"), "line 9: VEVENT ATTENDEE has no colon before its value and is skipped (u)", 1},
		{"a line of 20 KB", event("u", start, hour, "EXDATE:"+repeated("20260701T090000Z,", 1200)), "line 9: VEVENT EXDATE is longer than 16 KB and is skipped (u)", 1},
		{"a parameter of 3 KB", event("u", start, hour, "EXDATE;TZID="+repeated("x", 3000)+":20260701T090000"), "line 9: VEVENT EXDATE has a parameter of more than 2 KB and is skipped (u)", 1},
		{"components too deep", event("u", start, hour, repeated("BEGIN:X\r\n", 5)+"DTSTART:20270101T000000Z\r\n"+repeated("END:X\r\n", 5)), "X holds components more than 6 deep; they are skipped", 1},
		{"no end of an event", "BEGIN:VEVENT\r\nUID:u\r\n" + start + "\r\n" + hour + "\r\n" + event("v", "DTSTART:20260801T090000Z", hour), "line 4: VEVENT has no END; it is read up to where the next part begins (u)", 2},
		{"an end too many", event("u", start, hour) + "\r\nEND:VEVENT", "line 10: VCALENDAR has an END without its BEGIN; it is skipped", 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c, problems := parse(t, calendar(tt.text))
			require.Contains(t, what(problems), tt.told)
			require.Len(t, problems, 1)
			list, problems := c.Busy(instant(t, "2026-06-01"), instant(t, "2027-01-01"))
			require.Empty(t, problems)
			require.Len(t, list, tt.busy)
		})
	}
}

func TestAMissingEndOfTheFileLosesNothing(t *testing.T) {
	text := strings.TrimSuffix(plain, "END:VEVENT\r\nEND:VCALENDAR\r\n")
	c, problems := parse(t, text)
	require.Len(t, c.Events, 1)
	require.Len(t, problems, 2)
	require.Contains(t, what(problems), "line 4: VEVENT has no END")
}

func TestAnEventOutsideOfACalendarIsRead(t *testing.T) {
	c, problems := parse(t, event("u", "DTSTART:20260701T090000Z")+"\r\n"+event("v", "DTSTART:20260701T090000Z"))
	require.Len(t, c.Events, 2)
	require.Equal(t, "line 1: VEVENT stands outside of a VCALENDAR; it is read all the same", what(problems))
}

func TestARowOfBrokenLinesIsOneProblem(t *testing.T) {
	_, problems := parse(t, calendar(event("u", "DTSTART:20260701T090000Z", "DESCRIPTION:a", "b", "c", "d", "LOCATION:x", "e", "f", repeated("LOCATION:x\r\n", 9)+"g")))
	require.Len(t, problems, 2)
}

func TestProblemsSayNothingOfWhatAnEventIsAbout(t *testing.T) {
	const secret = "dermatologist"
	text := calendar(event("u-"+repeated("x", 200), "DTSTART:"+secret, "DTEND:"+secret, "SUMMARY:"+secret, secret, "DESCRIPTION;X="+secret, "ATTENDEE;CN="+secret, "LOCATION:"+secret))
	_, problems := parse(t, text)
	require.Len(t, problems, 3)
	require.NotContains(t, what(problems), secret)
	for _, p := range problems {
		require.LessOrEqual(t, len([]rune(p.UID)), 81)
	}
}

func TestTooManyProblemsAreCounted(t *testing.T) {
	c, problems, err := Parse(strings.NewReader(calendar(repeated(event("u")+"\r\n", 10))), Options{Limits: Limits{Problems: 3}})
	require.NoError(t, err)
	require.Len(t, c.Events, 10)
	require.Len(t, problems, 4)
	require.Equal(t, "calendar has 7 more problems", problems[3].String())
}

func TestEveryRepetitionOfAPropertyIsOneProblem(t *testing.T) {
	c, problems := parse(t, calendar(event("u", "DTSTART:20260701T090000Z", repeated("UID:v\r\n", 5)+"DTSTART:20260702T090000Z")))
	require.Equal(t, "u", c.Events[0].UID)
	require.Len(t, problems, 6)
}

func TestAZoneThatIsNamedInSeveralWaysIsReadOnce(t *testing.T) {
	at := func(tzid string) string { return event("u", "DTSTART;TZID="+tzid+":20260701T090000") }
	_, problems := parse(t, calendar(ownZone("own", "TZOFFSETTO:x"), at("own"), at(`\own`), at(`o\wn`)))
	require.Len(t, problems, 3, what(problems))
}

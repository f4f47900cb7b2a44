package read

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestWhenSomebodyIsBusy(t *testing.T) {
	hour := "DURATION:PT1H"
	for _, tt := range []struct {
		name string
		text string
		want []string
	}{
		{"a time without a zone is the salon's", event("1", "DTSTART:20260701T090000", hour), []string{"2026-07-01T08:00:00Z 1h0m0s"}},
		{"the vendor's word counts where the standard's is missing", event("1", "DTSTART:20260701T090000Z", hour, "X-MICROSOFT-CDO-BUSYSTATUS:FREE"), nil},
		{"the standard's word comes first", event("1", "DTSTART:20260701T090000Z", hour, "X-MICROSOFT-CDO-BUSYSTATUS:FREE", "TRANSP:OPAQUE"), []string{"2026-07-01T09:00:00Z 1h0m0s"}},
		{"the vendor's word for tentative", event("1", "DTSTART:20260701T090000Z", hour, "X-MICROSOFT-CDO-BUSYSTATUS:TENTATIVE"), []string{"2026-07-01T09:00:00Z 1h0m0s tentative"}},
		{"one L in cancelled", event("1", "DTSTART:20260701T090000Z", hour, "STATUS:CANCELED"), nil},
		{"small letters", event("1", "dtstart;tzid=europe/london:20260701t090000", "duration:pt1h", "rrule:freq=daily;count=2;", "status:confirmed"), []string{"2026-07-01T08:00:00Z 1h0m0s", "2026-07-02T08:00:00Z 1h0m0s"}},
		{"eight digits are a date", event("1", "DTSTART:20260701"), []string{"2026-06-30T23:00:00Z 24h0m0s all day"}},
		{"midnight called a date is one", event("1", "DTSTART;VALUE=DATE:20260701T000000", "DTEND;VALUE=DATE:20260702T000000"), []string{"2026-06-30T23:00:00Z 24h0m0s all day"}},
		{"a date that ends when it begins lasts the day", event("1", "DTSTART;VALUE=DATE:20260701", "DTEND;VALUE=DATE:20260701"), []string{"2026-06-30T23:00:00Z 24h0m0s all day"}},
		{"a day of 23 hours", event("1", "DTSTART;VALUE=DATE:20260329"), []string{"2026-03-29T00:00:00Z 23h0m0s all day"}},
		{"two days over the autumn change", event("1", "DTSTART;VALUE=DATE:20261024", "DURATION:P2D"), []string{"2026-10-23T23:00:00Z 49h0m0s all day"}},
		{"whole days that a vendor writes as times", event("1", "DTSTART;TZID=Europe/London:20260328T000000", "DTEND;TZID=Europe/London:20260330T000000", "X-MICROSOFT-CDO-ALLDAYEVENT:TRUE"),
			[]string{"2026-03-28T00:00:00Z 47h0m0s all day"}},
		{"P1D is a day of the calendar", event("1", "DTSTART;TZID=Europe/London:20260328T120000", "DURATION:P1D"), []string{"2026-03-28T12:00:00Z 23h0m0s"}},
		{"PT24H is 24 hours", event("1", "DTSTART;TZID=Europe/London:20260328T120000", "DURATION:PT24H"), []string{"2026-03-28T12:00:00Z 24h0m0s"}},
		{"DTEND gives a series its exact length", event("1", "DTSTART;TZID=Europe/London:20260327T120000", "DTEND;TZID=Europe/London:20260328T120000", "RRULE:FREQ=DAILY;COUNT=2"),
			[]string{"2026-03-27T12:00:00Z 24h0m0s", "2026-03-28T12:00:00Z 24h0m0s"}},
		{"a series keeps its clock time", event("1", "DTSTART;TZID=Europe/London:20260328T090000", hour, "RRULE:FREQ=DAILY;COUNT=2"),
			[]string{"2026-03-28T09:00:00Z 1h0m0s", "2026-03-29T08:00:00Z 1h0m0s"}},
		{"UNTIL in UTC ends at the instance it names", event("1", "DTSTART;TZID=Europe/London:20260701T090000", hour, "RRULE:FREQ=DAILY;UNTIL=20260702T080000Z"),
			[]string{"2026-07-01T08:00:00Z 1h0m0s", "2026-07-02T08:00:00Z 1h0m0s"}},
		{"UNTIL without a zone is the event's", event("1", "DTSTART;TZID=America/New_York:20260701T200000", hour, "RRULE:FREQ=DAILY;UNTIL=20260702T200000"),
			[]string{"2026-07-02T00:00:00Z 1h0m0s", "2026-07-03T00:00:00Z 1h0m0s"}},
		{"UNTIL as a date holds the whole day", event("1", "DTSTART;TZID=America/New_York:20260701T200000", hour, "RRULE:FREQ=DAILY;UNTIL=20260702"),
			[]string{"2026-07-02T00:00:00Z 1h0m0s", "2026-07-03T00:00:00Z 1h0m0s"}},
		{"UNTIL of whole days as midnight", event("1", "DTSTART;VALUE=DATE:20260701", "RRULE:FREQ=DAILY;UNTIL=20260702T000000Z"),
			[]string{"2026-06-30T23:00:00Z 24h0m0s all day", "2026-07-01T23:00:00Z 24h0m0s all day"}},
		{"UNTIL of whole days as the salon's midnight", event("1", "DTSTART;VALUE=DATE:20260701", "RRULE:FREQ=DAILY;UNTIL=20260701T230000Z"),
			[]string{"2026-06-30T23:00:00Z 24h0m0s all day", "2026-07-01T23:00:00Z 24h0m0s all day"}},
		{"UNTIL between two equal clock times", event("1", "DTSTART;TZID=Europe/London:20261024T013000", hour, "RRULE:FREQ=DAILY;UNTIL=20261025T003000Z"),
			[]string{"2026-10-24T00:30:00Z 1h0m0s", "2026-10-25T00:30:00Z 1h0m0s"}},
		{"a date takes every instance of its day out", event("1", "DTSTART;TZID=Europe/London:20260701T003000", hour, "RRULE:FREQ=DAILY;COUNT=3", "EXDATE;VALUE=DATE:20260702"),
			[]string{"2026-06-30T23:30:00Z 1h0m0s", "2026-07-02T23:30:00Z 1h0m0s"}},
		{"a time without a zone takes the event's own out", event("1", "DTSTART;TZID=America/New_York:20260701T090000", hour, "RRULE:FREQ=DAILY;COUNT=2", "EXDATE:20260702T090000"),
			[]string{"2026-07-01T13:00:00Z 1h0m0s"}},
		{"a time without a zone takes the first of two equal ones out", event("1", "DTSTART;TZID=Europe/London:20261024T013000", hour, "RRULE:FREQ=DAILY;COUNT=2", "RDATE:20261025T013000Z", "EXDATE:20261025T013000"),
			[]string{"2026-10-24T00:30:00Z 1h0m0s", "2026-10-25T01:30:00Z 1h0m0s"}},
		{"a time without a zone names what clocks show after a skipped one", event("1", "DTSTART;TZID=Europe/London:20260328T013000", hour, "RRULE:FREQ=DAILY;COUNT=2", "EXDATE:20260329T023000"),
			[]string{"2026-03-28T01:30:00Z 1h0m0s"}},
		{"a time of another zone takes the same instant out", event("1", "DTSTART;TZID=America/New_York:20260701T090000", hour, "RRULE:FREQ=DAILY;COUNT=2", "EXDATE;TZID=Europe/London:20260702T140000"),
			[]string{"2026-07-01T13:00:00Z 1h0m0s"}},
		{"a time takes a whole day out", event("1", "DTSTART;VALUE=DATE:20260701", "RRULE:FREQ=DAILY;COUNT=2", "EXDATE:20260702T000000Z"), []string{"2026-06-30T23:00:00Z 24h0m0s all day"}},
		{"the first instance can be taken out", event("1", "DTSTART:20260701T090000Z", hour, "RRULE:FREQ=DAILY;COUNT=2", "EXDATE:20260701T090000Z"), []string{"2026-07-02T09:00:00Z 1h0m0s"}},
		{"the start counts though it does not fit", event("1", "DTSTART:20260701T090000Z", hour, "RRULE:FREQ=WEEKLY;BYDAY=FR;COUNT=2"), []string{"2026-07-01T09:00:00Z 1h0m0s", "2026-07-03T09:00:00Z 1h0m0s"}},
		{"further dates without a rule", event("1", "DTSTART:20260701T090000Z", hour, "RDATE:20260703T100000Z"), []string{"2026-07-01T09:00:00Z 1h0m0s", "2026-07-03T10:00:00Z 1h0m0s"}},
		{"a further date means the event's time", event("1", "DTSTART;TZID=Europe/London:20260701T090000", hour, "RDATE;VALUE=DATE:20260703"), []string{"2026-07-01T08:00:00Z 1h0m0s", "2026-07-03T08:00:00Z 1h0m0s"}},
		{"a further time can be the second of two equal ones", event("1", "DTSTART;TZID=Europe/London:20261001T013000", hour, "RDATE:20261025T013000Z"), []string{"2026-10-01T00:30:00Z 1h0m0s", "2026-10-25T01:30:00Z 1h0m0s"}},
		{"two rules add up", event("1", "DTSTART:20260701T090000Z", hour, "RRULE:FREQ=DAILY;COUNT=2", "RRULE:FREQ=WEEKLY;COUNT=2"),
			[]string{"2026-07-01T09:00:00Z 1h0m0s", "2026-07-02T09:00:00Z 1h0m0s", "2026-07-08T09:00:00Z 1h0m0s"}},
		{"EXRULE takes out", event("1", "DTSTART:20260701T090000Z", hour, "RRULE:FREQ=DAILY;COUNT=4", "EXRULE:FREQ=DAILY;INTERVAL=2;BYDAY=FR"), []string{"2026-07-01T09:00:00Z 1h0m0s", "2026-07-02T09:00:00Z 1h0m0s", "2026-07-04T09:00:00Z 1h0m0s"}},
		{"second 60", event("1", "DTSTART:20260701T090059Z", hour, "RRULE:FREQ=DAILY;COUNT=2;BYSECOND=60"), []string{"2026-07-01T09:00:59Z 1h0m0s", "2026-07-02T09:00:59Z 1h0m0s"}},
		{"a rule may begin with its name", event("1", "DTSTART:20260701T090000Z", hour, "RRULE:RRULE:FREQ=DAILY;COUNT=2;X-OWN=1;RSCALE=GREGORIAN;SKIP=OMIT"), []string{"2026-07-01T09:00:00Z 1h0m0s", "2026-07-02T09:00:00Z 1h0m0s"}},
		{"an instance that is skipped by the clocks and its twin are one", event("1", "DTSTART;TZID=Europe/London:20260329T003000", "DURATION:PT1M", "RRULE:FREQ=HOURLY;COUNT=3"),
			[]string{"2026-03-29T00:30:00Z 1m0s", "2026-03-29T01:30:00Z 1m0s"}},
		{"an instance that does not take place", event("1", "DTSTART:20260701T090000Z", hour, "RRULE:FREQ=DAILY;COUNT=2") + "\r\n" + event("1", "RECURRENCE-ID:20260702T090000Z", "DTSTART:20260702T090000Z", hour, "STATUS:CANCELLED"),
			[]string{"2026-07-01T09:00:00Z 1h0m0s"}},
		{"an instance that does not block", event("1", "DTSTART:20260701T090000Z", hour, "RRULE:FREQ=DAILY;COUNT=2") + "\r\n" + event("1", "RECURRENCE-ID:20260702T090000Z", "DTSTART:20260702T090000Z", hour, "TRANSP:TRANSPARENT"),
			[]string{"2026-07-01T09:00:00Z 1h0m0s"}},
		{"an instance named by its day", event("1", "DTSTART;TZID=Europe/London:20260701T003000", hour, "RRULE:FREQ=DAILY;COUNT=2") + "\r\n" + event("1", "RECURRENCE-ID;VALUE=DATE:20260702", "DTSTART:20260705T090000Z", hour),
			[]string{"2026-06-30T23:30:00Z 1h0m0s", "2026-07-05T09:00:00Z 1h0m0s"}},
		{"an instance of several series of one name is one of each", event("1", "DTSTART;TZID=Europe/London:20260701T090000", hour, "RRULE:FREQ=DAILY;COUNT=2") + "\r\n" + event("1", "DTSTART;TZID=America/New_York:20260701T090000", hour, "RRULE:FREQ=DAILY;COUNT=2") + "\r\n" +
			event("1", "DTSTART;VALUE=DATE:20260701", "RRULE:FREQ=DAILY;COUNT=2") + "\r\n" + event("1", "RECURRENCE-ID:20260702T090000", "DTSTART:20260702T090000", hour, "STATUS:CANCELLED"),
			[]string{"2026-06-30T23:00:00Z 24h0m0s all day", "2026-07-01T08:00:00Z 1h0m0s", "2026-07-01T13:00:00Z 1h0m0s"}},
		{"an instance that comes before its series in the file", event("1", "RECURRENCE-ID:20260702T090000Z", "DTSTART:20260702T110000Z", hour) + "\r\n" + event("1", "DTSTART:20260701T090000Z", hour, "RRULE:FREQ=DAILY;COUNT=2"),
			[]string{"2026-07-01T09:00:00Z 1h0m0s", "2026-07-02T11:00:00Z 1h0m0s"}},
		{"an instance of a cancelled series", event("1", "DTSTART:20260701T090000Z", hour, "RRULE:FREQ=DAILY;COUNT=2", "STATUS:CANCELLED") + "\r\n" + event("1", "RECURRENCE-ID:20260702T090000Z", "DTSTART:20260702T110000Z", hour),
			[]string{"2026-07-02T11:00:00Z 1h0m0s"}},
		{"an instance without its series", event("1", "RECURRENCE-ID:20260702T090000Z", "DTSTART:20260702T110000Z", hour), []string{"2026-07-02T11:00:00Z 1h0m0s"}},
		{"events without a name stay apart", event("", "DTSTART:20260701T090000Z", hour) + "\r\n" + event("", "RECURRENCE-ID:20260701T090000Z", "DTSTART:20260702T110000Z", hour),
			[]string{"2026-07-01T09:00:00Z 1h0m0s", "2026-07-02T11:00:00Z 1h0m0s"}},
		{"the same event twice", event("1", "DTSTART:20260701T090000Z", hour) + "\r\n" + event("1", "DTSTART:20260701T090000Z", hour), []string{"2026-07-01T09:00:00Z 1h0m0s"}},
		{"two events that share a name", event("1", "DTSTART:20260701T090000Z", hour) + "\r\n" + event("1", "DTSTART:20260702T090000Z", hour), []string{"2026-07-01T09:00:00Z 1h0m0s", "2026-07-02T09:00:00Z 1h0m0s"}},
		{"tasks and alarms are not looked at", "BEGIN:VTODO\r\nDTSTART:20260701T090000Z\r\nDURATION:PT1H\r\nEND:VTODO\r\n" + event("1", "DTSTART:20260701T090000Z", hour, "BEGIN:VALARM", "DURATION:PT5M", "DTSTART:x", "END:VALARM"),
			[]string{"2026-07-01T09:00:00Z 1h0m0s"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, busy(t, calendar(tt.text), "2026-01-01", "2027-01-01"))
		})
	}
}

func TestTheWindowTakesWhatReachesIntoIt(t *testing.T) {
	c, problems := parse(t, calendar(event("1", "DTSTART:19900101T220000Z", "DURATION:PT4H", "RRULE:FREQ=DAILY")))
	require.Empty(t, problems)
	for _, tt := range []struct {
		from, to string
		want     []string
	}{
		{"2026-07-01T00:00:00Z", "2026-07-02T00:00:00Z", []string{"2026-06-30T22:00:00Z 4h0m0s", "2026-07-01T22:00:00Z 4h0m0s"}},
		{"2026-07-01T02:00:00Z", "2026-07-01T22:00:00Z", nil},
		{"2026-07-01T01:59:59Z", "2026-07-01T22:00:01Z", []string{"2026-06-30T22:00:00Z 4h0m0s", "2026-07-01T22:00:00Z 4h0m0s"}},
		{"1989-01-01T00:00:00Z", "1990-01-01T22:00:00Z", nil},
		{"2026-07-02T00:00:00Z", "2026-07-01T00:00:00Z", nil},
	} {
		list, problems := c.Busy(instant(t, tt.from), instant(t, tt.to))
		require.Empty(t, problems)
		require.Equal(t, tt.want, written(list), tt.from)
	}
}

func TestWholeDaysCountOnlyWhenAsked(t *testing.T) {
	text := calendar(event("1", "DTSTART;VALUE=DATE:20260701"), event("2", "DTSTART:20260702T090000Z", "DURATION:PT1H"))
	c, _, err := Parse(strings.NewReader(text), Options{})
	require.NoError(t, err)
	list, _ := c.Busy(instant(t, "2026-01-01"), instant(t, "2027-01-01"))
	require.Equal(t, []string{"2026-07-02T09:00:00Z 1h0m0s"}, written(list))
	require.True(t, c.Events[0].AllDay)
	require.Equal(t, time.UTC, list[0].Start.Location())
}

func TestBusyTimeIsCutAtItsLimitsFromTheEnd(t *testing.T) {
	var events []string
	for i := range 30 {
		events = append(events, event(fmt.Sprint(i), fmt.Sprintf("DTSTART:202607%02dT090000Z", 30-i), "DURATION:PT1H"))
	}
	c, _, err := Parse(strings.NewReader(calendar(events...)), Options{Limits: Limits{Intervals: 3}})
	require.NoError(t, err)
	list, problems := c.Busy(instant(t, "2026-01-01"), instant(t, "2027-01-01"))
	require.Equal(t, []string{"2026-07-01T09:00:00Z 1h0m0s", "2026-07-02T09:00:00Z 1h0m0s", "2026-07-03T09:00:00Z 1h0m0s"}, written(list))
	require.Equal(t, "calendar is busy more often than 3 times; the later ones are left out", what(problems))
}

func TestACancellationMakesNobodyBusy(t *testing.T) {
	require.Empty(t, busy(t, calendar("METHOD:CANCEL", event("1", "DTSTART:20260701T090000Z", "DURATION:PT1H")), "2026-01-01", "2027-01-01"))
}

func TestSeveralCalendarsInOneFileAreRead(t *testing.T) {
	own := func(offset string) string {
		return calendar(ownZone("Own", "TZOFFSETTO:"+offset), event("u"+offset, "DTSTART;TZID=Own:20260701T090000", "DURATION:PT1H"))
	}
	require.Equal(t, []string{"2026-07-01T07:00:00Z 1h0m0s", "2026-07-01T08:00:00Z 1h0m0s"}, busy(t, own("+0100")+own("+0200"), "2026-01-01", "2027-01-01"))
}

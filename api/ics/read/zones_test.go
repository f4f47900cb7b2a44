package read

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// summerAndWinter is when a clock shows noon on two days, in UTC.
func summerAndWinter(t *testing.T, tzid string, before ...string) (string, string) {
	t.Helper()
	lines := append(before, event("1", "DTSTART;TZID="+tzid+":20260115T120000"), event("2", "DTSTART;TZID="+tzid+":20260715T120000"))
	c, _ := parse(t, calendar(lines...))
	return c.Events[0].Start.UTC().Format("15:04"), c.Events[1].Start.UTC().Format("15:04")
}

func TestZonesAreFoundByManyNames(t *testing.T) {
	for _, tt := range []struct {
		name, tzid     string
		winter, summer string
		before         []string
	}{
		{"as in the tz database", "America/New_York", "17:00", "16:00", nil},
		{"in small letters", "america/new_york", "17:00", "16:00", nil},
		{"with a space", "America/New York", "17:00", "16:00", nil},
		{"in quotation marks", `"America/New_York"`, "17:00", "16:00", nil},
		{"an old name", "US/Eastern", "17:00", "16:00", nil},
		{"the name in RFC 2445", "US-Eastern", "17:00", "16:00", nil},
		{"UTC in small letters", "utc", "12:00", "12:00", nil},
		{"Z", "Z", "12:00", "12:00", nil},
		{"the other way round", "Etc/GMT+5", "17:00", "17:00", nil},
		{"a name of Windows", "W. Europe Standard Time", "11:00", "10:00", nil},
		{"a name of Windows in quotation marks and small letters", `"eastern standard time"`, "17:00", "16:00", nil},
		{"the name that Windows shows", `"(UTC+01:00) Amsterdam, Berlin, Bern, Rome, Stockholm, Vienna"`, "11:00", "10:00", nil},
		{"the same with backslashes", `"(UTC+01:00) Amsterdam\, Berlin\, Bern\, Rome\, Stockholm\, Vienna"`, "11:00", "10:00", nil},
		{"an older name that Windows showed", `"(GMT-05:00) Eastern Time (US & Canada)"`, "17:00", "16:00", nil},
		{"without its offset", "Eastern Time (US & Canada)", "17:00", "16:00", nil},
		{"with some of the places", `"(UTC+01:00) Prague, Berlin"`, "11:00", "10:00", nil},
		{"a list of places", `"Amsterdam, Belgrade, Berlin, Brussels"`, "11:00", "10:00", nil},
		{"that of a server", "tzone://Microsoft/Utc", "12:00", "12:00", nil},
		{"a path", "/example.org/20260101_1/Europe/London", "12:00", "11:00", nil},
		{"a path to a zone of three names", "/example.org/America/Argentina/Ushuaia", "15:00", "15:00", nil},
		{"an offset", "UTC+2", "10:00", "10:00", nil},
		{"an offset with minutes", `"GMT-0330"`, "15:30", "15:30", nil},
		{"one of the file's own", "Our clocks", "11:00", "10:00", []string{berlin("Our clocks")}},
		{"one of the file's own that shows an offset only", `"(UTC+01:00) Somewhere"`, "11:00", "10:00", []string{berlin(`(UTC+01:00) Somewhere`)}},
		{"one of the file's own is not needed for a known name", "Europe/London", "12:00", "11:00", []string{berlin("Europe/London")}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, problems := parse(t, calendar(append(tt.before, event("1", "DTSTART;TZID="+tt.tzid+":20260115T120000"))...))
			require.Empty(t, problems)
			winter, summer := summerAndWinter(t, tt.tzid, tt.before...)
			require.Equal(t, [2]string{tt.winter, tt.summer}, [2]string{winter, summer})
		})
	}
}

// berlin is a zone of a file, as some programs write it: rules since 1601.
func berlin(name string) string {
	return strings.Join([]string{"BEGIN:VTIMEZONE", "TZID:" + name,
		observancePart("STANDARD", "16010101T030000", "+0200", "+0100", "RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10"),
		observancePart("DAYLIGHT", "16010101T020000", "+0100", "+0200", "RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=3"),
		"END:VTIMEZONE"}, "\r\n")
}

func TestZonesThatNobodyKnowsAreTold(t *testing.T) {
	for _, tt := range []struct {
		name, tzid     string
		before         []string
		winter, summer string
		told           string
	}{
		{"an offset with words", `"(UTC+02:00) Somewhere"`, nil, "10:00", "10:00", `names a time zone that is not known, "(UTC+02:00) Somewhere"; its offset from UTC is taken for the whole year`},
		{"the calendar's own", "Nowhere", []string{"X-WR-TIMEZONE:Eastern Standard Time"}, "17:00", "16:00", `"Nowhere"; its times are read in the calendar's own, "Eastern Standard Time"`},
		{"the salon's", "Nowhere", nil, "12:00", "11:00", `"Nowhere"; its times are read in the salon's time zone`},
		{"a path that leads outwards", "../../etc/passwd", nil, "12:00", "11:00", "salon's time zone"},
		{"the machine's own", "Local", nil, "12:00", "11:00", "salon's time zone"},
		{"a zone with leap seconds", "right/Nowhere", nil, "12:00", "11:00", "salon's time zone"},
		{"an offset of days", "UTC+99", nil, "12:00", "11:00", "salon's time zone"},
		{"one of the file's own that says nothing", "Empty", []string{"BEGIN:VTIMEZONE\r\nTZID:Empty\r\nEND:VTIMEZONE"}, "12:00", "11:00", "VTIMEZONE says no change of clocks"},
		{"one of the file's own that is there twice", "Own", []string{berlin("Own"), ownZone("Own", "TZOFFSETTO:+0500")}, "11:00", "10:00", `describes "Own" a second time; the first one counts`},
		{"an absurd offset", "Own", []string{ownZone("Own", "TZOFFSETTO:+9999", "TZOFFSETFROM:+0100")}, "12:00", "11:00", "has no offset from UTC of less than a day"},
		{"clocks that change every day", "Own", []string{ownZone("Own", "TZOFFSETTO:+0100", "RRULE:FREQ=DAILY")}, "11:00", "11:00", "changes clocks more often than every month"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			winter, summer := summerAndWinter(t, tt.tzid, tt.before...)
			require.Equal(t, [2]string{tt.winter, tt.summer}, [2]string{winter, summer})
			_, problems := parse(t, calendar(append(tt.before, event("1", "DTSTART;TZID="+tt.tzid+":20260115T120000"), event("2", "DTSTART;TZID="+tt.tzid+":20260115T120000"))...))
			require.Equal(t, 1, strings.Count(what(problems), tt.told), what(problems))
		})
	}
}

func TestAQuotationMarkThatEndsAfterTheValue(t *testing.T) {
	require.Equal(t, []string{"2020-06-09T07:00:00Z 1h0m0s"}, busy(t, calendar(event("1", `DTSTART;TZID="W. Europe Standard Time:20200609T090000"`, "DURATION:PT1H")), "2020-01-01", "2021-01-01"))
	require.Equal(t, []string{"2020-06-09T07:00:00Z 1h0m0s"}, busy(t, calendar(event("1", `DTSTART;TZID="W. Europe Standard Time:20200609T090000`, "DURATION:PT1H")), "2020-01-01", "2021-01-01"))
}

func TestAColonInANameOfAZoneWithoutQuotationMarks(t *testing.T) {
	winter, summer := summerAndWinter(t, "(UTC+01:00) Amsterdam, Berlin, Bern, Rome, Stockholm, Vienna")
	require.Equal(t, [2]string{"11:00", "10:00"}, [2]string{winter, summer})
}

func TestAZoneOfTheFileKeepsItsOffsetBeforeAndAfterItsRules(t *testing.T) {
	zone := strings.Join([]string{"BEGIN:VTIMEZONE", "TZID:Own",
		observancePart("DAYLIGHT", "20260329T020000", "+0100", "+0200"), observancePart("STANDARD", "20261025T030000", "+0200", "+0100"), "END:VTIMEZONE"}, "\r\n")
	var list []expected
	for wall, want := range map[string]string{"20200701T120000": "2020-07-01T11:00:00Z", "20260701T120000": "2026-07-01T10:00:00Z", "20310701T120000": "2031-07-01T11:00:00Z"} {
		list = append(list, expected{wall, instant(t, want)})
	}
	requireInstants(t, zone, "Own", list)
}

func TestTooManyNamesOfZonesAreReadInTheSalonsOwn(t *testing.T) {
	c, problems, err := Parse(strings.NewReader(calendar(event("1", "DTSTART;TZID=Asia/Tokyo:20260115T120000"), event("2", "DTSTART;TZID=Asia/Seoul:20260115T120000"),
		event("3", "DTSTART;TZID=Asia/Tokyo:20260115T120000"))), Options{Limits: Limits{Zones: 1}})
	require.NoError(t, err)
	require.Equal(t, 3, c.Events[0].Start.Hour())
	require.Equal(t, 12, c.Events[1].Start.Hour())
	require.Equal(t, 3, c.Events[2].Start.Hour())
	require.Len(t, problems, 1)
}

func TestEveryNameOfWindowsLeadsToAZone(t *testing.T) {
	n := 0
	for line := range dataLines(windowsZones) {
		name, rest, _ := strings.Cut(line, "\t")
		zone, shown, _ := strings.Cut(rest, "\t")
		want, err := time.LoadLocation(zone)
		require.NoError(t, err)
		for _, name := range []string{name, shown} {
			loc := windowsZone(name)
			require.NotNil(t, loc, name)
			require.Equal(t, want.String(), loc.String(), name)
		}
		n++
	}
	require.Equal(t, 139, n)
}

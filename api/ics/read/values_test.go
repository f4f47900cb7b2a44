package read

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestFormsOfDatesAndTimes(t *testing.T) {
	tokyo := location(t, "Asia/Tokyo")
	for s, want := range map[string]string{
		"20260301":                  "date 2026-03-01T00:00:00Z",
		"2026-03-01":                "date 2026-03-01T00:00:00Z",
		" 20260301 ":                "date 2026-03-01T00:00:00Z",
		"20240229":                  "date 2024-02-29T00:00:00Z",
		"20260301T090000":           "2026-03-01T00:00:00Z",
		"20260301T0900":             "2026-03-01T00:00:00Z",
		"2026-03-01T09:00:00":       "2026-03-01T00:00:00Z",
		"2026-03-01 09:00":          "2026-03-01T00:00:00Z",
		"20260301T090000Z":          "2026-03-01T09:00:00Z",
		"20260301t090000z":          "2026-03-01T09:00:00Z",
		"20260301T090000.123Z":      "2026-03-01T09:00:00Z",
		"20260301T090000+0200":      "2026-03-01T07:00:00Z",
		"2026-03-01T09:00:00-02:30": "2026-03-01T11:30:00Z",
		"20260301T240000Z":          "2026-03-02T00:00:00Z",
		"20261231T235960Z":          "2026-12-31T23:59:59Z",
		"00010101T000000Z":          "0001-01-01T00:00:00Z",
		"99991231T235959Z":          "9999-12-31T23:59:59Z",
		"":                          "none",
		"2026030":                   "none",
		"20260229":                  "none",
		"20260431":                  "none",
		"20261301":                  "none",
		"20260300":                  "none",
		"2026O301":                  "none",
		"20260301T":                 "none",
		"20260301T250000":           "none",
		"20260301T240001":           "none",
		"20260301T096000":           "none",
		"20260301T090061":           "none",
		"20260301T09000":            "none",
		"20260301T090000+9900":      "none",
		"20260301T090000+0":         "none",
		"20260301T-90000":           "none",
		"+2026031":                  "none",
		"20260301T090000ZZ":         "none",
		strings.Repeat("2", 10_000): "none",
	} {
		m, ok := parseMoment(s, tokyo)
		got := "none"
		if ok {
			got = m.instant(time.UTC).UTC().Format(time.RFC3339)
		}
		if m.form == dateOnly {
			got = "date " + got
		}
		require.Equal(t, want, got, "%.50q", s)
	}
}

func TestFormsOfDurations(t *testing.T) {
	for s, want := range map[string]span{
		"P15DT5H0M20S":     {15, 18_020},
		"P7W":              {49, 0},
		"+PT1H":            {0, 3600},
		"pt1h30m":          {0, 5400},
		"PT1H30S":          {0, 3630},
		"P1W2D":            {9, 0},
		"P1DT":             {1, 0},
		"P1DT0H0M0S":       {1, 0},
		"PT0S":             {},
		"P36525D":          {36_525, 0},
		"PT999999999S":     {0, 999_999_999},
		"PT876600H":        {0, 3_155_760_000},
		"P36526D":          {-1, 0},
		"PT876601H":        {-1, 0},
		"PT99999999999H":   {-1, 0},
		"-PT1H":            {-1, 0},
		"P":                {-1, 0},
		"PT":               {-1, 0},
		"P1H":              {-1, 0},
		"PT1D":             {-1, 0},
		"PT1W":             {-1, 0},
		"PT1H1H":           {-1, 0},
		"PT1M1H":           {-1, 0},
		"PTH":              {-1, 0},
		"PT-1H":            {-1, 0},
		"P1DT1HT1M":        {-1, 0},
		"1H":               {-1, 0},
		"PT1.5H":           {-1, 0},
		"P1":               {-1, 0},
		"":                 {-1, 0},
		"P999999999W":      {-1, 0},
		"P999999999W9D":    {-1, 0},
		"PT999999999H999M": {-1, 0},
	} {
		got, ok := parseSpan(s)
		if !ok {
			got = span{-1, 0}
		}
		require.Equal(t, want, got, s)
	}
}

func TestFormsOfOffsets(t *testing.T) {
	for s, want := range map[string]int{
		"-0500": -18_000, "+0100": 3600, "+013015": 5415, "+01": 3600, "+01:00": 3600, "0100": 3600, "-0000": 0, "+2359": 86_340,
		"+2400": -1, "+9999": -1, "+0160": -1, "": -1, "+": -1, "+1": -1, "+100": -1, "x0100": -1, "+01000": -1, "+0100000": -1,
	} {
		got, ok := lenientOffset(s)
		if !ok {
			got = -1
		}
		require.Equal(t, want, got, s)
	}
}

func TestAnEndWithoutAZoneIsReadInTheStartsZone(t *testing.T) {
	require.Equal(t, []string{"2026-07-01T13:00:00Z 1h0m0s"},
		busy(t, calendar(event("1", "DTSTART;TZID=America/New_York:20260701T090000", "DTEND:20260701T100000")), "2026-01-01", "2027-01-01"))
}

// The last instance shows a later time than its end does, an hour afterwards.
func TestASeriesThatEndsWhileClocksGoBack(t *testing.T) {
	require.Equal(t, []string{"2026-10-24T00:45:00Z 1h0m0s", "2026-10-25T00:45:00Z 1h0m0s"},
		busy(t, calendar(event("1", "DTSTART;TZID=Europe/London:20261024T014500", "DURATION:PT1H", "RRULE:FREQ=DAILY;UNTIL=20261025T010000Z")), "2026-01-01", "2027-01-01"))
}

func TestWholeDaysWestOfGreenwich(t *testing.T) {
	text := calendar(event("1", "DTSTART;VALUE=DATE:20260701", "RRULE:FREQ=DAILY;UNTIL=20260704T000000Z", "EXDATE:20260702T000000Z", "EXDATE;TZID=Europe/Paris:20260703T000000"),
		event("1", "RECURRENCE-ID;TZID=Asia/Tokyo:20260704T000000", "DTSTART;VALUE=DATE:20260710"))
	c, problems, err := Parse(strings.NewReader(text), Options{Zone: location(t, "America/New_York"), AllDayBusy: true})
	require.NoError(t, err)
	require.Empty(t, problems)
	list, problems := c.Busy(instant(t, "2026-01-01"), instant(t, "2027-01-01"))
	require.Empty(t, problems)
	require.Equal(t, []string{"2026-07-01T04:00:00Z 24h0m0s all day", "2026-07-10T04:00:00Z 24h0m0s all day"}, written(list))
}

func TestAZoneOfTheFileWithDatesInUTC(t *testing.T) {
	zone := strings.Join([]string{"BEGIN:VTIMEZONE", "TZID:Own", observancePart("DAYLIGHT", "20250330T020000", "+0100", "+0200", "RDATE:20260329T010000Z"),
		observancePart("STANDARD", "20251026T030000", "+0200", "+0100", "RDATE:20261025T010000Z"), "END:VTIMEZONE"}, "\r\n")
	requireInstants(t, zone, "Own", []expected{{"20260329T015959", instant(t, "2026-03-29T00:59:59Z")}, {"20260329T030000", instant(t, "2026-03-29T01:00:00Z")},
		{"20261025T025959", instant(t, "2026-10-25T00:59:59Z")}, {"20261025T030000", instant(t, "2026-10-25T02:00:00Z")}})
}

func TestAZoneOfTheFileWithHundredsOfOffsets(t *testing.T) {
	parts := []string{"BEGIN:VTIMEZONE", "TZID:Own"}
	at := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range 300 {
		parts = append(parts, observancePart("STANDARD", at.AddDate(0, i, 0).Format(wallForm), offset(60*i), offset(60*i+60)))
	}
	parts = append(parts, "END:VTIMEZONE")
	parts = append(parts, event("1", "DTSTART;TZID=Own:20051215T120000"), event("2", "DTSTART;TZID=Own:20240615T120000"))
	c, problems := parse(t, calendar(parts...))
	require.Equal(t, "line 4: VTIMEZONE has more than 200 different offsets from UTC; changes to the others are left out", what(problems))
	require.Equal(t, "10:48", c.Events[0].Start.UTC().Format("15:04"), "the 72nd offset")
	require.Equal(t, "08:40", c.Events[1].Start.UTC().Format("15:04"), "the 200th offset")
}

func TestTheZoneThatSaysItIsNoneIsNotFound(t *testing.T) {
	require.Nil(t, ianaZone("Factory"))
}

package openings_test

import (
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
)

func days(first, last string) openings.DateRange {
	return openings.DateRange{First: date.MustParseISO(first), Last: date.MustParseISO(last)}
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

// Clocks in London go from 01:00 to 02:00 on 29 March 2026 and from 02:00 back
// to 01:00 on 25 October 2026 (time zone database).
func TestDaysOfAClockChangeHaveTheirRealLength(t *testing.T) {
	london := zone(t, "Europe/London")
	require.EqualValues(t, 1380, openings.NewHorizon(london, days("2026-03-29", "2026-03-29")).Length)
	require.EqualValues(t, 1500, openings.NewHorizon(london, days("2026-10-25", "2026-10-25")).Length)
	require.Zero(t, openings.NewHorizon(london, days("2026-03-29", "2026-03-27")).Length)
}

// weekly is when somebody works whose windows are the same in each week.
func weekly(h openings.Horizon, windows []openings.ClockWindow, closed []openings.DateRange) []openings.Span {
	work, _ := h.Working(openings.WorkRota{Standing: openings.Week{Work: windows}}, closed)
	return work
}

func TestHoursFollowTheClockOnTheWall(t *testing.T) {
	for _, tt := range []struct {
		name, zone, day string
		from, to        int
		want            []openings.Span
	}{
		{"an ordinary day", "Europe/London", "2026-03-27", 540, 1080, []openings.Span{{From: 540, To: 1080}}},
		{"an hour is skipped in the night", "Europe/London", "2026-03-29", 540, 1080, []openings.Span{{From: 480, To: 1020}}},
		{"an hour comes twice in the night", "Europe/London", "2026-10-25", 540, 1080, []openings.Span{{From: 600, To: 1140}}},
		{"open across the skipped hour", "Europe/London", "2026-03-29", 30, 180, []openings.Span{{From: 30, To: 120}}},
		{"until midnight", "America/New_York", "2026-06-12", 1200, 1440, []openings.Span{{From: 1200, To: 1440}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h := openings.NewHorizon(zone(t, tt.zone), days(tt.day, tt.day))
			weekday := (int(date.MustParseISO(tt.day).Weekday())+6)%7 + 1
			require.Equal(t, tt.want, weekly(h, []openings.ClockWindow{{Weekday: weekday, From: tt.from, To: tt.to}}, nil))
		})
	}
}

func TestAWindowPastMidnightBelongsToTheDayOnWhichItBegins(t *testing.T) {
	h := openings.NewHorizon(zone(t, "Europe/London"), days("2026-06-12", "2026-06-13")) // Friday, Saturday
	friday := []openings.ClockWindow{{Weekday: 5, From: 1200, To: 1560}}
	require.Equal(t, []openings.Span{{From: 1200, To: 1560}}, weekly(h, friday, nil))
	require.Empty(t, weekly(h, friday, []openings.DateRange{days("2026-06-12", "2026-06-12")}))
	require.Equal(t, []openings.Span{{From: 1200, To: 1560}}, weekly(h, friday, []openings.DateRange{days("2026-06-13", "2026-06-13")}))
	thursday := []openings.ClockWindow{{Weekday: 4, From: 1200, To: 1560}}
	require.Equal(t, []openings.Span{{From: 0, To: 120}}, weekly(h, thursday, nil), "the rest of the night before")
}

func TestAnIntervalIsCutToTheHorizon(t *testing.T) {
	h := openings.NewHorizon(zone(t, "Europe/London"), days("2026-06-12", "2026-06-12"))
	s, ok := h.Span(h.Origin.Add(-time.Hour), h.Origin.Add(90*time.Second))
	require.True(t, ok)
	require.Equal(t, openings.Span{From: 0, To: 2}, s, "a minute that is touched is taken")
	_, ok = h.Span(h.Origin.Add(-time.Hour), h.Origin)
	require.False(t, ok)
	require.EqualValues(t, -1, h.Minute(h.Origin.Add(-time.Second)))
}

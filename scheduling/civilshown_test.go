package scheduling_test

import (
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func TestATimeIsShownAsOftenAsTheClocksShowIt(t *testing.T) {
	for _, x := range []struct {
		zone, day string
		hour, min int
		want      int
	}{
		{"Europe/London", "2026-03-29", 0, 59, 1}, {"Europe/London", "2026-03-29", 1, 0, 0}, {"Europe/London", "2026-03-29", 1, 59, 0}, {"Europe/London", "2026-03-29", 2, 0, 1},
		{"Europe/London", "2026-10-25", 0, 59, 1}, {"Europe/London", "2026-10-25", 1, 0, 2}, {"Europe/London", "2026-10-25", 1, 59, 2}, {"Europe/London", "2026-10-25", 2, 0, 1},
		{"America/New_York", "2026-03-08", 2, 30, 0}, {"America/New_York", "2026-11-01", 1, 30, 2}, {"Europe/Berlin", "2026-10-25", 2, 30, 2},
		{"Europe/London", "2026-06-09", 1, 30, 1}, {"Asia/Beirut", "2026-03-29", 0, 0, 0}, {"Pacific/Apia", "2011-12-30", 12, 0, 0}, {"Australia/Lord_Howe", "2026-04-05", 1, 45, 2},
	} {
		loc, err := time.LoadLocation(x.zone)
		require.NoError(t, err)
		d, err := date.Parse("2006-01-02", x.day)
		require.NoError(t, err)
		require.Equal(t, x.want, scheduling.Shown(loc, d, clock.New(x.hour, x.min, 0, 0)), "%s %s %02d:%02d", x.zone, x.day, x.hour, x.min)
	}
}

// A minute of a day is shown as often as it comes among the instants of that day.
func TestShownAgreesWithCountingTheMinutesOfADay(t *testing.T) {
	for _, zone := range []string{"Europe/London", "America/New_York", "Asia/Beirut", "Australia/Lord_Howe", "America/St_Johns"} {
		loc, err := time.LoadLocation(zone)
		require.NoError(t, err)
		for d := date.New(2026, time.January, 1); d.Year() == 2026; d = d.Add(1) {
			from, to := scheduling.DayBounds(loc, d)
			if to.Sub(from) == 24*time.Hour {
				continue
			}
			seen := map[clock.Clock]int{}
			for at := from.Add(-3 * time.Hour); at.Before(to.Add(3 * time.Hour)); at = at.Add(time.Minute) {
				if scheduling.CivilDate(at, loc) == d {
					seen[clock.NewAt(at)]++
				}
			}
			for m := range 24 * 60 {
				c := clock.New(m/60, m%60, 0, 0)
				require.Equal(t, seen[c], scheduling.Shown(loc, d, c), "%s %s %s", zone, d, c)
			}
		}
	}
}

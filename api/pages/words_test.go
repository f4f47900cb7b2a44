package pages

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestTheNameOfAPartSaysAll(t *testing.T) {
	at := on11June
	for _, tt := range []struct {
		name string
		part Part
		h12  bool
		want string
	}{
		{
			"a watched beam",
			Part{
				Kind: Watched, From: at(9, 40), To: at(10, 10), Code: "A. K.", Label: "process", Chair: "chair 1",
				Checks: []time.Time{at(9, 50)}, BackBy: ptr(at(10, 10)), Latest: ptr(at(10, 15)), Title: "first visit",
			}, false,
			"09:40 to 10:10, 30 minutes, A. K., process, hands off, watched, chair 1, look at 09:50, check at 10:10, no later than 10:15, first visit",
		},
		{
			"three looks",
			Part{Kind: Unwatched, From: at(9, 40), To: at(9, 41), Checks: []time.Time{at(9, 40), at(9, 41), at(9, 42)}}, false,
			"09:40 to 09:41, 1 minute, hands off, free for another client, looks at 09:40, 09:41 and 09:42",
		},
		{
			"twelve hours",
			Part{Kind: Basin, From: at(12, 44), To: at(13, 52), Code: "A. K.", Label: "rinse", Chair: "basin 1"}, true,
			"12:44 pm to 1:52 pm, 68 minutes, A. K., rinse, at the basin, basin 1",
		},
		{
			"a finished visit that somebody else goes on with",
			Part{Kind: Unwatched, From: at(10, 0), To: at(10, 35), Code: "M. R.", Next: "rinse from 10:35, Mina", State: "finished"}, false,
			"10:00 to 10:35, 35 minutes, M. R., hands off, free for another client, rinse from 10:35, Mina, finished",
		},
		{"an outline", Part{Kind: Pencilled, From: at(9, 0), To: at(9, 10), Label: "pencilled until 14:32", Title: "dry cut"}, false,
			"09:00 to 09:10, 10 minutes, pencilled until 14:32, not booked yet, dry cut"},
		{"kept time", Part{Kind: Kept, From: at(9, 0), To: at(9, 20), Label: "the new dryer"}, false, "09:00 to 09:20, 20 minutes, the new dryer, kept, no client"},
		{"clearing", Part{Kind: Clearing, From: at(9, 0), To: at(9, 10)}, false, "09:00 to 09:10, 10 minutes, clearing and cleaning"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, clock{loc: london, hour12: tt.h12}.name(tt.part))
		})
	}
}

// The clock changes are those of the tz database for 2026.
func TestTimesThatTheClockShowsTwiceCarryTheirOffset(t *testing.T) {
	for _, tt := range []struct {
		zone string
		utc  time.Time
		want string
	}{
		{"Europe/London", time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC), "01:30 UTC+1"},
		{"Europe/London", time.Date(2026, 10, 25, 1, 30, 0, 0, time.UTC), "01:30 UTC+0"},
		{"Europe/London", time.Date(2026, 10, 25, 2, 0, 0, 0, time.UTC), "02:00"},
		{"Europe/London", time.Date(2026, 10, 24, 23, 59, 0, 0, time.UTC), "00:59"},
		{"Europe/London", time.Date(2026, 3, 29, 1, 30, 0, 0, time.UTC), "02:30"},
		{"America/New_York", time.Date(2026, 11, 1, 5, 0, 0, 0, time.UTC), "01:00 UTC−4"},
		{"America/New_York", time.Date(2026, 11, 1, 6, 59, 0, 0, time.UTC), "01:59 UTC−5"},
		{"Australia/Lord_Howe", time.Date(2026, 4, 4, 14, 45, 0, 0, time.UTC), "01:45 UTC+11"},
		{"Australia/Lord_Howe", time.Date(2026, 4, 4, 15, 15, 0, 0, time.UTC), "01:45 UTC+10:30"},
		{"Antarctica/Troll", time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC), "02:30 UTC+2"},
		{"Asia/Kathmandu", time.Date(2026, 6, 11, 0, 0, 0, 0, time.UTC), "05:45"},
	} {
		require.Equal(t, tt.want, clock{loc: mustZone(tt.zone)}.at(tt.utc), "%s %s", tt.zone, tt.utc)
	}
}

// Slow oracle: a time is shown twice when some other minute within six hours
// has the same wall clock.
func TestShownTwiceAgreesWithALookAtEveryMinute(t *testing.T) {
	for _, zone := range []string{"Europe/London", "America/New_York", "Australia/Lord_Howe", "Antarctica/Troll"} {
		loc := mustZone(zone)
		for _, day := range []time.Time{
			time.Date(2026, 3, 29, 0, 0, 0, 0, loc), time.Date(2026, 10, 25, 0, 0, 0, 0, loc),
			time.Date(2026, 4, 5, 0, 0, 0, 0, loc), time.Date(2026, 11, 1, 0, 0, 0, 0, loc), time.Date(2026, 6, 11, 0, 0, 0, 0, loc),
		} {
			seen := map[string]int{}
			for m := -360; m < 24*60; m++ {
				seen[day.Add(time.Duration(m)*time.Minute).Format("02 15:04")]++
			}
			for m := range 18 * 60 {
				at := day.Add(time.Duration(m) * time.Minute)
				require.Equal(t, seen[at.Format("02 15:04")] > 1, shownTwice(at), "%s %s", zone, at)
			}
		}
	}
}

func TestADayOnWhichClocksChangeSaysSo(t *testing.T) {
	c := clock{loc: london}
	day := func(m time.Month, d int) (time.Time, time.Time) {
		return time.Date(2026, m, d, 0, 0, 0, 0, london), time.Date(2026, m, d, 23, 0, 0, 0, london)
	}
	require.Equal(t, "Clocks go forward: 60 minutes of the wall clock are missing today.", c.changeWords(day(3, 29)))
	require.Equal(t, "Clocks go back: 60 minutes of the wall clock come twice today.", c.changeWords(day(10, 25)))
	require.Empty(t, c.changeWords(day(6, 11)))
}

func TestAnEmptyDayIsSaidKindly(t *testing.T) {
	b := emptyBoard()
	require.Equal(t, "Nothing is booked on this day. Everybody is free.", b.emptyWords())
	require.Contains(t, string(boardPage(t, b)), "Everybody is free.")
	for i := range b.People {
		b.People[i].Open = nil
	}
	for i := range b.Stations {
		b.Stations[i].Open = nil
	}
	require.Equal(t, "The salon is closed on this day.", b.emptyWords())
	b.People, b.Stations = nil, nil
	require.Equal(t, "Nobody is down to work on this day yet.", b.emptyWords())
	require.NotEmpty(t, boardPage(t, b))
	require.Empty(t, straighteningBoard().emptyWords())
}

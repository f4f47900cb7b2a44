package notify

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// slowRepeated looks at every second quarter of an hour around t instead of
// at offsets.
func slowRepeated(t time.Time) bool {
	const layout = "2006-01-02 15:04:05"
	wall := t.Format(layout)
	for d := -3 * time.Hour; d <= 3*time.Hour; d += 15 * time.Minute {
		if d != 0 && t.Add(d).Format(layout) == wall {
			return true
		}
	}
	return false
}

func TestRepeatedHoursAgreeWithLookingAtEveryQuarter(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	repeats := 0
	for _, name := range []string{"Europe/London", "America/New_York", "Australia/Lord_Howe", "Australia/Sydney", "America/St_Johns", "Asia/Kolkata", "UTC"} {
		z := zone(t, name)
		c := clock{zone: z}
		// Nights of clock changes of 2025 and 2026 and the days around them.
		for day := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC); day.Year() < 2027; day = day.Add(24 * time.Hour) {
			if c.offset(day) == c.offset(day.Add(48*time.Hour)) && r.IntN(20) > 0 {
				continue
			}
			for m := range 24 * 12 {
				u := day.Add(time.Duration(m) * 5 * time.Minute).In(z)
				want := slowRepeated(u)
				require.Equal(t, want, c.repeated(u), "seed %d: %v", seed, u)
				if want {
					repeats++
				}
			}
		}
	}
	require.Positive(t, repeats, "no repeated hour was looked at")
}

func TestTwelveHourClockSaysNoonAndMidnight(t *testing.T) {
	c := clock{w: English(), zone: time.UTC}
	for hour, want := range map[int]string{0: "12:00 midnight", 9: "9:00 am", 12: "12:00 noon", 15: "3:00 pm"} {
		require.Equal(t, want, c.time(time.Date(2026, 6, 12, hour, 0, 0, 0, time.UTC)))
	}
	require.Equal(t, "12:05 pm", c.time(time.Date(2026, 6, 12, 12, 5, 0, 0, time.UTC)))
}

func TestAVisitPastMidnightNamesBothDays(t *testing.T) {
	c := clock{w: English(), zone: time.UTC, hour24: true}
	start := time.Date(2026, 12, 31, 21, 0, 0, 0, time.UTC)
	require.Equal(t, "Thursday 31 December 2026, 21:00 to about Friday 1 January, 00:30", c.span(start, start.Add(210*time.Minute)))
}

func TestLengthsOfStayRoundUpToMinutes(t *testing.T) {
	for d, want := range map[time.Duration]string{
		time.Second:                   "1 minute",
		time.Hour:                     "1 hour",
		2*time.Hour + time.Minute:     "2 hours 1 minute",
		270 * time.Minute:             "4 hours 30 minutes",
		8*time.Hour - time.Nanosecond: "8 hours",
	} {
		require.Equal(t, want, English().long(d))
	}
}

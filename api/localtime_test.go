package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestATypedTimeIsReadAsTheClocksShowIt(t *testing.T) {
	for _, x := range []struct{ zone, day, clock, want, gap string }{
		{"Europe/London", "2026-06-09", "14:30", "2026-06-09T14:30:00+01:00", ""},
		{"Europe/London", "2026-06-09", " 14:30:00 ", "2026-06-09T14:30:00+01:00", ""},
		{"Europe/London", "2026-10-25", "01:30", "2026-10-25T01:30:00+01:00 twice", ""},
		{"Europe/Berlin", "2026-10-25", "02:30", "2026-10-25T02:30:00+02:00 twice", ""},
		{"Europe/London", "2026-10-25", "02:00", "2026-10-25T02:00:00Z", ""},
		{"America/New_York", "2026-03-08", "02:30", "", "There is no 02:30 on Sun 8 March 2026: the clocks go from 02:00 to 03:00. Right is a time before or after that."},
		{"Asia/Beirut", "2026-03-29", "00:00", "", "There is no 00:00 on Sun 29 March 2026: the clocks go from 00:00 to 01:00. Right is a time before or after that."},
		{"Europe/London", "2026-06-31", "14:30", "", "no day or no time of day"}, {"Europe/London", "", "14:30", "", "no day or no time of day"},
		{"Europe/London", "2026-06-09", "25:00", "", "no day or no time of day"}, {"Europe/London", "2026-06-09", "", "", "no day or no time of day"},
	} {
		loc, err := time.LoadLocation(x.zone)
		require.NoError(t, err)
		got, err := api.ReadLocal(loc, x.day, x.clock)
		if x.gap != "" {
			require.EqualError(t, err, x.gap)
			continue
		}
		require.NoError(t, err)
		words := got.At.Format(time.RFC3339)
		if got.Twice {
			words += " twice"
		}
		require.Equal(t, x.want, words, "%s %s %s", x.zone, x.day, x.clock)
	}
}

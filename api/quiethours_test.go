package api_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// quietByTheClock is the same by looking at the clock on the wall, minute by minute:
// slow and obvious.
func quietByTheClock(from, to int, now time.Time, loc *time.Location) (time.Time, bool) {
	quiet := func(t time.Time) bool {
		l := t.In(loc)
		at := l.Hour()*60 + l.Minute()
		if from <= to {
			return at >= from && at < to
		}
		return at >= from || at < to
	}
	if !quiet(now) {
		return time.Time{}, false
	}
	t := now.Truncate(time.Minute)
	for quiet(t) {
		t = t.Add(time.Minute)
	}
	return t, true
}

func TestQuietHoursAreClockTimesOverMidnightAndChangesOfClocks(t *testing.T) {
	t.Parallel()
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 2))
	for _, name := range []string{"Europe/London", "Europe/Berlin", "America/New_York", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kolkata", "Pacific/Apia", "Africa/Casablanca", "UTC"} {
		loc, err := time.LoadLocation(name)
		require.NoError(t, err)
		for range 60 {
			// Ends that no change of clocks hides or repeats: those are at night.
			from, to := 6*60+r.IntN(16*60), 6*60+r.IntN(16*60)
			rules := api.MessageRules{QuietFrom: fmt.Sprintf("%02d:%02d", from/60, from%60), QuietTo: fmt.Sprintf("%02d:%02d", to/60, to%60)}
			for range 20 {
				now := time.Unix(time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC).Unix()+r.Int64N(3*366*24*3600), 0)
				got, quiet := rules.QuietUntil(now, loc)
				want, wantQuiet := quietByTheClock(from, to, now, loc)
				if from == to {
					want, wantQuiet = time.Time{}, false
				}
				require.Equal(t, wantQuiet, quiet, "%s %+v at %s, seed %d", name, rules, now.In(loc), seed)
				require.True(t, want.Equal(got), "%s %+v at %s: %s, not %s, seed %d", name, rules, now.In(loc), got.In(loc), want.In(loc), seed)
			}
		}
	}
}

func TestANightIsAsLongAsItsClocksSay(t *testing.T) {
	t.Parallel()
	loc, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	at := func(s string) time.Time {
		x, err := time.ParseInLocation("2006-01-02 15:04:05", s, loc)
		require.NoError(t, err)
		return x
	}
	for _, x := range []struct {
		now, until string
		hours      float64 // from 20:00
	}{
		{"2026-06-10 20:00:00", "2026-06-11 08:00:00", 12},
		{"2026-03-28 20:00:00", "2026-03-29 08:00:00", 11}, // clocks go forward
		{"2026-10-24 20:00:00", "2026-10-25 08:00:00", 13}, // and back
		{"2026-12-31 20:00:00", "2027-01-01 08:00:00", 12},
		{"2028-02-28 20:00:00", "2028-02-29 08:00:00", 12},
	} {
		until, quiet := api.MessageRules{}.QuietUntil(at(x.now), loc)
		require.True(t, quiet, x.now)
		require.True(t, at(x.until).Equal(until), "%s: %s", x.now, until)
		require.InDelta(t, x.hours, until.Sub(at(x.now)).Hours(), 0)
		_, quiet = api.MessageRules{}.QuietUntil(at(x.now).Add(-time.Second), loc)
		require.False(t, quiet)
		_, quiet = api.MessageRules{}.QuietUntil(until, loc)
		require.False(t, quiet)
		still, quiet := api.MessageRules{}.QuietUntil(until.Add(-time.Nanosecond), loc)
		require.True(t, quiet)
		require.True(t, still.Equal(until))
	}
	_, quiet := api.MessageRules{QuietFrom: "00:00", QuietTo: "00:00"}.QuietUntil(at("2026-06-10 00:00:00"), loc)
	require.False(t, quiet, "no quiet hours")
}

func TestAHouseholdIsTheFirstHalfOfALongAddress(t *testing.T) {
	t.Parallel()
	require.Equal(t, "192.0.2.7/32", api.Network("192.0.2.7"))
	require.Equal(t, "192.0.2.7/32", api.Network("::ffff:192.0.2.7"))
	require.Equal(t, "2001:db8:0:1::/64", api.Network("2001:db8:0:1:a:b:c:d"))
	require.Equal(t, "fe80::/64", api.Network("fe80::1%eth0"))
	require.Equal(t, "invalid Prefix", api.Network("nowhere"))
}

package scheduling_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// TestWhatWasOverBeforeDoesNotMatter holds the answer without the visits that no
// rule looks back to against the answer with all of them, for starts from the one
// asked about on.
func TestWhatWasOverBeforeDoesNotMatter(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 2))
	loc := zone(t, "Europe/Berlin")
	begin := time.Date(2026, 3, 20, 8, 0, 0, 0, loc) // the clocks change on the 29th
	families := []string{"straightening", "wet", "colour"}
	left, broken := 0, 0
	for range 2000 {
		rules := anyRules(r, families)
		var others []scheduling.SpacedVisit
		for i := range r.IntN(12) {
			o := spaced(fmt.Sprint(i), begin.Add(time.Duration(r.IntN(1000))*30*time.Minute), 30+30*r.IntN(4), one(families[r.IntN(3)]))
			if r.IntN(10) == 0 { // came hours before the time it was booked for
				o.End = o.Start.Add(-time.Duration(r.IntN(5)) * time.Hour)
			}
			others = append(others, o)
		}
		v := spaced("", begin.Add(time.Duration(r.IntN(1000))*30*time.Minute), 60, one(families[r.IntN(3)]))
		since := scheduling.SpacedSince(rules, v.Services, v.Start.Add(-time.Duration(r.IntN(3))*20*time.Hour), loc)
		near := slices.DeleteFunc(slices.Clone(others), func(o scheduling.SpacedVisit) bool { return !o.End.After(since) && !o.Start.After(since) })
		left += len(others) - len(near)
		want := scheduling.CheckSpacing(rules, others, v, loc)
		broken += len(want)
		require.Equal(t, want, scheduling.CheckSpacing(rules, near, v, loc), "seed %d", seed)
	}
	require.Greater(t, left, 500, "seed %d: hardly anything is left out", seed)
	require.Greater(t, broken, 500, "seed %d: hardly anything is broken", seed)
}

// anyRules are one to four rules of hours, of days, of new hair or without end.
func anyRules(r *rand.Rand, families []string) []scheduling.SpacingRule {
	var rules []scheduling.SpacingRule
	for range 1 + r.IntN(4) {
		x := scheduling.SpacingRule{After: families[r.IntN(3)], Before: families[r.IntN(3)], Level: "warn", EitherWay: r.IntN(3) == 0}
		switch r.IntN(9) {
		case 0: // without end
		case 1:
			x.MinRegrowthCM = 3
		case 2, 3, 4, 5:
			x.Hours = 1 + r.IntN(90)
		default:
			x.Days = 1 + r.IntN(9)
		}
		rules = append(rules, x)
	}
	return rules
}

func TestSpacingLooksBackAsFarAsTheRulesThatTheServicesComeUnder(t *testing.T) {
	loc := zone(t, "Europe/Berlin")
	start := time.Date(2026, 6, 24, 9, 0, 0, 0, loc)
	rules := scheduling.DefaultSpacing()
	since := func(families ...string) time.Time { return scheduling.SpacedSince(rules, one(families...), start, loc) }
	require.True(t, since("wet").Equal(start.Add(-48*time.Hour)))
	require.True(t, since("colour").Equal(time.Date(2026, 6, 11, 0, 0, 0, -1, loc)), "the day that is 13 days before")
	require.True(t, since("straightening", "wet").Equal(time.Date(2026, 4, 2, 0, 0, 0, -1, loc)), "12 weeks")
	require.True(t, since("bleach").IsZero(), "straightening bars bleach without end")
	require.True(t, since("cut").Equal(start))
}

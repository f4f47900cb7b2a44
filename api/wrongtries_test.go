package api_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestATallyCountsWithinItsTime(t *testing.T) {
	t.Parallel()
	x, now := api.NewTally(15*time.Minute), time.Now()
	for i := range 10 {
		require.True(t, x.Try("a", 10, now.Add(time.Duration(i)*time.Minute)))
	}
	require.False(t, x.Try("a", 10, now.Add(14*time.Minute)))
	require.True(t, x.Try("b", 10, now.Add(14*time.Minute)))
	require.True(t, x.Try("a", 10, now.Add(15*time.Minute)), "the first is over")
	require.False(t, x.Try("a", 10, now.Add(15*time.Minute)))
	x.TakeBack("a")
	require.True(t, x.Try("a", 10, now.Add(15*time.Minute)))
	x.Forget("a")
	require.True(t, x.Try("a", 1, now.Add(15*time.Minute)))
}

func TestAClockThatIsSetBackLetsNobodyWaitForLong(t *testing.T) {
	t.Parallel()
	x, now := api.NewTally(15*time.Minute), time.Now()
	for range 10 {
		require.True(t, x.Try("a", 10, now))
	}
	require.False(t, x.Try("a", 10, now.Add(-10*time.Minute)), "a little is no way around it")
	require.True(t, x.Try("a", 10, now.Add(-time.Hour)))

	var w store.WrongCodes
	for range 5 {
		require.Zero(t, api.CountCode(&w, now))
	}
	require.Equal(t, 5*time.Minute, api.CountCode(&w, now.Add(-time.Hour)), "not an hour and five minutes")
	require.Equal(t, 4*time.Minute, api.CountCode(&w, now.Add(-59*time.Minute)))
	require.Zero(t, api.CountCode(&w, now.Add(-55*time.Minute)))
}

func TestNobodyIsForgottenAtHerLimitHoweverManyCome(t *testing.T) {
	t.Parallel()
	x, now := api.NewTally(15*time.Minute), time.Now()
	for range 10 {
		x.Try("held", 10, now)
	}
	for range 9 {
		x.Try("nearly", 10, now)
	}
	for i := range 3 * api.TallyRoom {
		x.Try(fmt.Sprint("new", i), 10, now.Add(time.Second))
	}
	require.LessOrEqual(t, x.Size(), api.TallyRoom+1)
	require.False(t, x.Try("held", 10, now.Add(2*time.Second)))
	require.True(t, x.Try("nearly", 10, now.Add(2*time.Second)))
	require.False(t, x.Try("nearly", 10, now.Add(2*time.Second)), "the nine others counted still")
}

func TestWhenAllAreAtTheirLimitWhoeverIsNewIsCountedTogether(t *testing.T) {
	t.Parallel()
	x, now := api.NewTally(15*time.Minute), time.Now()
	for i := range 2 * api.TallyRoom {
		x.Try(fmt.Sprint("one", i), 1, now)
	}
	require.LessOrEqual(t, x.Size(), api.TallyRoom+1)
	require.False(t, x.Try("one0", 1, now))
	require.False(t, x.Try("stranger", 1, now))
	require.True(t, x.Try("stranger", 1, now.Add(15*time.Minute)), "it is over some time")
}

func TestOneSiteIsNotAsManyAsItHasHouseholds(t *testing.T) {
	t.Parallel()
	x, now, passed := api.NewTally(15*time.Minute), time.Now(), 0
	for i := range 65536 {
		if x.TryFrom(fmt.Sprintf("2001:db8:7:%x::1", i), 30, now) {
			passed++
		}
	}
	require.Equal(t, 300, passed)
	require.True(t, x.TryFrom("2001:db8:8::1", 30, now), "another site")
	for range 30 {
		require.True(t, x.TryFrom("192.0.2.7", 30, now))
	}
	require.False(t, x.TryFrom("192.0.2.7", 30, now))
	require.True(t, x.TryFrom("192.0.2.8", 30, now))
}

func TestWhoeverGuessesCodesGetsThroughEightADay(t *testing.T) {
	t.Parallel()
	start := time.Date(2026, 6, 8, 7, 0, 0, 0, time.UTC)
	const days = 60
	guesses := func(pause func() time.Duration, used func(n int) bool) (n int) {
		var w store.WrongCodes
		for now := start; now.Before(start.AddDate(0, 0, days)); {
			wait := api.CountCode(&w, now)
			if wait > 0 {
				now = now.Add(wait)
				continue
			}
			if n++; used(n) && api.CountCode(&w, now) == 0 { // she herself comes in between, with the right code
				w.Misses, w.Locked = max(0, w.Misses-1), time.Time{}
			}
			now = now.Add(pause())
		}
		return n
	}
	never := func(int) bool { return false }
	often := func(n int) bool { return n%3 == 0 }
	atOnce := func() time.Duration { return time.Second }
	require.LessOrEqual(t, guesses(atOnce, never), 8*days+10)
	require.GreaterOrEqual(t, guesses(atOnce, never), 6*days)
	require.LessOrEqual(t, guesses(atOnce, often), 8*days+20, "her own right codes give no more tries")
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 1))
		random := func() time.Duration { return time.Duration(r.IntN(4*3600)) * time.Second }
		require.LessOrEqual(t, guesses(random, never), 8*days+10, "seed %d", seed)
	}
}

func TestAFewWrongCodesADayLockNobody(t *testing.T) {
	t.Parallel()
	var w store.WrongCodes
	start := time.Date(2026, 6, 8, 7, 0, 0, 0, time.UTC)
	for i := range 200 { // one every three hours
		require.Zero(t, api.CountCode(&w, start.Add(time.Duration(i)*3*time.Hour)))
		require.Zero(t, w.Locked)
	}
}

package pace

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

func TestPromisesAreCountedByQuantile(t *testing.T) {
	at := func(day int) time.Time { return time.Date(2026, 5, day, 9, 0, 0, 0, time.UTC) }
	list := []Promise{
		{Visit: "a", At: at(4), Quantile: 0.8, Minutes: 262, Block: 270, Real: 250},
		{Visit: "b", At: at(5), Quantile: 0.8, Minutes: 262, Block: 270, Real: 262.01}, // a second over is not late
		{Visit: "c", At: at(10), Quantile: 0.8, Minutes: 262, Block: 270, Real: 265},
		{Visit: "d", At: at(11), Quantile: 0.8, Minutes: 262, Block: 270, Real: 400},
		{Visit: "e", At: at(11), Quantile: 0.5, Minutes: 200, Block: 210, Real: 99},
		{Visit: "f", At: at(12), Quantile: 0.8, Minutes: 262, Block: 270, Real: 90, Out: StoppedEarly},
	}
	r := Promises(list, time.UTC)
	require.Equal(t, map[Reason]int{StoppedEarly: 1}, r.LeftOut)
	require.Len(t, r.ByQuantile, 2)
	require.Equal(t, 0.5, r.ByQuantile[0].Quantile)
	k := r.ByQuantile[1]
	require.Equal(t, []int{2, 4, 3, 4}, []int{k.Minutes.Kept, k.Minutes.Of, k.Booked.Kept, k.Booked.Of})
	require.Equal(t, 0.5, k.Minutes.Value())
	low, high := Wilson(2, 4)
	require.Equal(t, []float64{low, high}, []float64{k.Minutes.Low, k.Minutes.High})

	require.Len(t, r.Weeks, 2)
	require.Equal(t, at(4).Add(-9*time.Hour), r.Weeks[0].Monday)
	require.Equal(t, []int{3, 2, 3}, []int{r.Weeks[0].Visits, r.Weeks[0].Kept, r.Weeks[0].InBlock})
	require.Equal(t, []int{2, 1, 1}, []int{r.Weeks[1].Visits, r.Weeks[1].Kept, r.Weeks[1].InBlock})
	require.InDelta(t, 262.01/262, r.Weeks[0].Ratio, 1e-12, "the middle one")
	require.InDelta(t, (400.0/262+99.0/200)/2, r.Weeks[1].Ratio, 1e-12, "the middle of two")

	sum := 0
	for i, b := range r.Bins {
		sum += b.Visits
		if i > 0 {
			require.Equal(t, r.Bins[i-1].To, b.From)
		}
		for _, p := range list[:5] {
			if x := p.Real / p.Minutes; x >= b.From && x < b.To {
				require.NotZero(t, b.Visits, "%v", x)
			}
		}
	}
	require.Equal(t, 5, sum)
	require.Equal(t, 1, r.Bins[0].Visits)
	require.Equal(t, 1, r.Bins[len(r.Bins)-1].Visits)
	require.True(t, math.IsInf(r.Bins[len(r.Bins)-1].To, 1))
}

func TestNoVisitsMakeAnEmptyReport(t *testing.T) {
	r := Promises(nil, time.UTC)
	require.Empty(t, r.ByQuantile)
	require.Empty(t, r.Weeks)
	require.Zero(t, Share{}.Value())
}

func TestPromisesNameEveryFault(t *testing.T) {
	err := Promise{Quantile: 0.4, Minutes: 0, Block: math.NaN(), Real: 1e9, Out: "x"}.Validate()
	var faults scheduling.Faults
	require.ErrorAs(t, err, &faults)
	var fields []string
	for _, f := range faults {
		fields = append(fields, f.Field)
	}
	require.Equal(t, []string{"quantile", "promise_minutes", "block_minutes", "real_minutes", "at", "left_out"}, fields)
}

func TestAWeekBeginsOnMondayOfTheSalon(t *testing.T) {
	loc, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	// 23:30 of a Sunday in London is Sunday; in Tokyo it would be Monday
	at := time.Date(2026, 5, 10, 22, 30, 0, 0, time.UTC)
	r := Promises([]Promise{{At: at, Quantile: 0.8, Minutes: 100, Block: 105, Real: 100}}, loc)
	require.Equal(t, "2026-05-04", r.Weeks[0].Monday.Format(time.DateOnly))
}

func TestALineSaysWhoseVisitsAndHowMuch(t *testing.T) {
	require.Equal(t, "your last 14 visits: ironing 12 % slower than the sheet", Line("your", 14, scheduling.Iron, 1.1204))
	require.Equal(t, "the salon's last visit: drying 8 % quicker than the sheet", Line("the salon's", 1, scheduling.Dry2, 0.92))
	require.Equal(t, "as quick as the sheet", Slower(1.004))
	require.Equal(t, "applying solution", Doing(scheduling.Apply2))
	require.Equal(t, "cut", Doing("cut"))
	require.True(t, Said(1.021))
	require.False(t, Said(1.02))
	require.True(t, Said(0.97))
	for _, k := range kindOrder {
		require.NotEmpty(t, doing[k], k)
	}
}

func TestAnEstimateTakesOwnStepsBeforeTheSalons(t *testing.T) {
	rows := []Row{
		{Kind: scheduling.Iron, Factor: 1.05, Visits: 60, Spread: 0.2}, {Kind: scheduling.Iron, Staff: "ada", Factor: 1.12, Visits: 14},
		{Kind: scheduling.Wash, Factor: 0.9, Visits: 60}, {Kind: scheduling.Wash, Staff: "ada", Factor: 1.5, Visits: 3},
		{Kind: scheduling.Iron, Pair: true, Factor: 1.01, Visits: 7}, {Kind: scheduling.Iron, Pair: true, Staff: "ada", With: "noor", Factor: 1.4, Visits: 7},
	}
	assistant := func(k scheduling.StepKind) bool { return k == scheduling.Wash }
	for _, order := range [][]Row{rows, {rows[1], rows[0], rows[3], rows[2], rows[5], rows[4]}} {
		p := Of(order, "ada", assistant)
		require.Equal(t, chairtime.StepPace{Factor: 1.12, Visits: 14, Staff: "ada", Words: "pace of the last 14 visits"}, p.Alone[scheduling.Iron])
		require.Equal(t, 0.9, p.Alone[scheduling.Wash].Factor, "an assistant may do it")
		require.Equal(t, 1.01, p.Pair[scheduling.Iron].Factor, "who helps is not settled")
		p = Of(order, "", assistant)
		require.Equal(t, chairtime.StepPace{Factor: 1.05, Spread: 0.2, Visits: 60, Words: "pace of the salon's last 60 visits"}, p.Alone[scheduling.Iron])
	}
	require.Nil(t, Of(nil, "ada", assistant))
}

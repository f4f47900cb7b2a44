package scheduling

import (
	"math"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// monthly turns µm a day into cm a month.
func monthly(micrometres float64) float64 { return micrometres * 1e-4 * daysPerMonth }

func TestDaysUntilRegrowth(t *testing.T) {
	// Derived from mean ± SD of Loussouarn, El Rawadi & Genain 2005: days at the
	// mean, at mean + SD and at mean − SD.
	for _, tt := range []struct {
		cm   float64
		days [3][3]float64
	}{
		{5.0, [3][3]float64{{178.6, 151.5, 217.4}, {136.2, 118.2, 160.8}, {121.7, 107.8, 139.7}}},
		{7.6, [3][3]float64{{271.4, 230.3, 330.4}, {207.1, 179.7, 244.4}, {184.9, 163.8, 212.3}}},
		{10.0, [3][3]float64{{357.1, 303.0, 434.8}, {272.5, 236.4, 321.5}, {243.3, 215.5, 279.3}}},
	} {
		for i, rate := range [][2]float64{{280, 50}, {367, 56}, {411, 53}} {
			for j, v := range []float64{rate[0], rate[0] + rate[1], rate[0] - rate[1]} {
				got, err := DaysToGrow(tt.cm, monthly(v))
				require.NoError(t, err)
				require.InDelta(t, tt.days[i][j], got, 0.0501)
			}
		}
	}
	for micrometres, cm := range map[float64]float64{280: 0.852, 367: 1.117, 411: 1.251, 417: 1.270} {
		require.InDelta(t, cm, monthly(micrometres), 0.00101)
	}
}

func TestImpossibleGrowthIsRefused(t *testing.T) {
	var e *InvalidError
	for _, rate := range []float64{0, -1, math.NaN(), math.Inf(1), 6} {
		_, err := DaysToGrow(5, rate)
		require.ErrorAs(t, err, &e)
		require.Equal(t, "cm_per_month", e.Field)
		_, err = DefaultRegrowth().Retouch(date.New(2025, 1, 1), Growth{Rate: rate, Slow: 1, Quick: 1})
		require.ErrorAs(t, err, &e)
	}
	_, err := DaysToGrow(-1, 1)
	require.ErrorAs(t, err, &e)
	require.Equal(t, "regrowth_cm", e.Field)
}

func TestRetouchDates(t *testing.T) {
	g := DefaultRegrowth()
	day := func(y int, m time.Month, d int) date.Date { return date.New(y, m, d) }
	for _, tt := range []struct {
		name                        string
		last                        date.Date
		growth                      Growth
		look, due, earliest, latest date.Date
	}{
		// 7.5 cm at 1.1, 1.3 and 0.8 cm a month: 207.5, 175.6 and 285.4 days.
		{
			"salon's rate", day(2025, 1, 1), g.Own(nil),
			day(2025, 5, 20), day(2025, 7, 28), day(2025, 6, 26), day(2025, 10, 14),
		},
		{
			"quick hair waits four months", day(2025, 1, 1), Growth{Rate: 2.4, Slow: 2.0, Quick: 2.5},
			day(2025, 3, 6), day(2025, 5, 1), day(2025, 5, 1), day(2025, 5, 1),
		},
		{
			"slow hair is looked at after a year", day(2025, 1, 1), Growth{Rate: 0.4, Slow: 0.3, Quick: 0.5},
			day(2026, 1, 1), day(2026, 1, 1), day(2026, 1, 1), day(2026, 1, 1),
		},
		{
			"four months from the end of October", day(2025, 10, 31), Growth{Rate: 2.4, Slow: 2.4, Quick: 2.4},
			day(2026, 1, 3), day(2026, 2, 28), day(2026, 2, 28), day(2026, 2, 28),
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := g.Retouch(tt.last, tt.growth)
			require.NoError(t, err)
			require.Equal(t, []string{tt.look.String(), tt.due.String(), tt.earliest.String(), tt.latest.String()},
				[]string{r.Look.String(), r.Due.String(), r.Earliest.String(), r.Latest.String()})
		})
	}
}

func TestDueDayIsTheFirstWithEnoughNewHair(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := DefaultRegrowth()
		last := date.New(2024, 1, 1).Add(date.PeriodOfDays(rapid.IntRange(0, 2000).Draw(t, "day")))
		rate := rapid.Float64Range(0.1, 5).Draw(t, "rate")
		r, err := g.Retouch(last, Growth{Rate: rate, Slow: max(rate*0.8, 0.1), Quick: min(rate*1.2, 5)})
		require.NoError(t, err)
		require.False(t, r.Due.Before(addMonths(last, 4)))
		require.False(t, r.Due.After(addMonths(last, 12)))
		require.False(t, r.Look.After(r.Due))
		require.False(t, r.Earliest.After(r.Due))
		require.False(t, r.Latest.Before(r.Due))
		days := float64(r.Due.Sub(last))
		if r.Due.After(addMonths(last, 4)) && r.Due.Before(addMonths(last, 12)) {
			require.GreaterOrEqual(t, days*rate/daysPerMonth, g.Due-1e-6)
			require.Less(t, (days-1)*rate/daysPerMonth, g.Due)
		}
	})
}

func TestOwnRateNeedsTwoMeasurements(t *testing.T) {
	g := DefaultRegrowth()
	a := NewHair{date.New(2024, 1, 1), date.New(2024, 7, 1), 6}    // 182 days
	b := NewHair{date.New(2024, 7, 1), date.New(2025, 3, 1), 9}    // 243 days
	cut := NewHair{date.New(2024, 7, 1), date.New(2025, 3, 1), 1}  // impossible
	back := NewHair{date.New(2025, 3, 1), date.New(2024, 7, 1), 9} // wrong way round
	salon := Growth{Rate: 1.1, Slow: 0.8, Quick: 1.3}
	require.Equal(t, salon, g.Own(nil))
	require.Equal(t, salon, g.Own([]NewHair{a}))
	require.Equal(t, salon, g.Own([]NewHair{a, cut, back, {CM: math.NaN(), Since: a.Since, On: a.On}}))
	own := g.Own([]NewHair{a, b, cut})
	require.True(t, own.Measured)
	require.InDelta(t, 15.0/425*daysPerMonth, own.Rate, 1e-12)
	require.InDelta(t, 0.85*own.Rate, own.Slow, 1e-12)
	require.InDelta(t, 1.15*own.Rate, own.Quick, 1e-12)
}

func TestRegrowthSettingsHaveBounds(t *testing.T) {
	require.NoError(t, DefaultRegrowth().Validate())
	g := DefaultRegrowth()
	g.Rate, g.Due, g.LookFrom, g.FloorMonths, g.CapMonths = 1.4, 4, 5, 6, 5
	require.EqualError(t, g.Validate(), "growth_cm_per_month is 1.4; expected 0.8 to 1.3 cm a month; "+
		"retouch_look_cm is 5; expected at most retouch_due_cm, which is 4; "+
		"retouch_floor_months is 6; expected at most retouch_cap_months")
}

func TestGrowthAsSeenUntilItIsMeasured(t *testing.T) {
	g := DefaultRegrowth()
	slow, quick := g.Of("slow", nil), g.Of("quick", nil)
	require.InDeltaSlice(t, []float64{0.8, 0.68, 0.92}, []float64{slow.Rate, slow.Slow, slow.Quick}, 1e-9)
	require.InDelta(t, 1.3, quick.Rate, 0)
	require.Equal(t, g.Seen("usual"), g.Seen(""), "nobody has looked: the salon's usual")
	require.Equal(t, Growth{Rate: 1.1, Slow: 0.8, Quick: 1.3}, g.Seen(""))
	first := date.New(2025, time.January, 1)
	seen := []NewHair{{first, first.Add(100), 3}, {first.Add(100), first.Add(200), 3}}
	require.InDelta(t, 6.0/200*daysPerMonth, g.Of("slow", seen).Rate, 1e-9, "two visits measured it")
	require.True(t, g.Of("slow", seen).Measured)
	require.Equal(t, slow, g.Of("slow", seen[:1]), "one does not")
}

func TestMonthsAreSaidInTenths(t *testing.T) {
	first := date.New(2026, time.January, 1)
	for days, want := range map[int]float64{0: 0, 30: 1, 94: 3.1, 365: 12, -30: -1} {
		require.InDelta(t, want, Months(first, first.Add(date.PeriodOfDays(days))), 0)
	}
}

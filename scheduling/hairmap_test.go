package scheduling

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"
)

// month is a day so many mean months after a fixed one, rounded to whole days.
func month(n float64) date.Date {
	return date.New(2024, time.January, 1).Add(date.PeriodOfDays(math.Round(n * daysPerMonth)))
}

// usual grows 1 cm a month, so that centimetres below are months, counted by hand; it is
// no figure of anybody's hair.
var usual = Growth{Rate: 1, Slow: 0.8, Quick: 1.3}

func mapped(t *testing.T, h HairHistory, on date.Date) HairMap {
	t.Helper()
	m, err := MapHair(h, usual, on)
	require.NoError(t, err)
	end := 0.0
	for _, z := range m.Zones {
		require.InDelta(t, end, z.From, 1e-9, "zones touch")
		require.Greater(t, z.To, z.From)
		end = z.To
	}
	require.InDelta(t, m.LengthCM, end, 1e-9)
	return m
}

// zonesOf are the zones as whole centimetres: from, to, times, overlaps.
func zonesOf(m HairMap) [][4]int {
	var out [][4]int
	for _, z := range m.Zones {
		out = append(out, [4]int{int(math.Round(z.From)), int(math.Round(z.To)), z.Times, z.Overlaps})
	}
	return out
}

func TestGrowthPushesZonesOutward(t *testing.T) {
	h := HairHistory{Told: true, Measured: []HairMeasured{{month(0), 30, 0}}, Done: []HairDone{{On: month(0), Work: Straightened}}}
	require.Equal(t, [][4]int{{0, 30, 1, 0}}, zonesOf(mapped(t, h, month(0))))
	require.Equal(t, [][4]int{{0, 6, 0, 0}, {6, 36, 1, 0}}, zonesOf(mapped(t, h, month(6))))
	m := mapped(t, h, month(12))
	require.Equal(t, [][4]int{{0, 12, 0, 0}, {12, 42, 1, 0}}, zonesOf(m))
	require.InDelta(t, 12, m.New, 0.05)
}

func TestCutsTakeTheEndsAway(t *testing.T) {
	h := HairHistory{Told: true, Measured: []HairMeasured{{month(0), 30, 0}, {month(6), 26, 6}}, Done: []HairDone{{On: month(0), Work: Straightened}}}
	m := mapped(t, h, month(6))
	require.Equal(t, [][4]int{{0, 6, 0, 0}, {6, 26, 1, 0}}, zonesOf(m))
	require.Len(t, m.Cuts, 1)
	require.InDelta(t, 10, m.Cuts[0].CM, 0.05)
	h.CutCM = 5
	m = mapped(t, h, month(9))
	require.Equal(t, [][4]int{{0, 9, 0, 0}, {9, 24, 1, 0}}, zonesOf(m))
	require.InDelta(t, 5, m.Cuts[1].CM, 0)
	h.CutCM = 24
	require.Equal(t, [][4]int{{0, 5, 0, 0}}, zonesOf(mapped(t, h, month(9))), "only new hair is left")
	h.CutCM = 29.5
	_, err := MapHair(h, usual, month(9))
	require.EqualError(t, err, "cut_cm is 29.5; expected less than the hair that there is, about 29 cm")
	h.Measured[1].LengthCM, h.CutCM = 35.7, 0
	require.Empty(t, mapped(t, h, month(6)).Cuts, "3 mm are within what a tape leaves open")
}

func TestARetouchTreatsTheGrowthAndOverlaps(t *testing.T) {
	h := HairHistory{Told: true, Measured: []HairMeasured{{month(0), 30, 0}},
		Done: []HairDone{{On: month(0), Work: Straightened}, {On: month(6), Work: Retouched, NewCM: 6, OverlapCM: 2}, {On: month(12), Work: Retouched, NewCM: 6, OverlapCM: 2}}}
	require.Equal(t, [][4]int{{0, 3, 0, 0}, {3, 9, 1, 0}, {9, 11, 1, 1}, {11, 15, 1, 0}, {15, 17, 1, 1}, {17, 45, 1, 0}},
		zonesOf(mapped(t, h, month(15))))
	h.Done = append(h.Done, HairDone{On: month(15), Work: Straightened})
	m := mapped(t, h, month(16))
	require.Equal(t, [][4]int{{0, 1, 0, 0}, {1, 4, 1, 0}, {4, 10, 2, 0}, {10, 12, 2, 1}, {12, 16, 2, 0}, {16, 18, 2, 1}, {18, 46, 2, 0}}, zonesOf(m))
	require.Equal(t, []int{0, 1, 3}, m.Zones[5].By, "in order of days")
}

func TestMeasuredNewHairCountsInsteadOfTheRate(t *testing.T) {
	h := HairHistory{Told: true, Measured: []HairMeasured{{month(0), 30, 0}, {month(3), 32, 2}, {month(6), 34, 5}}, Done: []HairDone{{On: month(0), Work: Straightened}}}
	m := mapped(t, h, month(8))
	require.Equal(t, [][4]int{{0, 7, 0, 0}, {7, 36, 1, 0}}, zonesOf(m), "5 cm measured, 2 cm since")
	require.Len(t, m.Cuts, 1)
	require.InDelta(t, 1, m.Cuts[0].CM, 1e-9, "3 cm more new hair, but only 2 cm longer")
	h.Measured[2].NewCM = 60
	require.InDelta(t, 7, mapped(t, h, month(8)).New, 0.05, "nobody's hair grows so: the rate counts")
}

func TestWhatWasDoneElsewhereIsUnknownUntilTold(t *testing.T) {
	h := HairHistory{Measured: []HairMeasured{{month(12), 30, 0}}, Done: []HairDone{{On: month(12), Work: Straightened}}}
	m := mapped(t, h, month(18))
	require.Equal(t, [][4]int{{0, 6, 0, 0}, {6, 36, 1, 0}}, zonesOf(m))
	require.Equal(t, []bool{false, true}, []bool{m.Zones[0].Unknown, m.Zones[1].Unknown})
	h.Told = true
	h.Done = append(h.Done, HairDone{On: month(2), Work: RelaxedOrPermed}, HairDone{On: month(4), Work: Bleached})
	m = mapped(t, h, month(18))
	require.Equal(t, [][4]int{{0, 6, 0, 0}, {6, 14, 1, 0}, {14, 16, 1, 0}, {16, 36, 2, 0}}, zonesOf(m))
	require.Equal(t, []bool{false, false, true, true}, []bool{m.Zones[0].Bleached, m.Zones[1].Bleached, m.Zones[2].Bleached, m.Zones[3].Bleached})
	require.Equal(t, []int{1, 2, 0}, m.Zones[3].By)
	h.Done = append(h.Done, HairDone{On: month(6), Work: NotSure})
	m = mapped(t, h, month(18))
	require.Equal(t, []bool{false, false, true, true, true}, unknown(m), "from 12 cm on nobody is sure")
	h.Done = append(h.Done, HairDone{On: month(8), Work: Untreated})
	require.NotContains(t, unknown(mapped(t, h, month(18))), true, "a later look settled it")
}

func unknown(m HairMap) []bool {
	var out []bool
	for _, z := range m.Zones {
		out = append(out, z.Unknown)
	}
	return out
}

func TestNoMapWithoutAMeasurementOrAgainstTime(t *testing.T) {
	_, err := MapHair(HairHistory{}, usual, month(0))
	require.EqualError(t, err, "nobody has measured this hair yet; expected a measurement")
	h := HairHistory{Measured: []HairMeasured{{month(2), 30, 0}}, Done: []HairDone{{On: month(3), Work: Straightened}}, CutCM: math.NaN()}
	_, err = MapHair(h, usual, month(1))
	require.ErrorContains(t, err, "before the hair was measured")
	require.ErrorContains(t, err, "before the work of")
	require.ErrorContains(t, err, "cut_cm is NaN")
}

// TestMapsAgreeWithHairThatGrowsDayByDay lets a hair of small pieces grow, be
// treated and be cut, one day after the other, and compares where its history
// changes.
func TestMapsAgreeWithHairThatGrowsDayByDay(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	type piece struct{ times, overlaps int }
	for range 300 {
		const perCM = 16 // pieces, of which one grows every day
		g := Growth{Rate: daysPerMonth / perCM}
		first, days := date.New(2025, time.March, 1), 200+r.IntN(400)
		hair := make([]piece, 15*perCM+r.IntN(30*perCM))
		h := HairHistory{Told: true, Measured: []HairMeasured{{first, float64(len(hair)) / perCM, 0}}}
		since := 0
		for day := range days {
			on := first.Add(date.PeriodOfDays(day))
			if day > 0 {
				hair = slices.Insert(hair, 0, piece{})
				since++
			}
			switch r.IntN(90) {
			case 0:
				h.Done = append(h.Done, HairDone{On: on, Work: Straightened})
				for i := range hair {
					hair[i].times++
				}
				since = 0
			case 1:
				if overlap := r.IntN(2 * perCM); since > 0 && len(h.Done) > 0 {
					h.Done = append(h.Done, HairDone{On: on, Work: Retouched, NewCM: float64(since) / perCM, OverlapCM: float64(overlap) / perCM})
					for i := range min(len(hair), since+overlap) {
						if i < since {
							hair[i].times++
						} else {
							hair[i].overlaps++
						}
					}
					since = 0
				}
			case 2:
				if cut := perCM + r.IntN(3*perCM); cut < len(hair)-8*perCM {
					hair = hair[:len(hair)-cut]
					h.Measured = append(h.Measured, HairMeasured{on, float64(len(hair)) / perCM, 0})
				}
			}
		}
		m, err := MapHair(h, g, first.Add(date.PeriodOfDays(days-1)))
		require.NoError(t, err, seed)
		require.InDelta(t, float64(len(hair))/perCM, m.LengthCM, 1e-6, seed)
		for _, z := range m.Zones {
			for i := int(math.Round(z.From * perCM)); i < int(math.Round(z.To*perCM)); i++ {
				require.Equal(t, piece{z.Times, z.Overlaps}, hair[i], "seed %d, %v cm", seed, float64(i)/perCM)
			}
		}
	}
}

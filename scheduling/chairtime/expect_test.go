package chairtime

import (
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chairblock/scheduling"
)

var june1 = date.New(2026, time.June, 1)

func TestHairIsExpectedWithTheCountBehindIt(t *testing.T) {
	g := scheduling.DefaultRegrowth().Seen("usual")
	// By hand: from 1 June 94 days are 94 / 30.4375 = 3.1 months, from 1 March 186 days
	// are 6.1; 1.1 cm a month is the salon's (DefaultRegrowth has its source), 0.43 in.
	straightened := date.New(2026, time.March, 1)
	later := june1.Add(94)
	for _, tt := range []struct {
		name             string
		seen             Seen
		units            Units
		length, regrowth float64
		words, fresh     string
	}{
		{"grown", Seen{On: june1, Length: 35}, Units{}, 38.4, 0,
			"35 cm measured on 1 June 2026 + 3.1 months × 1.1 cm = 3.4 cm = 38.4 cm", "not straightened here yet: all of the hair is treated"},
		{"cut", Seen{On: june1, Length: 35, Cut: new(2.0), Straightened: &straightened}, Units{}, 36.4, 6.7,
			"35 cm measured on 1 June 2026 + 3.1 months × 1.1 cm = 3.4 cm − 2 cm cut = 36.4 cm", "straightened on 1 March 2026: 6.1 months × 1.1 cm = 6.7 cm"},
		{"new hair measured", Seen{On: june1, Length: 35, Regrowth: 3, Straightened: &straightened}, Units{}, 38.4, 6.4,
			"35 cm measured on 1 June 2026 + 3.1 months × 1.1 cm = 3.4 cm = 38.4 cm",
			"3 cm measured on 1 June 2026 + 3.1 months × 1.1 cm = 3.4 cm = 6.4 cm of new hair"},
		{"measured before it was straightened", Seen{On: straightened, Length: 35, Regrowth: 9, Straightened: &straightened}, Units{}, 41.7, 6.7,
			"35 cm measured on 1 March 2026 + 6.1 months × 1.1 cm = 6.7 cm = 41.7 cm", "straightened on 1 March 2026: 6.1 months × 1.1 cm = 6.7 cm"},
		{"nothing else left", Seen{On: june1, Length: 35, Cut: new(33.0), Straightened: &straightened}, Units{}, 5.4, 5.4,
			"35 cm measured on 1 June 2026 + 3.1 months × 1.1 cm = 3.4 cm − 33 cm cut = 5.4 cm",
			"straightened on 1 March 2026: 6.1 months × 1.1 cm = 6.7 cm, which is all of the hair"},
		{"inches", Seen{On: june1, Length: CMOfInches(14), Cut: new(CMOfInches(1))}, Units{Inches: true}, CMOfInches(14.3), 0,
			"14 in measured on 1 June 2026 + 3.1 months × 0.43 in = 1.3 in − 1 in cut = 14.3 in", "not straightened here yet: all of the hair is treated"},
	} {
		got, err := Expect(tt.seen, g, later, tt.units)
		require.NoError(t, err, tt.name)
		require.Equal(t, []string{tt.words, tt.fresh}, []string{got.LengthWorking, got.RegrowthWorking}, tt.name)
		require.InDeltaSlice(t, []float64{tt.length, tt.regrowth}, []float64{got.Length, got.Regrowth}, 1e-9, tt.name)
	}
}

func TestNothingIsExpectedBeforeItWasSeen(t *testing.T) {
	g := scheduling.DefaultRegrowth().Seen("")
	_, err := Expect(Seen{On: june1, Length: 35}, g, june1.Add(-1), Units{})
	require.EqualError(t, err, "on is 2026-05-31, before the last measurement; expected 2026-06-01 or later")
	_, err = Expect(Seen{On: june1, Length: 35, Straightened: new(june1.Add(9))}, g, june1.Add(8), Units{})
	require.EqualError(t, err, "on is 2026-06-09, before the last straightening; expected 2026-06-10 or later")
	for _, cut := range []float64{-1, 35, 400} {
		_, err = Expect(Seen{On: june1, Length: 35, Cut: &cut}, g, june1, Units{})
		require.ErrorContains(t, err, "cut_cm is ")
		require.ErrorContains(t, err, "about 35 cm")
	}
}

var sumOfHair = regexp.MustCompile(`^([\d.]+) \w+ measured on [^+]* \+ ([\d.]+) months × ([\d.]+) \w+ = ([\d.]+) \w+(?: − ([\d.]+) \w+ cut)? = ([\d.]+) `)

func TestTheCountOfHairAddsUpAsPrinted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := Units{Inches: rapid.Bool().Draw(t, "inches")}
		x := Seen{On: june1, Length: rapid.Float64Range(20, 80).Draw(t, "length")}
		if rapid.Bool().Draw(t, "cut") {
			x.Cut = new(rapid.Float64Range(0, 15).Draw(t, "cut cm"))
		}
		g := scheduling.Growth{Rate: rapid.Float64Range(0.5, 1.6).Draw(t, "rate")}
		e, err := Expect(x, g, june1.Add(date.PeriodOfDays(rapid.IntRange(0, 900).Draw(t, "days"))), u)
		require.NoError(t, err)
		m := sumOfHair.FindStringSubmatch(e.LengthWorking + " ")
		require.NotNil(t, m, e.LengthWorking)
		var v [7]float64
		for i, s := range m {
			v[i], _ = strconv.ParseFloat(s, 64)
		}
		require.InDelta(t, v[4], v[2]*v[3], 0.0501, e.LengthWorking)
		require.InDelta(t, v[6], v[1]+v[4]-v[5], 1e-9, e.LengthWorking)
		require.InDelta(t, u.OfLength(v[6]), e.Length, 1e-9)
	})
}

func TestCautionGrowsWithEveryTreatment(t *testing.T) {
	// J Soc Cosmet Chem 44(6) 1993 p. 362 Table VI: one treatment keeps 54 %.
	require.InDelta(t, 0.54, StrengthLeft(1, false), 0.005)
	for times := range 3 {
		for _, bleached := range []bool{false, true} {
			require.Greater(t, StrengthLeft(times, bleached), StrengthLeft(times+1, bleached))
		}
		require.Greater(t, StrengthLeft(times, false), StrengthLeft(times, true))
	}
	require.InDelta(t, StrengthLeft(3, false), StrengthLeft(9, false), 0)

	h := scheduling.HairHistory{Told: true, Measured: []scheduling.HairMeasured{{On: june1, LengthCM: 30}}}
	said := func(done ...scheduling.HairDone) []string {
		h.Done = done
		m, err := scheduling.MapHair(h, scheduling.Growth{Rate: 1}, june1.Add(400))
		require.NoError(t, err)
		var out []string
		for _, k := range HairCautions(h, m, Units{}) {
			out = append(out, string(k.Level)+" "+k.Code)
		}
		return out
	}
	whole := func(day int) scheduling.HairDone {
		return scheduling.HairDone{On: june1.Add(date.PeriodOfDays(day)), Work: scheduling.Straightened}
	}
	again := func(day int, overlap float64) scheduling.HairDone {
		return scheduling.HairDone{On: june1.Add(date.PeriodOfDays(day)), Work: scheduling.Retouched, NewCM: 4, OverlapCM: overlap}
	}
	told := func(w scheduling.HairWork) scheduling.HairDone { return scheduling.HairDone{On: june1, Work: w} }
	require.Empty(t, said())
	require.Equal(t, []string{"warn treated_before"}, said(whole(0)))
	require.Equal(t, []string{"warn treated_before"}, said(whole(0), whole(120)))
	require.Equal(t, []string{"needs_yes treated_before"}, said(whole(0), whole(120), whole(240)))
	require.Equal(t, []string{"warn treated_before", "warn overlap"}, said(whole(0), again(120, 1)))
	require.Equal(t, []string{"warn treated_before"}, said(whole(0), again(120, 0)))
	require.Equal(t, []string{"needs_yes bleached"}, said(told(scheduling.Bleached)))
	require.Equal(t, []string{"needs_yes relaxed_or_permed", "warn treated_before"}, said(told(scheduling.RelaxedOrPermed)))
	require.Equal(t, []string{"needs_yes history_unknown"}, said(told(scheduling.NotSure)))
	h.Told = false
	require.Equal(t, []string{"needs_yes history_unknown"}, said())

	h.Told = true
	h.Done = []scheduling.HairDone{whole(0), whole(30)}
	m, err := scheduling.MapHair(h, scheduling.Growth{Rate: 1}, june1.Add(91))
	require.NoError(t, err)
	require.Equal(t, "From 3 cm on the hair was treated 2 times: in a laboratory study about 35 % of its strength was left after that. Shield it from solution and heat.",
		HairCautions(h, m, Units{})[0].Text)
	require.Contains(t, HairCautions(h, m, Units{Inches: true})[0].Text, "From 1.18 in on")
}

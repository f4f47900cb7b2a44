package chairtime

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func asked(t testing.TB, c Settings, r Reach, p Ponytail, history ...History) PhoneAnswer {
	t.Helper()
	a, err := c.Phone(PhoneQuestions{r, p, history})
	require.NoError(t, err)
	return a
}

func TestPhoneTable(t *testing.T) {
	// Derived by an independent simulation of sound hair, said to be good to 3
	// minutes; the mixture itself is judgement.
	for _, tt := range []struct {
		reach           Reach
		little, av, lot [3]float64 // P20, P80, keep
	}{
		{ReachEar, [3]float64{124, 164, 165}, [3]float64{133, 177, 180}, [3]float64{148, 197, 210}},
		{ReachChin, [3]float64{145, 194, 195}, [3]float64{156, 210, 210}, [3]float64{175, 237, 240}},
		{ReachShoulder, [3]float64{174, 237, 240}, [3]float64{191, 260, 270}, [3]float64{216, 299, 300}},
		{ReachMidBack, [3]float64{215, 295, 300}, [3]float64{234, 326, 330}, [3]float64{269, 376, 390}},
		{ReachWaist, [3]float64{262, 359, 360}, [3]float64{287, 397, 405}, [3]float64{330, 463, 465}},
	} {
		for ponytail, want := range map[Ponytail][3]float64{PonytailLittle: tt.little, PonytailAverage: tt.av, PonytailALot: tt.lot} {
			a := asked(t, Default(), tt.reach, ponytail, HistoryNothing)
			name := fmt.Sprint(tt.reach, ", ", ponytail)
			require.InDelta(t, want[0], a.P20, 3, name)
			require.InDelta(t, want[1], a.P80, 3, name)
			require.Equal(t, int(want[2]), a.Keep, name)
			require.False(t, a.OnlyConsultation)
		}
	}
}

// drawnCallers draws callers one by one and lets every step take its own time:
// the slow way that knows neither slices nor moment matching.
func drawnCallers(c Settings, reach Reach, seed uint64, n int) []float64 {
	r := rand.New(rand.NewPCG(seed, 0))
	one := func(a, b float64) int {
		switch u := r.Float64(); {
		case u < a:
			return 0
		case u < a+b:
			return 1
		}
		return 2
	}
	band := reachBands[reach]
	out := make([]float64, n)
	for i := range out {
		h := Head{PlateWidth: 3, Hands: 1, NewClient: true, Sections: 4}
		h.Length = band[0] + (band[1]-band[0])*r.Float64()
		h.Strand = []Strand{StrandFine, StrandMedium, StrandCoarse}[one(0.25, 0.5)]
		h.Porosity = []Porosity{PorosityHigh, PorosityNormal, PorosityLow}[one(0.25, 0.55)]
		h.Density = []Density{DensityLow, DensityMedium, DensityHigh}[one(0.25, 0.5)]
		if h.Density == DensityHigh {
			h.Sections = 5
		}
		if r.Float64() < 0.75 { // as for bleached hair
			h.Damaged, h.Porosity = true, PorosityHigh
		}
		w := c.measure(h)
		for _, m := range Draw(r, c.steps(&w), c.Correlation) {
			out[i] += m
		}
	}
	slices.Sort(out)
	return out
}

func TestPhoneMixtureAgreesWithDrawnCallers(t *testing.T) {
	const n, seed = 60_000, 11
	for _, reach := range []Reach{ReachEar, ReachShoulder, ReachLonger} {
		a := asked(t, Default(), reach, PonytailUnknown, HistoryBleachedHighlighted)
		drawn := drawnCallers(Default(), reach, seed, n)
		require.InEpsilon(t, drawn[n/5], a.P20, 0.01, "seed %d, %s", seed, reach)
		require.InEpsilon(t, drawn[n*4/5], a.P80, 0.01, "seed %d, %s", seed, reach)
	}
}

func TestPhoneWords(t *testing.T) {
	c := Default()
	require.Equal(t, "between 3¼ and 4½ hours; we keep 4½ hours; firm after the consultation.",
		asked(t, c, ReachShoulder, PonytailAverage, HistoryNothing).Words)
	require.Equal(t, "between 3¼ and 4½ hours; we keep 4½ hours; needs batches or a helper; firm after the consultation."+
		" For now only a consultation of 45 minutes with a strand test can be booked; pencil the long visit in behind it.",
		asked(t, c, ReachShoulder, PonytailAverage, HistoryBleachedHighlighted).Words)
}

func TestTheDeskHearsWhenOneStylistCannotDoItAtOnce(t *testing.T) {
	c := Default()
	require.False(t, asked(t, c, ReachShoulder, PonytailAverage, HistoryNothing).NeedsHelp)
	long := asked(t, c, ReachWaist, PonytailALot, HistoryNothing)
	require.True(t, long.NeedsHelp)
	require.Contains(t, long.Words, "; needs batches or a helper; firm after the consultation.")
	require.True(t, asked(t, c, ReachShoulder, PonytailAverage, HistoryBleachedHighlighted).NeedsHelp, "tender hair has shorter limits")
}

func TestHistoryDecidesWhatCanBeBooked(t *testing.T) {
	for _, tt := range []struct {
		history []History
		minutes int
		test    bool
	}{
		{[]History{HistoryNothing}, 0, false},
		{[]History{HistoryStraightenedHere}, 0, false},
		{[]History{HistoryColoured}, 15, false},
		{[]History{HistoryStraightened}, 45, true},
		{[]History{HistoryBleachedHighlighted}, 45, true},
		{[]History{HistoryRelaxerPerm}, 45, true},
		{[]History{HistoryHennaOther}, 45, true},
		{[]History{HistoryNotSure}, 45, true},
		{nil, 45, true}, // not asked counts as not sure
		{[]History{HistoryStraightenedHere, HistoryColoured}, 15, false},
		{[]History{HistoryColoured, HistoryRelaxerPerm}, 45, true},
	} {
		a := asked(t, Default(), ReachChin, "", tt.history...)
		require.Equal(t, tt.minutes > 0, a.OnlyConsultation, tt.history)
		require.Equal(t, tt.minutes, a.ConsultationMinutes, tt.history)
		require.Equal(t, tt.test, a.StrandTest, tt.history)
	}
}

func TestStraightenedHereTalksLess(t *testing.T) {
	c := Default()
	require.Less(t, asked(t, c, ReachChin, PonytailLittle, HistoryStraightenedHere).P80,
		asked(t, c, ReachChin, PonytailLittle, HistoryNothing).P80)
}

func TestPhoneRefusesUnknownAnswers(t *testing.T) {
	_, err := Default().Phone(PhoneQuestions{"knee", "thick", []History{HistoryNothing, "swim"}})
	require.EqualError(t, err, `reach is "knee"; expected ear, chin, shoulder, mid_back, waist or longer; `+
		`ponytail is "thick"; expected little, average, a_lot or unknown; `+
		`history[1] is "swim"; expected nothing, straightened_here, straightened, coloured, bleached_or_highlighted, relaxer_or_perm, henna_or_other or not_sure; `+
		`history says nothing was done and something else as well; expected nothing alone, or only what was done`)
	_, err = Default().Phone(PhoneQuestions{})
	require.EqualError(t, err, "reach is missing; expected ear, chin, shoulder, mid_back, waist or longer")
}

func TestUnknownPonytailLiesBetweenTheKnownOnes(t *testing.T) {
	c := Default()
	for r := range reachBands {
		a := asked(t, c, r, "", HistoryNothing)
		require.Greater(t, a.P80, asked(t, c, r, PonytailLittle, HistoryNothing).P80)
		require.Less(t, a.P80, asked(t, c, r, PonytailALot, HistoryNothing).P80)
		require.Equal(t, a, asked(t, c, r, PonytailUnknown, HistoryNothing))
	}
}

func BenchmarkPhone(b *testing.B) {
	c := Default()
	for b.Loop() {
		asked(b, c, ReachShoulder, PonytailAverage, HistoryNothing)
	}
}

func BenchmarkPhoneNothingKnown(b *testing.B) {
	c := Default()
	for b.Loop() {
		asked(b, c, ReachLonger, PonytailUnknown)
	}
}

func TestCallersAreAllTheHairThatWouldAnswer(t *testing.T) {
	list, err := Default().Callers(PhoneQuestions{Reach: ReachChin, Ponytail: PonytailUnknown, History: []History{HistoryColoured}})
	require.NoError(t, err)
	var sum, damaged float64
	for _, c := range list {
		require.NoError(t, c.Head.Validate())
		require.True(t, c.Head.Length > 15 && c.Head.Length < 25)
		sum += c.Share
		if c.Head.Damaged {
			damaged += c.Share
		}
	}
	require.InDelta(t, 1, sum, 1e-9)
	require.InDelta(t, 0.25, damaged, 1e-9)
	_, err = Default().Callers(PhoneQuestions{Reach: "heel"})
	require.Error(t, err)
}

func TestTheAnswerToACallerIsCountedOut(t *testing.T) {
	for _, tt := range []struct {
		q          PhoneQuestions
		hair, keep string
	}{
		{PhoneQuestions{Reach: ReachShoulder, Ponytail: PonytailAverage, History: []History{HistoryNothing}},
			"any length from 25 cm to 40 cm; average amount of hair; each hair 25 % fine, 50 % medium, 25 % coarse; " +
				"20 % resistant hair, 55 % normal porosity, 25 % porous hair: 2 of 10 such visits end within ",
			"min − 2 min that are not worth more time while nobody has seen the hair, rounded up to a multiple of 15 min = 270 min"},
		{PhoneQuestions{Reach: ReachChin, History: []History{HistoryColoured}},
			"any length from 15 cm to 25 cm; 25 % little hair, 50 % average amount of hair, 25 % a lot of hair; each hair 25 % fine, 50 % medium, 25 % coarse; " +
				"15 % resistant hair, 41.25 % normal porosity, 18.75 % porous hair, 25 % porous and damaged: ", ""},
	} {
		a, err := Default().Phone(tt.q)
		require.NoError(t, err)
		why := Default().WhyPhone(tt.q, a)
		require.Len(t, why, 2)
		require.True(t, strings.HasPrefix(why[0].Working, tt.hair), why[0].Working)
		require.Contains(t, why[1].Working, tt.keep)
	}
}

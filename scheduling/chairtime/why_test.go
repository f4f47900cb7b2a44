package chairtime

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chairblock/scheduling"
)

// whyOf returns the workings of e by figure, and by label where a working has no
// figure of its own.
func whyOf(t require.TestingT, c Settings, e Estimate) map[string]string {
	out := map[string]string{}
	for _, r := range c.Why(e, scheduling.StandardAssistantSteps()) {
		name := r.Figure
		if name == "" {
			name = r.Label
		}
		require.NotContains(t, out, name)
		require.NotEmpty(t, r.Label)
		out[name] = r.Working
	}
	return out
}

func TestFiguresOfTheShoulderHeadAreCountedOut(t *testing.T) {
	// The results are derived twice by independent programs.
	why := whyOf(t, Default(), estimated(t, Default(), shoulderMedium))
	for figure, want := range map[string]string{
		"hairs":  "520 cm² × 190 hairs per cm² = 98800",
		"a hair": "3.1416 × (70 µm ÷ 2)² × 1.32 g/cm³ = 50.8 µg/cm",
		"mean length of all hairs, as a share of the length": "0.8 − 0.004 × 35 cm, at least 0.45 = 0.66",
		"hair_grams":                    "98800 hairs × 50.8 µg/cm × 35 cm × 0.66 = 115.9 g",
		"treated_grams":                 "98800 hairs × 50.8 µg/cm × 32.5 cm × 0.66 = 107.7 g",
		"solution_ml":                   "107.66 g × 1 ml/g = 107.7 ml",
		"strips":                        "520 cm² ÷ 4 sections ÷ (2.5 cm × 10 cm), rounded up, × 4 = 24",
		"panels":                        "520 cm² ÷ 4 sections ÷ (1 cm × 6 cm), rounded up, × 4 = 88",
		"presses_per_panel":             "35 cm ÷ (3 cm × 90 % without overlap), rounded up = 13",
		"presses":                       "88 panels × 13 presses = 1144",
		"mean_minutes":                  "20 min of waits + 211.14 min of work = 231.1 min",
		"p50_minutes":                   "20 min of waits + 207.68 min of work, which 50 of 100 visits do not exceed = 227.7 min",
		"p90_minutes":                   "20 min of waits + 262.14 min of work, which 90 of 100 visits do not exceed = 282.1 min",
		"promised_minutes":              "20 min of waits + 242 min of work, which 80 of 100 visits do not exceed = 262.0 min; the mean of the work is 211.14 min, the standard deviation 38.69 min with a correlation between steps of 0.5",
		"block_minutes":                 "262 min, rounded up to a multiple of 15 min = 270 min",
		"booked_minutes":                "20 min of waits + 250 min of work, of which each step gets what 80 of 100 visits do not exceed in it, in whole minutes = 270 min",
		"first_strand_exposure_minutes": "25.5 apply solution + 15 processing = 40.5 min",
		"booked_exposure_minutes":       "30 applying + 15 processing + 1 walk to the basin = 46 min",
		"assistant_minutes":             "9.75 wash + 8.5 rinse solution + 12.28 dry before ironing + 6.8 rinse neutralizer + 14.59 dry = 51.9 min",
	} {
		require.Equal(t, want, why[figure], figure)
	}
}

// What a reader works out from the numbers as they are printed is the figure.
func TestEveryFigureIsWhatItsWorkingComesTo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, h := anySettings(t), anyHead(t)
		e, err := c.Estimate(h)
		require.NoError(t, err)
		figures := map[string]float64{
			"hairs": e.Hairs, "hair_grams": e.HairGrams, "treated_grams": e.TreatedGrams, "solution_ml": e.SolutionML, "neutralizer_ml": e.NeutralizerML,
			"strips": float64(e.Strips), "panels": float64(e.Panels), "presses_per_panel": float64(e.PressesPerPanel), "presses": float64(e.Presses),
			"mean_minutes": e.Mean, "p50_minutes": e.P50, "p80_minutes": e.P80, "p90_minutes": e.P90, "promised_minutes": e.Promise,
			"block_minutes": float64(e.Block), "booked_minutes": float64(e.Block), "first_strand_exposure_minutes": e.FirstStrandExposure,
			"booked_exposure_minutes": e.BookedExposure, "unbreakable_minutes": e.Unbreakable, "assistant_minutes": e.AssistantMinutes,
		}
		if c.PackML > 0 {
			figures["solution_packs"], figures["neutralizer_packs"] = float64(e.SolutionPacks), float64(e.NeutralizerPacks)
		}
		why := whyOf(t, c, e)
		require.Len(t, why, len(figures)+2) // and two that the grams are made of
		for figure, value := range figures {
			working := why[figure]
			sum, result, found := strings.Cut(working, " = ")
			require.True(t, found, working)
			printed, err := strconv.ParseFloat(workingToken.FindString(result), 64)
			require.NoError(t, err, working)
			require.InDelta(t, value, printed, 0.5001, working) // hairs are whole
			within := 0.1 + 0.01*value
			if strings.Contains(working, "rounded up") {
				within = 1e-9
			}
			require.InDelta(t, value, worth(t, sum, e.Head.Sections), within, working)
		}
	})
}

// worth is reckon for the part of a working before its result, in which words may
// follow a comma.
func worth(t require.TestingT, sum string, sections int) float64 {
	before, after, _ := strings.Cut(sum, ", ")
	v := reckon(t, before+" = ")
	if strings.Contains(before, "µg") {
		v /= 1e6
	}
	switch multiple := workingToken.FindString(strings.ReplaceAll(after, "×", "")); {
	case strings.HasPrefix(after, "rounded up, × "):
		return math.Ceil(v-ceilSlack) * float64(sections)
	case after == "rounded up":
		return math.Ceil(v - ceilSlack)
	case strings.HasPrefix(after, "rounded up"):
		step, err := strconv.ParseFloat(multiple, 64)
		require.NoError(t, err)
		return math.Ceil(v/step-ceilSlack) * step
	case strings.HasPrefix(after, "the least that is mixed × "):
		f, err := strconv.ParseFloat(multiple, 64)
		require.NoError(t, err)
		return v * f
	}
	return v
}

func BenchmarkWhy(b *testing.B) {
	c := Demo()
	e, _ := c.Estimate(shoulderMedium)
	may := scheduling.StandardAssistantSteps()
	b.ReportAllocs()
	for b.Loop() {
		c.Why(e, may)
	}
}

package chairtime

import (
	"errors"
	"math"
	"strings"
	"testing"

	"chairblock/scheduling"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func freely(h Head, free float64, shrinkage *float64, curl Curl) Head {
	h.Length, h.FreeLength, h.Shrinkage, h.Curl = 0, free, shrinkage, curl
	return h
}

// Derived: free length = stretched length × (1 − shrinkage).
func TestFreeLengthIsStretched(t *testing.T) {
	for _, tt := range []struct{ free, shrinkage float64 }{{35, 0}, {28, 0.2}, {17.5, 0.5}, {8.75, 0.75}} {
		require.InDelta(t, 35, Stretched(tt.free, tt.shrinkage), 0)
		h := freely(shoulderMedium, tt.free, &tt.shrinkage, "")
		e := estimated(t, Default(), h)
		require.InDelta(t, 35, e.Head.Length, 0, "%v", tt)
		require.InDelta(t, estimated(t, Default(), shoulderMedium).Mean, e.Mean, 1e-9)
	}
	h := Default().Settle(freely(shoulderMedium, 17.5, new(0.5), ""))
	require.Equal(t, "17.5 cm ÷ (1 − 0.5) = 35 cm stretched", h.LengthWorking(Units{}))
	require.Equal(t, "6.89 in ÷ (1 − 0.5) = 13.78 in stretched", h.LengthWorking(Units{Inches: true}))
	require.Empty(t, shoulderMedium.LengthWorking(Units{}), "it was measured")
}

func TestShrinkageFollowsTheCurlUnlessMeasured(t *testing.T) {
	// Salon trade pages: wavy 0.10 to 0.20, curly 0.25 to 0.50, coily 0.50 to 0.75; the middle of each.
	for curl, want := range map[Curl]float64{CurlStraight: 0, CurlWavy: 0.15, CurlCurly: 0.375, CurlCoily: 0.625} {
		h := Default().Settle(freely(shoulderMedium, 20, nil, curl))
		require.InDelta(t, want, *h.Shrinkage, 0)
		require.InDelta(t, 20/(1-want), h.Length, 1e-6)
	}
	require.InDelta(t, 0.7, *Default().Settle(freely(shoulderMedium, 12, new(0.7), CurlCoily)).Shrinkage, 0, "measured")
	c := Default()
	require.NoError(t, c.Set("shrinkage_coily_share", 0.75))
	require.InDelta(t, 35, c.Settle(freely(shoulderMedium, 8.75, nil, CurlCoily)).Length, 0, "the salon's own")
	again := c.Settle(freely(shoulderMedium, 8.75, nil, CurlCoily))
	require.NoError(t, again.Validate(), "what was settled says both lengths, and they agree")
	require.Equal(t, again, Default().Settle(again), "and stays whatever the salon changes later")
}

func TestHairsAreCountedExactlyWhilePartingsFollowTheClass(t *testing.T) {
	for count, want := range map[float64]Density{80: DensityLow, 159.9: DensityLow, 160: DensityMedium, 220: DensityMedium, 220.1: DensityHigh, 350: DensityHigh} {
		h := shoulderMedium
		h.Density, h.HairsPerCM2 = "", count
		e := estimated(t, Default(), h)
		require.Equal(t, want, e.Head.Density, count)
		require.InDelta(t, 520*count, e.Hairs, 1e-6)
		h.Density, h.HairsPerCM2 = want, 0
		byClass := estimated(t, Default(), h)
		require.Equal(t, []int{byClass.Strips, byClass.Panels}, []int{e.Strips, e.Panels})
		require.InDelta(t, byClass.HairGrams*e.Hairs/byClass.Hairs, e.HairGrams, 1e-9)
	}
	for _, tt := range []struct {
		class   Density
		hairs   float64
		density float64
	}{{DensityLow, 72800, 140}, {DensityMedium, 98800, 190}, {DensityHigh, 124800, 240}} { // derived
		h := shoulderMedium
		h.Density = tt.class
		require.InDelta(t, tt.hairs, estimated(t, Default(), h).Hairs, 1e-6)
		h.HairsPerCM2 = tt.density
		require.InDelta(t, tt.hairs, estimated(t, Default(), h).Hairs, 1e-6, "count and class agree")
	}
}

func TestLengthsAndCountsThatContradictThemselvesAreNamed(t *testing.T) {
	plain := shoulderMedium
	with := func(change func(*Head)) Head {
		h := plain
		change(&h)
		return h
	}
	for _, tt := range []struct {
		name string
		head Head
		want string // faults
	}{
		{"no length", with(func(h *Head) { h.Length = 0 }), "length_cm is 0; expected 8 to 120 cm"},
		{"two lengths", with(func(h *Head) { h.FreeLength, h.Curl = 20, CurlCurly }),
			"free_length_cm is 20 cm, which is 32 cm stretched, but the stretched length is given as 35 cm; expected one of the two, or two that agree"},
		{"no curl", freely(plain, 20, nil, ""), "free_length_cm is given, but not how much shorter than stretched that is; expected shrinkage or curl beside it, or the stretched length"},
		{"shrinkage alone", with(func(h *Head) { h.Shrinkage = new(0.2) }), "shrinkage is given, but no free length that it belongs to; expected free_length_cm beside it, or neither"},
		{"all shrunk", freely(plain, 20, new(0.95), ""), "shrinkage is 0.95; expected 0 to below 0.95"},
		{"grown", freely(plain, 20, new(-0.1), ""), "shrinkage is -0.1; expected 0 to below 0.95"},
		{"no number", freely(plain, 20, new(math.NaN()), ""), "shrinkage is NaN; expected 0 to below 0.95"},
		{"straight but shrunk", freely(plain, 20, new(0.5), CurlStraight),
			"shrinkage is 0.5 on hair that is said to be straight; expected below 0.1, or curl wavy, curly or coily"},
		{"less than nothing", freely(plain, -1, new(0.5), ""), "free_length_cm is -1; expected more than 0, up to 120 cm"},
		{"too short", freely(plain, 2, new(0.5), ""), "free_length_cm is 2 cm, which is 4 cm stretched; expected a stretched length of 8 to 120 cm"},
		{"too long", freely(plain, 80, new(0.5), CurlCoily), "free_length_cm is 80 cm, which is 160 cm stretched; expected a stretched length of 8 to 120 cm"},
		{"too short in inches", with(func(h *Head) { *h = freely(*h, CMOfInches(1), new(0.5), ""); h.Given.Length = true }),
			"free_length_in is 1 in, which is 2 in stretched; expected a stretched length of 3.15 to 47.24 in"},
		{"count and class", with(func(h *Head) { h.HairsPerCM2 = 230 }),
			"density is medium, but 230 hairs per cm² are high (low below 160, medium to 220, high above); expected high, or only one of density and hairs_per_cm2"},
		{"too few hairs", with(func(h *Head) { h.HairsPerCM2, h.Density = 79, "" }), "hairs_per_cm2 is 79; expected 80 to 350 hairs per cm²"},
		{"neither", with(func(h *Head) { h.Density = "" }), "density is missing; expected low, medium or high"},
		{"in inches", with(func(h *Head) {
			h.Length, h.Regrowth, h.PlateWidth, h.IronCelsius = CMOfInches(2), CMOfInches(-1), CMOfInches(0.5), CelsiusOfFahrenheit(600)
			h.Given = Given{Length: true, Regrowth: true, PlateWidth: true, Iron: true}
		}), "length_in is 2; expected 3.15 to 47.24 in; regrowth_in is -1; expected 0 to 47.24 in; " +
			"plate_depth_in is 0.5; expected 0.99 to 1.96 in; iron_fahrenheit is 600; expected 140 to 500 °F"},
		{"more new hair than hair", with(func(h *Head) { h.Length, h.Regrowth = CMOfInches(14), CMOfInches(15); h.Given.Regrowth = true }),
			"regrowth_in is 15; expected 0 in to the length of 14 in"},
	} {
		_, err := Default().Estimate(tt.head)
		require.EqualError(t, err, tt.want, tt.name)
	}
}

func TestInchesAndCentimetresGiveTheSameEstimateInOtherWords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, h := anySettings(t), anyHead(t)
		si, err := c.Estimate(h)
		require.NoError(t, err)
		c.Units = Units{Inches: true, Fahrenheit: true}
		us, err := c.Estimate(h)
		require.NoError(t, err)
		require.InDelta(t, si.Mean, us.Mean, 0)
		for i, s := range us.Steps {
			require.NotContains(t, s.Working, "cm")
			require.InDelta(t, si.Steps[i].Mean, s.Mean, 0)
			if strings.ContainsAny(s.Working, "×+") {
				require.InDelta(t, s.Mean, reckon(t, s.Working), 0.05+0.01*s.Mean, s.Working)
			}
		}
		for i, k := range us.Cautions {
			require.NotContains(t, k.Text, "cm")
			require.NotContains(t, k.Text, "°C")
			require.Equal(t, si.Cautions[i].Code, k.Code)
		}
	})
}

func TestRegrowthOverThreeFifthsIsAnUntreatedHead(t *testing.T) {
	h := shoulderMedium
	h.Regrowth, h.NewClient = 21.1, false
	c := Default()
	c.Units.Inches = true
	e := estimated(t, c, h)
	h.Regrowth = 0
	require.InDelta(t, estimated(t, c, h).Mean, e.Mean, 1e-9)
	var said []string
	for _, k := range e.Cautions {
		said = append(said, k.Text)
	}
	require.Contains(t, said, "New hair of 8.31 in is most of the length of 13.78 in: timed as untreated hair.")
	h.Regrowth = 21
	require.Less(t, estimated(t, c, h).Mean, e.Mean, "60 % is still a retouch")
}

func TestNoHeadOfAnyFiguresPanics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		odd := rapid.SampledFrom([]float64{0, 1, -1, 8, 35, 0.5, 0.95, math.NaN(), math.Inf(1), math.Inf(-1), 1e308})
		h := Head{Length: odd.Draw(t, "length"), FreeLength: odd.Draw(t, "free"), HairsPerCM2: odd.Draw(t, "hairs"), Regrowth: odd.Draw(t, "regrowth"),
			PlateWidth: odd.Draw(t, "plate"), IronCelsius: odd.Draw(t, "iron"), Density: rapid.SampledFrom([]Density{"", "low", "x"}).Draw(t, "density"),
			Curl: rapid.SampledFrom([]Curl{"", "coily", "straight", "x"}).Draw(t, "curl"), Strand: StrandFine, Porosity: PorosityLow, Sections: 4, Hands: 1}
		if rapid.Bool().Draw(t, "measured") {
			h.Shrinkage = new(odd.Draw(t, "shrinkage"))
		}
		h.Given = Given{Length: rapid.Bool().Draw(t, "inches"), Iron: true, PlateWidth: true, Regrowth: true}
		e, err := Default().Estimate(h)
		if err == nil {
			require.False(t, math.IsNaN(e.Mean) || math.IsInf(e.Mean, 0))
			return
		}
		_, ok := errors.AsType[scheduling.Faults](err)
		require.True(t, ok)
	})
}

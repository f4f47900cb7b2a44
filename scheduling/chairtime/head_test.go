package chairtime

import (
	"math"
	"testing"

	"chairblock/scheduling"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Seven heads that stand for the whole range: short and fine to very long,
// coarse and resistant, and a retouch.
var (
	shortLowFine    = Head{Length: 15, Density: DensityLow, Strand: StrandFine, Porosity: PorosityNormal, NewClient: true, Sections: 4, PlateWidth: 3, Hands: 1}
	chinMedium      = Head{Length: 20, Density: DensityMedium, Strand: StrandMedium, Porosity: PorosityNormal, NewClient: true, Sections: 4, PlateWidth: 3, Hands: 1}
	shoulderMedium  = Head{Length: 35, Density: DensityMedium, Strand: StrandMedium, Porosity: PorosityNormal, NewClient: true, Sections: 4, PlateWidth: 3, Hands: 1}
	shoulderDamaged = Head{Length: 35, Density: DensityMedium, Strand: StrandFine, Porosity: PorosityHigh, Damaged: true, NewClient: true, Sections: 4, PlateWidth: 3, Hands: 1}
	midBackDense    = Head{Length: 55, Density: DensityHigh, Strand: StrandMedium, Porosity: PorosityLow, NewClient: true, Sections: 5, PlateWidth: 3, Hands: 1}
	waistCoarse     = Head{Length: 75, Density: DensityHigh, Strand: StrandCoarse, Porosity: PorosityLow, NewClient: true, Sections: 5, PlateWidth: 4, Hands: 1}
	retouchMidBack  = Head{Length: 45, Density: DensityMedium, Strand: StrandMedium, Porosity: PorosityNormal, Regrowth: 10, Sections: 4, PlateWidth: 3, Hands: 1}

	sevenHeads = []Head{shortLowFine, chinMedium, shoulderMedium, shoulderDamaged, midBackDense, waistCoarse, retouchMidBack}
)

func withHands(h Head, n int) Head { h.Hands = n; return h }

func withBatches(h Head, k int) Head { h.Batches = k; return h }

// anyHead draws a valid head.
func anyHead(t *rapid.T) Head {
	h := Head{
		Length:           rapid.Float64Range(minLengthCM, maxLengthCM).Draw(t, "length"),
		Density:          rapid.SampledFrom([]Density{DensityLow, DensityMedium, DensityHigh}).Draw(t, "density"),
		Strand:           rapid.SampledFrom([]Strand{StrandFine, StrandMedium, StrandCoarse}).Draw(t, "strand"),
		Porosity:         rapid.SampledFrom([]Porosity{PorosityLow, PorosityNormal, PorosityHigh}).Draw(t, "porosity"),
		Damaged:          rapid.Bool().Draw(t, "damaged"),
		NewClient:        rapid.Bool().Draw(t, "new"),
		Sections:         rapid.IntRange(2, maxSections).Draw(t, "sections"),
		PlateWidth:       rapid.Float64Range(minPlateCM, maxPlateCM).Draw(t, "plate"),
		Hands:            rapid.IntRange(1, maxHands).Draw(t, "hands"),
		Batches:          rapid.IntRange(0, maxBatches).Draw(t, "batches"),
		Curl:             rapid.SampledFrom([]Curl{"", CurlStraight, CurlWavy, CurlCurly, CurlCoily}).Draw(t, "curl"),
		Passes:           rapid.IntRange(0, maxIronPasses).Draw(t, "passes"),
		ConsultationHeld: rapid.Bool().Draw(t, "held"),
	}
	if rapid.Bool().Draw(t, "retouch") {
		h.Regrowth = rapid.Float64Range(0, h.Length).Draw(t, "regrowth")
	}
	h.TwoStage = h.Regrowth == 0 && rapid.Bool().Draw(t, "two stages")
	if rapid.Bool().Draw(t, "partial") {
		h.AreaShare = rapid.Float64Range(minAreaShare, 1).Draw(t, "share")
	}
	return h
}

// anySettings draws the default or the demo settings, with any ends and any
// chance of hair that is not ready.
func anySettings(t *rapid.T) Settings {
	c := Default()
	if rapid.Bool().Draw(t, "demo") {
		c = Demo()
	}
	c.EndsCM = rapid.Float64Range(2, 10).Draw(t, "ends")
	c.NotReadyShare = rapid.Float64Range(0, 0.5).Draw(t, "not ready")
	return c
}

func TestHeadNamesEveryBadFieldAtOnce(t *testing.T) {
	bad := Head{
		Length: 7, Density: "thick", Porosity: "resistant", Regrowth: -1, Sections: 9, PlateWidth: 6,
		Hands: 3, Batches: 7, Curl: "kinky", Passes: 4, AreaShare: 1.5, IronCelsius: 400,
	}
	var f scheduling.Faults
	require.ErrorAs(t, bad.Validate(), &f)
	var fields []string
	for _, e := range f {
		fields = append(fields, e.Field)
		require.NotEmpty(t, e.Problem)
		require.NotEmpty(t, e.Want)
	}
	require.Equal(t, []string{
		"length_cm", "density", "strand", "porosity", "regrowth_cm", "sections", "plate_depth_cm",
		"hands", "batches", "curl", "passes", "area_share", "iron_celsius",
	}, fields)
	require.Equal(t, "length_cm is 7; expected 8 to 120 cm", f[0].Error())
	require.Equal(t, `density is "thick"; expected low, medium or high`, f[1].Error())
	require.Equal(t, "strand is missing; expected fine, medium or coarse", f[2].Error())
}

func TestHeadRefusesWhatIsJustOutside(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*Head)
		want   string // "" when the head is fine
	}{
		{"shortest", func(h *Head) { h.Length = 8 }, ""},
		{"longest", func(h *Head) { h.Length = 120 }, ""},
		{"a shade too long", func(h *Head) { h.Length = 120.001 }, "length_cm is 120.001; expected 8 to 120 cm"},
		{"length not a number", func(h *Head) { h.Length = math.NaN() }, "length_cm is NaN; expected 8 to 120 cm"},
		{"endless length", func(h *Head) { h.Length = math.Inf(1) }, "length_cm is +Inf; expected 8 to 120 cm"},
		{"regrowth of the whole length", func(h *Head) { h.Regrowth = h.Length }, ""},
		{"regrowth beyond the length", func(h *Head) { h.Regrowth = 36 }, "regrowth_cm is 36; expected 0 cm to the length of 35 cm"},
		{"regrowth not a number", func(h *Head) { h.Regrowth = math.NaN() }, "regrowth_cm is NaN; expected 0 cm to the length of 35 cm"},
		{"two sections", func(h *Head) { h.Sections = 2 }, ""},
		{"one section", func(h *Head) { h.Sections = 1 }, "sections is 1; expected a whole number from 2 to 8"},
		{"narrow plate", func(h *Head) { h.PlateWidth = 2.4 }, "plate_depth_cm is 2.4; expected 2.5 to 5 cm"},
		{"nobody", func(h *Head) { h.Hands = 0 }, "hands is 0; expected a whole number from 1 to 2"},
		{"negative batches", func(h *Head) { h.Batches = -1 }, "batches is -1; expected a whole number from 1 to 6"},
		{"no area", func(h *Head) { h.AreaShare = -0.1 }, "area_share is -0.1; expected 0.01 to 1"},
		{"unknown area", func(h *Head) { h.Areas = []Area{"beard"} }, `areas[0] is "beard"; expected nape, sides, crown_back, front_top, hairline or fringe`},
		{"area twice", func(h *Head) { h.Areas = []Area{AreaNape, AreaNape} }, `areas[1] names "nape" a second time; expected each area once`},
		{"fringe inside the front", func(h *Head) { h.Areas = []Area{AreaFrontTop, AreaFringe} }, "areas put the hairline or the fringe beside other areas; expected hairline or fringe alone, since they lie inside the others"},
		{"area and share", func(h *Head) { h.Areas, h.AreaShare = []Area{AreaNape}, 0.5 }, "areas are given together with area_share; expected one of the two"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h := shoulderMedium
			tt.change(&h)
			err := h.Validate()
			if tt.want == "" {
				require.NoError(t, err)
				return
			}
			require.EqualError(t, err, tt.want)
			_, err = Default().Estimate(h)
			require.EqualError(t, err, tt.want)
		})
	}
}

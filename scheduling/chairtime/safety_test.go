package chairtime

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func codes(e Estimate) map[string]CautionLevel {
	out := map[string]CautionLevel{}
	for _, c := range e.Cautions {
		out[c.Code] = c.Level
	}
	return out
}

func TestExposureIsGuardedOnBookedMinutes(t *testing.T) {
	// Limits are judgement: 40 and 60 for sound hair, 20 and 30 for porous or
	// damaged hair.
	for _, tt := range []struct {
		name   string
		head   Head
		booked float64
		level  CautionLevel
	}{
		{"short hair is fine", shortLowFine, 15 + 15 + 1, ""},
		{"shoulder length warns", shoulderMedium, 30 + 15 + 1, LevelWarn},
		{"the same damaged is refused", shoulderDamaged, 30 + 10 + 1, LevelRefuse},
		{"mid-back alone is refused", midBackDense, 54 + 18 + 1, LevelRefuse},
		{"mid-back with a helper warns", withHands(midBackDense, 2), 46, LevelWarn},
		{"mid-back in three batches is fine", withBatches(midBackDense, 3), 37, ""},
		{"a retouch is fine", retouchMidBack, 16 + 15 + 1, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			e := estimated(t, Default(), tt.head)
			require.Equal(t, tt.booked, e.BookedExposure)
			require.Equal(t, tt.level, codes(e)[CautionExposure])
			require.Equal(t, tt.level == "", e.Alternatives == nil)
		})
	}
}

func TestTheLimitItselfCounts(t *testing.T) {
	c := Default()
	for _, tt := range []struct {
		booked float64
		want   CautionLevel
	}{{39.5, ""}, {40, LevelWarn}, {59.5, LevelWarn}, {60, LevelRefuse}} {
		require.Equal(t, tt.want, c.exposureLevel(shoulderMedium, tt.booked))
	}
	porous := shoulderMedium
	porous.Porosity = PorosityHigh
	require.Equal(t, LevelWarn, c.exposureLevel(porous, 20))
	require.Equal(t, LevelRefuse, c.exposureLevel(shoulderDamaged, 30))
}

func TestWaitAndWalkCountAsExposure(t *testing.T) {
	c := Default()
	c.ExposureWait, c.BasinWalk = 3, 2
	require.Equal(t, 50.0, estimated(t, c, shoulderMedium).BookedExposure)
}

func TestMakersLimitReplacesTheDefault(t *testing.T) {
	c := Default()
	c.ExposureWarn, c.ExposureRefuse = 30, 45
	require.Equal(t, LevelRefuse, codes(estimated(t, c, shoulderMedium))[CautionExposure])
}

func TestIronIsGuarded(t *testing.T) {
	// 180 °C from a salon trade page and J Cosmet Sci 62(2) 2011; the rest is
	// common practice.
	for _, tt := range []struct {
		name   string
		change func(*Head, *Settings)
		code   string
		want   CautionLevel
	}{
		{"180 °C on sound hair", func(h *Head, _ *Settings) { h.IronCelsius = 180 }, CautionIronTooHot, ""},
		{"181 °C", func(h *Head, _ *Settings) { h.IronCelsius = 181 }, CautionIronTooHot, LevelRefuse},
		{"160 °C on damaged hair", func(h *Head, _ *Settings) { h.Damaged, h.IronCelsius = true, 160 }, CautionIronDamaged, ""},
		{"161 °C on damaged hair", func(h *Head, _ *Settings) { h.Damaged, h.IronCelsius = true, 161 }, CautionIronDamaged, LevelWarn},
		{"161 °C on sound hair", func(h *Head, _ *Settings) { h.IronCelsius = 161 }, CautionIronDamaged, ""},
		{"no setting given", func(h *Head, _ *Settings) { h.Damaged = true }, CautionIronDamaged, ""},
		{"press of 5 s", func(_ *Head, c *Settings) { c.Press.Medium = 5 }, CautionPress, ""},
		{"press of 5.1 s", func(_ *Head, c *Settings) { c.Press.Medium = 5.1 }, CautionPress, LevelWarn},
		{"30 s on one spot", func(h *Head, c *Settings) { c.Press.Medium, h.Passes = 10, 3 }, CautionContact, ""},
		{"31 s on one spot", func(h *Head, c *Settings) { c.Press.Medium, h.Passes = 10.34, 3 }, CautionContact, LevelRefuse},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h, c := shoulderMedium, Default()
			tt.change(&h, &c)
			require.Equal(t, tt.want, codes(estimated(t, c, h))[tt.code])
		})
	}
}

func TestOtherCautions(t *testing.T) {
	// Four or five sections, and 5 cm of new hair for the iron: common practice, no
	// source. 3 cm, below which somebody is asked, and the levels are judgement.
	for _, tt := range []struct {
		name   string
		change func(*Head)
		code   string
		want   CautionLevel
	}{
		{"four sections", func(h *Head) { h.Sections = 4 }, CautionSections, ""},
		{"five sections", func(h *Head) { h.Sections = 5 }, CautionSections, ""},
		{"three sections", func(h *Head) { h.Sections = 3 }, CautionSections, LevelWarn},
		{"six sections", func(h *Head) { h.Sections = 6 }, CautionSections, LevelWarn},
		{"damaged", func(h *Head) { h.Damaged = true }, CautionDamaged, LevelNeedsYes},
		{"untreated", func(h *Head) { h.Regrowth = 0 }, CautionRegrowthShort, ""},
		{"2 cm of new hair", func(h *Head) { h.Regrowth = 2 }, CautionRegrowthShort, LevelNeedsYes},
		{"4 cm of new hair", func(h *Head) { h.Regrowth = 4 }, CautionRegrowthShort, LevelWarn},
		{"5 cm of new hair", func(h *Head) { h.Regrowth = 5 }, CautionRegrowthShort, ""},
		{"skin test", func(*Head) {}, CautionPatchTest, LevelWarn},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h := chinMedium
			tt.change(&h)
			require.Equal(t, tt.want, codes(estimated(t, Default(), h))[tt.code])
		})
	}
}

func TestGravestCautionComesFirst(t *testing.T) {
	h := shoulderDamaged
	h.IronCelsius, h.Sections = 200, 7
	e := estimated(t, Default(), h)
	require.Equal(t, LevelRefuse, e.Level())
	for i := 1; i < len(e.Cautions); i++ {
		require.GreaterOrEqual(t, e.Cautions[i-1].Level.rank(), e.Cautions[i].Level.rank())
	}
	require.Contains(t, SafetyLine, "maker's directions")
	require.Empty(t, Estimate{}.Level())
}

func TestCautionsSayTheirLevelAndTheirMinutes(t *testing.T) {
	require.Equal(t, "Take care", LevelWarn.Words())
	require.Equal(t, "Not to be booked", LevelRefuse.Words())
	for _, l := range []CautionLevel{LevelNeedsYes, "", "from the future"} {
		require.Equal(t, "Needs the licensed person's yes", l.Words())
	}
	require.Contains(t, estimated(t, Default(), shoulderMedium).Cautions[0].Text, "stay below 40 minutes.")
	require.Contains(t, estimated(t, Default(), midBackDense).Cautions[0].Text, "rinsed before 60 minutes.")
}

func TestTheExposureIsExplained(t *testing.T) {
	c := Default()
	require.Equal(t, "30 applying + 15 processing + 1 walk to the basin = 46 min", estimated(t, c, shoulderMedium).ExposureWorking)
	require.Equal(t, "18 applying + 18 processing + 1 walk to the basin = 37 min", estimated(t, c, withBatches(midBackDense, 3)).ExposureWorking)
	c.ExposureWait, c.BasinWalk = 3, 0
	require.Equal(t, "30 applying + 15 processing + 3 longest wait = 48 min", estimated(t, c, shoulderMedium).ExposureWorking)
}

package chairtime

import (
	"math"
	"reflect"
	"testing"

	"chairblock/scheduling"

	"github.com/stretchr/testify/require"
)

func TestDefaultAndDemoSettingsAreValid(t *testing.T) {
	require.NoError(t, Default().Validate())
	require.NoError(t, Demo().Validate())
}

func TestEveryFieldIsOneListedSetting(t *testing.T) {
	// Each number of the struct is reached by exactly one row: setting every row
	// to its own value leaves no field at zero and no value overwritten.
	var c Settings
	names := map[string]bool{}
	for i, s := range List() {
		require.False(t, names[s.Name], s.Name)
		names[s.Name] = true
		require.NotEmpty(t, s.Label, s.Name)
		require.NotEmpty(t, s.Source, s.Name)
		require.Less(t, s.Min, s.Max, s.Name)
		require.True(t, s.Default >= s.Min && s.Default <= s.Max, s.Name)
		require.NoError(t, c.Set(s.Name, float64(i+1)))
	}
	for i, s := range List() {
		v, ok := c.Value(s.Name)
		require.True(t, ok)
		require.Equal(t, float64(i+1), v, "%s shares its field", s.Name)
	}
	var count func(v reflect.Value) int
	count = func(v reflect.Value) int {
		if v.Kind() == reflect.Float64 {
			require.NotZero(t, v.Float())
			return 1
		}
		if v.Kind() == reflect.Pointer || v.Kind() == reflect.Bool { // the pace, which comes from records; units of texts
			return 0
		}
		n := 0
		for i := range v.NumField() {
			n += count(v.Field(i))
		}
		return n
	}
	require.Equal(t, len(names), count(reflect.ValueOf(c)))
}

func TestSettingsOutsideTheirRangeAreNamedTogether(t *testing.T) {
	c := Default()
	c.ScalpArea = 651
	c.PairFactor = math.NaN()
	c.ProcessMin.Normal = 15.5
	c.IronMax = 200
	c.ExposureWarn, c.ExposureRefuse = 50, 45
	c.StrandWeight = ByStrand{}
	err := c.Validate()
	require.EqualError(t, err, "scalp_area_cm2 is 651; expected 450 to 650 cm²; "+
		"process_normal_minutes is 15.5; expected a whole number, 5 to 40 min; "+
		"iron_max_celsius is 200; expected 100 to 180 °C; "+
		"pair_factor is NaN; expected 1.5 to 2; "+
		"exposure_warn_minutes is 50; expected at most exposure_refuse_minutes, which is 45; "+
		"phone_strand_*_weight are all 0; expected at least one above 0")
	_, err = c.Estimate(shoulderMedium)
	require.ErrorContains(t, err, "settings.scalp_area_cm2 is 651")
	_, err = c.Phone(PhoneQuestions{Reach: ReachEar})
	require.ErrorContains(t, err, "settings.pair_factor is NaN")
}

func TestUnknownSettingIsRefused(t *testing.T) {
	c := Default()
	var e *scheduling.InvalidError
	require.ErrorAs(t, c.Set("plate", 3), &e)
	require.Equal(t, "plate", e.Field)
	_, ok := c.Value("plate")
	require.False(t, ok)
}

func TestEveryExtraFactorHasNoEffectByDefault(t *testing.T) {
	// The plain model knows none of them, so a head that asks for all of them
	// gets the time of one that asks for none.
	h := shoulderDamaged
	plain, err := Default().Estimate(h)
	require.NoError(t, err)
	h.Curl, h.ConsultationHeld, h.Passes, h.Batches, h.AreaShare = CurlCoily, true, 1, 1, 1
	asked, err := Default().Estimate(h)
	require.NoError(t, err)
	require.Equal(t, plain.Mean, asked.Mean)
	require.Equal(t, plain.SolutionML, asked.SolutionML)
}

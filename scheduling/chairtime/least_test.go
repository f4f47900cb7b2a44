package chairtime

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chairblock/scheduling"
)

func TestNoHeadIsBookedForLessThanTheLeast(t *testing.T) {
	settings := map[string]Settings{"default": Default(), "demo": Demo()}
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom([]string{"default", "demo"}).Draw(t, "settings")
		least, err := settings[name].Least()
		require.NoError(t, err)
		h := anyHead(t)
		h.TwoStage = h.Regrowth == 0 && rapid.Bool().Draw(t, "two stages")
		e, err := settings[name].Estimate(h)
		require.NoError(t, err)
		for _, s := range e.Steps {
			if s.Kind == scheduling.RinseShort { // no service asks for it
				continue
			}
			require.Contains(t, least, s.Kind)
			require.GreaterOrEqual(t, s.Booked, least[s.Kind], "%s of %+v", s.Kind, h)
		}
	})
}

func TestTheLeastIsNotFarBelowTheLeastHead(t *testing.T) {
	least, err := Default().Least()
	require.NoError(t, err)
	require.Equal(t, 10, least["process"], "porous hair")
	require.Equal(t, 5, least["dwell"])
	require.Positive(t, least["iron"]+least["wash"])
	c := Default()
	c.DwellMin = 99
	_, err = c.Least()
	require.ErrorContains(t, err, "settings.dwell_minutes")
}

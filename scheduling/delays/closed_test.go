package delays_test

import (
	"testing"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

// TestWorkThatBeganBeforeOpeningGoesOn has a client who was taken long before the
// salon opens at nine and anybody is down to work: nobody sends her home, and her
// steps wait for nobody.
func TestWorkThatBeganBeforeOpeningGoesOn(t *testing.T) {
	d := colours(t)
	d.Now = 464
	happened(&d.Visits[0], 460)
	p, err := d.Project()
	require.NoError(t, err)
	require.Empty(t, p.Broken)
	v := p.Visits[0]
	require.Equal(t, openings.Minute(460), v.Start)
	require.Less(t, v.End, openings.Minute(580), "35 minutes of colour on the hair do not become 137")
	for i := 1; i < len(v.Phases); i++ {
		if v.Phases[i].State == delays.PhaseToCome {
			require.LessOrEqual(t, v.Phases[i].Start-v.Phases[i-1].End, d.Visits[0].Spec.Gaps[i-1].Max, v.Phases[i].Phase)
		}
	}
	require.Equal(t, d.Visits[1].Booked.Phases[0].Start, p.Visits[1].Start, "who has not begun waits for the opening")
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	require.Empty(t, remedies)
}

// TestWorkPastClosingIsStillNamed has the same client in the chair at closing time.
func TestWorkPastClosingIsStillNamed(t *testing.T) {
	d := colours(t)
	d.Visits = d.Visits[:1]
	d.Now = 1085
	happened(&d.Visits[0], 1070)
	p, err := d.Project()
	require.NoError(t, err)
	require.NotEmpty(t, p.Broken)
	require.Equal(t, delays.BrokenClosing, p.Broken[0].Kind)
}

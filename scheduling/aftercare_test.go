package scheduling

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestKeepDryCountsRealHours(t *testing.T) {
	// Derived: 48 elapsed hours over a change of clocks end an hour earlier or
	// later in the day than two calendar days would.
	for _, tt := range []struct{ zone, end, dry, words string }{
		{"America/New_York", "2025-03-08T15:00:00-05:00", "2025-03-10T16:00:00-04:00", "dry and untied until Mon 16:00"},
		{"America/New_York", "2025-11-01T15:00:00-04:00", "2025-11-03T14:00:00-05:00", "dry and untied until Mon 14:00"},
		{"Europe/London", "2025-03-29T15:00:00Z", "2025-03-31T16:00:00+01:00", "dry and untied until Mon 16:00"},
		{"Europe/London", "2025-10-25T15:00:00+01:00", "2025-10-27T14:00:00Z", "dry and untied until Mon 14:00"},
		{"Europe/London", "2025-06-06T14:05:00+01:00", "2025-06-08T14:05:00+01:00", "dry and untied until Sun 14:05"},
	} {
		t.Run(tt.end, func(t *testing.T) {
			zone, err := time.LoadLocation(tt.zone)
			require.NoError(t, err)
			end, err := time.Parse(time.RFC3339, tt.end)
			require.NoError(t, err)
			a := DefaultAftercare()
			dry := a.DryUntil(end.In(zone))
			require.Equal(t, tt.dry, dry.Format(time.RFC3339))
			require.Equal(t, 48*time.Hour, dry.Sub(end))
			require.True(t, a.UntiedUntil(end).Equal(dry))
			require.Equal(t, tt.words, a.Words(end.In(zone)))
		})
	}
}

func TestUntiedMayLastLonger(t *testing.T) {
	a := Aftercare{KeepDry: 48 * time.Hour, NoTie: 168 * time.Hour}
	require.NoError(t, a.Validate())
	require.Equal(t, "dry until Sun 14:05, untied until Fri 13 Jun 14:05", a.Words(time.Date(2025, 6, 6, 14, 5, 0, 0, time.UTC)))
}

func TestAftercareHasBounds(t *testing.T) {
	require.EqualError(t, Aftercare{KeepDry: 47 * time.Hour, NoTie: 169 * time.Hour}.Validate(),
		"keep_dry_hours is 47; expected 48 to 72 hours; no_tie_hours is 169; expected 48 to 168 hours")
}

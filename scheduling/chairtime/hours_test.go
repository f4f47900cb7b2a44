package chairtime

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestHoursAreSaidAsAtADesk(t *testing.T) {
	for minutes, want := range map[int]string{
		0: "0 minutes", 1: "1 minute", 15: "15 minutes", 45: "45 minutes", 60: "1 hour", 61: "1 hour 1 minute",
		75: "1¼ hours", 90: "1½ hours", 120: "2 hours", 140: "2 hours 20 minutes", 195: "3¼ hours", 285: "4¾ hours",
		-15: "−15 minutes",
	} {
		require.Equal(t, want, Hours(minutes))
	}
	require.Equal(t, "between 3¼ and 4½ hours", hoursBetween(195, 270))
	require.Equal(t, "between 1 and 1¼ hours", hoursBetween(60, 75))
	require.Equal(t, "between 45 minutes and 1 hour", hoursBetween(45, 60))
	require.Equal(t, "between 1 hour and 1 hour 10 minutes", hoursBetween(60, 70))
}

package pages

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestAClockSaysTheDayWhereItIsAnother(t *testing.T) {
	c := NewClock(london)
	require.Equal(t, "09:00 to 13:30", c.Span(on11June(9, 0), on11June(13, 30)))
	require.Equal(t, "22:00 to Fri 12 June 01:30", c.Span(on11June(22, 0), on11June(25, 30)))
	require.Equal(t, "Thu 11 June, 09:40", c.When(on11June(9, 40)))
	twice := time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC)
	require.Equal(t, "01:30 UTC+1", c.At(twice))
	require.Equal(t, "01:30 UTC+0", c.At(twice.Add(time.Hour)))
}

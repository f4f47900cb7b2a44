package api

import (
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
)

// A salon that is open on Sundays only, from 9 to 18 by the clock, is so on the days
// on which the clocks change, too.
func TestAWeekReachesFromOpeningToClosingByTheClock(t *testing.T) {
	loc, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	for _, x := range []struct {
		sunday      string
		from, to    int // minutes after midnight
		opens, shut int
	}{
		{"2026-03-29", 540, 1080, 540, 1080}, {"2026-10-25", 540, 1080, 540, 1080}, {"2026-06-14", 540, 1080, 540, 1080},
		{"2026-03-29", 570, 1055, 540, 1080}, {"2026-10-25", 540, 1440, 540, 1440}, {"2026-03-29", 1200, 1500, 1200, 1440},
	} {
		d, err := date.Parse("2006-01-02", x.sunday)
		require.NoError(t, err)
		w := &weekView{n: salonDay{loc: loc}, first: d.Add(-6)}
		w.h = openings.NewHorizon(loc, openings.DateRange{First: w.first, Last: d})
		w.shop.Premises = []openings.Span{{From: w.h.Minute(wall(loc, d, x.from)), To: w.h.Minute(wall(loc, d, x.to))}}
		opens, closes := w.bounds()
		require.Equal(t, []int{x.opens, x.shut}, []int{opens, closes}, "%s %d to %d", x.sunday, x.from, x.to)
	}
}

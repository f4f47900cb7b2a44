package pages

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestNamesBesideASmallDayAreNotCutWhereThereIsRoom(t *testing.T) {
	from := time.Date(2026, 12, 12, 9, 0, 0, 0, time.UTC)
	day := DaySmall{From: from, To: from.Add(10 * time.Hour), Offer: []Part{{From: from.Add(time.Hour), To: from.Add(4 * time.Hour), Kind: HandsOn}}}
	for _, x := range [][3]string{{"Tomas Reed", "Sat 12 Dec", "Chair 3"}, {"Ada", "Wed 23 Sept", "Basin by the wall"}, {"Ada", "", ""}} {
		day.Name, day.Label, day.ChairName = x[0], x[1], x[2]
		svg, err := day.SVG()
		require.NoError(t, err)
		for _, words := range x {
			require.Contains(t, svg, ">"+words+"<")
		}
		require.NotContains(t, svg, "…")
		require.GreaterOrEqual(t, newSmallLayout(day).right-newSmallLayout(day).left, 200.0, "the strip keeps most of the width")
	}
	day.Name = "Maximiliane Featherstonehaugh-Cholmondeley"
	svg, err := day.SVG()
	require.NoError(t, err)
	require.Contains(t, svg, "Maximiliane")
	require.Contains(t, svg, "…", "what would take the strip's place is cut")
}

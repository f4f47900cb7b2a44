package chairtime

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestAStandInNeedsTheMinutesThatAreKept(t *testing.T) {
	c := Default()
	for _, reach := range []Reach{ReachEar, ReachChin, ReachShoulder, ReachMidBack, ReachWaist, ReachLonger} {
		for _, tail := range []Ponytail{PonytailLittle, PonytailAverage, PonytailALot, PonytailUnknown, ""} {
			for _, done := range [][]History{{HistoryNothing}, {HistoryStraightenedHere}, {HistoryBleachedHighlighted, HistoryColoured}, nil} {
				q := PhoneQuestions{Reach: reach, Ponytail: tail, History: done}
				a, err := c.Phone(q)
				require.NoError(t, err)
				h, err := c.StandIn(q)
				require.NoError(t, err)
				require.False(t, h.Damaged)
				require.Equal(t, len(done) != 1 || done[0] != HistoryStraightenedHere, h.NewClient)
				band := reachBands[reach]
				require.GreaterOrEqual(t, h.Length, band[0])
				require.LessOrEqual(t, h.Length, band[1])
				e, err := c.Estimate(h)
				require.NoError(t, err)
				require.Equal(t, a.Keep, e.Block, "%s %s %v", reach, tail, done)
			}
		}
	}
	_, err := c.StandInFor(PhoneQuestions{Reach: "knee"}, PhoneAnswer{})
	require.Error(t, err)
}

package store

import (
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestADatabaseThatIsAwayIsToldAtGrowingDistanceAndOnceWhenItIsBack(t *testing.T) {
	begun := time.Date(2026, 6, 8, 9, 0, 0, 0, time.UTC)
	now := begun
	type end struct {
		lasted time.Duration
		untold int
	}
	var ends []end
	a := &away{now: func() time.Time { return now }, over: func(lasted time.Duration, untold int) { ends = append(ends, end{lasted, untold}) }}
	var out strings.Builder
	log := jobLogger(&out, a)
	lost := errors.New("failed to connect to `user=quay`: connection refused")
	a.back()
	require.Empty(t, ends, "it was never away")

	told := map[string][]int{} // seconds after the first
	second := func(n int) {
		now = begun.Add(time.Duration(n) * time.Second)
		for _, queue := range []string{"messages", "private"} {
			out.Reset()
			log.Error("fetching failed", "err", lost, "queue", queue)
			if out.Len() > 0 {
				require.Contains(t, out.String(), "no connection to the database")
				told[queue] = append(told[queue], n)
			}
		}
	}
	for n := range 1000 {
		second(n)
	}
	require.Equal(t, map[string][]int{"messages": {0, 60, 180, 420, 900}, "private": {0, 60, 180, 420, 900}}, told)
	out.Reset()
	log.Error("leading failed", "err", lost)
	require.Contains(t, out.String(), "leading failed", "another place is told")
	out.Reset()
	log.Error("fetching failed", "err", errors.New("a column is missing"), "queue", "messages")
	require.Contains(t, out.String(), "a column is missing", "another fault is told")
	now = begun.Add(40 * time.Hour)
	for range 20 {
		now = now.Add(awayMost)
		out.Reset()
		log.Error("fetching failed", "err", lost, "queue", "messages")
	}
	require.NotEmpty(t, out.String(), "it grows to an hour and no more")

	a.back()
	a.back()
	require.Equal(t, []end{{60 * time.Hour, 99}}, ends, "private failed 99 times since 900")
	out.Reset()
	log.Error("fetching failed", "err", lost, "queue", "messages")
	require.Contains(t, out.String(), "no connection to the database", "away once more, told at once")
	require.NotContains(t, out.String(), "untold")
	now = now.Add(time.Second)
	log.Error("fetching failed", "err", lost, "queue", "messages")
	now = now.Add(time.Minute)
	out.Reset()
	log.WithGroup("g").Error("fetching failed", slog.Any("err", lost), slog.String("queue", "messages"))
	require.Contains(t, out.String(), "g.untold=1")
}

package store

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTheQueueIsQuietAboutWorkThatWasCutShortOnly(t *testing.T) {
	stopped, stop := context.WithCancel(context.Background())
	stop()
	late, end := context.WithTimeout(context.Background(), 0)
	defer end()
	for name, c := range map[string]struct {
		ctx  context.Context
		err  string
		told bool
	}{
		"cut short by the stop":        {stopped, "context canceled", false},
		"within other words":           {stopped, "commit: context canceled", false},
		"another fault while it stops": {stopped, "no space left on device", true},
		"cancelled by somebody else":   {context.Background(), "context canceled", true},
		"too slow":                     {late, "context deadline exceeded", true},
		"an ordinary fault":            {context.Background(), "connection refused", true},
	} {
		t.Run(name, func(t *testing.T) {
			var out strings.Builder
			log := jobLogger(&out, newAway())
			log.ErrorContext(c.ctx, "it could not tell the others", slog.String("queues", "messages"), slog.String("err", c.err))
			log.With("a", 1).WithGroup("g").ErrorContext(c.ctx, "again", slog.String("err", c.err))
			if !c.told {
				require.Empty(t, out.String())
				return
			}
			require.Equal(t, 2, strings.Count(out.String(), c.err), out.String())
		})
	}
	for _, err := range []string{
		"failed to connect to `user=quay database=chairs`: 192.0.2.7:5432 (db.example): dial error: dial tcp 192.0.2.7:5432: connect: connection refused",
		"fetching: read tcp 192.0.2.9:41000->192.0.2.7:5432: read: connection reset by peer",
		"hostname resolving error: lookup db.example: no such host",
	} {
		var out strings.Builder
		jobLogger(&out, newAway()).Error("producer: Error fetching jobs", slog.String("err", err), slog.Any("cause", errors.New(err)), slog.String("queue", "messages"))
		for _, secret := range []string{"quay", "chairs", "192.0.2", "db.example"} {
			require.NotContains(t, out.String(), secret)
		}
		require.Equal(t, 2, strings.Count(out.String(), "no connection to the database"), out.String())
		require.Contains(t, out.String(), "queue=messages")
	}
	var out strings.Builder
	jobLogger(&out, newAway()).Info("all is well")
	require.Empty(t, out.String(), "only warnings and errors")
}

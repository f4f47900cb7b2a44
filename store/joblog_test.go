package store

import (
	"context"
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
			log := jobLogger(&out)
			log.ErrorContext(c.ctx, "it could not tell the others", slog.String("queues", "messages"), slog.String("err", c.err))
			log.With("a", 1).WithGroup("g").ErrorContext(c.ctx, "again", slog.String("err", c.err))
			if !c.told {
				require.Empty(t, out.String())
				return
			}
			require.Equal(t, 2, strings.Count(out.String(), c.err), out.String())
		})
	}
	var out strings.Builder
	jobLogger(&out).Info("all is well")
	require.Empty(t, out.String(), "only warnings and errors")
}

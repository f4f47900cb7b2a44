package packing_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/packing"
)

func TestPackProvesThePublishedOptima(t *testing.T) {
	for _, name := range []string{"t3-02", "t3-09"} {
		t.Run(name, func(t *testing.T) {
			p, best := published(t, name)
			r, err := packing.Pack(context.Background(), p, packing.Options{Seed: 1, Rounds: 20000})
			require.NoError(t, err)
			checkResult(t, p, r)
			require.True(t, r.Complete)
			require.True(t, r.Proven)
			require.Equal(t, best, r.Bound)
		})
	}
}

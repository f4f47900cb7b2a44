package screening_test

import (
	"encoding/json"
	"flag"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/screening"
)

var update = flag.Bool("update", false, "write the golden files")

// TestAVersionOfTheQuestionsNeverChanges holds version 1 against what it was
// when the first answers were kept: they are read with it for years.
func TestAVersionOfTheQuestionsNeverChanges(t *testing.T) {
	f, ok := screening.NewForm(1, 1, nil)
	require.True(t, ok)
	got, err := json.MarshalIndent(f, "", "  ")
	require.NoError(t, err)
	const golden = "testdata/standard1.json"
	if *update {
		require.NoError(t, os.WriteFile(golden, append(got, '\n'), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got)+"\n", "a change is a new version")
}

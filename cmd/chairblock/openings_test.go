package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The answers stand in the problem files, with how they were proved.
func TestOpeningsPrintsTheProvenAnswerOfEveryProblem(t *testing.T) {
	files, err := filepath.Glob("../../testdata/problems/*.json")
	require.NoError(t, err)
	answered := 0
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		var problem struct {
			Task   string
			Expect map[string]any
		}
		require.NoError(t, json.Unmarshal(data, &problem))
		var out, errs bytes.Buffer
		code := run([]string{"openings", "--problem", "-"}, bytes.NewReader(data), &out, &errs)
		if problem.Task != "T1" {
			require.Equal(t, exitUsage, code, file)
			require.Empty(t, out.String())
			require.Equal(t, 1, bytes.Count(errs.Bytes(), []byte("\n")))
			continue
		}
		require.Zero(t, code, "%s: %s", file, errs.String())
		var got map[string]any
		require.NoError(t, json.Unmarshal(out.Bytes(), &got))
		for _, name := range []string{"count", "feasible", "first", "last", "by_first_role", "min_end"} {
			require.Contains(t, got, name)
			if want, ok := problem.Expect[name]; ok {
				require.Equal(t, want, got[name], "%s of %s", name, file)
			}
		}
		answered++
	}
	require.Positive(t, answered)
}

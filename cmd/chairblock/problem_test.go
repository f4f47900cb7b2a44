package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// Which members of an answer are unique, by command. That of pack is proven when
// it is called optimal.
var unique = map[string][]string{
	"openings": {"count", "feasible", "first", "last", "by_first_role", "min_end"},
	"pack":     {"optimal", "unit"},
	"delay":    {"feasible", "starts", "last_end", "first_contradiction_met"},
}

// The answers stand in the problem files, with how they were proved.
func TestEveryProblemIsGivenItsProvenAnswerByItsCommandAlone(t *testing.T) {
	files, err := filepath.Glob("../../testdata/problems/*.json")
	require.NoError(t, err)
	commands := map[string]string{"T1": "openings", "T3": "pack", "T4": "delay"}
	answered := map[string]int{}
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		var problem struct {
			Task   string
			Expect map[string]any
		}
		require.NoError(t, json.Unmarshal(data, &problem))
		for task, command := range commands {
			args := []string{command, "--problem", "-"}
			if command == "pack" {
				args = append(args, "--rounds", "10000000") // it ends with the proof
			}
			var out, errs bytes.Buffer
			code := run(args, bytes.NewReader(data), &out, &errs)
			if problem.Task != task {
				require.Equal(t, exitUsage, code, file)
				require.Empty(t, out.String())
				require.Equal(t, 1, bytes.Count(errs.Bytes(), []byte("\n")))
				require.Contains(t, errs.String(), "is for chairblock "+commands[problem.Task])
				continue
			}
			require.Zero(t, code, "%s: %s", file, errs.String())
			var got map[string]any
			require.NoError(t, json.Unmarshal(out.Bytes(), &got))
			for _, name := range unique[command] {
				if want, ok := problem.Expect[name]; ok {
					require.Equal(t, want, got[name], "%s of %s", name, file)
				}
			}
			answered[command]++
		}
	}
	for _, command := range commands {
		require.Positive(t, answered[command], command)
	}
}

func TestAHurriedPackingIsStillAnAnswer(t *testing.T) {
	data, err := os.ReadFile("../../testdata/problems/t3-02.json")
	require.NoError(t, err)
	var out, errs bytes.Buffer
	require.Zero(t, run([]string{"pack", "-p", "-", "--seconds", "0.000001"}, bytes.NewReader(data), &out, &errs), errs.String())
	var got packed
	require.NoError(t, json.Unmarshal(out.Bytes(), &got))
	require.True(t, got.Complete)
	require.NotEmpty(t, got.Schedule.Visits)
	if got.Proven {
		require.Equal(t, got.Value, *got.Optimal)
		require.Nil(t, got.Best)
	} else {
		require.Equal(t, got.Value, *got.Best)
		require.Nil(t, got.Optimal)
		require.GreaterOrEqual(t, got.Bound, got.Value)
	}
}

package problemfile_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

// addProblems seeds f with the published problems of all tasks, so that each
// reader also meets the files of the others, and with more; see mutated.
func addProblems(f *testing.F, more ...string) {
	f.Helper()
	files, err := filepath.Glob(filepath.Join(problems, "t*.json"))
	require.NoError(f, err)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		more = append(more, string(data))
	}
	for _, s := range more {
		for seed := range uint64(20) {
			f.Add([]byte(s), seed)
		}
	}
}

func FuzzReadOpenings(f *testing.F) {
	addProblems(f, smallProblem)
	f.Fuzz(func(t *testing.T, data []byte, seed uint64) { askOpenings(t, mutated(data, seed)) })
}

// askOpenings reads data and asks what it asks, and reports whether it was sound.
func askOpenings(t *testing.T, data []byte) bool {
	t.Helper()
	p, err := problemfile.ReadOpenings(bytes.NewReader(data))
	if err != nil {
		require.NotContains(t, err.Error(), "\n")
		return false
	}
	// What was read can be asked, unless it asks for too much work.
	if len(p.Visit.Roles) > 3 || len(p.Visit.Phases) > 30 {
		return false
	}
	x := search(t, p)
	for range x.All() {
		break
	}
	if first, ok := x.First(); ok {
		sch, ok := x.Assign(first, "")
		require.True(t, ok)
		require.Empty(t, openings.Check(sch, p.Visit, p.Shop))
	}
	return true
}

func FuzzReadPacking(f *testing.F) {
	addProblems(f, smallDay)
	f.Fuzz(func(t *testing.T, data []byte, seed uint64) { askPacking(t, mutated(data, seed)) })
}

// askPacking reads data and asks what it asks, and reports whether it was sound.
func askPacking(t *testing.T, data []byte) bool {
	t.Helper()
	p, err := problemfile.ReadPacking(bytes.NewReader(data))
	if err != nil {
		require.NotContains(t, err.Error(), "\n")
		return false
	}
	work := 0
	for _, q := range p.Problem.Requests {
		work += len(q.Visit.Phases)
		if len(q.Visit.Roles) > 3 {
			return false
		}
	}
	if work > 40 || p.Problem.Shop.Minutes > 3000 {
		return false
	}
	r, err := packing.Pack(context.Background(), p.Problem, packing.Options{Rounds: 5})
	if err != nil { // links that contradict each other, for one
		require.NotContains(t, err.Error(), "\n")
		return false
	}
	require.Len(t, p.Problem.Requests, len(r.Placed)+len(r.Unplaced))
	requireSound(t, p.Problem, r)
	return true
}

func FuzzReadDelays(f *testing.F) {
	addProblems(f, lateDay)
	f.Fuzz(func(t *testing.T, data []byte, seed uint64) { askDelays(t, mutated(data, seed)) })
}

// askDelays reads data and asks what it asks, and reports whether it was sound.
func askDelays(t *testing.T, data []byte) bool {
	t.Helper()
	p, err := problemfile.ReadDelays(bytes.NewReader(data))
	if err != nil {
		require.NotContains(t, err.Error(), "\n")
		return false
	}
	got, err := delays.Project(p.Problem)
	if errors.Is(err, delays.ErrTangled) {
		return true
	}
	require.NoError(t, err, "what was read can be asked")
	require.Equal(t, got.Feasible, got.Conflict == nil)
	if got.Feasible {
		requireKept(t, p.Problem, got.Starts)
	}
	return true
}

func TestChangedProblemsAreAnsweredOrRefused(t *testing.T) {
	t.Parallel()
	const changes = 300
	for name, c := range map[string]struct {
		small string
		files []string
		ask   func(*testing.T, []byte) bool
	}{
		"openings": {smallProblem, []string{"t1-03.json", "t1-10.json", "t1-22.json"}, askOpenings},
		"packing":  {smallDay, []string{"t3-02.json", "t3-09.json"}, askPacking},
		"delays":   {lateDay, []string{"t4-01.json", "t4-03.json"}, askDelays},
	} {
		t.Run(name, func(t *testing.T) {
			texts := [][]byte{[]byte(c.small)}
			for _, file := range c.files {
				data, err := os.ReadFile(filepath.Join(problems, file))
				require.NoError(t, err)
				texts = append(texts, data)
			}
			for i, text := range texts {
				sound := 0
				for seed := range uint64(changes) {
					t.Run(fmt.Sprintf("%d with seed %d", i, seed), func(t *testing.T) {
						if c.ask(t, mutated(text, seed)) {
							sound++
						}
					})
				}
				require.Greater(t, sound, changes/20, "text %d", i)
				require.Less(t, sound, changes, "text %d", i)
			}
		})
	}
}

// requireKept looks at every rule of a day in progress.
func requireKept(t *testing.T, p delays.Problem, starts map[string]openings.Minute) {
	t.Helper()
	end := map[string]openings.Minute{}
	for _, pc := range p.Pieces {
		at := starts[pc.ID]
		end[pc.ID] = at + pc.Minutes
		require.LessOrEqual(t, end[pc.ID], p.Minutes)
		if pc.Fixed != nil {
			require.Equal(t, *pc.Fixed, at)
			continue
		}
		require.GreaterOrEqual(t, at, pc.NotBefore)
		for _, w := range pc.Closed {
			require.True(t, end[pc.ID] <= w.From || at >= w.To)
		}
	}
	for _, l := range p.Links {
		wait := starts[l.After] - end[l.Before]
		require.GreaterOrEqual(t, wait, l.Min)
		if l.Max != nil {
			require.LessOrEqual(t, wait, *l.Max)
		}
	}
}

package openings_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

const problems = "../../testdata/problems"

// expected is the answer that a problem file of task T1 carries. All but the
// witnesses is unique. How it was proved stands in the files: by exhaustive
// search and by a general constraint solver (MiniZinc with Gecode); for
// bench-60-days by independent programs that agree.
type expected struct {
	Count       int                             `json:"count"`
	Feasible    [][2]openings.Minute            `json:"feasible"`
	First       *openings.Minute                `json:"first"`
	Last        *openings.Minute                `json:"last"`
	FirstLocal  *time.Time                      `json:"first_local"`
	LastLocal   *time.Time                      `json:"last_local"`
	ByFirstRole map[string][][2]openings.Minute `json:"by_first_role"`
	MinEnd      [][2]openings.Minute            `json:"min_end"`
	Witness     []struct {
		Roles  map[string]string `json:"roles"`
		Phases []struct {
			Phase string          `json:"phase"`
			Start openings.Minute `json:"start"`
			End   openings.Minute `json:"end"`
			Pool  []string        `json:"pool"`
		} `json:"phases"`
	} `json:"witness"`
}

func readProblem(t testing.TB, name string) *problemfile.OpeningsProblem {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(problems, name))
	require.NoError(t, err)
	p, err := problemfile.ReadOpenings(bytes.NewReader(data))
	require.NoError(t, err)
	return p
}

func readExpected(t testing.TB, name string) expected {
	t.Helper()
	var file struct {
		Expect expected `json:"expect"`
	}
	data, err := os.ReadFile(filepath.Join(problems, name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &file))
	return file.Expect
}

func pairs(ranges []openings.StartRange) [][2]openings.Minute {
	out := [][2]openings.Minute{}
	for _, r := range ranges {
		out = append(out, [2]openings.Minute{r.From, r.To})
	}
	return out
}

func TestPublishedProblemsHaveTheirProvenAnswers(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(problems, "t1-*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		name := filepath.Base(file)
		t.Run(name, func(t *testing.T) {
			p, want := readProblem(t, name), readExpected(t, name)
			x := search(t, instance{p.Shop, p.Visit, p.Query})
			require.Equal(t, want.Count, x.Count())
			require.Equal(t, want.Feasible, pairs(x.Ranges()))
			byFirst := map[string][][2]openings.Minute{}
			for id, ranges := range x.ByFirstRole() {
				byFirst[id] = pairs(ranges)
			}
			require.Equal(t, want.ByFirstRole, byFirst)
			ends := [][2]openings.Minute{}
			for start := range x.All() {
				end, ok := x.MinEnd(start)
				require.True(t, ok)
				ends = append(ends, [2]openings.Minute{start, end})
			}
			require.Equal(t, want.MinEnd, ends)
			sameEdges(t, p, x, want)
			for _, w := range want.Witness {
				sch := openings.Schedule{Roles: w.Roles}
				for _, ph := range w.Phases {
					sch.Phases = append(sch.Phases, openings.Placed{Phase: ph.Phase, Start: ph.Start, End: ph.End, Pool: ph.Pool})
				}
				require.Empty(t, openings.Check(sch, p.Visit, p.Shop))
			}
		})
	}
}

// sameEdges compares first and last, and their times on the wall.
func sameEdges(t *testing.T, p *problemfile.OpeningsProblem, x *openings.StartSet, want expected) {
	t.Helper()
	first, ok := x.First()
	require.Equal(t, want.First != nil, ok)
	if !ok {
		return
	}
	last, _ := x.Last()
	require.Equal(t, []openings.Minute{*want.First, *want.Last}, []openings.Minute{first, last})
	if want.FirstLocal == nil {
		return
	}
	zone, err := time.LoadLocation(p.Zone)
	require.NoError(t, err)
	local := func(m openings.Minute) string {
		return p.Origin.Add(time.Duration(m) * time.Minute).In(zone).Format(time.RFC3339)
	}
	require.Equal(t, want.FirstLocal.Format(time.RFC3339), local(first))
	require.Equal(t, want.LastLocal.Format(time.RFC3339), local(last))
}

func TestSixtyBusyDaysHave1966Starts(t *testing.T) {
	p := readProblem(t, "bench-60-days.json")
	x := search(t, instance{p.Shop, p.Visit, p.Query})
	require.Equal(t, readExpected(t, "bench-60-days.json").Count, x.Count())
	n := 0
	for start := range x.All() {
		if n++; n%7 != 0 {
			continue
		}
		end, ok := x.MinEnd(start)
		require.True(t, ok)
		sch, ok := x.Assign(start, "")
		require.True(t, ok)
		require.Empty(t, openings.Check(sch, p.Visit, p.Shop))
		require.Equal(t, end, sch.Phases[len(sch.Phases)-1].End)
	}
}

package packing_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

// project is a published problem of activities that need several units at a
// time and of least and greatest lags between their starts. Activity 0 is the
// beginning, the last one the end.
type project struct {
	Name       string
	Activities []struct {
		Duration openings.Minute
		Need     []int // by resource
	}
	Arcs     [][3]openings.Minute `json:"arcs_from_to_lag"`
	Capacity []int
	Optimal  int `json:"optimal_makespan"` // 0 when there is no solution
}

// horizon is longer than any of the projects takes one activity at a time.
const horizon openings.Minute = 300

// day writes a project as a day to pack. An activity is one visit for each
// resource, all of which arrive together; lags are links.
func (s project) day() packing.Problem {
	all := []openings.Span{{From: 0, To: horizon}}
	p := packing.Problem{Objective: packing.MinMakespan, Shop: openings.Shop{Minutes: horizon, Premises: all}}
	kind := func(r int) openings.UnitKind { return openings.UnitKind(fmt.Sprintf("resource %d", r)) }
	for r, n := range s.Capacity {
		for i := range n {
			p.Shop.Units = append(p.Shop.Units, openings.Unit{ID: fmt.Sprintf("%s.%d", kind(r), i), Kind: kind(r), Open: all})
		}
	}
	last := len(s.Activities) - 1
	queries := make([]openings.Query, last)
	length := make([]openings.Minute, last) // until the end of the project
	for i := range queries {
		queries[i] = openings.Query{To: horizon, Grid: 1}
		length[i] = s.Activities[i].Duration
	}
	for _, a := range s.Arcs {
		from, to := int(a[0]), int(a[1])
		switch {
		case from == 0 && to < last:
			queries[to].From = max(queries[to].From, a[2])
		case to == 0:
			queries[from].To = min(queries[from].To, -a[2])
		case to == last:
			length[from] = max(length[from], a[2])
		default:
			p.Links = append(p.Links, packing.Link{A: fmt.Sprint(from), B: fmt.Sprint(to), From: "start", Min: a[2], Max: horizon})
		}
	}
	for i := 1; i < last; i++ {
		d := s.Activities[i].Duration
		v := openings.VisitSpec{Phases: []openings.Phase{{Minutes: d}}}
		if length[i] > d {
			v.Phases, v.Gaps = append(v.Phases, openings.Phase{Minutes: length[i] - d}), []openings.Gap{{}}
		}
		p.Requests = append(p.Requests, packing.Request{ID: fmt.Sprint(i), Visit: v, Query: queries[i]})
		for r, n := range s.Activities[i].Need {
			if n == 0 {
				continue
			}
			ph := openings.Phase{Minutes: d}
			for range n {
				ph.Pool = append(ph.Pool, openings.Need{Kinds: []openings.UnitKind{kind(r)}})
			}
			id := fmt.Sprintf("%d on %s", i, kind(r))
			p.Requests = append(p.Requests, packing.Request{ID: id, Query: queries[i],
				Visit: openings.VisitSpec{Phases: []openings.Phase{ph}}})
			p.Links = append(p.Links, packing.Link{A: fmt.Sprint(i), B: id, From: "start"})
		}
	}
	return p
}

func TestPackNeverBeatsThePublishedOptimaOfProjects(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "scheduling", "rcpsp_max.json"))
	require.NoError(t, err)
	var file struct{ Instances []project }
	require.NoError(t, json.Unmarshal(data, &file))
	// What the rounds are enough for; without the others the test says less, not
	// something else.
	reached := map[string]bool{"PSP1.SCH": true, "PSP3.SCH": true, "PSP5.SCH": true, "PSP7.SCH": true, "PSP8.SCH": true}
	for _, s := range file.Instances {
		t.Run(s.Name, func(t *testing.T) {
			p := s.day()
			if len(p.Requests) > 60 {
				t.Skip("too many visits")
			}
			r := pack(t, p, 60)
			if s.Optimal == 0 {
				require.False(t, r.Complete)
				return
			}
			require.LessOrEqual(t, r.Bound, s.Optimal)
			if r.Complete {
				require.GreaterOrEqual(t, int(r.Makespan), s.Optimal)
			}
			if reached[s.Name] {
				require.Equal(t, s.Optimal, int(r.Makespan))
			}
		})
	}
}

package packing_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

// jobShop is a published scheduling problem: each job visits machines in a
// given order.
type jobShop struct {
	Name       string
	Jobs       int
	Machines   int
	Operations [][][2]int `json:"operations_machine_minutes"`
	Optimal    int        `json:"optimal_makespan"`
	NoWait     struct {
		Optimal int `json:"optimal_makespan"`
	} `json:"no_wait"`
}

func jobShops(t testing.TB) map[string]jobShop {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "scheduling", "jobshop.json"))
	require.NoError(t, err)
	var file struct{ Instances []jobShop }
	require.NoError(t, json.Unmarshal(data, &file))
	out := map[string]jobShop{}
	for _, s := range file.Instances {
		out[s.Name] = s
	}
	return out
}

// day writes a job shop as a day to pack: machines are units, jobs are visits
// that wait as long as they like between two operations, or not at all.
func (s jobShop) day(wait bool) packing.Problem {
	total := 0
	for _, job := range s.Operations {
		for _, op := range job {
			total += op[1]
		}
	}
	p := packing.Problem{Objective: packing.MinMakespan}
	all := []openings.Span{{From: 0, To: openings.Minute(total)}}
	p.Shop = openings.Shop{Minutes: openings.Minute(total), Premises: all}
	for m := range s.Machines {
		id := fmt.Sprintf("M%d", m)
		p.Shop.Units = append(p.Shop.Units, openings.Unit{ID: id, Kind: openings.UnitKind(id), Open: all})
	}
	for j, ops := range s.Operations {
		var v openings.VisitSpec
		for i, op := range ops {
			id := fmt.Sprintf("M%d", op[0])
			v.Phases = append(v.Phases, openings.Phase{Name: fmt.Sprintf("on %s", id), Minutes: openings.Minute(op[1]),
				Pool: []openings.Need{{Kinds: []openings.UnitKind{openings.UnitKind(id)}}}})
			if i > 0 {
				g := openings.Gap{}
				if wait {
					g.Max = openings.Minute(total)
				}
				v.Gaps = append(v.Gaps, g)
			}
		}
		p.Requests = append(p.Requests, packing.Request{ID: fmt.Sprintf("J%d", j), Visit: v,
			Query: openings.Query{To: openings.Minute(total), Grid: 1}})
	}
	return p
}

func TestPackReachesThePublishedOptimaOfJobShops(t *testing.T) {
	shops := jobShops(t)
	for _, tt := range []struct {
		name   string
		wait   bool
		rounds int
	}{
		{"ft06", true, 500},
		{"la01", true, 500},
		{"la02", true, 500},
		{"la05", true, 500},
		{"la06", true, 500},
		{"ft06", false, 500},
	} {
		t.Run(fmt.Sprintf("%s wait %t", tt.name, tt.wait), func(t *testing.T) {
			s := shops[tt.name]
			want := s.Optimal
			if !tt.wait {
				want = s.NoWait.Optimal
			}
			p := s.day(tt.wait)
			r, err := packing.Pack(context.Background(), p, packing.Options{Seed: 1, Rounds: tt.rounds})
			require.NoError(t, err)
			checkResult(t, p, r)
			require.True(t, r.Complete)
			require.Equal(t, want, int(r.Makespan))
		})
	}
}

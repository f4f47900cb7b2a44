package packing_test

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

// pack packs within so many rounds and checks the result.
func pack(t testing.TB, p packing.Problem, rounds int) *packing.Result {
	t.Helper()
	r, err := packing.Pack(context.Background(), p, packing.Options{Seed: 3, Rounds: rounds})
	require.NoError(t, err)
	checkResult(t, p, r)
	return r
}

// standing is the published day of two stylists and five visits with every
// visit where the published answer has it, to be kept as far as possible: a move
// costs 100 and a minute 1. Every visit must be served and is worth nothing, so
// that the value is minus the cost.
func standing(t testing.TB) packing.Problem {
	p, _ := published(t, "t3-09")
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "problems", "t3-09.json"))
	require.NoError(t, err)
	var answer struct {
		Expect struct {
			Schedule struct {
				Visits []struct {
					Request string
					Roles   map[string]string
					Phases  []struct {
						Phase      string
						Start, End openings.Minute
						Pool       []string
					}
				}
			}
		}
	}
	require.NoError(t, json.Unmarshal(data, &answer))
	p.Objective = packing.MaxValue
	for i, v := range answer.Expect.Schedule.Visits {
		s := openings.Schedule{Roles: v.Roles}
		for _, ph := range v.Phases {
			s.Phases = append(s.Phases, openings.Placed{Phase: ph.Phase, Start: ph.Start, End: ph.End, Pool: ph.Pool})
		}
		r := &p.Requests[i]
		require.Equal(t, v.Request, r.ID)
		r.Stay, r.Move, r.PerMinute, r.Must, r.Value = &s, 100, 1, true, 0
	}
	return p
}

// without is p with unit id away for a while.
func without(p packing.Problem, id string, away openings.Span) packing.Problem {
	p.Shop.Units = append([]openings.Unit(nil), p.Shop.Units...)
	for i := range p.Shop.Units {
		if u := &p.Shop.Units[i]; u.ID == id {
			u.Breaks = append(append([]openings.Span(nil), u.Breaks...), away)
		}
	}
	return p
}

// closing is p with the premises closed from a minute on.
func closing(p packing.Problem, at openings.Minute) packing.Problem {
	p.Shop.Premises = []openings.Span{{From: p.Shop.Premises[0].From, To: at}}
	return p
}

func TestNothingMovesWhileEverythingCanStay(t *testing.T) {
	r := pack(t, closing(standing(t), 715), 100)
	require.True(t, r.Complete)
	require.True(t, r.Proven)
	require.Empty(t, r.Moved)
	require.Zero(t, r.Value)
}

// The costs are those that the search proved; that it proves the right ones is
// tested by trying everything on small days.
func TestAFullDayIsRepairedAtTheLeastCost(t *testing.T) {
	for _, tt := range []struct {
		name   string
		unit   string
		away   openings.Span
		closes openings.Minute
		cost   int // -1 when not all can be served
		moved  int
	}{
		{"a chair is broken all day", "C3", openings.Span{From: 540, To: 1080}, 1080, 205, 1},
		{"a chair is broken for an hour and the shop closes early", "C1", openings.Span{From: 540, To: 600}, 715, -1, 0},
		{"a stylist is away for an hour", "S2", openings.Span{From: 620, To: 680}, 1080, 325, 2},
		{"a stylist is away for an hour and the shop closes early", "S2", openings.Span{From: 620, To: 680}, 715, -1, 0},
		{"the basin is out for an hour", "B1", openings.Span{From: 600, To: 660}, 1080, 345, 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := pack(t, closing(without(standing(t), tt.unit, tt.away), tt.closes), 4000)
			require.True(t, r.Proven)
			require.Equal(t, tt.cost >= 0, r.Complete)
			if r.Complete {
				require.Equal(t, -tt.cost, r.Value)
				require.Len(t, r.Moved, tt.moved)
			}
		})
	}
}

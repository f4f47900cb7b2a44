package packing

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
)

// BenchmarkInsert finds a place for one visit between the visits of a day of two
// stylists, four chairs and a basin: the step that rounds are made of.
func BenchmarkInsert(b *testing.B) {
	day := []openings.Span{{From: 540, To: 1080}}
	p := Problem{Objective: MaxValue, Shop: openings.Shop{Minutes: 1440, Premises: day}}
	for _, u := range []string{"S1", "S2", "C1", "C2", "C3", "C4", "B1"} {
		kind := map[byte]openings.UnitKind{'S': openings.Stylist, 'C': openings.Chair, 'B': openings.Basin}[u[0]]
		p.Shop.Units = append(p.Shop.Units, openings.Unit{ID: u, Kind: kind, Open: day, Changeover: 5})
	}
	colour := openings.VisitSpec{
		Roles: []openings.Role{{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}},
			{Name: "chair", Need: openings.Need{Kinds: []openings.UnitKind{openings.Chair}}}},
		Phases: []openings.Phase{
			{Name: "apply", Minutes: 30, Roles: []string{"lead", "chair"}},
			{Name: "process", Minutes: 35, Roles: []string{"chair"}},
			{Name: "rinse", Minutes: 10, Roles: []string{"chair"}, Pool: []openings.Need{{Kinds: []openings.UnitKind{openings.Basin}}}},
			{Name: "dry", Minutes: 25, Roles: []string{"lead", "chair"}}},
		Gaps: []openings.Gap{{}, {}, {Max: 10, Hold: []string{"chair"}}},
	}
	for _, id := range []string{"a", "b", "c", "d", "e", "f", "g"} {
		p.Requests = append(p.Requests, Request{ID: id, Visit: colour, Value: 1, Query: openings.Query{From: 540, To: 1080, Grid: 5}})
	}
	snap, plans, err := p.check(Options{})
	require.NoError(b, err)
	k := newPacker(newModel(&p, snap, plans), rand.New(rand.NewPCG(1, 1)))
	k.greedy()
	k.take(3)
	all := limits{to: forever, after: -forever, endBy: forever}
	for _, bb := range []struct {
		name string
		aim  aim
	}{{"earliest end", aimEarliest}, {"edge of a range", aimEdge}, {"nearest", aimNear}} {
		b.Run(bb.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				require.NotNil(b, k.ins.insert(3, all, bb.aim))
			}
		})
	}
}

package packing_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

func TestTheSameSeedAndRoundsGiveTheSamePacking(t *testing.T) {
	p := wishDay(4, 20)
	first := pack(t, p, 150)
	require.False(t, first.Proven, "an exact answer would say nothing about the rounds")
	for range 3 {
		require.Equal(t, first, pack(t, p, 150))
	}
	withDeadline, cancel := context.WithTimeout(context.Background(), time.Hour)
	defer cancel()
	again, err := packing.Pack(withDeadline, p, packing.Options{Seed: 3, Rounds: 150})
	require.NoError(t, err)
	require.Equal(t, first, again)
}

func TestMoreRoundsAreNeverWorse(t *testing.T) {
	for seed := range uint64(3) {
		p, last := wishDay(seed, 25), 0
		for _, rounds := range []int{1, 20, 200} {
			r := pack(t, p, rounds)
			require.GreaterOrEqual(t, r.Value, last)
			require.GreaterOrEqual(t, r.Bound, r.Value)
			last = r.Value
		}
	}
}

func TestADoneContextLeavesEverythingWhereItStands(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	p := without(standing(t), "B1", openings.Span{From: 600, To: 620})
	r, err := packing.Pack(ctx, p, packing.Options{})
	require.NoError(t, err)
	checkResult(t, p, r)
	require.GreaterOrEqual(t, len(r.Placed), 4, "who can stay does")
	require.LessOrEqual(t, len(r.Moved), 1, "one cannot stay; a single way is tried for it")
}

func TestNothingToPackIsPackedAtOnce(t *testing.T) {
	for _, o := range []packing.Objective{packing.MaxValue, packing.MinMakespan} {
		r, err := packing.Pack(context.Background(), packing.Problem{Objective: o, Shop: openings.Shop{Minutes: 10}}, packing.Options{})
		require.NoError(t, err)
		require.True(t, r.Complete)
		require.True(t, r.Proven)
		require.Zero(t, r.Bound)
	}
}

// Another request can be left out, so the best value never falls. Links and
// requests that must be served are left aside: they take that freedom.
func TestAnotherRequestNeverLowersTheBestValue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		p.Objective, p.Links = packing.MaxValue, nil
		for i := range p.Requests {
			p.Requests[i].Must = false
		}
		if hollow(p) {
			t.Skip("not packed exactly")
		}
		last := 0
		for n := range len(p.Requests) + 1 {
			q := p
			q.Requests = p.Requests[:n]
			r, err := packing.Pack(context.Background(), q, packing.Options{Rounds: 3000})
			require.NoError(t, err)
			require.True(t, r.Proven)
			require.GreaterOrEqual(t, r.Value, last)
			last = r.Value
		}
	})
}

// Here the exact search does not take part: there are too many groups.
func TestEveryPackingOfALargeDayKeepsAllRules(t *testing.T) {
	moved := 0
	for seed := range uint64(4) {
		p := wishDay(seed, 40)
		first := pack(t, p, 60)
		require.NotEmpty(t, first.Unplaced)

		// The day as it stands, then a stylist falls ill, and some clients who
		// come together join.
		for i := range p.Requests {
			for _, pl := range first.Placed {
				if pl.Request == p.Requests[i].ID {
					s := pl.Schedule
					p.Requests[i].Stay, p.Requests[i].Move, p.Requests[i].PerMinute = &s, 20, 1
					p.Requests[i].Value += 200
				}
			}
		}
		p = without(p, "stylist 1", openings.Span{From: 660, To: 780})
		q := openings.Query{From: 540, To: 1080, Grid: 5}
		for _, id := range []string{"mother", "daughter", "friend", "aunt"} {
			p.Requests = append(p.Requests, packing.Request{ID: id, Visit: services[0].visit, Value: 200, Query: q})
		}
		p.Links = []packing.Link{
			{A: "mother", B: "daughter", From: "start", OtherLead: true},
			{A: "aunt", B: "daughter", From: "start", Min: -60, Max: 60, OtherLead: true},
			{A: "mother", B: "friend", From: "end", Max: 30}}
		moved += len(pack(t, p, 60).Moved)
	}
	require.NotZero(t, moved)
}

func TestLinkedVisitsAreServedTogetherOrNotAtAll(t *testing.T) {
	base := wishDay(2, 15)
	base.Requests = nil
	add := func(p *packing.Problem, id string, service int) {
		p.Requests = append(p.Requests, packing.Request{ID: id, Visit: services[service].visit, Value: 50,
			Query: openings.Query{From: 540, To: 1080, Grid: 5}})
	}
	for _, tt := range []struct {
		name   string
		link   packing.Link
		served bool
	}{
		{"arrive together", packing.Link{From: "start"}, true},
		{"side by side", packing.Link{From: "start", OtherLead: true}, true},
		{"one after the other", packing.Link{From: "end", Max: 15}, true},
		{"one after the other, next day", packing.Link{From: "end", Min: 900, Max: 1000}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := base
			add(&p, "a", 1)
			add(&p, "b", 3)
			tt.link.A, tt.link.B = "a", "b"
			p.Links = []packing.Link{tt.link}
			r := pack(t, p, 500)
			require.True(t, r.Proven)
			require.Len(t, r.Placed, map[bool]int{true: 2}[tt.served])
		})
	}
}

// Seven minutes fit both stylists, but only the one who comes later leaves room
// for the two visits of five.
func TestStylistsOfOtherHoursAreNotTakenForTheSame(t *testing.T) {
	stylist := openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}
	p := packing.Problem{Objective: packing.MaxValue, Shop: openings.Shop{Minutes: 10,
		Premises: []openings.Span{{From: 0, To: 10}},
		Units: []openings.Unit{
			{ID: "early", Kind: openings.Stylist, Open: []openings.Span{{From: 0, To: 10}}},
			{ID: "late", Kind: openings.Stylist, Open: []openings.Span{{From: 3, To: 10}}}}}}
	for i, minutes := range []openings.Minute{7, 5, 5} {
		p.Requests = append(p.Requests, packing.Request{ID: string(rune('a' + i)), Value: 1, Query: openings.Query{To: 10, Grid: 1},
			Visit: openings.VisitSpec{Roles: []openings.Role{{Name: "lead", Need: stylist}},
				Phases: []openings.Phase{{Minutes: minutes, Roles: []string{"lead"}}}}})
	}
	r, err := packing.PackExactly(p)
	require.NoError(t, err)
	checkResult(t, p, r)
	require.Len(t, r.Placed, 3)
}

// Two requests for the same visit, one of which asks for a stylist who is away.
func TestRequestsForOtherStylistsAreNotTakenForTheSame(t *testing.T) {
	visit := openings.VisitSpec{Roles: []openings.Role{{Name: "lead", Need: openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}}},
		Phases: []openings.Phase{{Minutes: 5, Roles: []string{"lead"}}}}
	day := []openings.Span{{From: 0, To: 10}}
	p := packing.Problem{Objective: packing.MaxValue, Shop: openings.Shop{Minutes: 10, Premises: day,
		Units: []openings.Unit{{ID: "away", Kind: openings.Stylist}, {ID: "there", Kind: openings.Stylist, Open: day}}},
		Requests: []packing.Request{
			{ID: "a", Visit: visit, Value: 2, LeadOnly: []string{"away"}, Query: openings.Query{To: 10, Grid: 1}},
			{ID: "b", Visit: visit, Value: 1, Query: openings.Query{To: 10, Grid: 1}}}}
	r, err := packing.PackExactly(p)
	require.NoError(t, err)
	checkResult(t, p, r)
	require.Equal(t, 1, r.Value)
}

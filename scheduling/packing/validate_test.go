package packing_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

func TestPackNamesTheFaultyField(t *testing.T) {
	link := func(l packing.Link) func(p *packing.Problem) {
		return func(p *packing.Problem) { p.Links = append(p.Links, l) }
	}
	for _, tt := range []struct {
		field, problem string
		spoil          func(p *packing.Problem)
	}{
		{"objective", `is "most"`, func(p *packing.Problem) { p.Objective = "most" }},
		{"requests", "has 61 entries", func(p *packing.Problem) {
			for i := range 55 {
				r := p.Requests[0]
				r.ID = fmt.Sprintf("more %d", i)
				p.Requests = append(p.Requests, r)
			}
		}},
		{"requests[1].id", `is "a"`, func(p *packing.Problem) { p.Requests[1].ID = "a" }},
		{"requests[0].id", `is ""`, func(p *packing.Problem) { p.Requests[0].ID = "" }},
		{"requests[2].value", "is -1", func(p *packing.Problem) { p.Requests[2].Value = -1 }},
		{"requests[2].move", "is -5", func(p *packing.Problem) { p.Requests[2].Move = -5 }},
		{"requests[2].per_minute", "is -5", func(p *packing.Problem) { p.Requests[2].PerMinute = -5 }},
		{"requests[3].lead_only[1]", `is "S9"`, func(p *packing.Problem) { p.Requests[3].LeadOnly = []string{"S1", "S9"} }},
		{"requests[3].lead_only", "is given for a visit without roles", func(p *packing.Problem) {
			p.Requests[3].LeadOnly = []string{"S1"}
			p.Requests[3].Visit = openings.VisitSpec{Phases: []openings.Phase{{Minutes: 5}}}
		}},
		{"requests[4].query.from", "is 900 with to 600", func(p *packing.Problem) { p.Requests[4].Query.From, p.Requests[4].Query.To = 900, 600 }},
		{"requests[4].query.grid", "is 0", func(p *packing.Problem) { p.Requests[4].Query.Grid = 0 }},
		{"requests[5].visit.phases[0].minutes", "is 0", func(p *packing.Problem) {
			p.Requests[5].Visit = openings.VisitSpec{Phases: []openings.Phase{{}}}
		}},
		{"shop.units[0].id", "is empty", func(p *packing.Problem) { p.Shop.Units[0].ID = "" }},
		{"requests[0].stay", "C1: is of kind chair", func(p *packing.Problem) {
			p.Requests[0].Stay = cutAt(600, "C1", "C1")
		}},
		{"requests[0].stay", "nobody is bound to the role chair", func(p *packing.Problem) {
			s := cutAt(600, "S1", "C1")
			delete(s.Roles, "chair")
			p.Requests[0].Stay = s
		}},
		{"requests[0].stay", "instead of 45 minutes", func(p *packing.Problem) {
			s := cutAt(600, "S1", "C1")
			s.Phases[0].End = 640
			p.Requests[0].Stay = s
		}},
		{"requests[5].visit", "more than 300000", func(p *packing.Problem) {
			for i := range 1500 {
				p.Shop.Units = append(p.Shop.Units, openings.Unit{ID: fmt.Sprint("more ", i), Kind: "more"})
			}
			var v openings.VisitSpec
			for i := range 40 {
				need := openings.Need{Kinds: []openings.UnitKind{"more"}}
				v.Phases = append(v.Phases, openings.Phase{Minutes: 1, Pool: []openings.Need{need, need, need, need, need, need}})
				if i > 0 {
					v.Gaps = append(v.Gaps, openings.Gap{})
				}
			}
			p.Requests[5].Visit = v
		}},
		{"shop", "is open for 1000000", func(p *packing.Problem) {
			p.Shop.Minutes = 1_000_000
			p.Shop.Premises = []openings.Span{{From: 0, To: 1_000_000}}
			for i := range 600 {
				p.Shop.Units = append(p.Shop.Units, openings.Unit{ID: fmt.Sprint("more ", i), Kind: openings.Stylist})
			}
			for i := range p.Requests {
				p.Requests[i].Query.To = 1_000_000
			}
		}},
		{"links[0].a", `is "x"`, link(packing.Link{A: "x", B: "b", From: "start"})},
		{"links[0].b", `is "x"`, link(packing.Link{A: "a", B: "x", From: "start"})},
		{"links[0].b", `is "a" like a`, link(packing.Link{A: "a", B: "a", From: "start"})},
		{"links[0].from", `is "middle"`, link(packing.Link{A: "a", B: "b", From: "middle"})},
		{"links[0].min", "is 10 with max 5", link(packing.Link{A: "a", B: "b", From: "start", Min: 10, Max: 5})},
		{"links[0].other_lead", "has no roles", func(p *packing.Problem) {
			p.Requests[1].Visit = openings.VisitSpec{Phases: []openings.Phase{{Minutes: 5}}}
			p.Links = []packing.Link{{A: "a", B: "b", From: "start", OtherLead: true}}
		}},
		{"links[2]", "contradicts", func(p *packing.Problem) {
			p.Links = []packing.Link{
				{A: "a", B: "b", From: "start", Min: 10, Max: 20},
				{A: "b", B: "c", From: "start", Min: 10, Max: 20},
				{A: "a", B: "c", From: "start", Min: 0, Max: 15}}
		}},
		{"links[1]", "contradicts", func(p *packing.Problem) { // a takes 45 minutes
			p.Links = []packing.Link{
				{A: "a", B: "b", From: "end", Min: 0, Max: 5},
				{A: "a", B: "b", From: "start", Min: 0, Max: 40}}
		}},
	} {
		t.Run(tt.field+" "+tt.problem, func(t *testing.T) {
			p, _ := published(t, "t3-02")
			tt.spoil(&p)
			_, err := packing.Pack(context.Background(), p, packing.Options{Rounds: 1})
			var f scheduling.Faults
			require.ErrorAs(t, err, &f)
			require.Equal(t, tt.field, f[0].Field)
			require.Contains(t, f[0].Problem, tt.problem)
			require.NotEmpty(t, f[0].Want)
		})
	}
	p, _ := published(t, "t3-02")
	_, err := packing.Pack(context.Background(), p, packing.Options{Rounds: -1})
	require.ErrorContains(t, err, "rounds is -1")
}

// cutAt is a place of the visit of request a in t3-02.
func cutAt(at openings.Minute, lead, chair string) *openings.Schedule {
	return &openings.Schedule{Roles: map[string]string{"lead": lead, "chair": chair},
		Phases: []openings.Placed{{Phase: "cut", Start: at, End: at + 45}}}
}

func TestUnplacedSaysWhyInWords(t *testing.T) {
	for _, tt := range []struct {
		name, why string
		change    func(p *packing.Problem)
	}{
		{"nobody can do it", "no stylist has the skill colour",
			func(p *packing.Problem) {
				p.Shop.Units[1].Skills = []string{"colour"}
				p.Requests[0].Visit.Roles = append([]openings.Role(nil), p.Requests[0].Visit.Roles...)
				p.Requests[0].Visit.Roles[0].Skills = []string{"colour"}
			}},
		{"it does not fit on its own", "nothing is free for it within its limits, even without the other requests",
			func(p *packing.Problem) { p.Requests[0].Query.From, p.Requests[0].Query.To = 740, 760 }},
		{"its companion cannot be placed", "it goes together with b, and not all of these can be placed",
			func(p *packing.Problem) {
				p.Requests[1].Query.From = 770
				p.Links = []packing.Link{{A: "a", B: "b", From: "start", Min: -500, Max: 500}}
			}},
		{"others are worth more", "there is no room for it beside others that are worth as much or more",
			func(p *packing.Problem) { p.Requests[0].Value = 0 }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p, _ := published(t, "t3-02")
			tt.change(&p)
			r := pack(t, p, 3000)
			for _, u := range r.Unplaced {
				if u.Request == "a" {
					require.Equal(t, tt.why, u.Why)
					return
				}
			}
			require.Fail(t, "a has a place")
		})
	}
}

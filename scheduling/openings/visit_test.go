package openings_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// fixed gives every step of a standard service ten minutes.
func fixed(t *testing.T, name string) openings.VisitService {
	t.Helper()
	for _, s := range scheduling.StandardServices() {
		if s.Name != name {
			continue
		}
		out := openings.VisitService{Service: s, Hands: 1}
		for _, st := range s.Steps {
			out.Steps = append(out.Steps, scheduling.TimedStep{Step: st, Length: 10})
		}
		return out
	}
	t.Fatalf("no service %s", name)
	return openings.VisitService{}
}

// room has two stylists, an assistant, a chair and a basin, all day long.
func room() openings.Shop {
	day := []openings.Span{{From: 0, To: 1440}}
	return openings.Shop{Minutes: 1440, Premises: day, Units: []openings.Unit{
		{ID: "ada", Kind: openings.Stylist, Skills: []string{"straightening", "cut"}, Open: day},
		{ID: "ben", Kind: openings.Stylist, Skills: []string{"straightening", "colour", "cut"}, Open: day},
		{ID: "mina", Kind: openings.Assistant, Open: day},
		{ID: "chair", Kind: openings.Chair, Open: day, Changeover: 20},
		{ID: "basin", Kind: openings.Basin, Open: day},
	}}
}

// placeAt composes services and places them at minute 600.
func placeAt(t *testing.T, services ...openings.VisitService) (*openings.VisitPlan, openings.Schedule) {
	t.Helper()
	p, err := openings.ComposeVisit(services)
	require.NoError(t, err)
	snap, err := openings.NewSnapshot(room())
	require.NoError(t, err)
	plan, err := openings.Compile(p.Spec, snap)
	require.NoError(t, err)
	require.Empty(t, plan.Missing())
	set, err := plan.Search(snap, openings.Query{From: 600, To: 600, Grid: 1})
	require.NoError(t, err)
	sch, ok := set.Assign(600, "")
	require.True(t, ok)
	require.Empty(t, openings.Check(sch, p.Spec, room()))
	return p, sch
}

// The waits are common practice: none while product is on, little at the
// basin, ten minutes before and after drying.
func TestStraighteningWaitsOnlyWhereHairMayWait(t *testing.T) {
	p, _ := placeAt(t, fixed(t, "Straightening"))
	var longest []int
	for _, g := range p.Spec.Gaps {
		require.Zero(t, g.Min)
		require.Equal(t, []string{openings.RoleChair}, g.Hold)
		longest = append(longest, int(g.Max))
	}
	require.Equal(t, []int{10, 5, 5, 0, 0, 5, 10, 10, 0, 0, 10, 10, 5}, longest)
}

func TestAnAssistantWashesWhileTheStylistIsAway(t *testing.T) {
	p, sch := placeAt(t, fixed(t, "Straightening"))
	require.Equal(t, []openings.Use{{Unit: "chair", Role: "chair"}, {Unit: "basin", Role: "basin"}, {Unit: "mina", Role: "assistant"}}, p.Uses(sch, 1))
	var ada []openings.PartKind
	for _, part := range p.Parts(sch) {
		if part.Unit == "ada" {
			ada = append(ada, part.Kind)
		}
	}
	require.Equal(t, []openings.PartKind{openings.PartHandsOn, openings.PartAway, openings.PartHandsOn, openings.PartWatched,
		openings.PartAway, openings.PartHandsOn, openings.PartWatched, openings.PartAway, openings.PartHandsOn}, ada)
}

func TestColourThatWorksAloneIsApartFromTheRinse(t *testing.T) {
	p, sch := placeAt(t, fixed(t, "Root colour"))
	lead := p.LeadOf(sch, 0)
	var away [][]int
	for _, part := range p.Parts(sch) {
		if part.Unit == lead && part.Kind == openings.PartAway {
			away = append(away, part.Steps)
		}
	}
	require.Equal(t, [][]int{{1}, {2}}, away)
}

func TestOneStylistLeadsTheVisitUnlessAnotherIsNamed(t *testing.T) {
	cut, colour := fixed(t, "Dry cut"), fixed(t, "Root colour")
	p, sch := placeAt(t, cut, colour)
	require.Equal(t, "ben", p.LeadOf(sch, 0), "the one who can do both")
	cut.LeadID, colour.LeadID = "ada", "ben"
	p, sch = placeAt(t, cut, colour)
	require.Equal(t, "ada", p.LeadOf(sch, 0))
	require.Equal(t, "ben", p.LeadOf(sch, 1))
	colour.LeadID = ""
	p, err := openings.ComposeVisit([]openings.VisitService{cut, colour})
	require.NoError(t, err)
	require.Len(t, p.Spec.Roles, 2, "one stylist and the chair")
	_, err = openings.ComposeVisit(nil)
	require.ErrorContains(t, err, "services")
}

func TestClearingIsTheMostThatAnybodyAsksFor(t *testing.T) {
	chemical, cut := fixed(t, "Straightening"), fixed(t, "Dry cut")
	for _, tt := range []struct {
		name     string
		services []openings.VisitService
		want     openings.Minute
	}{
		{"one service", []openings.VisitService{cut}, 3},
		{"the longer of two", []openings.VisitService{chemical, cut}, 10},
		{"a service that leaves it to the chair", []openings.VisitService{plain(cut)}, 20},
		{"one that asks beside one that does not", []openings.VisitService{plain(chemical), cut}, 20},
	} {
		p, err := openings.ComposeVisit(tt.services)
		require.NoError(t, err)
		require.Equal(t, tt.want, p.Spec.Clearing(openings.Chair, 20), tt.name)
	}
}

func plain(s openings.VisitService) openings.VisitService {
	s.Service.Clear = nil
	return s
}

func TestTheChairIsFreeWhileTheClientPaysAtTheDesk(t *testing.T) {
	s := fixed(t, "Straightening")
	last := &s.Steps[len(s.Steps)-1]
	last.Where = scheduling.AtDesk
	p, sch := placeAt(t, s)
	end := sch.Phases[len(sch.Phases)-1].End
	for _, r := range p.Reservations(sch) {
		if r.Unit == "chair" {
			require.Equal(t, openings.Span{From: 600, To: end - 10}, r.Span)
		}
	}
	cut := fixed(t, "Dry cut")
	p, sch = placeAt(t, s, cut)
	for _, r := range p.Reservations(sch) {
		if r.Unit == "chair" {
			require.Equal(t, sch.Phases[len(sch.Phases)-1].End, r.To, "she comes back to it for the cut")
		}
	}
}

func TestASecondPairOfHandsSharesOnlyTheStepsMarked(t *testing.T) {
	s := fixed(t, "Straightening")
	s.Hands = 2
	p, sch := placeAt(t, s)
	for i, st := range p.Steps {
		helpers := 0
		for _, u := range p.Uses(sch, i) {
			if u.Role == openings.RoleHelper {
				helpers++
			}
		}
		want := 0
		if st.Helper {
			want = 1
		}
		require.Equal(t, want, helpers, st.Kind)
	}
}

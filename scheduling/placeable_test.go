package scheduling_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// means is a salon with everything.
func means() scheduling.Means {
	return scheduling.Means{Leads: [][]string{{"straightening", "cut"}, {"straightening", "colour"}}, Assistants: 1, Chairs: 2, Basins: 1, LongestDay: 540,
		Least: map[scheduling.StepKind]int{scheduling.Process: 10}, AssistantSteps: scheduling.StandardAssistantSteps()}
}

func TestTheStandardServicesCanBePlaced(t *testing.T) {
	for _, s := range scheduling.StandardServices() {
		concerns, err := s.Placeable(means())
		require.NoError(t, err, s.Name)
		require.Empty(t, concerns, s.Name)
	}
}

func TestAServiceThatCanNeverBePlacedIsRefusedWithEveryReason(t *testing.T) {
	cut := scheduling.Step{Kind: "cut", Label: "cut", Who: scheduling.ByLead, Where: scheduling.AtChair, Minutes: 30, HandsOn: true}
	basin, assisted, long, waits := cut, cut, cut, cut
	basin.Where = scheduling.AtBasin
	assisted.Who = scheduling.ByAssistant
	long.Minutes = 541
	waits.Minutes, waits.WaitMin, waits.WaitMax = 270, 240, 240
	process := scheduling.Step{Kind: scheduling.Process, Formula: scheduling.FormulaHead, Who: scheduling.ByLead}
	exactly := cut
	exactly.Minutes = 540
	for name, tt := range map[string]struct {
		skill  string
		steps  []scheduling.Step
		change func(*scheduling.Means)
		want   []string
	}{
		"a day that is just long enough":            {"cut", []scheduling.Step{exactly}, nil, nil},
		"a skill that nobody has":                   {"perm", []scheduling.Step{cut}, nil, []string{"skill"}},
		"no skill at all":                           {"", []scheduling.Step{cut}, nil, nil},
		"no basin":                                  {"cut", []scheduling.Step{cut, basin}, func(m *scheduling.Means) { m.Basins = 0 }, []string{"steps[1].where"}},
		"no chair":                                  {"cut", []scheduling.Step{cut}, func(m *scheduling.Means) { m.Chairs = 0 }, []string{"steps"}},
		"a step that no assistant may do":           {"cut", []scheduling.Step{cut, assisted}, nil, []string{"steps[1].who"}},
		"longer than any day":                       {"cut", []scheduling.Step{long}, nil, []string{"steps"}},
		"longer than any day with its waits":        {"cut", []scheduling.Step{waits, cut}, func(m *scheduling.Means) { m.LongestDay = 539 }, []string{"steps"}},
		"a wait after the last step, which is none": {"cut", []scheduling.Step{cut, waits}, func(m *scheduling.Means) { m.LongestDay = 300 }, nil},
		"longer than any day with the least hair":   {"cut", []scheduling.Step{exactly, process}, func(m *scheduling.Means) { m.LongestDay = 549 }, []string{"steps"}},
		"all at once": {"perm", []scheduling.Step{long, basin, assisted}, func(m *scheduling.Means) { m.Basins = 0 },
			[]string{"skill", "steps", "steps[1].where", "steps[2].who"}},
	} {
		t.Run(name, func(t *testing.T) {
			m := means()
			if tt.change != nil {
				tt.change(&m)
			}
			_, err := scheduling.Service{Skill: tt.skill, Steps: tt.steps}.Placeable(m)
			if tt.want == nil {
				require.NoError(t, err)
				return
			}
			require.Equal(t, tt.want, fields(t, err))
		})
	}
}

func fields(t *testing.T, err error) []string {
	t.Helper()
	var f scheduling.Faults
	require.ErrorAs(t, err, &f)
	var out []string
	for _, x := range f {
		require.NotEmpty(t, x.Want, x.Field)
		out = append(out, x.Field)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// A salon that is being set up may enter its services first.
func TestAnEmptySalonGetsConcernsInstead(t *testing.T) {
	for _, s := range scheduling.StandardServices() {
		concerns, err := s.Placeable(scheduling.Means{AssistantSteps: scheduling.StandardAssistantSteps()})
		require.NoError(t, err, s.Name)
		require.Equal(t, []string{scheduling.ConcernNoStaff, scheduling.ConcernNoStations, scheduling.ConcernNoHours}, codes(concerns), s.Name)
	}
}

func codes(list []scheduling.Concern) []string {
	var out []string
	for _, c := range list {
		out = append(out, c.Code)
	}
	return out
}

func TestAHelperWhomNobodyCouldBeIsOnlyAConcern(t *testing.T) {
	s := straightening(t)
	for name, tt := range map[string]struct {
		leads      [][]string
		assistants int
		want       string
	}{
		"two who straighten":   {[][]string{{"straightening"}, {"straightening"}}, 0, ""},
		"one who straightens":  {[][]string{{"straightening"}, {"cut"}}, 1, "apply solution, iron, neutralize, finish with the iron"},
		"one person in all":    {[][]string{{"straightening"}}, 0, "apply solution, dry before ironing, iron, neutralize, dry, finish with the iron"},
		"one and an assistant": {[][]string{{"straightening"}}, 1, "apply solution, iron, neutralize, finish with the iron"},
	} {
		t.Run(name, func(t *testing.T) {
			m := means()
			m.Leads, m.Assistants = tt.leads, tt.assistants
			concerns, err := s.Placeable(m)
			require.NoError(t, err)
			if tt.want == "" {
				require.Empty(t, concerns)
				return
			}
			require.Equal(t, []string{scheduling.ConcernNoHelper}, codes(concerns))
			require.Contains(t, concerns[0].Text, ": "+tt.want+".")
		})
	}
}

func TestStepsThatFollowTheHairHaveToGoTogether(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(*scheduling.Service)
		want   []string
	}{
		"the same kind twice":       {func(s *scheduling.Service) { s.Steps = append(s.Steps, s.Steps[13]) }, []string{"steps[14].kind"}},
		"the iron before the rinse": {func(s *scheduling.Service) { s.Steps[5], s.Steps[7] = s.Steps[7], s.Steps[5] }, []string{"steps[6].kind", "steps[7].kind"}},
		"solution without chemicals": {func(s *scheduling.Service) { s.Chemical, s.Aftercare = false, false },
			[]string{"chemical"}},
		"aftercare without chemicals": {func(s *scheduling.Service) { s.Chemical, s.Steps = false, s.Steps[:3] }, []string{"aftercare"}},
		"neutralizer that stays":      {func(s *scheduling.Service) { s.Steps = slices.Delete(s.Steps, 10, 11) }, []string{"steps[8].kind"}},
		"a retouch that asks for no hair": {func(s *scheduling.Service) {
			s.Retouch, s.Steps = true, []scheduling.Step{{Kind: "cut", Who: scheduling.ByLead, Minutes: 5, HandsOn: true}}
		}, []string{"retouch"}},
		"steps of more than a day": {func(s *scheduling.Service) {
			s.Steps = nil
			for range 3 {
				s.Steps = append(s.Steps, scheduling.Step{Kind: "rest", Who: scheduling.ByLead, Minutes: 481, HandsOn: true})
			}
		}, []string{"steps"}},
		"a step of more than ten hours": {func(s *scheduling.Service) {
			s.Steps = []scheduling.Step{{Kind: "rest", Who: scheduling.ByLead, Minutes: 601, HandsOn: true}}
		}, []string{"steps[0].minutes"}},
		"no steps": {func(s *scheduling.Service) { s.Steps = nil }, []string{"steps"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := straightening(t)
			tt.change(&s)
			require.Equal(t, tt.want, fields(t, s.Validate()))
		})
	}
}

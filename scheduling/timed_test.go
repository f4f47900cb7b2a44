package scheduling_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chairblock/scheduling"
)

// booked are the minutes of shoulder-length hair in 270 minutes (derived twice
// by independent programs).
func booked() map[scheduling.StepKind][]int {
	return map[scheduling.StepKind][]int{
		scheduling.Talk: {18}, scheduling.Wash: {11}, scheduling.Prep: {10}, scheduling.Apply: {30}, scheduling.Process: {15},
		scheduling.Rinse1: {10}, scheduling.Dry1: {15}, scheduling.Iron: {92}, scheduling.Neutral: {18}, scheduling.Dwell: {5},
		scheduling.Rinse2: {8}, scheduling.Dry2: {17}, scheduling.Finish: {15}, scheduling.Close: {6},
	}
}

// inTwoStages are the minutes of such hair in two stages, twice.
func inTwoStages() map[scheduling.StepKind][]int {
	b := booked()
	delete(b, scheduling.Apply)
	delete(b, scheduling.Process)
	b[scheduling.Apply1], b[scheduling.Process1], b[scheduling.Check1] = []int{13, 12}, []int{15, 15}, []int{2, 2}
	b[scheduling.Apply2], b[scheduling.Process2], b[scheduling.Check2] = []int{3, 2}, []int{12, 12}, []int{2, 2}
	b[scheduling.RinseShort] = []int{5}
	return b
}

func serviceNamed(t *testing.T, name string) scheduling.Service {
	t.Helper()
	for _, s := range scheduling.StandardServices() {
		if s.Name == name {
			return s
		}
	}
	t.Fatalf("no service is called %q", name)
	return scheduling.Service{}
}

func straightening(t *testing.T) scheduling.Service {
	t.Helper()
	s := scheduling.StandardServices()[0]
	require.Equal(t, "Straightening", s.Name)
	return s
}

func TestStandardServicesCanBeCarriedOut(t *testing.T) {
	for _, s := range scheduling.StandardServices() {
		require.NoError(t, s.Validate(), s.Name)
		require.NotNil(t, s.Clear, s.Name)
	}
}

func TestEveryStepOfAServiceGetsItsMinutes(t *testing.T) {
	steps, err := straightening(t).Time(booked(), 1)
	require.NoError(t, err)
	total := 0
	for _, st := range steps {
		total += st.Length
	}
	require.Len(t, steps, 14)
	require.Equal(t, 270, total)
}

func TestBatchesRepeatApplicationProcessingAndAShortRinse(t *testing.T) {
	b := booked()
	b[scheduling.Apply], b[scheduling.Process], b[scheduling.RinseShort] = []int{15, 16}, []int{15, 15}, []int{5}
	steps, err := straightening(t).Time(b, 2)
	require.NoError(t, err)
	var kinds []scheduling.StepKind
	for _, st := range steps[3:9] {
		kinds = append(kinds, st.Kind)
	}
	require.Equal(t, []scheduling.StepKind{scheduling.Apply, scheduling.Process, scheduling.RinseShort, scheduling.Apply,
		scheduling.Process, scheduling.Rinse1}, kinds)
	require.Equal(t, scheduling.AtBasin, steps[5].Where)
	require.Equal(t, 31, scheduling.Exposure(steps), "the longer of the two batches")
}

func TestStepsWithoutMinutesAreNamed(t *testing.T) {
	b := booked()
	delete(b, scheduling.Iron)
	_, err := straightening(t).Time(b, 1)
	var f scheduling.Faults
	require.ErrorAs(t, err, &f)
	require.Len(t, f, 1)
	require.Equal(t, "steps[7]", f[0].Field)

	cut := scheduling.StandardServices()[3]
	_, err = cut.Time(nil, 2)
	require.ErrorAs(t, err, &f)
	require.Equal(t, "batches", f[0].Field)
}

func TestExposureCountsWaitsAndFixedSteps(t *testing.T) {
	s := straightening(t)
	steps, err := s.Time(booked(), 1)
	require.NoError(t, err)
	require.Equal(t, 45, scheduling.Exposure(steps))
	for i := range s.Steps {
		if s.Steps[i].Kind == scheduling.Apply {
			s.Steps[i].WaitMax = 120
		}
		if s.Steps[i].Kind == scheduling.Process {
			s.Steps[i].Formula, s.Steps[i].Minutes = "", 150
		}
	}
	steps, err = s.Time(booked(), 1)
	require.NoError(t, err)
	require.Equal(t, 30+120+150, scheduling.Exposure(steps))
	require.Zero(t, scheduling.Exposure(steps[:2]), "nothing is applied")
}

func TestLooksCountFromTheFirstStrand(t *testing.T) {
	steps, err := straightening(t).Time(booked(), 1)
	require.NoError(t, err)
	scheduling.SetLooks(steps, 10, 5)
	for _, st := range steps {
		switch st.Kind {
		case scheduling.Process: // 30 minutes after the first strand: looks at 35 and 40, the end at 45 is a check
			require.Equal(t, []int{5, 10}, st.Looks)
		default:
			require.Empty(t, st.Looks, st.Kind)
		}
	}
}

func TestBatchesRepeatBothStagesAndAShortRinse(t *testing.T) {
	s := serviceNamed(t, "Straightening in two stages")
	require.True(t, s.TwoStage())
	require.True(t, s.InBatches())
	require.False(t, straightening(t).TwoStage())
	steps, err := s.Time(inTwoStages(), 2)
	require.NoError(t, err)
	var kinds []scheduling.StepKind
	for _, st := range steps[3:17] {
		kinds = append(kinds, st.Kind)
	}
	stages := []scheduling.StepKind{scheduling.Apply1, scheduling.Process1, scheduling.Check1, scheduling.Apply2, scheduling.Process2, scheduling.Check2}
	require.Equal(t, append(append(append(stages, scheduling.RinseShort), stages...), scheduling.Rinse1), kinds)
	require.Equal(t, 13+15+2+3+12+2, scheduling.Exposure(steps), "the longer of the two batches, with both waits and checks")

	var planned []scheduling.PlannedStep
	for _, st := range steps {
		planned = append(planned, scheduling.PlannedStep{Kind: st.Kind, Length: st.Length, Looks: st.Looks})
	}
	again, err := s.Retime(planned)
	require.NoError(t, err)
	require.Equal(t, steps, again)
}

func TestLooksCountAnewFromACheck(t *testing.T) {
	b := inTwoStages()
	b[scheduling.Apply1], b[scheduling.Process2] = []int{22}, []int{13}
	steps, err := serviceNamed(t, "Straightening in two stages").Time(b, 1)
	require.NoError(t, err)
	scheduling.SetLooks(steps, 10, 5)
	for _, st := range steps {
		switch st.Kind {
		case scheduling.Process1: // 22 minutes after the first strand: looks at 25, 30 and 35, the check at 37
			require.Equal(t, []int{3, 8, 13}, st.Looks)
		case scheduling.Process2: // the check ends at 39, the ends are wetted at 42: looks at 44 and 49, the end at 55 is a check
			require.Equal(t, []int{2, 7}, st.Looks)
		default:
			require.Empty(t, st.Looks, st.Kind)
		}
	}
}

func TestStagesThatDoNotBelongTogetherAreRefused(t *testing.T) {
	whole := serviceNamed(t, "Straightening in two stages")
	at := func(k scheduling.StepKind) int {
		return slices.IndexFunc(whole.Steps, func(st scheduling.Step) bool { return st.Kind == k })
	}
	for _, tt := range []struct {
		name   string
		change func(*scheduling.Service)
		want   string
	}{
		{"a retouch", func(s *scheduling.Service) { s.Retouch = true }, "retouch is true for solution in two stages"},
		{"no second check", func(s *scheduling.Service) {
			s.Steps = slices.Delete(s.Steps, at(scheduling.Check2), at(scheduling.Check2)+1)
		}, "steps[3].kind begins two stages that are not complete; expected apply_1, process_1, check_1, apply_2, process_2, check_2 one after the other"},
		{"checked before it works", func(s *scheduling.Service) {
			i := at(scheduling.Process1)
			s.Steps[i], s.Steps[i+1] = s.Steps[i+1], s.Steps[i]
		}, "not complete"},
		{"no rinse", func(s *scheduling.Service) { s.Steps[at(scheduling.Rinse1)].Where = scheduling.AtChair }, "not complete"},
		{"in one stage as well", func(s *scheduling.Service) {
			s.Steps = append(s.Steps, straightening(t).Steps[3:6]...)
		}, "beside steps that do so in one"},
		{"twice", func(s *scheduling.Service) { s.Steps = append(s.Steps, s.Steps[3:10]...) }, "not complete"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := whole
			s.Steps = slices.Clone(whole.Steps)
			tt.change(&s)
			require.ErrorContains(t, s.Validate(), tt.want)
		})
	}
}

// A booked visit keeps its minutes when it is placed anew, whatever the order
// and the lengths of its steps.
func TestRetimeIsTheInverseOfTime(t *testing.T) {
	kinds := []scheduling.StepKind{scheduling.Talk, scheduling.Wash, scheduling.Apply, scheduling.Process, scheduling.Rinse1, "cut", "dry"}
	rapid.Check(t, func(t *rapid.T) {
		var s scheduling.Service
		minutes := map[scheduling.StepKind][]int{}
		for range rapid.IntRange(1, 12).Draw(t, "steps") {
			st := scheduling.Step{Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), Minutes: rapid.IntRange(1, 40).Draw(t, "minutes")}
			if rapid.Bool().Draw(t, "formula") {
				st.Formula, st.Minutes = scheduling.FormulaHead, 0
				minutes[st.Kind] = append(minutes[st.Kind], rapid.IntRange(1, 40).Draw(t, "estimate"))
			}
			s.Steps = append(s.Steps, st)
		}
		steps, err := s.Time(minutes, 1)
		require.NoError(t, err)
		var planned []scheduling.PlannedStep
		for _, st := range steps {
			planned = append(planned, scheduling.PlannedStep{Kind: st.Kind, Length: st.Length})
		}
		again, err := s.Retime(planned)
		require.NoError(t, err)
		require.Equal(t, steps, again)
	})
}

func TestStepsOfAnotherServiceCannotBeRetimed(t *testing.T) {
	_, err := straightening(t).Retime([]scheduling.PlannedStep{{Kind: "cut", Length: 30}})
	require.ErrorContains(t, err, "steps")
}

func TestAServiceThatContradictsItselfIsRefused(t *testing.T) {
	lead := scheduling.Step{Kind: "cut", Who: scheduling.ByLead, Where: scheduling.AtChair, Minutes: 30, HandsOn: true}
	for name, tt := range map[string]struct {
		change func(*scheduling.Step)
		field  string
	}{
		"no length":                  {func(s *scheduling.Step) { s.Minutes = 0 }, "steps[1].minutes"},
		"a formula for no kind":      {func(s *scheduling.Step) { s.Minutes, s.Formula = 0, scheduling.FormulaHead }, "steps[1].kind"},
		"both length and formula":    {func(s *scheduling.Step) { s.Kind, s.Formula = scheduling.Iron, scheduling.FormulaHead }, "steps[1].minutes"},
		"a wait that cannot be":      {func(s *scheduling.Step) { s.WaitMin, s.WaitMax = 6, 5 }, "steps[1].wait_min_minutes"},
		"hands on with nobody there": {func(s *scheduling.Step) { s.Who = scheduling.ByNobody }, "steps[1].who"},
		"watched with hands on":      {func(s *scheduling.Step) { s.Watched = true }, "steps[1].watched"},
		"a name of two words":        {func(s *scheduling.Step) { s.Kind = "dry cut" }, "steps[1].kind"},
	} {
		t.Run(name, func(t *testing.T) {
			st := lead
			tt.change(&st)
			err := scheduling.Service{Name: "Cut", Steps: []scheduling.Step{lead, st}}.Validate()
			var f scheduling.Faults
			require.ErrorAs(t, err, &f)
			require.Equal(t, tt.field, f[0].Field)
		})
	}
	st := lead
	st.Who = scheduling.ByAssistant
	require.ErrorContains(t, scheduling.Service{Steps: []scheduling.Step{st}}.Validate(), "stylist in charge")
}

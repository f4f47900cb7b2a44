package scheduling

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestEveryStepOfTheStandardServicesSaysWhatToWatchFor(t *testing.T) {
	for _, s := range StandardServices() {
		require.NoError(t, s.Validate(), s.Name)
		for _, st := range s.Steps {
			require.GreaterOrEqual(t, len(st.WatchFor), 2, "%s: %s", s.Name, st.Kind)
			require.LessOrEqual(t, len(st.WatchFor), 4, "%s: %s", s.Name, st.Kind)
		}
	}
	for _, k := range append(formulaKinds, RinseShort) {
		require.NotEmpty(t, StandardWatchFor(Step{Kind: k, Formula: FormulaHead}), k)
	}
	require.Empty(t, StandardWatchFor(Step{Kind: "beard"}))
}

// Common practice, no source: what a teacher of the trade says first.
func TestTheLinesSayWhatTheTradeTeachesFirst(t *testing.T) {
	for kind, want := range map[StepKind][]string{
		Apply:   {"(?i)gloves", "nape", "off_scalp", "not comb"},
		Apply1:  {"nape", "off_scalp", "not comb"},
		Rinse1:  {"nape first", "eyes"},
		Iron:    {"(?i)never slide a closed iron", "(?i)tap at the roots", "(?i)steam or a hiss: stop, dry more"},
		Neutral: {"(?i)saturate", "(?i)gloves"},
	} {
		text := strings.Join(StandardWatchFor(Step{Kind: kind, Formula: FormulaHead}), "\n")
		for _, w := range want {
			require.Regexp(t, w, text, kind)
		}
	}
	require.NotContains(t, strings.Join(StandardWatchFor(Step{Kind: Wash}), "\n"), "solution", "an ordinary wash has none")
}

func TestALineToWatchForIsFilledWithTheSalonsFigures(t *testing.T) {
	figures := map[string]string{FigureOffScalp: "1 in"}
	require.Equal(t, []string{"keep 1 in off", "{no_such} {dwell}"}, Fill([]string{"keep {off_scalp} off", "{no_such} {dwell}"}, figures))
	require.Empty(t, Fill(nil, figures))
	for _, line := range watchFor[Apply] {
		require.NotContains(t, Fill([]string{line}, figures)[0], "{")
	}
}

func TestAStepThatHoldsOrSaysWhatItCannotIsRefused(t *testing.T) {
	cut := Step{Kind: "cut", Who: ByLead, Where: AtChair, Minutes: 30, HandsOn: true}
	basin, desk := cut, cut
	basin.Where, desk.Where = AtBasin, AtDesk
	long := strings.Repeat("x", MaxWatchForLength+1)
	for name, tt := range map[string]struct {
		first  Step
		after  Step
		change func(*Step)
		field  string
	}{
		"a basin where there is none":       {cut, cut, func(s *Step) { s.Held = []Held{HeldBasin} }, "steps[0].held_while_waiting[0]"},
		"nothing while the client sits":     {cut, cut, func(s *Step) { s.Held = []Held{HeldNothing} }, "steps[0].held_while_waiting[0]"},
		"nothing beside something":          {cut, desk, func(s *Step) { s.Held = []Held{HeldLead, HeldNothing} }, "steps[0].held_while_waiting[1]"},
		"the same twice":                    {basin, cut, func(s *Step) { s.Held = []Held{HeldBasin, HeldBasin} }, "steps[0].held_while_waiting[1]"},
		"what cannot be held":               {cut, cut, func(s *Step) { s.Held = []Held{"client"} }, "steps[0].held_while_waiting[0]"},
		"product that may work for longer":  {cut, cut, func(s *Step) { s.Kind, s.MayOverrun = Neutral, true }, "steps[0].may_overrun"},
		"too many lines":                    {cut, cut, func(s *Step) { s.WatchFor = make([]string, MaxWatchFor+1) }, "steps[0].watch_for"},
		"a line that is too long":           {cut, cut, func(s *Step) { s.WatchFor = []string{"", long} }, "steps[0].watch_for[1]"},
		"a placeholder that nothing fills":  {cut, cut, func(s *Step) { s.WatchFor = []string{"keep {distance}"} }, "steps[0].watch_for[0]"},
		"a brace without its other":         {cut, cut, func(s *Step) { s.WatchFor = []string{"{off_scalp"} }, "steps[0].watch_for[0]"},
		"a placeholder in another's braces": {cut, cut, func(s *Step) { s.WatchFor = []string{"{{off_scalp}}"} }, "steps[0].watch_for[0]"},
	} {
		t.Run(name, func(t *testing.T) {
			tt.change(&tt.first)
			var f Faults
			require.ErrorAs(t, Service{Steps: []Step{tt.first, tt.after}}.Validate(), &f)
			require.Equal(t, tt.field, f[0].Field)
		})
	}
	for _, held := range [][]Held{{HeldNothing}, {HeldChair}, {HeldLead, HeldChair}} {
		st := cut
		st.Held = held
		require.NoError(t, Service{Steps: []Step{st, desk}}.Validate(), "%v", held)
	}
}

// The chair is held as long as the client sits in it; what is said beyond that
// survives, what is held anyway does not have to be said.
func TestTheChairIsHeldUntilOnlyTheDeskFollows(t *testing.T) {
	cut := Step{Kind: "cut", Who: ByLead, Where: AtChair, Minutes: 30, HandsOn: true}
	desk := cut
	desk.Where = AtDesk
	s := Service{Steps: []Step{cut, desk, cut, desk, desk}}
	var got []Held
	for i := range s.Steps {
		require.Len(t, s.HeldAfter(i), 1)
		got = append(got, s.HeldAfter(i)...)
	}
	require.Equal(t, []Held{HeldChair, HeldChair, HeldNothing, HeldNothing, HeldNothing}, got)
	for i := range s.Steps {
		s.Steps[i].Held = []Held{got[i]}
	}
	s.Steps[2].Held = []Held{HeldChair}
	s.TidyHeld()
	for i, st := range s.Steps {
		require.Equal(t, i == 2, len(st.Held) > 0, i)
	}
}

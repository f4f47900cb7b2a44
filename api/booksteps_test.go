package api

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

func TestOfStartsThatEndTogetherTheLatestIsOffered(t *testing.T) {
	at := func(h, m int) time.Time { return time.Date(2026, 12, 10, h, m, 0, 0, time.UTC) }
	list := []OpeningBody{
		{Start: at(10, 45), End: at(15, 38), LeadID: "a", WaitMinutes: 23},
		{Start: at(11, 0), End: at(15, 38), LeadID: "a", WaitMinutes: 8},
		{Start: at(11, 0), End: at(15, 38), LeadID: "b", WaitMinutes: 8},
		{Start: at(13, 0), End: at(17, 30), LeadID: "a"},
	}
	require.Equal(t, list[1:], leastWaiting(list))
	require.Empty(t, leastWaiting(nil))
	var many []OpeningBody
	for i := range 3 * mostTimes {
		many = append(many, OpeningBody{Start: at(9, i), End: at(12, i)})
	}
	require.Equal(t, many[:mostTimes], leastWaiting(many))
}

func TestTheWorkingBelongsToTheStepOfItsKind(t *testing.T) {
	step := func(k scheduling.StepKind, formula string) openings.PlanStep {
		return openings.PlanStep{TimedStep: scheduling.TimedStep{Step: scheduling.Step{Kind: k, Formula: formula}}}
	}
	// A service without a wash, with a step of the salon's own, in two batches.
	c := &composed{plan: &openings.VisitPlan{Steps: []openings.PlanStep{
		step("tea", ""), step(scheduling.Apply, scheduling.FormulaHead), step(scheduling.Apply, scheduling.FormulaHead), step(scheduling.Iron, scheduling.FormulaHead),
	}}}
	e := chairtime.Estimate{Steps: []chairtime.StepTime{
		{Kind: scheduling.Wash, Mean: 1, Working: "wash"}, {Kind: scheduling.Apply, Mean: 2, Working: "first"},
		{Kind: scheduling.Apply, Mean: 3, Working: "second"}, {Kind: scheduling.Iron, Mean: 4, Working: "iron"},
	}}
	lines := []pages.EstimateLine{{Expected: 10}, {}, {}, {}}
	workings(lines, c, e)
	require.Equal(t, []pages.EstimateLine{{Expected: 10}, {Expected: 2, Working: "first"}, {Expected: 3, Working: "second"}, {Expected: 4, Working: "iron"}}, lines)
}

func TestAVisitWithoutMessagesSaysWhy(t *testing.T) {
	due := []store.Reminder{{Kind: "aftercare_end", State: store.Waiting}}
	for _, tt := range []struct {
		client store.Client
		list   []store.Reminder
		why    string
	}{
		{store.Client{ContactBy: "none"}, due, "neither a mail address nor a telephone number is noted"},
		{store.Client{ContactBy: "none", Mail: "a@example.org"}, due, "the client wishes none"},
		{store.Client{ContactBy: "mail", Mail: "a@example.org"}, nil, "none is due"},
	} {
		x := visitFacts{client: tt.client}
		x.say(tt.list, time.UTC)
		require.Empty(t, x.messages)
		require.Equal(t, tt.why, x.noMessages)
	}
	x := visitFacts{client: store.Client{ContactBy: "mail"}}
	x.say(due, time.UTC)
	require.Equal(t, "aftercare end", x.messages[0].What)
}

func TestAStretchThatWorksAloneSaysWhoGoesOn(t *testing.T) {
	noon := time.Date(2026, 12, 10, 12, 0, 0, 0, time.UTC)
	x := &dayView{n: salonDay{loc: time.UTC}, names: map[string]string{"n": "Noor", "m": "Mina"}}
	for _, tt := range []struct {
		role, unit string
		back       bool
		next       string
	}{
		{openings.RoleAssistant, "m", false, "rinse from 12:00, Mina"},
		{openings.RoleAssistant, "n", true, ""},
	} {
		v := store.Visit{Steps: []store.VisitStep{{Label: "colour working", End: noon}, {Label: "rinse", Start: noon, Units: []store.StepUnit{{Unit: tt.unit, Role: tt.role}}}}}
		p := pages.Part{To: noon}
		x.goesOn(v, 0, "n", &p)
		require.Equal(t, tt.back, p.BackBy != nil)
		require.Equal(t, tt.next, p.Next)
	}
	last := pages.Part{}
	x.goesOn(store.Visit{Steps: make([]store.VisitStep, 1)}, 0, "n", &last)
	require.Nil(t, last.BackBy)
}

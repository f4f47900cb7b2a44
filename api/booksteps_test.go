package api

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/ics"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

func TestWithoutANumberTheEmergencyServicesAreCalled(t *testing.T) {
	for number, want := range map[string]string{"": "call the emergency services.", "911": "call 911."} {
		require.Contains(t, rinseWords(number)[4], want)
		require.Contains(t, fmt.Sprint(ics.AftercareDry(number)), strings.TrimSuffix(want, ".")+" at once.")
	}
}

func TestTheTimesThatAreShownDiffer(t *testing.T) {
	at := time.Date(2026, 6, 11, 9, 0, 0, 0, time.UTC)
	var list []OpeningBody
	for _, lead := range []string{"ada", "bo"} {
		for day := range 5 {
			for quarter := range 16 {
				start := at.AddDate(0, 0, day).Add(time.Duration(quarter) * 15 * time.Minute)
				list = append(list, OpeningBody{Start: start, End: start.Add(time.Hour), LeadID: lead})
			}
		}
	}
	said := func(n int) (out []string) {
		for _, o := range varied(list, n, time.UTC) {
			out = append(out, fmt.Sprint(o.LeadID, o.Start.Format(" 2 15:04")))
		}
		return out
	}
	require.Equal(t, []string{"ada 11 09:00", "ada 11 11:00", "ada 12 09:00", "ada 12 11:00", "ada 13 09:00", "ada 13 11:00", "ada 14 09:00", "ada 14 11:00"}, said(8))
	require.Equal(t, "ada 11 10:00", said(16)[1], "closer together when more are asked for")
	require.Len(t, said(200), 160, "at last all of them")
	require.Empty(t, varied(nil, 8, time.UTC))
	require.Len(t, varied(list[:3], 8, time.UTC), 1)
}

func TestHowManyWereFoundIsSaid(t *testing.T) {
	for n, want := range map[int]string{0: "Nobody found: fill in who is new.", 1: "1 client found.", 3: "3 clients found.", 9: "More than these: type on."} {
		require.Equal(t, want, foundWords(n))
	}
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
	workings(lines, c, 0, e)
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
		{store.Client{ContactBy: "not_asked"}, due, "neither a mail address nor a telephone number is noted"},
		{store.Client{ContactBy: "not_asked", Phone: "+4930901820"}, due, "nobody has asked her yet how she wants to hear of it"},
		{store.Client{ContactBy: "none", Mail: "a@example.org"}, due, "the client wishes none"},
		{store.Client{ContactBy: "mail", Mail: "a@example.org"}, nil, "none is due"},
	} {
		x := visitFacts{to: person{by: tt.client.ContactBy, mail: tt.client.Mail, phone: tt.client.Phone}}
		x.say(tt.list, time.UTC)
		require.Empty(t, x.messages)
		require.Equal(t, tt.why, x.noMessages)
	}
	x := visitFacts{to: person{by: "mail"}}
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

package ranking_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/ranking"
)

func clock(m openings.Minute) string { return fmt.Sprintf("%02d:%02d", m/60, m%60) }

func TestWordsAreRightAndShort(t *testing.T) {
	assistant := func(only bool, at ...minute) []ranking.Ask {
		return []ranking.Ask{{Kind: openings.Assistant, Only: only, At: at}}
	}
	colour := func(before, after int, full bool) ranking.Room {
		return ranking.Room{Name: "root colour", Plural: "root colours", Before: before, After: after, Full: full}
	}
	cut := func(before, after int, full bool) ranking.Room {
		return ranking.Room{Name: "cut", Plural: "cuts", Before: before, After: after, Full: full}
	}
	far := minute(61)
	for _, tt := range []struct {
		name string
		r    ranking.Ranked
		want string
	}{
		{"room, help and closing", ranking.Ranked{Room: []ranking.Room{colour(2, 1, false), cut(3, 2, false)}, Asks: assistant(true, 725), Closing: 20},
			"leaves room for one root colour and two cuts; asks the assistant at 12:05; ends 20 min before closing"},
		{"nothing fits any more", ranking.Ranked{Room: []ranking.Room{colour(1, 0, true)}, Closing: far},
			"leaves no room for another root colour"},
		{"neither fits any more", ranking.Ranked{Room: []ranking.Room{colour(1, 0, true), cut(1, 0, true)}, Closing: far},
			"leaves no room for another root colour or cut"},
		{"one kind fits no more", ranking.Ranked{Room: []ranking.Room{colour(1, 0, true), cut(3, 13, false)}, Closing: far},
			"leaves room for 13 cuts, none for another root colour"},
		{"what never fitted is not the opening's fault", ranking.Ranked{Room: []ranking.Room{colour(0, 0, false)}, Closing: far}, ""},
		{"one of several assistants, three times", ranking.Ranked{Asks: assistant(false, 600, 725, 830), Closing: far},
			"asks an assistant at 10:00, 12:05 and 13:50"},
		{"many times", ranking.Ranked{Asks: assistant(false, 600, 725, 830, 900), Closing: far},
			"asks an assistant four times, first at 10:00"},
		{"another stylist", ranking.Ranked{Asks: []ranking.Ask{{Kind: openings.Stylist, At: []minute{600}}}, Closing: far},
			"asks another stylist at 10:00"},
		{"far from the wish", ranking.Ranked{Parts: ranking.Parts{Wish: 145, OtherLead: true}, Closing: far},
			"2 h 25 min from the wished time; not with the wished stylist"},
		{"waits and little slack", ranking.Ranked{Parts: ranking.Parts{Stay: 7, Slack: 3}, Costs: ranking.Costs{Slack: 0.1}, Closing: far},
			"7 min of waiting in between; 3 min to spare if a step runs over"},
		{"no slack at all", ranking.Ranked{Costs: ranking.Costs{Slack: 0.25}, Closing: 0},
			"nothing to spare if a step runs over; ends at closing"},
	} {
		require.Equal(t, tt.want, tt.r.Words(clock), tt.name)
	}
}

// service gives every step of a standard service its own minutes, ten when they
// come from the hair.
func service(t *testing.T, name string) openings.VisitSpec {
	t.Helper()
	for _, s := range scheduling.StandardServices() {
		if s.Name != name {
			continue
		}
		v := openings.VisitService{Service: s, Hands: 1}
		for _, st := range s.Steps {
			v.Steps = append(v.Steps, scheduling.TimedStep{Step: st, Length: max(st.Minutes, 10)})
		}
		p, err := openings.ComposeVisit([]openings.VisitService{v})
		require.NoError(t, err)
		return p.Spec
	}
	t.Fatal("no service " + name)
	return openings.VisitSpec{}
}

// smallSalon is open from nine to six and has one chair free for a while beside
// one that is taken most of the day.
func smallSalon() openings.Shop {
	open := []openings.Span{{From: 540, To: 1080}}
	return openings.Shop{Minutes: 1440, Premises: open, Units: []openings.Unit{
		{ID: "ada", Kind: openings.Stylist, Skills: []string{"straightening", "cut"}, Open: open},
		{ID: "ben", Kind: openings.Stylist, Skills: []string{"colour", "cut"}, Open: open, Breaks: []openings.Span{{From: 720, To: 750}}},
		{ID: "mina", Kind: openings.Assistant, Open: open},
		{ID: "chair 1", Kind: openings.Chair, Open: open, Changeover: 10},
		{ID: "chair 2", Kind: openings.Chair, Open: open, Changeover: 10, Bookings: []openings.Booking{{From: 540, To: 700, Clear: 10}, {From: 820, To: 1080, Clear: 10}}},
		{ID: "basin", Kind: openings.Basin, Open: open, Changeover: 2},
	}}
}

func salonInput(t *testing.T, visit string) ranking.Input {
	t.Helper()
	in := ranking.Input{Visit: service(t, visit), Offer: 30, Weights: ranking.DefaultWeights(),
		Days: []ranking.Day{{Span: openings.Span{From: 0, To: 1440}}},
		Mix: []ranking.Standard{
			{Name: "root colour", Spec: service(t, "Root colour"), PerDay: 4, Worth: 74},
			{Name: "cut", Spec: service(t, "Cut and dry"), PerDay: 6, Worth: 58},
		}}
	return ask(t, in, smallSalon(), openings.Query{To: 1440, Grid: 5})
}

// By hand, for nine o'clock: the visit takes chair 1 for 140 minutes. With ten
// minutes of clearing it is free from 11:30 to 18:00, which is room for three
// colours of 100 minutes, the first one just before Ben's break, and a cut of 53
// minutes at 17:00. Chair 2, free from 11:50 to 13:40, has room for one cut more.
func TestRankingASmallSalonSaysWhatItLeaves(t *testing.T) {
	got, err := ranking.Rank(salonInput(t, "Straightening"), 3)
	require.NoError(t, err)
	var said []string
	for _, r := range got {
		said = append(said, clock(r.Start)+" "+r.Lead+": "+r.Words(clock))
	}
	require.Equal(t, []string{
		"09:00 ada: leaves room for three root colours and two cuts; asks the assistant at 09:10, 09:50 and 10:40",
		"10:00 ada: leaves room for three root colours and two cuts; asks the assistant at 10:10, 10:50 and 11:40",
		"12:00 ada: leaves room for three root colours and two cuts; asks the assistant at 12:10, 12:50 and 13:40",
	}, said)
	require.Zero(t, got[0].Parts.Stay)
	require.Equal(t, 4, got[0].Room[0].Before)
}

func TestFaultyQuestionsAreNamed(t *testing.T) {
	for _, tt := range []struct {
		field string
		spoil func(in *ranking.Input)
	}{
		{"grid", func(in *ranking.Input) { in.Grid = 0 }},
		{"offer", func(in *ranking.Input) { in.Offer = -1 }},
		{"weights.lost", func(in *ranking.Input) { in.Weights.Lost = -1 }},
		{"weights.early", func(in *ranking.Input) { in.Weights.Early = 1001 }},
		{"weights.slack_cap_minutes", func(in *ranking.Input) { in.Weights.SlackCap = 0 }},
		{"days", func(in *ranking.Input) { in.Days = nil }},
		{"days[0]", func(in *ranking.Input) { in.Days[0].To = 1441 }},
		{"days[0].wish", func(in *ranking.Input) { in.Days[0].Wish = &openings.StartRange{From: 2, To: 1} }},
		{"days[1]", func(in *ranking.Input) { in.Days = append(in.Days, in.Days[0]) }},
		{"mix[1].name", func(in *ranking.Input) { in.Mix[1].Name = "" }},
		{"mix[0].per_day", func(in *ranking.Input) { in.Mix[0].PerDay = 61 }},
		{"mix[0].worth", func(in *ranking.Input) { in.Mix[0].Worth = 0 }},
		{"mix[1].spec.phases", func(in *ranking.Input) { in.Mix[1].Spec = openings.VisitSpec{} }},
		{"visit.phases", func(in *ranking.Input) { in.Visit = openings.VisitSpec{} }},
		{"starts", func(in *ranking.Input) { in.Starts = nil }},
	} {
		in := salonInput(t, "Dry cut")
		tt.spoil(&in)
		_, err := ranking.Rank(in, 1)
		var faults scheduling.Faults
		require.ErrorAs(t, err, &faults, tt.field)
		require.Equal(t, tt.field, faults[0].Field)
	}
	_, err := ranking.Rank(salonInput(t, "Dry cut"), 0)
	require.ErrorContains(t, err, "n is 0")
}

func TestAMixWithTooManyWaysIsRefused(t *testing.T) {
	in := salonInput(t, "Dry cut")
	shop := smallSalon()
	need := openings.Need{Kinds: []openings.UnitKind{openings.Stylist}}
	for i := range 14 {
		shop.Units = append(shop.Units, openings.Unit{ID: fmt.Sprint("s", i), Kind: openings.Stylist})
	}
	in.Mix[0].Spec = openings.VisitSpec{Roles: []openings.Role{{Name: "a", Need: need}, {Name: "b", Need: need}, {Name: "c", Need: need}},
		Phases: []openings.Phase{{Name: "all", Minutes: 5, Roles: []string{"a", "b", "c"}}}}
	_, err := ranking.Rank(ask(t, in, shop, openings.Query{To: 1440, Grid: 5}), 1)
	require.ErrorContains(t, err, "mix[0].spec.roles can be combined in 3360 ways")
}

// A question whose starts belong to another visit gives fewer answers, no panic.
func TestStartsOfAnotherVisitGiveNoWrongAnswer(t *testing.T) {
	in := salonInput(t, "Dry cut")
	in.Visit = service(t, "Straightening")
	got, err := ranking.Rank(in, 100)
	require.NoError(t, err)
	for _, r := range got {
		require.Empty(t, openings.Check(r.Schedule, in.Visit, smallSalon()))
	}
}

func TestDefaultWeightsAreValid(t *testing.T) {
	require.NoError(t, ranking.DefaultWeights().Validate())
}

package delays_test

import (
	"context"
	"slices"
	"testing"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

// of returns the remedies of a kind.
func of(kind delays.RemedyKind, l []delays.Remedy) (out []delays.Remedy) {
	for _, r := range l {
		if r.Kind == kind {
			out = append(out, r)
		}
	}
	return out
}

// wet is a salon with basins in which Ada's colour is to be rinsed at 10:15
// right after Bea's wash; Bea is five minutes late.
func wet(t testing.TB, basins int) delays.Day {
	shop := salon(3, 2, 2)
	shop.Units = slices.DeleteFunc(shop.Units, func(u openings.Unit) bool { return u.ID == "basin-2" && basins == 1 })
	colour, wash := planOf(t, "Root colour", "stylist-1"), planOf(t, "Cut and dry", "stylist-2")
	d := book(t, shop, []*openings.VisitPlan{colour, wash}, []openings.Minute{550, 605})
	require.Equal(t, []openings.Minute{615, 605}, []openings.Minute{d.Visits[0].Booked.Phases[2].Start, d.Visits[1].Booked.Phases[0].Start})
	require.Equal(t, "basin-1", d.Visits[1].Booked.Phases[0].Pool[0])
	d.Visits[0].Name, d.Visits[1].Name = "Ada", "Bea"
	happened(&d.Visits[0], 550, 580, 580)
	d.Now, d.Visits[1].NotBefore = 608, at(612)
	return d
}

func TestAClientInSolutionGoesAheadOfEverybody(t *testing.T) {
	d := wet(t, 1)
	p, err := d.Project()
	require.NoError(t, err)
	require.Len(t, p.Broken, 1)
	require.Equal(t, "“rinse colour” of Ada would wait 7 minutes after “colour working”, 3 are allowed: basin-1 is taken by Bea until 10:22", p.Broken[0].Words)
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	best := of(delays.RemedyRearrange, remedies)[0]
	require.Empty(t, best.Left)
	require.Equal(t, openings.Minute(615), best.After.Visits[0].Phases[2].Start)
	require.Equal(t, openings.Minute(627), best.After.Visits[1].Phases[0].Start, "cleared two minutes after the rinse")

	later := of(delays.RemedyLater, remedies)[0]
	require.Equal(t, "Ask Bea to come 22 minutes later, at 10:27 instead of 10:05", later.Words)
	require.Equal(t, []delays.Ask{{Visit: "v2"}}, later.Asks)
	require.Equal(t, []string{"v2"}, later.Moved)
	require.Zero(t, later.WaitingMinutes, "she comes when it is her turn")

	off := of(delays.RemedyRebook, remedies)[0]
	require.Equal(t, "Do not start Bea, rebook: open until 10:12", off.Words)
	require.Equal(t, []delays.Change{{Visit: "v2", Spec: d.Visits[1].Spec, Schedule: off.Changes[0].Schedule, Rebook: true}}, off.Changes)
	for _, r := range remedies {
		require.NotContains(t, r.Moved, "v1", "colour is on")
	}
}

func TestPeopleAreAskedToStayBeforeProductStaysOn(t *testing.T) {
	d := wet(t, 1)
	d.Shop.Premises = []openings.Span{{From: 540, To: 675}}
	for i := range d.Shop.Units {
		d.Shop.Units[i].Open = d.Shop.Premises
	}
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	require.Empty(t, of(delays.RemedyRearrange, remedies), "after Ada there is no time left for Bea")
	last := of(delays.RemedyLastResort, remedies)
	require.Len(t, last, 1)
	require.Equal(t, "Ask for patience: Bea would stay until 11:20, 5 minutes while the salon is closed, from 11:15 on; "+
		"stylist-2 would work 5 minutes outside of the hours, from 11:15 on. Then Bea begins at 10:27 instead of 10:05", last[0].Words)
	require.Equal(t, openings.Minute(615), last[0].After.Visits[0].Phases[2].Start)

	remedies, err = d.Remedies(t.Context(), delays.Options{Overtime: 4})
	require.NoError(t, err)
	require.Empty(t, of(delays.RemedyLastResort, remedies), "four minutes do not help, and Bea can still be rebooked")
	require.Empty(t, of(delays.RemedyRebook, remedies)[0].Left)
}

func TestWhatNothingKeepsIsSaidPlainly(t *testing.T) {
	d := colours(t)
	happened(&d.Visits[0], 540, 570, 570, 617, 617)
	happened(&d.Visits[1], 555, 585, 585)
	d.Now = 617
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	require.Len(t, remedies, 1)
	require.Equal(t, delays.RemedyLastResort, remedies[0].Kind)
	require.Equal(t, "Nothing that was tried keeps every rule. What breaks: “rinse colour” of Bea would wait 9 minutes after “colour working”, "+
		"3 are allowed: basin 1 is taken by Ada until 10:29. Do not leave product on longer than planned: "+
		"free a basin for the rinse ahead of everybody, and ask the licensed person.", remedies[0].Words)
	require.Len(t, remedies[0].Left, 1)
}

func TestAnotherBasinIsFoundWhereThereIsOne(t *testing.T) {
	d := wet(t, 2)
	require.Equal(t, []string{"basin-1", "assistant-1"}, d.Visits[0].Booked.Phases[2].Pool)
	d.Visits[0].Booked.Phases[2].Pool[1] = "assistant-2" // so that only the basin is in the way
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	found := of(delays.RemedyStation, remedies)
	require.NotEmpty(t, found)
	require.Contains(t, []string{"Use basin-2 instead of basin-1 for “rinse colour” of Ada at 10:15",
		"Use basin-2 instead of basin-1 for “wash” of Bea at 10:12"}, found[0].Words)
	require.Empty(t, found[0].Left)
	require.Empty(t, found[0].Moved)
	require.Empty(t, found[0].Asks)
}

// ironing is a straightening whose iron began ten minutes late, so that it
// would end after closing.
func ironing(t testing.TB) delays.Day {
	d := book(t, salon(3, 2, 1), []*openings.VisitPlan{planOf(t, "Straightening", "stylist-1")}, []openings.Minute{805})
	v := &d.Visits[0]
	v.Name = "Ada"
	var times []openings.Minute
	for i, ph := range v.Booked.Phases[:8] {
		start, end := ph.Start, ph.End
		if i == 7 {
			start, end = start+10, 0
		}
		if times = append(times, start); end > 0 {
			times = append(times, end)
		}
	}
	happened(v, times...)
	d.Now = times[len(times)-1] + 12
	return d
}

func TestASecondPersonSharesTheRestOfAStepUnderWay(t *testing.T) {
	d := ironing(t)
	p, err := d.Project()
	require.NoError(t, err)
	require.NotEmpty(t, p.Broken)
	iron := p.Visits[0].Phases[7]
	require.Equal(t, openings.Minute(92), iron.End-iron.Start)
	remedies, err := d.Remedies(t.Context(), delays.Options{PairFactor: 1.6})
	require.NoError(t, err)
	best := remedies[0]
	require.Equal(t, delays.RemedyHelper, best.Kind)
	require.Empty(t, best.Left)
	require.Equal(t, []delays.Ask{{Unit: "stylist-2"}}, best.Asks, "the third has not learnt it")
	require.Contains(t, best.Words, "stylist-2 shares “iron” of Ada")
	// Of 92 minutes 80 are left; shared they take 80 / 1.6 = 50.
	iron = best.After.Visits[0].Phases[7]
	require.Equal(t, openings.Minute(62), iron.End-iron.Start)
	require.Equal(t, &delays.Help{Phase: 7, Unit: "stylist-2", From: d.Now, Minutes: 62}, best.Changes[0].Help)

	// Noted on the day, the help is what is projected.
	d.Visits[0].Helps = []delays.Help{*best.Changes[0].Help}
	p, err = d.Project()
	require.NoError(t, err)
	require.Empty(t, p.Broken)
	require.Equal(t, best.After.Visits[0].Phases, p.Visits[0].Phases)
}

func TestNobodyHelpsWhoIsNotFreeOrNotAble(t *testing.T) {
	d := ironing(t)
	d.Shop.Units[1].Skills = []string{scheduling.SkillCut}
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	for _, r := range of(delays.RemedyHelper, remedies) {
		require.NotContains(t, r.Words, "“iron”")
	}
	// She has a client of her own, who would have to wait.
	d = ironing(t)
	own := book(t, salon(3, 2, 1), []*openings.VisitPlan{planOf(t, "Dry cut", "stylist-2")}, []openings.Minute{d.Now + 8})
	own.Visits[0].ID = "own"
	own.Visits[0].Booked.Roles[openings.RoleChair] = "chair-2"
	d.Visits = append(d.Visits, own.Visits[0])
	remedies, err = d.Remedies(t.Context(), delays.Options{Each: 50})
	require.NoError(t, err)
	require.NotEmpty(t, remedies)
	for _, r := range of(delays.RemedyHelper, remedies) {
		require.NotContains(t, r.Words, "stylist-2 shares “iron”")
	}
}

func TestNobodyHelpsWhoIsWithAClient(t *testing.T) {
	d := ironing(t)
	own := book(t, salon(3, 2, 1), []*openings.VisitPlan{planOf(t, "Dry cut", "stylist-2")}, []openings.Minute{d.Now - 20})
	own.Visits[0].ID = "own"
	own.Visits[0].Booked.Roles[openings.RoleChair] = "chair-2"
	happened(&own.Visits[0], own.Visits[0].Booked.Phases[0].Start)
	d.Visits = append(d.Visits, own.Visits[0])
	remedies, err := d.Remedies(t.Context(), delays.Options{Each: 50})
	require.NoError(t, err)
	require.NotEmpty(t, remedies)
	for _, r := range of(delays.RemedyHelper, remedies) {
		require.NotContains(t, r.Words, "stylist-2 shares “iron”")
	}
}

func TestWhoHelpsMayHaveHadAClientBefore(t *testing.T) {
	d := ironing(t)
	own := book(t, salon(3, 2, 1), []*openings.VisitPlan{planOf(t, "Dry cut", "stylist-2")}, []openings.Minute{d.Now - 50})
	own.Visits[0].ID = "own"
	own.Visits[0].Booked.Roles[openings.RoleChair] = "chair-2"
	start := own.Visits[0].Booked.Phases[0].Start
	happened(&own.Visits[0], start, d.Now-2)
	own.Visits[0].Ended = true
	d.Visits = append(d.Visits, own.Visits[0])
	d.Visits[0].Helps = []delays.Help{{Phase: 7, Unit: "stylist-2", From: d.Now, Minutes: 62}}
	p, err := d.Project()
	require.NoError(t, err)
	require.Empty(t, p.Broken)
}

func TestAStepThatKeepsItsLengthIsNotSharedWhateverElseIsSaid(t *testing.T) {
	d := ironing(t)
	for i := range d.Visits[0].Care {
		d.Visits[0].Care[i].Keep = true
	}
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	require.NotEmpty(t, remedies)
	for _, r := range of(delays.RemedyHelper, remedies) {
		require.NotContains(t, r.Words, "shares")
	}
}

func TestNothingIsSharedOnceSolutionIsOn(t *testing.T) {
	d := book(t, salon(3, 2, 1), []*openings.VisitPlan{planOf(t, "Straightening", "stylist-1")}, []openings.Minute{800})
	v := &d.Visits[0]
	happened(v, 800, 830, 830, 841, 841, 851, 851)
	d.Now = 860
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	require.NotEmpty(t, remedies)
	for _, r := range remedies {
		require.NotContains(t, r.Words, "“apply solution”")
		require.NotEqual(t, delays.RemedyRebook, r.Kind)
	}
}

func TestAClientWhoseVisitWillBeLateIsCalled(t *testing.T) {
	cut := planOf(t, "Dry cut", "stylist-3")
	d := book(t, salon(3, 1, 0), []*openings.VisitPlan{cut, cut}, []openings.Minute{540, 570})
	d.Visits[1].Name = "Bea"
	d.Now = 552
	happened(&d.Visits[0], 551)
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	later := of(delays.RemedyLater, remedies)
	require.Len(t, later, 1)
	require.Equal(t, "Ask Bea to come 11 minutes later, at 09:41 instead of 09:30", later[0].Words)
	require.Zero(t, later[0].WaitingMinutes)
	d.Visits[1].Arrived = at(550)
	remedies, err = d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	require.Empty(t, of(delays.RemedyLater, remedies), "she is there")
}

func TestTheSameDayAndSeedGiveTheSameRemedies(t *testing.T) {
	for seed := range uint64(40) {
		d := randomDay(t, seed, 40)
		o := delays.Options{Seed: seed, Rounds: 30}
		first, err := d.Remedies(t.Context(), o)
		require.NoError(t, err)
		second, err := d.Remedies(t.Context(), o)
		require.NoError(t, err)
		require.Equal(t, first, second, "seed %d", seed)
	}
}

func TestRemediesStopWithTheContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	d := wet(t, 1)
	_, err := d.Remedies(ctx, delays.Options{})
	require.ErrorIs(t, err, context.Canceled)
}

func TestOptionsOutOfRangeAreNamed(t *testing.T) {
	d := wet(t, 1)
	for field, o := range map[string]delays.Options{"pair_factor": {PairFactor: 3}, "rounds": {Rounds: -1}, "move_cost": {MoveCost: -1},
		"min_gain": {MinGain: -1}, "later_at_most": {LaterAtMost: 2000}, "overtime": {Overtime: -5}, "each": {Each: -1}} {
		_, err := d.Remedies(t.Context(), o)
		require.ErrorContains(t, err, field+" is ")
	}
}

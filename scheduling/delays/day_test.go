package delays_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"
)

// at is a pointer to a minute.
func at(m openings.Minute) *openings.Minute { return &m }

// happened notes that the first phases of v took place at the given minutes,
// start and end in turn; the last one may still run.
func happened(v *delays.Visit, times ...openings.Minute) {
	v.Happened = make([]delays.Happened, len(v.Spec.Phases))
	for k := range times {
		if k%2 == 0 {
			v.Happened[k/2].Start = &times[k]
		} else {
			v.Happened[k/2].End = &times[k]
		}
	}
	v.Arrived = &times[0]
}

// colours is a salon with one basin in which two root colours were booked so
// that the second is rinsed two minutes after the first.
func colours(t testing.TB) delays.Day {
	shop := salon(3, 2, 1)
	shop.Units = slices.DeleteFunc(shop.Units, func(u openings.Unit) bool { return u.ID == "basin-2" })
	first, second := planOf(t, "Root colour", "stylist-1"), planOf(t, "Root colour", "stylist-2")
	d := book(t, shop, []*openings.VisitPlan{first, second}, []openings.Minute{540, 555})
	d.Visits[0].Name, d.Visits[1].Name = "Ada", "Bea"
	d.Names = map[string]string{"basin-1": "basin 1", "stylist-1": "Cleo", "stylist-2": "Dora"}
	return d
}

func TestADayOnTimeGoesOnAsBooked(t *testing.T) {
	d := colours(t)
	for _, now := range []openings.Minute{500, 540} {
		d.Now = now
		got, err := d.Project()
		require.NoError(t, err)
		require.Empty(t, got.Broken)
		require.Zero(t, got.LateMinutes+got.WaitingMinutes)
		for i, v := range got.Visits {
			require.Equal(t, d.Visits[i].Booked, v.Schedule)
			require.Equal(t, []openings.Minute{0, 0}, []openings.Minute{v.StartLate, v.EndLate})
		}
		remedies, err := d.Remedies(t.Context(), delays.Options{})
		require.NoError(t, err)
		require.Empty(t, remedies)
	}
}

func TestAStepUnderWayLastsAtLeastUntilNow(t *testing.T) {
	d := colours(t)
	d.Now = 590
	happened(&d.Visits[0], 545) // thirty minutes were planned
	got, err := d.Project()
	require.NoError(t, err)
	v := got.Visits[0]
	require.Equal(t, delays.PhaseProjection{Phase: "colour", State: delays.PhaseRuns, Start: 545, End: 590, Late: 5}, v.Phases[0])
	require.Equal(t, delays.PhaseToCome, v.Phases[1].State)
	require.Equal(t, openings.Minute(590), v.Phases[1].Start)
	require.Equal(t, openings.Minute(20), got.Visits[0].EndLate)
	require.True(t, v.InSolution)
	require.Nil(t, v.OpenUntil, "colour is on")
}

func TestABrokenWaitNamesItsCause(t *testing.T) {
	d := colours(t)
	// Ada's rinse began late and takes its ten minutes; Bea's colour has worked.
	happened(&d.Visits[0], 540, 570, 570, 617, 617)
	happened(&d.Visits[1], 555, 585, 585)
	d.Now = 617
	got, err := d.Project()
	require.NoError(t, err)
	require.Len(t, got.Broken, 1)
	b := got.Broken[0]
	require.Equal(t, delays.BrokenProduct, b.Kind)
	require.Equal(t, []string{"v2", "colour_working"}, []string{b.Visit, b.Phase})
	require.Equal(t, openings.Minute(6), b.Minutes)
	require.Equal(t, "“rinse colour” of Bea would wait 9 minutes after “colour working”, 3 are allowed: basin 1 is taken by Ada until 10:29", b.Words)
	require.Equal(t, "“rinse colour” of Ada runs since 10:17 and ends at 10:27 at the earliest\n"+
		"basin 1 is taken by Ada until 10:29: “rinse colour” of Bea has to wait\n"+
		"“rinse colour” of Bea may wait 3 minutes at most after “colour working” of Bea, which therefore cannot end before 10:26",
		strings.Join(b.Chain, "\n"))
	require.Equal(t, openings.Minute(629), got.Visits[1].Phases[2].Start)
}

func TestABreakIsLostBeforeProductStaysOn(t *testing.T) {
	d := colours(t)
	// Bea's rinse is due in the break of everybody who could do it.
	for i := range d.Shop.Units {
		if k := d.Shop.Units[i].Kind; k == openings.Assistant || k == openings.Stylist {
			d.Shop.Units[i].Breaks = []openings.Span{{From: 625, To: 640}}
		}
	}
	happened(&d.Visits[0], 540, 570, 570, 605, 605, 615)
	happened(&d.Visits[1], 560, 590, 590)
	d.Now = 617
	got, err := d.Project()
	require.NoError(t, err)
	require.Equal(t, openings.Minute(625), got.Visits[1].Phases[2].Start, "right after the colour has worked")
	require.NotEmpty(t, got.Broken)
	for _, b := range got.Broken {
		require.Equal(t, delays.BrokenBreak, b.Kind, b.Words)
		require.NotEmpty(t, b.Chain)
	}
	require.Contains(t, got.Broken[0].Words, "would lose")
	require.Contains(t, got.Broken[0].Words, "the break from 10:25 to 10:40")
}

func TestABasinOutOfUseIsNotUsed(t *testing.T) {
	d := colours(t)
	for i := range d.Shop.Units {
		if u := &d.Shop.Units[i]; u.ID == "basin-1" {
			u.Breaks = []openings.Span{{From: 600, To: 612}}
		}
	}
	happened(&d.Visits[0], 540, 570, 570)
	d.Visits = d.Visits[:1]
	d.Now = 590
	got, err := d.Project()
	require.NoError(t, err)
	require.Len(t, got.Broken, 1)
	require.Equal(t, "“rinse colour” of Ada would wait 7 minutes after “colour working”, 3 are allowed: basin 1 is out of use from 10:00 to 10:12", got.Broken[0].Words)
}

func TestAStepThatShouldHaveBegunBeginsNow(t *testing.T) {
	d := colours(t)
	d.Now = 575
	happened(&d.Visits[0], 540, 570)
	got, err := d.Project()
	require.NoError(t, err)
	require.Equal(t, openings.Minute(575), got.Visits[0].Phases[1].Start)
	require.Equal(t, "“colour working” of Ada would wait 5 minutes after “apply colour to the roots”, none is allowed", got.Broken[0].Words)
}

func TestAVisitThatHasEndedFreesItsUnits(t *testing.T) {
	d := colours(t)
	d.Now = 600
	happened(&d.Visits[0], 540, 570, 570)
	happened(&d.Visits[1], 555, 585, 585)
	d.Visits[0].Ended = true // stopped early
	got, err := d.Project()
	require.NoError(t, err)
	require.Equal(t, delays.PhaseDone, got.Visits[0].Phases[1].State)
	require.Equal(t, openings.Minute(600), got.Visits[0].Phases[1].End)
	require.Equal(t, delays.PhaseNever, got.Visits[0].Phases[2].State)
	require.Equal(t, openings.Minute(620), got.Visits[1].Phases[2].Start)
	require.Empty(t, got.Broken)
	require.Zero(t, got.LateMinutes)

	d.Now = 700
	happened(&d.Visits[0], 540, 570, 570, 605, 605, 615, 615, 690)
	happened(&d.Visits[1], 555, 585, 585, 620, 620, 630, 630, 655)
	d.Visits[1].Ended = true
	got, err = d.Project()
	require.NoError(t, err)
	require.Equal(t, openings.Minute(50), got.Visits[0].EndLate)
	require.Zero(t, got.LateMinutes, "nobody waits for it any more")
}

func TestAStepWithoutEndEndedWhenTheNextBegan(t *testing.T) {
	d := colours(t)
	d.Now = 600
	happened(&d.Visits[0], 540, 0, 565)
	d.Visits[0].Happened[0].End = nil
	got, err := d.Project()
	require.NoError(t, err)
	require.Equal(t, openings.Minute(565), got.Visits[0].Phases[0].End)
	require.Equal(t, delays.PhaseRuns, got.Visits[0].Phases[1].State)
	require.Equal(t, openings.Minute(600), got.Visits[0].Phases[2].Start)
}

func TestWordsFollowTheClockOnTheWall(t *testing.T) {
	d := colours(t)
	zone, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	day := date.New(2026, time.October, 25) // an hour longer, before the salon opens
	d.Clock = openings.NewHorizon(zone, openings.DateRange{First: day, Last: day})
	happened(&d.Visits[0], 540, 570, 570, 617, 617)
	happened(&d.Visits[1], 555, 585, 585)
	d.Now = 617
	got, err := d.Project()
	require.NoError(t, err)
	require.Contains(t, got.Broken[0].Words, "taken by Ada until 09:29")
}

func TestAPhaseThatWasNotNotedWasPassedOver(t *testing.T) {
	d := colours(t)
	d.Now = 600
	d.Visits[0].Happened = make([]delays.Happened, 4)
	d.Visits[0].Happened[1].Start = at(570)
	got, err := d.Project()
	require.NoError(t, err)
	require.Equal(t, delays.PhaseNever, got.Visits[0].Phases[0].State)
	require.Equal(t, delays.PhaseRuns, got.Visits[0].Phases[1].State)
	require.Empty(t, got.Broken)
}

func TestAClientWhoIsLateMovesTheFollowing(t *testing.T) {
	cut := planOf(t, "Dry cut", "stylist-3")
	d := book(t, salon(3, 1, 0), []*openings.VisitPlan{cut, cut, cut}, []openings.Minute{540, 570, 620})
	d.Now, d.Visits[0].NotBefore = 545, at(560)
	got, err := d.Project()
	require.NoError(t, err)
	require.Empty(t, got.Broken)
	var late []openings.Minute
	for _, v := range got.Visits {
		late = append(late, v.StartLate)
	}
	require.Equal(t, []openings.Minute{20, 20, 0}, late, "twenty minutes lie free before the third")
	require.Equal(t, openings.Minute(40), got.LateMinutes)
	require.Equal(t, openings.Minute(20), got.WaitingMinutes, "the first is not there yet")
}

func TestDayNamesThePlaceOfAFault(t *testing.T) {
	for _, tt := range []struct {
		name  string
		spoil func(d *delays.Day)
		want  string
	}{
		{"no horizon", func(d *delays.Day) { d.Shop.Minutes = 0 }, "shop.minutes is 0"},
		{"now after the day", func(d *delays.Day) { d.Now = 2000 }, "now is 2000"},
		{"a visit twice", func(d *delays.Day) { d.Visits[1].ID = "v1" }, `visits[1].id is "v1"`},
		{"a visit without id", func(d *delays.Day) { d.Visits[1].ID = "" }, `visits[1].id is ""`},
		{"no phases", func(d *delays.Day) { d.Visits[0].Spec.Phases = nil }, "visits[0].spec.phases has 0 entries"},
		{"too little care", func(d *delays.Day) { d.Visits[0].Care = d.Visits[0].Care[:2] }, "visits[0].care has 2 entries"},
		{"a plan of another visit", func(d *delays.Day) { d.Visits[0].Booked.Phases = nil }, "visits[0].booked.phases has 0 entries"},
		{"a plan with another length", func(d *delays.Day) { d.Visits[0].Booked.Phases[1].End++ }, "visits[0].booked.phases[1] is 570 to 606"},
		{"a plan out of order", func(d *delays.Day) {
			d.Visits[0].Booked.Phases[1].Start--
			d.Visits[0].Booked.Phases[1].End--
		}, "visits[0].booked.phases[1] begins at 569"},
		{"a unit that is not there", func(d *delays.Day) { d.Visits[0].Booked.Phases[2].Pool[0] = "basin-9" }, `visits[0].booked.phases[2].pool[0] is "basin-9"`},
		{"a role for nobody", func(d *delays.Day) { d.Visits[0].Booked.Roles = nil }, `visits[0].booked.roles[lead] is ""`},
		{"a pool of another size", func(d *delays.Day) { d.Visits[0].Booked.Phases[2].Pool = nil }, "visits[0].booked.phases[2].pool has 0 entries"},
		{"not before the day", func(d *delays.Day) { d.Visits[0].NotBefore = at(-5) }, "visits[0].not_before is -5"},
		{"arrived after the day", func(d *delays.Day) { d.Visits[0].Arrived = at(5000) }, "visits[0].arrived is 5000"},
		{"begun in the future", func(d *delays.Day) { happened(&d.Visits[0], 700) }, "visits[0].happened[0].start is 700"},
		{"ended before it began", func(d *delays.Day) { happened(&d.Visits[0], 550, 545) }, "visits[0].happened[0].end is 545"},
		{"begun before the step before it", func(d *delays.Day) { happened(&d.Visits[0], 550, 560, 555) }, "visits[0].happened[1].start is 555"},
		{"ended without a beginning", func(d *delays.Day) {
			happened(&d.Visits[0], 550)
			d.Visits[0].Happened[1].End = at(560)
		}, "visits[0].happened[1].end is given without a start"},
		{"help in no phase", func(d *delays.Day) {
			d.Visits[0].Helps = []delays.Help{{Phase: 9, Unit: "stylist-2", Minutes: 5}}
		}, "visits[0].helps[0].phase is 9"},
		{"help by nobody", func(d *delays.Day) { d.Visits[0].Helps = []delays.Help{{Unit: "x", Minutes: 5}} }, `visits[0].helps[0].unit is "x"`},
		{"help of no length", func(d *delays.Day) { d.Visits[0].Helps = []delays.Help{{Unit: "stylist-2"}} }, "visits[0].helps[0].minutes is 0"},
		{"help twice", func(d *delays.Day) {
			h := delays.Help{Unit: "stylist-2", Minutes: 5}
			d.Visits[0].Helps = []delays.Help{h, h}
		}, "visits[0].helps[1].phase is 0 again"},
		{"too many visits", func(d *delays.Day) { d.Visits = make([]delays.Visit, 301) }, "visits has 301 entries"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			d := colours(t)
			d.Now = 600
			tt.spoil(&d)
			_, err := d.Project()
			require.ErrorContains(t, err, tt.want)
			var faults scheduling.Faults
			require.ErrorAs(t, err, &faults)
			_, _, err = d.Problem()
			require.ErrorAs(t, err, &faults)
			_, err = d.Remedies(t.Context(), delays.Options{})
			require.ErrorAs(t, err, &faults)
		})
	}
}

// A step says itself whether it may last longer; what it says decides what is
// kept, and what is named when it does.
func TestAStepThatMayNotOverrunIsNamedWhenItDoes(t *testing.T) {
	d := colours(t)
	v := &d.Visits[0]
	require.Equal(t, "colour_working", v.Spec.Phases[1].Name)
	d.Now = 570 + v.Spec.Phases[1].Minutes
	happened(v, 540, 570, 570)
	p, err := d.Project()
	require.NoError(t, err)
	require.NotContains(t, kinds(p.Broken), delays.BrokenOverrun, "it ends this minute")
	d.Now += 4
	p, err = d.Project()
	require.NoError(t, err)
	b := p.Broken[0]
	require.Equal(t, delays.BrokenOverrun, b.Kind, "before all others")
	require.Equal(t, []any{v.ID, "colour_working", openings.Minute(4), true}, []any{b.Visit, b.Phase, b.Minutes, b.Past})
	require.Equal(t, "“colour working” of Ada was to end at 10:05 and is going on, 4 minutes longer than it may: look at the hair now", b.Words)
	v.Care[1].Timed = false
	p, err = d.Project()
	require.NoError(t, err)
	require.NotContains(t, kinds(p.Broken), delays.BrokenOverrun)
}

func kinds(l []delays.Broken) (out []delays.BrokenKind) {
	for _, b := range l {
		out = append(out, b.Kind)
	}
	return out
}

func TestTheFlagOfAStepDecidesWhatNoRemedyChanges(t *testing.T) {
	plan := planOf(t, "Straightening", "")
	for i := range plan.Steps {
		st := &plan.Steps[i]
		st.MayOverrun = !st.MayOverrun
	}
	for i, c := range delays.CareOf(plan) {
		st := plan.Steps[i]
		require.Equal(t, !st.MayOverrun, c.Timed, st.Kind)
		require.Equal(t, c.Timed || st.Where == scheduling.AtBasin || st.Kind == scheduling.Dry1, c.Keep, st.Kind)
	}
}

func TestCareFollowsTheProduct(t *testing.T) {
	say := func(name string) string {
		plan := planOf(t, name, "")
		var out []string
		for i, c := range delays.CareOf(plan) {
			s := string(plan.Steps[i].Kind)
			if c.Keep {
				s += " keep"
			}
			if c.Product {
				s += " product"
			}
			if c.Share != nil {
				s += fmt.Sprint(" share ", c.Share.Kinds, c.Share.Skills)
			}
			out = append(out, s)
		}
		return strings.Join(out, "\n")
	}
	require.Equal(t, "talk\nwash keep\nprep\n"+
		"apply product share [stylist] [straightening]\nprocess keep product\nrinse_1 keep\ndry_1 keep\n"+
		"iron share [stylist] [straightening]\nneutral keep product\ndwell keep product\nrinse_2 keep\n"+
		"dry_2 share [assistant stylist] []\nfinish share [stylist] [straightening]\nclose", say("Straightening"))
	require.Contains(t, say("Straightening in two stages"), "prep\n"+
		"apply_1 product share [stylist] [straightening]\nprocess_1 keep product\ncheck_1 keep product\n"+
		"apply_2 product share [stylist] [straightening]\nprocess_2 keep product\ncheck_2 keep product\nrinse_1 keep\ndry_1 keep\niron")
	require.Equal(t, "colour product\ncolour_working keep product\nrinse keep\ndry", say("Root colour"))
	require.Equal(t, "cut", say("Dry cut"))
}

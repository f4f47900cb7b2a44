package scheduling_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

func one(families ...string) []scheduling.SpacedService {
	return []scheduling.SpacedService{{Name: "a " + families[0], Families: families}}
}

func spaced(id string, start time.Time, minutes int, services []scheduling.SpacedService) scheduling.SpacedVisit {
	return scheduling.SpacedVisit{ID: id, Start: start, End: start.Add(time.Duration(minutes) * time.Minute), Services: services}
}

func standardSpaced(t *testing.T, name string) scheduling.SpacedService {
	t.Helper()
	list := scheduling.StandardServices()
	i := slices.IndexFunc(list, func(s scheduling.Service) bool { return s.Name == name })
	require.GreaterOrEqual(t, i, 0, name)
	return list[i].Spaced()
}

// Dates and instants below are worked out by hand.
func TestSpacingSaysTheFirstAllowedStart(t *testing.T) {
	loc := zone(t, "Europe/Berlin")
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 6, day, hour, minute, 0, 0, loc) }
	straightened := spaced("s", at(10, 9, 0), 305, one("straightening", "wet")) // Wednesday, to 14:05
	for _, tt := range []struct {
		name   string
		others []scheduling.SpacedVisit
		v      scheduling.SpacedVisit
		level  scheduling.SpacingLevel
		first  time.Time
		words  string
	}{
		{"water a minute too early", []scheduling.SpacedVisit{straightened}, spaced("", at(12, 14, 4), 50, one("wet")),
			"needs_yes", at(12, 14, 5), "a straightening on Wed 10 June: hair stays dry and untied for 48 hours after straightening; first allowed: Fri 12 June 14:05"},
		{"water after 48 hours", []scheduling.SpacedVisit{straightened}, spaced("", at(12, 14, 5), 50, one("wet")), "", time.Time{}, ""},
		{"colour on the thirteenth day", []scheduling.SpacedVisit{straightened}, spaced("", at(23, 18, 0), 50, one("colour")),
			"warn", at(24, 0, 0), "a straightening on Wed 10 June: no permanent colour within 14 days after straightening; first allowed: Wed 24 June"},
		{"colour on the fourteenth day", []scheduling.SpacedVisit{straightened}, spaced("", at(24, 9, 0), 50, one("colour")), "", time.Time{}, ""},
		{"bleach whenever", []scheduling.SpacedVisit{straightened}, spaced("", at(30, 9, 0), 50, one("bleach")),
			"needs_yes", time.Time{}, "a straightening on Wed 10 June: bleach on straightened hair is for the licensed person to decide"},
		{"straightening the day before water that is booked", []scheduling.SpacedVisit{spaced("w", at(11, 9, 0), 60, one("wet"))},
			spaced("", at(10, 9, 0), 305, one("straightening", "wet")), "needs_yes", at(11, 10, 0),
			"a wet on Thu 11 June: hair stays dry and untied for 48 hours after straightening; first allowed: Thu 11 June 10:00"},
		{"a dry cut", []scheduling.SpacedVisit{straightened}, spaced("", at(11, 9, 0), 30, []scheduling.SpacedService{standardSpaced(t, "Dry cut")}), "", time.Time{}, ""},
		{"little new hair", nil, spaced("", at(11, 9, 0), 30, []scheduling.SpacedService{{Name: "Retouch", Families: []string{"straightening"}, RegrowthCM: 2.5}}),
			"needs_yes", time.Time{}, "Retouch with 2.5 cm of new hair: straightening again within 12 weeks, or with less than 3 cm of new hair, is for the licensed person to decide"},
		{"enough new hair", nil, spaced("", at(11, 9, 0), 30, []scheduling.SpacedService{{Name: "Retouch", Families: []string{"straightening"}, RegrowthCM: 3}}), "", time.Time{}, ""},
		{"a wash after straightening in one visit", nil, spaced("", at(11, 9, 0), 300, append(one("straightening"), one("wet")...)),
			"needs_yes", time.Time{}, "a straightening and then a wet in one visit: hair stays dry and untied for 48 hours after straightening"},
		{"a wash before straightening in one visit", nil, spaced("", at(11, 9, 0), 300, append(one("wet"), one("straightening")...)), "", time.Time{}, ""},
	} {
		got := scheduling.CheckSpacing(scheduling.DefaultSpacing(), tt.others, tt.v, loc)
		if tt.level == "" {
			require.Empty(t, got, tt.name)
			continue
		}
		require.Len(t, got, 1, tt.name)
		require.Equal(t, tt.level, got[0].Level, tt.name)
		require.Equal(t, tt.words, got[0].Words, tt.name)
		require.True(t, tt.first.Equal(got[0].FirstAllowed), "%s: %s", tt.name, got[0].FirstAllowed)
	}
}

func TestStraighteningAgainWaitsTwelveWeeksAndTwoDaysDry(t *testing.T) {
	loc := zone(t, "Europe/Berlin")
	both := []scheduling.SpacedService{standardSpaced(t, "Straightening")}
	first := spaced("s", time.Date(2026, 11, 2, 9, 0, 0, 0, loc), 270, both)
	got := scheduling.CheckSpacing(scheduling.DefaultSpacing(), []scheduling.SpacedVisit{first},
		spaced("", first.Start.AddDate(0, 0, 1), 270, both), loc)
	require.Len(t, got, 2)
	for _, x := range got { // 2 November and 84 days
		require.Equal(t, "2027-01-25T00:00:00+01:00", x.FirstAllowed.Format(time.RFC3339))
		require.Contains(t, x.Words, "first allowed: Mon 25 January 2027")
	}
}

func TestHoursOfSpacingAreElapsedAndDaysAreOfTheCalendar(t *testing.T) {
	loc := zone(t, "Europe/Berlin")
	// Clocks go forward in the night to Sunday 29 March 2026.
	end := time.Date(2026, 3, 28, 14, 0, 0, 0, loc)
	done := []scheduling.SpacedVisit{{ID: "s", Start: end.Add(-4 * time.Hour), End: end, Services: one("straightening")}}
	wash := spaced("", time.Date(2026, 3, 30, 14, 59, 0, 0, loc), 30, one("wet"))
	got := scheduling.CheckSpacing(scheduling.DefaultSpacing(), done, wash, loc)
	require.Len(t, got, 1)
	require.Equal(t, "15:00", got[0].FirstAllowed.Format("15:04"))
	// 14 calendar days after an end just before midnight in Berlin, still Friday in UTC terms or not.
	late := time.Date(2026, 6, 5, 23, 50, 0, 0, loc)
	done[0].Start, done[0].End = late.Add(-4*time.Hour), late
	colour := spaced("", time.Date(2026, 6, 18, 23, 0, 0, 0, loc), 30, one("colour"))
	require.Len(t, scheduling.CheckSpacing(scheduling.DefaultSpacing(), done, colour, loc), 1)
	colour = spaced("", time.Date(2026, 6, 19, 0, 0, 0, 0, loc).UTC(), 30, one("colour"))
	require.Empty(t, scheduling.CheckSpacing(scheduling.DefaultSpacing(), done, colour, loc))
}

func TestARuleEitherWayHoldsBothWays(t *testing.T) {
	rule := scheduling.SpacingRule{After: "perm", Before: "colour", Days: 7, Level: "warn", EitherWay: true}
	start := time.Date(2026, 6, 10, 9, 0, 0, 0, time.UTC)
	for _, way := range [][2]string{{"perm", "colour"}, {"colour", "perm"}} {
		for _, step := range []int{1, -1} { // booked before and after
			other := spaced("o", start, 60, one(way[0]))
			v := spaced("", start.AddDate(0, 0, 3*step), 60, one(way[1]))
			require.Len(t, scheduling.CheckSpacing([]scheduling.SpacingRule{rule}, []scheduling.SpacedVisit{other}, v, time.UTC), 1)
		}
	}
	require.Equal(t, "perm, then colour or the other way round: not within 7 days", rule.String())
	rule.EitherWay = false
	v := spaced("", start.AddDate(0, 0, 3), 60, one("perm"))
	require.Empty(t, scheduling.CheckSpacing([]scheduling.SpacingRule{rule}, []scheduling.SpacedVisit{spaced("o", start, 60, one("colour"))}, v, time.UTC))
}

// TestTheFirstAllowedStartIsTheFirst tries every half hour with a slow check
// that knows the calendar only by its days and hours.
func TestTheFirstAllowedStartIsTheFirst(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	loc := zone(t, "Europe/Berlin")
	begin := time.Date(2026, 3, 20, 8, 0, 0, 0, loc)
	families := []string{"straightening", "wet", "colour"}
	moved := 0
	for range 600 {
		var rules []scheduling.SpacingRule
		for range 1 + r.IntN(4) {
			x := scheduling.SpacingRule{After: families[r.IntN(3)], Before: families[r.IntN(3)], Level: "warn", EitherWay: r.IntN(3) == 0}
			if r.IntN(2) == 0 {
				x.Hours = 1 + r.IntN(90)
			} else {
				x.Days = 1 + r.IntN(9)
			}
			rules = append(rules, x)
		}
		var others []scheduling.SpacedVisit
		for i := range r.IntN(5) {
			others = append(others, spaced(fmt.Sprint(i), begin.Add(time.Duration(r.IntN(600))*30*time.Minute), 30+30*r.IntN(4), one(families[r.IntN(3)])))
		}
		v := spaced("", begin.Add(time.Duration(r.IntN(500))*30*time.Minute), 60, one(families[r.IntN(3)]))
		got := scheduling.CheckSpacing(rules, others, v, loc)
		require.Equal(t, slowlyKept(rules, others, v, loc), len(got) == 0, "seed %d", seed)
		if len(got) == 0 {
			continue
		}
		first := v
		meets := func(o scheduling.SpacedVisit) bool { return first.Start.Before(o.End) && o.Start.Before(first.End) }
		for !slowlyKept(rules, others, first, loc) || slices.ContainsFunc(others, meets) {
			first.Start, first.End = first.Start.Add(30*time.Minute), first.End.Add(30*time.Minute)
		}
		moved++
		for _, x := range got {
			require.True(t, x.FirstAllowed.Equal(first.Start), "seed %d: %s instead of %s", seed, x.FirstAllowed, first.Start)
		}
	}
	require.Greater(t, moved, 20, "seed %d: hardly anything to move", seed)
}

func slowlyKept(rules []scheduling.SpacingRule, others []scheduling.SpacedVisit, v scheduling.SpacedVisit, loc *time.Location) bool {
	midnight := func(t time.Time) time.Time {
		l := t.In(loc)
		return time.Date(l.Year(), l.Month(), l.Day(), 12, 0, 0, 0, time.UTC)
	}
	for _, o := range others {
		a, b := o, v
		if o.Start.After(v.Start) {
			a, b = v, o
		}
		fa, fb := a.Services[0].Families[0], b.Services[0].Families[0]
		for _, x := range rules {
			if !(x.After == fa && x.Before == fb || x.EitherWay && x.After == fb && x.Before == fa) {
				continue
			}
			if x.Hours > 0 && b.Start.Sub(a.End).Hours() < float64(x.Hours) ||
				x.Days > 0 && midnight(b.Start).Sub(midnight(a.End)).Hours() < 24*float64(x.Days) {
				return false
			}
		}
	}
	return true
}

func TestSpacingRulesAreValidated(t *testing.T) {
	for _, r := range scheduling.DefaultSpacing() {
		require.NoError(t, r.Validate())
	}
	bad := scheduling.SpacingRule{After: "Perm", Before: "", Hours: 5, Days: 2000, MinRegrowthCM: -1, Level: "refuse"}
	err := bad.Validate()
	for _, field := range []string{"after", "before", "days is 2000", "days is given beside hours", "min_regrowth_cm", "level"} {
		require.ErrorContains(t, err, field)
	}
}

func TestStandardServicesBelongToTheirFamilies(t *testing.T) {
	for name, want := range map[string][]string{
		"Straightening": {"straightening", "wet"}, "Regrowth retouch": {"straightening", "wet"}, "Root colour": {"colour", "wet"},
		"Cut and dry": {"wet"}, "Dry cut": nil, "Patch test": nil, "Consultation": nil, "Care treatment": {"wet"},
	} {
		require.Equal(t, want, standardSpaced(t, name).Families, name)
	}
	// A service from before there were families, kept dry for 48 hours afterwards.
	require.Equal(t, []string{"straightening"}, scheduling.SpacedBy("old", nil, true, false).Families)
	s := scheduling.StandardServices()[3]
	s.Families = []string{"Up do", "a", "a"}
	require.ErrorContains(t, s.Validate(), `families[0] is "Up do"`)
	require.ErrorContains(t, s.Validate(), `families[2] is "a" again`)
}

package openings_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
)

func iso(s string) date.Date { return date.MustParseISO(s) }

func until(s string) *date.Date {
	d := iso(s)
	return &d
}

// at is a week with the same window on some weekdays.
func at(from, to int, weekdays ...int) openings.Week {
	var w openings.Week
	for _, d := range weekdays {
		w.Work = append(w.Work, openings.ClockWindow{Weekday: d, From: from, To: to})
	}
	return w
}

// hours are the windows of work on a date in short.
func hours(r openings.WorkRota, d date.Date) string {
	w, by := r.On(d)
	out := string(by)
	for _, x := range w.Work {
		out += fmt.Sprintf(" %d-%d", x.From/60, x.To/60)
	}
	return out
}

func TestASingleDayComesBeforeWeeksByDateAndTheseBeforeTheStandingWeek(t *testing.T) {
	r := openings.WorkRota{
		Standing: at(540, 1080, 1, 2, 3, 4, 5),
		Turns: []openings.Turns{
			{First: iso("2026-09-02"), Last: until("2026-09-30"), Weeks: []openings.Week{at(600, 960, 2, 3, 4), at(600, 960, 2, 6)}},
			{First: iso("2026-10-05"), Weeks: []openings.Week{at(480, 720, 1)}},
		},
		Single: map[date.Date]openings.Week{
			iso("2026-09-06"): at(660, 900, 1), // a Sunday: the weekday of a single day's window does not count
			iso("2026-09-08"): {},
			iso("2026-10-01"): at(720, 780, 4),
		},
	}
	for _, x := range []struct{ name, day, want string }{
		{"the day before is the standing week's", "2026-09-01", "standing_week 9-18"},
		{"the first date, a Wednesday", "2026-09-02", "weeks_in_turn 10-16"},
		{"Thursday of the first week", "2026-09-03", "weeks_in_turn 10-16"},
		{"nothing of the standing week is added", "2026-09-04", "weeks_in_turn"},
		{"Saturday of the first week", "2026-09-05", "weeks_in_turn"},
		{"an extra Sunday", "2026-09-06", "single_day 11-15"},
		{"Monday begins the second week", "2026-09-07", "weeks_in_turn"},
		{"does not work on that date", "2026-09-08", "single_day"},
		{"Saturday of the second week", "2026-09-12", "weeks_in_turn 10-16"},
		{"the first week again", "2026-09-16", "weeks_in_turn 10-16"},
		{"its Saturday", "2026-09-19", "weeks_in_turn"},
		{"the last date, a Wednesday of the first week", "2026-09-30", "weeks_in_turn 10-16"},
		{"a single day in the standing week", "2026-10-01", "single_day 12-13"},
		{"the standing week again", "2026-10-02", "standing_week 9-18"},
		{"until further notice", "2031-10-06", "weeks_in_turn 8-12"},
	} {
		t.Run(x.name, func(t *testing.T) { require.Equal(t, x.want, hours(r, iso(x.day))) })
	}
}

// 2026 has an ISO week 53, which would make two odd weeks follow each other where
// turns went by the number of the week (ISO 8601, 28 December to 3 January).
func TestTurnsGoOnOverTheEndOfAYearAndLeapDays(t *testing.T) {
	for _, x := range []struct {
		first, day string
		weeks      int
		want       int
	}{
		{"2026-12-21", "2026-12-27", 2, 0}, {"2026-12-21", "2026-12-28", 2, 1}, {"2026-12-21", "2027-01-03", 2, 1}, {"2026-12-21", "2027-01-04", 2, 0},
		{"2026-12-21", "2027-01-10", 2, 0}, {"2026-12-21", "2027-01-11", 2, 1}, {"2027-01-01", "2027-01-03", 3, 0}, {"2027-01-01", "2027-01-04", 3, 1},
		{"2028-02-21", "2028-02-29", 4, 1}, {"2028-02-29", "2028-02-29", 4, 0}, {"2028-02-29", "2028-03-05", 4, 0}, {"2028-02-29", "2028-03-06", 4, 1},
		{"2026-06-07", "2026-06-08", 2, 1}, {"2026-06-08", "2026-06-14", 2, 0}, {"2026-06-08", "2026-07-06", 4, 0},
	} {
		r := openings.Turns{First: iso(x.first), Weeks: make([]openings.Week, x.weeks)}
		require.Equal(t, x.want, r.Turn(iso(x.day)), "%d weeks from %s on %s", x.weeks, x.first, x.day)
	}
}

// slowly finds what holds on d by walking from the first date on, day by day: each
// Monday the next week comes.
func slowly(r openings.WorkRota, d date.Date) string {
	show := func(by string, list []openings.ClockWindow, all bool) string {
		for _, x := range list {
			if all || time.Weekday(x.Weekday%7) == d.Weekday() {
				by += fmt.Sprintf(" %d-%d", x.From/60, x.To/60)
			}
		}
		return by
	}
	for day, w := range r.Single {
		if day.String() == d.String() {
			return show("single_day", w.Work, true)
		}
	}
	for _, x := range r.Turns {
		turn := 0
		for day := x.First; x.Last == nil && !day.After(d) || x.Last != nil && !day.After(*x.Last); day = day.Add(1) {
			if day != x.First && day.Weekday() == time.Monday {
				if turn++; turn == len(x.Weeks) {
					turn = 0
				}
			}
			if day == d {
				return show("weeks_in_turn", x.Weeks[turn].Work, false)
			}
		}
	}
	return show("standing_week", r.Standing.Work, false)
}

func TestTheHoursOfADateAreThoseThatOneFindsDayByDay(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	defer func() {
		if t.Failed() {
			t.Logf("seed %d", seed)
		}
	}()
	r := rand.New(rand.NewPCG(seed, 0))
	week := func() (w openings.Week) {
		for d := 1; d <= 7; d++ {
			for range r.IntN(3) {
				from := 60 * r.IntN(24)
				w.Work = append(w.Work, openings.ClockWindow{Weekday: d, From: from, To: from + 60 + 60*r.IntN(24)})
			}
		}
		return w
	}
	for range 60 {
		// Weeks 53 of 2020, 2026 and 2032 and the leap days of 2024, 2028 and 2032 come up.
		d := iso("2020-11-01").Add(date.PeriodOfDays(r.IntN(12 * 365)))
		x := openings.WorkRota{Standing: week(), Single: map[date.Date]openings.Week{}}
		for range r.IntN(4) {
			y := openings.Turns{First: d}
			for range 1 + r.IntN(4) {
				y.Weeks = append(y.Weeks, week())
			}
			last := d.Add(date.PeriodOfDays(r.IntN(90)))
			if y.Last = &last; r.IntN(6) == 0 {
				y.Last = nil
				x.Turns = append(x.Turns, y)
				break
			}
			x.Turns = append(x.Turns, y)
			d = last.Add(date.PeriodOfDays(1 + r.IntN(20)))
		}
		for range r.IntN(10) {
			x.Single[d.Add(date.PeriodOfDays(r.IntN(200)-150))] = week()
		}
		for n := range 300 {
			day := d.Add(date.PeriodOfDays(n - 200))
			require.Equal(t, slowly(x, day), hours(x, day), "%s of %+v", day, x)
		}
	}
}

// Clocks in London go from 01:00 to 02:00 on 29 March 2026 and from 02:00 back to
// 01:00 on 25 October 2026, both Sundays; in New York from 02:00 to 03:00 on 8
// March and from 02:00 back to 01:00 on 1 November 2026 (time zone database).
func TestHoursByDateFollowTheClockOnTheWall(t *testing.T) {
	for _, x := range []struct {
		name, zone, day string
		from, to        int
		want            openings.Span
	}{
		{"a single day after the skipped hour", "Europe/London", "2026-03-29", 540, 1080, openings.Span{From: 480, To: 1020}},
		{"a single day after the repeated hour", "Europe/London", "2026-10-25", 540, 1080, openings.Span{From: 600, To: 1140}},
		{"a night into the skipped hour", "Europe/London", "2026-03-28", 1200, 1620, openings.Span{From: 1200, To: 1560}},
		{"a night over the repeated hour", "Europe/London", "2026-10-24", 1200, 1620, openings.Span{From: 1200, To: 1680}},
		{"a night over the skipped hour", "America/New_York", "2026-03-07", 1320, 1620, openings.Span{From: 1320, To: 1560}},
		{"a night over the repeated hour, elsewhere", "America/New_York", "2026-10-31", 1320, 1620, openings.Span{From: 1320, To: 1680}},
	} {
		t.Run(x.name, func(t *testing.T) {
			d := iso(x.day)
			h := openings.NewHorizon(zone(t, x.zone), openings.DateRange{First: d, Last: d.Add(1)})
			day := (int(d.Weekday())+6)%7 + 1
			week := openings.Week{Work: at(x.from, x.to, day).Work, Breaks: []openings.ClockWindow{{Weekday: day, From: x.from + 60, To: x.from + 90}}}
			last := d
			for name, r := range map[string]openings.WorkRota{
				"standing": {Standing: week},
				"by date":  {Turns: []openings.Turns{{First: d, Last: &last, Weeks: []openings.Week{week}}}},
				"second":   {Turns: []openings.Turns{{First: d.Add(-7), Weeks: []openings.Week{{}, week}}}},
				"single":   {Single: map[date.Date]openings.Week{d: week}},
			} {
				work, breaks := h.Working(r, nil)
				require.Equal(t, []openings.Span{x.want}, work, name)
				require.Len(t, breaks, 1, name)
				require.Equal(t, openings.Minute(30), breaks[0].To-breaks[0].From, name)
				work, _ = h.Working(r, []openings.DateRange{{First: d, Last: d}})
				require.Empty(t, work, "the salon is closed")
			}
		})
	}
}

func TestANightBelongsToTheDateOnWhichItBegins(t *testing.T) {
	h := openings.NewHorizon(zone(t, "Europe/London"), days("2026-09-01", "2026-09-02")) // Tuesday, Wednesday
	night := at(1200, 1560, 1, 2, 3)                                                     // 20:00 to 02:00
	last := iso("2026-08-31")
	r := openings.WorkRota{Turns: []openings.Turns{{First: iso("2026-08-01"), Last: &last, Weeks: []openings.Week{night}}}}
	work, _ := h.Working(r, nil)
	require.Equal(t, []openings.Span{{From: 0, To: 120}}, work, "the rest of the last night")
	r = openings.WorkRota{Standing: night, Single: map[date.Date]openings.Week{iso("2026-09-01"): {}}}
	work, _ = h.Working(r, nil)
	require.Equal(t, []openings.Span{{From: 0, To: 120}, {From: 1440 + 1200, To: 2880}}, work, "a day off takes its own night, not that before it")
	r.Single[iso("2026-09-01")] = at(600, 660, 7) // a Tuesday all the same
	work, _ = h.Working(r, nil)
	require.Equal(t, []openings.Span{{From: 0, To: 120}, {From: 600, To: 660}, {From: 1440 + 1200, To: 2880}}, work)
}

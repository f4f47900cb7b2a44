package store_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"sort"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/store"
)

// rota is what was written into the tables, kept for the oracle.
type rota struct {
	loc      *time.Location
	open     []store.Window
	hours    map[string][]store.Window
	shifts   map[string]shifts
	closures []store.Closure
	absences []store.Absence
	blocks   map[string][]store.Block // by visit
	gone     string                   // unit that is not active
}

// The oracle knows no spans and no trick: it looks at each minute by itself.

// wallMinute is the instant at which the clocks of loc show minute n of day d,
// found by walking over the instants around: the first that shows it, or where
// none does, the one that would if the clocks had not gone forward.
func wallMinute(loc *time.Location, d date.Date, n int) time.Time {
	want := d.UTC().Add(minutes(n))
	start := want.Add(-15 * time.Hour)
	for m := range 30 * 60 {
		t := start.Add(minutes(m))
		shown := asShown(t.In(loc))
		if shown.Equal(want) {
			return t
		}
		if shown.After(want) {
			// The minute before showed less: its offset is the one before the gap.
			_, offset := t.Add(-time.Minute).In(loc).Zone()
			return want.Add(-time.Duration(offset) * time.Second)
		}
	}
	panic("no such minute")
}

// asShown is what clock and calendar show at t, as if that were UTC.
func asShown(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), 0, 0, time.UTC)
}

// during says for each minute of the horizon whether one of the windows of kind
// is in force on a day that is not closed. x has what holds instead of list by date.
func (r *rota) during(h openings.Horizon, list []store.Window, x shifts, kind string) []bool {
	out := make([]bool, h.Length)
	for d := h.Days.First.Add(-2); !d.After(h.Days.Last); d = d.Add(1) {
		if slices.ContainsFunc(r.closures, func(c store.Closure) bool { return !d.Before(c.First) && !d.After(c.Last) }) {
			continue
		}
		weekday := int(d.Weekday())
		if weekday == 0 {
			weekday = 7
		}
		for _, w := range x.on(d, list) {
			if w.Kind != kind || w.Weekday != weekday {
				continue
			}
			from, to := wallMinute(r.loc, d, w.From), wallMinute(r.loc, d, w.To)
			for m := range out {
				t := h.Origin.Add(minutes(m))
				if !t.Before(from) && t.Before(to) {
					out[m] = true
				}
			}
		}
	}
	return out
}

// away adds the minutes in which an absence of unit lasts, be it for a second.
func (r *rota) away(h openings.Horizon, unit string, out []bool) []bool {
	for _, a := range r.absences {
		for m := range out {
			t := h.Origin.Add(minutes(m))
			if a.Unit == unit && a.From.Before(t.Add(time.Minute)) && a.To.After(t) {
				out[m] = true
			}
		}
	}
	return out
}

// promised lists the blocks of unit of which a minute lies in the horizon,
// clearing included, except those of one visit.
func (r *rota) promised(h openings.Horizon, unit, except string) (list []string) {
	for visit, blocks := range r.blocks {
		for _, b := range blocks {
			from, to := int(b.Start.Sub(h.Origin)/time.Minute), int(b.End.Sub(h.Origin)/time.Minute)
			if b.Unit == unit && visit != except && to+b.Clear > 0 && from < int(h.Length) {
				list = append(list, fmt.Sprint(from, to, b.Clear))
			}
		}
	}
	sort.Strings(list)
	return list
}

// covered says for each minute whether a span covers it.
func covered(h openings.Horizon, list []openings.Span) []bool {
	out := make([]bool, h.Length)
	for _, x := range list {
		for m := x.From; m < x.To; m++ {
			out[m] = true
		}
	}
	return out
}

// text draws minutes so that a difference can be read.
func text(h openings.Horizon, list []bool) (out string) {
	for m := range list {
		if m == 0 || list[m] != list[m-1] {
			out += fmt.Sprintf("%s %v\n", h.Time(openings.Minute(m)).Format("2 Jan 15:04 MST"), list[m])
		}
	}
	return out
}

// random fills the salon's tables with a rota around the days.
func (s *salon) random(r *rand.Rand, loc *time.Location, days openings.DateRange) *rota {
	s.t.Helper()
	ctx := s.t.Context()
	out := &rota{loc: loc, hours: map[string][]store.Window{}, shifts: map[string]shifts{}, blocks: map[string][]store.Block{}}
	week := func(kinds ...string) (list []store.Window) {
		used := map[string]bool{}
		for range r.IntN(12) {
			w := store.Window{Weekday: 1 + r.IntN(7), Kind: kinds[r.IntN(len(kinds))], From: 30 * r.IntN(48)}
			w.To = min(2880, w.From+15+15*r.IntN(100))
			if key := fmt.Sprint(w.Weekday, w.Kind, w.From); !used[key] {
				used[key] = true
				list = append(list, w)
			}
		}
		return list
	}
	near := func() time.Time { return days.First.UTC().Add(minutes(r.IntN(6*1440) - 2*1440)) }
	units := []string{s.ada, s.ben, s.mina, s.chairs[0], s.chairs[1], s.basin}
	s.tx(func(t *store.Tx) error {
		out.open = week("open")
		require.NoError(s.t, t.SetOpeningHours(ctx, out.open))
		for _, id := range units[:2] { // Mina has no standing week
			out.hours[id] = week("work", "work", "break")
			require.NoError(s.t, t.SetStaffHours(ctx, id, out.hours[id]))
		}
		for _, id := range units[:3] {
			out.shifts[id] = s.shiftsOf(ctx, r, t, id, days, week)
		}
		for range r.IntN(3) {
			first := days.First.Add(date.PeriodOfDays(r.IntN(7) - 4))
			c := store.Closure{First: first, Last: first.Add(date.PeriodOfDays(r.IntN(3)))}
			out.closures = append(out.closures, c)
			_, err := t.AddClosure(ctx, c)
			require.NoError(s.t, err)
		}
		for range r.IntN(6) {
			from := near().Add(time.Duration(r.IntN(60)) * time.Second)
			a := store.Absence{Unit: units[r.IntN(6)], From: from, To: from.Add(time.Duration(1+r.IntN(100_000)) * time.Second)}
			out.absences = append(out.absences, a)
			_, err := t.AddAbsence(ctx, a)
			require.NoError(s.t, err)
		}
		if r.IntN(2) == 0 {
			u, err := t.StationByID(ctx, s.chairs[1])
			require.NoError(s.t, err)
			u.Active, out.gone = false, u.ID
			_, err = t.UpdateStation(ctx, u)
			require.NoError(s.t, err)
		}
		return nil
	})
	for range 12 {
		from := near()
		v, blocks := s.only(s.client("Guest"), units[r.IntN(6)], from, from.Add(minutes(1+r.IntN(300))), []int{0, 3, 10, 240}[r.IntN(4)])
		err := s.try(func(t *store.Tx) error { return t.InsertVisit(ctx, v, blocks) })
		if err == nil {
			out.blocks[v.ID] = blocks
		}
	}
	return out
}

// requireShop holds what is loaded against the oracle.
func (s *salon) requireShop(h openings.Horizon, r *rota, except string) {
	s.t.Helper()
	var shop openings.Shop
	s.tx(func(t *store.Tx) (err error) {
		shop, err = t.LoadShop(s.t.Context(), h, time.Now(), except)
		return err
	})
	require.Equal(s.t, h.Length, shop.Minutes)
	require.Equal(s.t, text(h, r.during(h, r.open, shifts{}, "open")), text(h, covered(h, shop.Premises)))
	all := make([]bool, h.Length)
	for m := range all {
		all[m] = true
	}
	var want []string
	for _, id := range []string{s.ada, s.ben, s.mina, s.chairs[0], s.chairs[1], s.basin} {
		if id != r.gone {
			want = append(want, id)
		}
	}
	require.Len(s.t, shop.Units, len(want))
	for i, u := range shop.Units {
		require.Equal(s.t, want[i], u.ID, "in the order they were added")
		open, pause := all, make([]bool, h.Length)
		if slices.Contains([]string{s.ada, s.ben, s.mina}, u.ID) {
			require.Equal(s.t, []string{"cut"}, u.Skills)
			require.Zero(s.t, u.Changeover)
			open, pause = r.during(h, r.hours[u.ID], r.shifts[u.ID], "work"), r.during(h, r.hours[u.ID], r.shifts[u.ID], "break")
		} else {
			require.Empty(s.t, u.Skills)
			require.Equal(s.t, openings.Minute(3), u.Changeover)
		}
		require.Equal(s.t, text(h, open), text(h, covered(h, u.Open)))
		require.Equal(s.t, text(h, r.away(h, u.ID, pause)), text(h, covered(h, u.Breaks)))
		var booked []string
		for _, b := range u.Bookings {
			booked = append(booked, fmt.Sprint(b.From, b.To, b.Clear))
		}
		sort.Strings(booked)
		require.Equal(s.t, r.promised(h, u.ID, except), booked)
	}
}

func TestTheLoadedShopIsWhatTheRowsSayMinuteByMinute(t *testing.T) {
	t.Parallel()
	first := newSalon(t, 4)
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	defer func() {
		if t.Failed() {
			t.Logf("seed %d", seed)
		}
	}()
	for _, x := range []struct {
		zone string
		day  date.Date
	}{
		{"Europe/London", date.New(2027, time.March, 28)},       // forward at 01:00
		{"Europe/London", date.New(2027, time.October, 31)},     // back at 02:00
		{"America/New_York", date.New(2027, time.March, 14)},    // forward at 02:00
		{"America/New_York", date.New(2027, time.November, 7)},  // back at 02:00
		{"Asia/Kolkata", date.New(2027, time.June, 7)},          // half an hour beside the others
		{"America/Santiago", date.New(2027, time.September, 5)}, // midnight is skipped
		{"Pacific/Kiritimati", date.New(2028, time.February, 28)},
	} {
		loc, err := time.LoadLocation(x.zone)
		require.NoError(t, err)
		for range 3 {
			s := &salon{t: t, url: first.url, store: first.store, db: first.db}
			s.fill(x.zone)
			days := openings.DateRange{First: x.day.Add(date.PeriodOfDays(-r.IntN(2)))}
			days.Last = days.First.Add(date.PeriodOfDays(r.IntN(3)))
			h := openings.NewHorizon(loc, days)
			written := s.random(r, loc, days)
			s.requireShop(h, written, "")
			for visit := range written.blocks {
				s.requireShop(h, written, visit)
				break
			}
		}
	}
}

func TestHoursPastMidnightBelongToTheDayOnWhichTheyBegin(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	loc := time.UTC
	day := date.New(2027, time.June, 7) // a Monday
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.SetOpeningHours(t.Context(), []store.Window{{Weekday: 7, Kind: "open", From: 1200, To: 1560}, {Weekday: 1, Kind: "open", From: 1200, To: 1560}}))
		// Closed on Monday: Sunday's evening goes on to two o'clock all the same.
		_, err := tx.AddClosure(t.Context(), store.Closure{First: day, Last: day})
		return err
	})
	load := func(first, last date.Date) (shop openings.Shop) {
		s.tx(func(tx *store.Tx) (err error) {
			shop, err = tx.LoadShop(t.Context(), openings.NewHorizon(loc, openings.DateRange{First: first, Last: last}), time.Now())
			return err
		})
		return shop
	}
	require.Equal(t, []openings.Span{{From: 0, To: 120}}, load(day, day).Premises)
	require.Empty(t, load(day.Add(1), day.Add(1)).Premises, "the closed Monday's evening does not reach into Tuesday")
	require.Equal(t, []openings.Span{{From: 1200, To: 1560}}, load(day.Add(-1), day).Premises)
}

func TestClearingThatReachesIntoTheHorizonIsLoaded(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	day := date.NewAt(soon)
	h := openings.NewHorizon(time.UTC, openings.DateRange{First: day, Last: day})
	load := func() (list []openings.Booking) {
		s.tx(func(tx *store.Tx) error {
			shop, err := tx.LoadShop(t.Context(), h, time.Now())
			for _, u := range shop.Units {
				for _, b := range u.Bookings {
					b.Visit = ""
					list = append(list, b)
				}
			}
			return err
		})
		return list
	}
	for _, b := range []store.Block{
		{Unit: s.chairs[0], Start: at(-2, 0), End: at(0, -10), Clear: 10}, // just over
		{Unit: s.chairs[0], Start: at(24, 0), End: at(25, 0)},             // not yet
		{Unit: s.chairs[1], Start: at(-2, 0), End: at(0, -10), Clear: 11},
		{Unit: s.basin, Start: at(23, 59), End: at(25, 0), Clear: 5},
	} {
		_, err := s.bookOnly(b.Unit, b.Start, b.End, b.Clear)
		require.NoError(t, err)
	}
	require.Equal(t, []openings.Booking{{From: -120, To: -10, Clear: 11}, {From: 1439, To: 1500, Clear: 5}}, load())
}

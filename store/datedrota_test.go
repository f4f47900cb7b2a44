package store_test

import (
	"context"
	"maps"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// The day on which the filled salons have a single day, and weeks by date begin.
var shiftDay = date.New(2031, time.May, 4)

func init() {
	all := openings.DateRange{First: date.New(2000, 1, 1), Last: date.New(2100, 1, 1)}
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"WorkRota":   func(t *store.Tx, x *filled) (any, error) { return t.WorkRota(x.t.Context(), x.ada, all) },
		"WorkRotas":  func(t *store.Tx, x *filled) (any, error) { return t.WorkRotas(x.t.Context(), all) },
		"StaffRotas": func(t *store.Tx, x *filled) (any, error) { return t.StaffRotas(x.t.Context(), x.ada, all.First) },
		"StaffRotaByID": func(t *store.Tx, x *filled) (any, error) {
			return t.StaffRotaByID(x.t.Context(), x.ada, x.weeks())
		},
		"AddStaffRota": func(t *store.Tx, x *filled) (any, error) {
			return t.AddStaffRota(x.t.Context(), store.StaffRota{Staff: x.ada, First: all.First, Last: &all.First, Weeks: [][]store.Window{nil}})
		},
		"SetStaffRota": func(t *store.Tx, x *filled) (any, error) {
			return t.SetStaffRota(x.t.Context(), store.StaffRota{ID: x.weeks(), Staff: x.ada, First: all.First, Weeks: [][]store.Window{nil}, Version: 1})
		},
		"DeleteStaffRota": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.DeleteStaffRota(x.t.Context(), x.ada, x.weeks())
		},
		"OpeningDays":  func(t *store.Tx, x *filled) (any, error) { return t.OpeningDays(x.t.Context(), all.First) },
		"OpeningDayOn": func(t *store.Tx, x *filled) (any, error) { return t.OpeningDayOn(x.t.Context(), shiftDay) },
		"OpeningRota":  func(t *store.Tx, x *filled) (any, error) { return t.OpeningRota(x.t.Context(), all.First) },
		"SetOpeningDay": func(t *store.Tx, x *filled) (any, error) {
			return t.SetOpeningDay(x.t.Context(), store.OpeningDay{Date: shiftDay, Version: 1})
		},
		"DeleteOpeningDay": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.DeleteOpeningDay(x.t.Context(), shiftDay)
		},
		"StaffDays":  func(t *store.Tx, x *filled) (any, error) { return t.StaffDays(x.t.Context(), x.ada, all.First) },
		"StaffDayOn": func(t *store.Tx, x *filled) (any, error) { return t.StaffDayOn(x.t.Context(), x.ada, shiftDay) },
		"AddStaffDay": func(t *store.Tx, x *filled) (any, error) {
			return t.AddStaffDay(x.t.Context(), store.StaffDay{Staff: x.ada, Date: all.First})
		},
		"SetStaffDay": func(t *store.Tx, x *filled) (any, error) {
			return t.SetStaffDay(x.t.Context(), store.StaffDay{Staff: x.ada, Date: shiftDay, Version: 1})
		},
		"DeleteStaffDay": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.DeleteStaffDay(x.t.Context(), x.ada, shiftDay)
		},
	})
}

func window(weekday int, kind string, from, to int) store.Window {
	return store.Window{Weekday: weekday, Kind: kind, From: from, To: to}
}

// byDate notes weeks by date and a single day of Ada.
func (x *filled) byDate(t *store.Tx) {
	ctx := x.t.Context()
	_, err := t.AddStaffRota(ctx, store.StaffRota{Staff: x.ada, First: shiftDay, Weeks: [][]store.Window{{window(2, "work", 541, 1081)}, {window(6, "work", 541, 1081)}}})
	require.NoError(x.t, err)
	_, err = t.AddStaffDay(ctx, store.StaffDay{Staff: x.ada, Date: shiftDay, Windows: []store.Window{window(7, "work", 541, 1081)}})
	require.NoError(x.t, err)
}

func (x *filled) weeks() string {
	return value[string](x.salon, `SELECT rota_id FROM staff_rota WHERE salon_id = $1`, x.row.ID)
}

func TestWeeksByDateAndSingleDaysComeBackAsWritten(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	first, last := date.New(2031, time.September, 1), date.New(2031, time.December, 31)
	s.tx(func(tx *store.Tx) error {
		want := store.StaffRota{Staff: s.ada, First: first, Last: &last, Version: 1, Weeks: [][]store.Window{
			{window(2, "work", 540, 1080), window(2, "break", 720, 750), window(4, "work", 1200, 1560)}, nil, {window(6, "work", 600, 900)}, nil}}
		r, err := tx.AddStaffRota(ctx, want)
		require.NoError(t, err)
		want.ID = r.ID
		require.Equal(t, want, r)
		list, err := tx.StaffRotas(ctx, s.ada, last)
		require.NoError(t, err)
		require.Equal(t, []store.StaffRota{want}, list)
		list, err = tx.StaffRotas(ctx, s.ada, last.Add(1))
		require.NoError(t, err)
		require.Empty(t, list, "it is over")
		_, err = tx.StaffRotaByID(ctx, s.ben, r.ID)
		require.ErrorIs(t, err, scheduling.ErrNotFound)

		want.Last, want.Weeks = nil, [][]store.Window{nil}
		changed, err := tx.SetStaffRota(ctx, want)
		require.NoError(t, err)
		want.Version = 2
		require.Equal(t, want, changed)
		want.Version = 1
		_, err = tx.SetStaffRota(ctx, want)
		require.ErrorIs(t, err, scheduling.ErrStale)
		require.ErrorIs(t, tx.DeleteStaffRota(ctx, s.ben, r.ID), scheduling.ErrNotFound)
		require.NoError(t, tx.DeleteStaffRota(ctx, s.ada, r.ID))
		require.ErrorIs(t, tx.DeleteStaffRota(ctx, s.ada, r.ID), scheduling.ErrNotFound)

		day := store.StaffDay{Staff: s.ada, Date: shiftDay, Version: 1, Windows: []store.Window{window(7, "work", 1200, 1560), window(7, "break", 1300, 1310)}}
		d, err := tx.AddStaffDay(ctx, day)
		require.NoError(t, err)
		require.Equal(t, day, d)
		_, err = tx.AddStaffDay(ctx, day)
		require.ErrorAs(t, err, new(*scheduling.InvalidError))
		day.Windows = nil
		d, err = tx.SetStaffDay(ctx, day)
		require.NoError(t, err)
		day.Version = 2
		require.Equal(t, day, d)
		day.Version = 1
		_, err = tx.SetStaffDay(ctx, day)
		require.ErrorIs(t, err, scheduling.ErrStale)
		days, err := tx.StaffDays(ctx, s.ada, shiftDay)
		require.NoError(t, err)
		require.Equal(t, []store.StaffDay{d}, days)
		days, err = tx.StaffDays(ctx, s.ada, shiftDay.Add(1))
		require.NoError(t, err)
		require.Empty(t, days)
		require.NoError(t, tx.DeleteStaffDay(ctx, s.ada, shiftDay))
		require.ErrorIs(t, tx.DeleteStaffDay(ctx, s.ada, shiftDay), scheduling.ErrNotFound)
		return nil
	})
}

func TestWeeksByDateOfAPersonDoNotMeet(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	day := func(n int) date.Date { return date.New(2031, time.September, n) }
	add := func(staff string, first, last int) error {
		r := store.StaffRota{Staff: staff, First: day(first), Weeks: [][]store.Window{nil}}
		if last > 0 {
			end := day(last)
			r.Last = &end
		}
		return s.try(func(tx *store.Tx) error { _, err := tx.AddStaffRota(t.Context(), r); return err })
	}
	require.NoError(t, add(s.ada, 10, 20))
	require.NoError(t, add(s.ada, 25, 0))
	require.NoError(t, add(s.ben, 10, 20), "of somebody else")
	for _, x := range []struct {
		first, last int
		field       string
		says        string
	}{
		{10, 20, "first_date", "from 10 September 2031 to 20 September 2031; expected a date after 20 September 2031"},
		{20, 22, "first_date", "to 20 September 2031"},
		{1, 10, "last_date", "expected a date before 10 September 2031"},
		{1, 0, "last_date", "expected a date before 10 September 2031"},
		{26, 27, "first_date", "from 25 September 2031 until further notice"},
		{21, 0, "last_date", "expected a date before 25 September 2031"},
	} {
		var e *scheduling.InvalidError
		require.ErrorAs(t, add(s.ada, x.first, x.last), &e)
		require.Equal(t, x.field, e.Field)
		require.Contains(t, e.Error(), x.says)
	}
	require.NoError(t, add(s.ada, 21, 24), "between them")
	// Nor can a row that came in another way.
	_, err := s.db.Exec(t.Context(), `INSERT INTO staff_rota (salon_id, rota_id, staff_id, first_date, weeks) VALUES ($1, 'x', $2, '2031-09-20', 1)`, s.row.ID, s.ada)
	require.ErrorContains(t, err, "staff_rota_apart")
	// One may be changed in its own place.
	s.tx(func(tx *store.Tx) error {
		list, err := tx.StaffRotas(t.Context(), s.ada, day(1))
		require.NoError(t, err)
		require.Len(t, list, 3)
		r := list[0]
		r.First = day(5)
		_, err = tx.SetStaffRota(t.Context(), r)
		require.NoError(t, err)
		r = list[1]
		r.Last = nil
		_, err = tx.SetStaffRota(t.Context(), r)
		require.ErrorAs(t, err, new(*scheduling.InvalidError))
		return nil
	})
}

// shiftsOf fills the rota by date of a person at random around the days.
func (s *salon) shiftsOf(ctx context.Context, r *rand.Rand, tx *store.Tx, staff string, days openings.DateRange, week func(...string) []store.Window) shifts {
	s.t.Helper()
	var out shifts
	d := days.First.Add(date.PeriodOfDays(-r.IntN(60)))
	for range r.IntN(4) {
		x := store.StaffRota{Staff: staff, First: d, Weeks: make([][]store.Window, 1+r.IntN(4))}
		for i := range x.Weeks {
			x.Weeks[i] = week("work", "work", "break")
		}
		last := d.Add(date.PeriodOfDays(r.IntN(40)))
		open := r.IntN(3) == 0
		if !open {
			x.Last = &last
		}
		_, err := tx.AddStaffRota(ctx, x)
		require.NoError(s.t, err)
		if out.rotas = append(out.rotas, x); open {
			break
		}
		d = last.Add(date.PeriodOfDays(1 + r.IntN(3)))
	}
	used := map[date.Date]bool{}
	for range r.IntN(3) {
		x := store.StaffDay{Staff: staff, Date: days.First.Add(date.PeriodOfDays(r.IntN(5) - 2))}
		if used[x.Date] {
			continue
		}
		used[x.Date] = true
		seen := map[store.Window]bool{}
		for _, w := range week("work", "work", "break") {
			w.Weekday = (int(x.Date.Weekday())+6)%7 + 1
			if key := window(w.Weekday, w.Kind, w.From, 0); !seen[key] {
				seen[key] = true
				x.Windows = append(x.Windows, w)
			}
		}
		_, err := tx.AddStaffDay(ctx, x)
		require.NoError(s.t, err)
		out.days = append(out.days, x)
	}
	return out
}

// shifts are what a person has beside her standing week, kept for the oracle.
type shifts struct {
	rotas []store.StaffRota
	days  []store.StaffDay
}

// on is what holds on a date. It finds the week whose turn it is by walking from
// the first date on: each Monday the next one comes.
func (x shifts) on(d date.Date, standing []store.Window) []store.Window {
	for _, s := range x.days {
		if s.Date.String() == d.String() {
			return s.Windows
		}
	}
	for _, r := range x.rotas {
		turn := 0
		for day := r.First; !day.After(d) && (r.Last == nil || !day.After(*r.Last)); day = day.Add(1) {
			if day.After(r.First) && day.Weekday() == time.Monday {
				turn++
			}
			if day == d {
				return r.Weeks[turn%len(r.Weeks)]
			}
		}
	}
	return standing
}

package store_test

import (
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// errClosed is how the booker of these tests says that it saw the change.
var errClosed = errors.New("seen before the booking")

// everyDay is the same window on each weekday.
func everyDay(kind string, from, to int) (list []store.Window) {
	for d := 1; d <= 7; d++ {
		list = append(list, store.Window{Weekday: d, Kind: kind, From: from, To: to})
	}
	return list
}

// opened gives the salon hours in which all work.
func (s *salon) opened() *salon {
	s.t.Helper()
	s.tx(func(t *store.Tx) error {
		if err := t.SetOpeningHours(s.t.Context(), everyDay("open", 0, 1440)); err != nil {
			return err
		}
		for _, id := range []string{s.ada, s.ben, s.mina} {
			if err := t.SetStaffHours(s.t.Context(), id, everyDay("work", 0, 1440)); err != nil {
				return err
			}
		}
		return nil
	})
	return s
}

// horizon is the days around soon.
func horizon(t testing.TB, zone string) openings.Horizon {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	require.NoError(t, err)
	d := scheduling.CivilDate(at(12, 0), loc)
	return openings.NewHorizon(loc, openings.DateRange{First: d.Add(-1), Last: d.Add(1)})
}

// mayWork says whether a unit is there, and free of absences, from..to.
func mayWork(h openings.Horizon, shop openings.Shop, unit string, from, to time.Time) bool {
	span, _ := h.Span(from, to)
	within := func(list []openings.Span) bool {
		for _, x := range list {
			if x.From <= span.From && span.To <= x.To {
				return true
			}
		}
		return false
	}
	for _, u := range shop.Units {
		if u.ID != unit || !within(shop.Premises) || !within(u.Open) {
			continue
		}
		for _, x := range u.Breaks {
			if x.From < span.To && span.From < x.To {
				return false
			}
		}
		return true
	}
	return false
}

// bookChecked books as the service does: it takes the booker's locks, looks
// whether Ada works, and writes. Without locks it is the control.
func (s *salon) bookChecked(client string, locks bool) error {
	h := horizon(s.t, s.row.Zone)
	v, blocks := s.visit(client, at(12, 0), s.seat())
	return s.try(func(t *store.Tx) error {
		if locks {
			err := t.LockForBooking(s.t.Context(), []string{s.ada, s.chairs[0], s.basin}, v.Start, v.End)
			if err != nil {
				return err
			}
		}
		shop, err := t.LoadShop(s.t.Context(), h, time.Now())
		if err != nil {
			return err
		}
		if !mayWork(h, shop, s.ada, v.Start, v.End) {
			return errClosed
		}
		time.Sleep(5 * time.Millisecond)
		return t.InsertVisit(s.t.Context(), v, blocks)
	})
}

// changes are the ways to take time away from bookers. Each says whether it saw
// a visit that is now in conflict.
var changes = map[string]func(s *salon, t *store.Tx) (bool, error){
	"absence": func(s *salon, t *store.Tx) (bool, error) {
		_, err := t.AddAbsence(s.t.Context(), store.Absence{Unit: s.ada, From: at(13, 9), To: at(15, 0)})
		if err != nil {
			return false, err
		}
		ids, err := t.VisitsUsing(s.t.Context(), s.ada, at(12, 0), at(15, 0))
		return len(ids) > 0, err
	},
	"closure": func(s *salon, t *store.Tx) (bool, error) {
		day := scheduling.CivilDate(at(12, 0), time.UTC)
		if _, err := t.AddClosure(s.t.Context(), store.Closure{First: day, Last: day}); err != nil {
			return false, err
		}
		list, err := t.VisitsBetween(s.t.Context(), at(0, 0), at(24, 0))
		return len(list) > 0, err
	},
	"hours of the salon": func(s *salon, t *store.Tx) (bool, error) {
		if err := t.SetOpeningHours(s.t.Context(), everyDay("open", 0, 600)); err != nil {
			return false, err
		}
		list, err := t.VisitsBetween(s.t.Context(), at(0, 0), at(24, 0))
		return len(list) > 0, err
	},
	"hours of a person": func(s *salon, t *store.Tx) (bool, error) {
		if err := t.SetStaffHours(s.t.Context(), s.ada, everyDay("work", 0, 600)); err != nil {
			return false, err
		}
		ids, err := t.VisitsUsing(s.t.Context(), s.ada, at(0, 0), at(24, 0))
		return len(ids) > 0, err
	},
	"weeks by date": func(s *salon, t *store.Tx) (bool, error) {
		day := date.NewAt(soon)
		_, err := t.AddStaffRota(s.t.Context(), store.StaffRota{Staff: s.ada, First: day, Last: &day, Weeks: [][]store.Window{everyDay("work", 0, 600)}})
		if err != nil {
			return false, err
		}
		ids, err := t.VisitsUsing(s.t.Context(), s.ada, at(0, 0), at(24, 0))
		return len(ids) > 0, err
	},
	"a single day": func(s *salon, t *store.Tx) (bool, error) {
		if _, err := t.AddStaffDay(s.t.Context(), store.StaffDay{Staff: s.ada, Date: date.NewAt(soon)}); err != nil {
			return false, err
		}
		ids, err := t.VisitsUsing(s.t.Context(), s.ada, at(0, 0), at(24, 0))
		return len(ids) > 0, err
	},
	"a person who leaves": func(s *salon, t *store.Tx) (bool, error) {
		if err := t.LockRota(s.t.Context()); err != nil {
			return false, err
		}
		busy, err := t.HasFutureBlocks(s.t.Context(), s.ada)
		if err != nil {
			return false, err
		}
		p, err := t.StaffByID(s.t.Context(), s.ada)
		if err != nil {
			return false, err
		}
		p.Active = false
		_, err = t.UpdateStaff(s.t.Context(), p)
		return busy, err
	},
}

// meet lets a booker and a change come at the same time, and says who saw whom.
func (s *salon) meet(change func(*salon, *store.Tx) (bool, error), locks bool) (booker, changer bool) {
	s.t.Helper()
	client := s.client("Guest")
	var errBooker, errChanger error
	var both sync.WaitGroup
	both.Go(func() { errBooker = s.bookChecked(client, locks) })
	both.Go(func() {
		errChanger = s.try(func(t *store.Tx) (err error) {
			changer, err = change(s, t)
			time.Sleep(5 * time.Millisecond)
			return err
		})
	})
	both.Wait()
	require.NoError(s.t, errChanger)
	if errors.Is(errBooker, errClosed) {
		return true, changer
	}
	require.NoError(s.t, errBooker)
	return false, changer
}

func TestOfABookerAndAChangeAtTheSameTimeOneSeesTheOther(t *testing.T) {
	for name, change := range changes {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			first := newSalon(t, 4)
			var order [2]int
			for range 12 {
				booker, changer := first.second().opened().meet(change, true)
				require.True(t, booker || changer, "neither saw the other: the visit is in conflict and nobody knows")
				if booker {
					order[0]++
				} else {
					order[1]++
				}
			}
			t.Logf("the change was first %d times, the booker %d times", order[0], order[1])

			// Without the booker's locks the same is found to go wrong.
			for range 50 {
				if booker, changer := first.second().opened().meet(change, false); !booker && !changer {
					return
				}
			}
			t.Fatal("the control found nothing: this test cannot fail")
		})
	}
}

func TestABookerWhoReadTheOldClearingTimeDoesNotKeepIt(t *testing.T) {
	t.Parallel()
	first := newSalon(t, 4)
	meet := func(s *salon, locks bool) []int {
		h := horizon(t, s.row.Zone)
		client := s.client("Guest")
		var errBooker, errChanger error
		var both sync.WaitGroup
		both.Go(func() {
			errBooker = s.try(func(tx *store.Tx) error {
				if locks {
					if err := tx.LockForBooking(t.Context(), s.chairs[:1], at(9, 0), at(10, 0)); err != nil {
						return err
					}
				}
				shop, err := tx.LoadShop(t.Context(), h, time.Now())
				if err != nil {
					return err
				}
				time.Sleep(5 * time.Millisecond)
				for _, u := range shop.Units {
					if u.ID == s.chairs[0] {
						v, blocks := s.only(client, u.ID, at(9, 0), at(10, 0), int(u.Changeover))
						return tx.InsertVisit(t.Context(), v, blocks)
					}
				}
				return errors.New("no chair")
			})
		})
		both.Go(func() { errChanger = s.station(10) })
		both.Wait()
		require.NoError(t, errBooker)
		require.NoError(t, errChanger)
		return rows[int](s, `SELECT (extract(epoch FROM upper(span) - ends_at) / 60)::int FROM block WHERE salon_id = $1`, s.row.ID)
	}
	for range 12 {
		require.Equal(t, []int{10}, meet(first.second(), true))
	}
	for range 50 {
		if meet(first.second(), false)[0] == 3 {
			return
		}
	}
	t.Fatal("the control found nothing: this test cannot fail")
}

func TestBookersDoNotWaitForEachOtherNorForOtherDaysAndUnits(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	other := s.second()
	units := []string{s.ada, s.basin}
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.LockForBooking(t.Context(), units, at(9, 0), at(12, 0)))
		s.tx(func(tx *store.Tx) error { return tx.LockForBooking(t.Context(), units, at(9, 0), at(12, 0)) })
		for _, a := range []store.Absence{
			{Unit: s.ben, From: at(9, 0), To: at(12, 0)},
			{Unit: s.ada, From: at(24, 0), To: at(36, 0)},
			{Unit: s.ada, From: at(-12, 0), To: at(0, 0)},
		} {
			s.tx(func(tx *store.Tx) error { _, err := tx.AddAbsence(t.Context(), a); return err })
		}
		other.tx(func(tx *store.Tx) error { return tx.LockRota(t.Context()) })
		return nil
	})
}

func TestHoursClosuresAndAbsencesComeBackAsWritten(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	week := []store.Window{{Weekday: 1, Kind: "open", From: 540, To: 720}, {Weekday: 1, Kind: "open", From: 780, To: 1080}, {Weekday: 6, Kind: "open", From: 1200, To: 1560}}
	own := []store.Window{{Weekday: 2, Kind: "work", From: 540, To: 1080}, {Weekday: 2, Kind: "break", From: 720, To: 750}}
	first, last := date.New(2031, time.May, 1), date.New(2031, time.May, 3)
	away := store.Absence{Unit: s.basin, From: at(9, 0), To: at(10, 0), Reason: "leaks"}
	s.tx(func(tx *store.Tx) error {
		ctx := t.Context()
		for range 2 { // replaces, not adds
			require.NoError(t, tx.SetOpeningHours(ctx, week))
			require.NoError(t, tx.SetStaffHours(ctx, s.ada, own))
		}
		hours, err := tx.OpeningHours(ctx)
		require.NoError(t, err)
		require.Equal(t, week, hours)
		hours, err = tx.StaffHours(ctx, s.ada)
		require.NoError(t, err)
		require.Equal(t, own, hours)

		c, err := tx.AddClosure(ctx, store.Closure{First: first, Last: last, Reason: "paint"})
		require.NoError(t, err)
		list, err := tx.Closures(ctx, last)
		require.NoError(t, err)
		require.Equal(t, []store.Closure{c}, list)
		list, err = tx.Closures(ctx, last.Add(1))
		require.NoError(t, err)
		require.Empty(t, list)

		a, err := tx.AddAbsence(ctx, away)
		require.NoError(t, err)
		absences, err := tx.Absences(ctx, at(9, 59))
		require.NoError(t, err)
		require.Len(t, absences, 1)
		require.Equal(t, "leaks", absences[0].Reason)
		require.WithinDuration(t, at(10, 0), absences[0].To, 0)
		absences, err = tx.Absences(ctx, at(10, 0))
		require.NoError(t, err)
		require.Empty(t, absences)

		require.NoError(t, tx.DeleteAbsence(ctx, a.ID))
		require.ErrorIs(t, tx.DeleteAbsence(ctx, a.ID), scheduling.ErrNotFound)
		require.NoError(t, tx.DeleteClosure(ctx, c.ID))
		require.ErrorIs(t, tx.DeleteClosure(ctx, c.ID), scheduling.ErrNotFound)
		return nil
	})
}

package store_test

import (
	"maps"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"BookedWith": func(t *store.Tx, x *filled) (any, error) {
			n, err := t.BookedWith(x.t.Context(), x.service.ID, at(0, 0))
			if n == 0 {
				return nil, err
			}
			return n, err
		},
		"LeadTimes": func(t *store.Tx, x *filled) (any, error) {
			l, err := t.LeadTimes(x.t.Context(), "UTC", at(0, 0), at(24, 0))
			return l.Hours, err
		},
		"MonthsOfVisits": func(t *store.Tx, x *filled) (any, error) {
			return t.MonthsOfVisits(x.t.Context(), "UTC", at(0, 0), at(24, 0))
		},
		"Rota": func(t *store.Tx, x *filled) (any, error) { return t.Rota(x.t.Context(), horizon(x.t, "UTC")) },
		"UseOfUnits": func(t *store.Tx, x *filled) (any, error) {
			return t.UseOfUnits(x.t.Context(), "UTC", at(0, 0), at(24, 0))
		},
		"VisitsTaking": func(t *store.Tx, x *filled) (any, error) { return t.VisitsTaking(x.t.Context(), x.product) },
	})
}

func TestTheUseOfUnitsIsTheSumOfTheirBlocks(t *testing.T) {
	s := newSalon(t, 2).opened()
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	day := scheduling.CivilDate(at(9, 0), time.UTC)
	s.tx(func(t *store.Tx) error {
		blocks, err := t.BlocksBetween(s.t.Context(), at(0, 0), at(24, 0))
		require.NoError(s.t, err)
		want := map[string]float64{}
		for unit, list := range blocks {
			for _, b := range list {
				want[unit] += b.End.Sub(b.Start).Minutes()
			}
		}
		got := map[string]float64{}
		use, err := t.UseOfUnits(s.t.Context(), "UTC", at(0, 0), at(24, 0))
		require.NoError(s.t, err)
		for _, u := range use {
			got[u.Unit] += u.Minutes
			monday, err := time.Parse(time.DateOnly, u.Monday)
			require.NoError(s.t, err)
			require.Equal(s.t, time.Monday, monday.Weekday())
			require.Equal(s.t, day.String(), monday.AddDate(0, 0, u.Weekday-1).Format(time.DateOnly))
		}
		require.Equal(s.t, want, got)
		require.NotEmpty(s.t, got)
		none, err := t.UseOfUnits(s.t.Context(), "UTC", v.End, at(24, 0))
		require.NoError(s.t, err)
		require.Empty(s.t, none, "blocks count on the day on which they begin")
		return nil
	})
}

func TestARotaIsAShopWithoutVisits(t *testing.T) {
	s := newSalon(t, 2).opened()
	s.booked(s.client("Guest"), at(9, 0), s.seat())
	h := horizon(t, s.row.Zone)
	s.tx(func(t *store.Tx) error {
		_, err := t.AddAbsence(s.t.Context(), store.Absence{Unit: s.ada, From: at(13, 0), To: at(15, 0)})
		require.NoError(s.t, err)
		shop, err := t.LoadShop(s.t.Context(), h, at(0, 0))
		require.NoError(s.t, err)
		rota, err := t.Rota(s.t.Context(), h)
		require.NoError(s.t, err)
		booked := false
		for i := range shop.Units {
			booked = booked || len(shop.Units[i].Bookings) > 0
			shop.Units[i].Bookings, shop.Units[i].Bays = nil, nil
		}
		require.True(s.t, booked)
		require.Equal(s.t, shop, rota)
		return nil
	})
}

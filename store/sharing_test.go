package store_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/store"
)

func TestTheShopSaysWhereAStylistIsAwayFromAVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	other := s.second()
	v := s.booked(s.client("Mara"), at(9, 0), s.seat()) // Ada works 9:00 to 9:20 and 9:50 to 10:10
	other.booked(other.client("Ines"), at(9, 0), other.seat())
	h := horizon(t, "UTC")
	load := func(s *salon, except ...string) (ada, basin openings.Unit) {
		s.tx(func(tx *store.Tx) error {
			shop, err := tx.LoadShop(t.Context(), h, time.Now(), except...)
			require.NoError(t, err)
			find := func(id string) openings.Unit {
				i := slices.IndexFunc(shop.Units, func(u openings.Unit) bool { return u.ID == id })
				require.GreaterOrEqual(t, i, 0)
				return shop.Units[i]
			}
			ada, basin = find(s.ada), find(s.basin)
			return nil
		})
		return ada, basin
	}
	ada, basin := load(s)
	require.Equal(t, []openings.Bay{{Visit: v.ID, Span: openings.Span{From: h.Minute(at(9, 20)), To: h.Minute(at(9, 50))}}}, ada.Bays)
	for _, b := range ada.Bookings {
		require.Equal(t, []any{v.ID, true, false}, []any{b.Visit, b.Leads, b.Estimated})
	}
	require.Empty(t, basin.Bays)
	require.False(t, basin.Bookings[0].Leads)
	theirs, _ := load(other)
	require.NotEqual(t, v.ID, theirs.Bays[0].Visit)
	ada, _ = load(s, v.ID)
	require.Empty(t, ada.Bays, "a visit that moves is looked through")
}

package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/store"
)

// TestWhatChangesBetweenLookAndLockIsToldUnderTheLock has another process change things
// after a booker has looked and before she holds the locks, and herself.
func TestWhatChangesBetweenLookAndLockIsToldUnderTheLock(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8).opened()
	other, h := open(t, s.url, 2), openings.NewHorizon(zone(t), around(soon, 1, 1))
	beside := func(f func(tx *store.Tx) error) func(*store.Tx) error {
		return func(*store.Tx) error { return other.InTx(t.Context(), s.row.ID, f) }
	}
	until := time.Now().Add(time.Hour)
	books := func(hour int, held *time.Time) func(*store.Tx) error {
		return func(tx *store.Tx) error {
			v, blocks := s.visit("", at(hour, 0), s.seat())
			v.HeldUntil = held
			return tx.InsertVisit(t.Context(), v, blocks)
		}
	}
	for _, x := range []struct {
		what    string
		between func(*store.Tx) error
		later   time.Duration // by which the booker believes it is
		same    bool
	}{
		{"nothing", func(*store.Tx) error { return nil }, 0, true},
		{"another books", beside(books(9, nil)), 0, false},
		{"another pencils", beside(books(12, &until)), 0, false},
		{"nothing again", func(*store.Tx) error { return nil }, 0, true},
		{"what is pencilled lapses", func(*store.Tx) error { return nil }, 2 * time.Hour, false},
		{"a person is away", beside(func(tx *store.Tx) error {
			_, err := tx.AddAbsence(t.Context(), store.Absence{Unit: s.ada, From: at(14, 0), To: at(15, 0)})
			return err
		}), 0, false},
		{"hours change", beside(func(tx *store.Tx) error {
			return tx.SetOpeningHours(t.Context(), []store.Window{{Weekday: 1, From: 600, To: 900}})
		}), 0, false},
		{"a station comes", beside(func(tx *store.Tx) error {
			_, err := tx.AddStation(t.Context(), store.Unit{Kind: "chair", Name: "new"})
			return err
		}), 0, false},
		{"she herself books", books(17, nil), 0, false},
	} {
		s.tx(func(tx *store.Tx) error {
			now := time.Now().Add(x.later)
			_, seen, err := tx.LoadShopSeen(t.Context(), h, now)
			require.NoError(t, err)
			require.NoError(t, x.between(tx), x.what)
			v, blocks := s.visit("", at(19, 0), s.seat())
			same, err := tx.LockForPlans(t.Context(), []store.Plan{{Visit: v, Blocks: blocks}}, now, seen)
			require.Equal(t, x.same, same, x.what)
			return err
		})
	}
	s.tx(func(tx *store.Tx) error {
		v, blocks := s.visit("", at(19, 0), s.seat())
		same, err := tx.LockForPlans(t.Context(), []store.Plan{{Visit: v, Blocks: blocks}}, time.Now(), store.ShopSeen{})
		require.False(t, same, "who has not looked knows nothing")
		return err
	})
}

// TestHoursThatAreKnownAreNotReadAgain: a booker reads them where nobody has looked for
// free time yet, or too far ahead, and when she herself has changed them.
func TestHoursThatAreKnownAreNotReadAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8).opened()
	other, loc := open(t, s.url, 4), zone(t)
	far := openings.NewHorizon(loc, around(time.Now().AddDate(3, 0, 0), 1, 1))
	near, ahead := openings.NewHorizon(loc, around(soon, 1, 1)), openings.NewHorizon(loc, around(time.Now().AddDate(2, 0, 0), 1, 1))
	knows := func(h openings.Horizon) (yes bool) {
		require.NoError(t, other.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error { yes = store.KnowsRota(tx, h); return nil }))
		return yes
	}
	require.False(t, knows(near))
	s.free(other, around(soon, 1, 1), time.Now())
	require.True(t, knows(near))
	require.True(t, knows(ahead))
	require.False(t, knows(far))
	for _, days := range []openings.DateRange{near.Days, ahead.Days, far.Days} {
		s.requireSameShop(other, days, time.Now())
	}
	require.ErrorIs(t, other.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
		require.NoError(t, tx.SetOpeningHours(t.Context(), []store.Window{{Weekday: 1, From: 601, To: 901}}))
		got, err := tx.LoadShop(t.Context(), near, time.Now())
		require.NoError(t, err)
		want, err := store.LoadShopAnew(t.Context(), tx, near, time.Now())
		require.NoError(t, err)
		require.Equal(t, inOrder(want), inOrder(got))
		return errUndone
	}), errUndone)
	s.requireSameShop(other, near.Days, time.Now())
}

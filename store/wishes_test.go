package store_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// wish is a request of a client that waits for any day of May 2031.
func wish(client string) store.Wish {
	return store.Wish{Client: client, Wanted: json.RawMessage(`[{"service_id": "cut"}]`), ValueCents: 3900, First: date.New(2031, time.May, 1),
		Last: date.New(2031, time.May, 31), Weekdays: []int{2, 4}, From: 540, To: 1080, Leads: []string{}, Note: "rings first"}
}

// plan is a proposal for a day.
func plan() store.DayPlan {
	return store.DayPlan{Day: date.New(2031, time.May, 6), Proposal: json.RawMessage(`{"moves": []}`), Created: at(1, 0)}
}

func TestWhoIsWorthMostAndWaitedLongestComesFirst(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	mara, nora := s.client("Mara"), s.client("Nora")
	var ids []string
	add := func(client string, change func(*store.Wish)) {
		w := wish(client)
		change(&w)
		s.tx(func(tx *store.Tx) (err error) {
			w, err = tx.AddWish(ctx, w)
			return err
		})
		ids = append(ids, w.ID)
	}
	add(mara, func(*store.Wish) {})
	add(nora, func(w *store.Wish) { w.ValueCents = 9000 })
	add(mara, func(*store.Wish) {})
	add(nora, func(w *store.Wish) { w.First, w.Last = w.Last.Add(1), w.Last.Add(5) })
	idsOf := func(list []store.Wish, err error) (out []string) {
		require.NoError(t, err)
		for _, w := range list {
			out = append(out, w.ID)
		}
		return out
	}
	may := func(day int) date.Date { return date.New(2031, time.May, day) }
	s.tx(func(tx *store.Tx) error {
		require.Equal(t, []string{ids[1], ids[0], ids[2]}, idsOf(tx.WaitingWishes(ctx, may(1), may(3), 10)))
		require.Equal(t, ids[1:2], idsOf(tx.WaitingWishes(ctx, may(1), may(3), 1)))
		require.Len(t, idsOf(tx.WaitingWishes(ctx, may(31), may(32), 10)), 4, "the first and the last day count")
		require.Empty(t, idsOf(tx.WaitingWishes(ctx, date.New(2031, time.April, 1), date.New(2031, time.April, 30), 10)))
		require.Equal(t, []string{ids[0], ids[2]}, idsOf(tx.Wishes(ctx, "", mara, "", 10)))
		require.Equal(t, ids[2:], idsOf(tx.Wishes(ctx, store.WishWaiting, "", ids[1], 10)))

		w, err := tx.LockWish(ctx, ids[1])
		require.NoError(t, err)
		w.State, w.Client, w.Weekdays, w.Notice = store.WishWithdrawn, mara, []int{7}, 30
		require.NoError(t, tx.SaveWish(ctx, &w))
		require.EqualValues(t, 2, w.Version)
		again, err := tx.WishByID(ctx, ids[1])
		require.NoError(t, err)
		require.Equal(t, w, again)
		require.Equal(t, []string{ids[0], ids[2]}, idsOf(tx.WaitingWishes(ctx, may(1), may(3), 10)))
		require.Equal(t, ids[1:2], idsOf(tx.Wishes(ctx, store.WishWithdrawn, "", "", 10)))
		require.Equal(t, []string{ids[0], ids[3]}, idsOf(tx.WishesByID(ctx, []string{ids[3], "none", ids[0]})))
		_, err = tx.WishByID(ctx, "none")
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		w.ID = "none"
		require.ErrorIs(t, tx.SaveWish(ctx, &w), scheduling.ErrNotFound)
		return nil
	})
	// A client who is removed waits for nothing.
	s.tx(func(tx *store.Tx) error { return tx.DeleteClient(ctx, nora, 1) })
	require.Equal(t, 3, value[int](s, `SELECT count(*) FROM wish`))
}

func TestAProposalIsKeptUntilItsDayIsLongOver(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	other := s.second()
	ctx := t.Context()
	var p store.DayPlan
	add := func(s *salon, forget date.Date) {
		s.tx(func(tx *store.Tx) (err error) {
			p, err = tx.AddDayPlan(ctx, plan(), forget)
			return err
		})
	}
	add(other, date.New(2000, 1, 1))
	add(s, date.New(2031, time.May, 6))
	s.tx(func(tx *store.Tx) error {
		got, err := tx.LockDayPlan(ctx, p.ID)
		require.NoError(t, err)
		require.True(t, got.Created.Equal(p.Created))
		got.Created = p.Created
		require.Equal(t, p, got)
		got.Proposal = json.RawMessage(`{"done": true}`)
		require.NoError(t, tx.NoteApplied(ctx, &got, at(2, 0)))
		again, err := tx.DayPlanByID(ctx, p.ID)
		require.NoError(t, err)
		require.Equal(t, store.PlanApplied, again.State)
		require.JSONEq(t, `{"done": true}`, string(again.Proposal))
		require.True(t, again.Applied.Equal(at(2, 0)))
		return nil
	})
	add(s, date.New(2031, time.May, 7))
	require.Equal(t, []string{p.ID}, rows[string](s, `SELECT plan_id FROM day_plan WHERE salon_id = $1`, s.row.ID))
	require.Equal(t, 1, value[int](s, `SELECT count(*) FROM day_plan WHERE salon_id = $1`, other.row.ID), "that of another salon stays")
}

package store_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// Everybody who changes what calendars show takes the same rows in the same order.
func TestThoseWhoTouchCalendarsDoNotWaitInACircle(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 16)
	ctx := t.Context()
	client := s.client("Guest")
	var visits []string
	for day := range 6 {
		visits = append(visits, s.booked(client, at(24*day, 0), s.seat()).ID)
	}
	plan := func(r *rand.Rand) (list []store.Part) {
		for _, subject := range []string{s.ada, s.ben, s.mina, store.PartClient} {
			kind := map[bool]string{true: store.PartClient, false: "hands_on"}[subject == store.PartClient]
			for ordinal := range r.IntN(4) {
				list = append(list, part(subject, ordinal, kind, at(r.IntN(100), 0), at(200, 0)))
			}
		}
		r.Shuffle(len(list), func(i, k int) { list[i], list[k] = list[k], list[i] })
		return list
	}
	replan := func(r *rand.Rand) error {
		visit := visits[r.IntN(len(visits))]
		return s.try(func(tx *store.Tx) error {
			if _, err := tx.LockVisit(ctx, visit, 0); err != nil {
				return err
			}
			return tx.SyncParts(ctx, visit, client, plan(r))
		})
	}
	rename := func(r *rand.Rand) error {
		return s.try(func(tx *store.Tx) error {
			c, err := tx.ClientByID(ctx, client)
			if err != nil {
				return err
			}
			c.FamilyName = fmt.Sprint("Quist ", r.IntN(1000))
			_, err = tx.UpdateClient(ctx, c)
			return err
		})
	}
	renameSalon := func(r *rand.Rand) error {
		return s.try(func(tx *store.Tx) error {
			n, err := tx.SalonRow(ctx)
			if err != nil {
				return err
			}
			n.Name = fmt.Sprint("Harbour ", r.IntN(1000))
			_, err = tx.UpdateSalon(ctx, n)
			return err
		})
	}
	renameStaff := func(r *rand.Rand) error {
		return s.try(func(tx *store.Tx) error {
			p, err := tx.StaffByID(ctx, s.ada)
			if err != nil {
				return err
			}
			p.Name = fmt.Sprint("Ada ", r.IntN(1000))
			_, err = tx.UpdateStaff(ctx, p)
			return err
		})
	}
	end := time.Now().Add(1500 * time.Millisecond)
	errs := make([]error, 12)
	var done [12]int
	var all sync.WaitGroup
	for i := range errs {
		all.Go(func() {
			r := rand.New(rand.NewPCG(1, uint64(i)))
			for time.Now().Before(end) {
				f := []func(*rand.Rand) error{replan, replan, rename, renameSalon, renameStaff}[i%5]
				// Two renames of one row: the second is told that it read an old version.
				if err := f(r); err != nil && !isStale(err) {
					errs[i] = err
					return
				}
				done[i]++
			}
		})
	}
	all.Wait()
	require.NoError(t, errors.Join(errs...))
	t.Log("changes by each:", done)
	require.Zero(t, s.deadlocks())
}

// A client polls a feed by the time of its last change, which must not stand still
// or go back when a transaction commits that began before another.
func TestTheTimeOfAChangeGoesOn(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client := s.client("Guest")
	v := s.booked(client, at(9, 0), s.seat())
	state := func() (feed, changed time.Time) {
		feed = value[time.Time](s, `SELECT changed_at FROM feed_version WHERE subject_id = $1`, s.ada)
		return feed, s.parts(v.ID)[s.ada][0].Changed
	}
	sync := func(tx *store.Tx, minute int) error {
		return tx.SyncParts(t.Context(), v.ID, client, []store.Part{part(s.ada, 0, "hands_on", at(9, minute), at(10, 0))})
	}
	s.tx(func(tx *store.Tx) error { return sync(tx, 0) })
	s.tx(func(early *store.Tx) error {
		require.NoError(t, early.Exec(t.Context(), `SELECT 1`)) // it begins here
		s.tx(func(tx *store.Tx) error { return sync(tx, 1) })
		return sync(early, 2)
	})
	last, lastPart := state()
	for minute := 3; minute < 6; minute++ {
		s.tx(func(tx *store.Tx) error { return sync(tx, minute) })
		feed, part := state()
		require.True(t, feed.After(last) && part.After(lastPart))
		require.Greater(t, feed.Unix(), last.Unix(), "the dates of HTTP have no fractions")
		last, lastPart = feed, part
	}
	// A clock that was set back.
	for _, q := range []string{`UPDATE feed_version SET changed_at = now() + interval '1 hour'`, `UPDATE visit_part SET changed_at = now() + interval '1 hour'`} {
		_, err := s.db.Exec(t.Context(), q)
		require.NoError(t, err)
	}
	last, lastPart = state()
	s.tx(func(tx *store.Tx) error { return sync(tx, 9) })
	feed, part := state()
	require.True(t, feed.After(last) && part.After(lastPart))
}

// A visit that ends takes back the retouch of the client's other one while that
// follows a change of her hair.
func TestAnEndAndAChangeOfHairDoNotWaitInACircle(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 6)
	ctx := t.Context()
	client := s.client("Guest")
	other, ended := s.booked(client, at(9, 0), s.seat()).ID, s.booked(client, at(33, 0), s.seat()).ID
	plan := func(day int) []store.Part {
		return []store.Part{part(store.PartRetouch, 0, store.PartRetouch, at(2000+24*day, 0), at(2024+24*day, 0))}
	}
	for _, id := range []string{other, ended} {
		s.tx(func(tx *store.Tx) error { return tx.SyncClientParts(ctx, id, client, plan(0)) })
	}
	finish := func() error {
		return s.try(func(tx *store.Tx) error {
			if err := tx.WithdrawOlderRetouch(ctx, client, ended); err != nil {
				return err
			}
			return tx.SyncClientParts(ctx, ended, client, plan(2))
		})
	}
	done := make(chan error, 1)
	begin := sync.OnceFunc(func() { go func() { done <- finish() }() })
	s.tx(func(tx *store.Tx) error {
		// What changes parts begins with their locks.
		if err := tx.Exec(ctx, `SELECT 1 FROM visit_part WHERE visit_id = $1 FOR UPDATE`, other); err != nil {
			return err
		}
		begin()
		require.Eventually(t, func() bool {
			var waits bool
			err := s.db.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock')`).Scan(&waits)
			return err == nil && waits
		}, time.Minute, 5*time.Millisecond, "the end waits for the other visit's parts")
		return tx.SyncClientPartsOf(ctx, []store.VisitParts{{Visit: other, Client: client, Want: plan(1)}})
	})
	require.NoError(t, <-done)
	require.False(t, s.parts(other)[store.PartRetouch][0].Live)
	require.True(t, s.parts(ended)[store.PartRetouch][0].Live)
	require.Zero(t, s.deadlocks())
}

package store_test

import (
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// hold pencils a visit of nobody in particular.
func (s *salon) hold(start time.Time, on seat, until time.Time) *store.Visit {
	s.t.Helper()
	v, blocks := s.visit("", start, on)
	v.Title, v.HeldUntil = "a caller", &until
	s.tx(func(t *store.Tx) error { return t.InsertVisit(s.t.Context(), v, blocks) })
	require.Equal(s.t, store.Held, v.State)
	return v
}

// locked runs f on a visit that is locked.
func (s *salon) locked(id string, f func(*store.Tx, *store.Visit) error) error {
	return s.try(func(t *store.Tx) error {
		v, err := t.LockVisit(s.t.Context(), id, 0)
		if err != nil {
			return err
		}
		return f(t, &v)
	})
}

// blocksOf are the blocks of a visit with the transaction that wrote each.
func (s *salon) blocksOf(id string) []string {
	s.t.Helper()
	return rows[string](s, `SELECT unit_id || ' ' || span || ' ' || xmin FROM block WHERE visit_id = $1 ORDER BY 1`, id)
}

func (s *salon) became(id string) store.VisitState {
	s.t.Helper()
	return store.VisitState(value[string](s, `SELECT state FROM visit WHERE visit_id = $1`, id))
}

func TestAPencilledVisitEndsByItselfUnlessItWasPencilledForLonger(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	soon := time.Now().Add(700 * time.Millisecond)
	ends := s.hold(at(9, 0), s.seat(), soon)
	longer := s.hold(at(12, 0), s.seat(), soon)
	booked := s.hold(at(15, 0), s.seat(), soon)
	other := s.second()
	theirs := other.hold(at(9, 0), other.seat(), soon.Add(time.Hour))
	later := time.Now().Add(time.Hour).Truncate(time.Microsecond)
	require.NoError(t, s.locked(longer.ID, func(tx *store.Tx, v *store.Visit) error { return tx.HoldUntil(t.Context(), v, later) }))
	client := s.client("Guest")
	require.NoError(t, s.locked(booked.ID, func(tx *store.Tx, v *store.Visit) error { v.Client = client; return tx.BookHeld(t.Context(), v) }))
	require.Equal(t, 5, value[int](s, `SELECT count(*) FROM river_job WHERE kind = 'lapse'`))

	s.start(&outbox{})
	require.Eventually(t, func() bool { return s.became(ends.ID) == store.Lapsed }, 30*time.Second, 20*time.Millisecond)
	require.False(t, time.Now().Before(soon))
	require.Eventually(t, func() bool {
		return value[int](s, `SELECT count(*) FROM river_job WHERE kind = 'lapse' AND state = 'completed'`) == 3
	},
		30*time.Second, 20*time.Millisecond)
	require.Empty(t, s.blocksOf(ends.ID))
	require.Equal(t, store.Held, s.became(longer.ID))
	require.Len(t, s.blocksOf(longer.ID), 4)
	require.Equal(t, store.Booked, s.became(booked.ID))
	require.Len(t, s.blocksOf(booked.ID), 4)
	require.Equal(t, store.Held, s.became(theirs.ID))
	_, err := s.book(client, at(9, 0), s.seat())
	require.NoError(t, err, "its time is free")
	s.tx(func(tx *store.Tx) error {
		list, err := tx.Holds(t.Context(), time.Now())
		require.NoError(t, err)
		require.Len(t, list, 1)
		require.Equal(t, longer.ID, list[0].ID)
		require.True(t, later.Equal(*list[0].HeldUntil))
		return nil
	})
}

func TestThatAPencilledVisitEndsIsPromisedWithItOrNotAtAll(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	failed := errors.New("failed")
	jobs := func() int { return value[int](s, `SELECT count(*) FROM river_job`) }
	until := at(8, 0)
	v, blocks := s.visit("", at(9, 0), s.seat())
	v.HeldUntil = &until
	require.ErrorIs(t, s.try(func(tx *store.Tx) error { return errors.Join(tx.InsertVisit(t.Context(), v, blocks), failed) }), failed)
	require.Zero(t, jobs())
	v = s.hold(at(9, 0), s.seat(), until)
	require.Equal(t, 1, jobs())
	require.ErrorIs(t, s.locked(v.ID, func(tx *store.Tx, v *store.Visit) error {
		return errors.Join(tx.HoldUntil(t.Context(), v, at(8, 30)), failed)
	}), failed)
	require.Equal(t, 1, jobs())
	require.NotContains(t, value[string](s, `SELECT args::text FROM river_job`), "caller", "an id, a time, and nothing about a person")
}

func TestWhatTheJobLeftAloneLapsesWithTheHourlyOne(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	other := s.second()
	past, ahead := time.Now().Add(-time.Minute), time.Now().Add(time.Hour)
	gone, theirs := s.hold(at(9, 0), s.seat(), past), other.hold(at(9, 0), other.seat(), past)
	stays := s.hold(at(12, 0), s.seat(), ahead)
	require.NoError(t, s.store.Purge(t.Context()))
	for _, v := range []*store.Visit{gone, theirs} {
		require.Equal(t, store.Lapsed, s.became(v.ID))
		require.Empty(t, s.blocksOf(v.ID))
	}
	require.Equal(t, store.Held, s.became(stays.ID))
	require.Len(t, s.blocksOf(stays.ID), 4)
}

func TestLapsingWaitsForNobodyAndTakesNothingFromWhoIsAboutToBook(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	past := time.Now().Add(-time.Minute)
	held, other := s.hold(at(9, 0), s.seat(), past), s.hold(at(12, 0), s.seat(), past)
	before := s.blocksOf(held.ID)
	client := s.client("Guest")
	require.NoError(t, s.locked(held.ID, func(tx *store.Tx, v *store.Visit) error {
		s.tx(func(tx *store.Tx) error { return tx.LapseHeld(t.Context(), time.Now()) })
		require.Equal(t, store.Lapsed, s.became(other.ID))
		require.Equal(t, store.Held, s.became(held.ID), "somebody is at it")
		_, err := s.book(client, at(9, 0), s.seat())
		require.ErrorIs(t, err, store.ErrTaken)
		v.Client = client
		return tx.BookHeld(t.Context(), v)
	}))
	require.Equal(t, store.Booked, s.became(held.ID))
	require.Equal(t, before, s.blocksOf(held.ID), "the very same rows")
	s.tx(func(tx *store.Tx) error { return tx.LapseHeld(t.Context(), time.Now()) })
	require.Equal(t, before, s.blocksOf(held.ID))

	for _, state := range []store.VisitState{store.Booked, store.Cancelled} {
		require.ErrorIs(t, s.locked(held.ID, func(tx *store.Tx, v *store.Visit) error { return tx.BookHeld(t.Context(), v) }), scheduling.ErrNotFound, state)
		require.ErrorIs(t, s.locked(held.ID, func(tx *store.Tx, v *store.Visit) error { return tx.HoldUntil(t.Context(), v, at(8, 0)) }), scheduling.ErrNotFound, state)
		require.NoError(t, s.locked(held.ID, func(tx *store.Tx, v *store.Visit) error {
			v.State = store.Cancelled
			return tx.SetVisitState(t.Context(), v)
		}))
	}
}

func TestAClientWhoIsPencilledTwiceAtOneTimeIsBookedOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	client := s.client("Guest")
	second := seat{s.ben, s.chairs[1], s.basin}
	for round := range 10 {
		day := at(24*round, 0)
		held := []*store.Visit{s.hold(day, s.seat(), at(24*30, 0)), s.hold(day.Add(minutes(30)), second, at(24*30, 0))}
		errs := make([]error, 2)
		var both sync.WaitGroup
		for i := range errs {
			both.Go(func() {
				errs[i] = s.locked(held[i].ID, func(tx *store.Tx, v *store.Visit) error {
					v.Client = client
					return tx.BookHeld(t.Context(), v)
				})
			})
		}
		both.Wait()
		if errs[0] != nil {
			errs[0], errs[1] = errs[1], errs[0]
		}
		require.NoError(t, errs[0])
		require.ErrorIs(t, errs[1], store.ErrClientBusy)
	}
}

func TestWhoNeedsTheTimeOfAVisitThatSomebodyElseIsLapsingGetsIt(t *testing.T) {
	t.Parallel()
	for name, x := range map[string]struct {
		until time.Time // of the visit in the way
		lapse bool      // whether the one who books lapses first
		kept  bool      // whether the other one pencils it longer instead
		want  error
	}{
		"over":                   {at(8, 0), true, false, nil},
		"over, but nobody asked": {at(8, 0), false, false, store.ErrTaken},
		"not over":               {at(8, 2), true, false, store.ErrTaken},
		"pencilled for longer":   {at(8, 0), true, true, store.ErrTaken},
	} {
		s := newSalon(t, 8)
		held := s.hold(at(9, 0), s.seat(), x.until)
		ready, done := make(chan struct{}), make(chan struct{})
		var other sync.WaitGroup
		other.Go(func() {
			err := s.locked(held.ID, func(tx *store.Tx, v *store.Visit) error {
				defer func() { close(ready); <-done }()
				if x.kept {
					return tx.HoldUntil(t.Context(), v, at(8, 30))
				}
				return tx.LapseHeld(t.Context(), at(8, 1))
			})
			if err != nil {
				t.Error(name, err)
			}
		})
		<-ready
		client := s.client("Guest")
		time.AfterFunc(150*time.Millisecond, func() { close(done) })
		err := s.try(func(tx *store.Tx) error {
			if x.lapse {
				if err := tx.LapseHeld(t.Context(), at(8, 1)); err != nil {
					return err
				}
			}
			v, blocks := s.visit(client, at(9, 0), s.seat())
			return tx.InsertVisit(t.Context(), v, blocks)
		})
		other.Wait()
		require.ErrorIs(t, err, x.want, name)
		if x.want == nil {
			require.Equal(t, store.Lapsed, s.became(held.ID), name)
			require.Empty(t, s.blocksOf(held.ID), name)
		}
	}
}

package store_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func TestAVisitComesBackAsItWasWritten(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v, blocks := s.visit(s.client("Guest"), at(9, 0), s.seat())
	v.Note, v.ApprovedBy, v.PriceCents = "window seat", "Ada", 4200
	s.tx(func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), v, blocks) })
	for i := range v.Services {
		v.Services[i].Visit, v.Services[i].Name, v.Services[i].Aftercare = v.ID, s.service.Name, s.service.Aftercare
	}
	for i := range v.Steps {
		v.Steps[i].Visit = v.ID
		for k := range v.Steps[i].Units {
			v.Steps[i].Units[k].Visit = v.ID
		}
	}
	var read, locked store.Visit
	var listed, outlined []store.Visit
	s.tx(func(tx *store.Tx) (err error) {
		if read, err = tx.VisitByID(t.Context(), v.ID); err != nil {
			return err
		}
		if locked, err = tx.LockVisit(t.Context(), v.ID, 1); err != nil {
			return err
		}
		if listed, err = tx.VisitsByID(t.Context(), []string{v.ID}); err != nil {
			return err
		}
		outlined, err = tx.VisitsWithoutSteps(t.Context(), at(0, 0), at(24, 0))
		return err
	})
	require.Equal(t, store.Booked, read.State)
	requireSame(t, *v, read)
	requireSame(t, *v, locked)
	require.Len(t, listed, 1)
	requireSame(t, *v, listed[0])
	require.Len(t, outlined, 1)
	require.Empty(t, outlined[0].Steps)
	outlined[0].Steps = v.Steps
	requireSame(t, *v, outlined[0])
}

// requireSame compares visits, times as instants, units in any order.
func requireSame(t *testing.T, want, got store.Visit) {
	t.Helper()
	text := func(v store.Visit) string {
		out := fmt.Sprintln(v.ID, v.Client, v.State, v.Start.Unix(), v.End.Unix(), v.Chair, v.PriceCents, v.Note,
			v.ApprovedBy, v.ArrivedAt, v.FinishedAt, v.Version, v.Services)
		for _, x := range v.Steps {
			out += fmt.Sprintln(x.Visit, x.Ordinal, x.Service, x.Kind, x.Label, x.Start.Unix(), x.End.Unix(), x.HandsOn,
				x.Watched, len(x.Units), x.UnitIn("lead"), x.UnitIn("chair"), x.UnitIn("basin"))
		}
		return out
	}
	require.Equal(t, text(want), text(got))
}

func TestAMoveFreesTheOldTimeAndTakesTheNew(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	on := seat{s.ben, s.chairs[1], s.basin}
	require.NoError(t, s.move(v, at(14, 0), on))
	s.booked(s.client("Guest"), at(9, 0), s.seat())
	_, err := s.book(s.client("Guest"), at(14, 0), on)
	require.ErrorIs(t, err, store.ErrTaken)
	var got store.Visit
	s.tx(func(tx *store.Tx) (err error) { got, err = tx.VisitByID(t.Context(), v.ID); return err })
	require.WithinDuration(t, at(14, 0), got.Start, 0)
	require.Equal(t, s.chairs[1], got.Chair)
	require.Equal(t, int64(2), got.Version)
	require.Equal(t, s.ben, got.Services[0].Lead)
	require.Equal(t, s.ben, got.Steps[0].UnitIn("lead"))
	requireWhole(t, s)
	require.NoError(t, s.move(v, at(14, 15), on), "a visit does not stand in its own way")
}

func TestAMoveThatDoesNotFitChangesNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	s.booked(s.client("Guest"), at(14, 0), s.seat())
	before := s.contents()
	for _, start := range []time.Time{at(13, 0), at(14, 0), at(15, 10).Add(minutes(-1))} {
		require.ErrorIs(t, s.move(v, start, s.seat()), store.ErrTaken)
		require.Equal(t, before, s.contents())
	}
	// The same inside a savepoint of a transaction that goes on.
	next, blocks := s.visit(v.Client, at(14, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		err := tx.Savepoint(t.Context(), func(tx *store.Tx) error {
			next.ID = v.ID
			return tx.ReplacePlan(t.Context(), next, blocks)
		})
		require.ErrorIs(t, err, store.ErrTaken)
		_, err = tx.VisitByID(t.Context(), v.ID)
		return err
	})
	require.Equal(t, before, s.contents())
}

func TestAVisitThatIsGivenUpFreesItsTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	for i, x := range []struct {
		to   store.VisitState
		free bool
	}{
		{store.Cancelled, true}, {store.Missed, true}, {store.Arrived, false}, {store.UnderWay, false},
		{store.Finished, false}, {store.StoppedEarly, false},
	} {
		start := at(24*i, 0)
		v := s.booked(s.client("Guest"), start, s.seat())
		s.tx(func(tx *store.Tx) error {
			now, err := tx.LockVisit(t.Context(), v.ID, 1)
			if err != nil {
				return err
			}
			now.State = x.to
			err = tx.SetVisitState(t.Context(), &now)
			require.Equal(t, int64(2), now.Version)
			return err
		})
		_, err := s.book(s.client("Guest"), start, s.seat())
		require.Equal(t, x.free, err == nil, "%s: %v", x.to, err)
	}
}

func TestAStaleVersionIsToldFromAMissingVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	require.NoError(t, s.move(v, at(9, 5), s.seat()))
	lock := func(id string, version int64) error {
		return s.try(func(tx *store.Tx) error { _, err := tx.LockVisit(t.Context(), id, version); return err })
	}
	require.ErrorIs(t, lock(v.ID, 1), scheduling.ErrStale)
	require.NoError(t, lock(v.ID, 2))
	require.NoError(t, lock(v.ID, 0))
	require.ErrorIs(t, lock(store.NewID(), 1), scheduling.ErrNotFound)
}

func TestAnIDThatIsTakenIsNotAClientWhoIsBusy(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	again, blocks := s.visit(s.client("Guest"), at(14, 0), s.seat())
	again.ID = v.ID
	before := s.contents()
	err := s.try(func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), again, blocks) })
	require.Error(t, err)
	require.NotErrorIs(t, err, store.ErrClientBusy)
	require.Equal(t, before, s.contents())
}

// Steps, units and services of a visit belong together, whenever it is read.
func TestAReaderSeesAVisitBeforeOrAfterAMoveAndNothingBetween(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	done := make(chan struct{})
	var mover sync.WaitGroup
	var moved error
	mover.Go(func() {
		defer close(done)
		for i := range 300 {
			next, blocks := s.visit(v.Client, at(9+i%2*5, 0), []seat{s.seat(), {s.ben, s.chairs[1], s.basin}}[i%2])
			if i%2 == 0 {
				next.Steps = next.Steps[:1] // another number of steps
			}
			moved = s.try(func(tx *store.Tx) error {
				now, err := tx.LockVisit(t.Context(), v.ID, 0)
				if err != nil {
					return err
				}
				next.ID, next.Version = now.ID, now.Version
				return tx.ReplacePlan(t.Context(), next, blocks)
			})
			if moved != nil {
				return
			}
		}
	})
	reads := 0
	for reading := true; reading; reads++ {
		select {
		case <-done:
			reading = false
		default:
		}
		var got []store.Visit
		s.tx(func(tx *store.Tx) (err error) { got, err = tx.VisitsByID(t.Context(), []string{v.ID}); return err })
		x := got[0]
		require.NotEmpty(t, x.Steps)
		require.Equal(t, x.Start.Unix(), x.Steps[0].Start.Unix())
		require.Equal(t, x.Services[0].Lead, x.Steps[0].UnitIn("lead"))
		require.Equal(t, x.Chair, x.Steps[0].UnitIn("chair"))
		require.Len(t, x.Steps, map[bool]int{true: 1, false: 4}[x.Chair == s.chairs[0] && x.Version > 1])
	}
	mover.Wait()
	require.NoError(t, moved)
	t.Logf("%d reads during 300 moves", reads)
}

// Nested JSON is the plain way to read what belongs to a visit, and says the same.
func TestVisitsAreReadAsInJSON(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	x := s.filled()
	for i, q := range []string{
		`UPDATE visit_step SET looks = '{0,7,300}', real_start = starts_at + interval '1.000001 s', label = 'Größe "so"' WHERE ordinal % 2 = 0`,
		`UPDATE visit_step SET real_start = starts_at, real_end = ends_at, watched = NOT watched, hands_on = NOT hands_on WHERE ordinal % 3 = 1`,
		`UPDATE visit_service SET price_from_cents = 100, price_to_cents = 5000000000, price_open = true WHERE visit_id = $1`,
		`INSERT INTO visit_event (salon_id, visit_id, event_id, kind, ordinal, at, noted_at, noted_by)
			SELECT salon_id, $1, 'e' || n, CASE n WHEN 0 THEN 'arrive' ELSE 'start' END, nullif(n, 0) - 1, '1999-12-31 23:59:59.999999Z', '2026-06-09 10:00Z', 'Ada' || n
			FROM visit, generate_series(0, 3) n WHERE visit_id = $1`,
		`DELETE FROM visit_step_unit WHERE visit_id = $1 AND ordinal = 0`,
		`UPDATE visit SET note = '', state = 'stopped_early', arrived_at = starts_at WHERE visit_id = $1`,
	} {
		s.tx(func(tx *store.Tx) error {
			if i < 2 {
				return tx.Exec(t.Context(), q)
			}
			return tx.Exec(t.Context(), q, x.visit)
		})
	}
	var plain, got []store.Visit
	s.tx(func(tx *store.Tx) (err error) {
		if plain, err = store.VisitsAsJSON(t.Context(), tx); err != nil {
			return err
		}
		got, err = store.VisitsAsRows(t.Context(), tx)
		return err
	})
	require.Greater(t, len(plain), 1)
	require.Equal(t, plain, got)
}

package store_test

import (
	"errors"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// load is a crowd that wants the same few hours of the same few units.
type load struct {
	*salon
	history
	clients []string
	seats   []seat
	moves   bool          // some visits are moved
	refused int           // answers that somebody else was faster
	moved   int           // visits that were moved
	hold    time.Duration // a visit is given back after up to this time
	linger  time.Duration // a transaction stays open for up to this time after its insert
}

// run lets bookers work for a time. A booker books, holds, and moves, cancels or
// keeps what it has got.
func (l *load) run(bookers int, long time.Duration, seed uint64) {
	l.t.Helper()
	end := time.Now().Add(long)
	problems := make(chan error, bookers)
	var all sync.WaitGroup
	for n := range bookers {
		all.Go(func() {
			r := rand.New(rand.NewPCG(seed, uint64(n)))
			for time.Now().Before(end) {
				if err := l.once(r, l.clients[n]); err != nil {
					problems <- err
					return
				}
			}
		})
	}
	all.Wait()
	close(problems)
	for err := range problems {
		require.NoError(l.t, err, "seed %d", seed)
	}
}

func lost(err error) bool {
	return errors.Is(err, store.ErrTaken) || errors.Is(err, store.ErrClientBusy)
}

func (l *load) once(r *rand.Rand, client string) error {
	ctx := l.t.Context()
	pick := func() (time.Time, seat) {
		return at(9+24*r.IntN(2), 5*r.IntN(60)), seat{l.seats[r.IntN(4)].lead, l.seats[r.IntN(4)].chair, l.seats[r.IntN(4)].basin}
	}
	start, on := pick()
	v, blocks := l.visit(client, start, on)
	err := l.try(func(t *store.Tx) error {
		v.ID = ""
		if err := t.InsertVisit(ctx, v, blocks); err != nil {
			return err
		}
		if err := t.SyncParts(ctx, v.ID, client, []store.Part{
			{Subject: on.lead, Kind: "hands_on", Start: v.Start, End: v.End},
			{Subject: store.PartClient, Kind: store.PartClient, Start: v.Start, End: v.End}}); err != nil {
			return err
		}
		time.Sleep(time.Duration(r.Int64N(int64(l.linger))))
		return nil
	})
	if lost(err) {
		l.mu.Lock()
		l.refused++
		l.mu.Unlock()
		return nil
	}
	if err != nil {
		return err
	}
	free := l.acknowledge(v.ID, blocks)
	time.Sleep(time.Duration(r.Int64N(int64(l.hold))))
	switch what := r.IntN(40); {
	case what == 0:
		return nil // a visit that stays
	case what < 20 && l.moves:
		if free, err = l.move(v, free, start.Add(minutes(5*(r.IntN(13)-6))), on); err != nil {
			return err
		}
		time.Sleep(time.Duration(r.Int64N(int64(l.hold))))
	}
	free()
	return l.try(func(t *store.Tx) error {
		now, err := t.LockVisit(ctx, v.ID, 0)
		if err != nil {
			return err
		}
		now.State = store.Cancelled
		return t.SetVisitState(ctx, &now)
	})
}

// move gives a visit another time and says where to note the end of what it then
// holds. Its old time is noted as free before, because another booker may have it
// before this one is told; a move that is refused has held it on, which noting
// the end once more sets right.
func (l *load) move(v *store.Visit, free func(), start time.Time, on seat) (func(), error) {
	ctx := l.t.Context()
	next, blocks := l.visit(v.Client, start, on)
	free()
	err := l.try(func(t *store.Tx) error {
		now, err := t.LockVisit(ctx, v.ID, 0)
		if err != nil {
			return err
		}
		next.ID, next.Version = now.ID, now.Version
		return t.ReplacePlan(ctx, next, blocks)
	})
	if lost(err) {
		return free, nil
	}
	l.mu.Lock()
	l.moved++
	l.mu.Unlock()
	return l.acknowledge(v.ID, blocks), err
}

func newLoad(s *salon, bookers int) *load {
	l := &load{salon: s, hold: 40 * time.Millisecond, linger: 4 * time.Millisecond}
	for range bookers {
		l.clients = append(l.clients, s.client("Guest"))
	}
	s.tx(func(t *store.Tx) error {
		for range 4 {
			p, err := t.AddStaff(s.t.Context(), store.Staff{Unit: store.Unit{Name: "Kim"}, Initials: "K", MayLead: true})
			if err != nil {
				return err
			}
			chair, err := t.AddStation(s.t.Context(), store.Unit{Kind: "chair", Name: "Chair"})
			if err != nil {
				return err
			}
			basin, err := t.AddStation(s.t.Context(), store.Unit{Kind: "basin", Name: "Basin"})
			if err != nil {
				return err
			}
			l.seats = append(l.seats, seat{p.ID, chair.ID, basin.ID})
		}
		return nil
	})
	return l
}

// overlaps counts the pairs of blocks in the table that lie over each other.
func (s *salon) overlaps() int {
	return value[int](s, `SELECT count(*) FROM block a JOIN block b
		ON a.salon_id = b.salon_id AND a.unit_id = b.unit_id AND a.visit_id < b.visit_id AND a.span && b.span`)
}

func TestOfManyWhoWantTheSameTimeOneGetsIt(t *testing.T) {
	for _, x := range []struct {
		name  string
		moves bool
	}{{"booking and cancelling", false}, {"moving as well", true}} {
		t.Run(x.name, func(t *testing.T) {
			const bookers = 48
			s := newSalon(t, bookers)
			l := newLoad(s, bookers)
			l.moves = x.moves
			seed := uint64(time.Now().UnixNano())
			var pairs, both int
			for range 30 { // once, unless the machine is slow
				l.run(bookers, 1800*time.Millisecond, seed)
				if pairs, both = l.clashes(); pairs > 200 && l.refused > 50 && l.moved > 2 == x.moves {
					break
				}
				seed++
			}
			require.Zero(t, both, "two visits held the same minutes of a unit at the same time, seed %d", seed)
			require.Greater(t, pairs, 200, "too little was going on to tell anything")
			require.Greater(t, l.refused, 50)
			require.Equal(t, x.moves, l.moved > 2)
			require.Zero(t, s.overlaps())

			standing := rows[string](s, `SELECT visit_id FROM visit WHERE state = 'booked' ORDER BY 1`)
			require.Equal(t, append([]string{}, l.standing()...), append([]string{}, standing...), "every acknowledged visit is there, and no other")
			requireWhole(t, s)
			deadlocks := s.deadlocks()
			require.True(t, x.moves || deadlocks == 0, "bookers wait in a circle")
			t.Logf("%d blocks acknowledged, %d visits refused, %d moved; %d pairs clash, none at one time; %d deadlocks repeated",
				len(l.list), l.refused, l.moved, pairs, deadlocks)
		})
	}
}

// requireWhole checks that no visit is half written: a visit that stands has its
// four steps and blocks, one that was given up has no block.
func requireWhole(t *testing.T, s *salon) {
	t.Helper()
	require.Empty(t, rows[string](s, `
		SELECT visit_id FROM visit v WHERE
			(SELECT count(*) FROM visit_step x WHERE x.visit_id = v.visit_id) <> 4
			OR (SELECT count(*) FROM visit_step_unit x WHERE x.visit_id = v.visit_id) <> 7
			OR (SELECT count(*) FROM visit_service x WHERE x.visit_id = v.visit_id) <> 1
			OR (SELECT count(*) FROM block x WHERE x.visit_id = v.visit_id) <> CASE v.state WHEN 'booked' THEN 4 ELSE 0 END
			OR EXISTS (SELECT 1 FROM block x WHERE x.visit_id = v.visit_id AND (x.starts_at < v.starts_at OR x.ends_at > v.ends_at))`))
}

// deadlocks is how many times Postgres ended a transaction to undo a deadlock.
// Connections report their counts when they end.
func (s *salon) deadlocks() int64 {
	s.t.Helper()
	s.store.Close()
	s.db.Reset()
	pool, err := pgxpool.New(s.t.Context(), s.url)
	require.NoError(s.t, err)
	defer pool.Close()
	var n int64
	require.NoError(s.t, pool.QueryRow(s.t.Context(),
		`SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()`).Scan(&n))
	return n
}

// The same load and the same check over a table whose constraint looks at no row:
// what is found here is what the constraint prevents, and shows that the check can
// fail.
func TestWithoutTheConstraintTheSameLoadBooksTwice(t *testing.T) {
	const bookers = 48
	s := newSalon(t, bookers)
	_, err := s.db.Exec(t.Context(), `
		ALTER TABLE block DROP CONSTRAINT block_no_overlap,
			ADD CONSTRAINT block_no_overlap EXCLUDE USING gist (span WITH &&) WHERE (unit_id = 'nobody')`)
	require.NoError(t, err)
	l := newLoad(s, bookers)
	for range 10 {
		l.run(bookers, 500*time.Millisecond, 1)
		if _, both := l.clashes(); both > 0 {
			t.Logf("%d of %d acknowledged blocks lie over another's", both, len(l.list))
			return
		}
	}
	t.Fatal("nothing was found: the check of the history cannot fail")
}

func TestAClientGetsOneOfTwoChairsThatAreBookedAtTheSameTime(t *testing.T) {
	s := newSalon(t, 8)
	client := s.client("Guest")
	on := []seat{s.seat(), {s.ben, s.chairs[1], s.basin}}
	for round := range 20 {
		day := at(24*round, 0)
		errs := make([]error, 2)
		var both sync.WaitGroup
		for i := range errs {
			// Half an hour apart, so that only the client clashes.
			both.Go(func() { _, errs[i] = s.book(client, day.Add(minutes(30*i)), on[i]) })
		}
		both.Wait()
		if errs[0] != nil {
			errs[0], errs[1] = errs[1], errs[0]
		}
		require.NoError(t, errs[0])
		require.ErrorIs(t, errs[1], store.ErrClientBusy)
	}
	require.Equal(t, 20, value[int](s, `SELECT count(*) FROM visit`))
	require.Zero(t, s.deadlocks())
}

func TestAMoveMeetsTheClientsOtherVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	client := s.client("Guest")
	first := s.booked(client, at(9, 0), s.seat())
	other := seat{s.ben, s.chairs[1], s.basin}
	second := s.booked(client, at(14, 0), other)
	before := s.contents()
	_, err := s.book(client, at(9, 30), other)
	require.ErrorIs(t, err, store.ErrClientBusy)
	require.ErrorIs(t, s.move(second, at(10, 9), other), store.ErrClientBusy)
	require.Equal(t, before, s.contents())
	require.NoError(t, s.move(second, at(10, 10), other), "right after the other")

	// Both at once to the same time: one may go, the other must stay.
	errs := make([]error, 2)
	var both sync.WaitGroup
	both.Go(func() { errs[0] = s.move(first, at(17, 0), s.seat()) })
	both.Go(func() { errs[1] = s.move(second, at(17, 10), other) })
	both.Wait()
	if errs[0] != nil {
		errs[0], errs[1] = errs[1], errs[0]
	}
	require.NoError(t, errs[0])
	require.ErrorIs(t, errs[1], store.ErrClientBusy)
	requireWhole(t, s)

	// A visit that is over or given up is in nobody's way.
	s.tx(func(tx *store.Tx) error {
		for id, to := range map[string]store.VisitState{first.ID: store.Cancelled, second.ID: store.Finished} {
			v, err := tx.LockVisit(t.Context(), id, 0)
			if err != nil {
				return err
			}
			v.State = to
			if err := tx.SetVisitState(t.Context(), &v); err != nil {
				return err
			}
		}
		return nil
	})
	_, err = s.book(client, at(17, 5), seat{s.mina, s.chairs[0], s.basin})
	require.NotErrorIs(t, err, store.ErrClientBusy)
}

// move gives a visit another start and seat.
func (s *salon) move(v *store.Visit, start time.Time, on seat) error {
	next, blocks := s.visit(v.Client, start, on)
	return s.try(func(t *store.Tx) error {
		now, err := t.LockVisit(s.t.Context(), v.ID, 0)
		if err != nil {
			return err
		}
		next.ID, next.Version = now.ID, now.Version
		return t.ReplacePlan(s.t.Context(), next, blocks)
	})
}

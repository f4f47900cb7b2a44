package store_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"chairblock/store"
)

// watcher takes a salon's changes as a screen does.
type watcher struct {
	s     *salon
	from  *store.Store
	w     *store.Watch
	after string // that of the last change
}

func (s *salon) watch(from *store.Store, after string) *watcher {
	s.t.Helper()
	w, err := from.Watch(s.t.Context(), s.row.ID, after)
	require.NoError(s.t, err)
	s.t.Cleanup(w.Close)
	return &watcher{s: s, from: from, w: w, after: after}
}

// next waits for changes and says each in a word.
func (w *watcher) next() []string {
	w.s.t.Helper()
	ctx, cancel := context.WithTimeout(w.s.t.Context(), 20*time.Second)
	defer cancel()
	list, err := w.w.Next(ctx)
	require.NoError(w.s.t, err)
	var out []string
	for _, c := range list {
		w.after = c.After
		out = append(out, strings.TrimSpace(string(c.Kind)+" "+c.Visit))
	}
	return out
}

// until collects changes until want has come.
func (w *watcher) until(want string) {
	w.s.t.Helper()
	var all []string
	for !slices.Contains(all, want) {
		all = append(all, w.next()...)
	}
}

// silent demands that nothing more comes for a while.
func (w *watcher) silent() {
	w.s.t.Helper()
	ctx, cancel := context.WithTimeout(w.s.t.Context(), 300*time.Millisecond)
	defer cancel()
	list, err := w.w.Next(ctx)
	require.ErrorIs(w.s.t, err, context.DeadlineExceeded, "%v", list)
}

func TestWhoWatchesIsToldOfEveryChangeOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client := s.client("Noor")
	neighbour := s.second()
	w, other := s.watch(s.store, ""), neighbour.watch(s.store, "")
	theirs := neighbour.booked(neighbour.client("Ines"), at(9, 0), neighbour.seat())
	require.Equal(t, []string{"visit " + theirs.ID}, other.next())
	v := s.booked(client, at(9, 0), s.seat())
	require.Equal(t, []string{"visit " + v.ID}, w.next(), "said once, however many rows were written")
	s.tx(func(tx *store.Tx) error {
		v.State = store.Arrived
		return tx.SetVisitState(t.Context(), v)
	})
	require.Equal(t, []string{"visit " + v.ID}, w.next())
	for what, change := range map[string]func(*store.Tx) error{
		"day": func(tx *store.Tx) error {
			_, err := tx.AddAbsence(t.Context(), store.Absence{Unit: s.ben, From: at(9, 0), To: at(12, 0)})
			return err
		},
		"day ": func(tx *store.Tx) error {
			return tx.SetOpeningHours(t.Context(), []store.Window{{Weekday: 1, Kind: "open", From: 540, To: 1080}})
		},
		"day  ": func(tx *store.Tx) error {
			_, err := tx.AddStaffRota(t.Context(), store.StaffRota{Staff: s.ada, First: shiftDay, Weeks: [][]store.Window{everyDay("work", 540, 1080)}})
			return err
		},
		" day ": func(tx *store.Tx) error {
			_, err := tx.AddOpeningDay(t.Context(), store.OpeningDay{Date: shiftDay})
			return err
		},
		" day": func(tx *store.Tx) error {
			_, err := tx.AddStaffDay(t.Context(), store.StaffDay{Staff: s.ben, Date: shiftDay})
			return err
		},
		"waiting": func(tx *store.Tx) error {
			return tx.Exec(t.Context(), `INSERT INTO wish (salon_id, wish_id, client_id, wanted, value_cents, first_date, last_date)
				VALUES ($1, 'w', $2, '{}', 1, '2026-06-08', '2026-06-09')`, s.row.ID, client)
		},
		"message": func(tx *store.Tx) error {
			_, err := tx.AddClientRequest(t.Context(), store.ClientRequest{Client: client, Kind: store.AskRetouch, Made: at(9, 0)})
			return err
		},
		"message " + v.ID: func(tx *store.Tx) error {
			return tx.Exec(t.Context(), `INSERT INTO reminder (salon_id, reminder_id, visit_id, kind, due_at, state, message_id)
				VALUES ($1, 'r', $2, 'reminder', now(), 'failed', 'm')`, s.row.ID, v.ID)
		},
		"call " + v.ID: func(tx *store.Tx) error {
			return tx.Exec(t.Context(), `INSERT INTO reminder (salon_id, reminder_id, visit_id, kind, due_at, state, message_id)
				VALUES ($1, 'c', $2, 'reminder', now(), 'to_call', 'n')`, s.row.ID, v.ID)
		},
	} {
		s.tx(change)
		require.Equal(t, []string{strings.TrimSpace(what)}, w.next(), what)
	}
	require.ErrorIs(t, s.try(func(tx *store.Tx) error {
		v.State = store.Missed
		return errors.Join(tx.SetVisitState(t.Context(), v), errCalledOff)
	}), errCalledOff)
	w.silent()
	other.silent()
}

var errCalledOff = errors.New("called off")

func TestAMoveTellsOfBothDays(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Noor"), at(9, 0), s.seat())
	w := s.watch(s.store, "")
	s.tx(func(tx *store.Tx) error {
		return tx.Exec(t.Context(), `UPDATE visit SET starts_at = starts_at + interval '7 days', ends_at = ends_at + interval '7 days' WHERE salon_id = $1`, s.row.ID)
	})
	list, err := w.w.Next(t.Context())
	require.NoError(t, err)
	require.Len(t, list, 2)
	require.WithinDuration(t, v.Start, *list[0].From, 0)
	require.WithinDuration(t, v.Start.AddDate(0, 0, 7), *list[1].From, 0)
}

// The transaction that begins first takes the lower number and commits last.
func TestACommitThatComesLateIsNotMissed(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 6)
	v := s.booked(s.client("Noor"), at(9, 0), s.seat())
	w := s.watch(s.store, "")
	held, let := make(chan struct{}), make(chan struct{})
	done := make(chan error, 1)
	go func() {
		done <- s.try(func(tx *store.Tx) error {
			_, err := tx.AddAbsence(t.Context(), store.Absence{Unit: s.ben, From: at(9, 0), To: at(12, 0)})
			close(held)
			<-let
			return err
		})
	}()
	<-held
	s.tx(func(tx *store.Tx) error { v.State = store.Arrived; return tx.SetVisitState(t.Context(), v) })
	require.Equal(t, []string{"visit " + v.ID}, w.next(), "nobody waits for the other transaction")
	after := w.after
	w.silent()
	close(let)
	require.NoError(t, <-done)
	require.Equal(t, []string{"day"}, w.next())
	require.Equal(t, []string{"day"}, s.watch(s.store, after).next(), "nor is it missed by who was away meanwhile")
	s.watch(s.store, w.after).silent()
}

// A dump carries the numbers that transactions had on another server.
func TestWhatCameWithADumpIsNotToldAgainAndAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Noor"), at(9, 0), s.seat())
	for i := range 3 {
		s.tx(func(tx *store.Tx) error {
			return tx.Exec(t.Context(), `INSERT INTO salon_event (salon_id, changed_in, kind, visit_id) VALUES ($1, $2::text::xid8, 'visit', $3)`,
				s.row.ID, fmt.Sprint(99999999+i), fmt.Sprint("old ", i))
		})
	}
	w := s.watch(s.store, "")
	ctx, cancel := context.WithTimeout(t.Context(), 2500*time.Millisecond) // longer than changes are left unlooked for
	defer cancel()
	list, err := w.w.Next(ctx)
	require.ErrorIs(t, err, context.DeadlineExceeded, "%v", list)
	for _, state := range []store.VisitState{store.Arrived, store.UnderWay} {
		s.tx(func(tx *store.Tx) error { v.State = state; return tx.SetVisitState(t.Context(), v) })
		require.Equal(t, []string{"visit " + v.ID}, w.next())
		again, err := s.store.Watch(t.Context(), s.row.ID, w.after)
		require.NoError(t, err, "every id leads on: %s", w.after)
		again.Close()
	}
}

// Somebody writes, many at once and with pauses inside of transactions, while
// somebody else loses the connection again and again.
func TestWhoeverComesBackMissesNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 12)
	other := open(t, s.url, 8)
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	client := s.client("Noor")
	w := s.watch(s.store, "")
	w.w.Close()
	w.after, _ = w.w.Seen()
	const writers, each = 6, 25
	errs := make(chan error, writers)
	for n := range writers {
		go func() {
			r := rand.New(rand.NewPCG(seed, uint64(n)))
			st := []*store.Store{s.store, other}[n%2]
			for i := range each {
				id := fmt.Sprintf("%d/%d", n, i)
				err := st.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
					pause := func() { time.Sleep(time.Duration(r.IntN(8)) * time.Millisecond) }
					err := tx.Exec(t.Context(), `INSERT INTO visit (salon_id, visit_id, client_id, chair_id, state, starts_at, ends_at)
						VALUES ($1, $2, $3, $4, 'cancelled', now(), now() + interval '1 hour')`, s.row.ID, id, client, s.chairs[0])
					pause()
					return errors.Join(err, tx.Exec(t.Context(), `UPDATE visit SET note = 'x' WHERE salon_id = $1 AND visit_id = $2`, s.row.ID, id))
				})
				if err != nil {
					errs <- err
					return
				}
			}
			errs <- nil
		}()
	}
	r := rand.New(rand.NewPCG(seed, 99))
	seen := map[string]int{}
	for deadline := time.Now().Add(40 * time.Second); len(seen) < writers*each; {
		require.True(t, time.Now().Before(deadline), "%d of %d came", len(seen), writers*each)
		w = s.watch([]*store.Store{s.store, other}[r.IntN(2)], w.after)
		for range 1 + r.IntN(3) {
			ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
			list, err := w.w.Next(ctx)
			cancel()
			if err != nil {
				break
			}
			for i, c := range list {
				if i > 0 && r.IntN(4) == 0 {
					break // the connection is lost in the middle
				}
				require.Equal(t, store.ChangeVisit, c.Kind)
				w.after = c.After
				seen[c.Visit]++
			}
			if w.after != list[len(list)-1].After {
				break
			}
		}
		w.w.Close()
	}
	for range writers {
		require.NoError(t, <-errs)
	}
	for id, n := range seen {
		require.Equal(t, 1, n, "%s came more than once", id)
	}
	s.watch(s.store, w.after).silent()
}

func TestWhoeverIsTooFarBehindIsLetGo(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	slow, quick := s.watch(s.store, ""), s.watch(s.store, "")
	client := s.client("Noor")
	fill := func() {
		s.tx(func(tx *store.Tx) error {
			return tx.Exec(t.Context(), `INSERT INTO visit (salon_id, visit_id, client_id, chair_id, state, starts_at, ends_at)
				SELECT $1, gen_random_uuid()::text, $2, $3, 'cancelled', now(), now() + interval '1 hour' FROM generate_series(1, 100)`, s.row.ID, client, s.chairs[0])
		})
		for n := 0; n < 100; {
			n += len(quick.next())
		}
	}
	for range 3 {
		fill()
	}
	_, err := slow.w.Next(t.Context())
	require.ErrorIs(t, err, store.ErrBehind)
	require.Equal(t, []string{"everything"}, s.watch(s.store, "1-1-3:3:").next(), "of another database")

	s.tx(func(tx *store.Tx) error {
		return tx.Exec(t.Context(), `INSERT INTO visit (salon_id, visit_id, client_id, chair_id, state, starts_at, ends_at)
			SELECT $1, gen_random_uuid()::text, $2, $3, 'cancelled', now(), now() + interval '1 hour' FROM generate_series(1, 2000)`, s.row.ID, client, s.chairs[0])
	})
	require.Equal(t, []string{"everything"}, quick.next(), "too much to tell one by one")
	quick.silent()
}

func TestAnIDOfAnEventIsCheckedBeforeTheDatabaseSeesIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	for _, id := range []string{"x", "1-2", "1-2-3", "1-2-3:4", "1-2-3:2:", "1-2-3:9:10", "1-2-3:9:5,4", "1-2-3:9:5,5", "1-2-0:9:", "1-2-3:9:;", "-1-2-3:9:",
		"1-2-3:99999999999999999999:", strings.Repeat("9", 9000)} {
		_, err := s.store.Watch(t.Context(), s.row.ID, id)
		require.ErrorContains(t, err, "is no id of an event", id)
	}
}

// What a process hears of another comes quickly while they call each other, and
// within seconds when they do not.
func TestChangesByOtherProcessesAreHeard(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 6)
	other := open(t, s.url, 4)
	w := s.watch(other, "")
	v := s.booked(s.client("Noor"), at(9, 0), s.seat())
	w.until("visit " + v.ID)

	here, there := s.store.KeepWarm(time.Now), other.KeepWarm(time.Now)
	defer here.Stop()
	defer there.Stop()
	listeners := func() int {
		return value[int](s, `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND application_name = 'chairblock listens'`)
	}
	require.Eventually(t, func() bool { return listeners() == 2 }, time.Minute, 5*time.Millisecond)
	var took []time.Duration
	for range 5 {
		begun := time.Now()
		s.tx(func(tx *store.Tx) error { v.State = store.Arrived; return tx.SetVisitState(t.Context(), v) })
		w.until("visit " + v.ID)
		took = append(took, time.Since(begun))
	}
	slices.Sort(took)
	t.Logf("heard after %v", took)
	_, err := s.db.Exec(t.Context(), `SELECT pg_terminate_backend(pid) FROM pg_stat_activity
		WHERE datname = current_database() AND application_name = 'chairblock listens'`)
	require.NoError(t, err)
	s.tx(func(tx *store.Tx) error { v.State = store.UnderWay; return tx.SetVisitState(t.Context(), v) })
	w.until("visit " + v.ID)
}

func TestNothingRunsWhenNobodyWatches(t *testing.T) {
	s := newSalon(t, 4)
	leaks := goleak.IgnoreCurrent()
	for range 3 {
		w, err := s.store.Watch(t.Context(), s.row.ID, "")
		require.NoError(t, err)
		more, err := s.store.Watch(t.Context(), s.row.ID, "")
		require.NoError(t, err)
		v := s.booked("", at(9, 0), s.seat())
		list, err := w.Next(t.Context())
		require.NoError(t, err)
		require.Equal(t, v.ID, list[0].Visit)
		s.tx(func(tx *store.Tx) error {
			return tx.Exec(t.Context(), `DELETE FROM visit WHERE salon_id = $1`, s.row.ID)
		})
		more.Close()
		w.Close()
	}
	// a pool checks its connections by itself
	goleak.VerifyNone(t, leaks, goleak.IgnoreAnyFunction("github.com/jackc/pgx/v5/pgxpool.(*Pool).backgroundHealthCheck"),
		goleak.IgnoreAnyFunction("github.com/jackc/pgx/v5/pgxpool.(*Pool).triggerHealthCheck.func1"))
}

func TestWhatWasToldIsForgottenAfterTwoDays(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.booked(s.client("Noor"), at(9, 0), s.seat())
	all := func() int { return value[int](s, `SELECT count(*) FROM salon_event`) }
	require.NoError(t, s.store.Purge(t.Context()))
	require.NotZero(t, all())
	_, err := s.db.Exec(t.Context(), `UPDATE salon_event SET noted_at = now() - interval '49 hours'`)
	require.NoError(t, err)
	require.NoError(t, s.store.Purge(t.Context()))
	require.Zero(t, all())
}

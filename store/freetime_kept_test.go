package store_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/store"
)

// inMemory is how many bookings a process has in memory for the salon, -1 for
// none.
func (s *salon) inMemory(st *store.Store) int {
	f, ok := st.Kept(s.row.ID)
	if !ok {
		return -1
	}
	return bookingsOf(f.Snapshot)
}

func bookingsOf(snap *openings.Snapshot) (n int) {
	for _, u := range snap.Shop().Units {
		n += len(u.Bookings)
	}
	return n
}

func TestATransactionThatMayWriteNeitherTrustsMemoryNorFillsIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4).opened()
	days, now := around(soon, 1, 1), time.Now()
	s.free(s.store, days, now)
	v, blocks := s.visit("", at(9, 0), s.seat())
	err := s.try(func(tx *store.Tx) error {
		require.NoError(t, tx.InsertVisit(t.Context(), v, blocks))
		f, err := tx.FreeTime(t.Context(), zone(t), days, now)
		require.NoError(t, err)
		require.Equal(t, 4, bookingsOf(f.Snapshot), "its own blocks")
		f, err = tx.FreeTime(t.Context(), zone(t), days, now, v.ID)
		require.NoError(t, err)
		require.Zero(t, bookingsOf(f.Snapshot))
		return errUndone
	})
	require.ErrorIs(t, err, errUndone)
	require.Zero(t, s.inMemory(s.store))
	require.Zero(t, bookingsOf(s.free(s.store, days, now).Snapshot))
}

func TestOnlyStretchesThatHaveChangedAreReadAnew(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4).opened()
	days, now := around(soon, 1, 1), time.Now()
	put := func(unit string, from, to time.Time, clear int) string {
		v, blocks := s.only("", unit, from, to, clear)
		s.tx(func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), v, blocks) })
		return v.ID
	}
	away := func(unit string, from, to time.Time) {
		s.tx(func(tx *store.Tx) error {
			_, err := tx.AddAbsence(t.Context(), store.Absence{Unit: unit, From: from, To: to})
			return err
		})
	}
	long := put(s.ada, at(9, 0), at(12, 0), 0)
	put(s.ada, at(12, 0), at(13, 0), 20)
	put(s.ada, at(14, 0), at(15, 0), 0)
	quiet := put(s.ada, at(17, 0), at(18, 0), 0)
	before := s.free(s.store, days, now)
	for _, x := range []struct {
		what string
		do   func()
	}{
		{"a block in two stretches", func() {
			s.tx(func(tx *store.Tx) error { _, err := tx.CutBlocks(t.Context(), long, at(11, 0)); return err })
		}},
		{"clearing alone in one", func() { away(s.ada, at(13, 10), at(13, 30)) }},
		{"one that begins where another ends", func() { put(s.ada, at(15, 0), at(16, 0), 0) }},
		{"before the days that are kept", func() { put(s.ada, at(-24*30, 0), at(-24*30, 30), 0) }},
		{"over their end", func() { away(s.ada, at(24*150, 0), at(24*400, 0)) }},
		{"no stretch: at any time", func() {
			_, err := s.db.Exec(t.Context(), `INSERT INTO unit_change (salon_id, unit_id) VALUES ($1, $2)`, s.row.ID, s.ada)
			require.NoError(t, err)
		}},
	} {
		x.do()
		f := s.free(s.store, days, now)
		s.requireFresh(f, now)
		require.False(t, t.Failed(), x.what)
	}
	require.Less(t, bookingsOf(before.Snapshot), bookingsOf(s.free(s.store, days, now).Snapshot))

	// The log is silent about one visit, which shows that the rest is not read.
	_, err := s.db.Exec(t.Context(), `ALTER TABLE block DISABLE TRIGGER USER; DELETE FROM block WHERE visit_id = '`+quiet+`'; ALTER TABLE block ENABLE TRIGGER USER`)
	require.NoError(t, err)
	had := bookingsOf(s.free(s.store, days, now).Snapshot)
	put(s.ada, at(19, 0), at(20, 0), 0)
	require.Equal(t, had+1, bookingsOf(s.free(s.store, days, now).Snapshot))
}

func TestFreeTimeInMemoryIsBounded(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4).opened()
	salons := []*salon{s}
	for range 5 {
		salons = append(salons, s.second().opened())
	}
	for i, x := range salons {
		for n := range i {
			x.booked("", at(9+2*n, 0), x.seat())
		}
	}
	days, now := around(soon, 1, 1), time.Now()
	one := open(t, s.url, 4)
	s.free(one, days, now)
	_, weight := one.KeptSize()
	require.Positive(t, weight)
	r := rand.New(rand.NewPCG(1, 1))
	for _, limit := range []struct{ salons, weight, most int }{{3, 1_000_000, 3}, {100, 3 * weight, 2}, {100, weight / 2, 0}, {1, weight + 10, 1}} {
		st := open(t, s.url, 4)
		st.LimitKept(limit.salons, limit.weight)
		for range 60 {
			x := salons[r.IntN(len(salons))]
			f := x.free(st, days, now)
			x.requireFresh(f, now)
			n, w := st.KeptSize()
			require.LessOrEqual(t, n, limit.salons)
			require.LessOrEqual(t, w, limit.weight)
		}
		n, _ := st.KeptSize()
		require.LessOrEqual(t, n, limit.most)
		require.Equal(t, limit.most > 0, n > 0)
	}

	// Who was asked for last stays.
	st := open(t, s.url, 4)
	st.LimitKept(2, 1_000_000)
	for _, i := range []int{0, 1, 0, 2} {
		salons[i].free(st, days, now)
	}
	require.Equal(t, []bool{true, false, true}, []bool{salons[0].inMemory(st) >= 0, salons[1].inMemory(st) >= 0, salons[2].inMemory(st) >= 0})
}

func TestFreeTimeIsReadAnewWhenTheLogCannotBeTrusted(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4).opened()
	days, now := around(soon, 1, 1), time.Now()
	s.free(s.store, days, now)
	// The log is silent about what happens from here on.
	_, err := s.db.Exec(t.Context(), `ALTER TABLE block DISABLE TRIGGER USER`)
	require.NoError(t, err)
	s.booked("", at(9, 0), s.seat())
	require.Zero(t, bookingsOf(s.free(s.store, days, now).Snapshot), "which shows that the answer came from memory")
	s.store.AgeKept(s.row.ID, 31*time.Minute)
	require.Equal(t, 4, bookingsOf(s.free(s.store, days, now).Snapshot), "older than what the log remembers")

	s.booked("", at(12, 0), s.seat())
	require.Equal(t, 4, bookingsOf(s.free(s.store, days, now).Snapshot))
	_, err = s.db.Exec(t.Context(), `
		ALTER TABLE unit_change RENAME TO unit_change_lost;
		CREATE TABLE unit_change (LIKE unit_change_lost INCLUDING ALL)`)
	require.NoError(t, err)
	require.Equal(t, 8, bookingsOf(s.free(s.store, days, now).Snapshot), "restored from a dump")

	// Of very many changes not all are looked at.
	s.booked("", at(18, 0), s.seat())
	require.Equal(t, 8, bookingsOf(s.free(s.store, days, now).Snapshot))
	_, err = s.db.Exec(t.Context(), `INSERT INTO unit_change (salon_id, unit_id) SELECT $1, $2 FROM generate_series(1, 1500)`, s.row.ID, s.mina)
	require.NoError(t, err)
	require.Equal(t, 12, bookingsOf(s.free(s.store, days, now).Snapshot))

	s.booked("", at(15, 0), s.seat())
	require.Equal(t, 12, bookingsOf(s.free(s.store, days, now).Snapshot))
	require.Equal(t, 16, bookingsOf(s.free(s.store, days, now.AddDate(0, 0, 15)).Snapshot), "the days to keep have moved on")
}

func TestTheLogOfChangesIsForgottenOnceNobodyCanNeedIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4).opened()
	count := func() int { return value[int](s, `SELECT count(*) FROM unit_change`) }
	older := func(table, column string) {
		_, err := s.db.Exec(t.Context(), `UPDATE `+table+` SET `+column+` = `+column+` - interval '61 minutes'`)
		require.NoError(t, err)
	}
	require.NoError(t, s.store.Purge(t.Context()))
	all := count()
	require.Positive(t, all)
	older("unit_change", "changed_at")
	require.NoError(t, s.store.Purge(t.Context()))
	require.Equal(t, all, count(), "the job has not known them for an hour")

	// A transaction that stays open for hours writes now and commits later.
	long, err := s.db.Begin(t.Context())
	require.NoError(t, err)
	_, err = long.Exec(t.Context(), `INSERT INTO unit_change (salon_id, changed_at) VALUES ($1, now() - interval '3 hours')`, s.row.ID)
	require.NoError(t, err)
	require.NoError(t, s.store.Purge(t.Context()))
	require.NoError(t, long.Commit(t.Context()))
	older("unit_change_seen", "seen_at")
	s.booked("", at(9, 0), s.seat())
	require.NoError(t, s.store.Purge(t.Context()))
	require.Equal(t, 1+3, count(), "the late one and what was booked")
	older("unit_change", "changed_at")
	older("unit_change_seen", "seen_at")
	require.NoError(t, s.store.Purge(t.Context()))
	require.Zero(t, count())
	require.NoError(t, s.store.Purge(t.Context()))
	older("unit_change_seen", "seen_at")
	require.NoError(t, s.store.Purge(t.Context()))
	require.Zero(t, value[int](s, `SELECT count(*) FROM unit_change_seen`))
}

func TestMemoryIsBroughtUpToDateBeforeAnybodyAsks(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4).opened()
	days, now := around(soon, 1, 1), time.Now()
	other := open(t, s.url, 4)
	here, there := s.store.KeepWarm(time.Now), other.KeepWarm(time.Now)
	defer here.Stop()
	defer there.Stop()
	s.free(s.store, days, now)
	s.free(other, days, now)
	listeners := func() []int32 {
		return rows[int32](s, `SELECT pid FROM pg_stat_activity WHERE datname = current_database() AND application_name = 'chairblock listens'`)
	}
	waitFor := func(what string, ready func() bool) {
		t.Helper()
		require.Eventually(t, ready, time.Minute, 5*time.Millisecond, what)
	}
	waitFor("both listen", func() bool { return len(listeners()) == 2 })
	bookings := 0
	for hour := range 3 {
		s.booked("", at(9+2*hour, 0), s.seat())
		bookings += 4
		waitFor("own", func() bool { return s.inMemory(s.store) == bookings })
		waitFor("the other's", func() bool { return s.inMemory(other) == bookings })
	}

	// The connections are lost, and made again; what happened between is found.
	_, err := s.db.Exec(t.Context(), `SELECT pg_terminate_backend(pid) FROM pg_stat_activity
		WHERE datname = current_database() AND application_name = 'chairblock listens'`)
	require.NoError(t, err)
	s.booked("", at(16, 0), s.seat())
	waitFor("what nobody heard", func() bool { return s.inMemory(other) == bookings+4 })
	waitFor("both listen again", func() bool { return len(listeners()) == 2 })
	s.booked("", at(18, 0), s.seat())
	waitFor("the other's", func() bool { return s.inMemory(other) == bookings+8 })
	here.Stop()
	there.Stop()
	waitFor("nobody listens", func() bool { return len(listeners()) == 0 })
}

package store_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
	"chairblock/store/storetest"
)

// shiftedSalon is a salon whose database has a clock of its own, which the store goes by.
func shiftedSalon(t *testing.T) (s *salon, set func(ahead time.Duration)) {
	t.Helper()
	s = newSalon(t, 4)
	ahead := storetest.Clock(t, s.url)
	set = func(by time.Duration) {
		t.Helper()
		ahead(by)
		require.NoError(t, s.store.LookAtClock(t.Context()))
	}
	s.store = open(t, s.url, 8) // connections of before know nothing of it
	stop, err := s.store.KeepTime(t.Context())
	require.NoError(t, err)
	t.Cleanup(stop)
	return s, set
}

// off is how far the store's time is from what is expected, in whole minutes.
func off(s *store.Store, want time.Time) int {
	return int(s.Now().Sub(want).Round(time.Minute).Minutes())
}

func TestAProcessGoesByTheClockOfItsDatabase(t *testing.T) {
	t.Parallel()
	s, set := shiftedSalon(t)
	for _, by := range []time.Duration{7 * time.Minute, -time.Hour, 0, 36 * time.Hour, 7 * time.Minute} {
		set(by)
		require.Zero(t, off(s.store, time.Now().Add(by)), "%v ahead", by)
	}
	other := open(t, s.url, 2)
	require.Zero(t, off(other, time.Now()), "its own, before it has looked")
	stop, err := other.KeepTime(t.Context())
	require.NoError(t, err)
	defer stop()
	require.Zero(t, off(other, s.store.Now()))

	// A message is put off until a moment of that clock, not for seven minutes more.
	r := s.dueNow()
	wait := s.run(r, always(store.Outcome{Later: s.store.Now().Add(10 * time.Minute)}, nil))
	require.Equal(t, 10*time.Minute, wait.Round(time.Minute))
	require.Equal(t, 10*time.Minute, s.run(r, nil).Round(time.Minute), "by the database, too")
}

func TestASlowAnswerIsNotTakenForAClockThatWasSet(t *testing.T) {
	t.Parallel()
	const ms = time.Millisecond
	for _, x := range []struct {
		half, next, step time.Duration
		second           bool
		set              time.Duration
	}{
		{4000 * ms, ms, 3900 * ms, true, 0},
		{4000 * ms, ms, -3900 * ms, true, 0},
		{4000 * ms, ms, 4100 * ms, true, 4100 * ms},
		{ms, 400 * ms, 390 * ms, false, 0},
		{ms, 400 * ms, -500 * ms, true, -500 * ms},
		{2 * ms, ms, 0, true, 0},
		{ms, ms, 2 * ms, false, 0},
		{ms, ms, 4 * ms, true, 4 * ms},
	} {
		second, set := store.AfterLook(x.half, x.next, x.step)
		require.Equal(t, x.second, second, "%+v", x)
		require.Equal(t, x.set, set, "%+v", x)
	}
}

func TestAProcessLooksAgainWhereTheFirstAnswerIsSlow(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	storetest.Clock(t, s.url)
	s.exec(`CREATE SEQUENCE looks`)
	s.exec(`CREATE OR REPLACE FUNCTION public.clock_timestamp() RETURNS timestamptz LANGUAGE plpgsql VOLATILE AS $$
		DECLARE shown timestamptz := pg_catalog.clock_timestamp();
		BEGIN
			PERFORM nextval('public.looks'), pg_sleep(0.05);
			RETURN shown;
		END $$`)
	stop, err := open(t, s.url, 2).KeepTime(t.Context())
	require.NoError(t, err)
	defer stop()
	require.Equal(t, 3, value[int](s, `SELECT last_value FROM looks`))
}

func TestNothingIsErasedForItsAgeWhileClocksNameDifferentDays(t *testing.T) {
	t.Parallel()
	s, set := shiftedSalon(t)
	r := s.dueNow()
	s.run(r, always(sent, nil))
	there := func() int { return value[int](s, `SELECT count(*) FROM reminder`) }
	year := 366 * 24 * time.Hour
	midday := 12*time.Hour - time.Since(time.Now().UTC().Truncate(24*time.Hour)) // erasing waits for the morning
	set(2*year + midday)
	require.NoError(t, s.store.EraseToday(t.Context()))
	require.Equal(t, 1, there())
	set(midday)
	s.exec(`UPDATE reminder SET done_at = done_at - interval '2 years'`)
	require.NoError(t, s.store.EraseToday(t.Context()))
	require.Zero(t, there())
}

func TestWhenTheClockIsSetNoMessageIsLostOrSentTwice(t *testing.T) {
	t.Parallel()
	s, set := shiftedSalon(t)
	guest := s.booked(s.client("Guest"), at(9, 0), s.seat()).ID
	var o outbox
	began := s.store.Now()
	past, soon, late := s.remind(guest, began.Add(-time.Minute)), s.remind(guest, began.Add(40*time.Minute)), s.remind(guest, began.Add(100*time.Minute))
	s.start(&o)
	sentAre := func(list ...store.Reminder) func() bool {
		return func() bool {
			return !slices.ContainsFunc(list, func(r store.Reminder) bool { return s.stateOf(r) != store.Sent })
		}
	}
	s.until("what was due is sent", sentAre(past))
	set(-time.Hour) // and the rest waits for longer
	set(time.Hour)
	s.until("what is due by now is sent", sentAre(past, soon))
	require.Equal(t, store.Waiting, s.stateOf(late))
	set(-time.Hour)
	again := s.remind(guest, s.store.Now())
	s.until("what is due after an hour came twice is sent", sentAre(past, soon, again))
	set(2 * time.Hour)
	s.until("all is sent", sentAre(past, soon, late, again))
	require.ElementsMatch(t, []string{past.ID, soon.ID, late.ID, again.ID}, o.ids(), "each once")
	require.Equal(t, []int{1}, rows[int](s, `SELECT DISTINCT max_attempts::int FROM river_job WHERE kind = 'erase_health' AND attempt < 2`), "what failed to erase waits for the next hour")
}

func TestAStoreKnowsThatItsDatabaseIsBack(t *testing.T) {
	t.Parallel()
	s := open(t, storetest.URL(t), 1)
	for name, reach := range map[string]func() error{
		"by a new connection": func() error { store.Reconnect(s); return s.Ping(t.Context()) },
		"by the clock":        func() error { return s.LookAtClock(t.Context()) },
	} {
		require.NoError(t, s.Ping(t.Context()))
		back := 0
		store.TellAway(s, func() { back++ })
		require.NoError(t, reach(), name)
		require.Equal(t, 1, back, name)
	}
}

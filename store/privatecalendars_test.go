package store_test

import (
	"context"
	"errors"
	"maps"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

const privateAddress = "https://calendars.example/a8f1-secret-of-ada.ics"

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"AddPrivateCalendar": func(t *store.Tx, x *filled) (any, error) {
			return t.AddPrivateCalendar(x.t.Context(), store.PrivateCalendar{Staff: x.ada, Source: store.PrivateFile, Due: soon}, "")
		},
		"ClearPrivateBusy": func(t *store.Tx, x *filled) (any, error) { return t.ClearPrivateBusy(x.t.Context(), x.private) },
		"DeletePrivateCalendar": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.DeletePrivateCalendar(x.t.Context(), x.private, 1)
		},
		"FromPrivateCalendar": func(t *store.Tx, x *filled) (any, error) { return t.FromPrivateCalendar(x.t.Context(), x.absence) },
		"KeepPrivateReading": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.KeepPrivateReading(x.t.Context(), x.private, reading("x"), soon)
		},
		"LockPrivateCalendar": func(t *store.Tx, x *filled) (any, error) { return t.LockPrivateCalendar(x.t.Context(), x.private) },
		"PrivateCalendarByID": func(t *store.Tx, x *filled) (any, error) { return t.PrivateCalendarByID(x.t.Context(), x.private) },
		"PrivateCalendars":    func(t *store.Tx, x *filled) (any, error) { return t.PrivateCalendars(x.t.Context(), x.ada) },
		"PrivateConflicts": func(t *store.Tx, x *filled) (any, error) {
			return t.PrivateConflicts(x.t.Context(), x.private, at(0, 0))
		},
		"PrivateFileOf": func(t *store.Tx, x *filled) (any, error) { return t.PrivateFileOf(x.t.Context(), x.private) },
		"ReplacePrivateFile": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.ReplacePrivateFile(x.t.Context(), x.private, reading("x"), soon, soon)
		},
		"SetPrivateBusy": func(t *store.Tx, x *filled) (any, error) {
			return t.SetPrivateBusy(x.t.Context(), x.private, busy(at(1, 0), at(2, 0)))
		},
		"SettlePrivateFetch": func(t *store.Tx, x *filled) (any, error) {
			var f store.PrivateFetch
			require.ErrorIs(x.t, x.try(func(theirs *store.Tx) (err error) {
				f, err = theirs.TakePrivateCalendar(x.t.Context(), x.private)
				return errors.Join(err, errUndo)
			}), errUndo)
			ok, _, err := t.SettlePrivateFetch(x.t.Context(), f, store.PrivateOutcome{Now: soon, Due: soon})
			return ok, err
		},
		"TakePrivateCalendar": func(t *store.Tx, x *filled) (any, error) { return t.TakePrivateCalendar(x.t.Context(), x.private) },
		"UpdatePrivateCalendar": func(t *store.Tx, x *filled) (any, error) {
			return t.UpdatePrivateCalendar(x.t.Context(), store.PrivateCalendar{ID: x.private, Version: 1, Due: soon})
		},
	})
	// The set of absences that an import makes is a change like one by hand.
	changes["private calendar"] = func(s *salon, t *store.Tx) (bool, error) {
		c, err := t.AddPrivateCalendar(s.t.Context(), store.PrivateCalendar{Staff: s.ada, Source: store.PrivateFile, Due: soon}, "")
		if err != nil {
			return false, err
		}
		if _, err := t.SetPrivateBusy(s.t.Context(), c.ID, busy(at(2, 0), at(3, 0), at(13, 9), at(15, 0))); err != nil {
			return false, err
		}
		ids, err := t.PrivateConflicts(s.t.Context(), c.ID, at(0, 0))
		return len(ids) > 0, err
	}
}

// busy is what a calendar says around soon, given by pairs of times.
func busy(pairs ...time.Time) store.PrivateBusy {
	b := store.PrivateBusy{Zone: "Europe/Berlin", From: date.NewAt(soon).Add(-40), To: date.NewAt(soon).Add(400)}
	for i := 0; i < len(pairs); i += 2 {
		b.Spans = append(b.Spans, store.BusySpan{From: pairs[i], To: pairs[i+1]})
	}
	return b
}

func reading(file string) store.PrivateReading {
	return store.PrivateReading{File: []byte("BEGIN:VCALENDAR " + file), Hash: []byte("hash of " + file), ETag: `"` + file + `"`,
		Problems: []store.PrivateProblem{{Line: 7, Where: "DTSTART", What: "is no date"}}}
}

// private adds a calendar of Ada with an address, due an hour ago.
func (s *salon) private() store.PrivateCalendar {
	s.t.Helper()
	var c store.PrivateCalendar
	s.tx(func(t *store.Tx) (err error) {
		c, err = t.AddPrivateCalendar(s.t.Context(), store.PrivateCalendar{Staff: s.ada, Label: "Home", Source: store.PrivateURL, Host: "calendars.example",
			AllDayBusy: true, Due: time.Now().Add(-time.Hour)}, privateAddress)
		return err
	})
	return c
}

// fetch takes the turn of a calendar and settles it.
func (s *salon) fetch(id string, o store.PrivateOutcome) (settled bool) {
	s.t.Helper()
	var f store.PrivateFetch
	s.tx(func(t *store.Tx) (err error) { f, err = t.TakePrivateCalendar(s.t.Context(), id); return err })
	o.Now, o.Due = at(0, 0), at(0, 15)
	s.tx(func(t *store.Tx) (err error) { settled, _, err = t.SettlePrivateFetch(s.t.Context(), f, o); return err })
	return settled
}

func (s *salon) privateNow(id string) (c store.PrivateCalendar) {
	s.t.Helper()
	s.tx(func(t *store.Tx) (err error) { c, err = t.PrivateCalendarByID(s.t.Context(), id); return err })
	return c
}

// absences are those of the salon as id and time, by start.
func (s *salon) absences() []string {
	return rows[string](s, `SELECT absence_id || ' ' || (extract(epoch FROM starts_at - $2) / 60)::int || '-' || (extract(epoch FROM ends_at - $2) / 60)::int
		FROM absence WHERE salon_id = $1 ORDER BY starts_at, ends_at`, s.row.ID, soon)
}

func spansOf(absences []string) (out []string) {
	for _, a := range absences {
		_, span, _ := strings.Cut(a, " ")
		out = append(out, span)
	}
	return out
}

func TestAnImportReplacesItsAbsencesAndLeavesTheRest(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	c, other := s.private(), s.private()
	require.Equal(t, store.PrivateCalendar{ID: c.ID, Staff: s.ada, Label: "Home", Source: "url", Host: "calendars.example", AllDayBusy: true, Active: true,
		Due: c.Due, Problems: []store.PrivateProblem{}, Version: 1, Created: c.Created}, c)
	s.tx(func(tx *store.Tx) error {
		_, err := tx.AddAbsence(t.Context(), store.Absence{Unit: s.ada, From: at(10, 0), To: at(11, 0), Reason: "by hand"})
		return err
	})
	read := reading("one")
	first := busy(at(1, 0), at(2, 0), at(3, 0), at(4, 0), at(10, 0), at(11, 0))
	require.True(t, s.fetch(c.ID, store.PrivateOutcome{Read: &read, Busy: &first}))
	same := busy(at(3, 0), at(4, 0))
	require.True(t, s.fetch(other.ID, store.PrivateOutcome{Read: &read, Busy: &same}))
	before := s.absences()
	require.Equal(t, []string{"60-120", "180-240", "180-240", "600-660", "600-660"}, spansOf(before))

	next := busy(at(3, 0), at(4, 0), at(5, 0), at(6, 0))
	require.True(t, s.fetch(c.ID, store.PrivateOutcome{Busy: &next}))
	after := s.absences()
	require.Equal(t, []string{"180-240", "180-240", "300-360", "600-660"}, spansOf(after))
	require.Subset(t, before, after[:2], "what is the same stays the same row")

	got := s.privateNow(c.ID)
	require.Equal(t, 2, got.Intervals)
	require.Equal(t, "Europe/Berlin", got.Zone)
	require.Equal(t, date.NewAt(soon).Add(-40).String(), got.From)
	require.Equal(t, read.Problems, got.Problems)
	require.True(t, got.HasFile)
	require.True(t, got.OK.Equal(at(0, 0)) && got.Fetched.Equal(at(0, 0)) && got.Due.Equal(at(0, 15)))
	require.Equal(t, int64(1), got.Version, "nobody set anything")

	list := rows[bool](s, `SELECT private_calendar_id IS NULL FROM absence WHERE salon_id = $1 AND reason <> ''`, s.row.ID)
	require.Equal(t, []bool{true}, list)
	s.tx(func(tx *store.Tx) error { _, err := tx.ClearPrivateBusy(t.Context(), c.ID); return err })
	require.Equal(t, []string{"180-240", "600-660"}, spansOf(s.absences()))
	s.tx(func(tx *store.Tx) error { return tx.DeletePrivateCalendar(t.Context(), other.ID, 1) })
	require.Equal(t, []string{"600-660"}, spansOf(s.absences()))
}

func TestAFailureLeavesTheLastGoodFileAndItsAbsences(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	c := s.private()
	read, b := reading("good"), busy(at(1, 0), at(2, 0))
	s.fetch(c.ID, store.PrivateOutcome{Read: &read, Busy: &b})
	before := s.absences()
	for n := range 3 {
		require.True(t, s.fetch(c.ID, store.PrivateOutcome{Failure: "calendars.example answers 404 Not Found", Gone: true}))
		got := s.privateNow(c.ID)
		require.Equal(t, n+1, got.Failures)
		require.Equal(t, n+1, got.Gone)
		require.Equal(t, "calendars.example answers 404 Not Found", got.Failure)
	}
	s.fetch(c.ID, store.PrivateOutcome{Failure: "calendars.example cannot be reached"})
	got := s.privateNow(c.ID)
	require.Equal(t, []int{4, 0}, []int{got.Failures, got.Gone})
	require.Equal(t, before, s.absences())
	s.tx(func(tx *store.Tx) error {
		file, err := tx.PrivateFileOf(t.Context(), c.ID)
		require.NoError(t, err)
		require.Equal(t, read.File, file)
		f, err := tx.TakePrivateCalendar(t.Context(), c.ID)
		require.NoError(t, err)
		require.Equal(t, []string{privateAddress, `"good"`, "hash of good"}, []string{f.Address, f.ETag, string(f.Hash)}, "what was known stays known")
		return errors.Join(err)
	})
	require.Equal(t, 0, value[int](s, `SELECT count(*)::int FROM private_calendar WHERE salon_id = $1 AND failures = 0`, s.row.ID))
}

func TestOnlyOneHasTheTurnAndAChangeEndsIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	c := s.private()
	take := func() (f store.PrivateFetch, err error) {
		err = s.try(func(tx *store.Tx) (err error) { f, err = tx.TakePrivateCalendar(t.Context(), c.ID); return err })
		return f, err
	}
	settle := func(f store.PrivateFetch, o store.PrivateOutcome) (ok bool) {
		s.tx(func(tx *store.Tx) (err error) { ok, _, err = tx.SettlePrivateFetch(t.Context(), f, o); return err })
		return ok
	}
	var turns, refused atomic.Int32
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			switch _, err := take(); {
			case err == nil:
				turns.Add(1)
			case errors.Is(err, store.ErrFetching):
				refused.Add(1)
			}
		})
	}
	all.Wait()
	require.Equal(t, []int32{1, 7}, []int32{turns.Load(), refused.Load()})

	_, err := s.db.Exec(t.Context(), `UPDATE private_calendar SET fetching_until = now() - interval '1 second'`)
	require.NoError(t, err)
	late, err := take()
	require.NoError(t, err, "whoever took the turn and died holds nobody up for long")
	_, err = s.db.Exec(t.Context(), `UPDATE private_calendar SET fetching_until = now() - interval '1 second'`)
	require.NoError(t, err)
	mine, err := take()
	require.NoError(t, err)
	b := busy(at(1, 0), at(2, 0))
	require.False(t, settle(late, store.PrivateOutcome{Now: soon, Due: soon, Busy: &b}), "the turn is somebody else's by now")
	require.Empty(t, s.absences())

	c.AllDayBusy, c.Label = false, "Work"
	s.tx(func(tx *store.Tx) (err error) { c, err = tx.UpdatePrivateCalendar(t.Context(), c); return err })
	require.Equal(t, int64(2), c.Version)
	require.False(t, settle(mine, store.PrivateOutcome{Now: soon, Due: soon, Busy: &b}), "what was fetched was read by the old settings")
	require.Empty(t, s.absences())

	mine, err = take()
	require.NoError(t, err)
	s.tx(func(tx *store.Tx) error { return tx.DeletePrivateCalendar(t.Context(), c.ID, 2) })
	require.False(t, settle(mine, store.PrivateOutcome{Now: soon, Due: soon, Busy: &b}))
	c.Version = 1
	require.ErrorIs(t, s.try(func(tx *store.Tx) error { _, err := tx.UpdatePrivateCalendar(t.Context(), c); return err }), scheduling.ErrNotFound)
}

func TestSecretsOfAPrivateCalendarAreSealedOnceThereIsAKey(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	holds := func() []bool {
		return rows[bool](s, `SELECT x::text LIKE '%secret-of-ada%' FROM private_calendar x UNION ALL
			SELECT file IS NOT NULL FROM private_calendar UNION ALL SELECT address_sealed IS NOT NULL FROM private_calendar UNION ALL SELECT file_sealed IS NOT NULL FROM private_calendar`)
	}
	s.store.SealWith(nil)
	c := s.private()
	read, b := reading("one"), busy(at(1, 0), at(2, 0))
	require.True(t, s.fetch(c.ID, store.PrivateOutcome{Read: &read, Busy: &b}))
	require.Equal(t, []bool{true, true, false, false}, holds())

	s.store.SealWith(healthKeys(t, 1))
	require.True(t, s.fetch(c.ID, store.PrivateOutcome{Read: &read}))
	require.Equal(t, []bool{false, false, true, true}, holds())
	file := func() (string, error) {
		var got []byte
		err := s.try(func(tx *store.Tx) (err error) { got, err = tx.PrivateFileOf(t.Context(), c.ID); return err })
		return string(got), err
	}
	got, err := file()
	require.NoError(t, err)
	require.Equal(t, string(read.File), got)

	s.store.SealWith(healthKeys(t, 2, 1))
	done, err := s.store.Reseal(t.Context())
	require.NoError(t, err)
	require.Equal(t, store.Resealed{Rows: 2}, done)
	s.store.SealWith(nil)
	_, err = file()
	require.ErrorIs(t, err, store.ErrNoHealthKey)
	s.store.SealWith(healthKeys(t, 1))
	_, err = file()
	require.ErrorAs(t, err, new(*store.UnknownKeyError))
	s.store.SealWith(healthKeys(t, 2))
	got, err = file()
	require.NoError(t, err)
	require.Equal(t, string(read.File), got)
	s.tx(func(tx *store.Tx) error {
		f, err := tx.TakePrivateCalendar(t.Context(), c.ID)
		require.Equal(t, privateAddress, f.Address)
		return err
	})
	var broken error
	_, err = s.db.Exec(t.Context(), `UPDATE private_calendar SET address_sealed = file_sealed`)
	require.NoError(t, err)
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.Exec(t.Context(), `UPDATE private_calendar SET fetching = NULL, fetching_until = NULL`))
		var f store.PrivateFetch
		f, broken = tx.TakePrivateCalendar(t.Context(), c.ID)
		ok, _, err := tx.SettlePrivateFetch(t.Context(), f, store.PrivateOutcome{Now: soon, Due: soon, Failure: "x"})
		require.True(t, ok, "what cannot be opened can still be settled")
		return err
	})
	require.ErrorIs(t, broken, store.ErrSealBroken)
}

func TestWhatWasKeptWithoutAKeyIsSealedAtTheNextStartWithOne(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.store.SealWith(nil)
	kept := func() []bool {
		return rows[bool](s, `SELECT address IS NULL AND file IS NULL FROM private_calendar ORDER BY private_calendar_id`)
	}
	c, unread := s.private(), s.private()
	read := reading("one")
	require.True(t, s.fetch(c.ID, store.PrivateOutcome{Read: &read}))
	n, err := s.store.SealPlain(t.Context())
	require.NoError(t, err)
	require.Zero(t, n, "there is no key")
	require.Equal(t, []bool{false, false}, kept())

	s.store.SealWith(healthKeys(t, 1))
	n, err = s.store.SealPlain(t.Context())
	require.NoError(t, err)
	require.Equal(t, 3, n)
	require.Equal(t, []bool{true, true}, kept())
	s.tx(func(tx *store.Tx) error {
		f, err := tx.TakePrivateCalendar(t.Context(), unread.ID)
		require.Equal(t, privateAddress, f.Address)
		file, fault := tx.PrivateFileOf(t.Context(), c.ID)
		require.Equal(t, read.File, file)
		return errors.Join(err, fault)
	})

	s.store.SealWith(nil)
	s.private()
	s.store.SealWith(healthKeys(t, 1))
	done, err := s.store.Reseal(t.Context())
	require.NoError(t, err)
	require.Equal(t, store.Resealed{Rows: 1}, done)
	require.Equal(t, []bool{true, true, true}, kept())
}

func TestACalendarThatIsSwitchedOffIsNotFetchedNorThatOfWhoLeft(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	c, other := s.private(), s.private()
	b := busy(at(1, 0), at(2, 0))
	require.True(t, s.fetch(other.ID, store.PrivateOutcome{Busy: &b}))
	take := func(id string) (f store.PrivateFetch, err error) {
		err = s.try(func(tx *store.Tx) (err error) { f, err = tx.TakePrivateCalendar(t.Context(), id); return err })
		return f, err
	}
	c.Active = false
	s.tx(func(tx *store.Tx) (err error) { c, err = tx.UpdatePrivateCalendar(t.Context(), c); return err })
	_, err := take(c.ID)
	require.ErrorIs(t, err, scheduling.ErrNotFound)

	begun, err := take(other.ID)
	require.NoError(t, err)
	s.tx(func(tx *store.Tx) error {
		p, err := tx.StaffByID(t.Context(), s.ada)
		require.NoError(t, err)
		p.Active = false
		_, err = tx.UpdateStaff(t.Context(), p)
		return err
	})
	s.tx(func(tx *store.Tx) error {
		settled, _, err := tx.SettlePrivateFetch(t.Context(), begun, store.PrivateOutcome{Now: soon, Due: soon, Busy: &b})
		require.False(t, settled)
		list, fault := tx.PrivateCalendars(t.Context(), s.ada)
		require.Empty(t, list, "nothing is kept of the private life of somebody who has left")
		return errors.Join(err, fault)
	})
	require.Empty(t, s.absences())
	require.ErrorIs(t, s.try(func(tx *store.Tx) error {
		_, err := tx.AddPrivateCalendar(t.Context(), store.PrivateCalendar{Staff: s.ada, Source: store.PrivateFile, Due: soon}, "")
		return err
	}), scheduling.ErrNotFound)
}

func TestNoSalonFillsTheLineOfFetching(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	for range 30 {
		s.private()
	}
	other := s.second().private() // due last
	_, err := s.db.Exec(t.Context(), `UPDATE private_calendar SET due_at = now() WHERE private_calendar_id = $1`, other.ID)
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	st := open(t, s.url, 6)
	fetched := make(chan string, 100)
	st.FetchWith(func(_ context.Context, _, calendar string) error { fetched <- calendar; return nil })
	jobs, err := st.StartJobs(ctx, func(context.Context, store.Due) (store.Outcome, error) { return store.Outcome{}, nil }, nil)
	require.NoError(t, err)
	defer func() { require.NoError(t, jobs.Stop(context.WithoutCancel(ctx))) }()
	seen := map[string]bool{}
	for range 11 { // nobody takes their turn: they stay due, as slow ones do
		select {
		case id := <-fetched:
			seen[id] = true
		case <-ctx.Done():
			require.Fail(t, "nobody fetches")
		}
	}
	require.Len(t, seen, 11)
	require.True(t, seen[other.ID], "after ten of the first salon at most")
}

func TestOpeningsFollowAPrivateCalendarInMemoryToo(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4).opened()
	c := s.private()
	days, now := around(soon, 1, 1), time.Now()
	one, two := s.store, open(t, s.url, 4)
	free := func() (out []bool) {
		for _, st := range []*store.Store{one, two} {
			f := s.free(st, days, now)
			s.requireFresh(f, now)
			out = append(out, mayWork(f.Horizon, f.Snapshot.Shop(), s.ada, at(12, 0), at(13, 0)))
		}
		return out
	}
	set := func(b store.PrivateBusy) {
		s.tx(func(tx *store.Tx) error { _, err := tx.SetPrivateBusy(t.Context(), c.ID, b); return err })
	}
	require.Equal(t, []bool{true, true}, free())
	set(busy(at(12, 30), at(12, 31)))
	require.Equal(t, []bool{false, false}, free())
	set(busy(at(14, 0), at(15, 0)))
	require.Equal(t, []bool{true, true}, free())
	set(busy(at(-400*24, 0), at(400*24, 0)))
	require.Equal(t, []bool{false, false}, free())
	s.tx(func(tx *store.Tx) error { return tx.DeletePrivateCalendar(t.Context(), c.ID, 1) })
	require.Equal(t, []bool{true, true}, free())
}

func TestAnImportLiesOverVisitsWhichAreListed(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	c := s.private()
	over := s.booked(s.client("Mara"), at(9, 0), s.seat())
	s.booked(s.client("Nora"), at(14, 0), s.seat())
	ben := s.seat()
	ben.lead, ben.chair = s.ben, s.chairs[1]
	s.booked(s.client("Ines"), at(11, 0), ben)
	blocks := value[int](s, `SELECT count(*)::int FROM block`)
	hit := func(now time.Time) (list []store.PrivateConflict) {
		s.tx(func(tx *store.Tx) (err error) { list, err = tx.PrivateConflicts(t.Context(), c.ID, now); return err })
		return list
	}
	var done store.BusyChange
	s.tx(func(tx *store.Tx) (err error) {
		done, err = tx.SetPrivateBusy(t.Context(), c.ID, busy(at(9, 19), at(9, 20), at(11, 0), at(14, 0)))
		return err
	})
	require.Len(t, done.Added, 2)
	require.Empty(t, done.Gone)
	require.Equal(t, []store.PrivateConflict{{Absence: done.Added[0].ID, Visit: over.ID}}, hit(at(0, 0)), "the last minute of her first block; where she does not work and where she begins later nothing is hit")
	require.Empty(t, hit(at(9, 20)))
	require.Equal(t, blocks, value[int](s, `SELECT count(*)::int FROM block`), "nothing is moved")
}

func TestCalendarsThatAreDueStandInLineOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	due, later, off := s.private(), s.private(), s.private()
	gone := s.second().private()
	_, err := s.db.Exec(t.Context(), `UPDATE private_calendar SET due_at = now() + interval '1 hour' WHERE private_calendar_id = $1`, later.ID)
	require.NoError(t, err)
	_, err = s.db.Exec(t.Context(), `UPDATE private_calendar SET active = false WHERE private_calendar_id = $1`, off.ID)
	require.NoError(t, err)
	_, err = s.db.Exec(t.Context(), `UPDATE unit SET active = false WHERE unit_id = $1`, gone.Staff)
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var mu sync.Mutex
	var fetched []string
	running := make(chan struct{})
	release := make(chan struct{})
	for range 2 { // two processes
		st := open(t, s.url, 6)
		st.FetchWith(func(ctx context.Context, salon, calendar string) error {
			mu.Lock()
			fetched = append(fetched, salon+" "+calendar)
			mu.Unlock()
			running <- struct{}{}
			<-release
			return nil
		})
		jobs, err := st.StartJobs(ctx, func(context.Context, store.Due) (store.Outcome, error) { return store.Outcome{}, nil }, nil)
		require.NoError(t, err)
		defer func() { require.NoError(t, jobs.Stop(context.WithoutCancel(ctx))) }()
	}
	defer close(release)
	select {
	case <-running:
	case <-ctx.Done():
		require.Fail(t, "nobody fetched anything")
	}
	for range 3 {
		require.NoError(t, s.store.LookForPrivate(ctx))
	}
	select {
	case <-running:
		require.Fail(t, "fetched again although it is being fetched")
	case <-time.After(1500 * time.Millisecond):
	}
	mu.Lock()
	defer mu.Unlock()
	require.Equal(t, []string{s.row.ID + " " + due.ID}, fetched)
}

func BenchmarkSetPrivateBusy(b *testing.B) {
	s := newSalon(b, 4)
	c := s.private()
	set := func(shift int) {
		var pairs []time.Time
		for i := range 500 {
			pairs = append(pairs, at(i*18, shift), at(i*18+1, shift))
		}
		s.tx(func(tx *store.Tx) error { _, err := tx.SetPrivateBusy(b.Context(), c.ID, busy(pairs...)); return err })
	}
	for name, shift := range map[string]int{"the same 500": 0, "500 others": 1} {
		b.Run(name, func(b *testing.B) {
			for i := 0; b.Loop(); i++ {
				set(i % 2 * shift)
			}
		})
	}
}

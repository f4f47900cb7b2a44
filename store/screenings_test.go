package store_test

import (
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// secretWords are answers that no column may hold.
const secretWords = `{"pregnancy":"zqyes","medicines":"zqpills"}`

// screened adds a screening of a client.
func (s *salon) screened(client string, made time.Time, change func(*store.Screening)) store.Screening {
	s.t.Helper()
	c := store.Screening{Client: client, FormVersion: 1, Outcome: "ask", Made: made, MadeBy: s.ada, ConsentBy: "client", ConsentAt: made, ConsentWording: 1}
	if change != nil {
		change(&c)
	}
	s.tx(func(t *store.Tx) (err error) {
		if _, err := t.KeepForm(s.t.Context(), store.Form{Version: 1, Standard: 1, Own: []byte(`[]`)}); err != nil {
			return err
		}
		c, err = t.AddScreening(s.t.Context(), c, []byte(secretWords))
		return err
	})
	return c
}

func TestAScreeningIsKeptAsItWasGiven(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	day := date.New(2026, time.July, 1)
	want := s.screened(s.client("Guest"), at(9, 0), func(c *store.Screening) {
		c.Outcome, c.StrandTest, c.AfterStrandTest, c.Earliest, c.ConsentBy = "do_not_book", true, true, &day, "guardian"
	})
	var got store.Screening
	s.tx(func(tx *store.Tx) (err error) { got, err = tx.ScreeningByID(t.Context(), want.ID); return err })
	require.True(t, want.Made.Equal(got.Made) && want.ConsentAt.Equal(got.ConsentAt))
	got.Made, got.ConsentAt = want.Made, want.ConsentAt
	require.Equal(t, want, got)
}

func TestTheNewestScreeningCounts(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	guest, other := s.client("Guest"), s.client("Other")
	latest := func() (c store.Screening, err error) {
		err = s.try(func(tx *store.Tx) (err error) { c, err = tx.LatestScreening(t.Context(), guest); return err })
		return c, err
	}
	_, err := latest()
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	newest := s.screened(guest, at(9, 0), nil)
	s.screened(guest, at(8, 0), nil) // typed in later
	s.screened(other, at(10, 0), nil)
	got, err := latest()
	require.NoError(t, err)
	require.Equal(t, newest.ID, got.ID)
	s.tx(func(tx *store.Tx) error { return tx.EraseScreening(t.Context(), newest.ID, at(11, 0), false) })
	_, err = latest()
	require.ErrorIs(t, err, scheduling.ErrNotFound, "what was answered before says nothing about today")
}

func TestStandingCountsTheWordOfTheLicensedPerson(t *testing.T) {
	for _, x := range []store.Screening{{Outcome: "clear"}, {Outcome: "ask", Decision: "yes"}, {Outcome: "do_not_book", Decision: "yes"}} {
		require.EqualValues(t, "clear", x.Standing())
	}
	for _, x := range []store.Screening{{Outcome: "do_not_book"}, {Outcome: "ask", Decision: "no"}, {Outcome: "clear", Decision: "no"}} {
		require.EqualValues(t, "do_not_book", x.Standing())
	}
	require.EqualValues(t, "ask", store.Screening{Outcome: "ask"}.Standing())
}

func TestNoColumnHoldsAnAnswerOrAReason(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	c := s.screened(s.client("Guest"), at(9, 0), nil)
	now := at(10, 0)
	c.Decision, c.DecidedBy, c.DecidedName, c.DecidedAt = "yes", s.ada, "Ada", &now
	s.tx(func(tx *store.Tx) error { return tx.Decide(t.Context(), c, []byte("zqwhy")) })
	require.True(t, s.dumpHolds([]byte(c.ID)), "the dump is complete")
	for _, word := range []string{"zqyes", "pregnancy", "medicines", "zqpills", "zqwhy"} {
		require.False(t, s.dumpHolds([]byte(word)), word)
	}
	read := func() (answers, why []byte, err error) {
		err = s.try(func(tx *store.Tx) (err error) { answers, why, err = tx.Answers(t.Context(), c); return err })
		return answers, why, err
	}
	answers, why, err := read()
	require.NoError(t, err)
	require.Equal(t, []string{secretWords, "zqwhy"}, []string{string(answers), string(why)})

	c.Decision = "no"
	s.tx(func(tx *store.Tx) error { return tx.Decide(t.Context(), c, []byte("zqwhy twice")) })
	_, why, err = read()
	require.NoError(t, err)
	require.Equal(t, "zqwhy twice", string(why))
	require.Equal(t, "no", value[string](s, `SELECT decision FROM screening`))

	s.store.SealWith(nil)
	_, _, err = read()
	require.ErrorIs(t, err, store.ErrNoHealthKey)
	require.ErrorIs(t, s.try(func(tx *store.Tx) error { _, err := tx.AddScreening(t.Context(), c, nil); return err }), store.ErrNoHealthKey)
	require.ErrorIs(t, s.try(func(tx *store.Tx) error { return tx.Decide(t.Context(), c, nil) }), store.ErrNoHealthKey)
	s.store.SealWith(healthKeys(t, 2))
	_, _, err = read()
	var unknown *store.UnknownKeyError
	require.ErrorAs(t, err, &unknown)
	s.store.SealWith(healthKeys(t, 2, 1))
	_, _, err = read()
	require.NoError(t, err, "an old key opens")
}

func TestSealedWordsOpenInTheirOwnRowOnly(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	guest := s.client("Guest")
	a, b, c := s.screened(guest, at(9, 0), nil), s.screened(guest, at(10, 0), nil), s.screened(s.client("Other"), at(9, 0), nil)
	read := func(x store.Screening) error {
		return s.try(func(tx *store.Tx) error { _, _, err := tx.Answers(t.Context(), x); return err })
	}
	require.NoError(t, read(a))
	for _, from := range []store.Screening{b, c} {
		_, err := s.db.Exec(t.Context(), `UPDATE sealed_text SET sealed = (SELECT sealed FROM sealed_text WHERE screening_id = $2) WHERE screening_id = $1`, a.ID, from.ID)
		require.NoError(t, err)
		require.ErrorIs(t, read(a), store.ErrSealBroken)
	}
	_, err := s.db.Exec(t.Context(), `UPDATE screening SET client_id = $2 WHERE screening_id = $1`, b.ID, c.Client)
	require.NoError(t, err)
	require.NoError(t, read(b), "as it was read before")
	b.Client = c.Client
	require.ErrorIs(t, read(b), store.ErrSealBroken, "nobody else's answers")
	_, err = s.db.Exec(t.Context(), `UPDATE sealed_text SET sealed = set_byte(sealed, 60, get_byte(sealed, 60) # 1) WHERE screening_id = $1`, c.ID)
	require.NoError(t, err)
	require.ErrorIs(t, read(c), store.ErrSealBroken)
}

func TestErasingLeavesThatThereWasOne(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	c := s.screened(s.client("Guest"), at(9, 0), func(c *store.Screening) { c.StrandTest = true })
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.EraseScreening(t.Context(), c.ID, at(10, 0), true))
		require.NoError(t, tx.EraseScreening(t.Context(), c.ID, at(11, 0), true), "again")
		got, err := tx.ScreeningByID(t.Context(), c.ID)
		require.NoError(t, err)
		require.Empty(t, got.Outcome)
		require.False(t, got.StrandTest)
		require.True(t, got.Erased.Equal(at(10, 0)) && got.Withdrawn.Equal(at(10, 0)) && got.Made.Equal(at(9, 0)))
		_, _, err = tx.Answers(t.Context(), got)
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		require.ErrorIs(t, tx.Decide(t.Context(), store.Screening{ID: c.ID, Client: c.Client, Decision: "no", DecidedAt: &soon}, nil), scheduling.ErrNotFound)
		require.ErrorIs(t, tx.EraseScreening(t.Context(), "none", at(10, 0), false), scheduling.ErrNotFound)
		list, err := tx.Screenings(t.Context(), c.Client)
		require.Len(t, list, 1)
		return err
	})
	require.Zero(t, value[int](s, `SELECT count(*) FROM sealed_text`))
}

func TestAClientWhoIsDeletedTakesTheAnswersAlong(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	c := s.screened(s.client("Guest"), at(9, 0), nil)
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.NoteHealthRead(t.Context(), store.HealthRead{Screening: c.ID, At: at(9, 1), What: "read", Role: "lead", Staff: s.ada, Token: "t"}))
		return tx.DeleteClient(t.Context(), c.Client, 1)
	})
	require.Zero(t, value[int](s, `SELECT count(*) FROM screening`)+value[int](s, `SELECT count(*) FROM sealed_text`))
	require.Equal(t, []string{"audit.subject"}, s.everywhere(c.Client), "that there was somebody, and when")
	s.tx(func(tx *store.Tx) error {
		list, err := tx.HealthReads(t.Context(), "", 10)
		require.Len(t, list, 1)
		require.Empty(t, list[0].Client, "who read them stays known")
		return err
	})
}

// eraseHealth erases what is on record of health by its age and returns how many rows.
func (s *salon) eraseHealth(now time.Time) int {
	s.t.Helper()
	n, err := s.store.EraseHealth(s.t.Context(), s.row, now)
	require.NoError(s.t, err)
	return n
}

func TestAnswersGoSoManyMonthsAfterTheLastVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	now := at(12, 0)
	months := func(n int) time.Time { return now.AddDate(0, -n, 0) }
	visited := func(name string, ends time.Time, state string) string {
		c := s.client(name)
		v := s.booked(c, at(9, 0), s.seat())
		_, err := s.db.Exec(t.Context(), `UPDATE visit SET starts_at = $2::timestamptz - interval '1 hour', ends_at = $2, state = $3 WHERE visit_id = $1`, v.ID, ends, state)
		require.NoError(t, err)
		_, err = s.db.Exec(t.Context(), `DELETE FROM block`)
		require.NoError(t, err)
		return c
	}
	kept := map[string]bool{}
	for name, x := range map[string]struct {
		client string
		made   time.Time
		kept   bool
	}{
		"old, never came":            {s.client("A"), months(13), false},
		"asked lately":               {s.client("B"), months(11), true},
		"on that day":                {s.client("C"), months(12), false},
		"a day too young":            {s.client("D"), months(12).AddDate(0, 0, 1), true},
		"came lately":                {visited("E", months(1), "finished"), months(30), true},
		"came long ago":              {visited("F", months(13), "finished"), months(30), false},
		"will come":                  {visited("G", now.AddDate(0, 2, 0), "booked"), months(30), true},
		"called off":                 {visited("H", months(1), "cancelled"), months(30), false},
		"did not come":               {visited("I", months(1), "missed"), months(30), false},
		"stopped early but was here": {visited("J", months(1), "stopped_early"), months(30), true},
	} {
		kept[s.screened(x.client, x.made, nil).ID] = x.kept
		_ = name
	}
	s.store.SealWith(nil) // erasing needs no key
	require.Equal(t, 5, s.eraseHealth(now))
	for id, want := range kept {
		require.Equal(t, want, value[bool](s, `SELECT erased_at IS NULL FROM screening WHERE screening_id = $1`, id))
		require.Equal(t, want, value[bool](s, `SELECT EXISTS (SELECT 1 FROM sealed_text WHERE screening_id = $1)`, id))
	}
	require.Equal(t, 5, value[int](s, `SELECT count(*) FROM health_read WHERE what = 'erased' AND role = 'retention'`))
	s.tx(func(tx *store.Tx) error {
		_, err := tx.SetHealthMonths(t.Context(), 99, 40, longAgo)
		require.ErrorIs(t, err, scheduling.ErrStale)
		version, err := tx.SetHealthMonths(t.Context(), 1, 1, longAgo)
		require.NoError(t, err)
		n, got, err := tx.HealthMonths(t.Context())
		require.NoError(t, err)
		require.Equal(t, []int64{1, version}, []int64{int64(n), got})
		return err
	})
	require.Equal(t, 4, s.eraseHealth(now.AddDate(0, 0, 1)), "all but who will come")
	s.store.SealWith(healthKeys(t, 1))
	// The daily job.
	old := s.screened(s.client("K"), at(12, 0).AddDate(0, -2, 0), nil)
	_, err := s.store.EraseByAge(t.Context(), now.AddDate(0, 0, 2))
	require.NoError(t, err)
	require.NotNil(t, value[*time.Time](s, `SELECT erased_at FROM screening WHERE screening_id = $1`, old.ID))
}

func TestTheStylistOfAClientIsWhoLedAVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	guest, other := s.client("Guest"), s.client("Other")
	v := s.booked(guest, at(9, 0), s.seat())
	led := func(staff, client string) bool {
		var clients []string
		s.tx(func(tx *store.Tx) (err error) {
			clients, err = tx.Led(t.Context(), staff, []string{client})
			return err
		})
		return len(clients) > 0
	}
	require.True(t, led(s.ada, guest))
	require.False(t, led(s.ben, guest))
	require.False(t, led(s.ada, other))
	require.False(t, led("", guest))
	_, err := s.db.Exec(t.Context(), `UPDATE visit SET state = 'cancelled' WHERE visit_id = $1`, v.ID)
	require.NoError(t, err)
	require.False(t, led(s.ada, guest))
}

func TestAVersionOfTheFormIsKeptOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.tx(func(tx *store.Tx) error {
		_, err := tx.NewestForm(t.Context())
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		for i, own := range []string{`[]`, `[{"text": "Why?"}]`} {
			first, err := tx.KeepForm(t.Context(), store.Form{Version: i + 1, Standard: 1, Own: []byte(own)})
			require.NoError(t, err)
			require.True(t, first)
		}
		again, err := tx.KeepForm(t.Context(), store.Form{Version: 1, Standard: 7, Own: []byte(`[1]`)})
		require.NoError(t, err)
		require.False(t, again)
		f, err := tx.FormByVersion(t.Context(), 1)
		require.NoError(t, err)
		require.Equal(t, store.Form{Version: 1, Standard: 1, Own: []byte(`[]`)}, f)
		f, err = tx.NewestForm(t.Context())
		require.Contains(t, string(f.Own), "Why?")
		_, missing := tx.FormByVersion(t.Context(), 3)
		require.ErrorIs(t, missing, scheduling.ErrNotFound)
		return err
	})
}

func TestReadingsAreListedPageByPage(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	c := s.screened(s.client("Guest"), at(9, 0), nil)
	s.tx(func(tx *store.Tx) error {
		for i := range 5 {
			r := store.HealthRead{Screening: c.ID, At: at(9, i), What: "read", Role: "owner", Token: "t"}
			require.NoError(t, tx.NoteHealthRead(t.Context(), r))
		}
		var minutesSeen []int
		before := ""
		for {
			page, err := tx.HealthReads(t.Context(), before, 2)
			require.NoError(t, err)
			if len(page) == 0 {
				break
			}
			for _, r := range page {
				minutesSeen = append(minutesSeen, r.At.Minute())
				require.Equal(t, c.Client, r.Client)
				before = r.ID
			}
		}
		require.Equal(t, []int{4, 3, 2, 1, 0}, minutesSeen)
		return nil
	})
}

package store_test

import (
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// oldThings gives a salon two rows of the day on which everything happened, one of them
// about health, and says how many there are still.
func (s *salon) oldThings() (there func() int) {
	s.store.SealWith(healthKeys(s.t, 1))
	s.screened(s.client("Guest"), at(9, 0), nil)
	s.exec(`INSERT INTO health_read (salon_id, read_id, screening_id, read_at, what, role) VALUES ($1, 'r' || $1, '', $2, 'read', 'owner')`, s.row.ID, at(9, 0))
	return func() int {
		return value[int](s, `SELECT (SELECT count(*) FROM health_read WHERE read_id = 'r' || $1) + (SELECT count(*) FROM screening WHERE salon_id = $1 AND erased_at IS NULL)`, s.row.ID)
	}
}

// runAt is the job at noon some days after a moment, whatever ran before.
func (s *salon) runAt(from time.Time, days int) {
	s.t.Helper()
	_, err := s.store.EraseByAge(s.t.Context(), from.AddDate(0, 0, days))
	require.NoError(s.t, err)
}

func TestADateThatNobodyWouldBelieveErasesNothingForTwoDays(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	there, theirs := s.oldThings(), s.second().oldThings()
	s.runAt(at(12, 0), 0)
	far := at(12, 0).AddDate(10, 0, 0)
	s.exec(`DELETE FROM retention_run WHERE salon_id <> $1`, s.row.ID)
	s.runAt(far, 0)
	require.Equal(t, 2, there())
	require.Zero(t, theirs(), "a salon without any run has no day to doubt")
	s.tx(func(tx *store.Tx) error {
		r, err := tx.Retention(t.Context())
		require.Equal(t, date.NewAt(far).Add(2), r.From, "which its owner can see")
		return err
	})
	s.runAt(far.Add(time.Hour), 0)
	s.runAt(far, 1)
	require.Equal(t, 2, there())

	// The clock is put right: what was noted of it holds nothing back for years.
	for day := 1; day <= 2; day++ {
		s.runAt(at(12, 0), day)
		require.Equal(t, date.NewAt(at(12, 0)).Add(3).String(), value[string](s, `SELECT erase_from::text FROM salon WHERE salon_id = $1`, s.row.ID))
	}
	s.runAt(at(12, 0), 3)
	require.Equal(t, date.NewAt(at(12, 0)).Add(3).String(), value[string](s, `SELECT max(day)::text FROM retention_run WHERE salon_id = $1`, s.row.ID))
	require.Equal(t, 2, there())

	// The date was right, and the machine stood still for ten years.
	s.runAt(far, 0)
	require.Equal(t, 2, there())
	s.runAt(far, 2)
	require.Zero(t, there())
}

func TestARunOfADayToComeHoldsUpNoOther(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	there := s.oldThings()
	s.runAt(at(12, 0), 0)
	s.exec(`UPDATE retention_run SET day = day + 4000`)
	day := at(12, 0).AddDate(3, 0, 1)
	s.runAt(day, 0)
	require.Zero(t, there())
	require.Equal(t, date.NewAt(day).String(), value[string](s, `SELECT max(day)::text FROM retention_run`))
}

func TestNothingIsErasedSoonAfterABackupWasReadBack(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	there, theirs := s.oldThings(), s.second().oldThings()
	day := at(12, 0).AddDate(3, 0, 1)
	require.NoError(t, s.store.HoldErasing(t.Context(), day))
	s.runAt(day, 0)
	s.runAt(day, 1)
	require.Equal(t, []int{2, 2}, []int{there(), theirs()})
	s.runAt(day, 2)
	require.Equal(t, []int{0, 0}, []int{there(), theirs()})
}

func TestWhatCannotBeErasedHoldsUpNothingElse(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	stuck := s.client("Stuck")
	for range 3 {
		s.client("Never")
	}
	s.exec(`CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'refused'; END $$`)
	s.exec(`CREATE TRIGGER refuse BEFORE DELETE ON client FOR EACH ROW WHEN (OLD.given_name = 'Stuck') EXECUTE FUNCTION refuse()`)
	noted := func() []string {
		return rows[string](s, `SELECT subject FROM audit WHERE what = 'retention_run' ORDER BY audit_id`)
	}
	s.erase(13, 0)
	require.Equal(t, []string{stuck}, rows[string](s, `SELECT client_id FROM client`))
	require.Equal(t, []string{"never_came: 3, 1 could not be erased"}, noted())
	require.Equal(t, 3, value[int](s, `SELECT count(*) FROM erased_client`), "nobody is on the list who is still there")
	s.exec(`DROP TRIGGER refuse ON client`)
	s.erase(13, 1)
	require.Zero(t, value[int](s, `SELECT count(*) FROM client`))
	require.Equal(t, "never_came: 1", noted()[1])
}

func TestOldAddressesGoEvenWhereNothingElseCan(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	guest := s.client("Guest")
	s.tx(func(tx *store.Tx) error {
		_, err := tx.AddContactChange(t.Context(), store.ContactChange{Client: guest, Way: "mail", Was: "old@example.org", Changed: at(9, 0), By: "desk"})
		return err
	})
	s.exec(`CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'refused'; END $$`)
	s.exec(`CREATE TRIGGER refuse BEFORE INSERT OR UPDATE ON retention_run FOR EACH ROW EXECUTE FUNCTION refuse()`)
	_, err := s.store.EraseByAge(t.Context(), at(12, 0).AddDate(0, 0, 31))
	require.ErrorContains(t, err, "refused")
	require.Empty(t, value[string](s, `SELECT was FROM contact_change`))
}

func TestADayOnWhichNothingIsTooOldIsNotedAtOnceAndLookedAtNoMore(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.client("Guest")
	noted := func() []string {
		return rows[string](s, `SELECT DISTINCT xmin::text || ' ' || day FROM retention_run WHERE ended_at IS NOT NULL`)
	}
	s.erase(1, 0)
	first := noted()
	require.Len(t, first, 1, "in one transaction")
	require.Len(t, rows[string](s, `SELECT kind FROM retention_run`), len(store.TermsAllowed)+1)
	s.erase(1, 0)
	require.Equal(t, first, noted(), "the next hour writes nothing")
	s.erase(1, 1)
	require.Len(t, noted(), 1)
	require.NotEqual(t, first, noted())
	require.Empty(t, rows[string](s, `SELECT subject FROM audit WHERE what = 'retention_run'`))
}

func TestARunThatNobodyWentOnWithIsInTheLogAllTheSame(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	left := s.oldReads(700)
	s.exec(`CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION USING ERRCODE = '57014'; END $$`)
	s.exec(`CREATE TRIGGER refuse BEFORE DELETE ON health_read FOR EACH ROW WHEN (OLD.read_id = 'r0600') EXECUTE FUNCTION refuse()`)
	_, err := s.store.EraseByAge(t.Context(), at(12, 0).AddDate(0, 36, 0))
	require.ErrorIs(t, err, store.ErrUnavailable)
	require.Equal(t, 200, left())
	s.exec(`DROP TRIGGER refuse ON health_read`)
	s.erase(36, 1)
	require.Zero(t, left())
	require.Equal(t, []string{"health_reads: 500, cut short", "health_reads: 200"}, rows[string](s, `SELECT subject FROM audit WHERE what = 'retention_run' ORDER BY audit_id`))
}

func TestSalonsThatTimeDidNotReachComeFirstTheNextTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	for range 2 {
		_, err := s.store.AddSalon(t.Context(), store.Salon{Name: "Next door", Zone: "Europe/Berlin", Currency: "EUR"})
		require.NoError(t, err)
	}
	s.exec(`INSERT INTO health_read (salon_id, read_id, screening_id, read_at, what, role) SELECT salon_id, 'r', '', $1, 'read', 'owner' FROM salon`, at(9, 0))
	on := at(12, 0).AddDate(0, 36, 0)
	for i := range 3 { // there is time for one salon each, and less than it needs
		more, err := s.store.EraseWithin(t.Context(), on, -time.Second)
		require.NoError(t, err)
		require.True(t, more)
		require.Equal(t, i+1, value[int](s, `SELECT count(DISTINCT salon_id) FROM retention_run WHERE ended_at IS NOT NULL`))
	}
}

func TestAStepThatForgetsWhatGoesBeforeIsNoEndlessLoop(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.booked(s.client("Guest"), at(9, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		_, err := store.PeopleAhead(t.Context(), tx, `true`)
		require.ErrorContains(t, err, "lacks what goes before")
		n, err := store.PeopleAhead(t.Context(), tx, `coalesce(x.visit_id <> ALL (term.visits), true)`)
		require.Equal(t, 1, n)
		return err
	})
}

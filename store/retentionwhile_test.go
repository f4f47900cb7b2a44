package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// oldReads gives the salon notes of readings on the day on which everything happened.
func (s *salon) oldReads(n int) (left func() int) {
	s.exec(`INSERT INTO health_read (salon_id, read_id, screening_id, read_at, what, role) SELECT $1, 'r' || lpad(n::text, 4, '0'), '', $2, 'read', 'owner' FROM generate_series(1, $3) n`, s.row.ID, at(9, 0), n)
	return func() int { return value[int](s, `SELECT count(*) FROM health_read WHERE read_id LIKE 'r%'`) }
}

func TestTermsThatAreSavedBetweenTwoBatchesCountForTheSecond(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]string{
		"longer":      `UPDATE retention_rule SET health_reads_months = 120`,
		"not yet":     `UPDATE retention_rule SET from_date = '2100-01-01'`,
		"held back":   `UPDATE salon SET erase_from = '2100-01-01'`,
		"none before": `INSERT INTO retention_rule SELECT salon_id, 36, 12, 120, 14, 12, 3, 12, 120, '2020-01-01', 2 FROM salon`,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := newSalon(t, 4)
			left := s.oldReads(700)
			if name != "none before" {
				s.retain(nil)
			}
			// Saved along with the last row of the first batch.
			s.exec(`CREATE FUNCTION change() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN ` + change + `; RETURN OLD; END $$`)
			s.exec(`CREATE TRIGGER change BEFORE DELETE ON health_read FOR EACH ROW WHEN (OLD.read_id = 'r0500') EXECUTE FUNCTION change()`)
			s.erase(36, 0)
			require.Equal(t, 200, left())
			require.Equal(t, []string{"health_reads: 500"}, rows[string](s, `SELECT subject FROM audit WHERE what = 'retention_run'`), "what went is in the log all the same")
			s.erase(36, 0)
			require.Equal(t, 200, left())
		})
	}
}

func TestWhoSavesTermsWaitsForTheBatchThatIsUnderWay(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	left := s.oldReads(3)
	s.exec(`CREATE FUNCTION wait() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN PERFORM pg_advisory_xact_lock(7); RETURN OLD; END $$`)
	s.exec(`CREATE TRIGGER wait BEFORE DELETE ON health_read FOR EACH ROW EXECUTE FUNCTION wait()`)
	gate, err := s.db.Begin(t.Context())
	require.NoError(t, err)
	defer func() { _ = gate.Rollback(context.WithoutCancel(t.Context())) }()
	_, err = gate.Exec(t.Context(), `SELECT pg_advisory_xact_lock(7)`)
	require.NoError(t, err)
	waiting := func(n int, while chan error) {
		for value[int](s, `SELECT count(*) FROM pg_locks WHERE NOT granted AND pid IN (SELECT pid FROM pg_stat_activity WHERE datname = current_database())`) < n {
			select {
			case err := <-while:
				t.Fatalf("did not wait: %v", err)
			case <-time.After(5 * time.Millisecond):
			}
		}
	}
	erased, saved := make(chan error, 1), make(chan error, 1)
	go func() {
		_, err := s.store.EraseByAge(t.Context(), at(12, 0).AddDate(0, 36, 0))
		erased <- err
	}()
	waiting(1, erased)
	go func() {
		saved <- s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
			_, err := tx.SetRetention(t.Context(), terms(map[store.DataKind]int{store.KeptReads: 120}), date.NewAt(at(12, 0).AddDate(0, 36, 0)))
			return err
		})
	}()
	waiting(2, saved)
	require.Equal(t, 3, left())
	require.NoError(t, gate.Rollback(t.Context()))
	require.NoError(t, <-erased)
	require.NoError(t, <-saved)
	require.Zero(t, left(), "these went by the term that stood then")
}

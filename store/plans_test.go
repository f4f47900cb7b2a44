package store_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

func TestWhatADayAsksForDoesNotReadTheSalonsWholeHistory(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	other := s.client("Other")
	for _, q := range []string{
		`INSERT INTO product (salon_id, product_id, name, kind) SELECT $1, 'p' || n, 'P' || n, 'other' FROM generate_series(1, 40) n`,
		`INSERT INTO visit (salon_id, visit_id, client_id, state, starts_at, ends_at)
		 SELECT $1, 'v' || n, '` + other + `', CASE WHEN n > 4950 THEN 'booked' ELSE 'finished' END, t, t + interval '30 minutes'
		 FROM generate_series(1, 5000) n, LATERAL (SELECT timestamptz '2020-01-01' + make_interval(hours => n) AS t) x`,
		`INSERT INTO visit_product (salon_id, visit_id, ordinal, service_ordinal, product_id, ml)
		 SELECT $1, 'v' || n, 0, 0, 'p' || n % 40 + 1, 50 FROM generate_series(1, 5000) n`,
		`INSERT INTO money_entry (salon_id, entry_id, visit_id, kind, amount_cents, to_visit_id)
		 SELECT $1, 'e' || n, 'v' || (n + 1) / 2, CASE WHEN n % 20 = 0 THEN 'carried_over' ELSE 'received' END, 1000,
			CASE WHEN n % 20 = 0 THEN 'v' || n % 4999 + 1 END FROM generate_series(1, 10000) n`,
		`INSERT INTO money_entry (salon_id, entry_id, visit_id, kind, reverses)
		 SELECT $1, 'b' || n, 'v' || (n + 1) / 2, 'taken_back', 'e' || n FROM generate_series(20, 10000, 20) n`,
	} {
		_, err := s.db.Exec(t.Context(), q, s.row.ID)
		require.NoError(t, err, q)
	}
	_, err := s.db.Exec(t.Context(), `ANALYZE`)
	require.NoError(t, err)
	visits := make([]string, 20)
	for i := range visits {
		visits[i] = "v" + string(rune('a'+i))
	}
	for table, plan := range map[string]string{
		"money_entry":   s.explained(store.MoneyOfVisits, s.row.ID, visits),
		"visit_product": s.explained(store.ShortForVisit, s.row.ID, "v4960"),
	} {
		require.Contains(t, plan, table)
		require.NotContains(t, plan, "Seq Scan on "+table, plan)
	}
	s.tx(func(tx *store.Tx) error {
		list, err := tx.ShortFor(t.Context(), "v4991")
		require.Len(t, list, 1, "of the one product that it takes")
		require.Equal(t, []any{"p32", "v4951"}, []any{list[0].ID, *list[0].Short}, "the first visit that cannot be covered")
		return err
	})
}

// explained is how the database would run a query.
func (s *salon) explained(q string, args ...any) string {
	s.t.Helper()
	rows, err := s.db.Query(s.t.Context(), "EXPLAIN "+q, args...)
	require.NoError(s.t, err)
	defer rows.Close()
	plan := ""
	for rows.Next() {
		var line string
		require.NoError(s.t, rows.Scan(&line))
		plan += line + "\n"
	}
	require.NoError(s.t, rows.Err())
	return plan
}

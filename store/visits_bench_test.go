package store_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// BenchmarkSixtyVisits reads a day of sixty visits, and the same as nested JSON.
func BenchmarkSixtyVisits(b *testing.B) {
	s := newSalon(b, 4)
	x := s.filled()
	for _, q := range []string{
		`INSERT INTO visit (salon_id, visit_id, client_id, state, starts_at, ends_at, chair_id, version) SELECT salon_id, visit_id || n, client_id, 'finished', starts_at, ends_at, chair_id, 1
			FROM visit, generate_series(1, 60) n WHERE visit_id = $1`,
		`INSERT INTO visit_service (salon_id, visit_id, ordinal, service_id, service_version, lead_id, price_cents)
			SELECT salon_id, visit_id || n, ordinal, service_id, service_version, lead_id, price_cents FROM visit_service, generate_series(1, 60) n WHERE visit_id = $1`,
		`INSERT INTO visit_step (salon_id, visit_id, ordinal, service_ordinal, kind, label, starts_at, ends_at, hands_on, watched)
			SELECT salon_id, visit_id || n, ordinal, service_ordinal, kind, label, starts_at, ends_at, hands_on, watched FROM visit_step, generate_series(1, 60) n WHERE visit_id = $1`,
		`INSERT INTO visit_step_unit (salon_id, visit_id, ordinal, unit_id, role)
			SELECT salon_id, visit_id || n, ordinal, unit_id, role FROM visit_step_unit, generate_series(1, 60) n WHERE visit_id = $1`,
	} {
		s.tx(func(tx *store.Tx) error { return tx.Exec(b.Context(), q, x.visit) })
	}
	s.tx(func(tx *store.Tx) error { return tx.Exec(b.Context(), `ANALYZE`) })
	for _, way := range []struct {
		name string
		read func(tx *store.Tx) ([]store.Visit, error)
	}{
		{"rows", func(tx *store.Tx) ([]store.Visit, error) { return store.VisitsAsRows(b.Context(), tx) }},
		{"json", func(tx *store.Tx) ([]store.Visit, error) { return store.VisitsAsJSON(b.Context(), tx) }},
	} {
		b.Run(way.name, func(b *testing.B) {
			b.ReportAllocs()
			s.tx(func(tx *store.Tx) error {
				for b.Loop() {
					list, err := way.read(tx)
					require.NoError(b, err)
					require.Greater(b, len(list), 60)
				}
				return nil
			})
		})
	}
}

package api_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// twoYears gives the salon ten stylists with a straightening visit on every
// working day of two years, 5,000 visits in all, copied in the database from one
// that was lived through the door.
func (s *salon) twoYears() {
	s.t.Helper()
	v, _ := s.book(s.client("Mara"), start.Add(50*time.Hour), []object{s.by(s.ada, "Straightening")})
	s.lived(v, 1.1)
	leads := []string{s.ada}
	for i := range 9 {
		leads = append(leads, s.colleague(fmt.Sprintf("Cleo%d", i), "straightening"))
	}
	db := s.db()
	exec := func(q string, args ...any) {
		_, err := db.ExecContext(s.t.Context(), q, args...)
		require.NoError(s.t, err, q)
	}
	for lead, id := range leads {
		const copies = `FROM generate_series(1, 500) n CROSS JOIN LATERAL (SELECT 'c' || $3::text || '-' || n AS id, make_interval(days => -n) AS back) c`
		at := fmt.Sprint(lead)
		args := []any{s.row.ID, v.ID, at}
		exec(`INSERT INTO estimate (salon_id, estimate_id, service_id, service_version, hair, result)
			SELECT $1, c.id, e.service_id, e.service_version, e.hair, e.result `+copies+`
			JOIN visit_service x ON x.salon_id = $1 AND x.visit_id = $2 JOIN estimate e ON e.salon_id = $1 AND e.estimate_id = x.estimate_id`, args...)
		exec(`INSERT INTO visit (salon_id, visit_id, state, starts_at, ends_at, chair_id, arrived_at, finished_at)
			SELECT $1, c.id, 'finished', v.starts_at + back, v.ends_at + back, v.chair_id, v.arrived_at + back, v.finished_at + back + make_interval(mins => n % 17) `+copies+`
			JOIN visit v ON v.salon_id = $1 AND v.visit_id = $2`, args...)
		exec(`INSERT INTO visit_service (salon_id, visit_id, ordinal, service_id, service_version, lead_id, estimate_id, price_cents)
			SELECT $1, c.id, x.ordinal, x.service_id, x.service_version, $4, c.id, x.price_cents `+copies+`
			JOIN visit_service x ON x.salon_id = $1 AND x.visit_id = $2`, append(args, id)...)
		exec(`INSERT INTO visit_step (salon_id, visit_id, ordinal, service_ordinal, kind, label, starts_at, ends_at, hands_on, watched, real_start, real_end)
			SELECT $1, c.id, x.ordinal, x.service_ordinal, x.kind, x.label, x.starts_at + back, x.ends_at + back, x.hands_on, x.watched, x.real_start + back, x.real_end + back `+copies+`
			JOIN visit_step x ON x.salon_id = $1 AND x.visit_id = $2`, args...)
		exec(`INSERT INTO visit_step_unit (salon_id, visit_id, ordinal, unit_id, role)
			SELECT $1, c.id, x.ordinal, CASE x.role WHEN 'lead' THEN $4 ELSE x.unit_id END, x.role `+copies+`
			JOIN visit_step_unit x ON x.salon_id = $1 AND x.visit_id = $2`, append(args, id)...)
		exec(`INSERT INTO visit_event (salon_id, visit_id, event_id, kind, ordinal, at, noted_at)
			SELECT $1, c.id, c.id || e.event_id, e.kind, e.ordinal, e.at + back + make_interval(secs => (n * 7 + coalesce(e.ordinal, 0)) % 300), e.noted_at + back `+copies+`
			JOIN visit_event e ON e.salon_id = $1 AND e.visit_id = $2`, args...)
	}
	exec(`ANALYZE`)
}

// Pure fitting is measured beside the core.
func BenchmarkPaceOfTenStylistsTwoYears(b *testing.B) {
	s := newSalon(b)
	s.twoYears()
	s.at(start.AddDate(0, 0, 3))
	b.Run("read", func(b *testing.B) {
		var visits int
		for b.Loop() {
			require.NoError(b, s.store.Read(b.Context(), s.row.ID, func(t *store.Tx) error {
				list, err := t.PaceRecords(b.Context(), start.AddDate(-2, 0, 0), start.AddDate(0, 0, 4), "")
				visits = len(list)
				return err
			}))
		}
		b.ReportMetric(float64(visits), "visits")
	})
	b.Run("refit", func(b *testing.B) {
		for b.Loop() {
			require.NoError(b, s.server.Refit(b.Context(), s.row.ID))
		}
	})
	b.Run("report", func(b *testing.B) {
		var r api.PaceReportBody
		for b.Loop() {
			var err error
			r, err = s.server.PaceReport(b.Context(), s.row.ID, "", 24)
			require.NoError(b, err)
		}
		b.ReportMetric(float64(r.Counted), "steps")
	})
	b.Run("estimate", func(b *testing.B) {
		for b.Loop() {
			s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": hair(), "lead_id": s.ada}).is(201, nil)
		}
	})
}

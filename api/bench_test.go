package api_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
	"chairblock/store/storetest"
)

// crowded is a large salon, thirteen stylists in twenty chairs, with n visits of
// half an hour each over the 60 days from the 8th of June.
func crowded(b *testing.B, n int) *salon {
	b.Helper()
	s := newSalon(b)
	ctx := b.Context()
	require.NoError(b, s.store.InTx(ctx, s.row.ID, func(t *store.Tx) error {
		var work []store.Window
		for d := 1; d <= 6; d++ {
			work = append(work, store.Window{Weekday: d, Kind: "work", From: 540, To: 1080})
		}
		for i := range 11 {
			p, err := t.AddStaff(ctx, store.Staff{Unit: store.Unit{Name: fmt.Sprint("Stylist ", i)}, Initials: "S", MayLead: true, Skills: []string{"cut", "straightening"}})
			if err != nil {
				return err
			}
			if err := t.SetStaffHours(ctx, p.ID, work); err != nil {
				return err
			}
		}
		for i := range 20 {
			kind := []string{"chair", "basin"}[i/18]
			if _, err := t.AddStation(ctx, store.Unit{Kind: kind, Name: fmt.Sprint(kind, i), Changeover: 3}); err != nil {
				return err
			}
		}
		return nil
	}))
	for i := range 13 {
		s.client(fmt.Sprint("Client", i))
	}
	// Each stylist has a client and a chair of her own, and works for both
	// from nine o'clock on, every 33 minutes.
	db := s.db()
	_, err := db.Exec(`
		WITH stylist AS (SELECT unit_id, row_number() OVER (ORDER BY unit_id) AS n FROM unit WHERE kind = 'stylist'),
		     chair AS (SELECT unit_id, row_number() OVER (ORDER BY unit_id) AS n FROM unit WHERE kind = 'chair'),
		     client AS (SELECT client_id, row_number() OVER (ORDER BY client_id) AS n FROM client),
		     slot AS (SELECT d + make_interval(mins => 33 * k) AS at, row_number() OVER (ORDER BY d, k) AS i
		              FROM generate_series(timestamptz '2026-06-08 09:00+02', timestamptz '2026-08-06 09:00+02', interval '1 day') d, generate_series(0, 15) k
		              WHERE extract(isodow FROM d) < 7),
		     visit AS (SELECT 'v' || s.n || '-' || slot.i AS id, s.unit_id AS stylist, c.unit_id AS chair, client_id, at
		               FROM slot, stylist s JOIN chair c USING (n) JOIN client USING (n) ORDER BY at, s.n LIMIT $2),
		     made AS (INSERT INTO visit (salon_id, visit_id, client_id, state, starts_at, ends_at, chair_id)
		              SELECT $1, id, client_id, 'booked', at, at + interval '30 minutes', chair FROM visit)
		INSERT INTO block (salon_id, visit_id, unit_id, starts_at, ends_at, span)
		SELECT $1, id, u, at, at + interval '30 minutes', tstzrange(at, at + make_interval(mins => CASE u WHEN chair THEN 33 ELSE 30 END))
		FROM visit, unnest(ARRAY[stylist, chair]) u`, s.row.ID, n)
	require.NoError(b, err)
	var blocks int
	require.NoError(b, db.QueryRow(`SELECT count(*) FROM block`).Scan(&blocks))
	require.Equal(b, 2*n, blocks)
	_, err = db.Exec(`ANALYZE`)
	require.NoError(b, err)
	return s
}

func BenchmarkOpeningsOver60DaysBeside10000Visits(b *testing.B) {
	s := crowded(b, 10_000)
	for name, services := range map[string][]object{"cut": s.cut(), "straightening": s.straightening()} {
		b.Run(name, func(b *testing.B) {
			ask := object{"services": services, "first_date": "2026-06-08", "last_date": "2026-08-06"}
			count := 0
			for b.Loop() {
				var out struct{ Count int }
				s.call("POST", "/v1/openings", ask).is(200, &out)
				count = out.Count
			}
			b.ReportMetric(float64(count), "starts")
		})
	}
}

// BenchmarkBookingOnDisk waits for the disk at every booking, as the service
// does.
func BenchmarkBookingOnDisk(b *testing.B) {
	s := serve(b, storetest.Real(b).URL())
	s.open("Europe/Berlin")
	require.NoError(b, s.store.InTx(b.Context(), s.row.ID, func(tx *store.Tx) error { return s.fill(b.Context(), tx) }))
	client := s.client("Mara")
	services := []object{s.by(s.ada, "Straightening")}
	at := start.Add(time.Hour)
	for b.Loop() {
		for at = at.AddDate(0, 0, 1); at.Weekday() == time.Sunday; {
			at = at.AddDate(0, 0, 1)
		}
		if at.Year() > 2026 || at.Month() > 9 {
			b.StopTimer()
			at = start.Add(time.Hour)
			_, err := s.db().Exec(`DELETE FROM visit`)
			require.NoError(b, err)
			b.StartTimer()
		}
		s.book(client, at, services)
	}
}

func BenchmarkCalendar(b *testing.B) {
	s := newSalon(b)
	for i := range 20 {
		at := start.Add(time.Duration(25+24*i) * time.Hour)
		if at.Weekday() != time.Sunday {
			s.book(s.client("Mara"), at, []object{s.by(s.ada, "Straightening")})
		}
	}
	c := s.feed("staff", s.ada)
	tag := c.ask("GET").is(200, nil).header.Get("ETag")
	b.Run("unchanged", func(b *testing.B) {
		for b.Loop() {
			c.ask("GET", "If-None-Match", tag).is(304, nil)
		}
	})
	b.Run("whole", func(b *testing.B) {
		for b.Loop() {
			c.ask("GET").is(200, nil)
		}
	})
}

func BenchmarkDay(b *testing.B) {
	s := newSalon(b)
	s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	for range 4 {
		s.book(s.client("Nora"), s.openings(s.cut(), object{"first_date": "2026-06-09"}).Openings[0].Start, s.cut())
	}
	for b.Loop() {
		s.call("GET", "/v1/days/2026-06-09", nil).is(200, nil)
	}
}

package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
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

// durations are those of requests, for figures that a mean does not give.
type durations []time.Duration

// ask sends a request straight to the handler, so that only the server's own
// work counts.
func (d *durations) ask(b *testing.B, s *salon, method, path string, body []byte) {
	req := httptest.NewRequest(method, path, bytes.NewReader(body))
	req.Header.Set("Authorization", "Bearer "+s.token)
	req.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	begun := time.Now()
	s.server.Handler().ServeHTTP(w, req)
	*d = append(*d, time.Since(begun))
	if w.Code != http.StatusOK {
		b.Fatal(w.Code, w.Body)
	}
}

func (d durations) report(b *testing.B) {
	slices.Sort(d)
	at := func(q float64) float64 { return float64(d[int(q*float64(len(d)-1))].Microseconds()) / 1000 }
	b.ReportMetric(at(0.5), "p50-ms")
	b.ReportMetric(at(0.99), "p99-ms")
}

// BenchmarkOpeningsRequest asks for openings over 60 days in a salon with 10,000
// visits: 2 blocks each, 33 units, at any minute.
func BenchmarkOpeningsRequest(b *testing.B) {
	s := crowded(b, 10_000)
	ask := func(services []object, more object) []byte {
		body := object{"services": services, "first_date": "2026-06-08", "last_date": "2026-08-06"}
		maps.Copy(body, more)
		raw, err := json.Marshal(body)
		require.NoError(b, err)
		return raw
	}
	cut, straightening := ask(s.cut(), nil), ask(s.straightening(), nil)
	other, err := store.Open(b.Context(), s.url, 4)
	require.NoError(b, err)
	b.Cleanup(other.Close)
	// comeAndGo has another process keep an hour of a chair free, or give it back.
	var absence store.Absence
	comeAndGo := func() {
		require.NoError(b, other.InTx(b.Context(), s.row.ID, func(t *store.Tx) (err error) {
			if absence.ID != "" {
				err, absence = t.DeleteAbsence(b.Context(), absence.ID), store.Absence{}
				return err
			}
			absence, err = t.AddAbsence(b.Context(), store.Absence{Unit: s.chairs[0], From: start, To: start.Add(time.Hour)})
			return err
		}))
	}
	// What any request costs here and now: it reads one row after the token's.
	b.Run("one row, to compare with", func(b *testing.B) {
		var d durations
		for b.Loop() {
			d.ask(b, s, "GET", "/v1/salon", nil)
		}
		d.report(b)
	})
	for _, x := range []struct {
		name   string
		body   []byte
		before func()
	}{
		{"unranked/cut", cut, nil},
		{"unranked/straightening", straightening, nil},
		{"unranked/client and end", ask(s.straightening(), object{"client_id": s.client("Mara"), "end_by": "17:00"}), nil},
		{"unranked/200 of them", ask(s.straightening(), object{"limit": 200, "grid_minutes": 1}), nil},
		{"ranked/cut", ask(s.cut(), object{"order": "best", "wish_time": "14:00"}), nil},
		{"ranked/straightening", ask(s.straightening(), object{"order": "best"}), nil},
		{"after another process's change", straightening, comeAndGo},
	} {
		b.Run(x.name, func(b *testing.B) {
			var d, warmUp durations
			warmUp.ask(b, s, "POST", "/v1/openings", x.body)
			for b.Loop() {
				if x.before != nil {
					b.StopTimer()
					x.before()
					b.StartTimer()
				}
				d.ask(b, s, "POST", "/v1/openings", x.body)
			}
			d.report(b)
		})
	}
	b.Run("first of a process", func(b *testing.B) {
		var d durations
		for b.Loop() {
			b.StopTimer()
			st, err := store.Open(b.Context(), s.url, 2)
			require.NoError(b, err)
			fresh := *s
			fresh.server = api.New(st, "http://127.0.0.1", func() time.Time { return start })
			b.StartTimer()
			d.ask(b, &fresh, "POST", "/v1/openings", straightening)
			b.StopTimer()
			st.Close()
			b.StartTimer()
		}
		d.report(b)
	})
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

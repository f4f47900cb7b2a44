package api_test

import (
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// reports is what a server says of the salon's past, with nothing left out.
func (s *salon) reports(url string) (out []string) {
	s.t.Helper()
	for _, path := range []string{"pace?months=1", "pace", "pace?months=24", "pace?staff_id=" + s.ada, "salon?months=1", "salon", "salon?months=2"} {
		r, err := http.NewRequestWithContext(s.t.Context(), http.MethodGet, url+"/v1/reports/"+path, nil)
		require.NoError(s.t, err)
		r.Header.Set("Authorization", "Bearer "+s.token)
		a, err := http.DefaultClient.Do(r)
		require.NoError(s.t, err)
		text, err := io.ReadAll(a.Body)
		require.NoError(s.t, err)
		require.NoError(s.t, a.Body.Close())
		require.Equal(s.t, http.StatusOK, a.StatusCode, "%s", text)
		out = append(out, string(text))
	}
	return out
}

// TestWhatIsKeptForReportsIsWhatTheDatabaseSays changes anything that reports go by,
// and asks three servers each time: two that keep what they have read, and one that
// has just begun and reads everything.
func TestWhatIsKeptForReportsIsWhatTheDatabaseSays(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 6))
	s.at(s.ironed(start.AddDate(0, 0, 2), 5, 1.2).AddDate(0, 0, 2))
	servers := []string{s.http.URL, s.another().URL}
	id := func() string {
		return s.column(`SELECT visit_id FROM visit WHERE salon_id = $1 ORDER BY md5(visit_id || $2) LIMIT 1`, s.row.ID, fmt.Sprint(r.Uint64()))[0]
	}
	n := 0
	changes := []func(){
		func() {
			s.alter(`UPDATE visit SET finished_at = finished_at + make_interval(mins => $2) WHERE visit_id = $1`, id(), 1+r.IntN(40))
		},
		func() {
			s.alter(`UPDATE visit SET state = CASE state WHEN 'finished' THEN 'stopped_early' ELSE 'finished' END WHERE visit_id = $1`, id())
		},
		func() { s.alter(`UPDATE visit SET state = 'missed', finished_at = NULL WHERE visit_id = $1`, id()) },
		func() {
			s.alter(`UPDATE visit_event SET at = at + interval '3 minutes' WHERE visit_id = $1 AND ordinal = 0`, id())
		},
		func() { s.alter(`DELETE FROM visit_event WHERE visit_id = $1 AND ordinal > $2`, id(), 2+r.IntN(8)) },
		func() {
			n++
			s.alter(`INSERT INTO money_entry (salon_id, entry_id, visit_id, kind, minutes) VALUES ($1, $2, $3, 'goodwill', 10)`, s.row.ID, fmt.Sprint("gone", n), id())
		},
		func() { s.alter(`DELETE FROM money_entry WHERE entry_id = $1`, fmt.Sprint("gone", n)) },
		func() {
			n++
			s.alter(`INSERT INTO card_fact (salon_id, visit_id, fact_id, kind, at, value, noted_at, noted_by) VALUES ($1, $2, $3, 'interruption', now(), '{}', now(), 'Ada')`,
				s.row.ID, id(), fmt.Sprint("fact", n))
		},
		func() {
			s.alter(`UPDATE visit SET created_at = created_at - interval '5 days' WHERE visit_id = $1`, id())
		},
		func() {
			s.alter(`WITH moved AS (UPDATE visit SET starts_at = starts_at - interval '21 days', ends_at = ends_at - interval '21 days' WHERE visit_id = $1)
				UPDATE block SET starts_at = starts_at - interval '21 days', ends_at = ends_at - interval '21 days',
					span = tstzrange(lower(span) - interval '21 days', upper(span) - interval '21 days') WHERE visit_id = $1`, id())
		},
		func() { s.at(s.clock.Load().Add(time.Duration(1+r.IntN(40)) * time.Hour)) },
		func() {
			s.alter(`UPDATE salon SET chair_time = jsonb_set(chair_time, '{spread_iron}', to_jsonb($2::float8)) WHERE salon_id = $1`, s.row.ID, 0.1+float64(r.IntN(60))/100)
		},
		func() { s.alter(`DELETE FROM visit WHERE visit_id = $1 AND (SELECT count(*) FROM visit) > 4`, id()) },
		func() { // somebody comes in between
			v, _ := s.book(s.client("Late"), nextMorning(*s.clock.Load()), []object{s.by(s.ada, "Straightening")})
			s.lived(v, 1.1)
			s.at(v.End.Add(30 * time.Hour))
		},
	}
	for i := range 3 * len(changes) {
		pick := i % len(changes)
		changes[pick]()
		fresh := httptest.NewServer(api.New(s.store, "http://127.0.0.1", func() time.Time { return *s.clock.Load() }).Handler())
		want := s.reports(fresh.URL)
		fresh.Close()
		for k, url := range servers {
			if r.IntN(3) == 0 {
				continue // who was not asked for a while has more to make up for
			}
			require.Equal(t, want, s.reports(url), "seed %d: server %d after change %d, of kind %d", seed, k, i, pick)
		}
	}
}

// nextMorning is nine o'clock of a working day, two days on or more.
func nextMorning(now time.Time) time.Time {
	day := now.AddDate(0, 0, 2)
	for day.Weekday() == time.Sunday {
		day = day.AddDate(0, 0, 1)
	}
	return time.Date(day.Year(), day.Month(), day.Day(), 9, 0, 0, 0, start.Location())
}

// Whoever works out the pace that estimates use reads everything in its own
// transaction.
func TestTheFitIsThatOfTheReport(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.at(s.ironed(start.AddDate(0, 0, 2), 4, 1.2))
	s.report("?months=24")
	s.refit()
	report := s.report("?months=24")
	require.NoError(t, s.store.Read(t.Context(), s.row.ID, func(tx *store.Tx) error {
		rows, err := tx.AllPaces(t.Context())
		require.NoError(t, err)
		require.NotEmpty(t, rows)
		require.Len(t, report.Steps, len(rows))
		for i, row := range rows {
			require.Equal(t, row.Visits, report.Steps[i].Visits)
			require.InDelta(t, row.Factor, report.Steps[i].Used, 1e-4)
		}
		return nil
	}))
}

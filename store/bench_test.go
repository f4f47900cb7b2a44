package store_test

import (
	"math/rand/v2"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/store"
	"chairblock/store/storetest"
)

// busy fills 60 days from soon with 10,000 blocks of ten stylists and ten chairs:
// half an hour of work in every hour from 9 on, one visit each.
func (s *salon) busy() {
	s.t.Helper()
	s.opened()
	for _, q := range []string{
		`INSERT INTO unit (salon_id, unit_id, kind, name, changeover_minutes)
		 SELECT $1, k || n, k, k || n, 3 FROM generate_series(1, 10) n, unnest('{stylist,chair}'::text[]) k`,
		`INSERT INTO staff (salon_id, staff_id, initials, may_lead) SELECT $1, 'stylist' || n, 'X', true FROM generate_series(1, 10) n`,
		`INSERT INTO staff_hours (salon_id, staff_id, weekday, kind, starts, ends)
		 SELECT $1, 'stylist' || n, d, 'work', 540, 1080 FROM generate_series(1, 10) n, generate_series(1, 7) d`,
		`INSERT INTO client (salon_id, client_id, given_name) SELECT $1, 'c' || n, 'Guest' FROM generate_series(1, 10) n`,
		`INSERT INTO visit (salon_id, visit_id, client_id, state, starts_at, ends_at, chair_id)
		 SELECT $1, concat_ws('-', 'v', n, d, h), 'c' || n, 'booked', t, t + interval '30 minutes', 'chair' || n
		 FROM generate_series(1, 10) n, generate_series(0, 59) d, generate_series(0, 8) h,
			LATERAL (SELECT '` + soon.Format(time.RFC3339) + `'::timestamptz + make_interval(days => d, hours => 9 + h) AS t) x
		 WHERE d * 9 + h < 500`,
		`INSERT INTO block (salon_id, visit_id, unit_id, starts_at, ends_at, span)
		 SELECT salon_id, visit_id, unit, starts_at, ends_at, tstzrange(starts_at, ends_at + interval '3 minutes')
		 FROM visit, LATERAL (VALUES (chair_id), (replace(chair_id, 'chair', 'stylist'))) u(unit) WHERE salon_id = $1`,
	} {
		_, err := s.db.Exec(s.t.Context(), q, s.row.ID)
		require.NoError(s.t, err)
	}
	require.Equal(s.t, 10_000, value[int](s, `SELECT count(*) FROM block`))
	_, err := s.db.Exec(s.t.Context(), `ANALYZE`)
	require.NoError(s.t, err)
}

func BenchmarkLoadShop(b *testing.B) {
	s := newSalon(b, 4)
	s.busy()
	for _, x := range []struct {
		name string
		days int
	}{{"3 of 60 days", 3}, {"60 days with 10000 blocks", 60}} {
		b.Run(x.name, func(b *testing.B) {
			first := date.NewAt(soon)
			h := openings.NewHorizon(time.UTC, openings.DateRange{First: first, Last: first.Add(date.PeriodOfDays(x.days - 1))})
			require.NoError(b, s.store.InTx(b.Context(), s.row.ID, func(tx *store.Tx) error {
				for b.Loop() {
					if _, err := tx.LoadShop(b.Context(), h, time.Now()); err != nil {
						return err
					}
				}
				return nil
			}))
		})
	}
}

func BenchmarkVisitsOfADay(b *testing.B) {
	s := newSalon(b, 4)
	s.busy()
	require.NoError(b, s.store.InTx(b.Context(), s.row.ID, func(tx *store.Tx) error {
		for b.Loop() {
			if _, err := tx.VisitsBetween(b.Context(), at(0, 0), at(24, 0)); err != nil {
				return err
			}
		}
		return nil
	}))
}

// The server of the two benchmarks below waits for the disk at each commit.

func BenchmarkInsertVisit(b *testing.B) {
	s := salonAt(b, storetest.Real(b).URL(), 4)
	client := s.client("Guest")
	day := 0
	for b.Loop() {
		if _, err := s.book(client, at(24*day, 0), s.seat()); err != nil {
			b.Fatal(err)
		}
		day++
	}
}

func BenchmarkThirtyTwoBookers(b *testing.B) {
	for _, x := range []struct {
		name string
		days int
	}{{"on 2 days", 2}, {"on 60 days", 60}, {"on 10000 days", 10_000}} {
		b.Run(x.name, func(b *testing.B) {
			const bookers = 32
			s := salonAt(b, storetest.Real(b).URL(), bookers)
			l := newLoad(s, bookers)
			var next, got atomic.Int64
			b.SetParallelism(bookers / 2) // for each of two cores
			b.ResetTimer()
			b.RunParallel(func(p *testing.PB) {
				n := int(next.Add(1)) - 1
				r := rand.New(rand.NewPCG(1, uint64(n)))
				for p.Next() {
					on := l.seats[r.IntN(4)]
					v, err := s.book(l.clients[n%bookers], at(24*r.IntN(x.days)+9, 5*r.IntN(108)), on)
					switch {
					case err == nil:
						got.Add(1)
					case !lost(err):
						b.Error(v.ID, err)
					}
				}
			})
			b.ReportMetric(float64(got.Load())/b.Elapsed().Seconds(), "booked/s")
			b.ReportMetric(float64(int64(b.N)-got.Load())/b.Elapsed().Seconds(), "refused/s")
		})
	}
}

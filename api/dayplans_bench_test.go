package api_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// packedDay is a day with as many visits as thirty tries have put into it, and
// twelve requests for it on the waiting list.
func packedDay(b *testing.B) (s *salon, visits []api.VisitBody) {
	b.Helper()
	s = newSalon(b)
	s.larger()
	s.busyDay(rand.New(rand.NewPCG(1, 2)), 15, 30)
	for i := range 12 {
		s.waits(s.client(fmt.Sprintf("Wish%d", i)), object{"services": []object{s.service([]string{"Dry cut", "Root colour", "Care treatment", "Wash and dry"}[i%4])},
			"first_date": "2026-06-15", "last_date": "2026-06-15"})
	}
	return s, s.day("2026-06-15").Visits
}

// BenchmarkPlanFullDay is a plan with a stylist ill from noon, by the number of
// improvements that are tried.
func BenchmarkPlanFullDay(b *testing.B) {
	s, visits := packedDay(b)
	for _, rounds := range []int{1, 100, 1000} {
		b.Run(fmt.Sprint(rounds), func(b *testing.B) {
			var p api.DayPlanBody
			for b.Loop() {
				p = s.plan(object{"date": "2026-06-15", "waiting_list": []string{"all"}, "movable": []string{"all_not_started"},
					"away": []object{{"unit_id": s.ben, "from": june(15, 12, 0)}}, "rounds": rounds, "seed": 1})
			}
			b.ReportMetric(float64(len(visits)), "visits")
			b.ReportMetric(float64(p.Gain.Requests), "placed")
			b.ReportMetric(float64(len(p.CannotStay)), "stuck")
			b.ReportMetric(float64(p.Gain.Added)/100, "EUR")
		})
	}
}

// BenchmarkCarryPlanOut is the transaction that carries a plan of the full day out.
func BenchmarkCarryPlanOut(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		s, _ := packedDay(b)
		p := s.plan(object{"date": "2026-06-15", "waiting_list": []string{"all"}, "movable": []string{"all_not_started"},
			"away": []object{{"unit_id": s.ben, "from": june(15, 12, 0)}}, "rounds": 50})
		b.StartTimer()
		s.carryOut(p.ID, object{"approved_by": "Ada"}).is(200, nil)
		b.ReportMetric(float64(len(p.Changes)), "changes")
	}
}

// BenchmarkMatchFullDay asks who of twelve fits into a full day.
func BenchmarkMatchFullDay(b *testing.B) {
	s, _ := packedDay(b)
	for b.Loop() {
		require.NotEmpty(b, s.matches(object{"first_date": "2026-06-15", "last_date": "2026-06-15", "rounds": 100}).Fits)
	}
}

// BenchmarkCancel is a cancellation, with and without twelve who wait for the day.
func BenchmarkCancel(b *testing.B) {
	for _, waiting := range []int{0, 12} {
		b.Run(fmt.Sprint(waiting), func(b *testing.B) {
			s := newSalon(b)
			for i := range waiting {
				s.waits(s.client(fmt.Sprintf("Wish%d", i)), nil)
			}
			client := s.client("Mara")
			for b.Loop() {
				b.StopTimer()
				v, tag := s.book(client, tuesday(9, 0), []object{s.by(s.ada, "Dry cut")})
				b.StartTimer()
				s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
			}
		})
	}
}

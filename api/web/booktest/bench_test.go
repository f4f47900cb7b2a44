package booktest

import (
	"net/http"
	"net/url"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// BenchmarkSteps says how long the server takes for the steps of booking and moving
// in a salon with 10,000 visits.
func BenchmarkSteps(b *testing.B) {
	s := webtest.New(b)
	s.Crowd(10_000)
	s.At(webtest.Start.Add(27 * time.Hour))
	v := s.Visitor(b)
	v.Get(s.Link(store.Owner, s.Ada))
	var day api.DayBody
	s.Ask(http.MethodGet, "/days/2026-06-10", nil, http.StatusOK, &day)
	require.NotEmpty(b, day.Visits)
	form := url.Values{"service": {s.Services["Straightening"]}, "reach": {"shoulder"}, "ponytail": {"average"}, "history": {"nothing"}, "first_name": {"Rosa"},
		"sections": {"4"}, "plate_depth_cm": {"3"}, "hands": {"1"}, "date_from": {"2026-06-10"}, "who": {"mar"}}
	for _, x := range []struct{ name, path, do string }{
		{"find", "/book/clients", ""}, {"estimate", "/book", "estimate"}, {"openings", "/book", "openings"}, {"move", "/visits/" + day.Visits[0].ID + "/move", "openings"},
	} {
		b.Run(x.name, func(b *testing.B) {
			var took []time.Duration
			form.Set("do", x.do)
			for b.Loop() {
				begun := time.Now()
				a := v.Post(x.path, form)
				took = append(took, time.Since(begun))
				require.Equal(b, http.StatusOK, a.Status)
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
			b.ReportMetric(float64(took[len(took)*95/100].Microseconds())/1000, "p95-ms")
		})
	}
}

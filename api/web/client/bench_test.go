package client_test

import (
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
)

// BenchmarkOwnPages says how long the server takes for a client's own pages in a
// salon with 10,000 visits.
func BenchmarkOwnPages(b *testing.B) {
	s := webtest.New(b)
	require.GreaterOrEqual(b, s.Crowd(10_000), 10_000)
	s.At(webtest.Start)
	var day api.DayBody
	s.Ask(http.MethodGet, "/days/2026-06-10", nil, http.StatusOK, &day)
	i := slices.IndexFunc(day.Visits, func(v api.VisitBody) bool { return v.ClientID != "" })
	require.GreaterOrEqual(b, i, 0)
	x := day.Visits[i]
	v := visit(b, s)
	v.open(own(s, x.ClientID).URL).says(http.StatusOK)
	for name, path := range map[string]string{"visits": "/own", "visit": "/own/visits/" + x.ID, "another time": "/own/visits/" + x.ID + "/move",
		"coming again": "/own/again", "messages": "/own/messages", "everything": "/own/about/everything.json"} {
		b.Run(name, func(b *testing.B) {
			var took []time.Duration
			for b.Loop() {
				from := time.Now()
				v.get(path)
				took = append(took, time.Since(from))
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)*95/100].Microseconds())/1000, "p95-ms")
		})
	}
}

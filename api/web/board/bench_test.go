package board_test

import (
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/web/board"
	"chairblock/api/web/desk"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// BenchmarkBoard says how long the board of a full day, its parts and their "not
// changed" take in a salon with 10,000 visits, beside the plain JSON of the same day.
func BenchmarkBoard(b *testing.B) {
	s := webtest.New(b, board.Mount, desk.Mount)
	require.GreaterOrEqual(b, s.Crowd(10_000), 10_000)
	s.At(webtest.Start.Add(27 * time.Hour))
	v := s.Visitor(b)
	v.Get(s.Link(store.Desk, ""))
	tag := v.Get("/?part=day").Header.Get("ETag")
	median := map[string]float64{}
	for _, x := range []struct {
		name, path string
		header     []string
	}{
		{"json", "/v1/days/2026-06-09", []string{"Authorization", "Bearer " + s.Token}}, {"board", "/", nil}, {"parts", "/?part=day", nil},
		{"unchanged", "/?part=day", []string{"If-None-Match", tag}}, {"week", "/week", nil}, {"another day", "/?date=2026-06-12", nil},
	} {
		b.Run(x.name, func(b *testing.B) {
			var took []time.Duration
			for b.Loop() {
				begun := time.Now()
				a := v.Get(x.path, x.header...)
				took = append(took, time.Since(begun))
				require.Less(b, a.Status, http.StatusBadRequest, x.path)
			}
			slices.Sort(took)
			p := func(share float64) float64 {
				return float64(took[int(float64(len(took)-1)*share)].Microseconds()) / 1000
			}
			median[x.name] = p(0.5)
			b.ReportMetric(p(0.5), "ms-p50")
			b.ReportMetric(p(0.95), "ms-p95")
			b.ReportMetric(p(0.5)/median["json"], "of-json")
		})
	}
}

package board_test

import (
	"io"
	"net/http"
	"net/http/cookiejar"
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
	jar, err := cookiejar.New(nil)
	require.NoError(b, err)
	client := &http.Client{Jar: jar}
	tag := ""
	get := func(address string, header http.Header) http.Header {
		r, err := http.NewRequestWithContext(b.Context(), http.MethodGet, address, nil)
		require.NoError(b, err)
		if header != nil {
			r.Header = header.Clone()
		}
		a, err := client.Do(r)
		require.NoError(b, err)
		_, err = io.Copy(io.Discard, a.Body)
		require.NoError(b, err)
		require.NoError(b, a.Body.Close())
		require.Less(b, a.StatusCode, 400, address)
		return a.Header
	}
	get(s.Link(store.Desk, ""), nil)
	tag = get(s.URL+"/?part=day", nil).Get("ETag")
	plain := http.Header{"Authorization": {"Bearer " + s.Token}}
	median := map[string]float64{}
	for _, x := range []struct {
		name, address string
		header        http.Header
	}{
		{"json", s.URL + "/v1/days/2026-06-09", plain}, {"board", s.URL + "/", http.Header{}}, {"parts", s.URL + "/?part=day", http.Header{}},
		{"unchanged", s.URL + "/?part=day", http.Header{"If-None-Match": {tag}}}, {"week", s.URL + "/week", http.Header{}},
		{"another day", s.URL + "/?date=2026-06-12", http.Header{}},
	} {
		b.Run(x.name, func(b *testing.B) {
			var took []time.Duration
			for b.Loop() {
				begun := time.Now()
				get(x.address, x.header)
				took = append(took, time.Since(begun))
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

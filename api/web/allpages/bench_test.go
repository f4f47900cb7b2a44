package allpages_test

import (
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// crowded is a salon with 10,000 visits, on a working day.
func crowded(b *testing.B) *webtest.Salon {
	b.Helper()
	s := webtest.New(b, everything...)
	require.GreaterOrEqual(b, s.Crowd(10_000), 10_000)
	s.At(webtest.Start.Add(27 * time.Hour))
	return s
}

// pagesOf are the pages that people open most.
func pagesOf(s *webtest.Salon, t testing.TB) map[string]string {
	var day api.DayBody
	s.Ask(http.MethodGet, "/days/2026-06-09", nil, http.StatusOK, &day)
	require.NotEmpty(t, day.Visits)
	v := day.Visits[0]
	return map[string]string{
		"board": "/", "week": "/week", "book": "/book", "visit": "/visits/" + v.ID, "to do": "/to-do", "clients": "/clients",
		"client": "/clients/" + v.ClientID, "waiting list": "/waiting", "my day": "/my-day", "run of a visit": "/my-day/visits/" + v.ID,
		"set-up": "/set-up", "services": "/set-up/services", "pace and promise": "/set-up/pace",
		"late": "/late",
	}
}

// BenchmarkPages says how long the server takes for pages in a salon with 10,000
// visits, and for one row of the interface to compare with.
func BenchmarkPages(b *testing.B) {
	s := crowded(b)
	v := s.Visitor(b)
	v.Get(s.Link(store.Owner, s.Ada))
	list := pagesOf(s, b)
	var names []string
	for name := range list {
		names = append(names, name)
	}
	slices.Sort(names)
	b.Run("one row, to compare with", func(b *testing.B) {
		for b.Loop() {
			s.Ask(http.MethodGet, "/salon", nil, http.StatusOK, nil)
		}
	})
	for _, name := range names {
		b.Run(name, func(b *testing.B) {
			var took []time.Duration
			require.Equal(b, http.StatusOK, v.Get(list[name]).Status)
			for b.Loop() {
				began := time.Now()
				v.Get(list[name])
				took = append(took, time.Since(began))
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[(len(took)-1)*95/100].Microseconds())/1000, "p95-ms")
		})
	}
}

// BenchmarkFirstPaint says when a phone shows something of a page: four times as
// slow as this machine, over a line with 150 ms there and back and 1.6 Mbit/s, with
// nothing kept from before.
func BenchmarkFirstPaint(b *testing.B) {
	s := crowded(b)
	list := pagesOf(s, b)
	web := chromium.New(b)
	web.Open(s.Link(store.Owner, s.Ada))
	web.Window(390, 844)
	for _, name := range []string{"board", "book", "my day", "run of a visit"} {
		b.Run(name, func(b *testing.B) {
			web.T = b
			var sum float64
			n := 0
			for b.Loop() {
				_, err := chromedp.Call(web.Ctx, network.SetCacheDisabled, network.SetCacheDisabledParams{CacheDisabled: true})
				require.NoError(b, err)
				web.PhoneLine()
				web.Open(s.URL + list[name])
				web.Until("it is painted", `performance.getEntriesByName("first-contentful-paint").length > 0`)
				sum += web.Number(`performance.getEntriesByName("first-contentful-paint")[0].startTime`)
				n++
			}
			b.ReportMetric(sum/float64(n), "first-paint-ms")
		})
	}
}

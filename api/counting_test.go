package api_test

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// counters reads what the server has counted, by name and labels.
func (s *salon) counters() (map[string]float64, string) {
	s.t.Helper()
	w := httptest.NewRecorder()
	s.server.Metrics().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/", nil))
	require.Equal(s.t, http.StatusOK, w.Code)
	out := map[string]float64{}
	for _, m := range regexp.MustCompile(`(?m)^(chairblock_\S+(?:\{[^}]*\})?) (\S+)$`).FindAllStringSubmatch(w.Body.String(), -1) {
		n, err := strconv.ParseFloat(m[2], 64)
		require.NoError(s.t, err)
		out[m[1]] = n
	}
	return out, w.Body.String()
}

func TestWhatHappensIsCountedOnceItIsCommitted(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	was, _ := s.counters()
	nora, ines := s.client("Nora"), s.client("Ines")
	feed := s.feed("staff", s.ada)
	v, tag := s.book(nora, start.Add(25*time.Hour), s.straightening())
	s.call("POST", "/v1/visits", object{"client_id": ines, "start": v.Start, "services": s.straightening(), "approved_by": "Ada"}, "Idempotency-Key", "second").refused(409, "taken")
	s.pencil(start.Add(73*time.Hour), s.straightening(), object{"title": "her sister"})
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	s.at(start.Add(11 * time.Minute)) // the pencilled one lapses with the next booking
	s.book(ines, start.Add(25*time.Hour), s.straightening())
	first := feed.ask("GET").is(200, nil)
	feed.ask("GET", "If-None-Match", first.header.Get("Etag")).is(304, nil)
	s.call("GET", "/cal/f_nobody0001_AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA.ics", nil)
	s.openings(s.straightening(), object{"first_date": "2026-06-09", "last_date": "2026-06-09"})

	now, text := s.counters()
	more := func(name string) float64 { return now[name] - was[name] }
	for name, n := range map[string]float64{
		`chairblock_happened_total{what="visit_booked"}`:                                      2,
		`chairblock_happened_total{what="visit_pencilled"}`:                                   1,
		`chairblock_happened_total{what="visit_lapsed"}`:                                      1,
		`chairblock_happened_total{what="visit_cancelled"}`:                                   1,
		`chairblock_happened_total{what="taken"}`:                                             1,
		`chairblock_calendar_reads_total{answer="whole"}`:                                     1,
		`chairblock_calendar_reads_total{answer="unchanged"}`:                                 1,
		`chairblock_calendar_reads_total{answer="unknown"}`:                                   1,
		`chairblock_requests_total{method="POST",route="/v1/visits",status="201"}`:            2,
		`chairblock_requests_total{method="POST",route="/v1/visits",status="409"}`:            1,
		`chairblock_requests_total{method="POST",route="/v1/visits/:id/cancel",status="200"}`: 1,
	} {
		require.Equal(t, n, more(name), name)
	}
	require.GreaterOrEqual(t, more(`chairblock_search_seconds_count{what="openings"}`), 1.0)
	require.Contains(t, now, "chairblock_connections_taken")
	require.GreaterOrEqual(t, now["chairblock_messages_due"], 0.0)
	for _, secret := range []string{v.ID, nora, "Nora", feed.path} {
		require.NotContains(t, text, secret)
	}
}

func TestNobodyFillsTheCountersWithWordsOfTheirOwn(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	bad := s.outside()
	for _, x := range []struct{ method, path string }{{"GET", "/v1/zqxqzpath"}, {"GET", "/zqxqzpath/zqxqzmore"}, {"ZQXQZMETHOD", "/v1/visits"}, {"ZQXQZMETHOD", "/zqxqz"}} {
		bad.send(request{x.method, x.path, nil, nil})
	}
	_, text := s.counters()
	require.NotContains(t, text, "zqxqz")
	require.NotContains(t, text, "ZQXQZ")
	require.Contains(t, text, `route="none"`)
}

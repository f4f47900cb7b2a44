package api_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// workday is at, or a day later when that is a Sunday.
func workday(at time.Time) time.Time {
	if at.Weekday() == time.Sunday {
		return at.AddDate(0, 0, 1)
	}
	return at
}

// booked500 gives Ada a calendar of 500 events: with long visits of nine parts
// each, and with short ones of one.
func booked500(b *testing.B, long bool) *salon {
	b.Helper()
	s := newSalon(b)
	ada := []string{"Mara", "Nora", "Ines", "Lena", "Olga", "Rosa", "Thea", "Vida"}
	for i, n := range ada {
		ada[i] = s.client(n)
	}
	day := start.AddDate(0, 0, 1)
	for n := 0; n < 500; day = workday(day.AddDate(0, 0, 1)) {
		if long {
			v, _ := s.book(s.client("Guest"), day.Add(time.Hour), []object{s.by(s.ada, "Straightening")})
			n += 9
			require.NotEmpty(b, v.ID)
			continue
		}
		for i := 0; i < 8 && n < 500; i, n = i+1, n+1 {
			s.book(ada[i], day.Add(time.Hour+time.Duration(i)*45*time.Minute), []object{s.by(s.ada, "Dry cut")})
		}
	}
	_, err := s.db().Exec(`ANALYZE`)
	require.NoError(b, err)
	return s
}

// serve sends a request straight to the handler, so that only the service's own
// work counts.
func (c calendar) serve(b *testing.B, code int, header ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest("GET", c.path, nil)
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	c.s.server.Handler().ServeHTTP(w, r)
	if w.Code != code {
		b.Fatal(w.Code, w.Body)
	}
	return w
}

// BenchmarkFeed500 makes a calendar of 500 events from the database.
func BenchmarkFeed500(b *testing.B) {
	for name, long := range map[string]bool{"long visits": true, "short visits": false} {
		s := booked500(b, long)
		for of, c := range map[string]calendar{"stylist": s.feed("staff", s.ada), "salon": s.feed("salon", "")} {
			events := strings.Count(c.serve(b, http.StatusOK).Body.String(), "BEGIN:VEVENT")
			for packed, header := range map[string]string{"plain": "identity", "gzip": "gzip"} {
				b.Run(name+"/"+of+"/"+packed, func(b *testing.B) {
					b.ReportAllocs()
					for b.Loop() {
						b.ReportMetric(float64(c.serve(b, http.StatusOK, "Accept-Encoding", header).Body.Len()), "octets")
					}
					b.ReportMetric(float64(events), "events")
				})
			}
		}
	}
}

// Benchmark304 answers who has the calendar already, and who guesses addresses.
func Benchmark304(b *testing.B) {
	s := booked500(b, true)
	for of, c := range map[string]calendar{"stylist": s.feed("staff", s.ada), "salon": s.feed("salon", "")} {
		tag := c.serve(b, http.StatusOK).Header().Get("ETag")
		b.Run(of, func(b *testing.B) {
			for b.Loop() {
				c.serve(b, http.StatusNotModified, "If-None-Match", tag)
			}
		})
	}
	busy := s.feed("staff", s.ada).freeBusy()
	b.Run("free and busy time", func(b *testing.B) {
		for b.Loop() {
			busy.serve(b, http.StatusOK)
		}
	})
	miss := calendar{s, "/cal/f_" + s.row.Key + "_" + strings.Repeat("A", 43) + ".ics", ""}
	for range 30 {
		miss.serve(b, http.StatusNotFound)
	}
	b.Run("unknown address, too often", func(b *testing.B) {
		for b.Loop() {
			miss.serve(b, http.StatusTooManyRequests)
		}
	})
}

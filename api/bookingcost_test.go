package api_test

import (
	"fmt"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"

	"chairblock/api"
	"chairblock/store"
)

// What a booking may ask the database, locks and savepoints included, and once in a while
// a call to those who wait for jobs. It may become less; more is a decision.
const (
	mostForShort   = 50
	mostForLong    = 61
	mostForRefusal = 36
)

// TestABookingTakesFewStatements counts what is sent to the database for a booking whose
// like was booked before, so that statements are known. Each costs the server and the
// database a tenth of a millisecond, whatever it finds.
func TestABookingTakesFewStatements(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	spans := tracetest.NewSpanRecorder()
	traces := sdktrace.NewTracerProvider(sdktrace.WithSpanProcessor(spans))
	st, err := store.OpenTraced(t.Context(), s.url, 1, traces)
	require.NoError(t, err)
	after(t, st.Close)
	st.SealWith(healthKey(t, 1))
	s.server = api.New(st, "http://127.0.0.1", func() time.Time { return *s.clock.Load() })
	s.server.Trace(traces)
	traced := httptest.NewServer(s.server.Handler())
	after(t, traced.Close)
	s.http = traced
	asked := func() (list []string) {
		for _, x := range spans.Ended() {
			for _, a := range x.Attributes() {
				if a.Key == "db.query.text" {
					text := strings.Join(strings.Fields(a.Value.AsString()), " ")
					list = append(list, text[:min(len(text), 90)])
				}
			}
		}
		spans.Reset()
		return list
	}
	few := func(what string, most int, list []string) {
		slices.Sort(list)
		require.LessOrEqual(t, len(list), most, "%s:\n%s", what, strings.Join(list, "\n"))
		require.Greater(t, len(list), most/2, "%s: statements are seen", what)
	}
	ada, ben := s.by(s.ada, "Straightening"), s.by(s.ben, "Dry cut")
	for i := range 3 {
		at := start.AddDate(0, 0, 7+i).Add(time.Hour)
		a, b, c := s.client("Mara"), s.client("Juna"), s.client("Lale")
		asked()
		s.book(a, at, []object{ben})
		short := asked()
		s.book(b, at, []object{ada})
		long := asked()
		s.call("POST", "/v1/visits", object{"client_id": c, "start": at, "services": []object{ben}, "approved_by": "Ada"}, "Idempotency-Key", fmt.Sprint("few", i)).is(409, nil)
		refused := asked()
		if i == 2 {
			t.Logf("a cut %d, straightening %d, a refusal %d", len(short), len(long), len(refused))
			few("a cut", mostForShort, short)
			few("straightening", mostForLong, long)
			few("a refusal", mostForRefusal, refused)
		}
	}
}

package api_test

import (
	"fmt"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.opentelemetry.io/otel/attribute"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"go.opentelemetry.io/otel/trace"

	"chairblock/api"
	"chairblock/store"
)

// What a booking may ask the database, locks and savepoints included, and once in a while
// a call to those who wait for jobs. It may become less; more is a decision.
const (
	mostForShort   = 47
	mostForLong    = 57
	mostForRefusal = 36

	mostTripsForShort   = 12
	mostTripsForLong    = 18
	mostTripsForRefusal = 13
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
	asked := func() (list []string, trips int) {
		batches := map[trace.SpanID]bool{}
		for _, x := range spans.Ended() {
			if x.Name() == "batch start" {
				batches[x.SpanContext().SpanID()] = true
				trips++
			}
		}
		for _, x := range spans.Ended() {
			i := slices.IndexFunc(x.Attributes(), func(a attribute.KeyValue) bool { return a.Key == "db.query.text" })
			if i < 0 {
				continue
			}
			text := strings.Join(strings.Fields(x.Attributes()[i].Value.AsString()), " ")
			if !batches[x.Parent().SpanID()] {
				trips++
				text = "alone: " + text
			}
			list = append(list, text[:min(len(text), 90)])
		}
		spans.Reset()
		return list, trips
	}
	few := func(what string, most, mostTrips int, list []string, trips int) {
		require.LessOrEqual(t, len(list), most, "%s:\n%s", what, strings.Join(list, "\n"))
		require.LessOrEqual(t, trips, mostTrips, "%s:\n%s", what, strings.Join(list, "\n"))
		require.Greater(t, len(list), most/2, "%s: statements are seen", what)
		require.Greater(t, trips, mostTrips/2, "%s: trips are seen", what)
	}
	ada, ben := s.by(s.ada, "Straightening"), s.by(s.ben, "Dry cut")
	for i := range 3 {
		at := start.AddDate(0, 0, 7+i).Add(time.Hour)
		a, b, c := s.client("Mara"), s.client("Juna"), s.client("Lale")
		asked()
		s.book(a, at, []object{ben})
		short, shortTrips := asked()
		s.book(b, at, []object{ada})
		long, longTrips := asked()
		s.call("POST", "/v1/visits", object{"client_id": c, "start": at, "services": []object{ben}, "approved_by": "Ada"}, "Idempotency-Key", fmt.Sprint("few", i)).is(409, nil)
		refused, refusedTrips := asked()
		if i == 2 {
			t.Logf("a cut %d in %d trips, straightening %d in %d, a refusal %d in %d", len(short), shortTrips, len(long), longTrips, len(refused), refusedTrips)
			few("a cut", mostForShort, mostTripsForShort, short, shortTrips)
			few("straightening", mostForLong, mostTripsForLong, long, longTrips)
			few("a refusal", mostForRefusal, mostTripsForRefusal, refused, refusedTrips)
		}
	}
}

package api_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store"
	"chairblock/store/storetest"
)

func TestWhileTheDatabaseIsAwayEverythingSaysTryAgain(t *testing.T) {
	t.Parallel()
	server := storetest.Real(t)
	s := serve(t, server.URL())
	s.open("Europe/Berlin")
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error { return s.fill(t.Context(), tx) }))
	client := s.client("Mara")
	services := s.straightening()
	s.call("GET", "/readyz", nil).is(200, nil)
	require.NoError(t, server.Stop())
	for range 3 { // connections of the pool break one by one
		for _, x := range []struct {
			method, path string
			body         any
		}{
			{"GET", "/readyz", nil}, {"GET", "/v1/salon", nil}, {"GET", "/v1/days/2026-06-08", nil},
			{"POST", "/v1/openings", object{"services": services}},
			{"POST", "/v1/clients", object{"given_name": "Nora"}},
			{"POST", "/v1/visits", object{"client_id": client, "start": start, "approved_by": "Ada", "services": services}},
			{"GET", "/cal/f_" + s.row.Key + "_0123456789012345678901234567890123456789012.ics", nil},
		} {
			a := s.call(x.method, x.path, x.body, "Idempotency-Key", "k")
			a.refused(503, "unavailable")
			require.NotEmpty(t, a.header.Get("Retry-After"), x.path)
			require.NotContains(t, string(a.body), "postgres")
			require.NotContains(t, string(a.body), "connect")
		}
		s.call("GET", "/healthz", nil).is(200, nil)
	}
}

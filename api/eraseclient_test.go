package api_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestAClientIsErasedAndTheSalonWorksOn(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var noted []store.Erased
	require.NoError(t, s.server.ErasedTo(t.Context(), func(list []store.Erased) error { noted = list; return nil }))
	var c api.ClientBody
	s.call("POST", "/v1/clients", object{"given_name": "Zqxqzgiven", "family_name": "Zqxqzfamily", "phone": "+4930901829", "mail": "zqxqzgiven@zqxqzmail.example", "note": "zqxqznote"}, "Idempotency-Key", "zqxqz").is(201, &c)
	var link api.OwnLinkBody
	s.call("POST", "/v1/clients/"+c.ID+"/own-links", object{"label": "zqxqzlabel"}).is(201, &link)
	feed := s.feed("client", c.ID)
	feed.ask("GET").is(200, nil)
	v, _ := s.book(c.ID, start.Add(25*time.Hour), s.straightening())
	s.call("GET", "/v1/clients/"+c.ID+"/erasure", nil).is(200, nil)
	s.call("POST", "/v1/clients/"+c.ID+"/erase", nil, "If-Match", `"v1"`).refused(409, "conflict")
	s.at(v.Start)
	s.arrived(v.ID)
	s.at(v.Start.Add(5 * time.Hour))
	s.finishNow(v.ID).is(200, nil)

	var hit api.ErasureBody
	s.call("GET", "/v1/clients/"+c.ID+"/erasure", nil).is(200, &hit)
	require.Equal(t, api.ErasureBody{Version: 1, Visits: 1, Messages: hit.Messages, Cards: hit.Cards, Links: 1, Feeds: 1}, hit)
	require.Positive(t, hit.Messages)
	s.call("POST", "/v1/clients/"+c.ID+"/erase", nil, "If-Match", `"v7"`).refused(412, "stale")
	s.call("POST", "/v1/clients/"+c.ID+"/erase", nil).refused(428, "if-match")
	var done api.ErasureBody
	s.call("POST", "/v1/clients/"+c.ID+"/erase", nil, "If-Match", `"v1"`).is(200, &done)
	require.Equal(t, hit.Messages, done.Messages)
	require.Len(t, noted, 1)
	require.Equal(t, c.ID, noted[0].Client)

	feed.ask("GET").is(404, nil)
	s.call("GET", "/v1/clients/"+c.ID, nil).refused(404, "not-found")
	day := v.Start.Format(time.DateOnly)
	var left api.VisitBody
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &left)
	require.Equal(t, "finished", left.State)
	require.Empty(t, left.ClientID)
	for _, path := range []string{"/v1/days/" + day, "/v1/reports/pace", "/v1/reports/salon",
		"/v1/visits?first_date=" + day + "&last_date=" + day, "/v1/messages", "/v1/calls", "/v1/waiting-list"} {
		a := s.call("GET", path, nil)
		if a.status == 404 { // a path of another name
			continue
		}
		a.is(200, nil)
		require.NotContains(t, strings.ToLower(string(a.body)), "zqxqz", path)
	}
	for _, table := range s.column(`SELECT table_name FROM information_schema.tables WHERE table_schema = 'public' AND table_type = 'BASE TABLE' AND table_name <> $1`, "nothing") {
		require.Equal(t, []string{"0"}, s.column(`SELECT count(*)::text FROM "`+table+`" t WHERE t::text ILIKE $1`, "%zqxqz%"), table)
	}
	// The jobs that were waiting find nothing, and nobody is written to.
	require.NoError(t, s.store.InTx(context.Background(), s.row.ID, func(tx *store.Tx) error {
		_, err := tx.ErasureOf(context.Background(), c.ID)
		require.Error(t, err)
		return nil
	}))
}

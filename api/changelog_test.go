package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestTheOwnerReadsWhoChangedWhat(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	desk := s.as(store.Desk)
	var c api.ClientBody
	a := desk.call("POST", "/v1/clients", object{"given_name": "Zqgiven", "phone": "+4930901829"}, "Idempotency-Key", "zq").is(201, &c)
	s.call("PUT", "/v1/clients/"+c.ID, object{"given_name": "Zqother", "phone": "+4930901829"}, "If-Match", a.header.Get("ETag")).is(200, nil)
	var log struct{ Changes []api.ChangeBody }
	got := s.call("GET", "/v1/changes?subject="+c.ID, nil).is(200, &log)
	require.Len(t, log.Changes, 2)
	require.Equal(t, "changed", log.Changes[0].Done)
	require.Equal(t, []string{"given_name"}, log.Changes[0].Fields)
	require.Equal(t, "added", log.Changes[1].Done)
	require.NotEqual(t, log.Changes[0].By, log.Changes[1].By)
	for _, x := range log.Changes {
		require.NotEmpty(t, x.By)
		require.NotEmpty(t, x.Name, "what its token is called")
	}
	require.NotContains(t, string(got.body), "Zqgiven")
	require.Equal(t, "Zqother", log.Changes[1].Called, "what she is called now")
	for query, want := range map[string]int{"by=" + log.Changes[1].By: 1, "by=program": 0, "what=client": 2, "what=visit": 0, "day=2001-01-01": 0,
		"day=" + log.Changes[0].At.Format(time.DateOnly): 2} {
		var some struct{ Changes []api.ChangeBody }
		s.call("GET", "/v1/changes?subject="+c.ID+"&"+query, nil).is(200, &some)
		require.Len(t, some.Changes, want, query)
	}
	s.call("GET", "/v1/changes?day=never", nil).refused(422, "invalid")
	desk.call("GET", "/v1/changes", nil).refused(403, "forbidden")
	s.call("GET", "/v1/changes?limit=1&before="+"0", nil).is(200, &log)
	require.Len(t, log.Changes, 1)
}

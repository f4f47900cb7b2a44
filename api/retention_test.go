package api_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestTermsAreSetWithinTheirBoundsAndSayWhatGoesFirst(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	a := s.call("GET", "/v1/retention", nil).is(200, nil)
	require.JSONEq(t, `{"clients_months": 36, "never_came_months": 12, "visits_months": 120, "messages_months": 14, "requests_months": 12, "invitations_months": 3,
		"absences_months": 12, "health_reads_months": 36}`, string(a.body))
	tag := a.header.Get("ETag")
	body := func(field string, value any) object {
		b := object{"clients_months": 36, "never_came_months": 12, "visits_months": 120, "messages_months": 14, "requests_months": 12, "invitations_months": 3, "absences_months": 12, "health_reads_months": 36}
		b[field] = value
		return b
	}
	refused := func(term func(store.TermLimits) any) (got []string) {
		b := object{}
		for _, l := range store.TermsAllowed {
			b[string(l.Kind)+"_months"] = term(l)
		}
		for _, e := range s.call("PUT", "/v1/retention", b, "If-Match", tag).refused(422, "invalid").Errors {
			got = append(got, strings.TrimSuffix(e.Pointer[1:], "_months")+" "+e.Detail+": "+e.Expected)
		}
		return got
	}
	var less, more, ended []string
	for _, l := range store.TermsAllowed {
		right := fmt.Sprintf("a whole number of months from %d to %d", l.Least, l.Most)
		if l.ForEver {
			right += ", or nothing for never"
		} else {
			ended = append(ended, string(l.Kind))
		}
		less, more = append(less, fmt.Sprintf("%s is %d: %s", l.Kind, l.Least-1, right)), append(more, fmt.Sprintf("%s is %d: %s", l.Kind, l.Most+1, right))
	}
	require.Equal(t, less, refused(func(l store.TermLimits) any { return l.Least - 1 }))
	require.Equal(t, more, refused(func(l store.TermLimits) any { return l.Most + 1 }))
	require.Len(t, refused(func(store.TermLimits) any { return 0 }), len(store.TermsAllowed), "0 could mean at once or never")
	var never []string
	for _, x := range refused(func(store.TermLimits) any { return nil }) {
		kind, _, _ := strings.Cut(x, " ")
		never = append(never, kind)
	}
	require.ElementsMatch(t, ended, never)
	for _, q := range []string{"never_came_months=0", "clients_months=23", "health_months=0", "health_months=121"} {
		field, _, _ := strings.Cut(q, "=")
		e := s.call("GET", "/v1/retention/preview?"+q, nil).refused(422, "invalid").Errors
		require.Len(t, e, 1)
		require.Equal(t, []string{"query", field}, []string{e[0].In, e[0].Pointer}, "where it stands")
	}
	s.call("PUT", "/v1/retention", body("clients_months", 24), "If-Match", `"v9"`).refused(412, "stale")
	s.call("PUT", "/v1/retention", body("clients_months", 24)).refused(428, "if-match")

	// A client who came once, 25 months ago.
	client := s.client("Mara")
	v, etag := s.book(client, start.Add(time.Hour), []object{{"service_id": s.services["Dry cut"]}})
	s.at(v.End.Add(time.Minute))
	s.call("POST", "/v1/visits/"+v.ID+"/finish", object{"ended_at": v.End}, "If-Match", etag).is(200, nil)
	// The database's own clock is not that of the test, and nobody sends what waits.
	s.sql(`UPDATE client SET created_at = '2026-06-08'`)
	s.sql(`UPDATE reminder SET state = 'withdrawn', done_at = '2026-06-08'`)
	s.at(start.AddDate(0, 25, 0))
	goes := func(query string) api.RetentionKindBody {
		var b api.RetentionPreviewBody
		s.call("GET", "/v1/retention/preview"+query, nil).is(200, &b)
		require.Len(t, b.Kinds, len(store.TermsAllowed)+1)
		for _, k := range b.Kinds {
			require.NotEmpty(t, k.What)
			require.NotEmpty(t, k.Why)
		}
		return b.Kinds[slices.IndexFunc(b.Kinds, func(k api.RetentionKindBody) bool { return k.Kind == "clients" })]
	}
	require.Zero(t, goes("").Goes)
	require.Equal(t, "2028-07-08", goes("").On)
	k := goes("?clients_months=24")
	require.Equal(t, 1, k.Goes)
	require.Equal(t, "2028-07-10", k.On, "changed terms wait")
	require.Zero(t, goes("?clients_months=0").Goes)

	var set api.RetentionBody
	s.call("PUT", "/v1/retention", body("clients_months", 24), "If-Match", tag).is(200, &set)
	require.Equal(t, "2028-07-10", set.From)
	require.Equal(t, k, goes(""))
	s.call("GET", "/v1/clients/"+client, nil).is(200, nil)
	var listed []store.Erased
	require.NoError(t, s.server.ErasedTo(t.Context(), func(list []store.Erased) error { listed = list; return nil }))
	run := func(days int) {
		_, err := s.store.EraseByAge(t.Context(), start.AddDate(0, 25, days))
		require.NoError(t, err)
	}
	run(1)
	s.call("GET", "/v1/clients/"+client, nil).is(200, nil)
	run(2)
	s.call("GET", "/v1/clients/"+client, nil).refused(404, "not-found")
	require.Len(t, listed, 1, "on the list outside the database, too")
	require.Equal(t, client, listed[0].Client)
	var changes struct{ Changes []api.ChangeBody }
	s.call("GET", "/v1/changes?what=retention_run", nil).is(200, &changes)
	require.True(t, slices.ContainsFunc(changes.Changes, func(c api.ChangeBody) bool {
		return c.By == "" && c.Done == "removed" && c.Subject == "clients: 1"
	}), "%+v", changes)
	s.at(start.AddDate(0, 25, 2))
	k = goes("")
	require.Equal(t, []any{0, "2028-07-11", "2028-07-10", 1}, []any{k.Goes, k.On, k.LastOn, k.Last})
}

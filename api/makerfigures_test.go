package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// minutesOf are the booked minutes of the steps of a kind.
func minutesOf(v api.VisitBody, kind string) (out []int) {
	for _, st := range v.Steps {
		if st.Kind == kind {
			out = append(out, int(st.End.Sub(st.Start).Minutes()))
		}
	}
	return out
}

func TestTheMakersFiguresAreWhatIsPlannedAndWatchedFor(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	solution := s.product("solution", "normal", 0, object{"processing_minutes": 25, "longest_minutes": 60, "dry_before_iron_percent": 95})
	neutralizer := s.product("neutralizer", "ready", 0, object{"neutralizer_minutes": 7})
	before, _ := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	require.Equal(t, []int{15, 5}, append(minutesOf(before, "process"), minutesOf(before, "dwell")...), "nothing is known of what it takes")
	s.priced("Straightening", 32000, nil, object{"product_id": solution}, object{"product_id": neutralizer})

	v, _ := s.book(s.client("Ines"), start.Add(49*time.Hour), s.straightening())
	require.Equal(t, []int{25, 7}, append(minutesOf(v, "process"), minutesOf(v, "dwell")...))
	quote := s.quote(object{"services": s.straightening()})
	require.NotContains(t, textsOf(quote.Cautions), "own_neutralizer_minutes", "the maker's are booked")
	var lines []string
	for _, st := range v.Steps {
		lines = append(lines, st.WatchFor...)
	}
	require.Contains(t, lines, "7 minutes, or what the maker's directions say: not shorter, not longer.")
	require.Contains(t, lines, "Dry to 95 %, damaged hair to 95 %, roots first.")

	e := s.estimate(hairWith(nil))
	for _, st := range e.Estimate.Steps {
		if st.Kind == "process" {
			require.Equal(t, 25, st.BookedMinutes)
		}
	}
}

func TestAServiceBelowTheMakersFiguresIsRefusedByField(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	solution := s.product("solution", "normal", 0, object{"processing_minutes": 15})
	neutralizer := s.product("neutralizer", "ready", 0, object{"neutralizer_minutes": 7})
	path := "/v1/services/" + s.services["Straightening"]
	change := func(process, dwell int, products ...object) (body object, tag string) {
		tag = s.call("GET", path, nil).is(200, &body).header.Get("ETag")
		for _, k := range []string{"id", "service_version", "needs_hair"} {
			delete(body, k)
		}
		for _, x := range body["steps"].([]any) {
			st := x.(map[string]any)
			if n := map[string]int{"process": process, "dwell": dwell}[st["kind"].(string)]; n > 0 {
				delete(st, "formula")
				st["minutes"] = n
			}
		}
		body["products"] = append([]object{}, products...)
		return body, tag
	}
	both := []object{{"product_id": solution}, {"product_id": neutralizer}}
	refused := func(body object, tag string) []api.FieldProblem {
		var p api.Problem
		s.call("PUT", path, body, "If-Match", tag).is(422, &p)
		var looked api.Problem
		s.call("POST", "/v1/service-preview", object{"service_id": s.services["Straightening"], "service": body}).is(422, &looked)
		require.Len(t, looked.Errors, len(p.Errors), "said before it is saved")
		return p.Errors
	}
	body, tag := change(3, 1, both...)
	errs := refused(body, tag)
	require.Equal(t, []string{"/steps/4/minutes", "/steps/9/minutes"}, []string{errs[0].Pointer, errs[1].Pointer})
	require.Contains(t, errs[1].Detail, "is 1, and the maker lets the neutralizer work for 7 minutes")

	// Without a figure of the maker it is the least that an estimate would take.
	body, tag = change(3, 1)
	errs = refused(body, tag)
	require.Len(t, errs, 2)
	require.Contains(t, errs[0].Detail, "is 3")
	require.Equal(t, "at least 5", errs[0].Expected)

	body, tag = change(15, 9, both...)
	s.call("PUT", path, body, "If-Match", tag).is(200, nil)
	v, _ := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	require.Equal(t, []int{15, 9}, append(minutesOf(v, "process"), minutesOf(v, "dwell")...))
	quote := s.quote(object{"services": s.straightening()})
	require.Contains(t, textsOf(quote.Cautions)["own_neutralizer_minutes"], "The maker lets the neutralizer work for 7 minutes; ", "whose minutes they are")
	require.Equal(t, "/set-up/services", api.ChangedAt("own_neutralizer_minutes"))
}

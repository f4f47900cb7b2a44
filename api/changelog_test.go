package api_test

import (
	"strings"
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

func TestTheLogHasOneLineForEachSetOfHoursAndForWhatIsToldOfHair(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	lines := func(what string) (out []string) {
		var log struct{ Changes []api.ChangeBody }
		s.call("GET", "/v1/changes?what="+what, nil).is(200, &log)
		for _, x := range log.Changes {
			out = append([]string{strings.Join(append([]string{x.Subject, x.Done}, x.Fields...), " ")}, out...)
		}
		return out
	}
	put := func(path string, body object) {
		tag := s.call("GET", path, nil).is(200, nil).header.Get("ETag")
		s.call("PUT", path, body, "If-Match", tag).is(200, nil)
	}
	weeks := s.byDate(s.ada)
	want := []string{s.ada + " added"}
	require.Equal(t, want, lines("staff_day"), "its hours come with it")
	path := "/v1/staff/" + s.ada + "/single-days/2026-06-10"
	split := object{"date": "2026-06-10", "work": []object{{"from": "08:00", "to": "12:00"}, {"from": "13:00", "to": "18:00"}}, "breaks": []object{{"from": "10:00", "to": "10:15"}}}
	put(path, split)
	put(path, split)
	want = append(want, s.ada+" changed hours_set_at")
	require.Equal(t, want, lines("staff_day"), "one line for all of its hours, none for what stayed as it was")
	put(path, singleDay("2026-06-10"))
	want = append(want, s.ada+" changed hours_set_at")
	require.Equal(t, want, lines("staff_day"), "no hours are other hours")
	put(path, split)
	s.call("DELETE", path, nil).is(204, nil)
	require.Equal(t, append(want, s.ada+" changed hours_set_at", s.ada+" removed"), lines("staff_day"))

	path = "/v1/staff/" + s.ada + "/rotas/" + weeks
	put(path, twoWeeks("2026-07-06", "2026-09-06"))
	other := twoWeeks("2026-07-06", "2026-09-06")
	other["weeks"] = []object{{"work": []object{{"weekday": 1, "from": "09:00", "to": "13:00"}}, "breaks": []object{}}, {"work": []object{}, "breaks": []object{}}}
	put(path, other)
	s.call("DELETE", path, nil).is(204, nil)
	require.Equal(t, []string{weeks + " added", weeks + " changed last_date", weeks + " changed hours_set_at", weeks + " removed"}, lines("staff_rota"))

	mara := s.client("Mara")
	var told api.HairTreatmentBody
	s.call("POST", "/v1/clients/"+mara+"/hair-treatments", object{"kind": "relaxer_or_perm", "done_on": "2025-06-09"}).is(201, &told)
	s.call("DELETE", "/v1/clients/"+mara+"/hair-treatments/"+told.ID, nil).is(204, nil)
	require.Equal(t, []string{mara + " added", mara + " removed"}, lines("hair_treatment"))
	a := s.call("GET", "/v1/changes?what=hair_treatment", nil).is(200, nil)
	require.Contains(t, string(a.body), `"subject_name":"Mara`)
	require.NotContains(t, string(a.body), "relaxer")
	s.call("POST", "/v1/consent-wordings", object{"text": "Zqwording."}).is(201, nil)
	require.Equal(t, []string{"2 added"}, lines("consent_wording"))
	put("/v1/consultation-form", object{"own_questions": []object{{"text": "Zqown?", "outcome": "ask"}}})
	require.Equal(t, []string{"2 added"}, lines("consultation_form"))
}

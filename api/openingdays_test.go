package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func openingDay(date string, clock ...string) object {
	open := []object{}
	if len(clock) == 2 {
		open = append(open, object{"from": clock[0], "to": clock[1]})
	}
	return object{"date": date, "open": open, "reason": "fair"}
}

func TestTheSalonOpensOnAnExtraDayAndClosesEarlyOnAnother(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	const sunday, wednesday = "2026-06-14", "2026-06-10"
	starts := func(date string) (list []api.OpeningBody) {
		var out struct{ Openings []api.OpeningBody }
		s.call("POST", "/v1/openings", object{"services": []object{s.by(s.ada, "Dry cut")}, "first_date": date, "last_date": date, "limit": 100}).is(200, &out)
		return out.Openings
	}
	require.Empty(t, starts(sunday))
	var d api.OpeningDayBody
	s.call("POST", "/v1/hours/days", openingDay(sunday, "10:00", "14:00")).is(201, &d)
	require.Empty(t, d.Conflicts)
	require.Empty(t, starts(sunday), "open, but nobody works")
	tag := s.call("GET", "/v1/hours/days/"+sunday, nil).is(200, nil).header.Get("ETag")
	body := openingDay(sunday, "10:00", "14:00")
	body["staff_ids"] = []string{s.ada}
	s.call("PUT", "/v1/hours/days/"+sunday, body, "If-Match", tag).is(200, nil)
	list := starts(sunday)
	require.NotEmpty(t, list)
	for _, o := range list {
		clock := o.Start.Format("15:04") + "–" + o.End.Format("15:04")
		require.True(t, "10:00" <= clock[:5] && o.End.Format("15:04") <= "14:00", clock)
	}
	var days struct{ Items []api.WorkingDayBody }
	s.call("GET", "/v1/staff/"+s.ada+"/working-days?first_date="+sunday+"&days=1", nil).is(200, &days)
	require.Equal(t, []any{"single_day", false}, []any{days.Items[0].Holds, days.Items[0].Shut})

	// What an early end would hit is seen before, and said in the answer to the change.
	late, err := time.ParseInLocation("2006-01-02 15:04", wednesday+" 17:00", berlin(t))
	require.NoError(t, err)
	v, _ := s.book(s.client("Mara"), late, []object{s.by(s.ada, "Dry cut")})
	var hit api.ChangePreviewBody
	early := openingDay(wednesday, "09:00", "13:00")
	s.call("POST", "/v1/changes/preview", object{"opening_day": object{"day": early}}).is(200, &hit)
	require.Len(t, hit.Visits, 1)
	require.Equal(t, v.ID, hit.Visits[0].VisitID)
	require.NotEmpty(t, starts(wednesday)[len(starts(wednesday))-1].Start.Format("15:04"))
	s.call("POST", "/v1/hours/days", early).is(201, &d)
	require.Equal(t, []string{v.ID}, d.Conflicts)
	for _, o := range starts(wednesday) {
		require.LessOrEqual(t, o.End.Format("15:04"), "13:00")
	}
	busy := s.feed("staff", s.ada).freeBusy().busy("20260610")
	require.NotEmpty(t, busy)
	require.Equal(t, "/date", places(s.call("POST", "/v1/hours/days", early).refused(422, "invalid")))
	for _, bad := range []struct {
		body object
		at   string
	}{
		{object{"date": wednesday, "open": []object{{"from": "09:00", "to": "13:00"}, {"from": "12:59", "to": "15:00"}}}, "/open"},
		{object{"date": "2026-06-31", "open": []object{}}, "/date"},
		{object{"date": wednesday, "open": []object{{"from": "x", "to": "13:00"}}}, "/open/0/from"},
		{object{"date": "2026-06-12", "open": []object{}, "staff_ids": []string{s.ada}}, "/staff_ids"},
		{object{"date": "2026-06-12", "open": []object{{"from": "09:00", "to": "10:00"}}, "staff_ids": []string{s.ada, s.ada}}, "/staff_ids/1"},
		{object{"date": "2026-06-12", "open": []object{{"from": "09:00", "to": "10:00"}}, "staff_ids": []string{"nobody"}}, "/staff_ids/0"},
	} {
		require.Equal(t, bad.at, places(s.call("POST", "/v1/hours/days", bad.body).refused(422, "invalid")))
	}
	var all struct{ Items []api.OpeningDayBody }
	s.call("GET", "/v1/hours/days", nil).is(200, &all)
	require.Len(t, all.Items, 2)
	s.call("DELETE", "/v1/hours/days/"+wednesday, nil).is(204, nil)
	s.call("GET", "/v1/hours/days/"+wednesday, nil).refused(404, "not-found")
	last := starts(wednesday)
	require.Greater(t, last[len(last)-1].End.Format("15:04"), "13:00")
	s.call("POST", "/v1/hours/days", openingDay(wednesday)).is(201, nil)
	require.Empty(t, starts(wednesday), "shut")
}

package api_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// twoWeeks are weeks in turn: Tuesday to Thursday, then Tuesday to Saturday.
func twoWeeks(first, last string) object {
	week := func(days ...int) object {
		list := []object{}
		for _, d := range days {
			list = append(list, object{"weekday": d, "from": "09:00", "to": "18:00"})
		}
		return object{"work": list, "breaks": []object{}}
	}
	out := object{"first_date": first, "weeks": []object{week(2, 3, 4), week(2, 3, 4, 5, 6)}}
	if last != "" {
		out["last_date"] = last
	}
	return out
}

// singleDay has one window from clock[0] to clock[1], or none.
func singleDay(date string, clock ...string) object {
	work := []object{}
	if len(clock) == 2 {
		work = append(work, object{"from": clock[0], "to": clock[1]})
	}
	return object{"date": date, "work": work, "breaks": []object{}}
}

// byDate gives a person weeks by date and a single day on 10 June, and returns the
// id of the weeks.
func (s *salon) byDate(staff string) string {
	s.t.Helper()
	var r api.DatedRotaBody
	s.call("POST", "/v1/staff/"+staff+"/rotas", twoWeeks("2026-07-06", "2026-08-30")).is(201, &r)
	s.call("POST", "/v1/staff/"+staff+"/single-days", singleDay("2026-06-10", "08:00", "19:00")).is(201, nil)
	return r.ID
}

// works says when a person works on some days, as the salon's search sees it.
func (s *salon) works(staff, first string, days int) string {
	s.t.Helper()
	var list struct{ Items []api.WorkingDayBody }
	s.call("GET", fmt.Sprintf("/v1/staff/%s/working-days?first_date=%s&days=%d", staff, first, days), nil).is(200, &list)
	var out []string
	for _, d := range list.Items {
		x := d.Date[8:]
		for _, w := range d.Work {
			x += " " + w.From + "-" + w.To
		}
		if d.Holds != "standing_week" {
			x += " " + d.Holds
		}
		if d.Closed {
			x += " closed"
		}
		out = append(out, x)
	}
	return strings.Join(out, "\n")
}

// fieldsOf are the fields of a body that a problem names.
func fieldsOf(p api.Problem) []string {
	var out []string
	for _, x := range pointers(p) {
		out = append(out, strings.TrimPrefix(x, "body "))
	}
	return out
}

// notOpenOn says of single days whether they lie outside the opening hours.
func (s *salon) notOpenOn(staff string) map[string]bool {
	s.t.Helper()
	out := map[string]bool{}
	var list struct{ Items []api.SingleDayBody }
	s.call("GET", "/v1/staff/"+staff+"/single-days", nil).is(200, &list)
	for _, d := range list.Items {
		var days struct{ Items []api.WorkingDayBody }
		s.call("GET", "/v1/staff/"+staff+"/working-days?days=1&first_date="+d.Date, nil).is(200, &days)
		require.Equal(s.t, d.Shut, days.Items[0].Shut)
		out[d.Date] = d.Shut
	}
	return out
}

func TestWeeksByDateHoldFromADateOnAndTakeTurns(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	path := "/v1/staff/" + s.ada + "/rotas"
	var r api.DatedRotaBody
	a := s.call("POST", path, twoWeeks("2026-09-01", ""))
	a.is(201, &r)
	require.Equal(t, path+"/"+r.ID, a.header.Get("Location"))
	require.Equal(t, "2026-09-01", r.First)
	require.Empty(t, r.Last, "until further notice")
	require.Empty(t, r.Conflicts)
	s.call("POST", "/v1/staff/"+s.ada+"/single-days", singleDay("2026-09-13", "10:00", "15:00")).is(201, nil)
	s.call("POST", "/v1/staff/"+s.ada+"/single-days", singleDay("2026-09-03")).is(201, nil)
	s.call("POST", "/v1/closures", object{"first_date": "2026-09-02", "last_date": "2026-09-02"}).is(201, nil)
	require.Equal(t, strings.Join([]string{
		"01 09:00-18:00 weeks_in_turn", "02 09:00-18:00 weeks_in_turn closed", "03 single_day", "04 weeks_in_turn", "05 weeks_in_turn", "06 weeks_in_turn",
		"07 weeks_in_turn", "08 09:00-18:00 weeks_in_turn", "09 09:00-18:00 weeks_in_turn", "10 09:00-18:00 weeks_in_turn", "11 09:00-18:00 weeks_in_turn",
		"12 09:00-18:00 weeks_in_turn", "13 10:00-15:00 single_day", "14 weeks_in_turn", "15 09:00-18:00 weeks_in_turn"}, "\n"), s.works(s.ada, "2026-09-01", 15))
	require.NotContains(t, s.works(s.ada, "2026-08-25", 7), "weeks_in_turn")
	// What lies outside the opening hours is said, since nothing is booked then.
	require.Equal(t, map[string]bool{"2026-09-03": false, "2026-09-13": true}, s.notOpenOn(s.ada))
	var hours api.HoursBody
	open := s.call("GET", "/v1/hours", nil)
	open.is(200, &hours)
	hours.Open = append(hours.Open, api.WindowBody{Weekday: 7, From: "10:00", To: "15:00"})
	s.call("PUT", "/v1/hours", hours, "If-Match", open.header.Get("ETag")).is(200, nil)
	require.Equal(t, map[string]bool{"2026-09-03": false, "2026-09-13": false}, s.notOpenOn(s.ada))

	// A week later the first of them is the other one: turns are counted from the first date.
	tag := s.call("GET", path+"/"+r.ID, nil).header.Get("ETag")
	s.call("PUT", path+"/"+r.ID, twoWeeks("2026-09-08", "2026-09-16"), "If-Match", tag).is(200, &r)
	require.Equal(t, "2026-09-16", r.Last)
	s.call("PUT", path+"/"+r.ID, twoWeeks("2026-09-08", ""), "If-Match", tag).refused(412, "stale")
	require.Contains(t, s.works(s.ada, "2026-09-12", 1), "12 weeks_in_turn")
	require.NotContains(t, s.works(s.ada, "2026-09-17", 1), "weeks_in_turn")
	var list struct{ Items []api.DatedRotaBody }
	s.call("GET", path, nil).is(200, &list)
	require.Len(t, list.Items, 1)
	s.call("GET", path+"?first_date=2026-09-17", nil).is(200, &list)
	require.Empty(t, list.Items)
	s.call("DELETE", path+"/"+r.ID, nil).is(204, nil)
	s.call("DELETE", path+"/"+r.ID, nil).refused(404, "not-found")
}

func TestWhatBooksAskTheHoursOfTheDate(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	starts := func(date string) int {
		var out struct{ Openings []api.OpeningBody }
		s.call("POST", "/v1/openings", object{"services": []object{s.by(s.ada, "Dry cut")}, "first_date": date, "last_date": date, "limit": 50}).is(200, &out)
		return len(out.Openings)
	}
	require.Positive(t, starts("2026-06-10"))
	s.call("POST", "/v1/staff/"+s.ada+"/single-days", singleDay("2026-06-10")).is(201, nil)
	require.Zero(t, starts("2026-06-10"), "she does not work on that date")
	tag := s.call("GET", "/v1/staff/"+s.ada+"/single-days/2026-06-10", nil).header.Get("ETag")
	s.call("PUT", "/v1/staff/"+s.ada+"/single-days/2026-06-10", singleDay("2026-06-10", "10:00", "10:30"), "If-Match", tag).is(200, nil)
	require.Positive(t, starts("2026-06-10"))
	require.Positive(t, starts("2026-06-15"))
	s.call("POST", "/v1/staff/"+s.ada+"/rotas", twoWeeks("2026-06-15", "2026-06-21")).is(201, nil)
	require.Zero(t, starts("2026-06-15"), "a Monday")
	require.Positive(t, starts("2026-06-16"))

	// Free/busy asks the same place: from the end of the day before to Tuesday at nine.
	busy := strings.Join(s.feed("staff", s.ada).freeBusy().busy("20260616"), "\n") + "\n"
	require.Contains(t, busy, "/16T070000Z\n")
	require.NotContains(t, busy, "/15T070000Z\n")
	s.call("DELETE", "/v1/staff/"+s.ada+"/single-days/2026-06-10", nil).is(204, nil)
	s.call("GET", "/v1/staff/"+s.ada+"/single-days/2026-06-10", nil).refused(404, "not-found")
}

func TestFaultsOfHoursByDateNameTheField(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	window := func(day int, from, to string) object { return object{"weekday": day, "from": from, "to": to} }
	week := func(list ...object) object { return object{"work": append([]object{}, list...), "breaks": []object{}} }
	rota := func(first, last string, weeks ...object) object {
		return object{"first_date": first, "last_date": last, "weeks": weeks}
	}
	s.byDate(s.ada)
	for _, x := range []struct {
		path string
		body object
		want []string
		says string
	}{
		{"rotas", rota("2026-09-02", "2026-09-01", week()), []string{"/last_date"}, "lies before first_date"},
		{"rotas", rota("2026-09-01", "2026-09-02"), []string{"/weeks"}, ""},
		{"rotas", rota("2026-09-01", "2026-09-02", week(), week(), week(), week(), week()), []string{"/weeks"}, ""},
		{"rotas", rota("2026-09-01", "2026-10-02", week(), week(window(2, "9", "10:00"), window(3, "24:00", "01:00"))), []string{pointer("weeks", 1, "work", 0, "from"), pointer("weeks", 1, "work", 1, "from")}, ""},
		{"rotas", rota("2026-09-01", "2026-10-02", week(window(7, "20:00", "02:00")), week(window(1, "01:00", "09:00"))), []string{"/weeks/0/work"}, "week 1, weekday 7 from 20:00 and week 2, weekday 1 from 01:00"},
		{"rotas", rota("2026-09-01", "2026-10-02", week(window(1, "01:00", "09:00")), week(window(7, "20:00", "02:00"))), []string{"/weeks/1/work"}, "week 2, weekday 7"},
		{"rotas", rota("2026-08-30", "2026-10-02", week()), []string{"/first_date"}, "from 6 July 2026 to 30 August 2026"},
		{"rotas", rota("2026-07-01", "2026-07-06", week()), []string{"/last_date"}, "from 6 July 2026"},
		{"rotas", rota("1999-07-01", "2026-07-05", week()), []string{"/first_date"}, "1999"},
		{"single-days", singleDay("2026-06-10"), []string{"/date"}, "has hours of its own already"},
		{"single-days", singleDay("2026-06-31"), []string{"/date"}, ""},
		{"single-days", object{"date": "2026-06-12", "work": []object{{"from": "09:00", "to": "13:00"}, {"from": "12:59", "to": "15:00"}}, "breaks": []object{}}, []string{"/work"}, "overlap"},
		{"single-days", object{"date": "2026-06-12", "work": []object{}, "breaks": []object{{"from": "x", "to": "13:00"}}}, []string{"/breaks/0/from"}, ""},
	} {
		p := s.call("POST", "/v1/staff/"+s.ada+"/"+x.path, x.body).refused(422, "invalid")
		require.Equal(t, x.want, fieldsOf(p), "%s %v", x.path, x.body)
		require.Contains(t, fmt.Sprint(p), x.says)
	}
	s.call("POST", "/v1/staff/nobody/rotas", twoWeeks("2026-09-01", "")).refused(404, "not-found")
	s.call("POST", "/v1/staff/nobody/single-days", singleDay("2026-09-01")).refused(404, "not-found")
	s.call("GET", "/v1/staff/nobody/working-days", nil).refused(404, "not-found")
	tag := s.call("GET", "/v1/staff/"+s.ada+"/single-days/2026-06-10", nil).header.Get("ETag")
	p := s.call("PUT", "/v1/staff/"+s.ada+"/single-days/2026-06-10", singleDay("2026-06-11"), "If-Match", tag).refused(422, "invalid")
	require.Equal(t, []string{"/date"}, fieldsOf(p))
	s.call("PUT", "/v1/staff/"+s.ada+"/single-days/2026-06-10", singleDay("2026-06-10")).refused(428, "if-match")
}

func TestAPreviewShowsWhatHoursByDateHit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	// A Friday: of no week by date, until one begins there.
	v, _ := s.book(s.client("Juna"), time.Date(2026, time.June, 12, 9, 0, 0, 0, start.Location()), []object{s.by(s.ada, "Dry cut")})
	preview := func(change object) api.ChangePreviewBody {
		var out api.ChangePreviewBody
		s.call("POST", "/v1/changes/preview", change).is(200, &out)
		return out
	}
	weeks := func(id string, rota object) object {
		x := object{"staff_id": s.ada}
		if id != "" {
			x["rota_id"] = id
		}
		if rota != nil {
			x["rota"] = rota
		}
		return object{"weeks_by_date": x}
	}
	hit := func(p api.ChangePreviewBody) {
		t.Helper()
		require.Len(t, p.Visits, 1)
		require.Equal(t, v.ID, p.Visits[0].VisitID)
		require.Contains(t, strings.Join(p.Visits[0].Why, " "), "is not there from")
		require.NotEmpty(t, p.Visits[0].Remedies)
	}
	tables := s.tables()
	before := tables()
	hit(preview(weeks("", twoWeeks("2026-06-08", ""))))
	require.Empty(t, preview(weeks("", twoWeeks("2026-06-01", ""))).Visits, "it is the second week then, with a Friday")
	require.Empty(t, preview(weeks("", twoWeeks("2026-06-13", ""))).Visits)
	hit(preview(object{"single_day": object{"staff_id": s.ada, "day": singleDay("2026-06-12")}}))
	require.Empty(t, preview(object{"single_day": object{"staff_id": s.ada, "day": singleDay("2026-06-12", "07:00", "19:00")}}).Visits)
	far := preview(weeks("", twoWeeks("2027-06-08", "")))
	require.Empty(t, far.Visits)
	require.Equal(t, "2027-12-15", far.Until, "190 days from the first date on")
	require.Equal(t, "2027-06-20", preview(weeks("", twoWeeks("2027-06-08", "2027-06-19"))).Until, "and the rest of the last night")
	require.Equal(t, before, tables(), "a preview changed something")

	// What holds may be replaced, ended or taken back, which hits what it alone made possible.
	s.call("PUT", "/v1/staff/"+s.ada+"/hours", object{"work": []object{}, "breaks": []object{}}, "If-Match", s.call("GET", "/v1/staff/"+s.ada+"/hours", nil).header.Get("ETag")).is(200, nil)
	var r api.DatedRotaBody
	s.call("POST", "/v1/staff/"+s.ada+"/rotas", twoWeeks("2026-06-01", "")).is(201, &r)
	require.Empty(t, r.Conflicts)
	hit(preview(weeks(r.ID, twoWeeks("2026-06-08", ""))))
	hit(preview(weeks(r.ID, twoWeeks("2026-06-01", "2026-06-11"))))
	require.Empty(t, preview(weeks(r.ID, twoWeeks("2026-06-01", "2026-06-12"))).Visits)
	hit(preview(weeks(r.ID, nil)))
	s.call("PUT", "/v1/staff/"+s.ada+"/rotas/"+r.ID, twoWeeks("2026-06-08", ""), "If-Match", `"v1"`).is(200, &r)
	require.Equal(t, []string{v.ID}, r.Conflicts, "it is made all the same, and said")
	s.call("POST", "/v1/staff/"+s.ada+"/single-days", singleDay("2026-06-12", "08:00", "12:00")).is(201, nil)
	hit(preview(object{"single_day": object{"staff_id": s.ada, "gone_date": "2026-06-12"}}))

	for _, x := range []struct {
		change object
		want   []string
	}{
		{object{"weeks_by_date": object{"staff_id": s.ada}}, []string{"/weeks_by_date"}},
		{object{"weeks_by_date": object{"staff_id": "nobody", "rota": twoWeeks("2026-06-01", "")}}, []string{"/weeks_by_date/staff_id"}},
		{weeks("none", nil), []string{"/weeks_by_date/rota_id"}},
		{weeks("none", twoWeeks("2026-06-01", "")), []string{"/weeks_by_date/rota_id"}},
		{weeks("", twoWeeks("2026-06-01", "2026-06-10")), []string{"/weeks_by_date/rota/last_date"}},
		{weeks("", twoWeeks("2026-06-11", "2026-06-10")), []string{"/weeks_by_date/rota/last_date"}},
		{object{"single_day": object{"staff_id": s.ada}}, []string{"/single_day"}},
		{object{"single_day": object{"staff_id": "nobody", "gone_date": "2026-06-12"}}, []string{"/single_day/staff_id"}},
		{object{"single_day": object{"staff_id": s.ada, "gone_date": "2026-06-13"}}, []string{"/single_day/gone_date"}},
		{object{"single_day": object{"staff_id": s.ada, "day": object{"date": "2026-06-12", "work": []object{{"from": "x", "to": "09:00"}}, "breaks": []object{}}}}, []string{pointer("single_day", "day", "work", 0, "from")}},
	} {
		require.Equal(t, x.want, fieldsOf(s.call("POST", "/v1/changes/preview", x.change).refused(422, "invalid")), "%v", x.change)
	}
}

func TestWhoWorksByDateAloneHasHours(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for _, id := range []string{s.ada, s.ben, s.mina} {
		tag := s.call("GET", "/v1/staff/"+id+"/hours", nil).header.Get("ETag")
		s.call("PUT", "/v1/staff/"+id+"/hours", object{"work": []object{}, "breaks": []object{}}, "If-Match", tag).is(200, nil)
	}
	codes := func() (out []string) {
		var b api.SetUpBody
		s.call("GET", "/v1/set-up", nil).is(200, &b)
		for _, m := range b.Missing {
			out = append(out, m.Code)
		}
		return out
	}
	require.Contains(t, codes(), "staff_hours")
	s.byDate(s.ada)
	require.NotContains(t, codes(), "staff_hours")
	var b api.SetUpBody
	s.call("GET", "/v1/set-up", nil).is(200, &b)
	require.Equal(t, []api.StaffWeekBody{{StaffID: s.ada, Work: []api.WindowBody{}, Breaks: []api.WindowBody{}, ByDate: true}}, b.Hours)
}

// pointer is the JSON pointer (RFC 6901) of names and indexes.
func pointer(to ...any) string {
	var b strings.Builder
	for _, x := range to {
		fmt.Fprintf(&b, "/%v", x)
	}
	return b.String()
}

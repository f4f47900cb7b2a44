package api_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// visitOf is an entry of a group: a visit of a new client.
func (s *salon) visitOf(name string, at time.Time, services ...object) object {
	s.t.Helper()
	return object{"book": object{"client_id": s.client(name), "start": at, "services": services, "approved_by": "Ada"}}
}

// visit books straightening for a new client and returns the id.
func (s *salon) visit(name string, at time.Time) string {
	s.t.Helper()
	v, _ := s.book(s.client(name), at, s.straightening())
	return v.ID
}

// groupCall asks for visits that belong together.
func (s *salon) groupCall(how string, visits ...object) answer {
	s.t.Helper()
	return s.call("POST", "/v1/visit-groups", object{"how": how, "visits": visits}, "Idempotency-Key", fmt.Sprintf("k%d", bookings.Add(1)))
}

// group books visits that belong together.
func (s *salon) group(how string, visits ...object) api.GroupBody {
	s.t.Helper()
	var g api.GroupBody
	s.groupCall(how, visits...).is(201, &g)
	return g
}

// groupOpenings asks for openings of a day for visits of those services.
func (s *salon) groupOpenings(how, day string, more object, visits ...[]object) api.GroupOpeningsAnswer {
	s.t.Helper()
	body := object{"how": how, "first_date": day, "last_date": day}
	var list []object
	for _, services := range visits {
		list = append(list, object{"services": services})
	}
	body["visits"] = list
	for k, v := range more {
		body[k] = v
	}
	var out api.GroupOpeningsAnswer
	s.call("POST", "/v1/visit-groups/openings", body).is(200, &out)
	return out
}

// offered books what an opening offers.
func (s *salon) offered(how string, o api.GroupOpeningBody, visits ...[]object) api.GroupBody {
	s.t.Helper()
	var list []object
	for i, services := range visits {
		list = append(list, s.visitOf(fmt.Sprint("Client", i), o.Visits[i].Start, services...))
	}
	return s.group(how, list...)
}

func TestEveryOpeningForVisitsThatBelongTogetherCanBeBooked(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	long, cut, wet := s.straightening(), []object{s.by(s.ben, "Dry cut")}, []object{{"service_id": s.services["Cut and dry"]}}
	booked := 0
	for _, x := range []struct {
		how    string
		visits [][]object
		check  func(t *testing.T, o api.GroupOpeningBody)
	}{
		{"side_by_side", [][]object{long, cut}, func(t *testing.T, o api.GroupOpeningBody) {
			require.Equal(t, o.Visits[0].Start, o.Visits[1].Start)
			require.NotEqual(t, o.Visits[0].LeadID, o.Visits[1].LeadID)
			require.NotEqual(t, o.Visits[0].ChairID, o.Visits[1].ChairID)
		}},
		{"arrive_together", [][]object{wet, wet}, func(t *testing.T, o api.GroupOpeningBody) {
			require.Equal(t, 10*time.Minute, o.Visits[1].Start.Sub(o.Visits[0].Start).Abs(), "as soon as the basin is clear")
		}},
		{"one_after_other", [][]object{cut, long}, func(t *testing.T, o api.GroupOpeningBody) {
			require.Equal(t, o.Visits[0].End, o.Visits[1].Start)
		}},
		{"one_after_other", [][]object{cut, cut, cut}, func(t *testing.T, o api.GroupOpeningBody) {
			require.Equal(t, o.Visits[0].End, o.Visits[1].Start)
			require.Equal(t, o.Visits[1].End, o.Visits[2].Start)
		}},
	} {
		day := start.AddDate(0, 0, 1+booked).Format(time.DateOnly)
		booked++
		answer := s.groupOpenings(x.how, day, object{"limit": 100}, x.visits...)
		require.NotEmpty(t, answer.Openings, x.how)
		require.Nil(t, answer.Next)
		for _, o := range answer.Openings {
			x.check(t, o)
			require.Zero(t, (o.Visits[0].Start.Hour()*60+o.Visits[0].Start.Minute())%15)
			require.NotEmpty(t, o.Words)
		}
		g := s.offered(x.how, answer.Openings[len(answer.Openings)/2], x.visits...)
		require.True(t, g.Kept, g.Words)
		require.Len(t, g.Visits, len(x.visits))
		for _, v := range g.Visits {
			require.Equal(t, g.ID, v.GroupID)
			require.Equal(t, 1, s.reminders(v.ID)["confirmation waiting"])
		}
		var read api.GroupBody
		s.call("GET", "/v1/visit-groups/"+g.ID, nil).is(200, &read)
		require.Equal(t, g, read)
		// What is booked is not offered again.
		for _, o := range s.groupOpenings(x.how, day, object{"limit": 100}, x.visits...).Openings {
			require.NotEqual(t, g.Visits[0].Start, o.Visits[0].Start)
		}
		s.sound()
	}
	// One basin at the very same minute for two is too little.
	none := s.groupOpenings("side_by_side", "2026-06-13", nil, wet, wet)
	require.Empty(t, none.Openings)
	none = s.groupOpenings("side_by_side", "2026-06-13", nil, long, long)
	require.Empty(t, none.Openings, "only Ada straightens")
}

// The search for openings holds against trying every pair of starts by booking.
func TestGroupOpeningsAreThoseThatBookingAccepts(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	wet := []object{{"service_id": s.services["Cut and dry"]}}
	cut := []object{{"service_id": s.services["Dry cut"]}}
	for i, at := range []time.Time{tuesday(9, 40), tuesday(10, 35), tuesday(11, 50), tuesday(13, 20), tuesday(15, 5)} {
		s.book(s.client(fmt.Sprint("Client", i)), at, []object{s.by([]string{s.ada, s.ben}[i%2], []string{"Dry cut", "Wash and dry"}[i%2])})
	}
	day := object{"first_date": "2026-06-09", "last_date": "2026-06-09", "limit": 200, "grid_minutes": 5}
	for _, how := range []string{"side_by_side", "arrive_together", "one_after_other"} {
		got := map[string]bool{}
		for _, o := range s.groupOpenings(how, "2026-06-09", object{"limit": 100, "grid_minutes": 30}, wet, cut).Openings {
			got[o.Visits[0].Start.Format("15:04")] = true
		}
		tried := 0
		for _, o := range s.openings(wet, object{"first_date": "2026-06-09", "last_date": "2026-06-09", "limit": 200, "grid_minutes": 30}).Openings {
			fits := false
			for _, p := range s.openings(cut, day).Openings {
				apart := p.Start.Sub(o.Start)
				if how == "side_by_side" && apart != 0 || how == "arrive_together" && apart.Abs() > 15*time.Minute ||
					how == "one_after_other" && (p.Start.Before(o.End) || p.Start.Sub(o.End) > 15*time.Minute) || fits {
					continue
				}
				tried++
				a := s.groupCall(how, s.visitOf("Mara", o.Start, wet...), s.visitOf("Nora", p.Start, cut...))
				if a.status != 201 {
					a.refused(409, "taken")
					continue
				}
				fits = true
				var g api.GroupBody
				a.is(201, &g)
				for _, v := range g.Visits {
					s.call("POST", "/v1/visits/"+v.ID+"/cancel", object{"others": "keep"}, "If-Match", `"v1"`).is(200, nil)
				}
			}
			// The search knows every minute, this one every fifth.
			if fits || how == "side_by_side" {
				require.Equal(t, fits, got[o.Start.Format("15:04")], "%s at %s", how, o.Start)
			}
		}
		require.Greater(t, tried, 5, how)
		require.NotEmpty(t, got, how)
	}
}

func TestAGroupIsBookedWholeOrNotAtAll(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	cut := func(lead string) object { return s.by(lead, "Dry cut") }
	taken, _ := s.book(s.client("Olga"), tuesday(10, 0), []object{cut(s.ben)})
	mara, nora := s.visitOf("Mara", tuesday(10, 0), cut(s.ada)), s.visitOf("Nora", tuesday(10, 0), cut(s.ben))
	at := func(x object, start time.Time) object {
		b := object{}
		for k, v := range x["book"].(object) {
			b[k] = v
		}
		b["start"] = start
		return object{"book": b}
	}
	there := object{"visit_id": taken.ID, "version": 1}
	before := s.tables()
	was := before()
	for _, x := range []struct {
		how    string
		visits []object
		status int
		kind   string
		want   string
	}{
		{"side_by_side", []object{mara, nora}, 409, "taken", "Nora Q. does not fit on Tue 9 June at 10:00"},
		{"side_by_side", []object{at(mara, tuesday(11, 0)), at(nora, tuesday(11, 15))}, 409, "conflict", "are not side by side"},
		{"arrive_together", []object{at(mara, tuesday(11, 0)), at(nora, tuesday(11, 16))}, 409, "conflict", "more than 15 minutes apart"},
		{"one_after_other", []object{at(mara, tuesday(11, 0)), at(nora, tuesday(11, 46))}, 409, "conflict", "more than 15 minutes after"},
		{"one_after_other", []object{at(mara, tuesday(11, 0)), at(nora, tuesday(11, 29))}, 409, "taken", "does not fit on Tue 9 June at 11:00"},
		{"side_by_side", []object{there, at(nora, tuesday(10, 0))}, 409, "taken", ""},
		{"side_by_side", []object{{"visit_id": taken.ID, "version": 2}, mara}, 412, "stale", ""},
		{"side_by_side", []object{{"visit_id": "none", "version": 1}, mara}, 422, "invalid", "not known"},
		{"side_by_side", []object{there, there}, 422, "invalid", "there twice"},
		{"side_by_side", []object{{"visit_id": taken.ID}, mara}, 422, "invalid", "version"},
		{"side_by_side", []object{{}, mara}, 422, "invalid", "names no visit"},
		{"side_by_side", []object{at(mara, start.Add(-time.Hour)), at(nora, start.Add(-time.Hour))}, 422, "invalid", "visits/0/book/start"},
		{"side_by_side", []object{mara}, 422, "invalid", ""},
		{"in_a_row", []object{mara, nora}, 422, "invalid", ""},
	} {
		p := s.groupCall(x.how, x.visits...).refused(x.status, x.kind)
		require.Contains(t, p.Detail, x.want)
		now := before()
		delete(now, "idempotency") // a clash is an answer, too
		delete(was, "idempotency")
		require.Equal(t, was, now, x.want)
	}
	// A sister comes along.
	g := s.group("side_by_side", there, mara)
	require.Equal(t, []string{taken.ID}, idsOf(g.Visits, func(v api.VisitBody) bool { return v.ClientID == taken.ClientID }))
	v, tag := s.read(taken.ID)
	require.Equal(t, `"v2"`, tag)
	require.Equal(t, g.ID, v.GroupID)
	require.Equal(t, "Olga Q. and Mara Q. side by side", g.Words)
	p := s.groupCall("arrive_together", object{"visit_id": taken.ID, "version": 2}, at(nora, tuesday(10, 15))).refused(409, "conflict")
	require.Contains(t, p.Detail, "belongs to others already")

	body := object{"how": "side_by_side", "visits": []object{at(mara, tuesday(14, 0)), at(nora, tuesday(14, 0))}}
	first := s.call("POST", "/v1/visit-groups", body, "Idempotency-Key", "again").is(201, nil)
	again := s.call("POST", "/v1/visit-groups", body, "Idempotency-Key", "again").is(201, nil)
	require.JSONEq(t, string(first.body), string(again.body))
	require.Equal(t, "true", again.header.Get("Idempotent-Replayed"))
	s.call("POST", "/v1/visit-groups", body).refused(400, "idempotency-key")
	s.call("GET", "/v1/visit-groups/none", nil).refused(404, "not-found")
	s.sound()
}

func idsOf(list []api.VisitBody, ok func(api.VisitBody) bool) []string {
	var out []string
	for _, v := range list {
		if ok(v) {
			out = append(out, v.ID)
		}
	}
	return out
}

// pair books two dry cuts that belong together, Ada's first.
func (s *salon) pair(how string, first, second time.Time) (ada, ben api.VisitBody) {
	s.t.Helper()
	g := s.group(how, s.visitOf("Mara", first, s.by(s.ada, "Dry cut")), s.visitOf("Nora", second, s.by(s.ben, "Dry cut")))
	for _, v := range g.Visits {
		if v.Services[0].LeadID == s.ada {
			ada = v
		} else {
			ben = v
		}
	}
	return ada, ben
}

func TestWhoCancelsOneIsAskedAboutTheOthers(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	a, b := s.pair("arrive_together", tuesday(10, 0), tuesday(10, 10))
	before := s.tables()
	was := before()
	p := s.call("POST", "/v1/visits/"+a.ID+"/cancel", nil, "If-Match", `"v1"`).refused(409, "asks")
	require.Equal(t, "the visit belongs to Nora Q. on Tue 9 June at 10:10 (arrive together): are the others to stay, or to be cancelled, too?", p.Detail)
	require.Equal(t, []string{"body /others"}, pointers(p))
	s.call("POST", "/v1/visits/"+a.ID+"/cancel", object{}, "If-Match", `"v1"`).refused(409, "asks")
	s.call("POST", "/v1/visits/"+a.ID+"/cancel", object{"others": "perhaps"}, "If-Match", `"v1"`).refused(422, "invalid")
	s.call("POST", "/v1/visits/"+a.ID+"/cancel", object{"others": "cancel"}, "If-Match", `"v2"`).refused(412, "stale")
	require.Equal(t, was, before())

	var gone api.VisitBody
	s.call("POST", "/v1/visits/"+a.ID+"/cancel", object{"others": "cancel"}, "If-Match", `"v1"`).is(200, &gone)
	require.Equal(t, "cancelled", gone.State)
	for _, id := range []string{a.ID, b.ID} {
		v, tag := s.read(id)
		require.Equal(t, "cancelled", v.State)
		require.Equal(t, `"v2"`, tag)
		require.Equal(t, 1, s.reminders(id)["cancelled waiting"])
	}
	require.Empty(t, s.parts(s.ada))
	require.Empty(t, s.parts(s.ben))

	a, b = s.pair("arrive_together", tuesday(10, 0), tuesday(10, 10))
	s.call("POST", "/v1/visits/"+a.ID+"/cancel", object{"others": "keep"}, "If-Match", `"v1"`).is(200, nil)
	v, tag := s.read(b.ID)
	require.Equal(t, "booked", v.State)
	require.Equal(t, `"v1"`, tag)
	s.call("POST", "/v1/visits/"+b.ID+"/cancel", nil, "If-Match", tag).is(200, nil) // nobody else is left to ask about
	s.sound()
}

func TestAMoveThatPartsVisitsIsRefusedUnlessTheLinkMayBreak(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for i, x := range []struct {
		how    string
		second time.Time // minutes after the first start
		stays  time.Time // of the second visit
		parts  time.Time
		why    string
	}{
		{"arrive_together", tuesday(10, 10), tuesday(9, 50), tuesday(10, 20), "more than 15 minutes apart"},
		{"side_by_side", tuesday(10, 0), tuesday(10, 0), tuesday(10, 1), "are not side by side"},
		{"one_after_other", tuesday(10, 30), tuesday(10, 45), tuesday(10, 46), "more than 15 minutes after"},
		{"one_after_other", tuesday(10, 30), tuesday(10, 35), tuesday(10, 29), "when the visit in front ends"},
	} {
		day := time.Duration(i) * 24 * time.Hour
		_, b := s.pair(x.how, tuesday(10, 0).Add(day), x.second.Add(day))
		move := "/v1/visits/" + b.ID + "/move"
		var v api.VisitBody
		tag := s.call("POST", move, object{"start": x.stays.Add(day)}, "If-Match", `"v1"`).is(200, &v).header.Get("ETag")
		require.Equal(t, b.GroupID, v.GroupID)
		p := s.call("POST", move, object{"start": x.parts.Add(day)}, "If-Match", tag).refused(409, "conflict")
		require.Contains(t, p.Detail, x.why)
		require.Contains(t, p.Detail, "break_link")
		same, sameTag := s.read(b.ID)
		require.Equal(t, v, same)
		require.Equal(t, tag, sameTag)
		var alone api.VisitBody
		s.call("POST", move, object{"start": x.parts.Add(day), "break_link": true}, "If-Match", tag).is(200, &alone)
		require.Empty(t, alone.GroupID)
		require.True(t, alone.Start.Equal(x.parts.Add(day)))
	}
	// Side by side is a stylist each, too.
	day := 4 * 24 * time.Hour
	a, b := s.pair("side_by_side", tuesday(10, 0).Add(day-24*time.Hour).Add(4*time.Hour), tuesday(10, 0).Add(day-24*time.Hour).Add(4*time.Hour))
	p := s.call("POST", "/v1/visits/"+b.ID+"/move", object{"lead_id": s.ada}, "If-Match", `"v1"`).refused(409, "taken")
	require.NotEmpty(t, p.Detail)
	// A visit that takes longer does so, whatever was agreed.
	var v api.VisitBody
	s.extend(a.ID, `"v1"`, object{"minutes": 10}).is(200, &v)
	require.Equal(t, a.GroupID, v.GroupID)
	s.sound()

	// The day tells when it does not hold any more.
	a, b = s.pair("one_after_other", tuesday(16, 0), tuesday(16, 30))
	day0 := func() (out api.DayBody) {
		s.call("GET", "/v1/days/2026-06-09", nil).is(200, &out)
		return out
	}
	require.Empty(t, day0().Conflicts)
	s.extend(a.ID, `"v1"`, object{"minutes": 10}).is(200, nil)
	require.Equal(t, []string{"M. Q. and N. Q. one after the other: Tue 9 June 16:30 is before Tue 9 June 16:40, when the visit in front ends"}, day0().Conflicts)
	s.call("POST", "/v1/visits/"+b.ID+"/move", object{"start": tuesday(16, 40)}, "If-Match", `"v1"`).is(200, nil)
	require.Empty(t, day0().Conflicts)
}

func TestAVisitJoinsOthersAndLeavesThem(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	a, b := s.pair("arrive_together", tuesday(10, 0), tuesday(10, 10))
	c, tag := s.book(s.client("Ines"), tuesday(11, 30), []object{s.by(s.ada, "Dry cut")})
	join := func(id, tag, group string) answer {
		return s.call("PUT", "/v1/visits/"+id+"/group", object{"group_id": group}, "If-Match", tag)
	}
	p := join(c.ID, tag, a.GroupID).refused(409, "conflict")
	require.Contains(t, p.Detail, "more than 15 minutes apart")
	require.Equal(t, []string{"body /group_id"}, pointers(join(c.ID, tag, "none").refused(422, "invalid")))
	join(c.ID, tag, "").refused(409, "conflict")
	var v api.VisitBody
	tag = join(b.ID, `"v1"`, "").is(200, &v).header.Get("ETag")
	require.Empty(t, v.GroupID)
	tag = s.call("POST", "/v1/visits/"+b.ID+"/move", object{"start": tuesday(10, 30)}, "If-Match", tag).is(200, nil).header.Get("ETag")
	join(b.ID, tag, a.GroupID).refused(409, "conflict")
	tag = s.call("POST", "/v1/visits/"+b.ID+"/move", object{"start": tuesday(10, 15)}, "If-Match", tag).is(200, nil).header.Get("ETag")
	tag = join(b.ID, tag, a.GroupID).is(200, &v).header.Get("ETag")
	require.Equal(t, a.GroupID, v.GroupID)
	join(b.ID, tag, a.GroupID).refused(409, "conflict")
	s.call("POST", "/v1/visits/"+a.ID+"/cancel", object{"others": "keep"}, "If-Match", `"v1"`).is(200, nil)
	p = join(a.ID, `"v2"`, a.GroupID).refused(409, "conflict")
	require.Contains(t, p.Detail, "cancelled")
}

func TestHowFarApartClientsArriveTogetherIsTheSalonsChoice(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var rules api.BookingRules
	a := s.call("GET", "/v1/booking-rules", nil).is(200, &rules)
	require.Equal(t, 15, rules.TogetherMinutes)
	rules.TogetherMinutes = 30
	s.call("PUT", "/v1/booking-rules", rules, "If-Match", a.header.Get("ETag")).is(200, nil)
	s.pair("arrive_together", tuesday(10, 0), tuesday(10, 30))
	s.groupCall("arrive_together", s.visitOf("Mara", tuesday(12, 0), s.by(s.ada, "Dry cut")),
		s.visitOf("Nora", tuesday(12, 31), s.by(s.ben, "Dry cut"))).refused(409, "conflict")
}

func TestClientsOfAGroupAreNowhereElse(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, nora := s.client("Mara"), s.client("Nora")
	s.book(nora, tuesday(10, 0), []object{s.by(s.ben, "Dry cut")})
	ask := object{"how": "arrive_together", "first_date": "2026-06-09", "last_date": "2026-06-09", "not_before": tuesday(9, 45), "limit": 3,
		"visits": []object{{"client_id": mara, "services": []object{s.by(s.ada, "Dry cut")}}, {"client_id": nora, "services": []object{{"service_id": s.services["Dry cut"]}}}}}
	var out api.GroupOpeningsAnswer
	s.call("POST", "/v1/visit-groups/openings", ask).is(200, &out)
	require.Len(t, out.Openings, 3)
	for _, o := range out.Openings {
		require.False(t, o.Visits[1].Start.Before(tuesday(10, 30)), o.Words)
	}
	require.NotNil(t, out.Next)
	ask["not_before"] = out.Next
	more := api.GroupOpeningsAnswer{}
	s.call("POST", "/v1/visit-groups/openings", ask).is(200, &more)
	require.Equal(t, *out.Next, more.Openings[0].Visits[0].Start)

	ask["visits"] = []object{{"client_id": mara, "services": []object{s.by(s.ada, "Dry cut")}}, {"client_id": mara, "services": []object{s.by(s.ben, "Dry cut")}}}
	require.Equal(t, []string{"body /visits/1/client_id"}, pointers(s.call("POST", "/v1/visit-groups/openings", ask).refused(422, "invalid")))
	ask["visits"] = []object{{"client_id": "none", "services": []object{{"service_id": "none"}}}, {"services": []object{{"service_id": s.services["Straightening"]}}}}
	ask["last_date"], ask["end_by"] = "2026-06-08", "5pm"
	places := pointers(s.call("POST", "/v1/visit-groups/openings", ask).refused(422, "invalid"))
	slices.Sort(places)
	require.Equal(t, []string{"body /end_by", "body /last_date", "body /visits/0/client_id", "body /visits/0/services/0/service_id", "body /visits/1/services/0"}, places)
}

// Each of the two keeps the others' agreement by itself, both together do not.
func TestTwoWhoMoveVisitsOfOneGroupApartDoNotBothSucceed(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for round := range 8 {
		day := time.Duration(round%4) * 24 * time.Hour
		hour := time.Duration(round/4) * 4 * time.Hour
		a, b := s.pair("arrive_together", tuesday(10, 0).Add(day+hour), tuesday(10, 0).Add(day+hour))
		answers := s.atOnce(2, func(i int) request {
			return request{"POST", "/v1/visits/" + []string{a.ID, b.ID}[i] + "/move", object{"start": a.Start.Add([]time.Duration{-10, 10}[i] * time.Minute)}, []string{"If-Match", `"v1"`}}
		})
		require.Equal(t, map[int]int{200: 1, 409: 1}, sorted(answers))
		var g api.GroupBody
		s.call("GET", "/v1/visit-groups/"+a.GroupID, nil).is(200, &g)
		require.True(t, g.Kept, g.Words)
	}
	s.sound()
}

// One cancels both, others move or cancel one of them.
func TestAGroupThatIsCancelledWhileItsVisitsChangeIsCancelledWholeOrNotAtAll(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	whole := 0
	for round := range 8 {
		day := time.Duration(round%4) * 24 * time.Hour
		hour := time.Duration(round/4) * 4 * time.Hour
		a, b := s.pair("arrive_together", tuesday(10, 0).Add(day+hour), tuesday(10, 0).Add(day+hour))
		answers := s.atOnce(4, func(i int) request {
			id := []string{a.ID, b.ID}[i%2]
			if i < 2 {
				return request{"POST", "/v1/visits/" + id + "/cancel", object{"others": "cancel"}, []string{"If-Match", `"v1"`}}
			}
			return request{"POST", "/v1/visits/" + id + "/move", object{"start": a.Start.Add(5 * time.Minute)}, []string{"If-Match", `"v1"`}}
		})
		one, _ := s.read(a.ID)
		other, _ := s.read(b.ID)
		if answers[0].status == 200 || answers[1].status == 200 {
			require.Equal(t, "cancelled cancelled", one.State+" "+other.State)
			whole++
		} else {
			require.Equal(t, "booked booked", one.State+" "+other.State)
		}
		s.sound()
	}
	t.Logf("%d of 8 were cancelled", whole)
}

// BenchmarkGroupOpenings asks for four weeks of openings for two visits: ones
// that fit, and ones that would need the same stylist all the time.
func BenchmarkGroupOpenings(b *testing.B) {
	s := newSalon(b)
	for day := range 24 {
		if day%7 == 5 { // closed on Sundays
			continue
		}
		s.book(s.client(fmt.Sprint("Client", day)), tuesday(11, 0).AddDate(0, 0, day), []object{s.by(s.ben, "Root colour")})
	}
	for _, x := range []struct {
		name, how string
		visits    [][]object
	}{
		{"that fit", "side_by_side", [][]object{s.straightening(), {s.by(s.ben, "Cut and dry")}}},
		{"that do not", "arrive_together", [][]object{s.straightening(), s.straightening()}},
		{"of three", "one_after_other", [][]object{{s.by(s.ada, "Cut and dry")}, {s.by(s.ben, "Cut and dry")}, {s.by(s.ada, "Dry cut")}}},
	} {
		b.Run(x.name, func(b *testing.B) {
			var list []object
			for _, services := range x.visits {
				list = append(list, object{"services": services})
			}
			n := 0
			for b.Loop() {
				var out api.GroupOpeningsAnswer
				s.call("POST", "/v1/visit-groups/openings", object{"how": x.how, "limit": 100, "visits": list}).is(200, &out)
				n = len(out.Openings)
				if out.Next != nil {
					n = -n
				}
			}
			b.ReportMetric(float64(n), "openings")
		})
	}
}

func TestVisitsThatBelongTogetherLieFarApartIsSaidWithoutLookingThroughTheYears(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	at := start.Add(26 * time.Hour)
	for _, years := range []int{1, 100, 170} {
		far := at.AddDate(years, 0, 0)
		for _, how := range []string{"arrive_together", "side_by_side"} {
			p := s.groupCall(how, s.visitOf("Mara", at, s.by(s.ben, "Dry cut")), s.visitOf("Nora", far, s.by(s.ada, "Dry cut"))).refused(409, "conflict")
			require.Contains(t, p.Detail, map[string]string{"arrive_together": "minutes apart", "side_by_side": "not side by side"}[how])
		}
		p := s.groupCall("one_after_other", s.visitOf("Mara", far, s.by(s.ben, "Dry cut")), s.visitOf("Nora", at, s.by(s.ada, "Dry cut"))).refused(422, "invalid")
		require.Equal(t, "/visits/0/book/start", p.Errors[0].Pointer)
		require.Contains(t, p.Errors[0].Detail, "more than 62 days")
	}
	require.Equal(t, []string{"0"}, s.column(`SELECT count(*)::text FROM visit`))
}

func TestOneMayComeAsSoonAsTheOneBeforeLeavesWhileTheChairIsCleared(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for i, minutes := range []int{0, 10, 40} {
		how := "always"
		if minutes == 0 {
			how = "never"
		} else {
			s.column(`UPDATE unit SET changeover_minutes = ` + fmt.Sprint(minutes) + ` WHERE kind = 'chair' RETURNING ''`)
		}
		tag := s.call("GET", "/v1/booking-rules", nil).header.Get("ETag")
		s.call("PUT", "/v1/booking-rules", object{"hold_minutes": 10, "stylist_clears": how}, "If-Match", tag).is(200, nil)
		at := start.AddDate(0, 0, i).Add(26 * time.Hour)
		one, two := s.by(s.ben, "Dry cut"), s.by(s.ada, "Dry cut")
		answer := s.groupOpenings("one_after_other", at.Format(time.DateOnly), object{"limit": 3}, []object{one}, []object{two})
		require.NotEmpty(t, answer.Openings, minutes)
		o := answer.Openings[0]
		require.Equal(t, o.Visits[0].End, o.Visits[1].Start, "%d minutes: it is the stylist who stays", minutes)
		end := at.Add(o.Visits[0].End.Sub(o.Visits[0].Start))
		g := s.group("one_after_other", s.visitOf("Mara", at, one), s.visitOf("Nora", end, two))
		require.True(t, g.Kept, g.Words)
		require.Equal(t, g.Visits[0].End, g.Visits[1].Start)
	}
	s.sound()
}

func TestTimeThatIsKeptBelongsToNoVisits(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	at := start.Add(26 * time.Hour)
	var kept api.VisitBody
	a := s.keep("one", object{"unit_ids": []string{s.ada}, "start": at, "minutes": 20, "title": "the new dryer"})
	a.is(201, &kept)
	p := s.groupCall("arrive_together", object{"visit_id": kept.ID, "version": 1}, s.visitOf("Mara", at, s.by(s.ben, "Dry cut"))).refused(409, "conflict")
	require.Contains(t, p.Detail, "kept for something that is no visit")
	g := s.group("arrive_together", s.visitOf("Nora", at.Add(time.Hour), s.by(s.ben, "Dry cut")), s.visitOf("Olga", at.Add(time.Hour), s.by(s.ada, "Dry cut")))
	s.call("PUT", "/v1/visits/"+kept.ID+"/group", object{"group_id": g.ID}, "If-Match", a.header.Get("ETag")).refused(409, "conflict")
}

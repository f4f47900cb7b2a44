package api_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// cutAt is a dry cut with Ben that is booked for half past nine or so.
func cutAt(s *salon, at time.Time) *noting {
	s.t.Helper()
	v, tag := s.book(s.client("Nora"), at, []object{s.by(s.ben, "Dry cut")})
	return &noting{s, v.ID, tag, v}
}

func TestAVisitThatIsOverBeforeItsPlannedStartCanBeFinished(t *testing.T) {
	t.Parallel()
	for name, done := range map[string]func(x *noting) answer{
		"by the desk":  func(x *noting) answer { return x.press("finish") },
		"on the phone": func(x *noting) answer { return x.tap(object{"kind": "done"}) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := newSalon(t)
			x := cutAt(s, monday(12, 30))
			s.at(monday(11, 50))
			x.ok("arrive")
			s.at(monday(11, 55))
			x.ok(x.step("cut") + "start")
			s.at(monday(12, 20))
			done(x).is(map[string]int{"by the desk": 200, "on the phone": 201}[name], nil)
			var v api.VisitBody
			s.call("GET", "/v1/visits/"+x.id, nil).is(200, &v)
			require.Equal(t, "finished", v.State)
			require.Equal(t, "12:20", v.FinishedAt.Format("15:04"))
			require.Equal(t, "12:30", v.Start.Format("15:04"), "what was planned stays")
		})
	}
}

func TestAnEndThatCannotBeIsRefusedInTheTimeOfTheSalon(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := cutAt(s, monday(12, 30))
	s.at(monday(12, 0))
	p := x.press("finish").refused(422, "invalid")
	require.Contains(t, p.Errors[0].Expected, "note first that the client is here")
	x.ok("arrive")
	for at, want := range map[time.Time]string{monday(11, 55): "after 12:00", monday(12, 10): "not later than now, 12:00"} {
		p := x.call("POST", "/v1/visits/"+x.id+"/finish", object{"ended_at": at.UTC()}, "If-Match", x.tag).refused(422, "invalid")
		require.Contains(t, p.Errors[0].Detail, at.Format("15:04"))
		require.NotContains(t, p.Errors[0].Detail+p.Errors[0].Expected, "Z")
		require.Contains(t, p.Errors[0].Expected, want)
	}
	s.at(monday(12, 10))
	x.ok(x.step("cut")+"start", monday(12, 5))
	p = x.call("POST", "/v1/visits/"+x.id+"/finish", object{"ended_at": monday(12, 4).UTC()}, "If-Match", x.tag).refused(422, "invalid")
	require.Contains(t, p.Errors[0].Expected, "12:05 or later")
}

func TestAVisitThatIsOverEarlyFreesItsTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := cutAt(s, monday(10, 0))
	require.Equal(t, "10:30", x.v.End.Format("15:04"))
	s.at(monday(10, 1))
	x.ok("arrive")
	x.ok(x.step("cut") + "start")
	s.at(monday(10, 12))
	x.ok("finish")
	var day api.DayBody
	s.call("GET", "/v1/days/"+mondayDate, nil).is(200, &day)
	for _, u := range day.Units {
		for _, b := range u.Bookings {
			require.Equal(t, "10:12", b.To.Format("15:04"), u.Name)
			if u.Kind == "chair" {
				require.Equal(t, 3*time.Minute, b.ClearUntil.Sub(b.To), "the clearing after a cut stays")
			}
		}
	}
	var own api.PersonDayBody
	s.call("GET", "/v1/staff/"+s.ben+"/days/"+mondayDate, nil).is(200, &own)
	i := slices.IndexFunc(own.Items, func(k api.DayItemBody) bool { return k.Kind == "hands_on" })
	require.Equal(t, "10:12", own.Items[i].To.Format("15:04"))
	require.Equal(t, "gap", own.Items[i+1].Kind)

	// Ben is free at once, in the other chair.
	s.at(monday(10, 13))
	var v api.VisitBody
	s.walkIn("next", object{"service_id": s.services["Dry cut"], "given_name": "Vida", "lead_id": s.ben}).is(201, &v)
	require.Equal(t, "10:13", v.Start.Format("15:04"))
	var first api.VisitBody
	s.call("GET", "/v1/visits/"+x.id, nil).is(200, &first)
	require.Equal(t, "10:30", first.End.Format("15:04"), "what was planned stays")
	require.Equal(t, "10:30", first.Steps[0].End.Format("15:04"))
}

package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// until asks how late a visit can begin, of the visit and of its day.
func (s *salon) until(id, date string) *api.StartUntilBody {
	s.t.Helper()
	var v api.VisitBody
	s.call("GET", "/v1/visits/"+id, nil).is(200, &v)
	for _, o := range s.day(date).Visits {
		if o.ID == id {
			require.Equal(s.t, o.CanStartUntil, v.CanStartUntil, "the day says the same")
		}
	}
	return v.CanStartUntil
}

func TestAVisitCanStartUntilTheNextClientABreakOrClosing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), tuesday(10, 0), s.straightening()) // until 14:30
	u := s.until(v.ID, "2026-06-09")
	require.Equal(t, "closing", u.Limit)
	require.Equal(t, "closing at 18:00", u.Reason)
	require.Empty(t, u.UnitID)
	require.Equal(t, "13:30", u.At.Format("15:04"), "four and a half hours before six")
	require.False(t, u.Passed)
	require.NotEmpty(t, u.Then)

	next, tag := s.book(s.client("Nora"), tuesday(15, 0), []object{s.by(s.ada, "Dry cut")})
	u = s.until(v.ID, "2026-06-09")
	require.Equal(t, []string{"next_client", s.ada, "next client of Ada at 15:00"}, []string{u.Limit, u.UnitID, u.Reason})
	require.Equal(t, "10:30", u.At.Format("15:04"))
	last := s.until(next.ID, "2026-06-09")
	require.Equal(t, "closing at 18:00", last.Reason)
	require.Equal(t, "17:30", last.At.Format("15:04"))
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": u.At}, "If-Match", `"v1"`).is(200, nil)
	require.Equal(t, u.At, s.until(v.ID, "2026-06-09").At)

	s.call("POST", "/v1/visits/"+next.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	s.call("POST", "/v1/absences", object{"unit_id": s.ada, "from": tuesday(15, 30), "to": tuesday(16, 0)}).is(201, nil)
	u = s.until(v.ID, "2026-06-09")
	// She is away while Mina rinses and dries, 224 minutes after the beginning.
	require.Equal(t, "Ada is not there from 15:30", u.Reason)
	require.Equal(t, "11:46", u.At.Format("15:04"))
	s.call("POST", "/v1/absences", object{"unit_id": s.ada, "from": tuesday(10, 35), "to": tuesday(10, 40)}).is(201, nil)
	require.Nil(t, s.until(v.ID, "2026-06-09"), "it does not fit where it is booked")
}

// The day works out once what visits of one shape have in common.
func TestTheDayTellsVisitsOfOneServiceApart(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	short, _ := s.book(s.client("Mara"), tuesday(10, 0), []object{s.by(s.ada, "Dry cut")})
	long, _ := s.book(s.client("Nora"), tuesday(12, 0), []object{s.by(s.ada, "Dry cut")})
	other, _ := s.book(s.client("Lena"), tuesday(10, 0), []object{s.by(s.ben, "Dry cut")})
	for _, table := range []string{"visit", "visit_step"} {
		_, err := s.db().Exec(`UPDATE `+table+` SET ends_at = ends_at + interval '15 minutes' WHERE visit_id = $1`, long.ID)
		require.NoError(t, err)
	}
	for id, want := range map[string]string{short.ID: "11:30", long.ID: "17:15", other.ID: "17:30"} {
		require.Equal(t, want, s.until(id, "2026-06-09").At.Format("15:04"))
	}
}

func TestHowLateAVisitCanStartMattersUntilItBegins(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	s.book(s.client("Nora"), monday(13, 45), []object{s.by(s.ada, "Dry cut")})
	u := s.until(x.id, mondayDate)
	require.Equal(t, "09:15", u.At.Format("15:04"))
	s.at(u.At)
	require.False(t, s.until(x.id, mondayDate).Passed)
	s.at(u.At.Add(time.Minute))
	require.True(t, s.until(x.id, mondayDate).Passed)
	x.ok("arrive")
	u = s.until(x.id, mondayDate)
	require.True(t, u.Passed)
	require.Equal(t, "do less, move the visit or rebook it", u.Then)
	x.ok(x.step("talk") + "start")
	require.Nil(t, s.until(x.id, mondayDate))
	x.ok(x.step("talk") + "undo")
	require.NotNil(t, s.until(x.id, mondayDate))
	s.at(monday(13, 30))
	require.Nil(t, s.until(x.id, mondayDate), "it would be over")
}

func TestAVisitInTheNightCanStartUntilTheMorning(t *testing.T) {
	s := nightSalon(t)
	v, _ := s.book(s.client("Mara"), time.Date(2026, 6, 13, 22, 0, 0, 0, berlin(t)), s.straightening())
	u := s.until(v.ID, "2026-06-13")
	require.Equal(t, "closing at 06:00", u.Reason)
	require.Equal(t, "2026-06-14T01:30:00+02:00", u.At.Format(time.RFC3339))
	require.Equal(t, u, s.until(v.ID, "2026-06-14"))
	d := s.delays("2026-06-13")
	require.Len(t, d.Visits, 1)
	require.Empty(t, d.Broken)
	require.Len(t, s.delays("2026-06-14").Visits, 1)
	s.at(time.Date(2026, 6, 14, 2, 0, 0, 0, berlin(t)))
	d = s.delays("2026-06-14")
	require.Equal(t, "closing", d.Broken[0].Kind)
	require.Equal(t, 240, d.Visits[0].StartLateMinutes)
}

func TestTheDeskIsAskedWhetherALateClientCame(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := today(s)
	later, _ := s.book(s.client("Nora"), monday(14, 0), []object{s.by(s.ben, "Dry cut")})
	ask := func() []api.AskCameBody { return s.day(mondayDate).AskCame }
	s.at(monday(9, 19))
	require.Empty(t, ask())
	s.at(monday(9, 20))
	require.Len(t, ask(), 1)
	require.Equal(t, []string{x.id, "Mara Q."}, []string{ask()[0].VisitID, ask()[0].Name})
	require.Contains(t, ask()[0].Words, "Mara Q. was booked for 09:00")
	require.Equal(t, "booked", s.day(mondayDate).Visits[0].State, "nobody decides it for the desk")
	a := s.call("GET", "/v1/booking-rules", nil).is(200, nil)
	s.call("PUT", "/v1/booking-rules", object{"hold_minutes": 10, "missed_after_minutes": 45}, "If-Match", a.header.Get("ETag")).is(200, nil)
	require.Empty(t, ask())
	s.at(monday(9, 45))
	require.Len(t, ask(), 1)
	x.ok("arrive")
	require.Empty(t, ask())
	s.at(later.Start.AddDate(0, 0, 1))
	require.Len(t, ask(), 1, "and still the next day")
	for _, wrong := range []int{-1, 241} {
		p := s.call("PUT", "/v1/booking-rules", object{"hold_minutes": 10, "missed_after_minutes": wrong}, "If-Match", a.header.Get("ETag")).refused(422, "invalid")
		require.Contains(t, pointers(p)[0], "missed_after_minutes")
	}
}

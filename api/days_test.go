package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func (s *salon) day(date string) api.DayBody {
	s.t.Helper()
	var d api.DayBody
	s.call("GET", "/v1/days/"+date, nil).is(200, &d)
	return d
}

// unit finds one person or station of a day.
func unit(d api.DayBody, id string) api.DayUnitBody {
	for _, u := range d.Units {
		if u.UnitID == id {
			return u
		}
	}
	return api.DayUnitBody{}
}

func TestADayShowsHoursPeopleStationsAndVisits(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	d := s.day("2026-06-09")
	require.Equal(t, "Europe/Berlin", d.TimeZone)
	require.True(t, start.Equal(d.AsOf))
	require.Len(t, d.Open, 1)
	require.Equal(t, "09:00 18:00", d.Open[0].From.Format("15:04 ")+d.Open[0].To.Format("15:04"))
	require.Len(t, d.Units, 6)
	require.Equal(t, []string{"stylist", "stylist", "assistant", "chair", "chair", "basin"},
		[]string{d.Units[0].Kind, d.Units[1].Kind, d.Units[2].Kind, d.Units[3].Kind, d.Units[4].Kind, d.Units[5].Kind})
	require.Len(t, d.Visits, 1)
	require.Equal(t, v.ID, d.Visits[0].ID)
	chair := unit(d, v.ChairID)
	require.Len(t, chair.Bookings, 1)
	require.True(t, v.Start.Equal(chair.Bookings[0].From) && v.End.Equal(chair.Bookings[0].To))
	require.Equal(t, 10*time.Minute, chair.Bookings[0].ClearUntil.Sub(v.End), "a chair is cleaned after chemical work")
	ada := unit(d, s.ada)
	require.Len(t, ada.Core, 1, "from application to second rinse nothing may interrupt")
	require.Equal(t, "09:39 12:52", ada.Core[0].From.Format("15:04 ")+ada.Core[0].To.Format("15:04"))
	require.Empty(t, unit(d, s.ben).Bookings)
	require.Empty(t, s.day("2026-06-10").Visits)
	require.Empty(t, s.day("2026-06-14").Open, "Sunday")
}

func TestWhatIsPutOverAVisitIsListedAndNotUndone(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	require.Empty(t, s.day("2026-06-09").Conflicts)

	var absence api.AbsenceBody
	s.call("POST", "/v1/absences", object{"unit_id": s.ada, "from": "2026-06-09T12:00:00+02:00", "to": "2026-06-09T12:30:00+02:00"}).is(201, &absence)
	require.Equal(t, []string{v.ID}, absence.Conflicts)
	conflicts := s.day("2026-06-09").Conflicts
	require.NotEmpty(t, conflicts)
	for _, c := range conflicts {
		require.Contains(t, c, "M. Q. 09:00: Ada is not there from ")
		require.NotContains(t, c, "Mara")
	}
	s.call("DELETE", "/v1/absences/"+absence.ID, nil).is(204, nil)
	require.Empty(t, s.day("2026-06-09").Conflicts)

	// An absence that meets none of Ada's work is no conflict.
	s.call("POST", "/v1/absences", object{"unit_id": s.ada, "from": "2026-06-09T13:30:00+02:00", "to": "2026-06-09T18:00:00+02:00"}).is(201, &absence)
	require.Empty(t, s.day("2026-06-09").Conflicts)

	var hours api.HoursBody
	a := s.call("GET", "/v1/hours", nil).is(200, &hours)
	hours.Open[1].To = "13:00"
	s.call("PUT", "/v1/hours", hours, "If-Match", a.header.Get("ETag")).is(200, nil)
	require.Equal(t, []string{"M. Q. 09:00: the salon is not open for the whole visit"}, s.day("2026-06-09").Conflicts)
	s.call("POST", "/v1/closures", object{"first_date": "2026-06-09", "last_date": "2026-06-09"}).is(201, nil)
	require.Greater(t, len(s.day("2026-06-09").Conflicts), 1, "now nobody is there either")
	var same api.VisitBody
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &same)
	require.Equal(t, v, same, "the visit itself is as it was")

	// A visit that is in conflict can be moved out of it, or cancelled.
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(24 * time.Hour)}, "If-Match", tag).is(200, nil)
	require.Empty(t, s.day("2026-06-09").Conflicts)
}

func TestNoVisitIsBookedIntoAnAbsenceThatComesAtTheSameMoment(t *testing.T) {
	t.Parallel()
	for i := range 6 {
		s := newSalon(t)
		client := s.client("Mara")
		answers := s.atOnce(2, func(k int) request {
			if k == i%2 {
				return request{"POST", "/v1/absences", object{"unit_id": s.ada, "from": "2026-06-09T09:00:00+02:00", "to": "2026-06-09T12:00:00+02:00"}, nil}
			}
			return request{"POST", "/v1/visits", object{"client_id": client, "start": start.Add(25 * time.Hour), "services": s.straightening(), "approved_by": "Ada"}, []string{"Idempotency-Key", "k"}}
		})
		var absence api.AbsenceBody
		answers[i%2].is(201, &absence)
		if booked := answers[1-i%2]; booked.status == 201 {
			require.Len(t, absence.Conflicts, 1, "whoever came second was told")
		} else {
			booked.refused(409, "taken")
			require.Empty(t, absence.Conflicts)
		}
	}
}

package owner_test

import (
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/owner"
	"chairblock/api/web/webtest"
)

// slowUse adds up what the days of a report show, one after the other.
func slowUse(t testing.TB, s *webtest.Salon, first, last string) (booked, open map[string]int) {
	t.Helper()
	booked, open = map[string]int{}, map[string]int{}
	from, err := time.Parse(time.DateOnly, first)
	require.NoError(t, err)
	for d := from; d.Format(time.DateOnly) <= last; d = d.AddDate(0, 0, 1) {
		var day api.DayBody
		s.Ask(http.MethodGet, "/days/"+d.Format(time.DateOnly), nil, http.StatusOK, &day)
		for _, u := range day.Units {
			for _, b := range u.Bookings {
				booked[u.UnitID] += int(b.To.Sub(b.From) / time.Minute)
			}
			windows := u.Open
			if u.Kind == "chair" || u.Kind == "basin" {
				windows = day.Open
			}
			for _, w := range windows {
				for m := w.From; m.Before(w.To); m = m.Add(time.Minute) {
					free := true
					for _, b := range u.Breaks {
						free = free && !(!m.Before(b.From) && m.Before(b.To))
					}
					if free {
						open[u.UnitID]++
					}
				}
			}
		}
	}
	return booked, open
}

// week0 is a standing week as one of weeks that take turns.
func week0(week api.StaffHoursBody) webtest.Object {
	return webtest.Object{"work": week.Work, "breaks": week.Breaks}
}

func TestTheReportIsTheSumOfTheDays(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	s.Crowd(1000)
	// A break of every day, an absence that lies over it, a chair out of order and
	// a closing day.
	var week api.StaffHoursBody
	h := s.Ask(http.MethodGet, "/staff/"+s.Ada+"/hours", nil, http.StatusOK, &week)
	for d := 1; d <= 6; d++ {
		week.Breaks = append(week.Breaks, api.WindowBody{Weekday: d, From: "13:00", To: "13:30"})
	}
	s.Ask(http.MethodPut, "/staff/"+s.Ada+"/hours", week, http.StatusOK, nil, "If-Match", h.Get("ETag"))
	for unit, span := range map[string][2]string{s.Ada: {"2026-06-02T13:15:00+01:00", "2026-06-02T16:00:00+01:00"}, s.Chairs[2]: {"2026-06-01T00:00:00+01:00", "2026-06-03T00:00:00+01:00"}} {
		s.Ask(http.MethodPost, "/absences", webtest.Object{"unit_id": unit, "from": span[0], "to": span[1]}, http.StatusCreated, nil)
	}
	// Ben works otherwise for some days, and on one of them not at all.
	short := webtest.Object{"work": []webtest.Object{{"weekday": 3, "from": "10:00", "to": "16:00"}, {"weekday": 6, "from": "20:00", "to": "02:00"}}, "breaks": []webtest.Object{}}
	s.Ask(http.MethodPost, "/staff/"+s.Ben+"/rotas", webtest.Object{"first_date": "2026-05-25", "last_date": "2026-06-06", "weeks": []webtest.Object{week0(week), short}}, http.StatusCreated, nil)
	s.Ask(http.MethodPost, "/staff/"+s.Ben+"/single-days", webtest.Object{"date": "2026-05-27", "work": []webtest.Object{}, "breaks": []webtest.Object{}}, http.StatusCreated, nil)
	s.Ask(http.MethodPost, "/closures", webtest.Object{"first_date": "2026-06-04", "last_date": "2026-06-04"}, http.StatusCreated, nil)
	var r api.SalonReportBody
	s.Ask(http.MethodGet, "/reports/salon?months=1", nil, http.StatusOK, &r)
	require.Equal(t, "2026-06-07", r.Last)
	booked, open := slowUse(t, s, r.First, r.Last)
	require.NotEmpty(t, r.Units)
	chairs, stylists := api.UseBody{}, api.UseBody{}
	for _, u := range r.Units {
		require.Equal(t, booked[u.UnitID], u.BookedMinutes, u.Name)
		require.Equal(t, open[u.UnitID], u.OpenMinutes, u.Name)
		switch u.Kind {
		case "chair":
			chairs.BookedMinutes, chairs.OpenMinutes = chairs.BookedMinutes+u.BookedMinutes, chairs.OpenMinutes+u.OpenMinutes
		case "stylist":
			stylists.BookedMinutes, stylists.OpenMinutes = stylists.BookedMinutes+u.BookedMinutes, stylists.OpenMinutes+u.OpenMinutes
		}
	}
	require.Positive(t, chairs.BookedMinutes)
	for i := range 2 { // the weeks and the weekdays are the same minutes
		var c, st api.UseBody
		add := func(a, b api.UseBody) {
			c.BookedMinutes, c.OpenMinutes = c.BookedMinutes+a.BookedMinutes, c.OpenMinutes+a.OpenMinutes
			st.BookedMinutes, st.OpenMinutes = st.BookedMinutes+b.BookedMinutes, st.OpenMinutes+b.OpenMinutes
		}
		if i == 0 {
			for _, w := range r.Weeks {
				add(w.Chairs, w.Stylists)
			}
		} else {
			for _, w := range r.Weekdays {
				add(w.Chairs, w.Stylists)
			}
		}
		require.Equal(t, [2]int{chairs.BookedMinutes, chairs.OpenMinutes}, [2]int{c.BookedMinutes, c.OpenMinutes})
		require.Equal(t, [2]int{stylists.BookedMinutes, stylists.OpenMinutes}, [2]int{st.BookedMinutes, st.OpenMinutes})
	}
}

func TestTheReportSaysWhoDidNotComeAndHowFarAheadVisitsAreBooked(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	var ids []string
	for i := range 3 {
		var v api.VisitBody
		s.Ask(http.MethodPost, "/visits", webtest.Object{"client_id": s.Client(fmt.Sprint("Ines", i), "Wren"), "start": tuesday.Add(time.Duration(i) * time.Hour),
			"services": []webtest.Object{{"service_id": s.Services["Dry cut"], "lead_id": s.Ben}}}, http.StatusCreated, &v)
		ids = append(ids, v.ID)
	}
	s.Ask(http.MethodPost, "/visits/"+ids[2]+"/cancel", webtest.Object{}, http.StatusOK, nil, "If-Match", `"v1"`)
	s.At(tuesday.Add(45 * time.Minute))
	s.Ask(http.MethodPost, "/visits/"+ids[0]+"/miss", nil, http.StatusOK, nil, "If-Match", `"v1"`)
	s.At(tuesday.AddDate(0, 0, 1))
	var r api.SalonReportBody
	s.Ask(http.MethodGet, "/reports/salon", nil, http.StatusOK, &r)
	require.Equal(t, []api.MonthCountBody{{Month: "2026-06", Missed: 1, Cancelled: 1}}, r.Months)
	require.Equal(t, "2026-06-01", r.First, "a salon that has just begun was not idle before")
	n := 0
	for _, b := range r.Ahead.Bins {
		n += b.Visits
	}
	require.Equal(t, r.Ahead.Visits, n)
}

// The page of the charts in a salon with years of visits, and what it asks for.
func BenchmarkPaceAndPromiseOfTenThousandVisits(b *testing.B) {
	s := webtest.New(b, owner.Mount)
	n := s.Crowd(10_000)
	b.Run("report", func(b *testing.B) {
		for b.Loop() {
			s.Ask(http.MethodGet, "/reports/salon", nil, http.StatusOK, nil)
		}
		b.ReportMetric(float64(n), "visits")
	})
	b.Run("what is hit", func(b *testing.B) {
		for b.Loop() {
			s.Ask(http.MethodPost, "/changes/preview", webtest.Object{"absence": webtest.Object{"unit_id": s.Ada, "from": "2026-06-16T08:00:00+01:00", "to": "2026-06-16T20:00:00+01:00"}}, http.StatusOK, nil)
		}
	})
	b.Run("set-up", func(b *testing.B) {
		for b.Loop() {
			s.Ask(http.MethodGet, "/set-up", nil, http.StatusOK, nil)
		}
	})
}

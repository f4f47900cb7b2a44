package client_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/web/webtest"
)

func TestTheHoursAfterAVisitAreRealHoursOverTheChangeOfClocks(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	// Clocks go back on Sunday 25 October at two in the morning.
	start := time.Date(2026, 10, 24, 8, 0, 0, 0, time.UTC)
	end := time.Date(2026, 10, 24, 13, 5, 0, 0, time.UTC) // 14:05 by the clock on the wall
	s.At(end)
	x := over(t, s, mara, start, end)
	s.At(end.Add(24 * time.Hour))
	v := enter(t, s, mara)
	p := v.get("/own/visits/"+x.ID+"/care").says(http.StatusOK, "Hair dry and untied until Monday 26 October, 13:05", "The clocks go back in between",
		`data-until="2026-10-26T13:05:00Z"`, `data-now="2026-10-25T13:05:00Z"`, "If it gets wet or you sweat", "call 112 at once", "between Tuesday 27 October and Saturday 31 October")
	require.NotContains(t, p.text, "Your first wash<")
	v.get("/own").says(http.StatusOK, "Hair dry and untied until Monday 26 October, 13:05", "Coming again")

	s.At(end.Add(49 * time.Hour))
	v = enter(t, s, mara)
	p = v.get("/own/visits/"+x.ID+"/care").says(http.StatusOK, "Over: your hair may be washed and tied again", "The hours after your visit are over", "Your first wash")
	require.NotContains(t, p.text, "data-until")
}

func TestTwoTimesAreShownWhereTiesWaitLonger(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	h := s.Ask(http.MethodGet, "/care-rules", nil, http.StatusOK, nil)
	s.Ask(http.MethodPut, "/care-rules", object{"keep_dry_hours": 48, "no_tie_hours": 72}, http.StatusOK, nil, "If-Match", h.Get("ETag"))
	end := time.Date(2026, 6, 9, 13, 0, 0, 0, time.UTC)
	s.At(end)
	x := over(t, s, mara, end.Add(-5*time.Hour), end)
	s.At(end.Add(50 * time.Hour))
	v := enter(t, s, mara)
	v.get("/own/visits/"+x.ID+"/care").says(http.StatusOK, "Hair dry until Thursday 11 June, 14:00", "Over: your hair may get wet again", "Hair untied until Friday 12 June, 14:00",
		`data-until="2026-06-12T13:00:00Z"`)
}

package api_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestTheWeekOffersNobodyWhileTheSalonIsShut(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var hours any
	tag := s.call("GET", "/v1/hours", nil).is(200, &hours).header.Get("ETag")
	s.call("PUT", "/v1/hours", object{"open": []object{{"weekday": 1, "from": "11:00", "to": "16:00"}}}, "If-Match", tag).is(200, nil)
	var w api.SevenDaysBody
	s.call("GET", "/v1/weeks/"+mondayDate, nil).is(200, &w)
	found := 0
	for _, d := range w.Days {
		for _, p := range d.People {
			for _, f := range p.Free {
				found++
				require.Equal(t, mondayDate, d.Date)
				require.Equal(t, "11:00 16:00", f.From.Format("15:04")+" "+f.To.Format("15:04"), p.Name)
			}
		}
	}
	require.Positive(t, found)
}

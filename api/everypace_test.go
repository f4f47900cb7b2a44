package api_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// byLead asks for openings with one stylist in charge.
func (s *salon) byLead(lead string, more object) api.OpeningsAnswer {
	s.t.Helper()
	return s.openings([]object{s.by(lead, "Straightening")}, more)
}

// TestEveryOpeningHasTheMinutesOfItsStylist lets one of three stylists work more
// slowly than the salon, and holds the openings that are asked for without a
// stylist against those asked for with each of them, which is how they are booked.
func TestEveryOpeningHasTheMinutesOfItsStylist(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.at(s.ironed(start.AddDate(0, 0, 2), 14, 1.3))
	s.refit()
	leads := map[string]string{"Ada": s.ada, "Cleo": s.colleague("Cleo", "straightening"), "Dee": s.colleague("Dee", "straightening")}
	// On one of the days Ada alone is there.
	day := s.clock.Load().In(berlin(t)).AddDate(0, 0, 3)
	for day.Weekday() == time.Sunday || day.Weekday() == time.Saturday {
		day = day.AddDate(0, 0, 1)
	}
	for _, name := range []string{"Cleo", "Dee"} {
		s.call("POST", "/v1/absences", object{"unit_id": leads[name], "from": day.Format("2006-01-02T00:00:00Z07:00"), "to": day.AddDate(0, 0, 1).Format("2006-01-02T00:00:00Z07:00")}).is(201, nil)
	}
	ask := object{"first_date": day.Format(time.DateOnly), "last_date": day.AddDate(0, 0, 1).Format(time.DateOnly), "limit": 200}
	soonest := s.openings(s.straightening(), ask)
	type at struct{ start, end, lead string }
	each := map[at]bool{}
	ends := map[string]string{}
	for _, lead := range leads {
		for _, o := range s.byLead(lead, ask).Openings {
			start, end := o.Start.Format(time.RFC3339), o.End.Format(time.RFC3339)
			each[at{start, end, o.LeadID}] = true
			if ends[start] == "" || end < ends[start] {
				ends[start] = end
			}
		}
	}
	offered := map[string]bool{}
	for _, o := range soonest.Openings {
		start, end := o.Start.Format(time.RFC3339), o.End.Format(time.RFC3339)
		require.True(t, each[at{start, end, o.LeadID}], "%+v", o)
		require.Equal(t, ends[start], end, "whoever is through first")
		require.Equal(t, o.End.Sub(o.Start), time.Duration(o.Minutes+o.WaitMinutes)*time.Minute)
		offered[o.LeadName] = true
	}
	require.Len(t, ends, len(soonest.Openings))
	require.Equal(t, len(ends), soonest.Count, "every start once")
	require.True(t, offered["Ada"], "on the day when nobody else is there")
	require.NotEqual(t, s.byLead(s.ada, ask).Minutes, soonest.Minutes)

	ask["order"] = "best"
	best := s.openings(s.straightening(), ask)
	require.Equal(t, soonest.Count, best.Count)
	names := map[string]bool{}
	cost := 0.0
	for _, o := range best.Openings {
		require.True(t, each[at{o.Start.Format(time.RFC3339), o.End.Format(time.RFC3339), o.LeadID}], "%+v", o)
		require.GreaterOrEqual(t, o.Rank.Cost, cost)
		cost = o.Rank.Cost
		names[o.LeadName] = true
	}
	require.Len(t, names, 3)
	hers := best.Openings[0]
	for _, o := range best.Openings {
		if o.LeadID == s.ada {
			hers = o
		}
	}
	v, _ := s.book(s.client("Mara"), hers.Start, []object{s.by(s.ada, "Straightening")})
	require.True(t, hers.End.Equal(v.End))

	// At the salon's pace, where that is asked for.
	x := s.straightening()
	x[0]["pace"] = "salon"
	for _, o := range s.openings(x, ask).Openings {
		require.Equal(t, soonest.Minutes, o.Minutes)
	}
	s.setPace(object{"off": true}).is(200, nil)
	for _, o := range s.openings(s.straightening(), ask).Openings {
		require.Equal(t, 270, o.Minutes)
	}
}

// BenchmarkOpeningsAtEveryPace asks for openings with 3 and 10 stylists, each with
// a pace of her own, over four weeks.
func BenchmarkOpeningsAtEveryPace(b *testing.B) {
	s := newSalon(b)
	s.twoYears()
	s.at(start.AddDate(0, 0, 3))
	require.NoError(b, s.server.Refit(b.Context(), s.row.ID))
	for name, x := range map[string]object{"one named": s.by(s.ada, "Straightening"), "anybody": s.straightening()[0]} {
		for _, order := range []string{"soonest", "best"} {
			b.Run(name+" "+order, func(b *testing.B) {
				body, err := json.Marshal(object{"services": []object{x}, "order": order})
				require.NoError(b, err)
				var d durations
				for b.Loop() {
					d.ask(b, s, "POST", "/v1/openings", body)
				}
				d.report(b)
			})
		}
	}
}

package api_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestConstantsOfTheSalonChangeItsEstimates(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	estimate := func() api.EstimateBody {
		var e api.EstimateAnswer
		s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": hair()}).is(201, &e)
		return e.Estimate
	}
	before := estimate()
	require.InDelta(t, 231.13565, before.Total.MeanMinutes, 1e-5) // derived twice by independent programs
	var row api.SalonBody
	a := s.call("GET", "/v1/salon", nil).is(200, &row)
	row.ChairTime = map[string]float64{"press_medium_seconds": 3.5}
	s.call("PUT", "/v1/salon", row, "If-Match", a.header.Get("ETag")).is(200, &row)
	require.Equal(t, map[string]float64{"press_medium_seconds": 3.5}, row.ChairTime)
	// 1,144 presses, each a second longer.
	require.InDelta(t, before.Total.MeanMinutes+1144.0/60, estimate().Total.MeanMinutes, 1e-5)
	seen := 0
	for _, x := range s.settings() {
		require.NotEmpty(t, x.Unit+x.Source)
		require.True(t, x.Min <= x.Value && x.Value <= x.Max, x.Name)
		if x.Value != x.Default {
			require.Equal(t, "press_medium_seconds", x.Name)
			seen++
		}
	}
	require.Equal(t, 1, seen)
}

func TestEveryConstantIsHeldToItsRange(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var row api.SalonBody
	s.call("GET", "/v1/salon", nil).is(200, &row)
	before := s.tables()()
	for _, x := range s.settings() {
		for _, v := range []float64{x.Min - 0.5, x.Max + 0.5} {
			row.ChairTime = map[string]float64{x.Name: v}
			p := s.call("PUT", "/v1/salon", row, "If-Match", `"v1"`).refused(422, "invalid")
			require.Equal(t, "body /chair_time/"+x.Name, pointers(p)[0], "%v", v)
		}
	}
	row.ChairTime = map[string]float64{"press": 2, "no/such~name": 1}
	p := s.call("PUT", "/v1/salon", row, "If-Match", `"v1"`).refused(422, "invalid")
	require.ElementsMatch(t, []string{"body /chair_time/press", "body /chair_time/no~1such~0name"}, pointers(p))
	require.Equal(t, before, s.tables()())
}

func TestTheTelephoneAnswerIsTheOneOfTheTable(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var a api.PhoneAnswerBody
	// Derived: shoulder, average, untreated hair of a new client.
	s.call("POST", "/v1/estimates/phone", object{"reach": "shoulder", "ponytail": "average", "history": []string{"nothing"}}).is(200, &a)
	require.InDelta(t, 191, a.P20Minutes, 3)
	require.InDelta(t, 260, a.P80Minutes, 3)
	require.Equal(t, 270, a.KeepMinutes)
	require.False(t, a.OnlyConsultation)
	s.call("POST", "/v1/estimates/phone", object{"reach": "shoulder"}).is(200, &a)
	require.True(t, a.OnlyConsultation, "not sure counts as yes")
	require.Equal(t, 45, a.ConsultationMinutes)
	require.NotEmpty(t, a.Words)
	require.NotEmpty(t, a.Safety)
}

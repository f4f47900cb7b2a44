package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestAHeadBecomesABookedVisit(t *testing.T) {
	s := newSalon(t)
	client := s.client("Mara")

	var e api.EstimateAnswer
	s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "client_id": client, "hair": hair()}).is(201, &e)
	require.InDelta(t, 231.13565, e.Estimate.Total.MeanMinutes, 0.01) // derived twice by independent programs
	require.Equal(t, 270, e.Estimate.BlockMinutes)

	services := []object{{"service_id": s.services["Straightening"], "estimate_id": e.ID}}
	open := s.openings(services, object{"first_date": "2026-06-08", "last_date": "2026-06-08"})
	require.NotEmpty(t, open.Openings)
	first := open.Openings[0]
	require.Equal(t, "Ada", first.LeadName)
	require.Equal(t, "2026-06-08T09:00:00+02:00", first.Start.Format(time.RFC3339))
	require.Equal(t, 270*time.Minute, first.End.Sub(first.Start))
	require.Equal(t, first.End.Add(48*time.Hour), *first.KeepDryUntil)

	v, tag := s.book(client, first.Start, services)
	require.Equal(t, `"v1"`, tag)
	require.Equal(t, "booked", v.State)
	require.Len(t, v.Steps, 14)
	require.Len(t, v.Reminders, 1, "a visit of this morning gets a confirmation and no reminder")

	again := s.openings(services, object{"first_date": "2026-06-08", "last_date": "2026-06-08"})
	require.Less(t, again.Count, open.Count)
}

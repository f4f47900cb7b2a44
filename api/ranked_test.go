package api_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// best asks for ranked openings.
func (s *salon) best(services []object, more object) api.OpeningsAnswer {
	s.t.Helper()
	more["order"] = "best"
	return s.openings(services, more)
}

func TestRankedOpeningsSayWhyAndCanBeBooked(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.busy(rand.New(rand.NewPCG(5, 6)), 20)
	days := object{"first_date": "2026-06-10", "last_date": "2026-06-16", "limit": 8}
	all := s.openings(s.straightening(), days)
	a := s.best(s.straightening(), days)
	require.Equal(t, all.Count, a.Count, "the order changes nothing of what fits")
	require.NotEmpty(t, a.Openings)
	require.True(t, slices.IsSortedFunc(a.Openings, func(a, b api.OpeningBody) int { return int(100 * (a.Rank.Cost - b.Rank.Cost)) }))
	again := s.best(s.straightening(), days)
	require.Equal(t, a.Openings, again.Openings, "the same question has the same answer")
	for _, o := range a.Openings {
		r := o.Rank
		require.InDelta(t, r.Cost, r.Lost+r.Wish+r.OtherLead+r.Stay+r.Slack+r.Later, 0.04, "the parts are the whole")
		require.Contains(t, o.Words, r.Words)
		require.Len(t, r.Room, 3)
		require.Zero(t, o.Start.Minute()%15)
	}
	saysRoomWhereItDiffers(t, a.Openings)
	o := a.Openings[0]
	v, _ := s.book(s.client("Nora"), o.Start, []object{{"service_id": s.services["Straightening"], "hair": hair(), "lead_id": o.LeadID}})
	require.True(t, v.End.Equal(o.End))
}

// saysRoomWhereItDiffers looks at whether openings say for what they leave room just
// where most of the others leave another.
func saysRoomWhereItDiffers(t *testing.T, list []api.OpeningBody) {
	t.Helper()
	after := func(o api.OpeningBody) (s string) {
		for _, x := range o.Rank.Room {
			s += fmt.Sprintf("%s %d, ", x.Name, x.After)
		}
		return s
	}
	count, said := map[string]int{}, map[string]bool{}
	for _, o := range list {
		count[after(o)]++
		said[after(o)] = said[after(o)] || strings.Contains(o.Words, "leaves ")
	}
	silent := 0
	for k, says := range said {
		if !says {
			silent++
			for other, n := range count {
				require.LessOrEqual(t, n, count[k], "%s is said, and as frequent as %s", other, k)
			}
		}
	}
	require.Equal(t, 1, silent, "what most leave is not said: %v", count)
}

func TestOpeningsThatLeaveTheSameRoomDoNotSaySo(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	a := s.best(s.cut(), object{"first_date": "2026-06-10", "last_date": "2026-06-16", "limit": 3})
	require.Len(t, a.Openings, 3)
	for _, o := range a.Openings {
		require.Equal(t, a.Openings[0].Rank.Room, o.Rank.Room)
		require.NotContains(t, o.Words, "room for")
		require.NotContains(t, o.Words, "; ;")
	}
}

func TestAWishLeadsTheRanking(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	days := object{"first_date": "2026-06-10", "last_date": "2026-06-12", "limit": 5}
	o := s.best(s.cut(), object{"first_date": days["first_date"], "last_date": days["last_date"], "wish_time": "14:10", "wish_lead_id": s.ben}).Openings[0]
	require.Equal(t, s.ben, o.LeadID)
	require.Equal(t, "14:15", o.Start.Format("15:04"), "the nearest start on the grid")
	require.Contains(t, o.Words, "5 min from the wished time")
	for _, end := range []string{"11:00", "18:00"} {
		for _, o := range s.best(s.cut(), object{"first_date": "2026-06-10", "end_by": end, "wish_time": "14:00"}).Openings {
			require.LessOrEqual(t, o.End.Format("15:04"), end)
		}
	}
}

// TestTheUsualMixDecides has a salon that asks for long visits only: a cut then
// goes where it breaks none of the long stretches.
func TestTheUsualMixDecides(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	tag := s.call("GET", "/v1/booking-rules", nil).header.Get("ETag")
	long := object{"service_id": s.services["Straightening"], "hair": hair(), "per_day": 4}
	s.call("PUT", "/v1/booking-rules", object{"hold_minutes": 10, "usual_mix": []object{long}}, "If-Match", tag).is(200, nil)
	a := s.best(s.cut(), object{"first_date": "2026-06-10", "last_date": "2026-06-10", "limit": 200})
	lost := map[float64]int{}
	for _, o := range a.Openings {
		lost[o.Rank.Lost]++
		require.Len(t, o.Rank.Room, 1)
		require.Equal(t, "straightening", o.Rank.Room[0].Name)
	}
	require.Greater(t, len(lost), 1, "some cuts cost a long visit and some none: %v", lost)
	require.Zero(t, a.Openings[0].Rank.Lost)
	at := a.Openings[0].Start
	require.Equal(t, time.Date(2026, 6, 10, at.Hour(), at.Minute(), 0, 0, at.Location()), at)
}

func TestAFaultyRankingIsRefused(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for _, x := range []struct {
		more    object
		pointer string
	}{
		{object{"wish_time": "10:00"}, "/order"},
		{object{"order": "best", "wish_time": "25:00"}, "/wish_time"},
		{object{"order": "best", "wish_lead_id": s.mina}, "/wish_lead_id"},
		{object{"order": "best", "wish_lead_id": "nobody"}, "/wish_lead_id"},
	} {
		x.more["services"] = s.cut()
		p := s.call("POST", "/v1/openings", x.more).refused(422, "invalid")
		require.Equal(t, x.pointer, p.Errors[0].Pointer)
	}
	for _, x := range []struct {
		rules   object
		pointer string
	}{
		{object{"usual_mix": []object{{"service_id": "none", "per_day": 1}}}, "/usual_mix/0/service_id"},
		{object{"usual_mix": []object{{"service_id": s.services["Straightening"], "per_day": 1}}}, "/usual_mix/0/hair"},
		{object{"usual_mix": []object{{"service_id": s.services["Dry cut"], "per_day": 1, "hair": hair()}}}, "/usual_mix/0/hair"},
		{object{"usual_mix": []object{{"service_id": s.services["Dry cut"], "per_day": 0}}}, "/usual_mix/0/per_day"},
		{object{"ranking": object{"lost": 1, "wish_per_hour": -1, "other_lead": 1, "stay_per_hour": 1, "no_slack": 1, "later_per_day": 0, "slack_cap_minutes": 10}}, "/ranking/wish_per_hour"},
	} {
		x.rules["hold_minutes"] = 10
		p := s.call("PUT", "/v1/booking-rules", x.rules, "If-Match", `"v1"`).refused(422, "invalid")
		require.Equal(t, x.pointer, p.Errors[0].Pointer)
	}
}

// TestAUsualMixOutlivesItsServices changes what the mix names, once it is set.
func TestAUsualMixOutlivesItsServices(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mix := []object{{"service_id": s.services["Dry cut"], "per_day": 2},
		{"service_id": s.services["Straightening"], "hair": hair(), "per_day": 1}}
	s.call("PUT", "/v1/booking-rules", object{"hold_minutes": 10, "usual_mix": mix}, "If-Match", `"v1"`).is(200, nil)
	s.call("PUT", "/v1/services/"+s.services["Dry cut"], object{"name": "Dry cut", "skill": "cut", "chemical": false, "aftercare": false,
		"price_cents": 3900, "steps": []object{{"kind": "iron", "label": "iron", "who": "lead", "where": "chair", "formula": "head", "hands_on": true}}},
		"If-Match", `"v1"`).is(200, nil)
	s.call("DELETE", "/v1/services/"+s.services["Straightening"], nil, "If-Match", `"v1"`).is(204, nil)
	require.Empty(t, s.best([]object{{"service_id": s.services["Root colour"]}}, object{}).Openings[0].Rank.Room)
}

package api_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// done is today's visit, finished at its booked end.
func done(s *salon) *noting {
	s.t.Helper()
	x := inSolution(s)
	s.at(x.v.End)
	x.ok("finish")
	return x
}

// follow asks for a visit that follows from x.
func (x *noting) follow(what string, body object) answer {
	x.t.Helper()
	return x.call("POST", "/v1/visits/"+x.id+"/"+what, body, "Idempotency-Key", fmt.Sprintf("f%d", bookings.Add(1)))
}

func dayAfter(days, h, m int) time.Time { return monday(h, m).AddDate(0, 0, days) }

func TestAFirstWashCheckIsFreeAndStandsBetweenTheThirdAndTheSeventhDay(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := done(s)
	for _, day := range []int{2, 8} {
		p := x.follow("first-wash-check", object{"start": dayAfter(day, 9, 0)}).refused(422, "refused")
		require.Contains(t, p.Detail, "from Thu 11 June to Mon 15 June")
	}
	var v api.VisitBody
	x.follow("first-wash-check", object{"start": dayAfter(3, 9, 0)}).is(201, &v)
	require.Equal(t, []any{x.id, "first_wash_check", int64(0), "First wash check", s.ada}, []any{v.FollowsID, v.FollowsAs, v.PriceCents, v.Services[0].Name, v.Services[0].LeadID})
	require.Equal(t, 30*time.Minute, v.End.Sub(v.Start))
	require.Equal(t, x.v.ClientID, v.ClientID)
	x.follow("first-wash-check", object{"start": dayAfter(9, 9, 0), "approved_by": "Ada"}).is(201, nil)
	require.Equal(t, []string{"body /lead_id"}, pointers(x.follow("first-wash-check", object{"start": dayAfter(4, 9, 0), "lead_id": s.mina}).refused(422, "invalid")))
	require.Equal(t, []string{"body /service_id"}, pointers(x.follow("first-wash-check", object{"start": dayAfter(4, 9, 0), "service_id": "x"}).refused(422, "invalid")))
	require.Equal(t, []string{"body /start"}, pointers(x.follow("first-wash-check", object{"start": dayAfter(4, 9, 0).Add(time.Second)}).refused(422, "invalid")))
	x.call("POST", "/v1/visits/"+x.id+"/first-wash-check", object{"start": dayAfter(4, 9, 0)}).refused(400, "idempotency-key")

	// It can be agreed on when the visit is booked, and is not for a cut.
	later, _ := s.book(s.client("Nora"), dayAfter(1, 9, 0), s.straightening())
	y := &noting{salon: s, id: later.ID}
	y.follow("first-wash-check", object{"start": dayAfter(5, 12, 0)}).is(201, nil)
	trim, _ := s.book(s.client("Ines"), dayAfter(2, 12, 0), []object{s.by(s.ben, "Dry cut")})
	cut := &noting{salon: s, id: trim.ID}
	require.Contains(t, cut.follow("first-wash-check", object{"start": dayAfter(6, 9, 0)}).refused(409, "conflict").Detail, "aftercare")
}

func TestACorrectionNeedsTheLicensedYesAndCostsNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	body := func(more object) object {
		b := object{"start": dayAfter(7, 9, 0), "hair": hair(), "approved_by": "Ada"}
		for k, v := range more {
			b[k] = v
		}
		return b
	}
	require.Contains(t, x.follow("correction", body(nil)).refused(409, "conflict").Detail, "under way")
	s.at(x.v.End)
	x.ok("finish")
	require.Equal(t, []string{"body /approved_by"}, pointers(x.follow("correction", body(object{"approved_by": ""})).refused(422, "invalid")))
	require.Equal(t, []string{"body /approved_by"}, pointers(x.follow("correction", body(object{"approved_by": "Mina"})).refused(422, "invalid")))
	p := x.follow("correction", object{"start": dayAfter(7, 9, 0), "approved_by": "Ada"}).refused(422, "invalid")
	require.Contains(t, p.Errors[0].Detail, "lacks the hair")
	var v api.VisitBody
	x.follow("correction", body(object{"lead_id": s.ada})).is(201, &v)
	require.Equal(t, []any{x.id, "correction", int64(0), "Correction", "Ada"}, []any{v.FollowsID, v.FollowsAs, v.PriceCents, v.Services[0].Name, v.ApprovedBy})
	require.Equal(t, int64(0), v.Services[0].PriceCents)
	require.Equal(t, "strand_test", v.StillNeeded[0].Kind, "it cannot begin without one")
	require.Equal(t, "missing", v.StillNeeded[0].State)

	// A salon may take money for it.
	var rules map[string]any
	a := s.call("GET", "/v1/booking-rules", nil).is(200, &rules)
	s.call("PUT", "/v1/booking-rules", object{"hold_minutes": 10, "follow_ups_free": false}, "If-Match", a.header.Get("ETag")).is(200, nil)
	x.follow("correction", body(object{"start": dayAfter(8, 9, 0), "service_id": s.services["Straightening"]})).is(201, &v)
	require.Equal(t, int64(32000), v.PriceCents)
}

func TestAFreeCorrectionStaysFreeOnLongerHair(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for _, name := range []string{"Straightening", "Correction"} {
		s.priced(name, 32000, byMinute)
	}
	x := done(s)
	var v api.VisitBody
	a := x.follow("correction", object{"start": dayAfter(7, 9, 0), "hair": hair(), "approved_by": "Ada"}).is(201, &v)
	require.Zero(t, v.PriceCents)
	y := &noting{s, v.ID, a.header.Get("ETag"), v}
	s.at(dayAfter(7, 9, 0))
	y.ok("arrive")
	for _, length := range []float64{40, 15} {
		for _, c := range y.looks(object{"hair": object{"length_cm": length}, "preview": true}).Choices {
			require.Zero(t, c.PriceCents, c.Choice)
		}
		y.looks(object{"hair": object{"length_cm": length}})
		require.Zero(t, y.v.PriceCents)
	}
}

func TestNothingFollowsAStoppedVisitThatIsNotCleared(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	s.at(monday(10, 0))
	x.stop(nil).is(201, nil)
	require.Contains(t, x.follow("correction", object{"start": dayAfter(7, 9, 0), "hair": hair(), "approved_by": "Ada"}).refused(409, "conflict").Detail, "not cleared")
}

func TestTheLastCardStandsBesideTheNewPlan(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	last := func() *api.LastCardBody {
		var out api.LastCardAnswer
		s.call("GET", "/v1/clients/"+x.v.ClientID+"/last-card", nil).is(200, &out)
		return out.Last
	}
	require.Nil(t, last(), "the visit is not over")
	s.at(monday(10, 20))
	x.ok(x.step("rinse_1") + "start")
	s.at(monday(10, 56))
	x.ok(x.step("iron") + "start")
	x.write(object{"iron": object{"setting": 172, "unit": "C"}})
	x.write(object{"solution": object{"product": "Solution for normal hair", "strength": "9 %", "ml": 95}})
	s.at(monday(12, 20))
	x.ok(x.step("neutral") + "start")
	s.at(x.v.End)
	x.ok("finish")
	x.write(object{"result": object{"outcome": "as_wished", "text": "smooth to the ends"}})
	b := last()
	require.Equal(t, []any{x.id, "2026-06-08", "172 °C", "result: as wished, smooth to the ends", "solution: Solution for normal hair, 9 %, 95 ml"},
		[]any{b.VisitID, b.Date, b.Iron, b.Result, b.Solution})
	require.InDelta(t, 40, *b.SolutionMinutes, 0)
	require.Contains(t, b.Words, fmt.Sprintf("ironing took 84 min, planned %d", planned(x.v, "iron")))
	for _, p := range b.Pace {
		require.True(t, p.Inferred, "of no step both times were noted")
	}

	// What was interrupted says nothing of anybody's pace.
	x.write(object{"interruption": object{"text": "fire alarm"}})
	require.Empty(t, last().Pace)
	require.Equal(t, "172 °C", last().Iron)
	require.True(t, x.card().OutOfPace)
}

func planned(v api.VisitBody, kind string) int {
	for _, st := range v.Steps {
		if st.Kind == kind {
			return int(st.End.Sub(st.Start) / time.Minute)
		}
	}
	return 0
}

package api_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// ironed lets n visits of Ada's end of which only ironing took factor times what
// the sheet says, with five presses each, on days from day on. It returns the
// day after the last one.
func (s *salon) ironed(day time.Time, n int, factor float64) time.Time {
	s.t.Helper()
	for i := range n {
		if day.Weekday() == time.Sunday {
			day = day.AddDate(0, 0, 1)
		}
		s.at(day.Add(-47 * time.Hour))
		v, _ := s.book(s.client(fmt.Sprintf("Guest%d", i)), day.Add(2*time.Hour), []object{s.by(s.ada, "Straightening")})
		s.lived(v, factor)
		day = day.AddDate(0, 0, 1)
	}
	return day
}

// lived notes five presses of a visit and its end.
func (s *salon) lived(v api.VisitBody, factor float64) {
	s.t.Helper()
	var e api.EstimateAnswer
	s.call("GET", "/v1/estimates/"+v.Services[0].EstimateID, nil).is(200, &e)
	s.at(v.Start)
	s.arrived(v.ID)
	s.hairSeen(v.ID)
	at := v.Start
	for i, st := range v.Steps {
		if slices.Contains([]string{"apply", "rinse_1", "iron", "neutral"}, st.Kind) {
			s.at(at)
			s.step(v.ID, i).is(200, nil)
		}
		x := e.Estimate.Steps[i]
		minutes := x.MeanMinutes
		if x.PaceFactor > 0 {
			minutes /= x.PaceFactor
		}
		if st.Kind == "iron" {
			minutes *= factor
		}
		at = at.Add(time.Duration(minutes * float64(time.Minute)))
	}
	s.at(at)
	tag := s.call("GET", "/v1/visits/"+v.ID, nil).is(200, nil).header.Get("ETag")
	s.call("POST", "/v1/visits/"+v.ID+"/finish", object{}, "If-Match", tag).is(200, nil)
}

func (s *salon) refit() {
	s.t.Helper()
	require.NoError(s.t, s.server.Refit(s.t.Context(), s.row.ID))
}

// estimate asks for straightening by somebody.
func (s *salon) paceEstimate(lead string) api.EstimateAnswer {
	s.t.Helper()
	body := object{"service_id": s.services["Straightening"], "hair": hair()}
	if lead != "" {
		body["lead_id"] = lead
	}
	var out api.EstimateAnswer
	s.call("POST", "/v1/estimates", body).is(201, &out)
	return out
}

func stepOf(e api.EstimateBody, kind string) api.StepTimeBody {
	i := slices.IndexFunc(e.Steps, func(x api.StepTimeBody) bool { return x.Kind == kind })
	return e.Steps[i]
}

func (s *salon) setPace(body object) answer {
	s.t.Helper()
	return s.call("PUT", "/v1/pace-settings", body, "If-Match", s.call("GET", "/v1/pace-settings", nil).is(200, nil).header.Get("ETag"))
}

func (s *salon) report(query string) (out api.PaceReportBody) {
	s.t.Helper()
	s.call("GET", "/v1/reports/pace"+query, nil).is(200, &out)
	return out
}

func TestEstimatesFollowRecordsAndSaySo(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	plain := s.paceEstimate(s.ada)
	require.Empty(t, plain.Estimate.Pace)
	s.at(s.ironed(start.AddDate(0, 0, 2), 14, 1.2))
	require.Equal(t, plain.Estimate, s.paceEstimate(s.ada).Estimate, "nothing is learned before it is worked out")
	s.refit()

	e := s.paceEstimate(s.ada).Estimate
	iron, was := stepOf(e, "iron"), stepOf(plain.Estimate, "iron")
	require.InDelta(t, 1.18, iron.PaceFactor, 0.03)
	require.InDelta(t, was.MeanMinutes*iron.PaceFactor, iron.MeanMinutes, 0.02)
	require.Contains(t, iron.Working, fmt.Sprintf(") × %.2f pace of the last 14 visits = ", iron.PaceFactor))
	require.Greater(t, e.BlockMinutes, plain.Estimate.BlockMinutes)
	require.Len(t, e.Pace, 1, "%v", e.Pace)
	require.Equal(t, fmt.Sprintf("Ada's last 14 visits: ironing %.0f %% slower than the sheet", 100*(iron.PaceFactor-1)), e.Pace[0].Text)
	require.Equal(t, []any{"iron", s.ada, 14}, []any{e.Pace[0].Kind, e.Pace[0].StaffID, e.Pace[0].Visits})
	require.InDelta(t, iron.PaceFactor, e.Pace[0].Factor, 1e-4)

	her := s.asPerson(store.LeadRole, s.ada)
	mine := her.paceEstimate(s.ada)
	require.Contains(t, mine.Estimate.Pace[0].Text, "your last 14 visits: ironing")
	var again api.EstimateAnswer
	s.call("GET", "/v1/estimates/"+mine.ID, nil).is(200, &again)
	require.Contains(t, again.Estimate.Pace[0].Text, "Ada's last 14 visits", "whoever reads it")
	her.call("GET", "/v1/estimates/"+mine.ID, nil).is(200, &again)
	require.Contains(t, again.Estimate.Pace[0].Text, "your last 14 visits")

	anybody := s.paceEstimate("").Estimate
	require.Contains(t, anybody.Pace[0].Text, "the salon's last 14 visits: ironing")
	require.Empty(t, anybody.Pace[0].StaffID)
	require.Less(t, stepOf(anybody, "iron").PaceFactor, iron.PaceFactor, "one stylist is not the salon")
	require.Equal(t, anybody.Pace[0].Factor, s.paceEstimate(s.ben).Estimate.Pace[0].Factor, "nothing is known of Ben")

	var phone api.PhoneAnswerBody
	s.call("POST", "/v1/estimates/phone", object{"reach": "chin"}).is(200, &phone)
	require.Contains(t, phone.Pace[0].Text, "the salon's last 14 visits: ironing")
}

func TestOpeningsAndVisitsFollowTheStylistAsked(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.at(s.ironed(start.AddDate(0, 0, 2), 12, 1.3))
	s.refit()
	anybody := s.openings(s.straightening(), object{"limit": 1})
	hers := s.openings([]object{s.by(s.ada, "Straightening")}, object{"limit": 1})
	require.Equal(t, s.paceEstimate("").Estimate.BlockMinutes, anybody.Minutes)
	require.Equal(t, s.paceEstimate(s.ada).Estimate.BlockMinutes, hers.Minutes)
	require.Greater(t, hers.Minutes, anybody.Minutes)

	asFound := s.by(s.ada, "Straightening")
	asFound["pace"] = "salon"
	v, tag := s.book(s.client("Rosa"), anybody.Openings[0].Start.AddDate(0, 0, 7), []object{asFound})
	_, minutes := stepsOf(v)
	require.Equal(t, anybody.Minutes, sum(minutes), "as it was found without a name")

	// Whoever takes a visit over keeps its minutes, also when she is quicker.
	cleo := s.colleague("Cleo", "straightening")
	var moved api.VisitBody
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"lead_id": cleo}, "If-Match", tag).is(200, &moved)
	require.Equal(t, cleo, moved.Services[0].LeadID)
	_, after := stepsOf(moved)
	require.Equal(t, minutes, after)

	wrong := s.straightening()
	wrong[0]["pace"] = "lead"
	p := s.call("POST", "/v1/openings", object{"services": wrong}).refused(422, "invalid")
	require.Equal(t, "/services/0/pace", p.Errors[0].Pointer)
}

func sum(list []int) int {
	n := 0
	for _, v := range list {
		n += v
	}
	return n
}

// A visit that was booked at somebody's pace is compared with the sheet again,
// or factors would be learned twice.
func TestWhatWasLearnedIsNotLearnedAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	day := s.ironed(start.AddDate(0, 0, 2), 6, 1.2)
	s.refit()
	s.at(s.ironed(day.AddDate(0, 0, 1), 6, 1.2))
	s.refit()
	r := s.report("?staff_id=" + s.ada)
	i := slices.IndexFunc(r.Steps, func(x api.PaceRowBody) bool { return x.Kind == "iron" && x.StaffID == s.ada })
	require.Equal(t, 12, r.Steps[i].Visits)
	// the middle of what the sheet expects lies below its mean by half the variance of its logarithm
	require.InDelta(t, 100*(1.2*math.Sqrt(1+0.25*0.25)-1), r.Steps[i].Bias, 0.5)
}

func TestLearningCanBeSwitchedOffAndBegunAnew(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	plain := s.paceEstimate("").Estimate
	day := s.ironed(start.AddDate(0, 0, 2), 8, 1.3)
	s.at(day)
	s.refit()
	require.NotEmpty(t, s.paceEstimate(s.ada).Estimate.Pace)

	s.setPace(object{"off": true}).is(200, nil)
	require.Equal(t, plain, s.paceEstimate(s.ada).Estimate)
	require.True(t, s.report("").Off)
	s.setPace(object{"staff": []object{{"staff_id": s.ada, "off": true}}}).is(200, nil)
	e := s.paceEstimate(s.ada).Estimate
	require.Empty(t, e.Pace, "nobody else irons")
	require.Equal(t, stepOf(plain, "iron"), stepOf(e, "iron"))
	require.Equal(t, 8*5, s.report("").LeftOut["switched_off"], "applying, ironing, neutralizing, finishing and paying; Mina rinses and dries")
	s.setPace(object{"counts_from": day.Format(time.DateOnly)}).is(200, nil)
	require.Equal(t, plain, s.paceEstimate(s.ada).Estimate)
	s.setPace(object{"staff": []object{{"staff_id": s.ada, "counts_from": day.AddDate(0, 0, -2).Format(time.DateOnly)}}}).is(200, nil)
	e = s.paceEstimate(s.ada).Estimate
	require.NotEmpty(t, e.Pace)
	require.LessOrEqual(t, e.Pace[0].Visits, 2)

	var b api.PaceSettingsBody
	s.call("GET", "/v1/pace-settings", nil).is(200, &b)
	require.Equal(t, s.ada, b.Staff[0].StaffID)
	require.Len(t, b.List, 9)
	require.Equal(t, "age at which a visit counts half", b.List[3].Label)
	require.True(t, b.List[4].Whole)
	s.setPace(object{"constants": object{"prior_sd": 0.05}}).is(200, &b)
	require.Less(t, s.paceEstimate(s.ada).Estimate.Pace[0].Factor, 1.2, "held nearer to the sheet")

	s.call("PUT", "/v1/pace-settings", object{}, "If-Match", `"v1"`).refused(412, "stale")
}

func TestPaceSettingsNameEveryFault(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	p := s.setPace(object{"counts_from": "2026-05-05", "staff": []object{{"staff_id": "nobody"}, {"staff_id": s.ben}, {"staff_id": s.ben}},
		"constants": object{"noise_sd": 7, "half_life_days": 1}}).refused(422, "invalid")
	var at []string
	for _, e := range p.Errors {
		at = append(at, e.Pointer)
	}
	require.Equal(t, []string{"/constants/half_life_days", "/constants/noise_sd", "/staff/0/staff_id", "/staff/2/staff_id"}, at)
	p = s.setPace(object{"constants": object{"what": 7}}).refused(422, "invalid")
	require.Equal(t, "/constants/what", p.Errors[0].Pointer)
}

func TestTheReportSaysHowPromisesWereKept(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	empty := s.report("")
	require.Equal(t, []string{"No visit is over yet whose length was promised and noted."}, empty.Words)
	require.Empty(t, empty.Steps)
	require.Nil(t, empty.FittedAt)

	s.at(s.ironed(start.AddDate(0, 0, 2), 10, 1.05))
	s.refit()
	r := s.report("?months=3")
	require.Len(t, r.Promise.ByQuantile, 1)
	k := r.Promise.ByQuantile[0]
	require.Equal(t, 0.8, k.Promised)
	require.Equal(t, []int{10, 10, 10}, []int{k.Minutes.Of, k.Minutes.Kept, k.Block.Kept}, "all of them were shorter than 8 of 10 are")
	require.InDelta(t, 0.7225, k.Minutes.Low, 1e-3) // Wilson's bound of 10 of 10: 10 / (10 + 1.96²)
	visits := 0
	for _, b := range r.Promise.Bins {
		visits += b.Visits
	}
	require.Equal(t, 10, visits)
	require.NotEmpty(t, r.Promise.Weeks)
	require.NotNil(t, r.FittedAt)
	require.Equal(t, int64(1), r.Fit)
	require.Contains(t, r.Words[0], "of 10 visits 10 did")
	require.Len(t, r.Words, 1, "5 %% may be chance: %v", r.Words)
	require.Equal(t, "waiting", slices.Collect(func(yield func(string) bool) {
		for why := range r.LeftOut {
			if why == "waiting" {
				yield(why)
			}
		}
	})[0], "talk, wash and parting begin at an unknown time")

	for _, row := range r.Steps {
		require.NotEmpty(t, row.Words)
		require.Equal(t, row.Factor, row.Used, row.Words)
	}
	her := s.asPerson(store.LeadRole, s.ada)
	own := her.report("")
	require.NotEmpty(t, own.Steps)
	for _, row := range own.Steps {
		require.Equal(t, s.ada, row.StaffID, "nothing about others")
	}
	require.Equal(t, 10, own.Promise.ByQuantile[0].Minutes.Of)
	her.call("GET", "/v1/reports/pace?staff_id="+s.ben, nil).refused(403, "forbidden")
	his := s.asPerson(store.LeadRole, s.ben).report("")
	require.Empty(t, his.Promise.ByQuantile)
	require.Empty(t, his.Steps)
	nobody := s.as(store.LeadRole).report("")
	require.Empty(t, nobody.Steps)
	require.Contains(t, nobody.Words[0], "nobody's own")
	s.as(store.Desk).call("GET", "/v1/reports/pace", nil).refused(403, "forbidden")
	s.call("GET", "/v1/reports/pace?staff_id=nobody", nil).refused(422, "invalid")
	s.call("GET", "/v1/reports/pace?months=0", nil).refused(422, "invalid")
	require.Empty(t, s.report("?staff_id="+s.ben).Promise.ByQuantile)
}

func TestAFinishedVisitHasThePaceWorkedOutAnew(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.ironed(start.AddDate(0, 0, 2), 1, 1)
	require.Equal(t, []string{"1"}, s.column(`SELECT count(*)::text FROM river_job WHERE kind = 'pace' AND args->>'salon' = $1`, s.row.ID))
}

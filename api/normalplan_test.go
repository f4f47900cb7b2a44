package api_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// normally is hair to be treated by the normal plan.
func normally(h object) object { h["plan"] = "normal"; return h }

func TestARefusedExposureNamesTheNormalPlan(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	request := func(hair object) object {
		return object{"client_id": client, "start": start.Add(time.Hour), "approved_by": "Ada",
			"services": []object{{"service_id": s.services["Dry cut"]}, {"service_id": s.services["Straightening"], "hair": hair}}}
	}
	p := s.call("POST", "/v1/visits", request(long(0)), "Idempotency-Key", "long").refused(422, "refused")
	require.Contains(t, p.Detail, "The normal plan is 3 batches by one stylist: product on the first section for 37 min.")
	require.Equal(t, []api.FieldProblem{{In: "body", Pointer: "/services/1/hair/plan", Detail: "leaves product on for too long",
		Expected: "normal, which is 3 batches by one stylist"}}, p.Errors)

	var v api.VisitBody
	s.call("POST", "/v1/visits", request(normally(long(0))), "Idempotency-Key", "normal").is(201, &v)
	kinds, _ := stepsOf(v)
	require.Equal(t, 2, strings.Count(strings.Join(kinds, " "), "rinse_short"), "three batches")
	var e api.EstimateAnswer
	s.call("GET", "/v1/estimates/"+v.Services[1].EstimateID, nil).is(200, &e)
	require.Equal(t, []int{1, 3}, []int{e.Hair.Hands, e.Hair.Batches}, "what is kept says how it is done")
	require.Empty(t, e.Hair.Plan)
}

func TestAnEstimateByTheNormalPlanIsKeptAsItIsDone(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var as, by api.EstimateAnswer
	s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": long(3)}).is(201, &as)
	s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": normally(long(0))}).is(201, &by)
	require.Equal(t, as.Hair, by.Hair)
	require.Equal(t, as.Estimate.Steps, by.Estimate.Steps)
	require.Nil(t, as.Estimate.NormalPlan)
	require.Equal(t, 3, by.Estimate.NormalPlan.Batches)
	require.Empty(t, by.Estimate.NormalPlan.Level)

	open := s.openings([]object{{"service_id": s.services["Straightening"], "hair": normally(long(0))}}, object{"first_date": "2026-06-10", "last_date": "2026-06-11"})
	want := s.openings([]object{{"service_id": s.services["Straightening"], "estimate_id": by.ID}}, object{"first_date": "2026-06-10", "last_date": "2026-06-11"})
	require.NotEmpty(t, want.Openings)
	require.Equal(t, want.Openings, open.Openings)

	// Hair for which all at once is enough stays as it is.
	s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": normally(object{"length_cm": 20, "density": "medium",
		"strand": "medium", "porosity": "normal", "damaged": false, "new_client": true, "regrowth_cm": 0, "sections": 4, "plate_depth_cm": 3, "hands": 1})}).is(201, &by)
	require.Equal(t, []int{1, 1}, []int{by.Hair.Hands, by.Hair.Batches})

	p := s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": object{"plan": "best"}}).refused(422, "invalid")
	require.Contains(t, pointers(p), "body /hair/plan")
	h := normally(hair())
	h["regrowth_cm"] = 200
	p = s.call("POST", "/v1/estimates", object{"service_id": s.services["Regrowth retouch"], "hair": h}).refused(422, "invalid")
	require.Contains(t, pointers(p), "body /hair/regrowth_cm")
}

// tender is porous hair so long that as many batches as there are sections are
// not enough for one stylist.
func tender() object {
	h := hair()
	h["length_cm"], h["strand"], h["porosity"], h["damaged"] = 75, "fine", "high", true
	return h
}

func TestAHelperIsPlannedOnlyWhereTheSalonHasOne(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	estimate := func() (e api.EstimateAnswer) {
		s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": normally(tender())}).is(201, &e)
		return e
	}
	e := estimate()
	require.Equal(t, []int{1, 4}, []int{e.Hair.Hands, e.Hair.Batches})
	require.Equal(t, "warn", e.Estimate.NormalPlan.Level, "nobody else can do this here")
	s.larger()
	e = estimate()
	require.Equal(t, []int{2, 4}, []int{e.Hair.Hands, e.Hair.Batches})
	require.Empty(t, e.Estimate.NormalPlan.Level)
}

func TestAServiceWithoutBatchesIsNotPlannedInThem(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var x api.ServiceBody
	s.call("GET", "/v1/services/"+s.services["Straightening"], nil).is(200, &x)
	x.Steps = append(x.Steps[:5], x.Steps[4:]...) // processing twice: nothing to repeat
	x.Steps[5].Kind, x.Steps[5].Formula, x.Steps[5].Minutes = "look", "", 1
	s.call("POST", "/v1/services", x).is(201, &x)
	p := s.call("POST", "/v1/visits", object{"client_id": s.client("Mara"), "start": start.Add(time.Hour), "approved_by": "Ada",
		"services": []object{{"service_id": x.ID, "hair": normally(long(0))}}}, "Idempotency-Key", "long").refused(422, "refused")
	require.Contains(t, p.Detail, "No number of batches or hands here is enough")
	require.Empty(t, p.Errors)
}

func TestStraighteningInTwoStagesIsBookedByItsNormalPlan(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	two := s.services["Straightening in two stages"]
	require.NotEmpty(t, two)
	p := s.call("POST", "/v1/estimates", object{"service_id": two, "hair": func() object { h := hair(); h["regrowth_cm"] = 6; return h }()}).refused(422, "invalid")
	require.Equal(t, []string{"body /hair/regrowth_cm"}, pointers(p))

	v, _ := s.book(s.client("Mara"), start.Add(time.Hour), []object{{"service_id": two, "hair": normally(hair())}})
	kinds, _ := stepsOf(v)
	require.Equal(t, 2, strings.Count(strings.Join(kinds, " "), "rinse_short"), "three batches")
	stage := "apply_1 process_1 check_1 apply_2 process_2 check_2 "
	require.Contains(t, strings.Join(kinds, " "), "prep "+stage+"rinse_short "+stage+"rinse_short "+stage+"rinse_1 dry_1")
	for _, st := range v.Steps {
		switch st.Kind {
		case "check_1", "check_2":
			require.True(t, st.HandsOn)
			require.Equal(t, 2*time.Minute, st.End.Sub(st.Start))
			require.Contains(t, st.Units, api.StepUnitBody{UnitID: s.ada, Role: "lead"})
		case "process_1", "process_2":
			require.True(t, st.Watched)
		}
	}
	d := s.day(v.Start.Format("2006-01-02"))
	for _, u := range d.Units {
		if u.UnitID == s.ada {
			require.Len(t, u.Core, 1)
			require.True(t, u.Core[0].From.Equal(v.Steps[3].Start), "from the first strand")
		}
	}
	feed := string(s.feed("staff", s.ada).ask("GET").body)
	require.Contains(t, strings.ReplaceAll(feed, "\r\n ", ""), "Watching\\, check")
	require.Contains(t, strings.ReplaceAll(feed, "\r\n ", ""), "First check of a strand\\, apply solution to the ends")
}

func TestTheBookingPageTakesTheNormalPlanUnlessOneIsChosen(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.MountPages()
	d := s.desk(store.Desk)
	typed := map[string]string{"service": s.services["Straightening"], "first_name": "Rhea", "length_cm": "55", "density": "high",
		"strand": "medium", "porosity": "low", "curl": "straight", "sections": "5", "date_from": "2026-06-10"}
	d.get("/book").press("estimate", typed)
	d.says("This plan: one stylist, 3 batches", "with a helper, 2 batches")
	require.NotContains(t, d.page, "Not to be booked")
	d.says("How everything else is counted", "520 cm² ÷ 5 sections ÷ (0.85 cm × 6 cm), rounded up, × 5 = 105")
	d.press("plan:2/2", nil)
	d.says("This plan: with a helper, 2 batches", "one stylist, 3 batches")

	d.press("estimate", map[string]string{"hands": "1", "batches": "1"})
	d.says("This plan: one stylist, all at once", "Not to be booked", "The normal plan is 3 batches by one stylist", "No times are offered for this plan.")
	d.press("estimate", map[string]string{"batches": ""})
	d.says("This plan: one stylist, 3 batches")

	d.get("/book").press("estimate", map[string]string{"service": s.services["Straightening"], "first_name": "Rhea", "reach": "shoulder", "ponytail": "average", "history": "nothing"})
	d.says("it is kept for 2 batches", "How it is counted", "any length from 25 cm to 40 cm; average amount of hair")
	require.NotContains(t, d.page, "520 cm²", "not of the hair that stands in")
	require.NotContains(t, d.page, "to keep free", "which is for one batch")

	d.get("/book").press("estimate", typed).press("openings", nil).press("book:", nil)
	kinds := s.column(`SELECT kind FROM visit_step ORDER BY starts_at`)
	require.Equal(t, 3, strings.Count(strings.Join(kinds, " "), "apply"), "booked in three batches")
}

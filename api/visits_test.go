package api_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestAHeadBecomesABookedVisit(t *testing.T) {
	t.Parallel()
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
	require.Equal(t, e.ID, v.Services[0].EstimateID)
	require.Equal(t, []string{"confirmation", "prepare"}, toClient(v), "a visit of this morning gets no reminder")

	again := s.openings(services, object{"first_date": "2026-06-08", "last_date": "2026-06-08"})
	require.Less(t, again.Count, open.Count)
}

// stepsOf lists kind and minutes of a visit's steps.
func stepsOf(v api.VisitBody) (kinds []string, minutes []int) {
	for _, st := range v.Steps {
		kinds, minutes = append(kinds, st.Kind), append(minutes, int(st.End.Sub(st.Start)/time.Minute))
	}
	return kinds, minutes
}

// by is a request for a service that somebody leads.
func (s *salon) by(lead, service string) object {
	x := object{"service_id": s.services[service], "lead_id": lead}
	if service == "Straightening" {
		x["hair"] = hair()
	}
	return x
}

func TestHairThatIsGivenWithTheVisitIsKeptAsAnEstimate(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(time.Hour), s.straightening())
	_, minutes := stepsOf(v)
	require.Equal(t, []int{18, 11, 10, 30, 15, 10, 15, 92, 18, 5, 8, 17, 15, 6}, minutes, "derived: the parts of 270 minutes")
	var e api.EstimateAnswer
	s.call("GET", "/v1/estimates/"+v.Services[0].EstimateID, nil).is(200, &e)
	require.Equal(t, s.services["Straightening"], e.ServiceID)
	require.InDelta(t, 35, e.Hair.LengthCM, 0)
	require.Equal(t, 270, e.Estimate.BlockMinutes)
}

func TestSeveralServicesShareAChairAndMayHaveALeadEach(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, tag := s.book(client, start.Add(time.Hour), []object{s.by(s.ada, "Straightening"), s.by(s.ben, "Dry cut")})
	require.Equal(t, []string{s.ada, s.ben}, []string{v.Services[0].LeadID, v.Services[1].LeadID})
	require.EqualValues(t, 32000+3900, v.PriceCents)
	require.Len(t, v.Steps, 15)
	for _, st := range v.Steps {
		require.Contains(t, st.Units, api.StepUnitBody{UnitID: v.ChairID, Role: "chair"})
	}
	cut := v.Steps[14]
	require.Contains(t, cut.Units, api.StepUnitBody{UnitID: s.ben, Role: "lead"})
	require.Equal(t, 1, cut.Service)
	require.Equal(t, v.End, cut.End)
	require.Equal(t, v.End.Add(48*time.Hour), *v.KeepDryUntil, "the hair stays dry from the end of the whole visit")

	var moved api.VisitBody
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(24 * time.Hour)}, "If-Match", tag).is(200, &moved)
	require.Equal(t, v.Services, moved.Services, "a move keeps both leads")

	colour, tag := s.book(s.client("Nora"), start.Add(time.Hour), []object{s.by(s.ada, "Straightening"), s.by(s.ben, "Root colour")})
	s.call("POST", "/v1/visits/"+colour.ID+"/move", object{"start": v.Start.Add(48 * time.Hour)}, "If-Match", tag).is(200, &moved)
	require.Equal(t, colour.Services, moved.Services, "nobody can do both")
}

func TestOneLeadDoesTheWholeVisitUnlessNamedOtherwise(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), start.Add(time.Hour), []object{{"service_id": s.services["Straightening"], "hair": hair()}, {"service_id": s.services["Dry cut"]}})
	require.Equal(t, s.ada, v.Services[0].LeadID)
	require.Equal(t, s.ada, v.Services[1].LeadID)
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start, "lead_id": s.ben}, "If-Match", tag).refused(422, "invalid")

	cut, tag := s.book(s.client("Nora"), start.Add(25*time.Hour), []object{{"service_id": s.services["Dry cut"]}})
	other := s.ada
	if cut.Services[0].LeadID == s.ada {
		other = s.ben
	}
	var moved api.VisitBody
	s.call("POST", "/v1/visits/"+cut.ID+"/move", object{"start": cut.Start, "lead_id": other}, "If-Match", tag).is(200, &moved)
	require.Equal(t, other, moved.Services[0].LeadID)
}

// long is hair for which product stays on too long when one person does it in
// one go: 55 cm, dense, low porosity.
func long(batches int) object {
	h := hair()
	h["length_cm"], h["density"], h["porosity"], h["sections"] = 55, "high", "low", 5
	if batches > 0 {
		h["batches"] = batches
	}
	return h
}

func TestWhatIsRefusedIsNotBookedAndBatchesHelp(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	request := func(batches int) object {
		return object{"client_id": client, "start": start.Add(time.Hour), "approved_by": "Ada",
			"services": []object{{"service_id": s.services["Straightening"], "hair": long(batches)}}}
	}
	s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": long(0)}).is(201, nil)
	before := s.tables()()
	p := s.call("POST", "/v1/visits", request(0), "Idempotency-Key", "long").refused(422, "refused")
	require.NotEmpty(t, p.Cautions)
	for _, c := range p.Cautions {
		require.Equal(t, "refuse", c.Level)
		require.NotEmpty(t, c.Text)
	}
	require.Equal(t, before, s.tables()())
	var v api.VisitBody
	s.call("POST", "/v1/visits", request(3), "Idempotency-Key", "long").is(201, &v)
	kinds, _ := stepsOf(v)
	short := 0
	for _, k := range kinds {
		if k == "rinse_short" {
			short++
		}
	}
	require.Equal(t, 2, short, "three batches have two short rinses between them")
	require.Equal(t, "Ada", v.ApprovedBy)
}

func TestTheLicensedPersonHasToSayYes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	h := hair()
	h["damaged"] = true
	request := object{"client_id": s.client("Mara"), "start": start.Add(time.Hour), "services": []object{{"service_id": s.services["Straightening"], "hair": h}}}
	var e api.EstimateAnswer
	s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": h}).is(201, &e)
	levels := map[string]bool{}
	for _, c := range e.Estimate.Cautions {
		levels[c.Level] = true
	}
	if levels["refuse"] {
		h["batches"] = 4
	}
	p := s.call("POST", "/v1/visits", request, "Idempotency-Key", "yes").refused(422, "refused")
	require.Equal(t, []string{"body /approved_by"}, pointers(p))
	require.Equal(t, "needs_yes", p.Cautions[0].Level)
	request["approved_by"] = "   "
	s.call("POST", "/v1/visits", request, "Idempotency-Key", "yes").refused(422, "refused")
	request["approved_by"] = "Ada"
	s.call("POST", "/v1/visits", request, "Idempotency-Key", "yes").is(201, nil)
}

func TestAMoveKeepsMinutesAndServiceVersionWhateverHasChanged(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), start.Add(time.Hour), []object{s.by(s.ada, "Straightening"), s.by(s.ada, "Cut and dry")})
	kinds, minutes := stepsOf(v)

	var cut api.ServiceBody
	a := s.call("GET", "/v1/services/"+s.services["Cut and dry"], nil).is(200, &cut)
	cut.Steps[1].Minutes, cut.PriceCents, cut.Name = 90, 9900, "Long cut"
	s.call("PUT", "/v1/services/"+cut.ID, cut, "If-Match", a.header.Get("ETag")).is(200, &cut)
	require.Equal(t, 2, cut.Version)
	a = s.call("GET", "/v1/services/"+s.services["Straightening"], nil).is(200, nil)
	s.call("DELETE", "/v1/services/"+s.services["Straightening"], nil, "If-Match", a.header.Get("ETag")).is(204, nil)
	var row api.SalonBody
	a = s.call("GET", "/v1/salon", nil).is(200, &row)
	row.ChairTime = map[string]float64{"press_seconds": 4}
	for _, x := range s.settings() {
		row.ChairTime = map[string]float64{x.Name: x.Max}
		break
	}
	s.call("PUT", "/v1/salon", row, "If-Match", a.header.Get("ETag")).is(200, nil)

	var moved api.VisitBody
	next := v.Start.Add(24 * time.Hour)
	b := s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": next}, "If-Match", tag).is(200, &moved)
	gotKinds, gotMinutes := stepsOf(moved)
	require.Equal(t, kinds, gotKinds)
	require.Equal(t, minutes, gotMinutes)
	require.Equal(t, v.Services, moved.Services)
	require.Equal(t, v.PriceCents, moved.PriceCents)
	require.Equal(t, `"v2"`, b.header.Get("ETag"))
	require.True(t, next.Equal(moved.Start))

	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": next}, "If-Match", tag).refused(412, "stale")
	s.call("POST", "/v1/visits", object{"client_id": v.ClientID, "start": next.Add(24 * time.Hour), "services": s.straightening()}, "Idempotency-Key", "retired").refused(422, "invalid")
}

// settings lists the constants of chair time.
func (s *salon) settings() []api.SettingBody {
	s.t.Helper()
	var list struct{ Items []api.SettingBody }
	s.call("GET", "/v1/chair-time-settings", nil).is(200, &list)
	require.NotEmpty(s.t, list.Items)
	return list.Items
}

func TestAMoveThatClashesOffersTheNextStarts(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	first, tag := s.book(s.client("Mara"), start.Add(time.Hour), s.straightening())
	second, _ := s.book(s.client("Nora"), first.Start.Add(24*time.Hour), s.straightening())
	// Its own time is no obstacle to a visit that moves by a quarter of an hour.
	s.call("POST", "/v1/visits/"+second.ID+"/move", object{"start": second.Start.Add(15 * time.Minute)}, "If-Match", `"v1"`).is(200, nil)
	p := s.call("POST", "/v1/visits/"+first.ID+"/move", object{"start": second.Start}, "If-Match", tag).refused(409, "taken")
	require.NotEmpty(t, p.Alternatives)
	same, again := s.read(first.ID)
	require.Equal(t, first, same)
	require.Equal(t, tag, again)
	s.call("POST", "/v1/visits/"+first.ID+"/move", object{"start": p.Alternatives[0].Start}, "If-Match", tag).is(200, &same)
	require.True(t, p.Alternatives[0].Start.Equal(same.Start))
}

func TestACancelledVisitFreesItsTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	ask := object{"first_date": "2026-06-09", "last_date": "2026-06-09"}
	empty := s.openings(s.straightening(), ask)
	v, tag := s.book(client, start.Add(25*time.Hour), s.straightening())
	require.Less(t, s.openings(s.straightening(), ask).Count, empty.Count)
	var gone api.VisitBody
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, &gone)
	require.Equal(t, "cancelled", gone.State)
	require.Equal(t, empty.Openings, s.openings(s.straightening(), ask).Openings)
	states := map[string]string{}
	for _, r := range gone.Reminders {
		states[r.Kind] = r.State
	}
	require.Equal(t, map[string]string{"confirmation": "withdrawn", "prepare": "withdrawn", "client_late": "withdrawn",
		"day_changed": "withdrawn", "reminder": "withdrawn", "cancelled": "waiting"}, states)
	s.book(client, v.Start, s.straightening())
}

func TestStatesFollowEachOther(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	week := 0
	fresh := func() (string, string) {
		week++
		s.at(start)
		v, tag := s.book(s.client("Mara"), start.Add(time.Duration(7*24*week+2)*time.Hour), []object{s.by(s.ben, "Dry cut")})
		s.at(v.Start.Add(35 * time.Minute))
		return v.ID, tag
	}
	for _, x := range []struct {
		path string // of changes in a row
		want string // state, or "409" for a refused last change
	}{
		{"arrive", "arrived"}, {"arrive finish", "finished"}, {"finish", "finished"}, {"miss", "missed"}, {"cancel", "cancelled"}, {"arrive cancel", "cancelled"},
		{"arrive arrive", "409"}, {"arrive miss", "409"}, {"arrive move", "409"},
		{"cancel cancel", "409"}, {"cancel arrive", "409"}, {"cancel finish", "409"}, {"cancel miss", "409"}, {"cancel move", "409"},
		{"miss miss", "409"}, {"miss arrive", "409"}, {"miss finish", "409"}, {"miss cancel", "409"}, {"miss move", "409"},
		{"finish finish", "409"}, {"finish arrive", "409"}, {"finish miss", "409"}, {"finish cancel", "409"}, {"finish move", "409"},
	} {
		id, tag := fresh()
		var v api.VisitBody
		var last answer
		for _, change := range words(x.path) {
			last = s.change(id, change, tag)
			if last.status == http.StatusOK {
				last.is(200, &v)
				tag = last.header.Get("ETag")
			}
		}
		if x.want == "409" {
			p := last.refused(409, "conflict")
			require.NotEmpty(t, p.Detail, x.path)
			continue
		}
		last.is(200, nil)
		require.Equal(t, x.want, v.State, x.path)
	}
}

// change asks for one change of a visit under a version.
func (s *salon) change(id, what, tag string) answer {
	s.t.Helper()
	var body any
	switch what {
	case "finish":
		body = object{}
	case "move":
		body = object{"start": s.clock.Load().Add(72 * time.Hour).Truncate(time.Minute)}
	}
	return s.call("POST", "/v1/visits/"+id+"/"+what, body, "If-Match", tag)
}

func TestAMoveToTooSoonForASkinTestNeedsTheYes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.testsSkin()
	var v api.VisitBody
	far := start.Add(73 * time.Hour)
	a := s.call("POST", "/v1/visits", object{"client_id": s.client("Mara"), "start": far, "services": s.straightening()},
		"Idempotency-Key", "far").is(201, &v)
	tag := a.header.Get("ETag")
	move := "/v1/visits/" + v.ID + "/move"
	p := s.call("POST", move, object{"start": start.Add(25 * time.Hour)}, "If-Match", tag).refused(422, "refused")
	require.Equal(t, "patch_test", p.Cautions[0].Code)
	s.call("POST", move, object{"start": start.Add(25 * time.Hour), "approved_by": "Mina"}, "If-Match", tag).refused(422, "invalid")
	s.call("POST", move, object{"start": start.Add(25 * time.Hour), "approved_by": "Ada"}, "If-Match", tag).is(200, &v)
	require.Equal(t, "Ada", v.ApprovedBy)
}

package api_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// inInches lets the salon measure in inches and °F.
func (s *salon) inInches() {
	s.t.Helper()
	var row api.SalonBody
	a := s.call("GET", "/v1/salon", nil).is(200, &row)
	row.LengthUnit, row.HeatUnit = "in", "F"
	s.call("PUT", "/v1/salon", row, "If-Match", a.header.Get("ETag")).is(200, nil)
}

// hairWith is hair() with some fields changed and, where nil, left out.
func hairWith(change object) object {
	h := hair()
	for k, v := range change {
		h[k] = v
		if v == nil {
			delete(h, k)
		}
	}
	return h
}

func (s *salon) estimate(h object) api.EstimateAnswer {
	s.t.Helper()
	var e, again api.EstimateAnswer
	a := s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": h}).is(201, &e)
	s.call("GET", a.header.Get("Location"), nil).is(200, &again)
	require.Equal(s.t, e, again, "kept as it was answered")
	return e
}

func TestASalonThatMeasuresInInchesIsAnsweredInBoth(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	plain := s.estimate(hairWith(object{"length_cm": 35.56}))
	require.Nil(t, plain.Hair.LengthIn)
	s.inInches()
	sent := hairWith(object{"length_cm": nil, "length_in": 14, "plate_depth_cm": nil, "plate_depth_in": 1.25, "regrowth_cm": nil, "regrowth_in": 2.5,
		"iron_fahrenheit": 400})
	e := s.estimate(sent)
	h := e.Hair
	require.Equal(t, []float64{14, 1.25, 2.5, 400}, []float64{*h.LengthIn, *h.PlateDepthIn, *h.RegrowthIn, *h.IronFahrenheit}, "as typed")
	// By hand: 14, 1.25 and 2.5 in of 2.54 cm, and (400 − 32) / 1.8 °C.
	require.InDeltaSlice(t, []float64{35.56, 3.175, 6.35, 204.444444}, []float64{h.LengthCM, h.PlateDepthCM, h.RegrowthCM, h.IronCelsius}, 0)
	for _, st := range e.Estimate.Steps {
		require.NotContains(t, st.Working, "cm")
	}
	require.Contains(t, e.Estimate.Steps[1].Working, " × 14 in = ")
	require.Equal(t, "Iron at 400 °F: never above 356 °F.", e.Estimate.Cautions[0].Text)
	var again api.EstimateAnswer
	s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": h}).is(201, &again)
	require.Equal(t, h, again.Hair, "an answer can be sent back as it came")

	inch := s.estimate(hairWith(object{"length_cm": nil, "length_in": 14}))
	require.InDelta(t, plain.Estimate.Total.MeanMinutes, inch.Estimate.Total.MeanMinutes, 0, "the same hair")
	require.Nil(t, inch.Hair.IronFahrenheit, "which nobody planned")

	client := s.client("Mara")
	var list struct{ Items []api.HeadOutput }
	s.call("POST", "/v1/clients/"+client+"/heads", object{"measured_on": "2026-06-08", "hair": sent}).is(201, nil)
	s.call("GET", "/v1/clients/"+client+"/heads", nil).is(200, &list)
	require.InDelta(t, 14, *list.Items[0].Hair.LengthIn, 0)
	var w api.WishBody
	sent["iron_fahrenheit"] = 320
	s.call("POST", "/v1/waiting-list", object{"client_id": client, "services": []object{{"service_id": s.services["Straightening"], "hair": sent}},
		"first_date": "2026-07-06", "last_date": "2026-07-10"}, "Idempotency-Key", "inches").is(201, &w)
	require.InDelta(t, 14, *w.Services[0].Hair.LengthIn, 0)
	require.InDelta(t, 35.56, w.Services[0].Hair.LengthCM, 0)
	var rules api.RulesAnswer
	a := s.call("GET", "/v1/booking-rules", nil).is(200, nil)
	s.call("PUT", "/v1/booking-rules", object{"hold_minutes": 10, "usual_mix": []object{{"service_id": s.services["Straightening"], "per_day": 1, "hair": sent}}},
		"If-Match", a.header.Get("ETag")).is(200, &rules)
	require.InDeltaSlice(t, []float64{14, 35.56}, []float64{*rules.UsualMix[0].Hair.LengthIn, rules.UsualMix[0].Hair.LengthCM}, 0)
	v, _ := s.book(client, start.Add(73*time.Hour), []object{{"service_id": s.services["Straightening"], "hair": hairWith(object{"length_cm": nil, "length_in": 14})}})
	require.NotEmpty(t, v.Services[0].EstimateID)
}

func TestFreeLengthIsStretchedBeforeItIsTimed(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	stretched := s.estimate(hair()).Estimate.Total.MeanMinutes
	// Derived: free length = stretched length × (1 − shrinkage).
	for free, shrinkage := range map[float64]float64{35: 0, 28: 0.2, 17.5: 0.5, 8.75: 0.75} {
		e := s.estimate(hairWith(object{"length_cm": nil, "free_length_cm": free, "shrinkage": shrinkage}))
		require.InDelta(t, 35, e.Hair.LengthCM, 0)
		require.InDelta(t, stretched, e.Estimate.Total.MeanMinutes, 0)
		require.Equal(t, fmt.Sprintf("%v cm ÷ (1 − %v) = 35 cm stretched", free, shrinkage), e.Hair.LengthWorking)
	}
	e := s.estimate(hairWith(object{"length_cm": nil, "free_length_cm": 20, "curl": "curly"}))
	require.Equal(t, "20 cm ÷ (1 − 0.375) = 32 cm stretched", e.Hair.LengthWorking, "the salon's usual shrinkage")
	var row api.SalonBody
	a := s.call("GET", "/v1/salon", nil).is(200, &row)
	row.ChairTime = map[string]float64{"shrinkage_curly_share": 0.5}
	s.call("PUT", "/v1/salon", row, "If-Match", a.header.Get("ETag")).is(200, nil)
	var kept api.EstimateAnswer
	s.call("GET", "/v1/estimates/"+e.ID, nil).is(200, &kept)
	require.Equal(t, e, kept, "what is kept does not follow the setting")
	require.InDelta(t, 40, s.estimate(hairWith(object{"length_cm": nil, "free_length_cm": 20, "curl": "curly"})).Hair.LengthCM, 0)
}

func TestACountOfHairsDecidesHowManyThereAre(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	by := s.estimate(hair()).Estimate
	require.Equal(t, 98800, by.Hairs) // derived: 520 cm² × 190
	e := s.estimate(hairWith(object{"density": nil, "hairs_per_cm2": 220}))
	require.Equal(t, "medium", e.Hair.Density)
	require.Equal(t, 114400, e.Estimate.Hairs)
	require.Equal(t, []int{by.Strips, by.Panels}, []int{e.Estimate.Strips, e.Estimate.Panels})
	require.Greater(t, e.Estimate.Total.MeanMinutes, by.Total.MeanMinutes, "more to dry")
	require.Equal(t, "high", s.estimate(hairWith(object{"density": nil, "hairs_per_cm2": 221})).Hair.Density)
}

func TestHairThatContradictsItselfIsNamedAtOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	before := s.tables()()
	client := s.client("Mara")
	for _, x := range []struct {
		name string
		hair object
		want string // places
	}{
		{"no length", object{"length_cm": nil}, "length_cm"},
		{"cm and in that differ", object{"length_in": 14}, "length_in"},
		{"stretched and free that differ", object{"free_length_cm": 17.5, "shrinkage": 0.25}, "free_length_cm"},
		{"stretched and free by curl", object{"free_length_cm": 17.5, "curl": "coily"}, "free_length_cm"},
		{"free length without curl", object{"length_cm": nil, "free_length_cm": 17.5}, "free_length_cm"},
		{"shrinkage without free length", object{"shrinkage": 0.25}, "shrinkage"},
		{"all shrunk", object{"length_cm": nil, "free_length_cm": 17.5, "shrinkage": 0.95}, "shrinkage"},
		{"straight and shrunk", object{"length_cm": nil, "free_length_cm": 17.5, "shrinkage": 0.5, "curl": "straight"}, "shrinkage"},
		{"far too long when stretched", object{"length_cm": nil, "free_length_cm": 50, "shrinkage": 0.75}, "free_length_cm"},
		{"count and class", object{"hairs_per_cm2": 300}, "density"},
		{"neither", object{"density": nil}, "density"},
		{"more new hair than hair, in inches", object{"length_cm": nil, "length_in": 14, "regrowth_cm": nil, "regrowth_in": 14.5}, "regrowth_in"},
		{"more new hair than stretched hair", object{"length_cm": nil, "free_length_cm": 17.5, "shrinkage": 0.5, "regrowth_cm": 36}, "regrowth_cm"},
		{"several", object{"length_in": 14, "hairs_per_cm2": 300, "plate_depth_in": 1.9, "shrinkage": 0.2, "area_share": 0.5, "areas": []string{"nape", "nape", "fringe"}, "regrowth_in": 30},
			"length_in plate_depth_in shrinkage density regrowth_in areas areas/1 areas"},
	} {
		for _, ask := range []struct {
			path, at string
			body     object
		}{
			{"estimates", "/hair/", object{"service_id": s.services["Straightening"], "hair": hairWith(x.hair)}},
			{"openings", "/services/0/hair/", object{"services": []object{{"service_id": s.services["Straightening"], "hair": hairWith(x.hair)}}}},
			{"clients/" + client + "/heads", "/hair/", object{"measured_on": "2026-06-08", "hair": hairWith(x.hair)}},
		} {
			p := s.call("POST", "/v1/"+ask.path, ask.body).refused(422, "invalid")
			var want []string
			for _, name := range strings.Fields(x.want) {
				want = append(want, "body "+ask.at+name)
			}
			require.Equal(t, want, pointers(p), "%s: %s", x.name, ask.path)
		}
	}
	p := s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": hairWith(object{"length_cm": nil, "length_in": 3.145})}).refused(422, "invalid")
	require.Equal(t, "3.15 to 47.24 in", p.Errors[0].Expected, "in the unit that was sent")
	p = s.call("POST", "/v1/estimates", object{"service_id": s.services["Straightening"], "hair": hairWith(object{"length_in": 14, "hairs_per_cm2": 300, "plate_depth_cm": nil, "plate_depth_in": 2.5,
		"shrinkage": 0.3, "sections": 9, "strand": "thick"})}).refused(422, "invalid")
	require.ElementsMatch(t, []string{"body /hair/length_in", "body /hair/shrinkage", "body /hair/density", "body /hair/sections", "body /hair/plate_depth_in", "body /hair/strand"}, pointers(p),
		"contradictions beside figures that are out of all bounds")
	require.Contains(t, p.Detail, "hair/plate_depth_in is 2.5; expected 0.99 to 1.96 in")
	require.NotContains(t, p.Detail, "thick")
	after := s.tables()()
	for _, table := range []string{"client", "audit"} { // one was added
		delete(before, table)
		delete(after, table)
	}
	require.Equal(t, before, after)
}

func TestRegrowthOverThreeFifthsIsTimedAsUntreatedHair(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.inInches()
	long := object{"length_cm": nil, "length_in": 14, "new_client": false}
	whole := s.estimate(hairWith(long)).Estimate.Total.MeanMinutes
	long["regrowth_cm"], long["regrowth_in"] = nil, 8.5
	e := s.estimate(hairWith(long))
	require.InDelta(t, whole, e.Estimate.Total.MeanMinutes, 0)
	require.Contains(t, fmt.Sprint(e.Estimate.Cautions), "New hair of 8.5 in is most of the length of 14 in: timed as untreated hair.")
	long["regrowth_in"] = 8.3
	require.Less(t, s.estimate(hairWith(long)).Estimate.Total.MeanMinutes, whole)
	long["sections"], long["regrowth_in"] = 3, 1.9
	text := fmt.Sprint(s.estimate(hairWith(long)).Estimate.Cautions)
	require.Contains(t, text, "3 sections are unusual")
	require.Contains(t, text, "New hair of 1.9 in is short for the iron; waiting until 1.97 in makes overlap less likely.")
}

// straightened books and finishes a straightening of hair that begins at a time.
func (s *salon) straightened(client string, at time.Time, service string, h object) api.VisitBody {
	s.t.Helper()
	s.at(at.Add(-time.Hour))
	v, tag := s.book(client, at, []object{{"service_id": s.services[service], "hair": h}})
	s.at(v.End)
	s.call("POST", "/v1/visits/"+v.ID+"/finish", object{}, "If-Match", tag).is(200, &v)
	return v
}

func (s *salon) measured(client, on string, cm, regrowth float64) {
	s.t.Helper()
	s.call("POST", "/v1/clients/"+client+"/heads", object{"measured_on": on, "hair": hairWith(object{"length_cm": cm, "regrowth_cm": regrowth})}).is(201, nil)
}

func (s *salon) expected(client, query string) api.ExpectedHair {
	s.t.Helper()
	var out api.ExpectedHair
	s.call("GET", "/v1/clients/"+client+"/expected-hair"+query, nil).is(200, &out)
	return out
}

func asks(list []api.HairAskBody) string {
	var codes []string
	for _, x := range list {
		codes = append(codes, x.Code)
	}
	return strings.Join(codes, " ")
}

// nineOn is nine in the morning of a day in the salon's zone.
func (s *salon) nineOn(year int, month time.Month, day int) time.Time {
	s.t.Helper()
	return time.Date(year, month, day, 9, 0, 0, 0, berlin(s.t))
}

func TestHairOfAKnownClientIsExpectedAsItShouldBe(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	nothing := s.expected(client, "")
	require.Nil(t, nothing.Hair)
	require.Equal(t, "measure consultation", asks(nothing.Ask))
	require.Equal(t, "2026-06-08", nothing.On)

	s.measured(client, "2026-06-01", 35, 0)
	e := s.expected(client, "?on=2026-09-03") // 94 days / 30.4375 = 3.1 months
	require.Equal(t, "35 cm measured on 1 June 2026 + 3.1 months × 1.1 cm = 3.4 cm = 38.4 cm", e.Counts[0].Working)
	require.InDelta(t, 38.4, e.Hair.LengthCM, 1e-9)
	require.True(t, e.Hair.NewClient)
	require.Equal(t, "cut_since done_since consultation consultation", asks(e.Ask))

	s.straightened(client, s.nineOn(2026, time.June, 9), "Straightening", hair())
	e = s.expected(client, "?on=2026-09-09&cut_cm=2") // 92 days / 30.4375 = 3.0 months
	require.Equal(t, "2026-06-09", e.StraightenedOn)
	require.Equal(t, "straightened on 9 June 2026: 3 months × 1.1 cm = 3.3 cm", e.Counts[1].Working)
	require.Equal(t, "35 cm measured on 9 June 2026 + 3 months × 1.1 cm = 3.3 cm − 2 cm cut = 36.3 cm", e.Counts[0].Working)
	require.False(t, e.Hair.NewClient, "treated here")
	require.InDelta(t, 3.3, e.Hair.RegrowthCM, 1e-9)
	require.NotContains(t, asks(e.Ask), "cut_since", "it was said")
	require.Empty(t, e.HeadID, "from the hair of the visit")
	var made api.EstimateAnswer
	s.call("POST", "/v1/estimates", object{"service_id": s.services["Regrowth retouch"], "client_id": client, "hair": e.Hair}).is(201, &made)
	require.InDelta(t, 3.3, made.Hair.RegrowthCM, 1e-9, "as it comes it can be estimated")

	require.Equal(t, "query cut_cm", strings.Join(pointers(s.call("GET", "/v1/clients/"+client+"/expected-hair?on=2026-09-09&cut_cm=40", nil).refused(422, "invalid")), " "))
	require.Equal(t, "query cut_in", strings.Join(pointers(s.call("GET", "/v1/clients/"+client+"/expected-hair?on=2026-09-09&cut_in=16", nil).refused(422, "invalid")), " "))
	require.Equal(t, "query on", strings.Join(pointers(s.call("GET", "/v1/clients/"+client+"/expected-hair?on=2026-06-08", nil).refused(422, "invalid")), " "))
	for query, want := range map[string]string{"on=2026-02-30": "query on", "cut_cm=-1": "query cut_cm", "cut_cm=x": "query cut_cm", "cut_cm=2&cut_in=3": "query cut_in", "cut_cm=NaN": "query cut_cm", "off=1": "query off"} {
		require.Equal(t, want, strings.Join(pointers(s.call("GET", "/v1/clients/"+client+"/expected-hair?"+query, nil).refused(422, "invalid")), " "), query)
	}
	s.call("GET", "/v1/clients/nobody/expected-hair", nil).refused(404, "not-found")
}

func TestTheClientsOwnGrowthCountsOnceItWasMeasuredTwice(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	s.straightened(client, s.nineOn(2026, time.June, 9), "Straightening", hair())
	retouch := func(id string) api.ReminderBody {
		var v api.VisitBody
		s.call("GET", "/v1/visits/"+id, nil).is(200, &v)
		for _, r := range v.Reminders {
			if r.Kind == "retouch" {
				return r
			}
		}
		t.Fatal("no retouch")
		return api.ReminderBody{}
	}
	s.at(s.nineOn(2026, time.October, 12))
	s.measured(client, "2026-10-12", 39, 3.5) // 125 days: 0.852 cm a month
	e := s.expected(client, "")
	require.False(t, e.Growth.Measured, "one visit does not tell")
	require.Equal(t, "1.1 cm a month: the salon's usual, not measured yet", e.Growth.Words)
	v := s.straightened(client, s.nineOn(2026, time.October, 13), "Regrowth retouch", hairWith(object{"length_cm": 39, "regrowth_cm": 3.5, "new_client": false}))
	due := retouch(v.ID)
	require.Equal(t, "2027-05-09", due.Due.Format(time.DateOnly), "7.5 cm at 1.1 cm a month")

	s.at(s.nineOn(2027, time.February, 12))
	s.measured(client, "2027-02-12", 42, 3.2) // 122 days
	e = s.expected(client, "")
	require.True(t, e.Growth.Measured)
	require.InDelta(t, (3.5+3.2)/(125+122)*30.4375, e.Growth.CM, 0.005)
	require.Equal(t, "0.83 cm a month: the client's own, measured on 2 days", e.Growth.Words)
	later := retouch(v.ID)
	require.Equal(t, "waiting", later.State)
	require.Equal(t, "2027-07-17", later.Due.Format(time.DateOnly), "7.5 cm × 247 days ÷ 6.7 cm = 276.5 days")

	var c api.ClientBody
	a := s.call("GET", "/v1/clients/"+client, nil).is(200, &c)
	c.Growth = "quick"
	s.call("PUT", "/v1/clients/"+client, c, "If-Match", a.header.Get("ETag")).is(200, &c)
	require.Equal(t, "quick", c.Growth)
	require.True(t, s.expected(client, "").Growth.Measured, "what was measured counts more than what it looks like")
}

func TestGrowthThatIsOnlySeenMovesTheRetouch(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v := s.straightened(client, s.nineOn(2026, time.June, 9), "Straightening", hair())
	var c api.ClientBody
	due := func() string {
		var list api.VisitBody
		s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &list)
		for _, r := range list.Reminders {
			if r.Kind == "retouch" {
				return r.Due.Format(time.DateOnly)
			}
		}
		return ""
	}
	for _, x := range []struct{ growth, want string }{{"slow", "2027-03-22"}, {"quick", "2026-12-02"}, {"usual", "2027-01-03"}, {"", "2027-01-03"}} {
		a := s.call("GET", "/v1/clients/"+client, nil).is(200, &c)
		c.Growth = x.growth
		s.call("PUT", "/v1/clients/"+client, c, "If-Match", a.header.Get("ETag")).is(200, &c)
		require.Equal(t, x.want, due(), x.growth)
	}
}

func TestRulesOfCareReachVisitsCalendarsAndMessages(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	var rules api.CareRules
	a := s.call("GET", "/v1/care-rules", nil).is(200, &rules)
	require.Equal(t, api.CareRules{KeepDryHours: 48, NoTieHours: 48, GrowthCM: 1.1, SlowCM: 0.8, QuickCM: 1.3, Spread: 0.15, DueCM: 7.5, LookCM: 5, FloorMonths: 4, CapMonths: 12}, rules)
	v := s.straightened(client, s.nineOn(2026, time.June, 9), "Straightening", hair())
	require.True(t, v.KeepDryUntil.Equal(v.FinishedAt.Add(48*time.Hour)))
	a = s.call("PUT", "/v1/care-rules", object{"keep_dry_hours": 72, "no_tie_hours": 96, "growth_cm_per_month": 1.0, "retouch_due_cm": 8}, "If-Match", a.header.Get("ETag")).is(200, &rules)
	require.InDelta(t, 1.3, rules.QuickCM, 0, "what is left out keeps the default")
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &v)
	require.True(t, v.KeepDryUntil.Equal(v.FinishedAt.Add(72*time.Hour)))
	require.True(t, v.UntiedUntil.Equal(v.FinishedAt.Add(96*time.Hour)))
	due := map[string]time.Time{}
	for _, r := range v.Reminders {
		due[r.Kind] = r.Due
	}
	require.True(t, due["aftercare_end"].Equal(v.FinishedAt.Add(72*time.Hour)), due["aftercare_end"])
	require.Equal(t, "2027-02-08", due["retouch"].Format(time.DateOnly), "8 cm at 1 cm a month")
	var feed api.FeedBody
	s.call("POST", "/v1/feeds", object{"kind": "client", "subject_id": client}).is(201, &feed)
	calendar := string(s.call("GET", strings.TrimPrefix(feed.URL, "http://127.0.0.1"), nil).is(200, nil).body)
	calendar = strings.ReplaceAll(strings.ReplaceAll(calendar, "\r\n ", ""), "\\", "")
	for _, title := range []string{"Keep your hair dry until Fri 13:30", "Keep your hair untied until Sat 13:30"} {
		require.Contains(t, calendar, "SUMMARY:"+title+"\r\n")
	}
	require.Equal(t, 2, strings.Count(calendar, "TRIGGER;RELATED=END:PT0S"), "each with its own end")
	at := *s.clock.Load()
	s.at(s.nineOn(2027, time.January, 20))
	require.Contains(t, string(s.call("GET", strings.TrimPrefix(feed.URL, "http://127.0.0.1"), nil).is(200, nil).body), "DTSTART;VALUE=DATE:20270208")
	s.at(at)
	o := s.openings(s.straightening(), object{"first_date": "2026-06-15", "limit": 1}).Openings[0]
	require.True(t, o.KeepDryUntil.Equal(o.End.Add(72*time.Hour)))
	require.Contains(t, o.Words, "dry until Thu 13:30, untied until Fri 13:30")

	var booking api.RulesAnswer
	s.call("GET", "/v1/booking-rules", nil).is(200, &booking)
	require.Equal(t, "hair stays dry for 72 hours after straightening", booking.Spacing[0].Words)
	s.inInches()
	s.call("GET", "/v1/care-rules", nil).is(200, &rules)
	require.InDelta(t, 3.1496, rules.InInches.Due, 0, "8 cm / 2.54")
	for body, want := range map[string]string{
		`{"keep_dry_hours": 47}`: "keep_dry_hours", `{"no_tie_hours": 20}`: "no_tie_hours", `{"growth_cm_per_month": 0.7}`: "growth_cm_per_month",
		`{"retouch_due_cm": 4}`: "retouch_look_cm", `{"retouch_floor_months": 12, "retouch_cap_months": 6}`: "retouch_floor_months",
		`{"slow_cm_per_month": 0.4, "quick_cm_per_month": 1.05, "keep_dry_hours": 1}`: "keep_dry_hours slow_cm_per_month quick_cm_per_month",
	} {
		p := s.call("PUT", "/v1/care-rules", body, "If-Match", a.header.Get("ETag")).refused(422, "invalid")
		require.Equal(t, want, strings.ReplaceAll(strings.Join(pointers(p), " "), "body /", ""), body)
	}
	s.call("PUT", "/v1/care-rules", object{}, "If-Match", `"v1"`).refused(412, "stale")
}

func TestTheMapOfHairTellsWhatWasDoneWhere(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	path := "/v1/clients/" + client
	var m api.HairMapBody
	read := func(query string) {
		m = api.HairMapBody{}
		s.call("GET", path+"/hair-map"+query, nil).is(200, &m)
	}
	read("")
	require.Empty(t, m.Zones)
	require.Equal(t, "measure", asks(m.Ask))

	s.straightened(client, s.nineOn(2026, time.June, 9), "Straightening", hair())
	s.at(s.nineOn(2026, time.December, 9))
	read("")
	words := func() []string {
		var out []string
		for _, z := range m.Zones {
			out = append(out, z.Kind+" "+z.Words)
		}
		return out
	}
	require.Equal(t, []string{"new_growth 0 cm to 6.6 cm: new growth", "treated_once 6.6 cm to 41.6 cm: at least treated once"}, words())
	require.Equal(t, "history_unknown treated_before", codes(m.Cautions))
	require.Equal(t, "cut_since consultation", asks(m.Ask))

	var told api.HairTreatmentBody
	s.call("POST", path+"/hair-treatments", object{"kind": "relaxer_or_perm", "done_on": "2025-06-09"}).is(201, &told)
	read("?cut_cm=3")
	require.Equal(t, []string{"new_growth 0 cm to 6.6 cm: new growth", "treated_once 6.6 cm to 19.8 cm: treated once", "treated_more 19.8 cm to 38.6 cm: treated 2 times"}, words())
	require.Equal(t, []int{0, 1}, m.Zones[2].DoneBy)
	require.Equal(t, []api.HairDoneBody{{ID: told.ID, Where: "elsewhere", DoneOn: "2025-06-09", Kind: "relaxer_or_perm"},
		{Where: "here", DoneOn: "2026-06-09", Kind: "straightened", Service: "Straightening"}}, m.Done)
	require.Equal(t, "relaxed_or_permed treated_before", codes(m.Cautions))
	require.Contains(t, m.Cautions[1].Text, "about 35 % of its strength")
	require.InDelta(t, 3, m.CutCM, 0)
	require.Empty(t, m.Ask)

	s.measured(client, "2026-12-09", 36, 6)
	s.straightened(client, s.nineOn(2026, time.December, 10), "Regrowth retouch", hairWith(object{"length_cm": 36, "regrowth_cm": 6, "new_client": false}))
	read("")
	require.Equal(t, []string{"treated_once 0 cm to 6 cm: treated once", "treated_once 6 cm to 11 cm: treated once, reached beside it by a retouch"}, words()[:2])
	require.Contains(t, codes(m.Cautions), "overlap")
	require.InDelta(t, 5, m.CutCM, 0.11, "36 cm where 41 should have been")

	s.inInches()
	read("")
	require.InDelta(t, 4.3307, *m.Zones[1].ToIn, 1e-4, "11 cm / 2.54")
	require.Contains(t, m.Zones[0].Words, "0 in to 2.36 in")
	require.NotContains(t, fmt.Sprint(m.Cautions), " cm")

	desk := s.as(store.Desk)
	for _, x := range []string{"/hair-map", "/hair-treatments"} {
		desk.call("GET", path+x, nil).refused(403, "forbidden")
	}
	seen := string(desk.call("GET", path+"/expected-hair", nil).is(200, nil).body)
	require.NotContains(t, seen, "relaxer")
	require.NotContains(t, seen, "2025")
	require.Equal(t, "body /done_on", pointers(s.call("POST", path+"/hair-treatments", object{"kind": "coloured", "done_on": "2027-01-01"}).refused(422, "invalid"))[0])
	other := s.client("Nora")
	s.call("DELETE", "/v1/clients/"+other+"/hair-treatments/"+told.ID, nil).refused(404, "not-found")
	s.call("DELETE", path+"/hair-treatments/"+told.ID, nil).is(204, nil)
	s.call("GET", path+"/hair-treatments", nil).is(200, nil)
}

func codes(list []api.CautionBody) string {
	var out []string
	for _, c := range list {
		out = append(out, c.Code)
	}
	return strings.Join(out, " ")
}

package api_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// underWay brings the visit of a request to where the operation can be carried
// out, and gives the request the tag that the visit has then.
func (s *salon) underWay(visit, operation string, r *request) {
	s.t.Helper()
	var v api.VisitBody
	s.call("GET", visit, nil).is(200, &v)
	s.at(v.Start)
	x := &noting{s, v.ID, `"v1"`, v}
	x.ok("arrive")
	if operation == "hair-as-seen" {
		return
	}
	s.hairSeen(v.ID)
	s.at(v.Start.Add(40 * time.Minute))
	x.ok(x.step("apply") + "start")
	s.at(v.Start.Add(50 * time.Minute))
	switch operation {
	case "undo-rinse-now":
		s.call("POST", visit+"/rinse-now", nil).is(201, nil)
	case "clear-follow-up":
		a := s.call("POST", visit+"/stop", object{"reason": "other", "outcome": "rinsed", "licensed": "Ada"}).is(201, &v)
		r.headers = []string{"If-Match", a.header.Get("ETag")}
	case "book-correction":
		s.at(v.End)
		x.ok("finish")
	}
}

// inSolution is today's visit with product on the hair since 9:40.
func inSolution(s *salon) *noting {
	s.t.Helper()
	x := today(s)
	s.at(monday(9, 0))
	x.ok("arrive")
	s.hairSeen(x.id)
	s.at(monday(9, 40))
	x.ok(x.step("apply") + "start")
	return x
}

// write notes a fact, which is named by the member of the body that says it.
func (x *noting) write(fact object, at ...time.Time) api.FactAnswer {
	x.t.Helper()
	var out api.FactAnswer
	x.call("POST", "/v1/visits/"+x.id+"/card/facts", factBody(fact, at...)).is(201, &out)
	return out
}

func factBody(fact object, at ...time.Time) object {
	body := object{}
	for k, v := range fact {
		body["kind"], body[k] = k, v
	}
	if len(at) > 0 {
		body["at"] = at[0]
	}
	return body
}

func (x *noting) card() api.CardBody {
	x.t.Helper()
	var c api.CardBody
	x.call("GET", "/v1/visits/"+x.id+"/card", nil).is(200, &c)
	return c
}

func (x *noting) now() api.NowBody {
	x.t.Helper()
	var b api.NowBody
	x.call("GET", "/v1/visits/"+x.id+"/now", nil).is(200, &b)
	return b
}

// flagged lists flags as level and code.
func flagged(list []api.FlagBody) []string {
	out := []string{}
	for _, f := range list {
		out = append(out, f.Level+" "+f.Code)
	}
	return out
}

// asked lists what a card still asks for.
func asked(list []api.CardQuestionBody) []string {
	out := []string{}
	for _, q := range list {
		out = append(out, strings.TrimSpace(q.Code+" "+q.Flag))
	}
	return out
}

func TestADangerousFactIsWrittenDownFlaggedAndAskedAbout(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	s.at(monday(10, 56))
	x.ok(x.step("iron") + "start")
	got := x.write(object{"iron": object{"setting": 392, "unit": "F"}})
	require.Equal(t, "iron at 392 °F", got.Fact.Words)
	require.Equal(t, []string{"over iron_too_hot"}, flagged(got.Flags))
	require.Equal(t, "The iron was set to 200 °C; never above 180 °C.", got.Flags[0].Words)
	require.True(t, got.Flags[0].AsksReason)
	require.Contains(t, asked(got.Open), "reason iron_too_hot")
	require.NotContains(t, asked(got.Open), "iron", "it was told")
	dry := x.write(object{"dryness": object{"percent": 70}})
	require.Equal(t, []string{"over ironed_wet"}, flagged(dry.Flags))
	press := x.write(object{"press": object{"seconds": 6, "passes": 6}})
	require.Equal(t, []string{"over iron_contact", "warn long_press"}, flagged(press.Flags))

	// A reason answers the flag that it names.
	why := x.write(object{"reason": object{"flag": "iron_too_hot", "fact_id": got.Fact.ID, "text": "the dial slipped"}})
	require.NotContains(t, asked(why.Open), "reason iron_too_hot")
	c := x.card()
	// The run of product is inferred to have ended at 10:29, by the plan.
	require.Equal(t, []string{"over iron_too_hot", "over ironed_wet", "over iron_contact", "warn long_press", "warn exposure_long"}, flagged(c.Flags))
	require.Equal(t, "the dial slipped", c.Flags[0].Reasons[0].Text)
	require.Equal(t, "owner", c.Flags[0].Reasons[0].By)
	require.Equal(t, []string{"reason ironed_wet", "reason iron_contact", "solution", "check"}, asked(c.Open))
	require.Len(t, c.Product, 1)
	require.True(t, c.Product[0].Inferred)
	require.Equal(t, monday(9, 40).Unix(), c.Product[0].FirstStrand.Unix())
	for _, bad := range []struct {
		fact object
		at   string
	}{
		{object{"reason": object{"flag": "no_such", "text": "x"}}, "body /reason/flag"},
		{object{"reason": object{"flag": "iron_too_hot", "fact_id": dry.Fact.ID, "text": "x"}}, "body /reason/fact_id"},
		{object{"iron": object{"setting": 700, "unit": "F"}}, "body /iron/setting"},
		{object{"check": object{"stretch": 3, "ready": true, "next_minutes": 5}}, "body /check/stretch"},
		{object{"press": object{"seconds": -1, "passes": 1}}, "body /press/seconds"},
		{object{"dryness": object{"percent": 101}}, "body /dryness/percent"},
		{object{"solution": object{"product": "", "ml": 5000}}, "body /solution/product"},
		{object{"aftercare": object{"how": []string{}}}, "body /aftercare/how"},
		{object{"pause": object{"minutes": 0}}, "body /pause/minutes"},
	} {
		before := x.card()
		p := x.call("POST", "/v1/visits/"+x.id+"/card/facts", factBody(bad.fact)).refused(422, "invalid")
		require.Contains(t, pointers(p), bad.at)
		require.Equal(t, before, x.card())
	}
}

func TestAFactSaysWhatItsKindNamesAndWhereAndWhenItWas(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	send := func(body object) api.Problem {
		return x.call("POST", "/v1/visits/"+x.id+"/card/facts", body).refused(422, "invalid")
	}
	require.Equal(t, []string{"body /iron", "body /dryness"}, pointers(send(object{"kind": "iron", "dryness": object{"percent": 90}})))
	p := send(object{"kind": "dryness", "dryness": object{"percent": 190}, "iron": object{"setting": 1}, "step": 14, "at": monday(9, 42)})
	require.ElementsMatch(t, []string{"body /at", "body /dryness/percent", "body /iron", "body /step"}, pointers(p), "all at once")
	p = send(object{"kind": "check", "check": object{"stretch": 3, "ready": true, "next_minutes": 61}, "iron": object{"setting": 1, "unit": "C"}, "step": 200})
	require.ElementsMatch(t, []string{"body /check/next_minutes", "body /check/stretch", "body /iron", "body /step"}, pointers(p), "in one round")
	require.Equal(t, []string{"body /at"}, pointers(send(factBody(object{"dryness": object{"percent": 90}}, monday(0, 0).Add(-time.Second)))))
	x.write(object{"dryness": object{"percent": 90}}, monday(9, 10))

	tomorrow, _ := s.book(s.client("Nora"), monday(9, 0).AddDate(0, 0, 1), s.straightening())
	body := factBody(object{"dryness": object{"percent": 90}})
	require.Contains(t, s.call("POST", "/v1/visits/"+tomorrow.ID+"/card/facts", body).refused(409, "conflict").Detail, "cannot have begun yet")
	s.call("POST", "/v1/visits/"+tomorrow.ID+"/cancel", nil, "If-Match", `"v1"`).is(200, nil)
	require.Contains(t, s.call("POST", "/v1/visits/"+tomorrow.ID+"/card/facts", body).refused(409, "conflict").Detail, "cancelled")
	s.call("POST", "/v1/visits/nobody/card/facts", body).refused(404, "not-found")

	// A fact that is sent twice is written once.
	for range 2 {
		a := s.call("POST", "/v1/visits/"+x.id+"/card/facts", object{"kind": "pause", "pause": object{"minutes": 5}, "at": monday(9, 20)}, "Idempotency-Key", "again").is(201, nil)
		require.NotEmpty(t, a.body)
	}
	require.Len(t, x.card().Facts, 3, "hair as seen, dryness, pause")
}

func TestACorrectionKeepsWhatWasWrittenBefore(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	first := x.write(object{"iron": object{"setting": 200}}).Fact
	correct := func(id string, body object) answer {
		return x.call("POST", "/v1/visits/"+x.id+"/card/facts/"+id+"/correction", body)
	}
	var second api.FactAnswer
	correct(first.ID, object{"iron": object{"setting": 170}, "at": monday(9, 30)}).is(201, &second)
	require.Empty(t, second.Flags)
	require.Equal(t, first.ID, second.Fact.Replaces)
	c := x.card()
	require.Empty(t, c.Flags, "what does not stand is not flagged")
	require.Equal(t, []string{"iron at 200 °C", "iron at 170 °C"}, []string{c.Facts[1].Words, c.Facts[2].Words})
	require.Equal(t, second.Fact.ID, c.Facts[1].ReplacedBy)
	require.Equal(t, "09:30", c.Facts[2].At.Format("15:04"))
	require.InDelta(t, 200, c.Facts[1].Iron.Setting, 0)

	require.Contains(t, correct(first.ID, object{"iron": object{"setting": 160}}).refused(409, "conflict").Detail, "corrected already")
	require.Equal(t, []string{"body /iron", "body /dryness"}, pointers(correct(second.Fact.ID, object{"dryness": object{"percent": 1}}).refused(422, "invalid")))
	require.Equal(t, []string{"body /at", "body /iron"}, pointers(correct(second.Fact.ID, object{"take_back": true, "at": monday(9, 1), "iron": object{"setting": 1}}).refused(422, "invalid")))
	require.Contains(t, correct(c.Facts[0].ID, object{"take_back": true}).refused(409, "conflict").Detail, "looking at it again")
	correct("nothing", object{"take_back": true}).refused(404, "not-found")
	var third api.FactAnswer
	correct(second.Fact.ID, object{"take_back": true}).is(201, &third)
	require.True(t, third.Fact.TakenBack)
	require.Equal(t, "taken back", third.Fact.Words)
	require.Len(t, x.card().Facts, 4)
	require.Contains(t, correct(third.Fact.ID, object{"take_back": true}).refused(409, "conflict").Detail, "note it anew")
}

func TestTheCheckClockRunsFromTheFirstStrand(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	require.Empty(t, x.now().Flags)
	at := func(h, m int) api.NowBody { s.at(monday(h, m)); return x.now() }
	b := at(9, 45)
	require.Equal(t, []any{"solution", "working", 5, true, false}, []any{b.Product, b.Watch, b.Minutes, b.RinseNow, b.Inferred})
	require.Equal(t, []string{"Check at 09:50, no later than 09:53.", "Product on first section 5 min.", "Off by 10:40 at the latest."}, b.Words)
	require.Equal(t, "10:20", b.WarnAt.Format("15:04"))
	require.Equal(t, "apply", b.Step.Kind)
	require.Equal(t, "look_due", at(9, 50).Watch)
	s.at(monday(9, 51))
	got := x.write(object{"check": object{"stretch": 1.1, "returned": true, "ready": false}})
	require.Equal(t, "Check at 09:56, no later than 09:59.", got.Now.Words[0])
	s.at(monday(10, 20))
	x.ok(x.step("process") + "start")
	b = at(10, 25)
	require.Equal(t, []string{"warn exposure_long"}, flagged(b.Flags))
	require.Equal(t, "look_late", b.Watch)
	got = x.write(object{"check": object{"stretch": 1.2, "ready": false, "next_minutes": 3}})
	require.Equal(t, "10:28", got.Now.NextCheck.Format("15:04"))
	// However long the next look is away, the maximum comes first.
	s.at(monday(10, 37))
	got = x.write(object{"check": object{"stretch": 1.3, "ready": false}})
	require.True(t, got.Now.AtMaximum)
	require.Equal(t, "Rinse at 10:40, at the maximum, ready or not.", got.Now.Words[0])
	b = at(10, 40)
	require.Equal(t, "at_maximum", b.Watch)
	require.Equal(t, "Rinse now: product has been on for as long as it may.", b.Words[0])
	require.Equal(t, []string{"over exposure"}, flagged(b.Flags))
	x.ok(x.step("rinse_1") + "start")
	b = x.now()
	require.Equal(t, []any{"none", "", 0, false}, []any{b.Product, b.Watch, b.Minutes, b.RinseNow})
	c := x.card()
	require.InDelta(t, 60, c.Product[0].Minutes, 0)
	require.Equal(t, []string{"over exposure"}, flagged(c.Flags))
	require.Contains(t, asked(c.Open), "reason exposure")

	// Too short a neutralizer is flagged, too, once both its ends were noted.
	s.at(monday(12, 30))
	x.ok(x.step("neutral") + "start")
	s.at(monday(12, 50))
	x.ok(x.step("dwell") + "start")
	require.Equal(t, "Neutralizer working: rinse at 12:55, not before.", x.now().Words[0])
	s.at(monday(12, 53))
	x.ok(x.step("dry_2")+"start", monday(12, 53))
	require.NotContains(t, flagged(x.card().Flags), "over neutralizer_short", "when it was rinsed is inferred")
	x.ok(x.step("rinse_2")+"start", monday(12, 53))
	require.Contains(t, flagged(x.card().Flags), "over neutralizer_short")
}

func TestALookThatFindsItNotReadyShowsInTheDay(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	s.at(monday(10, 5))
	x.ok(x.step("process") + "start") // planned for 15 minutes
	rinse := func() string {
		for _, v := range s.delays("2026-06-08").Visits {
			for _, st := range v.Steps {
				if v.VisitID == x.id && st.Kind == "rinse_1" {
					return st.Start.Format("15:04")
				}
			}
		}
		return ""
	}
	require.Equal(t, "10:20", rinse(), "as long as it is booked for")
	s.at(monday(10, 17))
	before := s.call("GET", "/v1/days/2026-06-08/delays", nil).is(200, nil).header.Get("ETag")
	x.write(object{"check": object{"stretch": 1.1, "ready": false}})
	require.Equal(t, "10:22", rinse())
	require.NotEqual(t, before, s.call("GET", "/v1/days/2026-06-08/delays", nil).is(200, nil).header.Get("ETag"))
	x.write(object{"check": object{"stretch": 1.3, "ready": true}})
	require.Equal(t, "10:20", rinse(), "ready after all")
	s.at(monday(10, 38))
	x.write(object{"check": object{"stretch": 1.2, "ready": false, "next_minutes": 30}})
	require.Equal(t, "10:40", rinse(), "the maximum comes before a look that is long away")
}

func TestADeskDoesNotReadCardsAndAnAssistantWritesThem(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	desk, assistant := s.as(store.Desk), s.as(store.AssistantRole)
	desk.call("GET", "/v1/visits/"+x.id+"/card", nil).refused(403, "forbidden")
	desk.call("GET", "/v1/visits/"+x.id+"/now", nil).is(200, nil)
	assistant.call("POST", "/v1/visits/"+x.id+"/card/facts", factBody(object{"dryness": object{"percent": 90}})).is(201, nil)
	assistant.call("GET", "/v1/visits/"+x.id+"/card", nil).is(200, nil)
	assistant.call("GET", "/v1/clients/"+x.v.ClientID+"/cards", nil).refused(403, "forbidden")
}

func TestALaterChangeOfSettingsDoesNotRewriteACard(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	x.write(object{"iron": object{"setting": 170}})
	var n api.SalonBody
	a := s.call("GET", "/v1/salon", nil).is(200, &n)
	n.ChairTime = map[string]float64{"iron_max_celsius": 165, "iron_max_damaged_celsius": 150}
	n.ID, n.Zone = "", ""
	raw, err := json.Marshal(n)
	require.NoError(t, err)
	s.call("PUT", "/v1/salon", string(raw), "If-Match", a.header.Get("ETag")).is(200, nil)
	require.Empty(t, x.card().Flags)
	require.Empty(t, x.write(object{"iron": object{"setting": 171}}).Flags, "the day is judged by the limits of its card")
}

func TestEveryKindOfFactIsCheckedFieldByField(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	s.at(monday(10, 0))
	x.write(object{"iron": object{"setting": 200}})
	sp := readSpec(t)
	var op operation
	for _, ops := range sp.Paths {
		for _, o := range ops {
			if o.ID == "add-card-fact" {
				op = o
			}
		}
	}
	before := x.card()
	tried := 0
	for _, fact := range []object{
		{"check": object{"stretch": 1.2, "returned": true, "ready": false, "next_minutes": 5}},
		{"solution": object{"product": "Solution for normal hair", "strength": "9 %", "ml": 80}},
		{"neutralizer": object{"product": "Neutralizer", "strength": "2 %", "ml": 80}},
		{"iron": object{"setting": 170, "unit": "C"}},
		{"press": object{"seconds": 2.5, "passes": 1}},
		{"dryness": object{"percent": 90}},
		{"result": object{"outcome": "as_wished", "text": "smooth"}},
		{"aftercare": object{"how": []string{"said"}, "text": "swims on Fridays"}},
		{"pause": object{"minutes": 5, "text": "tea"}},
		{"interruption": object{"text": "fire alarm"}},
		{"reason": object{"flag": "iron_too_hot", "fact_id": before.Facts[len(before.Facts)-1].ID, "text": "slipped"}},
	} {
		body := factBody(fact, monday(9, 50))
		body["step"] = 3
		for _, w := range sp.wrongs(t, body, sp.body(op)) {
			raw, err := json.Marshal(w.body)
			require.NoError(t, err)
			a := x.call("POST", "/v1/visits/"+x.id+"/card/facts", string(raw))
			p := a.refused(422, "invalid")
			require.True(t, names(p, w.at), "%s: %s is answered with %v", body["kind"], w.what+" at "+w.at, p.Errors)
			plainAnswer(t, w.what, w.at, a)
			tried++
		}
	}
	require.Equal(t, before, x.card())
	require.Greater(t, tried, 800)
}

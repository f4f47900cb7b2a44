package stylist_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// reader is somebody who is signed in and uses the pages without scripts.
type reader struct {
	t *testing.T
	v *webtest.Visitor
}

func signedIn(t *testing.T, s *webtest.Salon, role store.Role, staff string) *reader {
	t.Helper()
	x := &reader{t, s.Visitor(t)}
	x.v.Get(s.Link(role, staff))
	return x
}

func (x *reader) get(path string, status int) string {
	x.t.Helper()
	return x.read(x.v.Get(path), status)
}

func (x *reader) read(a webtest.Answer, status int) string {
	x.t.Helper()
	require.Equal(x.t, status, a.Status, "%s: %s", a.Path, a.Body)
	require.Equal(x.t, "no-store", a.Header.Get("Cache-Control"), a.Path)
	return a.Body
}

// post sends a form and returns the page that it leads to.
func (x *reader) post(path string, status int, fields ...string) string {
	x.t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Add(fields[i], fields[i+1])
	}
	return x.read(x.v.Post(path, form), status)
}

var tags = regexp.MustCompile(`<[^>]*>`)

func TestWithoutScriptsAVisitIsRunByForms(t *testing.T) {
	s, v := booked(t)
	x := signedIn(t, s, store.LeadRole, s.Ada)
	tap := "/my-day/visits/" + v.ID + "/tap"
	require.Contains(t, x.post(tap, 200, "kind", "arrive", "key", "a"), "Is here since 09:00")
	require.Contains(t, x.post("/my-day/visits/"+v.ID+"/hair", 200, "unchanged", "true", "key", "h"), "Hair as seen is noted.")
	s.At(at(9, 45))
	apply := itoa(int64(step(run(s, v.ID), "apply").Ordinal))
	page := x.post(tap, 200, "kind", "start", "step", apply, "key", "b", "clock", "09:40")
	require.Contains(t, page, `<b id="check">09:50</b>`)
	require.Contains(t, page, "Product on first section since 09:40: 5 min.")
	require.True(t, run(s, v.ID).Now.FirstStrand.Equal(at(9, 40)), "forgotten, and noted with its time")
	require.Contains(t, x.post(tap, 200, "kind", "start", "step", "7", "key", "c", "made", itoa(at(9, 45).UnixMilli()), "after", "tap"), "Pressed twice")
	require.Nil(t, run(s, v.ID).Steps[7].RealStart)
	page = x.post(tap, 422, "kind", "start", "step", "7", "key", "d", "clock", "25:99", "which", "-at")
	require.Contains(t, page, `href="#f-clock-7-start-at"`)
	require.Contains(t, page, "is no time of day")
	require.Contains(t, page, `value="25:99"`, "what was typed is not lost")
	page = x.post(tap, 422, "kind", "solution", "key", "e", "solution-product", "Soft <b>Wave", "solution-ml", "much")
	require.Contains(t, page, "is no number")
	require.Contains(t, page, "Soft &lt;b&gt;Wave")
	require.Contains(t, x.post(tap, 200, "kind", "rinse_now", "key", "f"), "Do not iron.")
	require.NotNil(t, run(s, v.ID).Now.Rinsed)
	require.Contains(t, x.post(tap, 200, "kind", "undo_rinse_now", "key", "g"), "Taken back.")
	require.Contains(t, x.post(tap, 200, "kind", "undo", "step", apply, "key", "i"), "Taken back.")
	require.Equal(t, "none", run(s, v.ID).Now.Product)
	x.get("/my-day/visits/0199aaaa-0000-7000-8000-000000000000", 404)
}

func TestADayHasNothingButFirstNamesAndStepsWhereItIsKept(t *testing.T) {
	s := webtest.New(t, mount)
	s.At(nine)
	v := s.Straightening(s.Client("ليلى", "Kestrel"), s.Ada, nine)
	s.Straightening(s.Client("<script>alert(1)</script>", strings.Repeat("x", 60)), s.Noor, nine)
	s.Ask(http.MethodPut, "/booking-rules", webtest.Object{"hold_minutes": 10}, 200, nil, "If-Match", s.Ask(http.MethodGet, "/booking-rules", nil, 200, nil).Get("ETag"))
	ada := signedIn(t, s, store.LeadRole, s.Ada)
	day := ada.get("/my-day/", 200)
	require.Contains(t, day, "ليلى K.")
	require.Contains(t, day, "Still needed:")
	require.Contains(t, day, "as of 09:00")
	kept := ada.get("/my-day/?kept=1", 200)
	require.NotContains(t, kept, "K.")
	require.NotContains(t, kept, "Still needed")
	visit := ada.get("/my-day/visits/"+v.ID, 200)
	require.Contains(t, visit, "Still needed before it begins")
	kept = ada.get("/my-day/visits/"+v.ID+"?kept=1", 200)
	for _, word := range []string{"Kestrel", "K.", "Still needed", "kin test", "told us", "/told", "Record card"} {
		require.NotContains(t, kept, word)
	}
	noor := signedIn(t, s, store.LeadRole, s.Noor)
	require.Contains(t, noor.get("/my-day/", 200), "&lt;script&gt;")
	require.NotContains(t, noor.get("/my-day/", 200), "ليلى", "another's clients are not on her day")
	desk := signedIn(t, s, store.Desk, "")
	desk.get("/my-day/", 403)
	owner := signedIn(t, s, store.Owner, "")
	require.Contains(t, owner.get("/my-day/", 200), "Whose day")
	require.Contains(t, owner.get("/my-day/?staff="+s.Ada, 200), "ليلى K.")
	ada.get("/my-day/?date=yesterday", 404)
	require.Contains(t, ada.get("/my-day/?date=2026-06-08", 200), "Nothing is planned for you on that day")
	require.Contains(t, ada.get("/my-day/?date=2026-06-08", 200), "Tue 9 June")
}

func TestTheLicensedPersonLetsAVisitBeginWithoutSomething(t *testing.T) {
	s := webtest.New(t, mount)
	s.At(nine)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, nine)
	tag := s.Ask(http.MethodGet, "/booking-rules", nil, 200, nil).Get("ETag")
	s.Ask(http.MethodPut, "/booking-rules", webtest.Object{"hold_minutes": 10, "needs": webtest.Object{"skin_test_for": "nothing", "strand_test_for": "nothing",
		"deposit_for": "nothing", "consent_for": "nothing"}}, 200, nil, "If-Match", tag)
	x := signedIn(t, s, store.LeadRole, s.Ada)
	here := "/my-day/visits/" + v.ID
	require.Contains(t, x.get(here, 200), "Begin without it")
	page := x.post(here+"/without", 422, "kind", "consultation", "reason", "x")
	require.Contains(t, page, `id="e-reason-consultation"`)
	require.Contains(t, x.post(here+"/without", 200, "kind", "consultation", "reason", "I have known her <hair> for years"), "Noted: the visit may begin without it.")
	require.NotContains(t, x.get(here, 200), "Begin without it")
	x.post(here+"/without", 409, "kind", "consent", "reason", "no need")
	desk := signedIn(t, s, store.AssistantRole, s.Mina)
	desk.post(here+"/without", 403, "kind", "consultation", "reason", "because")
}

func TestAnAssistantSeesHerPartAndEndsNoVisit(t *testing.T) {
	s, v := looked(t)
	s.At(at(9, 39))
	mina := signedIn(t, s, store.AssistantRole, s.Mina)
	require.Contains(t, mina.get("/my-day/", 200), "(you help)")
	apply := itoa(int64(step(run(s, v.ID), "apply").Ordinal))
	require.Contains(t, mina.post("/my-day/visits/"+v.ID+"/tap", 200, "kind", "start", "step", apply, "key", "a"), "Rinse now")
	page := mina.get("/my-day/visits/"+v.ID, 200)
	require.Contains(t, page, "Ada Birch ends the visit.")
	require.NotContains(t, page, "/stop")
	require.NotContains(t, page, "/told")
	mina.get("/my-day/visits/"+v.ID+"/told", 403)
	mina.get("/my-day/visits/"+v.ID+"/stop", 403)
	mina.get("/my-day/calendar", 403)
	mina.get("/my-day/visits/"+v.ID+"/card", 200)
	mina.post("/my-day/visits/"+v.ID+"/tap", 403, "kind", "done", "key", "b")
}

func TestWhatAClientToldIsForTheStylistInChargeAndTheOwnerAlone(t *testing.T) {
	s, v := booked(t)
	told := "/my-day/visits/" + v.ID + "/told"
	for _, who := range []struct {
		role   store.Role
		staff  string
		status int
	}{{store.LeadRole, s.Ada, 200}, {store.Owner, "", 200}, {store.LeadRole, s.Noor, 403}, {store.LeadRole, "", 403}, {store.AssistantRole, s.Mina, 403}, {store.Desk, "", 403}} {
		x := signedIn(t, s, who.role, who.staff)
		x.get(told, who.status)
		x.get(told+"?look=tests", who.status)
		if who.status != 200 {
			x.post(told+"/reaction", 403, "prefix", "reaction", "reaction-note", "burns")
		}
	}
	ada := signedIn(t, s, store.LeadRole, s.Ada)
	require.NotContains(t, title(ada.get(told, 200)), "Juna")
	page := ada.post(told+"/answers", 422, "key", "k", "q-perm", "not_sure")
	require.Contains(t, page, "Not answered:")
	require.Contains(t, page, `name="q-perm" value="not_sure" checked`, "what was ticked is not lost")
	var form api.ConsultationForm
	s.Ask(http.MethodGet, "/consultation-form", nil, 200, &form)
	fields := []string{"key", "k2", "agreed", "true", "by", "client"}
	given := map[string]string{}
	for _, q := range form.Questions {
		answer := map[string]string{"yes_no_not_sure": "no", "date": "not_sure", "text": "nothing"}[q.Kind]
		if q.Kind == "choice" {
			answer = q.Choices[0].ID
		}
		if q.ID == "reaction" || q.ID == "earlier_reaction" {
			answer = "not_sure"
		}
		if q.After != "" && given[q.After] == "no" || q.Optional {
			continue
		}
		given[q.ID] = answer
		fields = append(fields, "q-"+q.ID, answer)
	}
	page = ada.post(told+"/answers", 200, fields...)
	require.Contains(t, page, "The answers are kept, encrypted.")
	id := regexp.MustCompile(`name="id" value="([^"]+)"`).FindStringSubmatch(page)[1]
	page = ada.post(told+"/decision", 200, "id", id, "decision", "yes", "why", "looked at <it>")
	require.Contains(t, page, "Your decision is noted.")
	page = ada.get(told+"?open="+id, 200)
	require.Contains(t, page, "looked at &lt;it&gt;")
	require.Contains(t, page, "Ada Birch")
	page = ada.post(told+"/skin", 200, "prefix", "skin", "skin-product", "Soft Wave", "skin-strength", "N", "skin-place", "inner_elbow")
	require.Contains(t, page, "Soft Wave N")
	test := regexp.MustCompile(`name="id" value="([^"]+)"`).FindStringSubmatch(page)[1]
	s.At(nine.Add(time.Hour))
	require.Contains(t, ada.post(told+"/reading", 200, "prefix", "r"+test, "id", test, "r"+test+"-result", "positive"), "positive: not to be used on this client")
	require.Contains(t, ada.post(told+"/strand", 422, "prefix", "strand", "strand-product", "Soft Wave", "strand-strength", "N"), "result")
	require.Contains(t, ada.post(told+"/strand", 200, "prefix", "strand", "strand-product", "Soft Wave", "strand-strength", "N", "strand-result", "snapped"), "<b>snapped</b>")
	require.Contains(t, ada.post(told+"/reaction", 200, "prefix", "reaction", "reaction-note", strings.Repeat("red ", 50)), "The reaction is noted.")
	pressedTwice(t, s, ada, v.ClientID, told)
	long := ada.post(told+"/reaction", 422, "prefix", "reaction", "reaction-note", strings.Repeat("n", 1000))
	require.Contains(t, long, strings.Repeat("n", 1000), "what was typed is not lost")
}

func TestNotSureOfADateIsKeptWhenTheRestIsRefused(t *testing.T) {
	s, v := booked(t)
	ada := signedIn(t, s, store.LeadRole, s.Ada)
	var form api.ConsultationForm
	s.Ask(http.MethodGet, "/consultation-form", nil, 200, &form)
	dates := 0
	for _, q := range form.Questions {
		if q.Kind != "date" {
			continue
		}
		dates++
		page := ada.post("/my-day/visits/"+v.ID+"/told/answers", 422, "key", "k", "q-"+q.ID+"-unknown", "true")
		require.Contains(t, page, `name="q-`+q.ID+`-unknown" value="true" checked`)
		require.NotContains(t, page, "Not answered: "+q.Text)
		page = ada.post("/my-day/visits/"+v.ID+"/told/answers", 422, "key", "k", "q-"+q.ID, "2026-06-01")
		require.Contains(t, page, `name="q-`+q.ID+`" value="2026-06-01"`)
	}
	require.Positive(t, dates)
}

// pressedTwice presses the buttons of tests and reactions with wet hands.
func pressedTwice(t *testing.T, s *webtest.Salon, ada *reader, client, told string) {
	t.Helper()
	many := func(what string) int {
		var list struct{ Items []map[string]any }
		s.Ask(http.MethodGet, "/clients/"+client+"/"+what, nil, 200, &list)
		return len(list.Items)
	}
	for _, x := range []struct {
		form, list string
		typed      []string
	}{
		{"skin", "skin-tests", []string{"skin-product", "Soft Wave", "skin-strength", "N", "skin-place", "inner_elbow"}},
		{"strand", "strand-tests", []string{"strand-product", "Soft Wave", "strand-strength", "N", "strand-result", "fine"}},
		{"reaction", "reactions", []string{"reaction-note", "red"}},
	} {
		page := ada.get(told+"?look=tests", 200)
		key := regexp.MustCompile(regexp.QuoteMeta(told+"/"+x.form) + `"><input type="hidden" name="key" value="([^"]+)"`).FindStringSubmatch(page)
		require.NotNil(t, key, "the form %s has a key", x.form)
		before := many(x.list)
		for range 2 {
			ada.post(told+"/"+x.form, 200, append([]string{"prefix", x.form, "key", key[1]}, x.typed...)...)
		}
		require.Equal(t, before+1, many(x.list), x.form)
	}
}

func title(page string) string {
	_, rest, _ := strings.Cut(page, "<title>")
	out, _, _ := strings.Cut(rest, "</title>")
	return out
}

func TestHairAsSeenShowsChoicesAndAsksForTheClientsYes(t *testing.T) {
	s := webtest.New(t, mount)
	var service webtest.Object // priced by its minutes
	path := "/services/" + s.Services["Straightening"]
	tag := s.Ask(http.MethodGet, path, nil, 200, &service).Get("ETag")
	for _, readOnly := range []string{"id", "version", "made_at", "words", "$schema"} {
		delete(service, readOnly)
	}
	service["price_rule"] = webtest.Object{"by": "minutes", "cents_per_minute": 110, "round_up_to_cents": 500}
	s.Ask(http.MethodPut, path, service, 200, nil, "If-Match", tag)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, nine)
	s.At(nine)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/taps", webtest.Object{"kind": "arrive"}, http.StatusCreated, nil)
	x := signedIn(t, s, store.LeadRole, s.Ada)
	hair := "/my-day/visits/" + v.ID + "/hair"
	fields := []string{"length", "45", "density", "medium", "strand", "medium", "porosity", "normal", "damaged", "no", "regrowth", "0"}
	require.Contains(t, x.post(hair, 422, "length", "long"), "This is no number")
	page := x.post(hair, 200, fields...)
	text := tags.ReplaceAllString(page, "")
	require.Contains(t, text, "What do you do?")
	require.Contains(t, text, "Go on until")
	require.Contains(t, text, "Hairline only")
	require.Contains(t, text, "Rebook")
	require.Contains(t, text, "The client agreed to")
	page = x.post(hair, 422, append(fields, "choice", "go_on", "key", "one")...)
	require.Contains(t, page, "client has agreed")
	require.Contains(t, page, "What do you do?", "the choices are shown again")
	page = x.post(hair, 200, append(fields, "choice", "go_on", "key", "two", "agreed", "true")...)
	require.Contains(t, page, "Hair as seen is noted.")
	require.Contains(t, run(s, v.ID).HairSeen, "45 cm")
	require.True(t, run(s, v.ID).End.After(v.End))
	s.At(at(9, 40))
	x.post("/my-day/visits/"+v.ID+"/tap", 200, "kind", "start", "step", itoa(int64(step(run(s, v.ID), "apply").Ordinal)), "key", "on")
	require.Contains(t, x.post(hair, 409, "unchanged", "true", "key", "late"), "hair is looked at before solution goes on")
}

func TestAVisitIsStoppedWithReasonAndOutcome(t *testing.T) {
	s, v := looked(t)
	s.At(at(9, 39))
	x := signedIn(t, s, store.LeadRole, s.Ada)
	apply := itoa(int64(step(run(s, v.ID), "apply").Ordinal))
	x.post("/my-day/visits/"+v.ID+"/tap", 200, "kind", "start", "step", apply, "key", "a")
	s.At(at(9, 50))
	stop := "/my-day/visits/" + v.ID + "/stop"
	page := x.post(stop, 422, "detail", "it <burns>", "told", "owner", "key", "b")
	require.Contains(t, page, "Say why the visit is stopped")
	require.Contains(t, page, "it &lt;burns&gt;")
	require.Contains(t, page, `value="owner" checked`)
	page = x.post(stop, 200, "reason", "skin", "outcome", "rinsed", "detail", "it burns", "told", "owner", "told", "client", "key", "c")
	require.Contains(t, page, "The visit is stopped.")
	require.Equal(t, "stopped_early", run(s, v.ID).State)
}

func TestTheCardKeepsWhatWasCorrectedAndAsksWhy(t *testing.T) {
	s, v := looked(t)
	s.At(at(11, 0))
	x := signedIn(t, s, store.LeadRole, s.Ada)
	card := "/my-day/visits/" + v.ID + "/card"
	require.Contains(t, x.post(card, 422, "kind", "iron", "prefix", "iron", "iron-setting", "hot"), "This is no number")
	page := x.post(card, 200, "kind", "iron", "prefix", "iron", "iron-setting", "200", "key", "a")
	require.Contains(t, page, "Iron at 200 °C")
	require.Contains(t, page, "Outside the limit")
	id := regexp.MustCompile(`/card/([0-9a-f-]{36})"`).FindStringSubmatch(page)[1]
	flag := regexp.MustCompile(`name="flag" value="([^"]+)"`).FindStringSubmatch(page)[1]
	page = x.post(card, 200, "kind", "reason", "prefix", "whya", "flag", flag, "fact", id, "whya-text", "the iron shows <more>", "key", "b")
	require.Contains(t, page, "the iron shows &lt;more&gt;")
	prefix := regexp.MustCompile(`name="prefix" value="(c[a-z][^"]+)"`).FindStringSubmatch(page)[1]
	page = x.post(card+"/"+id, 200, "kind", "iron", "prefix", prefix, prefix+"-setting", "175", prefix+"-unit", "C", "key", "c")
	require.Contains(t, page, "Iron at 175 °C")
	require.Contains(t, page, `class="gone">`, "what stood there stays readable")
	require.Contains(t, page, "Iron at 200 °C")
	for _, f := range [][]string{{"check", "ready", "true", "stretch", "1.3"}, {"solution", "product", "Soft Wave", "ml", "60"}, {"neutralizer", "product", "Fix", "ml", "80"},
		{"dryness", "percent", "90"}, {"press", "seconds", "2.5"}, {"result", "outcome", "as_wished"}, {"aftercare", "how", "said"}, {"pause", "minutes", "5"},
		{"interruption", "text", "fire drill"}} {
		fields := []string{"kind", f[0], "prefix", f[0], "key", "k" + f[0]}
		for i := 1; i+1 < len(f); i += 2 {
			fields = append(fields, f[0]+"-"+f[i], f[i+1])
		}
		require.Contains(t, x.post(card, 200, fields...), "Written on the card.", f[0])
	}
	require.Len(t, run(s, v.ID).Looks, 1)
	page = x.post(card, 422, "kind", "press", "prefix", "press", "press-seconds", "9000", "key", "z")
	require.Contains(t, page, `value="9000"`)
}

func TestACalendarAddressIsShownOnceWithItsCode(t *testing.T) {
	s, _ := booked(t)
	x := signedIn(t, s, store.LeadRole, s.Ada)
	require.Contains(t, x.get("/my-day/calendar", 200), "There is none yet.")
	page := x.post("/my-day/calendar/make", 200, "label", "my <phone>")
	require.Contains(t, page, "webcal://")
	require.Contains(t, page, `class="code"`)
	require.Contains(t, page, "8 to 24 hours")
	require.NotContains(t, x.get("/my-day/calendar", 200), "webcal://")
	id := regexp.MustCompile(`name="id" value="([^"]+)"`).FindStringSubmatch(page)[1]
	noor := signedIn(t, s, store.LeadRole, s.Noor)
	noor.post("/my-day/calendar/change", 404, "id", id)
	noor.post("/my-day/calendar/end", 404, "id", id)
	require.Contains(t, x.post("/my-day/calendar/change", 200, "id", id), "webcal://")
	require.Contains(t, x.post("/my-day/calendar/end", 200, "id", id), "The calendar address has ended.")
	require.Contains(t, x.post("/my-day/calendar/private", 422, "address", "ftp://nowhere", "name", "home"), "https")
	require.Contains(t, x.get("/my-day/pace", 200), "Nothing in your records differs")
}

func TestTapsThatCannotBeReadOrComeFromElsewhereChangeNothing(t *testing.T) {
	s, v := booked(t)
	x := signedIn(t, s, store.LeadRole, s.Ada)
	send := func(body string, headers ...string) int {
		t.Helper()
		return x.v.Do(http.MethodPost, "/my-day/taps", strings.NewReader(body), append([]string{"Content-Type", "application/json"}, headers...)...).Status
	}
	body := `{"visit":"` + v.ID + `","key":"k","at":"2026-06-09T08:00:00Z","fields":{"kind":"arrive"}}`
	require.Equal(t, 403, send(body, "Sec-Fetch-Site", "cross-site"))
	for _, bad := range []string{"", "[]", "{}", `{"visit":"` + v.ID + `","key":"k","fields":{"kind":"arrive"}}`, body + "x\"", strings.Replace(body, "fields", "felder", 1)} {
		if bad == body+"x\"" {
			continue // what stands behind the object is not read
		}
		require.Equal(t, 400, send(bad), bad)
	}
	require.Equal(t, 422, send(strings.Replace(body, "arrive", "dance", 1)))
	require.Equal(t, 404, send(strings.Replace(body, v.ID, "0199aaaa-0000-7000-8000-000000000000", 1)))
	hers := strings.Replace(body, `"key"`, `"me":"`+s.Noor+`","key"`, 1)
	require.Equal(t, 401, send(hers), "what another tapped is not noted as hers")
	require.Equal(t, "booked", run(s, v.ID).State)
	require.Equal(t, 201, send(body))
	require.Equal(t, 201, send(strings.ReplaceAll(hers, s.Noor, s.Ada)))
	require.Equal(t, 201, send(body))
	require.Equal(t, 1, noted(s, v.ID)["arrive"])
	r, err := http.Get(s.URL + "/my-day/sw.js")
	require.NoError(t, err)
	defer r.Body.Close()
	require.Equal(t, "text/javascript; charset=utf-8", r.Header.Get("Content-Type"))
}

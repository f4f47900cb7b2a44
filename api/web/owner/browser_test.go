package owner_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/owner"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// looked demands of the page that is open what is demanded of every page.
func looked(b *chromium.Browser, name string) {
	b.T.Helper()
	b.OpenToAll()
	b.Fits()
	b.Shots(name)
}

func TestSavingOneBoxOfTheSetUpKeepsWhatIsTypedIntoTheOthers(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	bare(t, s)
	b := chromium.New(t)
	b.Open(s.Link(store.Owner, ""))
	b.Open(s.URL + "/set-up")
	send := func(form string) { b.Press(`form:has([name="form"][value="` + form + `"]) button.main`) }
	b.Fill(map[string]string{"salon-address": "3 Quay Lane", "salon-length_unit": "in inches", "week-open-1": "9-18", "person-name": "Ada Birch"})
	send("week")
	require.Contains(t, b.Text(), "The week is saved.")
	require.Equal(t, []string{"3 Quay Lane", "in", "Ada Birch"}, []string{b.Value("salon-address"), b.Value("salon-length_unit"), b.Value("person-name")})
	require.Contains(t, b.Text(), "Not saved yet, and still here: Address, Lengths, Name")
	b.OpenToAll()
	b.Fill(map[string]string{"week-open-2": "early"})
	send("week") // refused
	require.Contains(t, b.Text(), "Tuesday: “early” cannot be read.")
	require.Equal(t, "3 Quay Lane", b.Value("salon-address"))
	send("salon")
	require.Contains(t, b.Text(), "Saved.")
	require.Equal(t, []string{"early", "Ada Birch"}, []string{b.Value("week-open-2"), b.Value("person-name")}, "what was refused is kept, too")
	require.Equal(t, "3 Quay Lane", b.Value("salon-address"))
	require.NotContains(t, b.Text(), "still here: Address")
	b.Fill(map[string]string{"week-open-2": "9-18", "person-name": ""})
	send("week")
	require.NotContains(t, b.Text(), "Ada Birch")
	b.Quiet("422")
}

func TestAnEmptySalonIsSetUpInABrowserWithoutScripts(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	bare(t, s)
	b := chromium.New(t)
	b.Open(s.Link(store.Owner, ""))
	b.Light(s.URL + "/set-up")
	looked(b, "set-up-empty")
	b.Fill(map[string]string{"salon-phone": "12"})
	b.Press(`form:has(#f-salon-phone) button.main`)
	looked(b, "set-up-refused")
	b.Scripts(false)
	b.Open(s.URL + "/set-up")
	send := func(form string) { b.Press(`form:has([name="form"][value="` + form + `"]) button.main`) }
	b.Fill(map[string]string{"salon-phone": "12"})
	send("salon")
	require.Contains(t, b.Text(), "One thing to put right")
	require.Equal(t, "12", b.Value("salon-phone"))
	b.Fill(map[string]string{"salon-phone": "+44 20 7946 0018", "salon-mail": "desk@new.example", "salon-address": "3 Quay Lane", "salon-currency": "GBP"})
	send("salon")
	for _, day := range []string{"1", "2", "3", "4", "5"} {
		b.Fill(map[string]string{"week-open-" + day: "9-18"})
	}
	send("week")
	send("usual")
	b.Fill(map[string]string{"person-name": "Ada Birch", "person-initials": "AB"})
	b.Click(`#f-person-skills input[value="straightening"]`)
	b.Click(`#f-person-skills input[value="cut"]`)
	send("person")
	b.Fill(map[string]string{"rooms-chairs": "3", "rooms-basins": "2"})
	send("rooms")
	b.Fill(map[string]string{"maker-solution_strength": "normal", "maker-processing_minutes": "15", "maker-longest_minutes": "60", "maker-dry_before_iron_percent": "85",
		"maker-neutralizer_strength": "ready to use", "maker-neutralizer_minutes": "6"})
	send("maker")
	require.Contains(t, b.Text(), "The first visit can be booked, once you have looked at the prices")
	b.Scripts(true)
	b.Open(s.URL + "/set-up")
	looked(b, "set-up-ready")
	var state api.SetUpBody
	s.Ask(http.MethodGet, "/set-up", nil, http.StatusOK, &state)
	require.True(t, state.Ready)
	b.Quiet("422")
}

func TestAStepIsChangedInABrowserAndSevenHeadsShowWhatItDoes(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	b := chromium.New(t)
	b.Open(s.Link(store.Owner, ""))
	b.Light(s.URL + "/set-up/services")
	looked(b, "services")
	b.Light(s.URL + "/set-up/services/" + s.Services["Straightening"])
	looked(b, "service")
	b.Click(`details:has(#f-service-steps-0-label) summary`)
	b.Shot("service-step")
	b.OpenTo(320)
	b.Window(1280, 900)
	b.Fill(map[string]string{"service-steps-0-formula": "fixed", "service-steps-0-minutes": "25", "service-price_cents": "340"})
	b.Press(`button[value="look"]`)
	require.Contains(t, b.Text(), "What it does")
	looked(b, "service-effect")
	b.Press(`button[value="save"]`)
	require.Contains(t, b.Text(), "Saved as a new version.")
	b.Quiet()
}

func TestWhatAnAbsenceHitsIsSeenInABrowser(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday)
	s.Straightening(s.Client("נועה", "לוי"), s.Noor, tuesday.AddDate(0, 0, 1))
	b := chromium.New(t)
	b.Open(s.Link(store.Owner, ""))
	b.Light(s.URL + "/set-up/people")
	looked(b, "people")
	b.Light(s.URL + "/set-up/people/" + s.Ada)
	looked(b, "person")
	b.Fill(map[string]string{"away-first": "2026-06-09", "away-reason": "a course"})
	b.Press(`form:has(#f-away-first) button.main`)
	require.Contains(t, b.Text(), "1 visit is hit")
	looked(b, "hit")
	b.Press(`button[value="back"]`)
	require.Equal(t, "a course", b.Value("away-reason"))
	b.Press(`form:has(#f-away-first) button.main`)
	b.Press(`button[value="sure"]`)
	require.Contains(t, b.Text(), "The absence is noted.")
	b.Open(s.URL + "/set-up/hours")
	b.Fill(map[string]string{"close-days": "2026-06-09 to 2026-06-30 Holiday"})
	b.Press(`form:has(#f-close-days) button.main`)
	require.Contains(t, b.Text(), "2 visits are hit")
	looked(b, "hit-two")
	b.Quiet()
}

func TestEveryOtherPageIsOpenToAll(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	b := chromium.New(t)
	b.Open(s.Link(store.Owner, ""))
	for _, path := range []string{"/set-up/hours", "/set-up/stations", "/set-up/stations/" + s.Chairs[0], "/set-up/absences", "/set-up/products", "/set-up/chair-time",
		"/set-up/rules", "/set-up/keeping", "/set-up/messages", "/set-up/messages/languages/de", "/set-up/access"} {
		b.Light(s.URL + path)
		b.OpenTo(1280)
		b.OpenTo(320, "prefers-color-scheme", "dark")
		b.Fits()
		b.Shots("other" + nameOf(path))
	}
	b.Open(s.URL + "/set-up/messages")
	b.Press(`form:has(#f-preview-kind) button.main`)
	looked(b, "message")
	b.Open(s.URL + "/set-up/access")
	b.Press(`form:has(#f-feed-label) button.main`)
	looked(b, "secret")
	b.Open(s.URL + "/set-up/chair-time")
	b.Click(`details:has(#f-time-values-dwell_minutes) summary`)
	b.Fill(map[string]string{"time-values-dwell_minutes": "12"})
	b.Press(`button[value="look"]`)
	looked(b, "chair-time-effect")
	b.Quiet()
}

func nameOf(path string) string {
	out := []rune{}
	for _, r := range path {
		if len(out) > 40 {
			break
		}
		if r == '/' {
			r = '-'
		}
		out = append(out, r)
	}
	return string(out)
}

func TestChartsOfACrowdedSalon(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	s.Crowd(1300)
	b := chromium.New(t)
	b.Open(s.Link(store.Owner, ""))
	b.Light(s.URL + "/set-up/pace")
	require.Contains(t, b.Text(), "Use of chairs and hands")
	looked(b, "pace")
	b.Quiet()
	var r api.SalonReportBody
	s.Ask(http.MethodGet, "/reports/salon?months=1", nil, http.StatusOK, &r)
	require.NotEmpty(t, r.Months)
	require.NotEmpty(t, r.Units)
	require.GreaterOrEqual(t, len(r.Weekdays), 6)
}

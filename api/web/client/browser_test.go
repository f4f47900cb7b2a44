package client_test

import (
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/webtest"
)

// script is markup in a field, which must never be more than text.
const script = `<script>alert(1)</script>"'&`

func TestAClientsPagesAreOpenToAllAndLight(t *testing.T) {
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	end := time.Date(2026, 6, 6, 13, 0, 0, 0, time.UTC)
	s.At(end)
	past := over(t, s, mara, end.Add(-5*time.Hour), end)
	s.At(webtest.Start)
	next := s.Straightening(mara, s.Ada, webtest.Start.Add(100*24*time.Hour+time.Hour))
	s.Ask(http.MethodPost, "/visits/"+next.ID+"/money", object{"kind": "received", "how": "card", "amount_cents": 4000}, http.StatusCreated, nil)
	b := chromium.New(t)
	b.Open(own(s, mara).URL)
	b.OpenToAll()
	b.Fits()
	b.Shots("own-open")
	b.Press("main button")
	for _, x := range []struct{ path, name string }{
		{"/own", "visits"}, {"/own/visits/" + next.ID + "/cancel", "cancel"}, {"/own/visits/" + next.ID + "/move", "move"},
		{"/own/visits/" + past.ID + "/care", "care"}, {"/own/again", "again"}, {"/own/calendar", "calendar"}, {"/own/messages", "messages"},
		{"/own/about", "about"}, {"/own/about/everything", "everything"}, {"/own/about/delete", "delete"},
	} {
		b.Light(s.URL + x.path)
		require.Equal(t, x.path, b.Eval(`location.pathname`))
		b.OpenToAll()
		b.Fits()
		b.Shots("own-" + x.name)
	}
	// What follows from a choice, and how a time is looked for and taken.
	b.Open(s.URL + "/own/visits/" + next.ID + "/move")
	b.Press(`a[href*="start="]`)
	b.OpenToAll()
	b.Fits()
	b.Shots("own-move-confirm")
	b.Window(390, 844)
	b.Open(s.URL + "/own/visits/" + past.ID + "/care")
	// 48 hours end at 14:00 on Monday; it is 08:30.
	b.Until("it counts down", `document.querySelector(".left").textContent === "5 hours 30 minutes to go"`)
	require.GreaterOrEqual(t, b.Number(`Math.min(...[...document.querySelectorAll(".go, button, .ways a")].map((e) => e.getBoundingClientRect().height))`), 44.0)
	b.Quiet()
}

func TestARetouchIsBookedInABrowser(t *testing.T) {
	s := webtest.New(t)
	mara := treated(t, s)
	rules(t, s, object{"needs": object{"consultation_for": "nothing", "strand_test_for": "nothing"}, "money": object{}})
	b := chromium.New(t)
	pressed(b, own(s, mara).URL)
	b.OpenToAll()
	b.Shots("own-nothing-booked")
	b.Press(`a[href="/own/again"].main`)
	b.Fill(map[string]string{"cut": "The ends, up to 2 cm", "done_since": "Nothing"})
	b.Press(`form[action="/own/again"] button`)
	b.OpenToAll()
	b.Fits()
	b.Shots("own-again-times")
	b.Press(`a[href*="start="]`)
	b.OpenToAll()
	b.Fits()
	b.Shots("own-again-confirm")
	b.Press(`form[action="/own/again"] button.main`)
	require.Contains(t, b.Text(), "Booked. We look forward to seeing you.")
	require.Contains(t, b.Text(), "Still needed before we can start")
	b.OpenToAll()
	b.Shots("own-again-booked")
	b.Quiet()
}

func TestAClientNeedsNoScripts(t *testing.T) {
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	end := time.Date(2026, 6, 6, 13, 0, 0, 0, time.UTC)
	s.At(end)
	past := over(t, s, mara, end.Add(-5*time.Hour), end)
	s.At(webtest.Start)
	x := s.Straightening(mara, s.Ada, webtest.Start.Add(101*24*time.Hour+time.Hour))
	b := chromium.New(t)
	b.Scripts(false)
	press := func(css string) {
		t.Helper()
		b.Do(click(css))
		b.Until("the next page", `document.readyState === "complete"`)
		time.Sleep(300 * time.Millisecond)
	}
	pressed(b, own(s, mara).URL)
	require.Contains(t, b.Text(), "Your next visit")
	press(`form[action$="/yes"] button`)
	b.Until("the yes is noted", `document.querySelector("main").innerText.includes("we look forward to seeing you")`)
	press(`a[href$="/move"]`)
	b.Until("there are times", `document.querySelector("main").innerText.includes("Choose a time")`)
	press(`a[href*="start="]`)
	b.Until("what follows is said", `document.querySelector("main").innerText.includes("What you get")`)
	press(`form[action$="/move"] button.main`)
	b.Until("it is moved", `document.querySelector("main").innerText.includes("Moved.")`)
	require.NotEqual(t, x.Start.UTC(), visitOf(s, x.ID).Start.UTC())
	press(`a[href$="/cancel"]`)
	press(`form[action$="/cancel"] button`)
	b.Until("it is cancelled", `document.querySelector("main").innerText.includes("Cancelled.")`)
	require.Equal(t, "cancelled", visitOf(s, x.ID).State)
	b.Open(s.URL + "/own/visits/" + past.ID + "/care")
	require.Contains(t, b.Text(), "Hair dry and untied until Monday 8 June, 14:00")
	require.NotContains(t, b.Text(), "to go")
	b.Quiet()
}

func TestALanguageFromRightToLeftTurnsThePage(t *testing.T) {
	s := webtest.New(t)
	doc, err := os.ReadFile("../../notify/testdata/languages/he.json")
	require.NoError(t, err)
	// As far as the file goes: some texts of pages, and all dates.
	text := strings.TrimRight(strings.TrimSpace(string(doc)), "}")
	text = strings.TrimSpace(text) + `, "pages": {"title_visits": "הביקורים שלך", "your_visit": "הביקור הבא שלך", "when": "מתי", "way_visits": "ביקורים"}}`
	s.Ask(http.MethodPut, "/languages/he", object{"document": raw(text)}, http.StatusOK, nil)
	var c api.ClientBody
	s.Ask(http.MethodPost, "/clients", object{"given_name": "נועה", "family_name": "לוי " + script, "mail": "noa@example.org"}, http.StatusCreated, &c)
	h := s.Ask(http.MethodGet, "/clients/"+c.ID+"/message-wishes", nil, http.StatusOK, nil)
	s.Ask(http.MethodPut, "/clients/"+c.ID+"/message-wishes", object{"language": "he", "agreed_kinds": []string{}, "stopped_kinds": []string{}, "stopped_ways": []string{}}, http.StatusOK, nil, "If-Match", h.Get("ETag"))
	s.Straightening(c.ID, s.Ada, webtest.Start.Add(8*24*time.Hour+time.Hour))
	b := chromium.New(t)
	pressed(b, own(s, c.ID).URL)
	require.Equal(t, "rtl", b.Eval(`getComputedStyle(document.body).direction`))
	require.Equal(t, "he", b.Eval(`document.documentElement.lang`))
	require.Equal(t, "הביקורים שלך", b.Eval(`document.querySelector("h1").innerText`))
	require.Contains(t, b.Text(), "ביוני", "dates are hers")
	require.Equal(t, "en", b.Eval(`document.querySelector("button.main").closest("[lang]").lang`))
	b.OpenToAll()
	b.Fits()
	b.Shots("own-rtl")
	b.Open(s.URL + "/own/about/everything")
	require.Contains(t, b.Text(), script)
	b.OpenToAll()
	b.Quiet()
}

func TestWhatIsTypedIsNeverMoreThanText(t *testing.T) {
	s := webtest.New(t)
	var c api.ClientBody
	s.Ask(http.MethodPost, "/clients", object{"given_name": script, "family_name": script, "mail": "x@example.org", "note": script}, http.StatusCreated, &c)
	x := s.Straightening(c.ID, s.Ada, webtest.Start.Add(25*time.Hour))
	b := chromium.New(t)
	pressed(b, own(s, c.ID).URL)
	b.Open(s.URL + "/own/visits/" + x.ID + "/cancel")
	b.Eval(`document.getElementById("f-words").removeAttribute("maxlength"); ""`)
	b.Fill(map[string]string{"words": strings.Repeat(script, 20)}) // more than 500 characters
	b.Press(`form[action$="/ask"] button`)
	require.Contains(t, b.Text(), "That did not work")
	require.Contains(t, b.Text(), "at most 500 characters")
	b.OpenToAll()
	for _, path := range []string{"/own", "/own/about", "/own/about/everything", "/own/messages", "/own/about/delete"} {
		b.Open(s.URL + path)
		require.Equal(t, "0", b.Eval(`String(document.querySelectorAll("main script").length)`))
	}
	b.Quiet("422")
}

package desk_test

import (
	"net/http"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// looked holds every page to what all pages promise.
func looked(b *chromium.Browser, name, address string) {
	b.T.Helper()
	b.Light(address)
	b.OpenToAll()
	b.Fits()
	b.Shots("desk-" + name)
	b.Quiet()
}

// busy is a salon on a Tuesday at half past ten, on which not all goes as booked.
func busy(t *testing.T) (s *webtest.Salon, straightened string, waiting string) {
	s = newSalon(t)
	rules := map[string]any{}
	tag := s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, &rules).Get("ETag")
	delete(rules, "assisted_against_rule")
	rules["needs"] = map[string]any{"consultation_for": "nothing", "skin_test_for": "nothing", "strand_test_for": "nothing", "deposit_for": "nothing", "guardian_for": "nothing", "consent_for": "chemical"}
	s.Ask(http.MethodPut, "/booking-rules", rules, http.StatusOK, nil, "If-Match", tag)
	first := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday(9, 0))
	next := cut(s, caller(s, "Orla", "Finch"), tuesday(13, 30))
	s.Ask(http.MethodPost, "/visits/"+next.ID+"/move", webtest.Object{"lead_id": s.Ada}, http.StatusOK, nil, "If-Match", `"v1"`)
	far := s.Straightening(s.Client("مريم", "حداد"), s.Noor, tuesday(9, 0).AddDate(0, 0, 3))
	s.Exec(`UPDATE reminder SET due_at = now() + interval '1 day' WHERE state = 'waiting'`)
	becomes(s, next, store.ToCall, "")
	becomes(s, far, store.Failed, "the mailbox is full")
	w := caller(s, "Ines", "Wren")
	s.Ask(http.MethodPost, "/waiting-list", webtest.Object{"client_id": w, "services": []webtest.Object{{"service_id": s.Services["Dry cut"]}}, "first_date": "2026-06-09", "last_date": "2026-06-11",
		"weekdays": []int{2, 4}, "from": "14:00", "notice_minutes": 60, "note": strings.Repeat("fringe only ", 40)}, http.StatusCreated, nil)
	s.At(tuesday(10, 0))
	s.Ask(http.MethodPost, "/visits/"+first.ID+"/money", webtest.Object{"kind": "received", "amount_cents": 5000, "how": "card"}, http.StatusCreated, nil)
	s.Ask(http.MethodPost, "/visits/"+first.ID+"/arrive", webtest.Object{}, http.StatusOK, nil, "If-Match", `"v1"`)
	return s, first.ID, w
}

func TestTheDeskSeesToTheDayInABrowser(t *testing.T) {
	s, _, _ := busy(t)
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	looked(b, "to-do", s.URL+"/to-do")
	require.Contains(t, b.Text(), "What would help")
	require.Contains(t, b.Text(), "Orla Finch")
	for name, path := range map[string]string{"late": "/late", "late-help": "/late?help=yes", "calls": "/calls", "messages": "/messages?state=failed", "rearrange": "/rearrange?date=2026-06-10", "keep": "/keep", "walk-in": "/walk-in", "stock": "/stock"} {
		looked(b, name, s.URL+path)
	}
	// The list says by itself that it is not what it was.
	b.Open(s.URL + "/calls")
	time.Sleep(300 * time.Millisecond) // until the stream is open
	require.Equal(t, "true", b.Eval(`"" + document.getElementById("changed").hidden`))
	cut(s, s.Client("Vida", "Lark"), tuesday(16, 0))
	b.Until("it says so", `!document.getElementById("changed").hidden`)
	b.Press("#changed a")
	// A call is noted by keyboard alone.
	b.Eval(`document.querySelector("[value=no_answer]").focus(); ""`)
	b.Leaves(chromedp.KeyEvent("\r"))
	require.Contains(t, b.Text(), "Noted: no answer.")
	b.Quiet()
}

func TestTheDeskWorksOnAVisitWithoutScripts(t *testing.T) {
	s, id, _ := busy(t)
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	looked(b, "visit", s.URL+"/visits/"+id)
	for name, path := range map[string]string{"visit-lead": "/lead", "visit-consent": "/consent"} {
		looked(b, name, s.URL+"/visits/"+id+path)
	}
	b.Scripts(false)
	b.Open(s.URL + "/visits/" + id)
	b.Eval(`document.querySelectorAll("details").forEach((d) => { d.open = true; }); ""`)
	b.Fill(map[string]string{"extend_minutes": "no"})
	b.Press(`form[action$="/extend"] button`)
	require.Contains(t, b.Text(), "Minutes more: this is not a whole number")
	require.Equal(t, "no", b.Value("extend_minutes"))
	v, _ := visitNow(s, id)
	i := slices.IndexFunc(v.Steps, func(st api.VisitStepBody) bool { return strings.Contains(st.Label, "iron") })
	b.Fill(map[string]string{"extend_minutes": "5", "extend_step": v.Steps[i].Start.Format("15:04 ") + v.Steps[i].Label})
	b.Press(`form[action$="/extend"] button`)
	require.Contains(t, b.Text(), "The visit lasts longer now.")
	b.Quiet("422")
}

func TestTheDeskLooksAfterClientsInABrowser(t *testing.T) {
	s, id, w := busy(t)
	v, _ := visitNow(s, id)
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	looked(b, "clients", s.URL+"/clients")
	b.Fill(map[string]string{"q": "حداد"})
	b.Press(".search button")
	require.Contains(t, b.Text(), "مريم حداد")
	b.Press(".lines a")
	b.OpenToAll()
	b.Shots("desk-client-rtl")
	for name, path := range map[string]string{"client": "/clients/" + v.ClientID, "client-edit": "/clients/" + v.ClientID + "/edit", "client-minor": "/clients/" + v.ClientID + "/minor",
		"client-messages": "/clients/" + v.ClientID + "/messages", "waiting": "/waiting?first=2026-06-09&last=2026-06-11", "waiting-new": "/waiting/new?client=" + w} {
		looked(b, name, s.URL+path)
	}
	b.Open(s.URL + "/rearrange?date=2026-06-09")
	b.Click(`input[value="` + s.Ada + `"]`)
	b.Press(`form[action="/rearrange"] button`)
	require.Contains(t, b.Text(), "Proposal for Tue 9 June 2026")
	b.OpenToAll()
	b.Fits()
	b.Shots("desk-plan")
	b.Quiet()
}

func TestAPageOfTheDeskSaysThatItHearsNothingAndListensAgain(t *testing.T) {
	s := newSalon(t)
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	var deaf atomic.Bool
	deaf.Store(true)
	s.Between(func(w http.ResponseWriter, r *http.Request, server http.Handler) {
		if deaf.Load() && r.URL.Path == "/events" {
			http.Error(w, "broken", http.StatusBadGateway)
			return
		}
		server.ServeHTTP(w, r)
	})
	b.Open(s.URL + "/to-do")
	b.Until("it says so", `document.getElementById("lost").innerText.startsWith("No connection since ")`)
	require.Equal(t, "true", b.Eval(`"" + document.getElementById("changed").hidden`))
	b.OpenToAll()
	deaf.Store(false)
	b.Eval(`dispatchEvent(new Event("online")), ""`)
	b.Until("it listens again", `document.getElementById("lost").innerText === ""`)
	b.Until("and offers what it may have missed", `!document.getElementById("changed").hidden`)

	// Whose session has ended is told that, and not of a connection.
	s.Exec(`DELETE FROM sessions`)
	deaf.Store(true)
	b.Eval(`dispatchEvent(new Event("offline")), ""`)
	deaf.Store(false)
	b.Until("it says so", `document.getElementById("lost").innerText.startsWith("You are signed out.")`)
	b.Quiet("502", "401")
}

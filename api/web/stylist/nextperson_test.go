package stylist_test

import (
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/signin"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// planKept says whether the phone keeps pages for use without a network.
func planKept(b *chromium.Browser) string {
	b.T.Helper()
	b.Eval(`window.there = ""; caches.has("my-day-plan").then((y) => { window.there = String(y); }); ""`)
	b.Until("asked for the plan", `window.there !== ""`)
	return b.Eval(`window.there`)
}

func TestWhoeverIsSignedOutIsLedToSignInAndHerPlanIsGone(t *testing.T) {
	s, v := looked(t, signin.Mount)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	visit := "/my-day/visits/" + v.ID
	b.Open(s.URL + visit)
	b.Until("the visit is kept", dayIsKept)
	require.Equal(t, "true", planKept(b))

	s.Exec(`DELETE FROM browser_session`)
	b.Open(s.URL + visit)
	require.Equal(t, "/sign-in?to="+url.QueryEscape(visit), b.Eval(`location.pathname + location.search`))
	require.Equal(t, "false", planKept(b))
	s.Between(lost)
	b.Open(s.URL + visit)
	require.Contains(t, b.Text(), "Nothing of this day is kept")
	s.Between(nil)

	// A tap finds that she is signed out.
	b.Open(s.Link(store.LeadRole, s.Ada))
	b.Open(s.URL + visit)
	b.Until("the visit is kept", dayIsKept)
	s.Exec(`DELETE FROM browser_session`)
	b.Click(`.nextbar:not([hidden]) button`)
	waits(b, "You are not signed in any more")
	require.Equal(t, "false", planKept(b))
	b.Press(`#outbox a.way`)
	require.Equal(t, "/sign-in", b.Eval(`location.pathname`))

	// A page that is not at the chair finds it, and the next person opens no page
	// at the chair at all.
	b.Open(s.Link(store.LeadRole, s.Ada))
	b.Open(s.URL + visit)
	b.Until("the visit is kept", dayIsKept)
	s.Exec(`DELETE FROM browser_session`)
	b.Open(s.URL + "/me")
	require.Equal(t, "/sign-in", b.Eval(`location.pathname`))
	b.Until("the plan is gone", `window.gone === true || (caches.has("my-day-plan").then((y) => { window.gone = !y; }), false)`)

	b.Open(s.Link(store.LeadRole, s.Ada))
	b.Open(s.URL + visit)
	b.Until("the visit is kept", dayIsKept)
	b.Open(s.Link(store.Desk, ""))
	b.Open(s.URL + "/me")
	b.Until("the plan is gone", `window.gone === true || (caches.has("my-day-plan").then((y) => { window.gone = !y; }), false)`)
	b.Forget("net::ERR_EMPTY_RESPONSE")
	b.Forget("Failed to load resource")
	b.Quiet()
}

// rinsed reports whether somebody pressed “Rinse now”.
func rinsed(s *webtest.Salon, visit string) bool {
	var now api.NowBody
	s.Ask(http.MethodGet, "/visits/"+visit+"/now", nil, http.StatusOK, &now)
	return now.Rinsed != nil
}

const herPassword = "four quiet words here"

// takenOn opens an account for somebody who has no place on the rota, and signs the
// browser in to it.
func takenOn(b *chromium.Browser, s *webtest.Salon, mail, name string) {
	b.T.Helper()
	var a api.AccountBody
	s.Ask(http.MethodPost, "/accounts", webtest.Object{"mail": mail, "name": name, "roles": []string{"owner"}}, http.StatusCreated, &a)
	b.Open(a.Link)
	b.Fill(map[string]string{"password": herPassword, "again": herPassword})
	b.Press("main button.main")
}

func TestTapsOfPeopleWithoutAPlaceOnTheRotaAreNotMixed(t *testing.T) {
	s, v := looked(t, signin.Mount)
	s.At(at(9, 39))
	b := chromium.New(t)
	b.Window(390, 844)
	visit := s.URL + "/my-day/visits/" + v.ID
	taps := func(w http.ResponseWriter, r *http.Request, server http.Handler) {
		if r.URL.Path == "/my-day/taps" {
			lost(w, r, server)
			return
		}
		server.ServeHTTP(w, r)
	}
	takenOn(b, s, "dora@example.org", "Dora Finch")
	takenOn(b, s, "carla@example.org", "Carla Moon")
	b.Open(visit)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	s.Between(taps)
	b.Click(`.nextbar:not([hidden]) button`)
	waits(b, "1 tap waits to be sent")
	s.Exec(`DELETE FROM browser_session`)
	s.Between(nil)

	in := func(mail string) {
		t.Helper()
		b.Open(s.URL + "/sign-in")
		b.Fill(map[string]string{"mail": mail, "password": herPassword})
		b.Press("main button.main")
		b.Open(visit)
		b.Until("the page counts", `!document.getElementById("sound").hidden`)
	}
	in("dora@example.org")
	waits(b, "1 tap of somebody else waits on this phone, until that person signs in here.")
	time.Sleep(200 * time.Millisecond)
	require.Zero(t, noted(s, v.ID)["start"], "nobody sends in her name")
	in("carla@example.org")
	require.Eventually(t, func() bool { return noted(s, v.ID)["start"] == 1 }, time.Minute, 20*time.Millisecond)

	// What was queued when all of them had one queue goes to whoever says it is hers.
	b.Until("nothing waits", `document.querySelector("#outbox .waits") === null`)
	b.Eval(`window.was = ""; window.queue.list().then(() => { const r = indexedDB.open("my-day", 1); r.onsuccess = () => {
		const t = r.result.transaction("taps", "readwrite");
		t.objectStore("taps").add({ visit: "` + v.ID + `", me: "", key: "before-1", at: window.queue.now(), words: "Rinse now", fields: { kind: "rinse_now" } });
		t.oncomplete = () => { r.result.close(); window.was = "put"; }; }; }); ""`)
	b.Until("an old tap is there", `window.was === "put"`)
	in("dora@example.org")
	waits(b, "1 tap waits on this phone of which nobody knows any more who made it: “Rinse now”")
	b.OpenToAll()
	b.Window(390, 844)
	time.Sleep(200 * time.Millisecond)
	require.Equal(t, "1", unsent(b))
	b.Eval(`[...document.querySelectorAll("#outbox button")].find((e) => e.innerText === "It is mine: send it").click(); ""`)
	require.Eventually(t, func() bool { return rinsed(s, v.ID) }, time.Minute, 20*time.Millisecond)
	b.Until("nothing waits", `document.getElementById("outbox").hidden || !document.getElementById("outbox").innerText.includes("waits")`)
	require.Equal(t, "0", unsent(b))
	b.Forget("net::ERR_EMPTY_RESPONSE")
	b.Forget("Failed to load resource")
	b.Quiet()
}

package stylist_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api/chromium"
	"chairblock/api/web/signin"
	"chairblock/store"
)

// asked is what the question says that is open, "" for none.
const asked = `(document.querySelector("#signout") || { innerText: "" }).innerText`

// answers presses a button of the open question.
func answers(b *chromium.Browser, words string) {
	b.T.Helper()
	b.Eval(`[...document.querySelectorAll("#signout button")].find((e) => e.innerText === ` + quote(words) + `).click(); ""`)
}

func asks(b *chromium.Browser, words string) {
	b.T.Helper()
	b.Until("asked: "+words, asked+`.includes(`+quote(words)+`)`)
}

// unsent counts the taps that the phone keeps.
func unsent(b *chromium.Browser) string {
	b.T.Helper()
	b.Eval(`window.counted = ""; (() => { const r = indexedDB.open("my-day", 1);
		r.onupgradeneeded = () => r.transaction.abort();
		r.onerror = (e) => { e.preventDefault(); window.counted = "none"; };
		r.onsuccess = () => { const c = r.result.transaction("taps").objectStore("taps").count(); c.onsuccess = () => { window.counted = String(c.result); r.result.close(); }; }; })(); ""`)
	b.Until("counted", `window.counted !== ""`)
	return b.Eval(`window.counted`)
}

const signOut = `document.querySelector('header form[action="/sign-out"] button').click(); ""`

func TestWhoSignsOutIsAskedTwiceAboutTapsThatAreNotSent(t *testing.T) {
	s, v := looked(t, signin.Mount)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the visit is kept", dayIsKept)

	// Without a network.
	s.Between(lost)
	b.Click(`.nextbar:not([hidden]) button`)
	waits(b, "1 tap waits to be sent")
	b.Eval(signOut)
	asks(b, "1 tap of Juna’s visit has not been sent yet. Signing out throws it away.")
	require.Equal(t, "Stay signed in", b.Eval(`document.activeElement.innerText`), "what loses nothing is pressed first")
	b.OpenToAll()
	view(b, "signout-asks")
	answers(b, "Stay signed in")
	b.Until("the question is gone", `!document.getElementById("signout")`)
	b.Click("#rinsebar button")
	waits(b, "2 taps wait to be sent")
	b.Eval(signOut)
	asks(b, "2 taps of Juna’s visit have not been sent yet. Signing out throws them away.")
	answers(b, "Sign out all the same")
	asks(b, "Throw away 2 taps?")
	b.OpenToAll()
	answers(b, "Stay signed in")
	b.Until("the question is gone", `!document.getElementById("signout")`)
	b.Eval(signOut)
	asks(b, "2 taps")
	answers(b, "Sign out all the same")
	asks(b, "Throw away 2 taps?")
	answers(b, "Throw away and sign out")
	asks(b, "There is no network, and signing out needs one. Nothing was thrown away.")
	answers(b, "Stay signed in")
	require.Equal(t, "2", unsent(b))
	b.Eval(`window.there = ""; caches.has("my-day-plan").then((y) => { window.there = String(y); }); ""`)
	b.Until("the plan is there", `window.there === "true"`)

	// With a network on which taps do not come through, from another page.
	s.Between(func(w http.ResponseWriter, r *http.Request, server http.Handler) {
		if r.URL.Path == "/my-day/taps" {
			lost(w, r, server)
			return
		}
		server.ServeHTTP(w, r)
	})
	b.Open(s.URL + "/me")
	b.Eval(signOut)
	asks(b, "2 taps of Juna’s visit")
	answers(b, "Sign out all the same")
	asks(b, "Throw away 2 taps?")
	answers(b, "Throw away and sign out")
	b.Until("she is out", `location.pathname === "/sign-in" && document.readyState === "complete"`)
	require.Contains(t, []string{"0", "none"}, unsent(b))
	require.Zero(t, noted(s, v.ID)["start"])

	// Where nothing waits nothing is asked.
	s.Between(nil)
	b.Open(s.Link(store.LeadRole, s.Ada))
	b.Open(s.URL + "/my-day/")
	b.Eval(signOut)
	b.Until("she is out", `location.pathname === "/sign-in" && document.readyState === "complete"`)
	b.Forget("net::ERR_EMPTY_RESPONSE")
	b.Forget("Failed to load resource")
	b.Quiet()
}

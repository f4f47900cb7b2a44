package stylist_test

import (
	"net/http"
	"testing"

	"chairblock/api/web/webtest"
	"chairblock/store"
)

// TestARefusalGoesOnceTheTapIsTaken presses “solution on” too early, does what was
// asked for, and presses it again: nothing of the refusal is left above the clock.
func TestARefusalGoesOnceTheTapIsTaken(t *testing.T) {
	s, v := booked(t)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/taps", webtest.Object{"kind": "arrive"}, http.StatusCreated, nil)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	b.Click(`.nextbar:not([hidden]) button`)
	waits(b, "was not taken")
	b.Until("the visit is not under way", `document.getElementById("state").innerText.startsWith("Is here") && document.getElementById("clock").hidden`)
	b.Until("nothing is to be taken back that never counted", `![...document.querySelectorAll("button")].some((e) => e.checkVisibility() && e.innerText.startsWith("Take back: “Solution on"))`)
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/hair-as-seen", webtest.Object{"unchanged": true}, http.StatusCreated, nil)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	waits(b, "was not taken")
	b.Click(`.nextbar:not([hidden]) button`)
	b.Until("solution is on and the refusal gone", `!document.getElementById("clock").hidden && !document.getElementById("outbox").innerText.includes("was not taken")`)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	b.Until("nor does it come back", `!document.getElementById("clock").hidden && !document.getElementById("outbox").innerText.includes("was not taken")`)
	b.Forget("the server responded with a status of 409")
	b.Quiet()
}

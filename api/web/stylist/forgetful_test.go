package stylist_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// A browser closes what a site keeps below an open page when somebody signs out of it in
// another tab: what is tapped after that is kept in a new place, and where the browser
// keeps nothing at all the tap goes to the server at once.
func TestATapIsNotLostWhereTheBrowserForgets(t *testing.T) {
	s, v := looked(t)
	s.At(at(9, 39))
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	b.Until("the page counts", `!document.getElementById("sound").hidden`)
	b.Until("what waits was read", `(window.queue.list().then((l) => { window.read = String(l.length); }, () => {}), window.read === "0")`)
	forgets := func() {
		s.Between(func(w http.ResponseWriter, r *http.Request, server http.Handler) {
			if r.URL.Path == "/forget" {
				w.Header().Set("Clear-Site-Data", `"storage"`)
				return
			}
			server.ServeHTTP(w, r)
		})
		b.Eval(`window.forgot = ""; fetch("/forget").then(() => { window.forgot = "yes"; }); ""`)
		b.Until("the browser has forgotten", `window.forgot === "yes"`)
		s.Between(nil)
	}
	forgets()
	b.Click(`.nextbar:not([hidden]) button`)
	b.Until("it was sent", `document.getElementById("outbox").innerText !== "" && !document.querySelector("#outbox .waits")`)
	require.Equal(t, 1, noted(s, v.ID)["start"])
	b.Quiet()

	b.Eval(`indexedDB.open = () => { throw new DOMException("nothing is kept here", "UnknownError"); }; ""`)
	forgets()
	b.Eval(`window.stays = "yes"; ""`)
	b.Click("#rinsebar button")
	b.Until("the page is new", `window.stays === undefined && document.readyState === "complete"`)
	require.Eventually(t, func() bool { return rinsed(s, v.ID) }, time.Minute, 20*time.Millisecond)
	b.Quiet()
}

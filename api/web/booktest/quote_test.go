package booktest

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/desk"
	"chairblock/api/web/webtest"
)

// measured fills in hair that was measured.
var measured = map[string]string{"service": "Straightening", "length_cm": "35", "density": "average", "strand": "medium", "porosity": "normal", "curl": "straight"}

// quotesOf lists the quotes of every client of a given name.
func quotesOf(s *webtest.Salon, given string) (out []api.QuoteBody) {
	var clients struct{ Items []api.ClientBody }
	s.Ask(http.MethodGet, "/clients?name="+given, nil, http.StatusOK, &clients)
	for _, c := range clients.Items {
		var list struct{ Items []api.QuoteBody }
		s.Ask(http.MethodGet, "/clients/"+c.ID+"/quotes", nil, http.StatusOK, &list)
		out = append(out, list.Items...)
	}
	return out
}

func TestAQuoteIsMadeFromWhatWasEnteredAndBooked(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		t.Run(fmt.Sprintf("scripts %v", scripts), func(t *testing.T) {
			s := webtest.New(t, desk.Mount)
			b := at(t, s)
			b.Scripts(scripts)
			b.Open(s.URL + "/book")
			b.Fill(measured)
			b.Fill(map[string]string{"first_name": "Juna", "initial": "Kestrel", "phone": "12", "note": "brings a child"})
			b.Press(`button[value="estimate"]`)
			require.Contains(t, b.Text(), "The price is kept for")
			b.Press(`button[value="quote"]`)
			// What REST refuses of a client is refused here, and nothing is lost.
			require.Contains(t, b.Text(), "with its country code")
			for field, value := range map[string]string{"first_name": "Juna", "initial": "Kestrel", "phone": "12", "note": "brings a child", "length_cm": "35"} {
				require.Equal(t, value, b.Value(field))
			}
			require.Empty(t, quotesOf(s, "Juna"))
			if scripts {
				b.OpenToAll()
				b.Fits()
				b.Shots("book-quote")
			}
			b.Fill(map[string]string{"phone": "+44 20 7946 0018"})
			if scripts { // pressed twice it makes one
				b.Eval(`(() => { const f = document.querySelector("form.book"); const d = new URLSearchParams(new FormData(f)); d.append("do", "quote");
					const once = () => fetch("/book", { method: "POST", body: d, credentials: "same-origin" }).then((r) => r.url);
					window.led = ""; Promise.all([once(), once()]).then((l) => { window.led = l.join(" "); }); return ""; })()`)
				b.Until("both are answered", `window.led !== ""`)
				led := strings.Fields(b.Eval(`window.led`))
				require.Equal(t, led[0], led[1])
				require.Contains(t, led[0], "/quotes/")
				require.Len(t, quotesOf(s, "Juna"), 1)
			}
			b.Press(`button[value="quote"]`)
			require.Contains(t, b.Eval(`location.pathname`), "/quotes/")
			require.Contains(t, b.Text(), "For Juna Kestrel")
			require.Len(t, quotesOf(s, "Juna"), 1)
			q := quotesOf(s, "Juna")[0]

			// It is booked at its price, for her and with her hair.
			b.Press(`main a[href^="/book?quote="]`)
			require.Equal(t, "35", b.Value("length_cm"))
			require.Contains(t, b.Text(), "At the quoted price: "+q.Total)
			require.Contains(t, b.Text(), "Juna K.")
			b.Press(`button[value="openings"]`)
			require.NotContains(t, b.Text(), "Make a quote", "she has one")
			if b.Eval(`document.querySelector("#f-approved_by") ? "asked" : ""`) == "asked" {
				b.Fill(map[string]string{"approved_by": "Ada Birch"})
			}
			if scripts { // longer hair is not what was quoted
				b.Fill(map[string]string{"length_cm": "40"})
				b.Press(`button[value^="book:"]`)
				require.Contains(t, b.Text(), "take the tick away to go on at today’s price")
				b.Fill(map[string]string{"length_cm": "35"})
			}
			b.Leaves(chromedp.Click(chromedp.CSS(`button[value^="book:"]`)))
			require.Contains(t, b.Eval(`location.search`), "booked=", b.Text())
			v := visitsOf(s, "Juna")
			require.Len(t, v, 1)
			var booked api.VisitBody
			s.Ask(http.MethodGet, "/visits/"+v[0].ID, nil, http.StatusOK, &booked)
			require.Equal(t, q.ID, booked.QuoteID)
			b.Quiet("422")
		})
	}
}

func TestAQuoteIsForWhoeverShowsItOrForNobodyWhoseHairWasNotSeen(t *testing.T) {
	s := webtest.New(t, desk.Mount)
	b := at(t, s)
	b.Open(s.URL + "/book")
	b.Fill(map[string]string{"service": "Dry cut"})
	b.Press(`button[value="estimate"]`)
	b.Press(`button[value="quote"]`)
	require.Contains(t, b.Eval(`location.pathname`), "/quotes/")
	require.NotContains(t, b.Text(), "For ")

	b.Open(s.URL + "/book")
	b.Fill(map[string]string{"service": "Straightening", "reach": "shoulder", "ponytail": "a finger"})
	b.Eval(`document.querySelector('input[name="history"][value="nothing"]').click(); ""`)
	b.Press(`button[value="estimate"]`)
	require.Contains(t, b.Text(), "A quote can be made once the hair has been measured.")
	require.Empty(t, b.Eval(`document.querySelector('button[value="quote"]') ? "there" : ""`))
	b.Quiet()
}

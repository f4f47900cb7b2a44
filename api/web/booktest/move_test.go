package booktest

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/desk"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

func TestAVisitIsMovedAfterItWasSaidWhatChanges(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		t.Run(fmt.Sprintf("scripts %v", scripts), func(t *testing.T) {
			s := webtest.New(t, desk.Mount)
			v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, webtest.Start.Add(74*time.Hour)) // Thursday 10:30
			b := at(t, s)
			b.Scripts(scripts)
			b.Open(s.URL + "/visits/" + v.ID + "/move")
			require.Contains(t, b.Text(), "Now: Thu 11 June 10:30 with Ada Birch, Chair 1")
			require.Equal(t, s.Ada, b.Value("stylist"), "who has it is asked for")
			b.Press(`button[value="only:"]`)
			require.Equal(t, "any", b.Value("stylist"))
			b.Fill(map[string]string{"stylist": "Ada Birch"})
			b.Press(`button[value^="show:"]`)
			require.Contains(t, strings.ToLower(b.Text()), "what changes")
			require.Contains(t, b.Text(), "The price stays 320.00 EUR.")
			require.Contains(t, strings.ToLower(b.Text()), "what the client hears")
			require.Contains(t, b.Text(), "mail: ")
			var same api.VisitBody
			s.Ask(http.MethodGet, "/visits/"+v.ID, nil, http.StatusOK, &same)
			require.Equal(t, v.Start, same.Start, "nothing has moved yet")
			if scripts {
				b.OpenToAll()
				b.Fits()
				b.Shots("move")
			}
			b.Fill(map[string]string{"stylist": "Noor Vale", "date_from": "2026-06-15"})
			b.Press(`button[value="openings"]`)
			require.Contains(t, b.Eval(`document.querySelector('button[value^="show:"]').innerText`), "Noor Vale")
			b.Press(`button[value^="show:"]`)
			require.Regexp(t, `Stylist in charge\s+Ada Birch\s+Noor Vale`, b.Text())
			if b.Eval(`document.querySelector("#f-approved_by") ? "asked" : ""`) == "asked" {
				b.Fill(map[string]string{"approved_by": "Ada Birch"})
			}
			b.Press(`button[value^="move:"]`)
			require.Equal(t, "/visits/"+v.ID, b.Eval(`location.pathname`))
			var moved api.VisitBody
			s.Ask(http.MethodGet, "/visits/"+v.ID, nil, http.StatusOK, &moved)
			require.Equal(t, s.Noor, moved.Services[0].LeadID)
			require.False(t, moved.Start.Before(time.Date(2026, 6, 15, 0, 0, 0, 0, time.UTC)))
			b.Quiet("422", "409")
		})
	}
}

func TestAMovePageThatIsOutOfDateOffersNothingThatIsTaken(t *testing.T) {
	s := webtest.New(t, desk.Mount)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, webtest.Start.Add(74*time.Hour))
	b := at(t, s)
	b.Open(s.URL + "/visits/" + v.ID + "/move")
	b.Press(`button[value^="show:"]`)
	chosen := b.Eval(`document.querySelector('button[value^="move:"]').value`)
	unix, err := strconv.ParseInt(strings.SplitN(strings.TrimPrefix(chosen, "move:"), "-", 2)[0], 10, 64)
	require.NoError(t, err, chosen)
	s.Straightening(s.Client("Mara", "Quist"), s.Ada, time.Unix(unix, 0))
	b.Press(`button[value^="move:"]`)
	require.Contains(t, b.Text(), "does not fit at this time any more")
	require.Equal(t, "0", b.Eval(`String(document.querySelectorAll('button[value^="move:"]').length)`), "what is taken is not offered")
	require.NotEqual(t, "0", b.Eval(`String(document.querySelectorAll('button[value^="show:"]').length)`), "other times are")

	b.Press(`button[value^="show:"]`)
	tag := s.Ask(http.MethodGet, "/visits/"+v.ID, nil, http.StatusOK, nil).Get("ETag")
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/cancel", nil, http.StatusOK, nil, "If-Match", tag)
	b.Click(`button[value^="move:"]`)
	b.Until("it is said", `document.body.innerText.includes("this one is cancelled.")`)
	require.NotContains(t, b.Text(), "Nothing is lost")
	require.Equal(t, "0", b.Eval(`String(document.querySelectorAll("form.book").length)`))
	require.Contains(t, b.Eval(`document.querySelector("nav.ways").innerText`), "Day board")
	b.Quiet("409", "422")
}

func TestAMoveThatNeedsAYesAsksForIt(t *testing.T) {
	s := webtest.New(t, desk.Mount)
	tag := s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, nil).Get("ETag")
	s.Ask(http.MethodPut, "/booking-rules", webtest.Object{"hold_minutes": 10, "needs": webtest.Object{"skin_test_for": "chemical"}}, http.StatusOK, nil, "If-Match", tag)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, webtest.Start.Add(98*time.Hour))
	b := at(t, s)
	b.Open(s.URL + "/visits/" + v.ID + "/move")
	b.Press(`button[value^="show:"]`)
	require.Contains(t, b.Text(), "Licensed person who said yes")
	b.OpenToAll()
	b.Press(`button[value^="move:"]`)
	require.Contains(t, b.Text(), "choose the licensed person who said yes")
	b.Fill(map[string]string{"approved_by": "Ada Birch"})
	b.Press(`button[value^="move:"]`)
	require.Equal(t, "/visits/"+v.ID, b.Eval(`location.pathname`))
	b.Quiet("422")
	b.Open(s.URL + "/visits/none/move")
	b.Quiet("404")
}

func TestAVisitThatCostsNothingIsMovedThoughItsServiceHasAPriceNow(t *testing.T) {
	s := webtest.New(t, desk.Mount)
	path := "/services/" + s.Services["Straightening"]
	priced := func(cents int) {
		var x webtest.Object
		tag := s.Ask(http.MethodGet, path, nil, http.StatusOK, &x).Get("ETag")
		for _, read := range []string{"id", "version", "active", "created_at", "chair_minutes"} {
			delete(x, read)
		}
		x["price_cents"] = cents
		s.Ask(http.MethodPut, path, x, http.StatusOK, nil, "If-Match", tag)
	}
	priced(0)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, webtest.Start.Add(74*time.Hour))
	require.Zero(t, v.PriceCents)
	priced(32000)
	b := s.Visitor(t)
	b.Get(s.Link(store.Desk, ""))
	page := b.Get("/visits/" + v.ID + "/move")
	opening := regexp.MustCompile(`name="do" value="(show:[^"]+)"`).FindStringSubmatch(page.Body)
	require.NotNil(t, opening, page.Text())
	shown := b.Post("/visits/"+v.ID+"/move", url.Values{"do": {opening[1]}, "stylist": {s.Ada}})
	require.Equal(t, http.StatusOK, shown.Status, shown.Text())
	require.Contains(t, shown.Text(), "It still costs nothing. Booked today it would be 320.00 EUR.")
}

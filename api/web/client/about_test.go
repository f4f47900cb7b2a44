package client_test

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
)

func TestAClientMakesAndEndsHerCalendar(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	v := enter(t, s, mara)
	p := v.send(v.get("/own/calendar"), "Make a calendar").says(http.StatusOK, "webcal://", "Your appointments at Harbour Chairs", `class="code"`)
	address := p.path + ".ics"
	v.get(address).says(http.StatusOK, "BEGIN:VCALENDAR")
	p = v.get("/own/calendar").says(http.StatusOK, "Calendars that you made", "Made on ")
	v.send(p, "End it").says(http.StatusOK, "Ended")
	v.get(address).says(http.StatusNotFound)
	for range 5 {
		v.post("/own/calendar", nil)
	}
	v.post("/own/calendar", nil).says(http.StatusConflict, "There are five calendars already")
}

func TestAClientSaysHowSheIsWrittenTo(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	var c api.ClientBody
	s.Ask(http.MethodPost, "/clients", object{"given_name": "Mara", "mail": "mara@example.org", "phone": "+442079460999"}, http.StatusCreated, &c)
	v := enter(t, s, c.ID)
	p := v.get("/own/messages").says(http.StatusOK, "By text message", "I want no messages about")
	v.send(p, "Save", "way", "call", "language", "", "voice", "true", "stop", "again", "stop_way", "text").says(http.StatusOK, "Saved.")
	var w api.MessageWishesBody
	s.Ask(http.MethodGet, "/clients/"+c.ID+"/message-wishes", nil, http.StatusOK, &w)
	require.Equal(t, "call", w.ContactBy)
	require.True(t, w.Voice)
	require.ElementsMatch(t, []string{"first_wash", "retouch", "retouch_again"}, w.Stopped)
	require.Equal(t, []string{"text"}, w.Ways)
	require.Equal(t, "page", w.History[0].How)
	v.send(v.get("/own/messages"), "Save", "way", "call", "stop_way", "text").says(http.StatusOK, "Saved.")
	s.Ask(http.MethodGet, "/clients/"+c.ID+"/message-wishes", nil, http.StatusOK, &w)
	require.Empty(t, w.Stopped)
	v.send(v.get("/own/messages"), "Save", "way", "pigeon", "stop", "care").says(http.StatusUnprocessableEntity, "Choose one of the ways", `value="care" checked`)
}

func TestEverythingAboutAClientIsHersToTake(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara, juna := s.Client("Mara", "Quist"), s.Client("Juna", "Kestrel")
	end := time.Date(2026, 6, 9, 13, 0, 0, 0, time.UTC)
	s.At(end)
	x := over(t, s, mara, end.Add(-5*time.Hour), end)
	other := s.Straightening(juna, s.Noor, end.Add(7*24*time.Hour-4*time.Hour))
	s.Ask(http.MethodPost, "/visits/"+x.ID+"/money", object{"kind": "received", "how": "cash", "amount_cents": 32000}, http.StatusCreated, nil)
	s.Ask(http.MethodPost, "/clients/"+mara+"/consents", object{"wording_version": 1, "given_by": "Mara Quist", "how": "present", "taken_by": "Ada Birch"}, http.StatusCreated, nil)
	s.Ask(http.MethodPost, "/clients/"+mara+"/skin-tests", object{"product": "Soft Wave", "strength": "N", "place": "inner_elbow", "by": s.Ada}, http.StatusCreated, nil)
	v := enterByMessage(t, s, x.ID)
	v.get("/own/about").says(http.StatusOK, "Answers about your health", "There are none", "Erased 12 months after your last visit")
	v.get("/own/about/everything").says(http.StatusOK, "Mara Quist", "320.00", "received, cash", "Mara Quist agreed on", "35 cm long")
	p := v.get("/own/about/everything.json").says(http.StatusOK)
	require.Equal(t, `attachment; filename="everything-about-me.json"`, p.header.Get("Content-Disposition"))
	require.Equal(t, "no-store", p.header.Get("Cache-Control"))
	var b api.OwnBundle
	require.NoError(t, json.Unmarshal([]byte(p.text), &b))
	require.Equal(t, "Mara", b.Client.GivenName)
	require.Len(t, b.Visits, 1)
	require.EqualValues(t, 32000, b.Visits[0].Money.InCents)
	require.Len(t, b.Consents, 1)
	require.Len(t, b.Cards, 1)
	require.Len(t, b.Tests, 1)
	require.Equal(t, "Soft Wave", b.Tests[0].Facts.Product)
	for _, foreign := range []string{other.ID, juna, "Juna"} {
		require.NotContains(t, p.text, foreign)
	}
	var reads struct{ Items []api.HealthReadBody }
	s.Ask(http.MethodGet, "/health-reads", nil, http.StatusOK, &reads)
	require.Equal(t, "client", reads.Items[0].Role, "that she read it is noted")
}

func TestALinkThatTheSalonMadeShowsNothingOfHealth(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	end := time.Date(2026, 6, 9, 13, 0, 0, 0, time.UTC)
	s.At(end)
	over(t, s, mara, end.Add(-5*time.Hour), end)
	s.Ask(http.MethodPost, "/clients/"+mara+"/skin-tests", object{"product": "Soft Wave", "strength": "N", "place": "inner_elbow", "by": s.Ada}, http.StatusCreated, nil)
	s.Ask(http.MethodPost, "/clients/"+mara+"/hair-treatments", object{"kind": "relaxer_or_perm", "done_on": "2026-01-05"}, http.StatusCreated, nil)
	l := own(s, mara)
	require.Equal(t, "owner", l.MadeBy)
	v := visit(t, s)
	v.open(l.URL).says(http.StatusOK)
	const why = "left out here, because somebody of the salon made the link"
	v.get("/own/about").says(http.StatusOK, why)
	p := v.get("/own/about/everything").says(http.StatusOK, why, "Not shown by this link", "35 cm long")
	require.NotContains(t, p.text, "Neutralizer")
	p = v.get("/own/about/everything.json").says(http.StatusOK, why)
	var b api.OwnBundle
	require.NoError(t, json.Unmarshal([]byte(p.text), &b))
	require.Empty(t, b.Tests)
	require.Empty(t, b.Screenings)
	require.Empty(t, b.Cards)
	require.Empty(t, b.Treated)
	require.NotContains(t, p.text, "Soft Wave")
	require.NotContains(t, p.text, "relaxer")
	require.Len(t, b.Visits, 1)
	require.Equal(t, "owner", b.Links[0].MadeBy, "she sees who made it")
	var reads struct{ Items []api.HealthReadBody }
	s.Ask(http.MethodGet, "/health-reads", nil, http.StatusOK, &reads)
	require.Empty(t, reads.Items)
}

func TestDeletingIsAskedTwiceAndIsTheDesksUnlessTheSalonSaysSo(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	x := s.Straightening(mara, s.Ada, webtest.Start.Add(8*24*time.Hour+time.Hour))
	v := enter(t, s, mara)
	v.get("/own/about/delete").says(http.StatusOK, "Cancel them first")
	v.post("/own/about/delete", url.Values{"step": {"yes"}}).says(http.StatusConflict, "cancel your visits first")
	v.send(v.get("/own/visits/"+x.ID+"/cancel"), "Cancel this visit").says(http.StatusOK)
	p := v.get("/own/about/delete").says(http.StatusOK, "What accounts need stays")
	p = v.send(p, "Ask to have everything deleted").says(http.StatusOK, "Are you sure?")
	v.send(p, "Yes, ask to have everything deleted").says(http.StatusOK, "you asked us to delete everything")
	var list struct{ Items []api.ClientRequestBody }
	s.Ask(http.MethodGet, "/client-requests", nil, http.StatusOK, &list)
	require.Equal(t, "erase", list.Items[0].Kind)

	h := s.Ask(http.MethodGet, "/privacy", nil, http.StatusOK, nil)
	s.Ask(http.MethodPut, "/privacy", object{"health_months": 12, "client_may_erase": true}, http.StatusOK, nil, "If-Match", h.Get("ETag"))
	nora := s.Client("Nora", "Vale")
	n := enter(t, s, nora)
	p = n.send(n.get("/own/about/delete"), "Delete everything about me").says(http.StatusOK, "Are you sure?")
	s.Ask(http.MethodGet, "/clients/"+nora, nil, http.StatusOK, nil)
	n.send(p, "Yes, delete everything").says(http.StatusOK, "Everything about you is deleted")
	s.Ask(http.MethodGet, "/clients/"+nora, nil, http.StatusNotFound, nil)
	n.get("/own").says(http.StatusUnauthorized)
}

func TestNobodySeesWhatIsAnothers(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara, juna := s.Client("Mara", "Quist"), s.Client("Juna", "Kestrel")
	hers := s.Straightening(juna, s.Noor, webtest.Start.Add(8*24*time.Hour+time.Hour))
	var feed api.FeedBody
	s.Ask(http.MethodPost, "/feeds", object{"kind": "client", "subject_id": juna}, http.StatusCreated, &feed)
	v := enter(t, s, mara)
	none := v.get("/own/visits/0197f0aa-0000-7000-8000-000000000000").says(http.StatusNotFound)
	start := url.Values{"start": {hers.Start.UTC().Format(time.RFC3339)}, "was": {hers.Start.UTC().Format(time.RFC3339)}, "kind": {"cancel"}}
	for _, path := range []string{"/own/visits/:id", "/own/visits/:id/care", "/own/visits/:id/cancel", "/own/visits/:id/move"} {
		require.Equal(t, none.text, v.get(strings.Replace(path, ":id", hers.ID, 1)).says(http.StatusNotFound).text, path)
	}
	for _, path := range []string{"/own/visits/:id/yes", "/own/visits/:id/cancel", "/own/visits/:id/move", "/own/visits/:id/ask"} {
		require.Equal(t, none.text, v.post(strings.Replace(path, ":id", hers.ID, 1), start).says(http.StatusNotFound).text, path)
	}
	require.Equal(t, none.text, v.post("/own/calendar/"+feed.ID+"/end", nil).says(http.StatusNotFound).text)
	after := visitOf(s, hers.ID)
	require.Equal(t, "booked", after.State)
	require.Nil(t, after.SaidYesAt)
	for _, path := range []string{"/own", "/own/again", "/own/calendar", "/own/messages", "/own/about", "/own/about/everything", "/own/about/everything.json", "/own/about/delete"} {
		p := v.get(path).says(http.StatusOK)
		require.NotContains(t, p.text, "Juna", path)
		require.NotContains(t, p.text, hers.ID, path)
		require.Equal(t, "no-store", p.header.Get("Cache-Control"), path)
	}
	// Nobody who has opened nothing sees any of it, nor does the cookie of somebody
	// who works there open it, or hers the board.
	outside := visit(t, s)
	for _, path := range []string{"/own", "/own/visits/" + hers.ID, "/own/about/everything.json"} {
		outside.get(path).says(http.StatusUnauthorized)
	}
	v.get("/").says(http.StatusUnauthorized)
	require.Equal(t, http.StatusUnauthorized, v.v.Get("/v1/clients").Status)
}

func TestTwentyFormsAnHourAreSentForOneClient(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	stranger := visit(t, s)
	for range 30 {
		stranger.post("/own/messages", nil).says(http.StatusUnauthorized)
	}
	v := enter(t, s, s.Client("Mara", "Quist"))
	for range 20 {
		v.post("/own/messages", url.Values{"way": {"mail"}}).says(http.StatusOK)
	}
	require.Equal(t, "3600", v.post("/own/messages", url.Values{"way": {"mail"}}).says(http.StatusTooManyRequests).header.Get("Retry-After"))
	n := enter(t, s, s.Client("Nora", "Vale"))
	n.post("/own/messages", url.Values{"way": {"mail"}}).says(http.StatusOK)
	s.At(webtest.Start.Add(29 * time.Minute))
	v.get("/own").says(http.StatusOK)
	s.At(webtest.Start.Add(58 * time.Minute))
	v.get("/own").says(http.StatusOK)
	s.At(webtest.Start.Add(61 * time.Minute))
	v.post("/own/messages", url.Values{"way": {"mail"}}).says(http.StatusOK)
}

func TestTwentyVisitsAnHourAreBookedFromOneAddress(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	var last *visitor
	for range 4 { // of whom each may send twenty forms
		last = enter(t, s, s.Client("Mara", "Stone"))
		for range 5 {
			require.NotEqual(t, http.StatusTooManyRequests, last.post("/own/again", url.Values{"start": {"2026-07-01T09:00:00Z"}}).status)
		}
	}
	last.post("/own/again", url.Values{"start": {"2026-07-01T09:00:00Z"}}).says(http.StatusTooManyRequests)
	require.NotEqual(t, http.StatusTooManyRequests, last.post("/own/messages", url.Values{"way": {"mail"}}).status)
}

func TestAnotherSitesPageSendsNoForm(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	v := enter(t, s, s.Client("Mara", "Quist"))
	require.Equal(t, http.StatusForbidden, v.v.Post("/own/about/delete", url.Values{"step": {"yes"}}, "Sec-Fetch-Site", "cross-site").Status)
}

package owner_test

import (
	"net/http"
	"net/url"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

func TestAClientIsErasedOnceHerNameIsTyped(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	mara := s.Client("Mara", "Quist")
	x := s.Straightening(mara, s.Ada, webtest.Start.Add(8*24*time.Hour+time.Hour))
	page := "/clients/" + mara + "/erase"
	d.see(page).says(t, "What goes, for good", "What stays, and why", "Backups from before", "This cannot be done yet", "1 visit of hers is pencilled, booked or going on")
	h := s.Ask(http.MethodGet, "/visits/"+x.ID, nil, http.StatusOK, nil)
	s.Ask(http.MethodPost, "/visits/"+x.ID+"/cancel", webtest.Object{}, http.StatusOK, nil, "If-Match", h.Get("ETag"))
	p := d.see(page).says(t, "1 visit without her name", "Nobody can take this back")
	p = d.fill(p, "erase", map[string]string{"name": "Mara Quirt"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "That is not her name")
	require.Contains(t, p.body, `value="Mara Quirt"`)
	s.Ask(http.MethodGet, "/clients/"+mara, nil, http.StatusOK, nil)
	p = d.fill(p, "erase", map[string]string{"name": " mara  QUIST "})
	require.Equal(t, "/clients?done=erased", p.path)
	s.Ask(http.MethodGet, "/clients/"+mara, nil, http.StatusNotFound, nil)
	require.Equal(t, http.StatusNotFound, d.get(page).status)
	require.Equal(t, http.StatusForbidden, open(t, s, store.Desk).get(page).status)
}

func TestTheOwnerReadsWhoChangedWhatByPersonThingAndDay(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	mara := s.Client("Mara", "Quist")
	d.fill(d.see("/set-up/rules"), "privacy", map[string]string{"client_may_erase": "true"}).says(t, "Saved.")
	at := func(query url.Values) sheet { return d.see("/set-up/changes?" + query.Encode()) }
	at(nil).says(t, "What was changed", "client Mara Quist", "the salon and its rules", "client may erase")
	only := at(url.Values{"changes-what": {"client"}})
	only.says(t, "client Mara Quist added")
	require.Contains(t, only.body, `href="/clients/`+mara+`"`)
	require.NotContains(t, only.text(), "client may erase")
	at(url.Values{"changes-by": {"clients"}}).says(t, "Nothing was changed.")
	at(url.Values{"changes-day": {"2001-01-01"}}).says(t, "Nothing was changed.")
	d.see("/set-up/changes?changes-day=never").says(t, "“never”")
	s.Ask(http.MethodPost, "/clients/"+mara+"/hair-treatments", webtest.Object{"kind": "coloured", "done_on": "2025-03-01"}, http.StatusCreated, nil)
	at(url.Values{"changes-what": {"hair_treatment"}}).says(t, "hair treatment that a client told of Mara Quist added")

	for range 60 {
		s.Client("Juna", "Kestrel")
	}
	var log struct{ Changes []api.ChangeBody }
	s.Ask(http.MethodGet, "/changes?limit=50", nil, http.StatusOK, &log)
	at(nil).says(t, "Earlier changes")
	require.NotContains(t, at(nil).text(), "Mara Quist")
	d.see("/set-up/changes?before="+strconv.FormatInt(log.Changes[49].ID, 10)).says(t, "Mara Quist", "Back to the latest")
}

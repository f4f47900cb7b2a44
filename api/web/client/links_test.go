package client_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/web/webtest"
	"chairblock/store"
)

func TestALinkLeadsToACleanAddressWithACookieOfHalfAnHour(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	l := own(s, mara)
	require.Regexp(t, `/c/c_`+s.Row.Key+`_[A-Za-z0-9_-]{43}$`, l.URL)
	require.True(t, l.Works)
	require.Equal(t, webtest.Start.AddDate(0, 0, 400), l.Expires.UTC(), "400 days unless it is used")

	once := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	a, err := once.Get(l.URL)
	require.NoError(t, err)
	a.Body.Close()
	require.Equal(t, http.StatusOK, a.StatusCode)
	require.Empty(t, a.Cookies(), "that it was opened changes nothing")
	a, err = once.Post(l.URL, "", nil)
	require.NoError(t, err)
	a.Body.Close()
	require.Equal(t, http.StatusSeeOther, a.StatusCode)
	require.Equal(t, "/own", a.Header.Get("Location"))
	require.Equal(t, "no-referrer", a.Header.Get("Referrer-Policy"))
	require.Equal(t, "no-store", a.Header.Get("Cache-Control"))
	require.Contains(t, a.Header.Get("X-Robots-Tag"), "noindex")
	require.Len(t, a.Cookies(), 1)
	c := a.Cookies()[0]
	require.Equal(t, "chairblock-own", c.Name, "without encryption no browser takes the prefix")
	require.True(t, c.HttpOnly)
	require.Equal(t, http.SameSiteLaxMode, c.SameSite)
	require.Equal(t, 1800, c.MaxAge)
	require.Equal(t, "/", c.Path)
	require.NotContains(t, c.Value, l.URL[len(l.URL)-43:], "the secret, which may hold any letter and underscore")

	v := visit(t, s)
	v.open(l.URL).says(http.StatusOK, "Your visits", "No visit is booked", "Harbour Chairs")
	require.Empty(t, v.get("/own/about").says(http.StatusOK).header.Get("Set-Cookie"), "nothing has changed since")
	s.At(webtest.Start.Add(29 * time.Minute))
	require.NotEmpty(t, v.get("/own").says(http.StatusOK).header.Get("Set-Cookie"))
	s.At(webtest.Start.Add(58 * time.Minute)) // half an hour from the last use
	v.get("/own").says(http.StatusOK)
	s.At(webtest.Start.Add(89 * time.Minute))
	v.get("/own").says(http.StatusUnauthorized, "Your pages are closed")
}

func TestPagesStayOpenForADayAtMost(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	v := enter(t, s, s.Client("Mara", "Quist"))
	for at := 20 * time.Minute; at < 12*time.Hour; at += 20 * time.Minute {
		s.At(webtest.Start.Add(at))
		v.get("/own/messages").says(http.StatusOK)
	}
	s.At(webtest.Start.Add(12*time.Hour + time.Minute))
	v.get("/own").says(http.StatusUnauthorized)
}

func TestALinkThatWasChangedOrEndedClosesWhatItHasOpened(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	l := own(s, mara)
	path := strings.TrimPrefix(l.URL, s.URL)
	v := visit(t, s)
	v.open(path).says(http.StatusOK, "Your visits")

	s.Ask(http.MethodPost, "/own-links/"+l.ID+"/rotate", nil, http.StatusOK, &l)
	v.get("/own").says(http.StatusUnauthorized)
	gone := v.get(path).says(http.StatusNotFound, "This link does not work")
	path = strings.TrimPrefix(l.URL, s.URL)
	v.open(path).says(http.StatusOK, "Your visits")

	s.Ask(http.MethodDelete, "/own-links/"+l.ID, nil, http.StatusNoContent, nil)
	v.get("/own").says(http.StatusUnauthorized)
	require.Equal(t, gone.text, v.get(path).text, "revoked and unknown are the same")
	require.Equal(t, gone.text, v.get("/c/c_"+s.Row.Key+"_"+strings.Repeat("A", 43)).text)
	s.Ask(http.MethodPost, "/own-links/"+l.ID+"/rotate", nil, http.StatusConflict, nil)

	l = own(s, mara)
	path = strings.TrimPrefix(l.URL, s.URL)
	s.At(webtest.Start.AddDate(0, 0, 399))
	v.open(path).says(http.StatusOK, "Your visits")
	s.At(webtest.Start.AddDate(0, 0, 398+400)) // from its last use
	v.open(path).says(http.StatusOK, "Your visits")
	s.At(webtest.Start.AddDate(0, 0, 399+801))
	require.Equal(t, gone.text, v.get(path).says(http.StatusNotFound).text, "expired")
}

func TestTheDeskClosesEverythingAtOnce(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara := s.Client("Mara", "Quist")
	a, b := enter(t, s, mara), enter(t, s, mara)
	s.At(webtest.Start.Add(time.Minute))
	a.post("/own/leave", nil).says(http.StatusOK, "closed")
	b.get("/own").says(http.StatusUnauthorized)
	s.At(webtest.Start.Add(2 * time.Minute))
	c := enter(t, s, mara)
	s.At(webtest.Start.Add(3 * time.Minute))
	s.Ask(http.MethodPost, "/clients/"+mara+"/close-own-pages", nil, http.StatusNoContent, nil)
	c.get("/own").says(http.StatusUnauthorized)
	var list struct{ Items []struct{ Works bool } }
	s.Ask(http.MethodGet, "/clients/"+mara+"/own-links", nil, http.StatusOK, &list)
	require.Len(t, list.Items, 3)
	for _, l := range list.Items {
		require.False(t, l.Works)
	}
}

func TestAGuardiansLinkEndsWhenTheMinorIsOne(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	lia := s.Client("Lia", "Quist")
	hers := own(s, lia)
	s.Ask(http.MethodPut, "/clients/"+lia+"/minor", object{"minor_until": "2026-07-01", "guardian_name": "Rosa Quist", "guardian_mail": "rosa@example.org"}, http.StatusOK, nil)
	visit(t, s).get(strings.TrimPrefix(hers.URL, s.URL)).says(http.StatusNotFound)
	s.At(webtest.Start.Add(time.Minute)) // whatever was open is closed
	l := own(s, lia)
	require.True(t, l.Guardian)
	v := visit(t, s)
	v.open(l.URL).says(http.StatusOK, "For Rosa Quist, about Lia Quist")
	s.At(time.Date(2026, 7, 1, 9, 0, 0, 0, time.UTC))
	v.get("/own").says(http.StatusUnauthorized)
	v.get(strings.TrimPrefix(l.URL, s.URL)).says(http.StatusNotFound)
	visit(t, s).get(strings.TrimPrefix(hers.URL, s.URL)).says(http.StatusOK)
}

func TestNobodyGuessesLinksForLong(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	v := visit(t, s)
	for range 30 {
		v.get("/c/c_" + s.Row.Key + "_" + strings.Repeat("B", 43)).says(http.StatusNotFound)
	}
	v.get("/c/c_" + s.Row.Key + "_" + strings.Repeat("C", 43)).says(http.StatusTooManyRequests)
	// Whoever has a link, or has opened her pages, is behind the same address.
	hers := enter(t, s, s.Client("Mara", "Quist"))
	hers.get("/own/about").says(http.StatusOK)
	hers.post("/own/messages", url.Values{"way": {"mail"}}).says(http.StatusOK)
	visit(t, s).get(strings.TrimPrefix(s.Link(store.Desk, ""), s.URL)).says(http.StatusOK)
	v.get("/c/c_" + s.Row.Key + "_" + strings.Repeat("C", 43)).says(http.StatusTooManyRequests)
}

func TestALinkOpensNothingUntilItIsPressed(t *testing.T) {
	t.Parallel()
	s := webtest.New(t)
	mara, nora := s.Client("Mara", "Quist"), s.Client("Nora", "Vale")
	v := enter(t, s, mara)
	l := own(s, nora)
	path := strings.TrimPrefix(l.URL, s.URL)
	p := v.get(path).says(http.StatusOK, "Your own pages", "Harbour Chairs", "Open my pages")
	require.NotContains(t, p.text, "Nora", "it says nothing about her")
	v.get("/own/about").says(http.StatusOK, "Mara Quist")
	require.Equal(t, http.StatusForbidden, v.v.Post(path, nil, "Sec-Fetch-Site", "cross-site").Status)
	require.Equal(t, http.StatusForbidden, v.v.Do(http.MethodPost, path, nil, "Origin", "https://evil.example").Status)
	v.get("/own/about").says(http.StatusOK, "Mara Quist")
	v.send(v.get(path), "Open my pages").says(http.StatusOK)
	v.get("/own/about").says(http.StatusOK, "Nora Vale")
	require.Equal(t, "/own", v.get(path).path, "where they are open already it leads on")
	s.Ask(http.MethodDelete, "/own-links/"+l.ID, nil, http.StatusNoContent, nil)
	v.post(path, nil).says(http.StatusNotFound)

	x := s.Straightening(mara, s.Ada, webtest.Start.Add(8*24*time.Hour+time.Hour))
	m := enterByMessage(t, s, x.ID)
	m.get("/own/about").says(http.StatusOK, "Mara Quist")
}

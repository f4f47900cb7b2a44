package api_test

import (
	"fmt"
	"net"
	"net/http"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestATokenThatAsksTooOftenWaitsAndOthersDoNot(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	s.server.LimitRequests(60)
	desk, other := s.as(store.Desk), s.as(store.Desk)
	for left := 59; left >= 0; left-- {
		a := desk.call("GET", "/v1/salon", nil).is(200, nil)
		require.Equal(t, fmt.Sprintf(`"minute";r=%d;t=0`, left), a.header.Get("RateLimit"))
		require.Equal(t, `"minute";q=60;w=60`, a.header.Get("RateLimit-Policy"))
	}
	a := desk.call("GET", "/v1/salon", nil)
	a.refused(429, "too-many-requests")
	require.Equal(t, "application/problem+json", a.header.Get("Content-Type"))
	require.Equal(t, "1", a.header.Get("Retry-After"))
	other.call("GET", "/v1/salon", nil).is(200, nil)
	s.sue()
	_, hers := s.signsIn("")
	for range 60 {
		s.call("GET", "/v1/salon", nil, hers...).is(200, nil)
	}
	_, again := s.signsIn("")
	s.call("GET", "/v1/salon", nil, again...).refused(429, "too-many-requests") // it is the account that is counted
	s.at(start.Add(time.Second))
	desk.call("GET", "/v1/salon", nil).is(200, nil)
	desk.call("GET", "/v1/salon", nil).refused(429, "too-many-requests")
	s.at(start.Add(time.Hour))
	for range 60 {
		desk.call("GET", "/v1/salon", nil).is(200, nil)
	}
	desk.call("GET", "/v1/salon", nil).refused(429, "too-many-requests")
	s.at(start.Add(-time.Hour)) // the clock is set back
	desk.call("GET", "/v1/salon", nil).refused(429, "too-many-requests")
	s.at(start.Add(time.Second - time.Hour))
	desk.call("GET", "/v1/salon", nil).is(200, nil)
}

func TestWhoGuessesTokensIsToldToWait(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	guess := func(i int) answer {
		return s.call("GET", "/v1/salon", nil, "Authorization", fmt.Sprintf("Bearer b_aaaaaaaaaa_%043d", i))
	}
	for i := range 30 {
		guess(i).refused(401, "unauthorized")
	}
	a := guess(30)
	a.refused(429, "too-many-tries")
	wait, err := strconv.Atoi(a.header.Get("Retry-After"))
	require.NoError(t, err)
	require.Positive(t, wait)
	s.call("GET", "/v1/salon", nil).is(http.StatusOK, nil) // who has one is let in from there
}

func TestNobodyBehindAnAddressOfGuessesIsShutOutByWhatTakesLong(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(97*time.Hour), s.cut())
	link, _ := s.linkIn(v.ID, "confirmation")
	for i := range 30 {
		s.call("GET", "/v1/salon", nil, "Authorization", fmt.Sprintf("Bearer b_aaaaaaaaaa_%043d", i)).refused(401, "unauthorized")
	}
	for range 2 { // who listens with a token that is good
		require.Equal(t, 200, s.listen(s.http.URL, "").answer.StatusCode)
	}
	for _, head := range []string{ // bodies that do not come
		"POST /v1/sign-in HTTP/1.1\r\nContent-Type: application/json",
		"POST /m/x/stop HTTP/1.1\r\nContent-Type: application/x-www-form-urlencoded",
	} {
		for range 2 {
			c, err := net.Dial("tcp", s.http.Listener.Addr().String())
			require.NoError(t, err)
			defer c.Close()
			_, err = fmt.Fprintf(c, "%s\r\nHost: salon\r\nContent-Length: 9\r\n\r\n{", head)
			require.NoError(t, err)
		}
	}
	time.Sleep(100 * time.Millisecond) // they have come by then, or hold nothing
	s.call("GET", "/v1/salon", nil).is(200, nil)
	page, _ := s.web("GET", link, "", "")
	require.Equal(t, 200, page.StatusCode)
}

// Not parallel: it says where files are put that a form brings.
func TestAFormForACalendarIsNotKept(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	s := emptySalon(t, "Europe/Berlin")
	for i := range 30 {
		page, _ := s.web("GET", fmt.Sprintf("/cal/f_aaaaaaaaaa_%043d.ics", i), "", "")
		require.Equal(t, 404, page.StatusCode)
	}
	body := "--x\r\nContent-Disposition: form-data; name=\"a\"; filename=\"a\"\r\n\r\n" + strings.Repeat("x", 40<<20) + "\r\n--x--\r\n"
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.http.URL+"/cal/x.ics", strings.NewReader(body))
	require.NoError(t, err)
	r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
	if a, err := http.DefaultClient.Do(r); err == nil { // or the connection was cut
		require.Contains(t, []int{400, 405}, a.StatusCode)
		require.NoError(t, a.Body.Close())
	}
	kept, err := filepath.Glob(filepath.Join(dir, "multipart-*"))
	require.NoError(t, err)
	require.Empty(t, kept)
}

func TestWhoHoldsALinkHasABudgetToo(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	v, _ := s.book(mara, start.Add(97*time.Hour), s.cut())
	link, _ := s.linkIn(v.ID, "confirmation")
	c := s.feed("staff", s.ada)
	s.server.LimitRequests(30)
	for i := range 22 {
		page, _ := s.web("POST", link+[]string{"/stop", "/again"}[i%2], formType, "what=topic")
		require.Equal(t, map[bool]int{true: 200, false: 429}[i < 20], page.StatusCode, "form %d", i)
		if i >= 20 {
			require.NotEmpty(t, page.Header.Get("Retry-After"))
		}
	}
	var last webAnswer
	for range 9 {
		last, _ = s.web("GET", link, "", "")
	}
	require.Equal(t, 429, last.StatusCode)
	last, _ = s.web("POST", link+"/own", formType, "")
	require.Equal(t, 429, last.StatusCode)
	var own api.OwnLinkBody
	s.call("POST", "/v1/clients/"+mara+"/own-links", object{}).is(201, &own)
	hers := own.URL[strings.Index(own.URL, "/c/"):]
	for i := range 31 {
		page, _ := s.web("GET", hers, "", "")
		require.Equal(t, map[bool]int{true: 200, false: 429}[i < 30], page.StatusCode, "look %d", i)
	}
	for range 30 {
		require.Equal(t, 200, c.ask("GET").status)
	}
	a := c.ask("GET")
	a.refused(429, "too-many-requests")
	require.Equal(t, "2", a.header.Get("Retry-After"))
}

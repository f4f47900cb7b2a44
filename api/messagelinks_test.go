package api_test

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// linkIn is the path of the link in a message that was sent just now.
func (s *salon) linkIn(visit, kind string) (path string, d store.Due) {
	s.t.Helper()
	o := &outbox{}
	d = s.inLine(store.Reminder{Visit: visit, Kind: kind})
	require.Equal(s.t, store.Sent, s.sent(o, d).State)
	text := o.last(s.t).Text
	i := strings.Index(text, "/m/m_")
	require.Positive(s.t, i, text)
	return strings.Fields(text[i:])[0], d
}

// webAnswer is what comes with a page.
type webAnswer struct {
	StatusCode int
	Header     http.Header
	Cookies    []*http.Cookie
}

// web asks for a page as a browser or a mail program does, without cookies.
func (s *salon) web(method, path, contentType, body string, headers ...string) (webAnswer, string) {
	s.t.Helper()
	r, err := http.NewRequestWithContext(s.t.Context(), method, s.http.URL+path, strings.NewReader(body))
	require.NoError(s.t, err)
	if contentType != "" {
		r.Header.Set("Content-Type", contentType)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Do(r)
	require.NoError(s.t, err)
	defer resp.Body.Close()
	page, err := io.ReadAll(resp.Body)
	require.NoError(s.t, err)
	return webAnswer{resp.StatusCode, resp.Header, resp.Cookies()}, string(page)
}

const formType = "application/x-www-form-urlencoded"

// press sends a form of the page at path.
func (s *salon) press(path string, fields ...string) (int, string) {
	s.t.Helper()
	v := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		v.Set(fields[i], fields[i+1])
	}
	// As a browser sends it whose page gives no referrer.
	resp, page := s.web("POST", path, formType, v.Encode(), "Origin", "null", "Sec-Fetch-Site", "same-origin")
	return resp.StatusCode, page
}

func (s *salon) wishesOf(client string) (w api.MessageWishesBody) {
	s.t.Helper()
	s.call("GET", "/v1/clients/"+client+"/message-wishes", nil).is(200, &w)
	return w
}

func TestALinkInAMessageSaysYesAndStopsMessages(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, tag := s.book(client, start.Add(51*time.Hour), s.straightening())
	path, _ := s.linkIn(v.ID, "reminder")
	tables := s.tables()
	before := tables()
	resp, page := s.web("GET", path, "", "")
	require.Equal(t, 200, resp.StatusCode)
	require.Contains(t, page, "Yes, I am coming")
	require.NotContains(t, page, "Mara")
	require.Empty(t, resp.Cookies)
	require.Equal(t, "no-referrer", resp.Header.Get("Referrer-Policy"))
	require.Equal(t, "no-store", resp.Header.Get("Cache-Control"))
	require.Contains(t, resp.Header.Get("X-Robots-Tag"), "noindex")
	require.Contains(t, resp.Header.Get("Content-Security-Policy"), "default-src 'none'")
	for _, sub := range []string{"/yes", "/stop", "/again", "/anything"} { // mail programs open every address
		resp, _ := s.web("GET", path+sub, "", "")
		require.Equal(t, 200, resp.StatusCode)
	}
	resp, page = s.web("HEAD", path, "", "")
	require.Equal(t, 200, resp.StatusCode)
	require.Empty(t, page)
	require.Equal(t, before, tables(), "what only reads changes nothing")

	code, page := s.press(path+"/yes", "start", v.Start.UTC().Format(time.RFC3339))
	require.Equal(t, 200, code)
	require.Contains(t, page, "You have told us that you are coming")
	var got api.VisitBody
	tag2 := s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &got).header.Get("ETag")
	require.NotNil(t, got.SaidYesAt)
	require.NotEqual(t, tag, tag2)
	s.press(path+"/yes", "start", v.Start.UTC().Format(time.RFC3339))
	require.Equal(t, tag2, s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag"), "once is enough")

	// A yes is to the time that the page has shown.
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(time.Hour)}, "If-Match", tag2).is(200, nil)
	for _, shown := range []string{v.Start.UTC().Format(time.RFC3339), "", "now", "2026-06-10T12:00:00"} {
		_, page = s.press(path+"/yes", "start", shown)
		require.Contains(t, page, "another time now")
	}
	got = api.VisitBody{}
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &got)
	require.Nil(t, got.SaidYesAt)
	_, page = s.press(path+"/yes", "start", got.Start.UTC().Format(time.RFC3339))
	require.Contains(t, page, "Thank you")

	code, page = s.press(path+"/stop", "what", "like")
	require.Equal(t, 200, code)
	require.Contains(t, page, "Send them again")
	w := s.wishesOf(client)
	require.Equal(t, []string{"prepare", "reminder"}, w.Stopped)
	require.Equal(t, "page client reminder", w.History[0].How+" "+w.History[0].SaidBy+" "+w.History[0].MessageKind)
	require.Empty(t, w.History[0].NotedBy)
	s.press(path+"/stop", "what", "like")
	require.Len(t, s.wishesOf(client).History, 2, "once is enough")
	s.press(path+"/stop", "what", "way")
	require.Equal(t, []string{"mail"}, s.wishesOf(client).Ways)
	_, page = s.press(path+"/again", "what", "way")
	require.Contains(t, page, "Stop all emails")
	s.press(path+"/again", "what", "like")
	w = s.wishesOf(client)
	require.Empty(t, w.Stopped)
	require.Empty(t, w.Ways)
	for _, what := range []string{"", "everything", "like\x00", strings.Repeat("x", 10000)} {
		_, page = s.press(path+"/stop", "what", what)
		require.Contains(t, page, "Nothing was changed")
	}
	require.Equal(t, w.History, s.wishesOf(client).History)
}

func TestAMailProgramStopsMessagesWithOnePost(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(3*time.Hour), s.straightening())
	s.turn(v, "finished")
	s.at(v.End.Add(time.Hour))
	path, _ := s.linkIn(v.ID, "retouch")
	var form bytes.Buffer
	w := multipart.NewWriter(&form)
	require.NoError(t, w.WriteField("List-Unsubscribe", "One-Click"))
	require.NoError(t, w.Close())
	for _, x := range []struct{ contentType, body string }{{formType, "List-Unsubscribe=One-Click"}, {w.FormDataContentType(), form.String()}} {
		resp, _ := s.web("POST", path+"/stop", x.contentType, x.body)
		require.Equal(t, 200, resp.StatusCode, "no redirect")
		require.Empty(t, resp.Cookies)
		got := s.wishesOf(client)
		require.Equal(t, []string{"first_wash", "retouch", "retouch_again"}, got.Stopped)
		require.Equal(t, "one_click", got.History[0].How)
		s.wishes(client, object{})
	}
	for _, body := range []string{"", "List-Unsubscribe=Two-Clicks", "list-unsubscribe=One-Click", "%zz", "List-Unsubscribe"} {
		resp, _ := s.web("POST", path+"/stop", formType, body)
		require.Less(t, resp.StatusCode, 500)
		require.Empty(t, s.wishesOf(client).Stopped, body)
	}
	resp, _ := s.web("POST", path+"/stop", formType, "what="+strings.Repeat("x", 300<<10))
	require.Less(t, resp.StatusCode, 500)
	require.Empty(t, s.wishesOf(client).Stopped)
}

func TestALinkThatDoesNothingIsAlwaysTheSamePage(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.alter(`UPDATE staff SET mail = 'ada@example.org' WHERE staff_id = $1`, s.ada)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(3*time.Hour), s.straightening())
	path, d := s.linkIn(v.ID, "reminder")
	staff := s.inLine(store.Reminder{Visit: v.ID, Kind: "helper_away", Staff: s.ada})
	forStaff, err := s.store.MessageLink(t.Context(), s.row, staff.Reminder.ID)
	require.NoError(t, err)
	other := s.neighbour()
	require.NotEqual(t, s.row.Key, other.row.Key)
	_, none := s.web("GET", "/m/m_nosuchsalon_"+strings.Repeat("A", 43), "", "")
	bad := []string{"/m/" + forStaff, "/m/x", "/m/m_", path + "A", path[:len(path)-1], strings.Replace(path, s.row.Key, other.row.Key, 1), "/m/%00", "/m/%2e%2e", "/m/" + strings.Repeat("a", 5000),
		strings.Replace(path, "/m_", "/b_", 1)}
	for _, p := range bad {
		for _, method := range []string{"GET", "POST"} {
			target := p
			if method == "POST" {
				target += "/stop"
			}
			resp, page := s.web(method, target, formType, "List-Unsubscribe=One-Click")
			require.Equal(t, 404, resp.StatusCode, target)
			require.Equal(t, none, page, target)
		}
	}
	require.Empty(t, s.wishesOf(client).History)

	// After 400 days a link does nothing any more.
	s.at(d.Reminder.Due.Add(400 * 24 * time.Hour))
	resp, page := s.web("GET", path, "", "")
	require.Equal(t, 200, resp.StatusCode)
	require.NotContains(t, page, "Yes, I am coming")
	require.Contains(t, page, "over")
	s.press(path+"/yes", "start", v.Start.UTC().Format(time.RFC3339))
	var got api.VisitBody
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &got)
	require.Nil(t, got.SaidYesAt)
	s.at(d.Reminder.Due.Add(400*24*time.Hour + time.Second))
	resp, page = s.web("GET", path, "", "")
	require.Equal(t, 404, resp.StatusCode)
	require.Equal(t, none, page)
}

func TestWhoGuessesLinksIsToldToWaitAndWhoHasOneReadsIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(51*time.Hour), s.straightening())
	path, _ := s.linkIn(v.ID, "reminder")
	codes := map[int]int{}
	for range 60 {
		resp, _ := s.web("GET", "/m/m_"+s.row.Key+"_"+strings.Repeat("A", 43), "", "")
		codes[resp.StatusCode]++
	}
	require.GreaterOrEqual(t, codes[404], 30)
	require.NotZero(t, codes[429])
	resp, _ := s.web("GET", "/m/m_"+s.row.Key+"_"+strings.Repeat("A", 43), "", "")
	require.Equal(t, 429, resp.StatusCode)
	require.Equal(t, "60", resp.Header.Get("Retry-After"))
	resp, _ = s.web("GET", path, "", "")
	require.Equal(t, 200, resp.StatusCode, "who has a link is not kept out by those who guess")
}

func TestALinkIsTheGuardiansWhoGotItAndTheClientsOwnAfterThat(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(51*time.Hour), s.straightening())
	s.call("PUT", "/v1/clients/"+client+"/minor", object{"minor_until": "2026-06-20", "guardian_name": "Rosa Quist", "guardian_mail": "rosa@example.org"}).is(200, nil)
	path, _ := s.linkIn(v.ID, "reminder")
	s.press(path+"/stop", "what", "way")
	require.Equal(t, []string{"mail"}, s.wishesOf(client).Ways)
	s.at(start.AddDate(0, 0, 30))
	require.Empty(t, s.wishesOf(client).Ways, "the guardian's word ends with her being asked")
	s.press(path+"/again", "what", "way")
	require.Equal(t, "guardian", s.wishesOf(client).History[0].SaidBy)
}

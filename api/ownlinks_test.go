package api_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// ownThings are a link to a client's own pages and something that she asked for.
func (s *salon) ownThings(client string) (link, request string) {
	s.t.Helper()
	var l api.OwnLinkBody
	s.call("POST", "/v1/clients/"+client+"/own-links", object{}).is(201, &l)
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(t *store.Tx) error {
		r, err := t.AddClientRequest(s.t.Context(), store.ClientRequest{Client: client, Kind: store.AskRetouch, Made: *s.clock.Load()})
		request = r.ID
		return err
	}))
	return l.ID, request
}

func TestAMessageLeadsToTheClientsOwnPagesByAButton(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(97*time.Hour), s.straightening())
	path, _ := s.linkIn(v.ID, "reminder")
	before := s.tables()()
	resp, page := s.web("GET", path, "", "")
	require.Contains(t, page, "Look at the visit, move it or cancel it")
	require.Empty(t, resp.Cookies, "a program that opens every link is given nothing")
	require.Equal(t, before, s.tables()(), "and changes nothing")

	resp, _ = s.web("POST", path+"/own", formType, "", "Sec-Fetch-Site", "same-origin")
	require.Equal(t, http.StatusSeeOther, resp.StatusCode)
	require.Equal(t, "/own/visits/"+v.ID, resp.Header.Get("Location"))
	require.Len(t, resp.Cookies, 1)
	resp, page = s.web("GET", "/own/visits/"+v.ID, "", "", "Cookie", resp.Cookies[0].Name+"="+resp.Cookies[0].Value)
	require.Equal(t, 200, resp.StatusCode, page)
	require.Contains(t, page, "Yes, I am coming")

	// The salon closes what messages open; yes and stop go on to work.
	s.at(start.Add(time.Hour))
	s.call("POST", "/v1/clients/"+client+"/close-own-pages", nil).is(204, nil)
	status, page := s.press(path + "/own")
	require.Equal(t, 404, status)
	require.Contains(t, page, "This link does not work")
	_, page = s.web("GET", path, "", "")
	require.NotContains(t, page, "Look at the visit, move it")
	require.Contains(t, page, "Yes, I am coming")
}

func TestEveryMessageToAClientCarriesTheLink(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(97*time.Hour), s.straightening())
	for _, kind := range []string{"confirmation", "prepare", "reminder"} {
		path, _ := s.linkIn(v.ID, kind)
		require.True(t, strings.HasPrefix(path, "/m/m_"+s.row.Key), kind)
	}
	o := &outbox{}
	d := s.inLine(store.Reminder{Visit: v.ID, Kind: "confirmation"})
	require.Equal(t, store.Sent, s.sent(o, d).State)
	require.Contains(t, o.last(t).Text, "Look at the visit, move it or cancel it")
	require.NotContains(t, o.last(t).Text, "/c/c_", "the secret of a link is kept nowhere, so that no message can hold it")
}

func TestTheCookieOfOwnPagesIsBoundToItsHostWhereTransportIsEncrypted(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var l api.OwnLinkBody
	s.call("POST", "/v1/clients/"+s.client("Mara")+"/own-links", object{}).is(201, &l)
	server := api.New(s.store, "https://salon.example", func() time.Time { return *s.clock.Load() })
	w := httptest.NewRecorder()
	server.Handler().ServeHTTP(w, httptest.NewRequest("POST", strings.TrimPrefix(l.URL, "http://127.0.0.1"), nil))
	resp := w.Result()
	defer resp.Body.Close()
	require.Equal(t, http.StatusSeeOther, resp.StatusCode)
	require.Len(t, resp.Cookies(), 1)
	c := resp.Cookies()[0]
	require.Equal(t, "__Host-own", c.Name)
	require.True(t, c.Secure && c.HttpOnly && c.Path == "/" && c.Domain == "", "%+v", c)
	require.Equal(t, http.SameSiteLaxMode, c.SameSite)
	require.Equal(t, "max-age=31536000", resp.Header.Get("Strict-Transport-Security"))
	plain, _ := s.web("GET", "/healthz", "", "")
	require.Empty(t, plain.Header.Get("Strict-Transport-Security"), "transport that is not encrypted promises nothing")
}

func TestNoSecretOfOwnPagesIsLogged(t *testing.T) {
	stop := listen(t)
	var secrets []string
	ran := t.Run("scenario", func(t *testing.T) {
		s := newSalon(t)
		client := s.client("Zqxqzmara")
		var l api.OwnLinkBody
		s.call("POST", "/v1/clients/"+client+"/own-links", object{"label": "zqxqzlabel"}).is(201, &l)
		path := strings.TrimPrefix(l.URL, "http://127.0.0.1")
		resp, _ := s.web("POST", path, formType, "")
		cookie := resp.Cookies[0].Name + "=" + resp.Cookies[0].Value
		secrets = []string{path[len("/c/c_")+len(s.row.Key)+1:], resp.Cookies[0].Value}
		for _, p := range []string{"/own", "/own/about/everything.json", "/own/visits/zqxqzvisit", "/own/again?cut=zqxqzcut&done_since=zqxqzdone", "/c/c_zqxqzkey00_" + strings.Repeat("z", 43)} {
			s.web("GET", p, "", "", "Cookie", cookie)
		}
		s.web("POST", "/own/again/ask", formType, "words=zqxqzwords", "Cookie", cookie, "Sec-Fetch-Site", "same-origin")
		// A database that does not do what the program believes.
		_, err := s.db().Exec(`ALTER TABLE client_request ADD CHECK (words <> 'zqxqzbroken') NOT VALID`)
		require.NoError(t, err)
		resp, page := s.web("POST", "/own/again/ask", formType, "words=zqxqzbroken", "Cookie", cookie, "Sec-Fetch-Site", "same-origin")
		require.Equal(t, 500, resp.StatusCode)
		require.NotContains(t, page, "zqxqz")
	})
	heard := strings.ToLower(stop())
	require.True(t, ran)
	require.NotEmpty(t, heard)
	for _, word := range append(secrets, "zqxqz", "/own/", "/c/") {
		require.NotContains(t, heard, strings.ToLower(word))
	}
}

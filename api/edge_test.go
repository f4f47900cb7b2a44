package api_test

import (
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// outside lets requests pass that the description does not know.
func (s *salon) outside() *salon {
	c := *s
	c.door = http.DefaultTransport
	return &c
}

func TestWithoutAValidTokenNothingIsToldApart(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var revoked, expired struct {
		ID, Token string
	}
	s.call("POST", "/v1/tokens", object{"role": "owner", "label": "lost"}).is(201, &revoked)
	s.call("GET", "/v1/salon", nil, "Authorization", "Bearer "+revoked.Token).is(200, nil)
	s.call("DELETE", "/v1/tokens/"+revoked.ID, nil).is(204, nil)
	s.at(time.Date(2020, 1, 1, 9, 0, 0, 0, time.UTC)) // the database has its own clock
	s.call("POST", "/v1/tokens", object{"role": "owner", "label": "old", "expires_at": "2020-01-02T00:00:00Z"}).is(201, &expired)
	s.at(start)
	known := s.token
	s.call("GET", "/v1/salon", nil, "Authorization", "bearer  "+known).is(200, nil)
	var first []byte
	for name, header := range map[string]string{
		"unknown":       "Bearer " + known[:len(known)-1] + "x",
		"revoked":       "Bearer " + revoked.Token,
		"expired":       "Bearer " + expired.Token,
		"other salon":   "Bearer b_zzzzzzzzzz_" + strings.SplitN(known, "_", 3)[2],
		"a feed's kind": "Bearer f" + known[1:],
		"odd bytes":     "Bearer b_\xff_0123456789012345678901234567890123456789012",
		"quotes":        `Bearer b_'; drop table salon; --_012345678901234567890123456789012345678901`,
		"too long":      "Bearer " + strings.Repeat("x", 10000),
	} {
		a := s.call("GET", "/v1/salon", nil, "Authorization", header)
		a.refused(401, "unauthorized")
		require.Contains(t, a.header.Get("WWW-Authenticate"), "Bearer")
		if first == nil {
			first = a.body
		}
		require.Equal(t, string(first), string(a.body), name)
	}
	for name, header := range map[string]string{"none": "", "basic": "Basic dTpw", "alone": "Bearer", "bare": known} {
		p := s.call("GET", "/v1/salon", nil, "Authorization", header).refused(401, "unauthorized")
		require.Contains(t, p.Detail, "Authorization: Bearer", name)
	}
	s.outside().call("GET", "/v1/nothing", nil, "Authorization", "").refused(401, "unauthorized")
}

func TestAddressesAndMethodsThatDoNotExistAreProblems(t *testing.T) {
	t.Parallel()
	s := newSalon(t).outside()
	for _, path := range []string{"/v1/nothing", "/nothing", "/v1/", "/v1/clients/a/b/c", "/v1/clients/%00", "/v1/clients/%ff", "/cal/x.ics", "/problems/none", "/v2/salon"} {
		s.call("GET", path, nil).refused(404, "not-found")
	}
	for path, allow := range map[string]string{"/v1/salon": "GET, PUT", "/v1/openings": "POST", "/healthz": "GET"} {
		a := s.call("DELETE", path, nil)
		a.refused(405, "method")
		require.Contains(t, a.header.Get("Allow"), allow)
	}
	s.call("PATCH", "/v1/visits/x/move", object{}).refused(405, "method")
	a := s.call("GET", "/problems/taken", nil).is(200, nil)
	require.Contains(t, string(a.body), "not free")
}

func TestBodiesThatCannotBeReadAreNamedAsSuch(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	before := s.tables()()
	deep := strings.Repeat(`{"a":`, 40) + "1" + strings.Repeat("}", 40)
	for _, x := range []struct {
		name, body string
		status     int
		kind       string
		at         string // pointer, "-" where the whole body is meant without one
	}{
		{"nothing", "", 400, "unreadable", "-"},
		{"white space", " \n\t ", 400, "unreadable", "-"},
		{"no JSON", "given_name=Mara", 422, "unreadable", "body "},
		{"unfinished", `{"given_name":"Mara"`, 422, "unreadable", "body "},
		{"two values", `{"given_name":"Mara"} {}`, 422, "unreadable", "body "},
		{"a name twice", `{"given_name":"Mara","note":"a","given_name":"Nora"}`, 422, "unreadable", "body /given_name"},
		{"NUL", `{"given_name":"Ma\u0000ra"}`, 422, "unreadable", "body /given_name"},
		{"raw NUL", "{\"given_name\":\"Ma\x00ra\"}", 422, "unreadable", "body /given_name"},
		{"no UTF-8", "{\"given_name\":\"Ma\xffra\"}", 422, "unreadable", "body /given_name"},
		{"lone surrogate", `{"given_name":"Ma\ud800ra"}`, 422, "unreadable", "body /given_name"},
		{"NaN", `{"given_name":NaN}`, 422, "unreadable", "body /given_name"},
		{"number too large", `{"given_name":1e999}`, 422, "unreadable", "body /given_name"},
		{"nested deeply", deep, 422, "unreadable", "body " + strings.Repeat("/a", 32)},
		{"byte order mark", "\ufeff{}", 422, "unreadable", "body "},
		{"null", "null", 422, "invalid", "body "},
		{"a list", "[]", 422, "invalid", "body "},
		{"a text", `"x"`, 422, "invalid", "body "},
		{"other case", `{"GIVEN_NAME":"Mara","given_name":"Mara"}`, 422, "invalid", "body /GIVEN_NAME"},
		{"too large", `{"given_name":"` + strings.Repeat("x", 256<<10) + `"}`, 413, "too-large", "-"},
	} {
		a := s.call("POST", "/v1/clients", x.body, "Content-Type", "application/json")
		p := a.refused(x.status, x.kind)
		if x.at == "-" {
			require.Empty(t, p.Errors, x.name)
			require.NotEmpty(t, p.Detail, x.name)
			continue
		}
		require.Equal(t, []string{x.at}, pointers(p), "%s: %s", x.name, a.body)
	}
	require.Equal(t, before, s.tables()())
}

func TestABodyMayHave256KiBAndNoByteMore(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	body := `{"given_name":"Mara"}`
	fits := body + strings.Repeat(" ", 256<<10-len(body))
	s.call("POST", "/v1/clients", fits).is(201, nil)
	s.call("POST", "/v1/clients", fits+" ").refused(413, "too-large")
	s.call("POST", "/v1/clients", `{"given_name":"`+strings.Repeat("x", 256<<10-len(`{"given_name":""}`))+`"}`).refused(422, "invalid")
}

func TestOnlyJSONIsRead(t *testing.T) {
	t.Parallel()
	s := newSalon(t).outside()
	body := `{"given_name":"Mara"}`
	for _, mediaType := range []string{"application/json", "Application/JSON", "application/json; charset=utf-8", "application/merge-patch+json", ""} {
		s.call("POST", "/v1/clients", body, "Content-Type", mediaType).is(201, nil)
	}
	for _, mediaType := range []string{"text/plain", "text/xml", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/cbor", "json", ";;"} {
		s.call("POST", "/v1/clients", body, "Content-Type", mediaType).refused(415, "media-type")
	}
	for _, accept := range []string{"text/html", "application/xml;q=1, */*;q=0", "image/*"} {
		a := s.call("GET", "/v1/salon", nil, "Accept", accept).is(200, nil)
		require.Equal(t, "application/json", a.header.Get("Content-Type"), "there is one representation")
	}
}

func TestWholeNumbersMayBeWrittenWithFractionOrExponent(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for _, x := range []string{"12", "12.0", "1.2e1", "120e-1"} {
		var c struct {
			Minutes int `json:"changeover_minutes"`
		}
		s.call("POST", "/v1/stations", `{"kind":"chair","name":"Chair","changeover_minutes":`+x+`}`).is(201, &c)
		require.Equal(t, 12, c.Minutes)
	}
	for _, x := range []string{"12.5", "1e300", "-1", "241", "9007199254740993e0", `"12"`, "true", "99999999999999999999"} {
		p := s.call("POST", "/v1/stations", `{"kind":"chair","name":"Chair","changeover_minutes":`+x+`}`).refused(422, "invalid")
		require.Equal(t, []string{"body /changeover_minutes"}, pointers(p), x)
	}
}

func TestParametersOfAnAddressAreCheckedLikeABody(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for path, want := range map[string]string{
		"/v1/clients?limit=0":                                       "query limit",
		"/v1/clients?limit=201":                                     "query limit",
		"/v1/clients?limit=ten":                                     "query limit",
		"/v1/clients?name=%00":                                      "query name",
		"/v1/clients?name=%ff":                                      "query name",
		"/v1/clients?nam=Mara":                                      "query nam",
		"/v1/clients?name=Mara&limit=5&name=Nora":                   "query name",
		"/v1/clients?name=" + strings.Repeat("x", 81):               "query name",
		"/v1/clients/" + strings.Repeat("x", 65):                    "path id",
		"/v1/days/2026-02-30":                                       "path date",
		"/v1/days/today":                                            "path date",
		"/v1/days/0000-01-01":                                       "path date",
		"/v1/days/9999-12-31":                                       "path date",
		"/v1/visits":                                                "query first_date, query last_date",
		"/v1/visits?first_date=2026-06-08":                          "query last_date",
		"/v1/visits?first_date=2026-06-09&last_date=2026-06-08":     "query last_date",
		"/v1/visits?first_date=2026-06-08&last_date=2026-08-10":     "query last_date",
		"/v1/visits?first_date=2026-6-8&last_date=2026-06-31":       "query first_date, query last_date",
		"/v1/visits?client_id=x&first_date=2026-06-08":              "query client_id",
		"/v1/reminders":                                             "query first_date, query last_date",
		"/v1/reminders?first_date=2026-06-08&last_date=2026-07-09":  "query last_date",
		"/v1/reminders?first_date=1999-12-31&last_date=2000-01-01":  "query first_date",
		"/v1/reminders?first_date=%2B2026-06-08&last_date=20260608": "query first_date, query last_date",
	} {
		p := s.call("GET", path, nil).refused(422, "invalid")
		require.Equal(t, want, strings.Join(pointers(p), ", "), path)
	}
	s.outside().call("GET", "/v1/clients?name=%zz", nil).refused(400, "unreadable")
}

func TestTheServiceTellsWhetherItIsWell(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	a := s.call("GET", "/healthz", nil, "Authorization", "").is(200, nil)
	require.Contains(t, string(a.body), `"status":"ok"`)
	require.Contains(t, string(a.body), `"zone_data":"20`)
	s.call("GET", "/readyz", nil, "Authorization", "").is(200, nil)
	a = s.call("GET", "/robots.txt", nil, "Authorization", "").is(200, nil)
	require.Contains(t, string(a.body), "Disallow: /\n")
	for _, path := range []string{"/healthz", "/v1/salon", "/v1/nothing", "/openapi.json", "/problems/taken"} {
		h := s.outside().call("GET", path, nil).header
		require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), path)
		require.Equal(t, "no-referrer", h.Get("Referrer-Policy"), path)
		require.Equal(t, "DENY", h.Get("X-Frame-Options"), path)
		require.Equal(t, "no-store", h.Get("Cache-Control"), path)
		require.Empty(t, h.Get("Set-Cookie"), path)
		require.Empty(t, h.Get("Server"), path)
	}
}

// onPort has a server listen on loopback until the test ends, and returns where.
func onPort(t *testing.T, server *http.Server) (address string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	t.Cleanup(func() {
		require.NoError(t, server.Close())
		require.ErrorIs(t, <-ended, http.ErrServerClosed)
	})
	return l.Addr().String()
}

func TestTheServerLimitsHeadersAndTime(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	server := s.server.HTTPServer()
	require.Positive(t, server.ReadHeaderTimeout)
	require.Positive(t, server.ReadTimeout)
	require.Positive(t, server.WriteTimeout)
	require.Positive(t, server.IdleTimeout)
	address := onPort(t, server)
	for size, want := range map[int]int{10 << 10: http.StatusOK, 64 << 10: http.StatusRequestHeaderFieldsTooLarge} {
		r, err := http.NewRequest(http.MethodGet, "http://"+address+"/healthz", nil)
		require.NoError(t, err)
		r.Header.Set("X-Long", strings.Repeat("x", size))
		resp, err := http.DefaultTransport.RoundTrip(r)
		require.NoError(t, err)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, want, resp.StatusCode)
	}
}

// A limit of the connection that passes while an answer is worked out cancels it, as
// if the client had hung up (net/http reads ahead).
func TestNoAnswerIsGivenUpBecauseItsBodyWasReadLongAgo(t *testing.T) {
	t.Parallel()
	s := api.New(nil, "", nil)
	times := s.BodyTimes()
	require.Greater(t, len(times), 50)
	for id, d := range times {
		if d >= 0 {
			require.GreaterOrEqual(t, d, api.HandlerLimit, id)
		}
	}
	require.Greater(t, s.HTTPServer().ReadTimeout, api.HandlerLimit)
}

func TestForgedProxyHeadersChangeNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	plain := s.call("GET", "/v1/salon", nil).is(200, nil)
	forged := s.call("GET", "/v1/salon", nil, "X-Forwarded-For", "10.0.0.1", "X-Forwarded-Host", "evil.example", "X-Forwarded-Proto", "https",
		"X-HTTP-Method-Override", "DELETE").is(200, nil)
	require.Equal(t, plain.body, forged.body)
	var f struct{ URL string }
	s.call("POST", "/v1/feeds", object{"kind": "staff", "subject_id": s.ada}, "X-Forwarded-Host", "evil.example").is(201, &f)
	require.True(t, strings.HasPrefix(f.URL, "http://127.0.0.1/cal/f_"))
}

func TestReadingTwiceChangesNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(time.Hour), s.straightening())
	before := s.tables()()
	for path, ops := range readSpec(t).Paths {
		if get, ok := ops["get"]; !ok || strings.Contains(string(get.Responses["200"]), "text/event-stream") { // which has no end
			continue
		}
		for _, id := range []string{s.ada, s.chairs[0], s.services["Dry cut"], client, v.ID, v.Services[0].EstimateID} {
			full := "/v1" + strings.NewReplacer("{id}", id, "{date}", "2026-06-08").Replace(path)
			s.call("GET", full, nil)
			s.call("GET", full, nil)
		}
	}
	require.Equal(t, before, s.tables()())
}

package signin_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/signin"
	"chairblock/api/web/webtest"
)

func TestASharedScreenIsReadByEverybodyAndChangedByWhoeverSaysWhoSheIs(t *testing.T) {
	t.Parallel()
	x := &probe{ask: []api.Question{{Path: "/salon"}, {Method: http.MethodPost, Path: "/clients", Body: webtest.Object{"given_name": "Nora"}, Key: "k"},
		{Method: http.MethodPost, Path: "/openings", Body: webtest.Object{}}, {Method: http.MethodPut, Path: "/hours", Body: webtest.Object{}},
		{Method: http.MethodDelete, Path: "/closures/x"}}}
	s := webtest.New(t, signin.Mount, x.mount)
	enrolled(s, t, "90210", person("carla@example.org", "Carla", "desk"))
	ada := enrolled(s, t, "4711", webtest.Object{"mail": "ada@example.org", "staff_id": s.Ada, "roles": []string{"lead"}})
	enrolled(s, t, "", person("silent@example.org", "Silent", "desk"))
	client := s.Client("Juna", "Kestrel")
	s.Straightening(client, s.Ada, webtest.Start.Add(26*time.Hour))

	b := open(t, s)
	b.signIn("ada@example.org", "shared", "true").is(422).says("The shared screen is for the desk")
	b.get("/").is(303)
	p := b.signIn("carla@example.org", "shared", "true").goes("/")
	require.Contains(t, p.header.Get("Set-Cookie"), "Max-Age=2592000")
	b.get("/me").is(200).says("<bdi>Carla</bdi> · until 08:33", "shared screen") // she has just proved who she is
	b.post("/code/done").goes("/")
	b.get("/").is(200)
	b.get("/me").goes("/code?to=/me")
	b.get("/clients/" + client + "/cards.html").goes("/code?to=" + url.QueryEscape("/clients/"+client+"/cards.html")) // health needs a person
	b.get("/set-up/sign-in").goes("/code?to=%2Fset-up%2Fsign-in")
	b.post("/sign-out").goes("/code?to=/me")
	b.get("/probe").is(204)
	require.NoError(t, x.errs[0])
	for i := 1; i < len(x.ask); i++ {
		x.refused(t, i, 403, "read-only")
	}

	p = b.do("POST", "/book", typedForm()).is(403).says("Who are you?", "Ada Birch", "Carla", "What you typed is kept")
	require.NotContains(t, p.body, "Silent", "who has no code cannot say who she is")
	require.NotContains(t, p.body, "Nora")
	p = b.do("POST", "/code", with(p.hidden(), "who", ada.ID, "code", "1111")).is(422).says("Short code is not that of this name: there are four more tries")
	require.Contains(t, p.body, `value="`+ada.ID+`" required checked`)
	p = b.do("POST", "/code", with(p.hidden(), "who", ada.ID, "code", "4711")).is(200).says("has not been sent yet", `action="/book"`)
	want := typedForm()
	want.Del("password")
	want.Del("old_password")
	require.Equal(t, want, p.hidden())
	b.do("POST", "/book", p.hidden()).says("שרה")
	b.get("/me").is(200).says("<bdi>Ada Birch</bdi> · until 08:33")
	b.get("/probe").is(204)
	require.NoError(t, x.errs[1])
	x.refused(t, 3, 403, "forbidden") // she is a stylist

	s.At(webtest.Start.Add(2 * time.Minute))
	b.get("/me", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-User", "?1").says("until 08:35")
	s.At(webtest.Start.Add(4 * time.Minute))
	b.get("/me", "Sec-Fetch-Mode", "cors").says("until 08:35") // a page that keeps itself fresh
	s.At(webtest.Start.Add(5 * time.Minute))
	b.get("/me").goes("/code?to=/me")
	b.post("/code", "who", ada.ID, "code", "4711", "carried", "/me").goes("/me")
	b.get("/me").is(200)
}

func TestWrongCodesLockANameOnTheScreen(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	carla := enrolled(s, t, "90210", person("carla@example.org", "Carla", "desk"))
	ada := enrolled(s, t, "4711", webtest.Object{"mail": "ada@example.org", "staff_id": s.Ada, "roles": []string{"lead"}})
	b := open(t, s)
	b.signIn("carla@example.org", "shared", "true").goes("/")
	b.post("/code/done")
	for _, left := range []string{"four more tries", "three more tries", "two more tries", "one more try"} {
		b.post("/code", "who", ada.ID, "code", "0815").is(422).says(left)
	}
	p := b.post("/code", "who", ada.ID, "code", "0815").is(429).says("too many wrong codes lately", "locked on shared screens for 5 minutes")
	require.Equal(t, "300", p.header.Get("Retry-After"))
	s.At(webtest.Start.Add(4 * time.Minute))
	b.post("/code", "who", ada.ID, "code", "4711").is(429).says("for a minute")
	b.post("/code", "who", carla.ID, "code", "90210").goes("/")
	b.post("/code/done")
	s.At(webtest.Start.Add(5 * time.Minute))
	b.post("/code", "who", ada.ID, "code", "4711").goes("/")
	b.post("/code", "who", "nobody", "code", "4711").is(422).says("is nobody who has a short code")
	b.post("/code", "code", strings.Repeat("9", 500)).is(422)

	own := open(t, s)
	own.signIn("carla@example.org")
	own.post("/code", "who", ada.ID, "code", "4711").is(409).says("not shared")
	own.get("/code").is(409)
	own.post("/code/done").is(409)
	own.post("/me/share").goes("/me?done=shared")
	own.get("/me").is(200).says("<bdi>Carla</bdi> · until")
	own.post("/code/done")
	own.get("/me").goes("/code?to=/me")
	stylist := open(t, s)
	stylist.signIn("ada@example.org")
	stylist.post("/me/share").is(403)
}

func TestAPersonMayHoldSeveralRoles(t *testing.T) {
	t.Parallel()
	x := &probe{}
	s := webtest.New(t, signin.Mount, x.mount)
	x.ask = []api.Question{{Path: "/reports/pace", Query: url.Values{"staff_id": {s.Ada}}}, {Path: "/reports/pace", Query: url.Values{"staff_id": {s.Noor}}},
		{Path: "/messages"}, {Path: "/tokens"}}
	a := enrolled(s, t, "", webtest.Object{"mail": "ada@example.org", "staff_id": s.Ada, "roles": []string{"lead", "desk"}})
	require.Equal(t, []string{"desk", "lead"}, a.Roles)
	b := open(t, s)
	b.signIn("ada@example.org").goes("/")
	b.get("/").is(200)
	b.get("/set-up/sign-in").is(403)
	b.get("/clients/" + s.Client("Juna", "Kestrel") + "/cards.html").is(200) // as a stylist, although the desk may not
	b.get("/probe").is(204)
	require.NoError(t, x.errs[0])
	x.refused(t, 1, 403, "forbidden") // as a stylist, who sees her own
	require.NoError(t, x.errs[2])     // as somebody of the desk
	x.refused(t, 3, 403, "forbidden")
	var account api.AccountBody
	h := s.Ask("GET", "/accounts/"+a.ID, nil, 200, &account)
	require.Equal(t, 2, account.Browsers) // the one that chose the password and this one
	s.Ask("PUT", "/accounts/"+a.ID, webtest.Object{"mail": "ada@example.org", "staff_id": s.Ada, "roles": []string{"lead", "owner"}}, 200, &account, "If-Match", h.Get("ETag"))
	b.get("/set-up/sign-in").is(200) // without signing in again
	b.get("/probe").is(204)
	require.NoError(t, x.errs[1]) // as an owner, who may more
	require.NoError(t, x.errs[3])
}

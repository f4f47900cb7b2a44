package signin_test

import (
	"bytes"
	"log/slog"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/signin"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

var linkShown = regexp.MustCompile(`<code>([^<]+)</code>`)

func TestTheOwnerInvitesPeopleAndTakesThemOffAgain(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "owner"))
	b := open(t, s)
	b.signIn("carla@example.org")
	b.get("/set-up/sign-in").is(200).says("Carla", "owner", "just now", "Invite somebody", "Ada Birch")
	odd := `Nora <script>alert(1)</script> שרה ` + strings.Repeat("x", 60)
	p := b.post("/set-up/sign-in", "mail", "nora", "name", odd, "roles", "lead").is(422).says("Mail address is not a mail address", "On the staff is missing for a stylist", odd)
	require.NotContains(t, p.body, "<script>alert")
	b.post("/set-up/sign-in", "mail", "nora@example.org", "name", odd).is(422).says("A role is missing: at least one of owner")
	b.post("/set-up/sign-in", "mail", "nora@example.org", "roles", "desk").is(422).says("Name is empty. Right is: 1 to")
	b.post("/set-up/sign-in", "mail", "CARLA@example.org", "name", "C", "roles", "desk").is(422).says("is that of another account")
	p = b.post("/set-up/sign-in", "mail", "nora@example.org", "name", odd, "roles", "desk", "roles", "owner").is(200).says("Hand this over", odd, "desk", "has chosen no password yet")
	link := strings.TrimPrefix(linkShown.FindStringSubmatch(p.body)[1], s.URL)
	require.NotContains(t, b.get("/set-up/sign-in").body, link, "it is shown once")

	nora := open(t, s)
	nora.post(link, "password", password, "again", password).goes("/")
	nora.get("/set-up/sign-in").is(200)
	var list struct{ Items []api.AccountBody }
	s.Ask("GET", "/accounts", nil, 200, &list)
	require.Len(t, list.Items, 2)
	at := "/set-up/sign-in/" + list.Items[1].ID
	p = b.get(at).is(200).says(odd, "in 1 browser now")
	change := func(pairs ...string) url.Values {
		return with(p.hidden(), append([]string{"mail", "nora@example.org", "name", "Nora", "roles", "desk"}, pairs...)...)
	}
	b.do("POST", at, change()).goes("/set-up/sign-in?done=changed")
	nora.get("/set-up/sign-in").is(403) // at once
	nora.get("/").is(200)
	b.do("POST", at, change()).is(412) // somebody else was faster
	b.post(at + "/end").goes(at + "?done=all-out")
	nora.get("/").is(303)
	nora.signIn("nora@example.org").goes("/")
	p = b.post(at + "/link").is(200).says("Hand this over")
	again := strings.TrimPrefix(linkShown.FindStringSubmatch(p.body)[1], s.URL)
	nora.get("/").is(200) // until the link is used
	p = b.get(at)
	b.do("POST", at, change("disabled", "true")).goes("/set-up/sign-in?done=changed")
	nora.get("/").is(303)
	nora.signIn("nora@example.org").is(401)
	nora.get(again).is(404)
	b.post(at + "/link").is(409)
	b.get("/set-up/sign-in").says("may not sign in")

	at = "/set-up/sign-in/" + list.Items[0].ID
	p = b.get(at)
	b.do("POST", at, with(p.hidden(), "mail", "carla@example.org", "name", "Carla", "roles", "desk")).is(409).says("the last owner who may sign in")
	b.do("POST", at, with(p.hidden(), "mail", "carla@example.org", "name", "Carla", "roles", "owner", "disabled", "1")).is(409)
	b.get("/set-up/sign-in/nobody").is(404)
}

func TestWhoLeavesTheStaffIsSignedOutAtOnce(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", webtest.Object{"mail": "ada@example.org", "staff_id": s.Ada, "roles": []string{"lead"}})
	b, byLink := open(t, s), open(t, s)
	b.signIn("ada@example.org").goes("/my-day")
	link := strings.TrimPrefix(s.Link(store.LeadRole, s.Ada), s.URL)
	for range 2 { // looking changes nothing
		byLink.get(link).is(200).says("signs this browser in to Harbour Chairs, once")
	}
	byLink.get("/").is(303)
	require.Equal(t, 403, byLink.do("POST", link+"/enter", nil, "Sec-Fetch-Site", "cross-site").status)
	byLink.post(link + "/enter").goes("/my-day")
	open(t, s).post(link + "/enter").is(404)
	b.get("/").is(200)
	byLink.get("/").is(200)
	byLink.get("/me").is(200).says("A link signed this browser in", "Ada Birch")
	h := s.Ask("GET", "/staff/"+s.Ada, nil, 200, nil)
	s.Ask("DELETE", "/staff/"+s.Ada, nil, 204, nil, "If-Match", h.Get("ETag"))
	b.get("/").is(303)
	byLink.get("/").is(303)
	b.signIn("ada@example.org").is(401)
}

func TestSomebodySeesAndEndsHerOwnBrowsers(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "owner"))
	other := enrolled(s, t, "", person("noor@example.org", "Noor", "owner"))
	b, phone := open(t, s), open(t, s)
	b.signIn("carla@example.org")
	phone.signIn("carla@example.org", "phone", "1")
	p := b.get("/me").is(200).says("own phone", "(this one)")
	ids := p.hidden()["id"]
	require.Len(t, ids, 2, "the phone and the browser that chose the password")
	for _, id := range ids {
		b.post("/me/end", "id", id).goes("/me?done=ended")
	}
	b.post("/me/end", "id", other.ID).goes("/me?done=ended") // of somebody else: nothing happens
	phone.get("/").is(303)
	phone.signIn("carla@example.org", "phone", "1")
	b.post("/me/password", "old", "something wrong", "password", password+"!", "again", password+"!").is(422).says("Present password is not")
	b.post("/me/password", "old", password, "password", "carla carla carla", "again", "carla carla carla").is(422).says("holds your mail address")
	b.post("/me/password", "old", password, "password", password+"!", "again", password+"!").goes("/me?done=password")
	phone.get("/").is(303)
	b.get("/me?done=password").is(200).says("Your new password is set")
	b.post("/me/code", "code", "1234", "code-old", password+"!").is(422).says("Short code is one that everybody tries first")
	b.post("/me/code", "code", "4711", "code-old", password+"!").goes("/me?done=code")
	b.get("/me").says("You have one.")
	b.post("/me/code", "code", "", "code-old", password+"!").goes("/me?done=no-code")
	phone.post("/sign-in", "mail", "carla@example.org", "password", password+"!")
	b.post("/sign-out-everywhere").goes("/sign-in?done=out")
	phone.get("/").is(303)
	b.get("/?done=<b>").is(303)
}

func TestNoSecretIsWrittenIntoTheLog(t *testing.T) { // alone: the log is everybody's
	var log bytes.Buffer
	before := slog.Default()
	slog.SetDefault(slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug})))
	defer slog.SetDefault(before)
	s := webtest.New(t, signin.Mount)
	carla := enrolled(s, t, "90210", person("carla@example.org", "Carla", "desk"))
	b := open(t, s)
	b.post("/sign-in", "mail", "carla@example.org", "password", "something wrong")
	b.signIn("carla@example.org", "shared", "true")
	token := b.token()
	b.post("/code", "who", carla.ID, "code", "90211")
	b.post("/code", "who", carla.ID, "code", "90210")
	require.Contains(t, log.String(), "signed in")
	require.Contains(t, log.String(), "sign-in refused")
	for _, secret := range []string{"carla", "example.org", password, "something wrong", "90210", "90211", token, "o_"} {
		require.NotContains(t, log.String(), secret)
	}
}

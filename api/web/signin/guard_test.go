package signin_test

import (
	"bytes"
	"fmt"
	"html"
	"log/slog"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web"
	"chairblock/api/web/signin"
	"chairblock/api/web/webtest"
)

func TestNobodyGuessesACodeByOpeningScreens(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("dora@example.org", "Dora", "desk"))
	boss := enrolled(s, t, "0397", person("boss@example.org", "Boss", "owner"))
	looked := 0
	for screen := range 6 {
		b := open(t, s)
		b.signIn("dora@example.org", "shared", "true").goes("/")
		b.post("/code/done")
		for guess := range 5 {
			if p := b.post("/code", "who", boss.ID, "code", fmt.Sprint(1000+5*screen+guess)); p.status != 429 {
				looked++
				p.is(422)
			}
		}
	}
	require.Equal(t, 4, looked, "four answers and a lock")
	b := open(t, s)
	b.signIn("dora@example.org", "shared", "true").goes("/")
	b.post("/code", "who", boss.ID, "code", "0397").is(429).says("locked on shared screens for 5 minutes", "where she signs in with her password")
	hers := open(t, s)
	hers.signIn("boss@example.org").goes("/")
	s.At(webtest.Start.Add(5*time.Minute + time.Second))
	b.post("/code/done")
	b.post("/code", "who", boss.ID, "code", "1111").is(429).says("for 10 minutes")
}

func TestACodeDoesNotChangeWhoGetsIn(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("dora@example.org", "Dora", "desk"))
	boss := enrolled(s, t, "0397", person("boss@example.org", "Boss", "owner"))
	b := open(t, s)
	b.signIn("dora@example.org", "shared", "true").goes("/")
	b.post("/code/done")
	b.post("/code", "who", boss.ID, "code", "0397", "carried", "/set-up/sign-in").goes("/set-up/sign-in")
	to := b.get("/set-up/sign-in").is(303).to
	require.Equal(t, "/prove?to=%2Fset-up%2Fsign-in", to)
	p := b.get(to).is(200).says("Your password once more", "Password of Boss")
	invite := []string{"mail", "thief@example.org", "name", "Thief", "roles", "owner"}
	refused := b.post("/set-up/sign-in", invite...).is(403).says("Your password once more", "What you typed is kept")
	b.do("POST", "/prove", with(p.hidden(), "old", "something wrong")).is(422).says("Present password is not your password")
	b.get("/set-up/sign-in").goes(to)
	go1 := b.do("POST", "/prove", with(refused.hidden(), "old", password)).is(200).says("has not been sent yet", `action="/set-up/sign-in"`)
	require.Equal(t, "Thief", go1.hidden().Get("name"))
	b.get("/set-up/sign-in").is(200)
	s.At(webtest.Start.Add(16 * time.Minute))
	b.post("/code", "who", boss.ID, "code", "0397").goes("/")
	b.get("/set-up/sign-in").goes(to)

	own := open(t, s)
	own.signIn("boss@example.org").goes("/")
	own.get("/set-up/sign-in").is(200)
	s.At(webtest.Start.Add(32 * time.Minute))
	own.get("/set-up/sign-in").goes(to)
	own.get("/").is(200)
	own.do("POST", "/prove", with(own.get(to).hidden(), "old", password)).goes("/set-up/sign-in")
	own.post("/set-up/sign-in", "mail", "noor@example.org", "name", "Noor", "roles", "desk").is(200).says("Hand this over")
}

func TestAnOperationThatLetsSomebodyInNeedsThePasswordWhateverPageAsks(t *testing.T) {
	t.Parallel()
	x := &probe{ask: []api.Question{{Method: http.MethodPost, Path: "/tokens", Body: webtest.Object{"role": "owner", "label": "x"}},
		{Method: http.MethodPost, Path: "/accounts", Body: webtest.Object{"mail": "x@example.org", "name": "X", "roles": []string{"owner"}}}}}
	s := webtest.New(t, signin.Mount, x.mount)
	enrolled(s, t, "", person("boss@example.org", "Boss", "owner"))
	b := open(t, s)
	b.signIn("boss@example.org")
	s.At(webtest.Start.Add(15 * time.Minute))
	b.get("/probe").is(204)
	x.refused(t, 0, 403, "password-needed")
	x.refused(t, 1, 403, "password-needed")
	b.post("/prove", "old", password).goes("/")
	b.get("/probe").is(204)
	require.NoError(t, x.errs[0])
	require.NoError(t, x.errs[1])
	s.At(webtest.Start) // by a clock that was set back she gave it later than now
	b.get("/probe").is(204)
	x.refused(t, 0, 403, "password-needed")
}

var (
	anyForm = regexp.MustCompile(`(?s)<form method="post" action="([^"]*)".*?</form>`)
	hiding  = regexp.MustCompile(`(?s)(?:<input type="password"|<div class="field masked">.*?<input)[^>]* name="([^"]*)"`)
)

// secretForms are the forms of a page with fields that hide what is typed: action and
// names.
func secretForms(body string) map[string][]string {
	out := map[string][]string{}
	for _, f := range anyForm.FindAllStringSubmatch(body, -1) {
		for _, name := range hiding.FindAllStringSubmatch(f[0], -1) {
			out[html.UnescapeString(f[1])] = append(out[html.UnescapeString(f[1])], name[1])
		}
	}
	return out
}

func TestNoPasswordAndNoCodeIsCarried(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "4711", person("carla@example.org", "Carla", "owner"))
	_, link := invited(s, t, person("noor@example.org", "Noor", "desk"))
	b, shared := open(t, s), open(t, s)
	b.signIn("carla@example.org")
	shared.signIn("carla@example.org", "shared", "1")
	shared.post("/code/done")
	found := map[string][]string{}
	for _, p := range []page{b.get("/me"), b.get("/prove"), b.get("/sign-in"), open(t, s).get(link), shared.get("/code")} {
		for action, names := range secretForms(p.is(200).body) {
			found[action] = names
		}
	}
	require.Len(t, found, 6, "%v", found)
	for _, f := range []struct{ action, field string }{{"/me/password", "old"}, {"/me/password", "again"}, {"/me/code", "code"}, {"/me/code", "code-old"}, {"/prove", "old"}} {
		require.Contains(t, found[f.action], f.field)
	}
	for action, names := range found {
		for _, name := range names {
			require.False(t, api.MayCarry(action, name), "%s %s", action, name)
			require.False(t, api.MayCarry("/book", name), "nor on another page: %s", name)
		}
	}
	b.post("/sign-out")
	for _, action := range []string{"/me/password", "/me/code", "/prove"} {
		form := url.Values{}
		for _, name := range found[action] {
			form.Set(name, "typedsecret")
		}
		p := b.do("POST", action, form).is(401).says("Passwords, codes and secret addresses are not kept")
		require.NotContains(t, p.body, "typedsecret")
		b.do("POST", "/sign-in", with(p.hidden(), "mail", "carla@example.org", "password", password)).goes("/")
		b.post("/sign-out")
	}
	for _, path := range []string{"/my-day/visits/0199/told/answers", "/my-day/visits/0199/stop", "/set-up/messages/gateway", "/set-up/messages/gateway/secret", "/my-day/calendar/private"} {
		require.False(t, api.MayCarry(path, "anything"), path)
	}
	require.True(t, api.MayCarry("/my-day/visits/0199/hair", "length"))
}

// press mounts a page whose form may be a button alone.
func press(pressed *[]url.Values) func(*web.Site) {
	return func(s *web.Site) {
		s.POST("/press", "get-salon", func(c echo.Context) error {
			form, err := web.Form(c)
			*pressed = append(*pressed, form)
			if err != nil {
				return err
			}
			return c.NoContent(http.StatusNoContent)
		})
	}
}

func TestAFormWaitsForWhoeverTypedIt(t *testing.T) {
	t.Parallel()
	var pressed []url.Values
	s := webtest.New(t, signin.Mount, press(&pressed))
	enrolled(s, t, "", person("carla@example.org", "Carla", "owner"))
	enrolled(s, t, "", person("dora@example.org", "Dora", "desk"))
	as := func(b *browser, p page, who string) page {
		return b.do("POST", "/sign-in", with(p.hidden(), "mail", who+"@example.org", "password", password))
	}
	b := open(t, s)
	b.signIn("carla@example.org")
	b.post("/sign-out")
	p := b.post("/press", "note", "only hers").is(401).says("What you typed is kept", "Nobody else can read it")
	require.NotContains(t, p.body, "only hers")
	stranger := as(b, p, "dora").is(200).says("somebody else had typed something here")
	require.NotContains(t, stranger.body, "only hers")
	require.NotContains(t, stranger.body, "/press")
	p = as(b, p, "carla").is(200).says(`value="only hers"`, `action="/press"`)
	b.do("POST", "/press", p.hidden()).is(204)
	require.Equal(t, "only hers", pressed[0].Get("note"))

	// The session may have ended without its browser being told.
	s.At(webtest.Start.Add(3 * time.Hour))
	p = b.post("/press", "note", "later").is(401).says("What you typed is kept")
	as(b, p, "carla").is(200).says(`value="later"`)
	b.post("/sign-out")
	p = b.post("/press", "note", "old").is(401)
	s.At(webtest.Start.Add(16 * time.Hour))
	require.NotContains(t, as(b, p, "carla").is(200).says("too long ago").body, "old")

	// Of a browser in which nobody has signed in nobody knows who typed.
	p = open(t, s).post("/press", "note", "whose").is(401).says("It cannot be told who typed the form")
	require.NotContains(t, p.body, "whose")
	// Nothing that is not sealed here is carried.
	forged := url.Values{"carried-form": {"AAAA"}, "mail": {"carla@example.org"}, "password": {password}}
	b.do("POST", "/sign-in", forged).goes("/")
}

func TestAButtonWithoutFieldsIsPressedAgain(t *testing.T) {
	t.Parallel()
	var pressed []url.Values
	s := webtest.New(t, signin.Mount, press(&pressed))
	enrolled(s, t, "", person("carla@example.org", "Carla", "owner"))
	b := open(t, s)
	b.signIn("carla@example.org")
	b.post("/sign-out")
	p := b.do("POST", "/press", nil, "Referer", s.URL+"/me").is(401)
	p = b.do("POST", "/sign-in", with(p.hidden(), "mail", "carla@example.org", "password", password)).is(200).says("has not been carried out yet", `action="/press"`, `href="/me"`)
	b.do("POST", "/press", p.hidden()).is(204)
	require.Len(t, pressed, 1)
	b.post("/sign-out")

	long := url.Values{"note": {strings.Repeat("x", 70<<10)}}
	p = b.do("POST", "/press", long, "Referer", s.URL+"/me").is(401).says("too long to be kept")
	b.do("POST", "/sign-in", with(p.hidden(), "mail", "carla@example.org", "password", password)).goes("/me")
	for _, nowhere := range []string{"/press", "/no-such-page", "/clients/x/link"} {
		b.post("/sign-in", "mail", "carla@example.org", "password", password, "carried", nowhere).goes("/")
	}
	b.post("/sign-in", "mail", "carla@example.org", "password", password, "carried", "/visits/x/move").goes("/visits/x/move")
}

func TestManyFieldsAreNotSentBackManyTimesTheirSize(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "owner"))
	known := open(t, s)
	known.signIn("carla@example.org")
	known.post("/sign-out")
	for _, b := range []*browser{open(t, s), known} {
		a := b.v.Do("POST", "/book", strings.NewReader(strings.Repeat("=&", 9900)), "Content-Type", "application/x-www-form-urlencoded")
		require.Equal(t, 401, a.Status)
		require.Less(t, len(a.Body), 20000)
	}
}

func TestAScreenThatIsSharedLaterStaysSignedIn(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "owner"))
	b := open(t, s)
	b.signIn("carla@example.org")
	p := b.post("/me/share").goes("/me?done=shared")
	require.Contains(t, p.header.Get("Set-Cookie"), "Max-Age=259200")
	// What is cleared away thirteen hours later.
	s.Exec(`DELETE FROM sessions WHERE expiry < now() + interval '13 hours'`)
	s.At(webtest.Start.Add(13 * time.Hour))
	b.get("/").is(200)
}

func TestNothingIsWorkedOutForWhoTriesTooOften(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "owner"))
	b := open(t, s)
	b.signIn("carla@example.org")
	for range 10 {
		b.post("/me/code", "code", "4711", "code-old", "something wrong").is(422)
	}
	s.Server.HashWith(nil) // whatever is hashed now fails
	b.post("/me/code", "code", "4711", "code-old", password).is(429)
	b.post("/me/password", "old", "x", "password", password+"!", "again", password+"!").is(429)
	b.post("/prove", "old", "x").is(429)
}

func TestWhatChangesWhoGetsInIsLogged(t *testing.T) { // alone: the log is everybody's
	var log bytes.Buffer
	before := slog.Default()
	slog.SetDefault(slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug})))
	defer slog.SetDefault(before)
	s := webtest.New(t, signin.Mount)
	carla := enrolled(s, t, "90210", person("carla@example.org", "Zqcarla", "owner", "desk"))
	boss, link := invited(s, t, person("boss@example.org", "Zqboss", "owner"))
	open(t, s).post(link, "password", password, "again", password).is(303)
	b := open(t, s)
	b.post("/sign-in", "mail", "carla@example.org", "password", "something wrong")
	b.signIn("carla@example.org", "shared", "true")
	token := b.token()
	b.post("/code/done")
	for range 6 {
		b.post("/code", "who", carla.ID, "code", "90211")
	}
	hers := open(t, s)
	hers.signIn("boss@example.org")
	at := "/set-up/sign-in/" + carla.ID
	p := hers.get(at)
	hers.do("POST", at, with(p.hidden(), "mail", "carla2@example.org", "name", "Zqcarla", "roles", "desk")).goes("/set-up/sign-in?done=changed")
	p = hers.post(at + "/link").is(200)
	made := linkShown.FindStringSubmatch(p.body)[1]
	hers.post(at + "/end").is(303)
	hers.post("/me/password", "old", "something wrong", "password", password+"!", "again", password+"!").is(422)
	hers.post("/me/password", "old", password, "password", password+"!", "again", password+"!").goes("/me?done=password")
	hers.post("/me/code", "code", "4812", "code-old", password+"!").goes("/me?done=code")
	hers.post("/me/share").is(303)
	dora := enrolled(s, t, "", person("dora@example.org", "Zqdora", "desk"))
	his := open(t, s)
	his.signIn("dora@example.org").is(303)
	his.get("/set-up/sign-in").is(403)
	phone, codes := his.withStep(s)
	his.post("/sign-out").is(303)
	his.signIn("dora@example.org").is(200)
	his.post("/sign-in/code", "step", "000111").is(422)
	his.post("/sign-in/code", "step", codes[0]).is(303)
	hers.post("/sign-out-everywhere").is(303)
	byLink := strings.TrimPrefix(s.Link("desk", ""), s.URL)
	open(t, s).post(byLink + "/enter").goes("/")
	var l struct{ URL string }
	client := s.Client("Zqmara", "Quist")
	s.Ask("POST", "/clients/"+client+"/own-links", webtest.Object{}, 201, &l)
	for range 10 {
		hers.post("/sign-in", "mail", "zqnobody@example.org", "password", "something wrong")
	}
	hers.post("/sign-in", "mail", "zqnobody@example.org", "password", "something wrong").is(429)
	said := log.String()
	for _, line := range []string{`msg=invited`, `msg="sign-in refused".*why=wrong`, `msg="sign-in refused".*why="too many tries"`, `msg="signed in".*kind=shared`, `msg="code refused".*account=` + carla.ID + ` why=wrong`,
		`msg="code refused".*why=locked`, `msg="name locked".*account=` + carla.ID, `msg="roles changed".*account=` + carla.ID + ` from="\[owner desk\]" to=\[desk\]`,
		`msg="mail address to sign in with changed"`, `msg="link to choose a password made".*account=` + carla.ID, `msg="signed out everywhere".*account=` + carla.ID,
		`msg="password set by a link".*account=` + boss.ID, `msg="password refused".*why=wrong`, `msg="password changed".*account=` + boss.ID, `msg="code set".*account=` + boss.ID,
		`msg="screen shared"`, `msg="operation refused".*operation=list-accounts role=desk`, `msg="second step set up".*account=` + dora.ID,
		`msg="second step refused".*account=` + dora.ID + ` why=wrong`, `msg="second step taken".*account=` + dora.ID + ` by="recovery code"`, `msg="signed out everywhere".*account=` + boss.ID, `msg="signed in".*role=desk`, `msg="link to a client's pages made".*client=` + client} {
		require.Regexp(t, line, said)
	}
	for _, secret := range []string{"carla@", "boss@", "example.org", password, "something wrong", "90210", "90211", "4812", phone.secret, codes[0], codes[1], "000111", token, hers.token(), link[len("/open/"):], made, byLink[len("/open/"):], l.URL, "Zq", "zq", "c_" + s.Row.Key} {
		if secret != "" {
			require.NotContains(t, said, secret)
		}
	}
}

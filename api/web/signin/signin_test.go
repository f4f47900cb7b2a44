package signin_test

import (
	"fmt"
	"html"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web"
	"chairblock/api/web/signin"
	"chairblock/api/web/webtest"
	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestMain(m *testing.M) {
	os.Exit(chromium.Shared(func() int { return storetest.Main(m, store.Migrate, migrations.Hash()) }))
}

const password = "lamp river nine toast"

// browser is one without scripts, which keeps its cookies.
type browser struct {
	t testing.TB
	v *webtest.Visitor
}

// page is an answer.
type page struct {
	t      testing.TB
	status int
	to     string // Location
	body   string
	header http.Header
}

func open(t testing.TB, s *webtest.Salon) *browser {
	v := s.Visitor(t)
	v.HTTP.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	return &browser{t, v}
}

func (b *browser) do(method, path string, form url.Values, headers ...string) page {
	b.t.Helper()
	headers = append([]string{"User-Agent", "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0"}, headers...)
	if method == http.MethodPost {
		headers = append([]string{"Content-Type", "application/x-www-form-urlencoded"}, headers...)
	}
	a := b.v.Do(method, path, strings.NewReader(form.Encode()), headers...)
	return page{b.t, a.Status, a.Header.Get("Location"), a.Body, a.Header}
}

func (b *browser) get(path string, headers ...string) page { return b.do("GET", path, nil, headers...) }

// press opens a page as somebody does who pressed something.
func (b *browser) press(path string) page { return b.get(path, "Sec-Fetch-Mode", "navigate") }

// post sends a form; pairs are its fields.
func (b *browser) post(path string, pairs ...string) page {
	form := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		form.Add(pairs[i], pairs[i+1])
	}
	return b.do("POST", path, form)
}

func (p page) is(status int) page {
	p.t.Helper()
	require.Equal(p.t, status, p.status, "%s %s", p.to, p.body)
	return p
}

func (p page) goes(to string) page {
	p.t.Helper()
	p.is(http.StatusSeeOther)
	require.Equal(p.t, to, p.to)
	return p
}

func (p page) says(words ...string) page {
	p.t.Helper()
	for _, w := range words {
		require.Contains(p.t, html.UnescapeString(p.body), w)
	}
	return p
}

var hiddenField = regexp.MustCompile(`<input type="hidden" name="([^"]*)" value="([^"]*)">`)

// hidden are the hidden fields of a page.
func (p page) hidden() url.Values {
	out := url.Values{}
	for _, m := range hiddenField.FindAllStringSubmatch(p.body, -1) {
		out.Add(html.UnescapeString(m[1]), html.UnescapeString(m[2]))
	}
	return out
}

// with are fields and some more.
func with(v url.Values, pairs ...string) url.Values {
	for i := 0; i+1 < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return v
}

func (b *browser) token() string {
	u, err := url.Parse(b.v.URL)
	require.NoError(b.t, err)
	for _, c := range b.v.HTTP.Jar.Cookies(u) {
		if c.Name == "chairblock-session" {
			return c.Value
		}
	}
	return ""
}

// invited adds an account and returns it with the path of its link.
func invited(s *webtest.Salon, t testing.TB, body webtest.Object) (api.AccountBody, string) {
	t.Helper()
	var a api.AccountBody
	s.Ask("POST", "/accounts", body, 201, &a)
	require.True(t, strings.HasPrefix(a.Link, s.URL+"/open/o_"))
	return a, strings.TrimPrefix(a.Link, s.URL)
}

// enrolled adds an account that has a password and perhaps a code.
func enrolled(s *webtest.Salon, t testing.TB, code string, body webtest.Object) api.AccountBody {
	t.Helper()
	a, link := invited(s, t, body)
	b := open(t, s)
	b.post(link, "password", password, "again", password).is(303)
	if code != "" {
		b.post("/me/code", "code", code, "code-old", password).goes("/me?done=code")
	}
	return a
}

func person(mail, name string, roles ...string) webtest.Object {
	return webtest.Object{"mail": mail, "name": name, "roles": roles}
}

func (b *browser) signIn(mail string, more ...string) page {
	return b.post("/sign-in", append([]string{"mail", mail, "password", password}, more...)...)
}

func TestSomebodyWhoIsInvitedChoosesAPasswordAndSignsInWithIt(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	a, link := invited(s, t, person("Carla@Example.org", "Carla", "owner"))
	require.Equal(t, "carla@example.org", a.Mail)
	b := open(t, s)
	for range 2 {
		b.get(link).is(200).says("Choose your password", "Harbour Chairs", "carla@example.org") // looking changes nothing
	}
	p := b.post(link, "password", "short", "again", "short").is(422).says("Password is too short")
	require.NotContains(t, p.body, `value="short"`)
	b.post(link, "password", password, "again", password+"x").is(422).says("Password once more is not the same")
	b.post(link, "password", "harbourchairs 12", "again", "harbourchairs 12").is(422).says("holds the name of the salon")
	p = b.post(link, "password", password, "again", password).goes("/")
	require.Regexp(t, `^chairblock-session=[\w-]{43}; Path=/; Expires=[^;]+; Max-Age=4320\d; HttpOnly; SameSite=Lax$`, p.header.Get("Set-Cookie"))
	b.get("/").is(200)
	open(t, s).get(link).is(404).says("does not work any more")
	open(t, s).post(link, "password", password, "again", password).is(404)

	first := b.token()
	p = b.post("/sign-out").goes("/sign-in?done=out")
	require.Equal(t, `"cache", "storage"`, p.header.Get("Clear-Site-Data"))
	require.Empty(t, b.token())
	b.get(p.to).is(200).says("You are signed out")
	b.get("/").goes("/sign-in?to=%2F")
	thief := open(t, s)
	thief.get("/", "Cookie", "chairblock-session="+first).is(303)

	b.signIn("someone@example.org").is(401)
	unknown := b.post("/sign-in", "mail", "x@example.org", "password", "something wrong").is(401).says("the mail address or the password is wrong")
	wrong := b.post("/sign-in", "mail", "carla@example.org", "password", "something wrong").is(401)
	require.Equal(t, strings.ReplaceAll(unknown.body, "x@example.org", "carla@example.org"), wrong.body, "nothing tells who is known")
	b.post("/sign-in").is(422).says("Mail address is missing", "Password is missing")
	b.signIn("  CARLA@example.org ").goes("/")
	b.get("/me").is(200).says("Carla", "Owner · signs in with carla@example.org", "Firefox on Linux")
	require.NotEqual(t, first, b.token())
	before := b.token()
	b.signIn("carla@example.org").goes("/")
	require.NotEqual(t, before, b.token(), "signing in renews the token")
	thief.get("/", "Cookie", "chairblock-session="+before).is(303)
}

func TestTheOwnerBeginsAtTheSetUpWhileItIsNotFinished(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	_, desk := invited(s, t, person("desk@example.org", "Dora", "desk"))
	_, link := invited(s, t, person("carla@example.org", "Carla", "owner"))
	s.Exec(`DELETE FROM opening_hours`)
	b := open(t, s)
	b.post(link, "password", password, "again", password).goes("/set-up")
	b.post("/sign-out")
	b.post("/sign-in", "mail", "carla@example.org", "password", password).goes("/set-up")
	b.post("/sign-out")
	b.post("/sign-in", "mail", "carla@example.org", "password", password, "carried", "/book").goes("/book")
	open(t, s).post(desk, "password", password, "again", password).goes("/")
}

func TestNobodyGuessesAPassword(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "owner"))
	b, hers := open(t, s), open(t, s)
	hers.signIn("carla@example.org").goes("/")
	hers.post("/sign-out")
	for range 10 {
		b.post("/sign-in", "mail", "carla@example.org", "password", "something wrong").is(401)
	}
	p := b.signIn("carla@example.org").is(429).says("too many wrong tries: wait 15 minutes", `value="carla@example.org"`)
	require.Equal(t, "900", p.header.Get("Retry-After"))
	s.At(webtest.Start.Add(14 * time.Minute))
	b.signIn("carla@example.org").is(429).says("wait a minute")
	s.At(webtest.Start.Add(15 * time.Minute))
	b.signIn("carla@example.org").goes("/")
	for i := range 29 { // and one a minute ago
		b.post("/sign-in", "mail", string(rune('a'+i%26))+strings.Repeat("x", i)+"@example.org", "password", "something wrong").is(401)
	}
	open(t, s).signIn("carla@example.org").is(429) // from this address
	hers.signIn("carla@example.org").goes("/")     // in a browser that knows her
	hers.signIn("somebody@example.org").is(429)    // but not somebody else
	for range 10 {
		hers.post("/sign-in", "mail", "carla@example.org", "password", "something wrong").is(401)
	}
	hers.signIn("carla@example.org").is(429) // not without end either
	s.At(webtest.Start.Add(30 * time.Minute))
	b.signIn("carla@example.org").goes("/")
	for range 10 { // the present password is no easier to guess
		b.post("/me/code", "code", "4711", "code-old", "something wrong").is(422).says("Present password is not your password")
	}
	b.post("/me/code", "code", "4711", "code-old", password).is(429)
}

func TestASessionEndsWhenItIsOverOrUnused(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "owner"))
	after := func(d time.Duration) { s.At(webtest.Start.Add(d)) }
	desk, phone := open(t, s), open(t, s)
	p := desk.signIn("carla@example.org")
	require.Contains(t, p.header.Get("Set-Cookie"), "Max-Age=4320")
	p = phone.signIn("carla@example.org", "phone", "true")
	require.Contains(t, p.header.Get("Set-Cookie"), "Max-Age=259200")
	after(119 * time.Minute)
	desk.press("/").is(200)
	for m := 120; m < 239; m += 20 { // pages that keep themselves fresh
		after(time.Duration(m) * time.Minute)
		desk.get("/?part=day", "Sec-Fetch-Mode", "cors", "Sec-Fetch-Dest", "empty").is(200)
	}
	after(4 * time.Hour)
	desk.get("/").is(303)
	phone.press("/").is(200)
	after(7*24*time.Hour + 3*time.Hour)
	phone.press("/").is(200)
	after(15 * 24 * time.Hour)
	phone.get("/").is(303)
	fresh := open(t, s)
	fresh.signIn("carla@example.org").goes("/")
	for h := range 12 {
		after(15*24*time.Hour + time.Duration(h)*time.Hour)
		fresh.press("/").is(200)
	}
	after(15*24*time.Hour + 12*time.Hour)
	fresh.get("/").is(303)
	fresh.signIn("carla@example.org", "phone", "true", "shared", "true").is(422).says("goes with no own phone")
}

func TestASignedOutPageLeadsToWhereOneWantedToBe(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "desk"))
	b := open(t, s)
	to := b.get("/?date=2026-06-09").is(303).to
	require.Equal(t, "/sign-in?to=%2F%3Fdate%3D2026-06-09", to)
	p := b.get(to).is(200)
	require.Equal(t, "/?date=2026-06-09", p.hidden().Get("carried"))
	b.do("POST", "/sign-in", with(p.hidden(), "mail", "carla@example.org", "password", password)).goes("/?date=2026-06-09")
	for _, elsewhere := range []string{"https://evil.example/", "//evil.example/", "/\\evil.example", "/sign-out", "/open/x", "javascript:alert(1)", "evil", "/%2e%2e//evil.example", "/\t/evil.example", "/a#b", "/../code"} {
		require.Empty(t, api.OwnPath(elsewhere), elsewhere)
		p := b.get("/sign-in?to=" + url.QueryEscape(elsewhere)).is(200)
		require.Empty(t, p.hidden().Get("carried"), elsewhere)
		b.do("POST", "/sign-in", url.Values{"mail": {"carla@example.org"}, "password": {password}, "carried": {elsewhere}, "carried:a": {"b"}}).goes("/")
	}
	for _, own := range []string{"/", "/book?start=2026-06-09T10%3A00", "/clients/0199?x=%2F%2F"} {
		require.Equal(t, own, api.OwnPath(own))
	}
	script := open(t, s)
	script.get("/", "Sec-Fetch-Dest", "empty").is(401)
	script.get("/", "Sec-Fetch-Mode", "cors", "Sec-Fetch-Dest", "empty").is(401)
	script.get("/", "Sec-Fetch-Mode", "same-origin", "Sec-Fetch-Dest", "empty", "Accept", "text/html").is(401)
	script.get("/", "Sec-Fetch-Mode", "no-cors", "Sec-Fetch-Dest", "image").is(401)
	script.get("/", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "document").goes("/sign-in?to=%2F")
	script.get("/", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "empty").goes("/sign-in?to=%2F") // a service worker's
	script.do("POST", "/walk-in", url.Values{}, "Sec-Fetch-Dest", "empty", "Sec-Fetch-Site", "same-origin").is(401)
}

// typedForm is a booking as somebody types it, with everything that is awkward.
func typedForm() url.Values {
	return url.Values{"first_name": {"Nora <script>alert(1)</script>"}, "initial": {"שרה"}, "note": {strings.Repeat("long \"note\" & ", 77)},
		"services": {"a", "b"}, "mail": {"her@example.org"}, "password": {"of something else"}, "old_password": {"x"}, "empty": {""}}
}

func TestNothingTypedIsLostWhenTheSessionHasEnded(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "desk"))
	b := open(t, s)
	b.signIn("carla@example.org")
	want := typedForm()
	want.Del("password")
	want.Del("old_password")
	s.At(webtest.Start.Add(3 * time.Hour)) // the session is over
	p := b.do("POST", "/book?x=1", typedForm()).is(401).says("Nobody is signed in here any more", "What you typed is kept")
	require.NotContains(t, p.body, "<script>")
	require.NotContains(t, p.body, "Nora", "nobody reads it before she is known")
	p = b.do("POST", "/sign-in", with(p.hidden(), "mail", "carla@example.org", "password", "something wrong")).is(401)
	p = b.do("POST", "/sign-in", with(p.hidden(), "mail", "carla@example.org", "password", password)).is(200).says("has not been sent yet", `action="/book?x=1"`)
	require.Equal(t, want, p.hidden())
	p = b.do("POST", "/book?x=1", p.hidden())
	require.NotEqual(t, 401, p.status)
	p.says("Nora <script>alert(1)</script>", "שרה")
	require.NotContains(t, p.body, "<script>alert")

	b.post("/sign-out")
	long := url.Values{"note": {strings.Repeat("x", 64<<10)}}
	p = b.do("POST", "/book", long).is(401).says("too long to be kept")
	require.Len(t, p.hidden(), 1)
	b.do("POST", "/book", url.Values{"note": {strings.Repeat("x", 300<<10)}}).is(401).says("too long to be kept")
}

// worksAtQuay makes an owner's account with a login in a second salon, signs the browser
// in as her with a password of its own, and returns the salon.
func (b *browser) worksAtQuay(s *webtest.Salon, login string) string {
	b.t.Helper()
	ctx := b.t.Context()
	var link string
	other, err := s.Store.AddSalon(ctx, store.Salon{Name: "Quay Chairs", Zone: "Europe/Lisbon"})
	require.NoError(b.t, err)
	require.NoError(b.t, s.Store.InTx(ctx, other.ID, func(tx *store.Tx) error {
		a, err := tx.AddAccount(ctx, store.Account{Login: login, Name: "Carla there", Roles: []store.Role{store.Owner}})
		if err != nil {
			return err
		}
		link, err = tx.AddPasswordLink(ctx, a.ID, webtest.Start.Add(time.Hour))
		return err
	}))
	b.post("/open/"+link, "password", password+" too", "again", password+" too").goes("/set-up")
	return other.ID
}

func TestARightPasswordInOneSalonMakesGuessesInAnotherNoCheaper(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "desk"))
	b := open(t, s)
	b.worksAtQuay(s, "carla@example.org")
	quay := func() { b.post("/sign-in", "mail", "carla@example.org", "password", password+" too").goes("/set-up") }
	for range 9 {
		b.post("/sign-in", "mail", "carla@example.org", "password", "something wrong").is(401)
	}
	quay() // the tenth for the other salon
	b.signIn("carla@example.org").is(401)
	quay()
	s.At(webtest.Start.Add(15 * time.Minute))
	b.signIn("carla@example.org").goes("/")
}

func TestARightPasswordOfOnesOwnMakesGuessesFromAnAddressNoCheaper(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	b := open(t, s)
	mail := func(i int) string { return fmt.Sprintf("m%d@example.org", i) }
	for i := range 4 {
		enrolled(s, t, "", person(mail(i), "Mia", "desk"))
		b.worksAtQuay(s, mail(i))
	}
	for i := range 31 {
		p := b.post("/sign-in", "mail", mail(i%4), "password", password+" too")
		if i < 30 {
			p.goes("/set-up")
			continue
		}
		p.is(429)
	}
}

func TestAPasswordThatWasChangedMeanwhileChoosesNoSalon(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "desk"))
	b, thief := open(t, s), open(t, s)
	other := b.worksAtQuay(s, "carla@example.org")
	b.post("/me/password", "old", password+" too", "password", password, "again", password).goes("/me?done=password")
	p := thief.do("POST", "/sign-in", url.Values{"mail": {"carla@example.org"}, "password": {password}}).is(200).says("Which salon?")
	b.post("/me/password", "old", password, "password", password+" new", "again", password+" new").goes("/me?done=password")
	thief.do("POST", "/sign-in/salon", with(p.hidden(), "salon", other)).is(401).says("sign in once more")
}

func TestWhoWorksInTwoSalonsChoosesOne(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("carla@example.org", "Carla", "desk"))
	b := open(t, s)
	other := b.worksAtQuay(s, "carla@example.org")
	b.post("/sign-in", "mail", "carla@example.org", "password", password+" too").goes("/set-up")
	b.get("/me").says("Quay Chairs", "Carla there")
	b.signIn("carla@example.org").goes("/")
	b.get("/me").says("Harbour Chairs")
	b.post("/sign-in", "mail", "carla@example.org", "password", password+" too").goes("/set-up")
	b.post("/me/password", "old", password+" too", "password", password, "again", password).goes("/me?done=password")
	p := b.do("POST", "/sign-in", url.Values{"mail": {"carla@example.org"}, "password": {password}, "carried": {"/me"}}).is(200).says("Which salon?", "Harbour Chairs", "Quay Chairs")
	b.get("/").is(303) // in none yet
	require.NotContains(t, p.body, password)
	b.do("POST", "/sign-in/salon", with(p.hidden(), "salon", "another")).is(401).says("sign in once more")
	b.do("POST", "/sign-in/salon", with(p.hidden(), "salon", other)).goes("/me")
	b.get("/me").says("Quay Chairs")
	open(t, s).post("/sign-in/salon", "salon", other).is(401)
}

func TestAFormOfAnotherSiteIsRefused(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	own := s.URL
	for _, tt := range []struct {
		name    string
		headers []string
		refused bool
	}{
		{"another site", []string{"Sec-Fetch-Site", "cross-site"}, true},
		{"another host of the site", []string{"Sec-Fetch-Site", "same-site"}, true},
		{"our own", []string{"Sec-Fetch-Site", "same-origin"}, false},
		{"the address bar", []string{"Sec-Fetch-Site", "none"}, false},
		{"an origin elsewhere", []string{"Origin", "https://evil.example"}, true},
		{"no origin", []string{"Origin", "null"}, true},
		{"our own origin", []string{"Origin", own}, false},
		{"no browser", nil, false},
	} {
		b := open(t, s)
		for _, path := range []string{"/sign-in", "/sign-out", "/code", "/me/password", "/set-up/sign-in", "/open/o_x_y", "/book"} {
			p := b.do("POST", path, url.Values{"a": {"b"}}, tt.headers...)
			require.Equal(t, tt.refused, p.status == 403, "%s to %s: %d", tt.name, path, p.status)
		}
		require.NotEqual(t, 403, b.do("GET", "/sign-in", nil, tt.headers...).status)
	}
}

// probe is a page that carries out operations of the interface as whoever is signed
// in.
type probe struct {
	ask  []api.Question
	errs []error
}

func (x *probe) mount(s *web.Site) {
	s.GET("/probe", "get-salon", func(c echo.Context) error {
		x.errs = nil
		for _, q := range x.ask {
			_, err := s.Ask(c.Request().Context(), q)
			x.errs = append(x.errs, err)
		}
		return c.NoContent(http.StatusNoContent)
	})
}

// refused demands that question i was refused with a status and a kind of problem.
func (x *probe) refused(t testing.TB, i, status int, kind string) {
	t.Helper()
	var problem *api.Problem
	require.ErrorAs(t, x.errs[i], &problem)
	require.Equal(t, status, problem.Status)
	require.Equal(t, "/problems/"+kind, problem.Type)
}

func TestOnlyATrustedProxySaysForWhomItAsks(t *testing.T) {
	t.Parallel()
	for _, trusted := range []bool{false, true} {
		s := webtest.New(t, signin.Mount)
		if trusted {
			s.Server.TrustProxies([]netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")})
		}
		b := open(t, s)
		try := func(i int, from string) int {
			form := url.Values{"mail": {fmt.Sprintf("n%d@example.org", i)}, "password": {"something wrong"}}
			return b.do("POST", "/sign-in", form, "X-Forwarded-For", from).status
		}
		for i := range 30 {
			require.Equal(t, 401, try(i, "203.0.113.7"))
		}
		require.Equal(t, 429, try(30, "203.0.113.7"))
		want := map[bool]int{true: 401, false: 429}[trusted]
		require.Equal(t, want, try(31, "203.0.113.8"))
		require.Equal(t, want, try(32, "203.0.113.7, 203.0.113.9"), "the proxy's own word is the last")
		require.Equal(t, 429, try(33, "203.0.113.9, 203.0.113.7"))
	}
}

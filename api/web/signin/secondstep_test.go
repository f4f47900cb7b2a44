package signin_test

import (
	"context"
	"encoding/base32"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/notify"
	"chairblock/api/passwords"
	"chairblock/api/web/signin"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// telephone makes codes.
type telephone struct {
	s      *webtest.Salon
	secret string
}

func (x telephone) code(t testing.TB) string {
	t.Helper()
	secret, err := base32.StdEncoding.DecodeString(strings.ReplaceAll(x.secret, "-", ""))
	require.NoError(t, err)
	return passwords.CodeAt(secret, x.s.Now())
}

// next lets half a minute pass, in which the code changes.
func (x telephone) next(t testing.TB) string {
	t.Helper()
	x.s.At(x.s.Now().Add(30 * time.Second))
	return x.code(t)
}

var shownCode = regexp.MustCompile(`<code>([A-Z2-7-]{20,})</code>`)

// withStep sets a second step up for whoever uses b, and returns what makes its codes
// and the recovery codes.
func (b *browser) withStep(s *webtest.Salon) (telephone, []string) {
	b.t.Helper()
	p := b.post("/me/second-step").is(200).says("Connect your telephone")
	x := telephone{s, shownCode.FindStringSubmatch(p.body)[1]}
	require.Contains(b.t, p.body, `aria-label="Code with the secret of the second step"`)
	p = b.post("/me/second-step/confirm", "step", x.next(b.t)).is(200).says("Your recovery codes")
	var codes []string
	for _, m := range shownCode.FindAllStringSubmatch(p.body, -1) {
		codes = append(codes, m[1])
	}
	require.Len(b.t, codes, 10)
	return x, codes
}

func TestASecondStepIsSetUpAndAskedForBesideThePassword(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	a := enrolled(s, t, "0397", person("ada@example.org", "Ada", "owner"))
	b, other := open(t, s), open(t, s)
	other.signIn("ada@example.org").goes("/")
	b.signIn("ada@example.org").goes("/")
	before := b.token()
	b.get("/me").says("Second step", "For an owner, who may do everything, it is advised")
	b.get("/me/second-step").is(200).says("You are signed out everywhere else")
	p := b.post("/me/second-step").is(200)
	require.NotContains(t, b.get("/me/second-step").body, shownCode.FindStringSubmatch(p.body)[1], "it is shown once")
	b.post("/me/second-step/confirm", "step", "000000").is(422).says("Code is not that of the secret", "stays")
	fresh := open(t, s)
	fresh.signIn("ada@example.org").goes("/") // which is not confirmed counts for nothing
	phone, codes := b.withStep(s)
	require.NotEqual(t, before, b.token(), "the browser has another token")
	b.get("/me/second-step").is(200).says("10 of 10 recovery codes")
	for _, gone := range []*browser{other, fresh} {
		gone.get("/").is(303)
	}
	b.post("/me/second-step").is(409)
	s.At(s.Now().Add(16 * time.Minute))
	require.Equal(t, "/prove?to=%2Fme%2Fsecond-step", b.get("/me/second-step").to)

	p = other.signIn("ada@example.org", "carried", "/me").is(200).says("The second step")
	other.get("/").is(303) // the password alone opens nothing
	other.do("POST", "/sign-in/code", with(p.hidden(), "step", "123123")).is(422).says("Code is not right, or was used already")
	code := phone.next(t)
	other.do("POST", "/sign-in/code", with(p.hidden(), "step", code[:3]+" "+code[3:])).goes("/me")
	other.get("/set-up/sign-in").is(200).says("second step on")
	fresh.signIn("ada@example.org").is(200)
	fresh.post("/sign-in/code", "step", code).is(422) // used
	fresh.post("/sign-in/code", "step", strings.ToLower(codes[3])).goes("/")
	fresh.get("/me").says("9 recovery codes are left")
	third := open(t, s)
	third.signIn("ada@example.org").is(200)
	third.post("/sign-in/code", "step", codes[3]).is(422) // once
	third.post("/sign-in/code", "step", codes[4]).goes("/")
	third.post("/sign-in/code", "step", codes[5]).is(401).says("sign in once more")

	s.At(s.Now().Add(16 * time.Minute))
	invite := []string{"mail", "x@example.org", "name", "X", "roles", "desk"}
	b.post("/set-up/sign-in", invite...).is(403).says("Your password once more", "recovery code")
	b.post("/prove", "old", password).is(422).says("Code is missing")
	b.post("/prove", "old", "something wrong", "step", phone.code(t)).is(422).says("is not your password")
	before = b.token()
	b.post("/prove", "old", password, "step", phone.next(t)).goes("/")
	require.NotEqual(t, before, b.token())
	b.post("/set-up/sign-in", invite...).is(200)

	// A short code is no way round it: neither alone nor with the password.
	desk := open(t, s)
	enrolled(s, t, "", person("dora@example.org", "Dora", "desk"))
	desk.signIn("dora@example.org", "shared", "true").goes("/")
	desk.post("/code/done")
	desk.post("/code", "who", a.ID, "code", "0397").is(303)
	for _, at := range []string{"/set-up/sign-in", "/me/second-step"} {
		require.Equal(t, "/prove?to="+url.QueryEscape(at), desk.get(at).to)
	}
	desk.post("/me/second-step/end").is(403)
	desk.post("/prove", "old", password).is(422).says("Code is missing")
	desk.post("/set-up/sign-in", invite...).is(403)

	b.post("/me/second-step/recovery-codes").is(200).says("Your recovery codes")
	third.get("/").is(200)
	b.post("/me/second-step/end").goes("/me?done=step-gone")
	third.get("/").is(303) // everybody else is signed out
	b.get("/").is(200)
	third.signIn("ada@example.org").goes("/")
}

func TestWrongCodesOfASecondStepLockIt(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("ada@example.org", "Ada", "owner"))
	b := open(t, s)
	b.signIn("ada@example.org")
	phone, codes := b.withStep(s)
	wrong := 0
	for range 3 { // whatever browser, and after however many right passwords
		x := open(t, s)
		x.signIn("ada@example.org").is(200)
		for guess := range 4 {
			if x.post("/sign-in/code", "step", fmt.Sprintf("%06d", guess)).status == http.StatusUnprocessableEntity {
				wrong++
			}
		}
	}
	require.Equal(t, 4, wrong)
	x := open(t, s)
	x.signIn("ada@example.org").is(200)
	p := x.post("/sign-in/code", "step", phone.next(t)).is(429).says("too many wrong codes", "wait")
	require.NotEmpty(t, p.header.Get("Retry-After"))
	x.post("/sign-in/code", "step", codes[0]).is(429)
	b.get("/").is(200)
	s.At(s.Now().Add(6 * time.Minute))
	x.post("/sign-in/code", "step", phone.code(t)).goes("/")
	b.get("/me").says("10 recovery codes")
}

func TestAnOwnerTakesALostSecondStepAwayAndThePersonIsTold(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("ada@example.org", "Ada", "owner"))
	ben := enrolled(s, t, "", person("ben@example.org", "Ben", "desk"))
	b, his := open(t, s), open(t, s)
	b.signIn("ada@example.org")
	his.signIn("ben@example.org")
	his.withStep(s)
	at := "/set-up/sign-in/" + ben.ID
	p := b.get(at).is(200).says("second step on", "Take the second step away")

	// A new link to choose a password is no way round it.
	link := b.post(at + "/link").is(200)
	path := strings.TrimPrefix(html.UnescapeString(linkShown.FindStringSubmatch(link.body)[1]), s.URL)
	x := open(t, s)
	x.post(path, "password", password, "again", password).is(200).says("The second step")
	x.get("/").is(303)

	told := make(chan store.Notice, 4)
	sent := &outbox{}
	tell := s.Server.TellAccount(sent)
	s.Store.TellAccounts(func(ctx context.Context, n store.Notice) error { defer func() { told <- n }(); return tell(ctx, n) })
	jobs, err := s.Store.StartJobs(t.Context(), nil, nil)
	require.NoError(t, err)
	defer func() { require.NoError(t, jobs.Stop(context.WithoutCancel(t.Context()))) }()
	b.do("POST", at+"/second-step", p.hidden()).goes(at + "?done=step-reset")
	his.get("/").is(303)
	x.signIn("ben@example.org").goes("/")
	b.post(at + "/second-step").is(409)
	select {
	case n := <-told:
		require.Equal(t, "ben@example.org", n.Account.Login)
	case <-time.After(20 * time.Second):
		require.Fail(t, "nobody was told")
	}
	require.Len(t, sent.mails, 1)
	require.Equal(t, "ben@example.org", sent.mails[0].To.Address)
	require.Contains(t, sent.mails[0].Text, "was taken away by an owner")
	var log struct{ Changes []api.ChangeBody }
	s.Ask("GET", "/changes?subject="+ben.ID, nil, 200, &log)
	require.Contains(t, fmt.Sprint(log.Changes), "second_factor")
}

// outbox keeps what is sent.
type outbox struct{ mails []notify.Mail }

func (o *outbox) Send(_ context.Context, m notify.Mail) error {
	o.mails = append(o.mails, m)
	return nil
}

func TestALinkOfTheCommandLineTakesALostSecondStepAway(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	a := enrolled(s, t, "", person("ada@example.org", "Ada", "owner"))
	b := open(t, s)
	b.signIn("ada@example.org")
	b.withStep(s)
	var link string
	require.NoError(t, s.Store.InTx(t.Context(), s.Row.ID, func(tx *store.Tx) (err error) {
		link, err = tx.AddWayBackLink(t.Context(), a.ID, s.Now().Add(time.Hour))
		return err
	}))
	b.get("/").is(200) // nothing has changed yet
	x := open(t, s)
	x.signIn("ada@example.org").is(200).says("The second step")
	x.get("/open/" + link).is(200).says("Your second step is taken away by it")
	x.post("/open/"+link, "password", "two boats and a kite", "again", "two boats and a kite").goes("/")
	b.get("/").is(303)
	x.get("/me/second-step").is(200).says("Set it up")
	x.get("/open/" + link).is(404)
}

func TestASalonMayAskOwnersForASecondStep(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("ada@example.org", "Ada", "owner"))
	enrolled(s, t, "", person("ben@example.org", "Ben", "owner"))
	enrolled(s, t, "", person("dora@example.org", "Dora", "desk"))
	b, his, desk, counter := open(t, s), open(t, s), open(t, s), open(t, s)
	b.signIn("ada@example.org")
	counter.signIn("ben@example.org", "shared", "true").goes("/")
	p := b.get("/set-up/sign-in").is(200).says("Owners need a second step", "advised for everybody")
	b.do("POST", "/set-up/sign-in/rules", with(p.hidden(), "owners_second_factor", "true")).is(409).says("you have no second step yourself")
	phone, _ := b.withStep(s)
	b.do("POST", "/set-up/sign-in/rules", with(p.hidden(), "owners_second_factor", "true")).goes("/set-up/sign-in?done=changed")
	b.do("POST", "/set-up/sign-in/rules", with(p.hidden())).is(412)
	his.signIn("ben@example.org").goes("/")
	for _, at := range []string{"/", "/book", "/set-up/sign-in"} {
		his.get(at).goes("/me/second-step")
	}
	his.post("/walk-in", "given_name", "X").is(403).says("set yours up first")
	his.get("/me").is(200)
	his.get("/me/second-step").is(200).says("This salon asks you for a second step")

	// A tick or a press do not lead round it: on a shared screen it is not asked for.
	his.post("/me/share").is(403).says("set yours up first")
	his.get("/set-up/sign-in").goes("/me/second-step")
	open(t, s).signIn("ben@example.org", "shared", "true").is(422).says("the salon asks you for a second step and you have none")
	counter.post("/prove", "old", password, "to", "/set-up/sign-in").is(403).says("on a machine that is not shared")
	his.withStep(s)
	his.get("/").is(200)
	his.get("/me/second-step").is(200).says("so it stays")
	his.post("/me/second-step/end").is(409)
	desk.signIn("dora@example.org").goes("/")
	desk.get("/").is(200)

	// By the interface the same holds.
	var problem struct{ Type string }
	s.Ask("POST", "/sign-in", webtest.Object{"mail": "ada@example.org", "password": password}, 401, &problem)
	require.Equal(t, "/problems/code-needed", problem.Type)
	var in api.SignedInBody
	s.Ask("POST", "/sign-in", webtest.Object{"mail": "ada@example.org", "password": password, "code": phone.next(t)}, 201, &in)
	require.False(t, in.NeedsSetUp)
	ada := []string{"Authorization", "Bearer " + in.Token}
	s.Ask("GET", "/accounts", nil, 200, nil, ada...)
	s.Ask("POST", "/sign-out", nil, 204, nil, ada...)
	s.Ask("GET", "/accounts", nil, 401, nil, ada...)
	b.get("/").is(200)
}

func TestASalonMayAskEverybodyForASecondStepFromADayOn(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, signin.Mount)
	enrolled(s, t, "", person("ada@example.org", "Ada", "owner"))
	enrolled(s, t, "", person("dora@example.org", "Dora", "desk"))
	b, desk := open(t, s), open(t, s)
	b.signIn("ada@example.org")
	b.withStep(s)
	rules := func(from string) page {
		p := b.get("/set-up/sign-in").is(200).says("Everybody with a password needs one")
		return b.do("POST", "/set-up/sign-in/rules", with(p.hidden(), "everybodys_second_factor", "true", "second_factor_from", from))
	}
	rules("soon").is(422).says("cannot be right", `value="soon"`, `value="true" checked`)
	rules(time.Now().AddDate(0, 0, 9).Format(time.DateOnly)).goes("/set-up/sign-in?done=changed")
	desk.signIn("dora@example.org").goes("/")
	desk.get("/").is(200)
	desk.get("/me/second-step").is(200).says("From " + time.Now().AddDate(0, 0, 9).Format("Monday 2 January"))
	rules("2026-01-02").goes("/set-up/sign-in?done=changed")
	desk.get("/").goes("/me/second-step")
	desk.get("/me/second-step").is(200).says("This salon asks you for a second step")
	desk.withStep(s)
	desk.get("/").is(200)
	desk.post("/me/second-step/end").is(409)
}

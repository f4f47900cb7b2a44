package api

import (
	"cmp"
	"context"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/passwords"
	"chairblock/scheduling"
	"chairblock/store"
)

// sessionLife is how long a browser remains signed in: at most, and unused.
type sessionLife struct{ most, idle time.Duration }

// How long browsers remain signed in (judgement): a working day on a machine that
// others pass by, a month on a phone that locks itself, and a month on a shared
// screen, which can only be read and is idle from Saturday night to Tuesday morning.
// A link's own session is not ended for being idle, since there is no other way in.
var (
	ownMachine   = sessionLife{12 * time.Hour, 2 * time.Hour}
	byLink       = sessionLife{12 * time.Hour, 12 * time.Hour}
	ownPhone     = sessionLife{30 * 24 * time.Hour, 7 * 24 * time.Hour}
	sharedScreen = sessionLife{30 * 24 * time.Hour, 3 * 24 * time.Hour}
)

// PasswordLinkLife is how long a link sets a password (judgement: who is invited today
// may begin next week).
const PasswordLinkLife = 7 * 24 * time.Hour

// choiceLife is how long somebody who works in several salons may take to choose one
// (judgement).
const choiceLife = 10 * time.Minute

// errWrongSignIn says the same whatever was wrong.
var errWrongSignIn = newProblem(http.StatusUnauthorized, "unauthorized", "the mail address or the password is wrong")

// HashWith sets how passwords and codes are hashed, for tests that would otherwise
// take long. Call it before the server is used.
func (s *Server) HashWith(h *passwords.Hasher) { s.hasher = h }

// SignInForm is what somebody types to get in.
type SignInForm struct {
	Mail, Password string
	Phone          bool // it is her own phone
	Shared         bool // the screen is shared
}

func (f SignInForm) kind() string {
	switch {
	case f.Shared:
		return store.SharedScreen
	case f.Phone:
		return store.OwnPhone
	}
	return store.OwnMachine
}

// SalonChoice is one salon of somebody who works in several.
type SalonChoice struct{ ID, Name string }

// foldMail is a mail address as logins are kept.
func foldMail(s string) string { return strings.ToLower(strings.TrimSpace(s)) }

// Entered is what became of somebody who signed in: the page at which she begins and
// her account, or the salons between which she has to choose, or that the code of her
// second step is asked for.
type Entered struct {
	Second  bool
	Home    string
	Account string
	Salons  []SalonChoice
}

// SignIn signs the browser of a request in. Who works in several salons with the
// same password chooses with SignInTo. Errors are
// *scheduling.InvalidError or scheduling.Faults about fields, *Problem with status 401
// for a wrong address or password, which take equally long, and with 429 after too
// many.
func (s *Server) SignIn(c echo.Context, f SignInForm) (Entered, error) {
	ctx := c.Request().Context()
	if err := f.check(); err != nil {
		return Entered{}, err
	}
	found, err := s.matching(ctx, c.RealIP(), s.knownAs(c, f.Mail), f.Mail, f.Password)
	if err != nil {
		return Entered{}, err
	}
	if len(found) == 1 {
		return s.enterMatching(c, found[0], f.kind())
	}
	return Entered{Salons: salonChoices(found)}, s.remember(c, found, f.kind())
}

func (f SignInForm) check() error {
	var x scheduling.Faults
	if foldMail(f.Mail) == "" {
		x.Add("mail", "is missing", "the mail address with which you sign in")
	}
	if f.Password == "" {
		x.Add("password", "is missing", "your password")
	}
	if f.Phone && f.Shared {
		x.Add("shared", "goes with no own phone", "one of the two ticks, or none")
	}
	if len(f.Mail) > 254 || len([]rune(f.Password)) > passwords.Longest {
		return errWrongSignIn
	}
	return x.Err()
}

// matching lists the accounts with a login that a password opens: at least one.
// Wrong passwords are counted for each account apart, so that a right one for another
// salon's account of the same login, which any owner may make, takes nothing back. They
// are counted by the address they came from, too, but not in a browser in which everybody
// with that login has signed in before; there, an account that has is not locked by what
// was typed elsewhere. Errors are *Problem with status 401 when the password opens none,
// which takes equally long whether there is such a login, and with 429 after too many.
func (s *Server) matching(ctx context.Context, address string, before knownBrowser, login, password string) ([]store.Credentials, error) {
	login = foldMail(login)
	known, from, err := s.toTry(ctx, address, before, login)
	if err != nil {
		return nil, err
	}
	if len(known) == 0 {
		known = []store.Credentials{{}} // takes as long, and matches nothing
	}
	var out []store.Credentials
	var locked time.Duration
	wrong := false
	for _, k := range known {
		try := counted{cmp.Or(before.keyOf(k.Account), "signs in:"+cmp.Or(k.Account, login)), triesOfAccount}
		if wait := s.tries.begin(s.now(), try); wait > 0 {
			locked = max(locked, wait)
			continue
		}
		same, err := s.hasher.Matches(ctx, password, k.Password)
		if err != nil {
			return nil, err
		}
		if !same {
			wrong = true
			continue
		}
		s.tries.forget(try.key)
		out = append(out, k)
	}
	switch {
	case len(out) == 0 && wrong:
		return nil, signInRefused(ctx, address, 0)
	case len(out) == 0:
		return nil, signInRefused(ctx, address, locked)
	case !wrong:
		s.tries.takeBack(from...)
	}
	return out, nil
}

// toTry lists the accounts with a login, and counts a try of an address, which it returns,
// unless all of them are known in the browser.
func (s *Server) toTry(ctx context.Context, address string, before knownBrowser, login string) (known []store.Credentials, from []counted, err error) {
	from = fromAddress(address, triesOfAddress)
	if len(before.People) == 0 { // before the database is asked
		if wait := s.tries.full(s.now(), from...); wait > 0 {
			return nil, nil, signInRefused(ctx, address, wait)
		}
	}
	if known, err = s.store.CredentialsOf(ctx, login); err != nil {
		return nil, nil, err
	}
	stranger := func(k store.Credentials) bool { return before.keyOf(k.Account) == "" }
	if len(known) > 0 && !slices.ContainsFunc(known, stranger) {
		return known, nil, nil
	}
	if wait := s.tries.begin(s.now(), from...); wait > 0 {
		return nil, nil, signInRefused(ctx, address, wait)
	}
	return known, from, nil
}

// signInRefused is the answer to a wrong password, or when too many were after wait.
func signInRefused(ctx context.Context, address string, wait time.Duration) error {
	if wait > 0 {
		slog.WarnContext(ctx, "sign-in refused", "network", network(address).String(), "why", "too many tries")
		return tooManyTries(wait)
	}
	slog.WarnContext(ctx, "sign-in refused", "network", network(address).String(), "why", "wrong")
	return errWrongSignIn
}

func salonChoices(found []store.Credentials) []SalonChoice {
	out := make([]SalonChoice, len(found))
	for i, k := range found {
		out[i] = SalonChoice{k.Salon, k.SalonName}
	}
	return out
}

// enterMatching signs the browser in as somebody whose password is right, or asks for
// the code of her second step.
func (s *Server) enterMatching(c echo.Context, k store.Credentials, kind string) (Entered, error) {
	if !k.Factor {
		return s.enterAccount(c, k.Salon, k.Account, kind, nil)
	}
	return Entered{Second: true}, s.awaitCode(c, k.Salon, k.Account, k.Password, kind)
}

// awaitCode keeps in the browser's session whose second step is asked for. It is
// signed in nowhere yet. password is the hash of that which was right.
func (s *Server) awaitCode(c echo.Context, salon, account, password, kind string) error {
	ctx, err := s.renewed(c)
	if err != nil {
		return err
	}
	s.sessions.Put(ctx, secondOf, []string{salon, account, keptAs(password)})
	s.sessions.Put(ctx, chosenKind, kind)
	_, err = s.commit(ctx, c, choiceLife)
	return err
}

// errTooSlow means that the first half of signing in is forgotten.
var errTooSlow = newProblem(http.StatusUnauthorized, "unauthorized", "it took too long: sign in once more")

// SignInSecond signs the browser in by the code of the second step, after SignIn asked
// for it. Errors are *scheduling.InvalidError about the field step, and *Problem with
// status 401 when the password was given too long ago or is another one by now, and
// 429 after too many wrong codes.
func (s *Server) SignInSecond(c echo.Context, code string) (Entered, error) {
	ctx, err := s.sessions.Load(c.Request().Context(), s.sessionToken(c))
	if err != nil {
		return Entered{}, err
	}
	list, _ := s.sessions.Get(ctx, secondOf).([]string)
	if len(list) != 3 {
		return Entered{}, errTooSlow
	}
	salon, account := list[0], list[1]
	var kept store.Secrets
	err = s.store.InTx(ctx, salon, func(t *store.Tx) (err error) { kept, err = t.SecretsOf(ctx, account); return err })
	if is(err, scheduling.ErrNotFound) || err == nil && keptAs(kept.Password) != list[2] {
		return Entered{}, errTooSlow
	}
	if err != nil {
		return Entered{}, err
	}
	if err := s.secondStep(ctx, salon, account, code); is(err, scheduling.ErrNotFound) {
		return Entered{}, errTooSlow // it was taken away meanwhile
	} else if err != nil {
		return Entered{}, err
	}
	return s.enterAccount(c, salon, account, s.sessions.GetString(ctx, chosenKind), nil)
}

// Names of what is kept of a browser between password and choice of a salon or code.
const (
	chosenFrom = "accounts" // salon, account and a hash of the password's in turn
	secondOf   = "second"   // salon, account and a hash of the password's
	chosenKind = "kind"
)

// remember keeps in the browser's session which accounts its password opens. It is
// signed in nowhere yet.
func (s *Server) remember(c echo.Context, found []store.Credentials, kind string) error {
	var list []string
	for _, k := range found {
		list = append(list, k.Salon, k.Account, keptAs(k.Password))
	}
	ctx, err := s.renewed(c)
	if err != nil {
		return err
	}
	s.sessions.Put(ctx, chosenFrom, list)
	s.sessions.Put(ctx, chosenKind, kind)
	_, err = s.commit(ctx, c, choiceLife)
	return err
}

// SignInTo signs in to one of the salons that SignIn has listed, or returns a
// *Problem with status 401 when that was too long ago or the password is another one by
// now.
func (s *Server) SignInTo(c echo.Context, salon string) (Entered, error) {
	ctx, err := s.sessions.Load(c.Request().Context(), s.sessionToken(c))
	if err != nil {
		return Entered{}, err
	}
	list, _ := s.sessions.Get(ctx, chosenFrom).([]string)
	for x := range slices.Chunk(list, 3) {
		if len(x) == 3 && x[0] == salon {
			return s.enterChosen(c, salon, x[1], x[2], s.sessions.GetString(ctx, chosenKind))
		}
	}
	return Entered{}, newProblem(http.StatusUnauthorized, "unauthorized", "choosing the salon took too long: sign in once more")
}

// enterChosen signs the browser in to a salon that was chosen, when the password that
// was right, of which was is kept, still is the account's.
func (s *Server) enterChosen(c echo.Context, salon, account, was, kind string) (Entered, error) {
	ctx := c.Request().Context()
	k := store.Credentials{Salon: salon, Account: account}
	err := s.store.InTx(ctx, salon, func(t *store.Tx) error {
		f, err := t.FactorOf(ctx, account)
		if err != nil {
			return err
		}
		k.Factor = f.On()
		kept, err := t.SecretsOf(ctx, account)
		k.Password = kept.Password
		return err
	})
	if is(err, scheduling.ErrNotFound) || err == nil && keptAs(k.Password) != was {
		return Entered{}, errTooSlow
	}
	if err != nil {
		return Entered{}, err
	}
	return s.enterMatching(c, k, kind)
}

// renewed is the browser's session without all that it held, under a new token.
func (s *Server) renewed(c echo.Context) (context.Context, error) {
	ctx, err := s.sessions.Load(c.Request().Context(), s.sessionToken(c))
	if err != nil {
		return nil, err
	}
	if err := s.sessions.Clear(ctx); err != nil {
		return nil, err
	}
	return ctx, s.sessions.RenewToken(ctx)
}

// commit keeps the session for life and writes its cookie. It returns what is kept of
// the token.
func (s *Server) commit(ctx context.Context, c echo.Context, life time.Duration) (string, error) {
	s.sessions.SetDeadline(ctx, time.Now().Add(life).UTC()) // the library goes by the machine's clock
	token, expires, err := s.sessions.Commit(ctx)
	if err != nil {
		return "", err
	}
	s.sessions.WriteSessionCookie(ctx, c.Response(), token, expires)
	return keptAs(token), nil
}

// enterAccount signs the browser in as the person of an account. first runs in the
// same transaction, before it; nil is nothing.
func (s *Server) enterAccount(c echo.Context, salon, account, kind string, first func(context.Context, *store.Tx) error) (Entered, error) {
	ctx := c.Request().Context()
	life, ok := map[string]sessionLife{store.OwnPhone: ownPhone, store.SharedScreen: sharedScreen}[kind]
	if !ok {
		life = ownMachine
	}
	var a store.Account
	begins := "" // where she begins while the salon is not set up
	err := s.enterBrowser(c, salon, store.BrowserSession{Account: account, Kind: kind}, life, func(ctx context.Context, t *store.Tx) error {
		if first != nil {
			if err := first(ctx, t); err != nil {
				return err
			}
		}
		var err error
		if a, err = t.AccountByID(ctx, account); err == nil && kind == store.SharedScreen && !atDesk(a.Roles) {
			err = &scheduling.InvalidError{Field: "shared", Problem: "is for the desk", Want: "no tick, or somebody of the desk who signs in"}
		}
		if err == nil && kind == store.SharedScreen {
			// There the second step is not asked for, so a password alone must not lead there.
			var lacks bool
			if lacks, err = s.lacksStep(ctx, t, account, a.Roles); lacks {
				err = &scheduling.InvalidError{Field: "shared", Problem: "goes with no password alone, since the salon asks you for a second step and you have none", Want: "no tick: sign in, set the second step up, then share the screen"}
			}
		}
		if err == nil && kind != store.SharedScreen && slices.Contains(a.Roles, store.Owner) {
			var b SetUpBody
			if b, err = s.setUp(ctx, t); err == nil && !b.Ready {
				begins = "/set-up"
			}
		}
		return err
	})
	if err != nil {
		return Entered{}, err
	}
	slog.InfoContext(ctx, "signed in", "salon", salon, "account", account, "kind", kind)
	s.knows(c, account, a.Login)
	return Entered{Home: cmp.Or(begins, home(a.Roles)), Account: account}, nil
}

// atDesk reports whether somebody with these roles works at the desk.
func atDesk(roles []store.Role) bool {
	return slices.Contains(roles, store.Owner) || slices.Contains(roles, store.Desk)
}

// home is where somebody begins: at the board, or with her own day.
func home(roles []store.Role) string {
	if atDesk(roles) {
		return "/"
	}
	return "/my-day"
}

// enterBrowser signs the browser in under a new token.
func (s *Server) enterBrowser(c echo.Context, salon string, b store.BrowserSession, life sessionLife, first func(context.Context, *store.Tx) error) error {
	before := s.sessionToken(c)
	ctx, err := s.renewed(c)
	if err != nil {
		return err
	}
	if b.Token, err = s.commit(ctx, c, life.most); err != nil {
		return err
	}
	b.Device = deviceWords(c.Request().UserAgent())
	b.Opened = s.now()
	b.Ends, b.Idle = b.Opened.Add(life.most), life.idle
	err = s.store.InTx(ctx, salon, func(t *store.Tx) error {
		if err := first(ctx, t); err != nil {
			return err
		}
		id, err := t.AddBrowserSession(ctx, b)
		if err != nil || b.Kind != store.SharedScreen {
			return err
		}
		// She has just proved who she is.
		if err := t.SetPerson(ctx, id, b.Account, b.Opened.Add(personStays)); err != nil {
			return err
		}
		return t.SetProven(ctx, id, b.Account, b.Opened)
	})
	if err != nil {
		c.Response().Header().Del(echo.HeaderSetCookie)
		_ = s.sessions.Destroy(ctx) // a token that signs nobody in
	}
	if before != "" { // which renewing has made worthless
		_ = s.store.EndToken(c.Request().Context(), keptAs(before))
	}
	return err
}

// SignOut signs the browser out. What it has kept of pages goes, too.
func (s *Server) SignOut(c echo.Context) error {
	token := s.sessionToken(c)
	ctx, err := s.sessions.Load(c.Request().Context(), token)
	if err != nil {
		return err
	}
	if err := s.sessions.Destroy(ctx); err != nil {
		return err
	}
	if err := s.store.EndToken(ctx, keptAs(token)); err != nil { // ends what the browser listens to, too
		return err
	}
	s.accessNoted(ctx, slog.LevelInfo, "signed out")
	s.sessions.WriteSessionCookie(ctx, c.Response(), "", time.Time{})
	c.Response().Header().Set("Clear-Site-Data", `"cache", "storage"`)
	return nil
}

// SignOutEverywhere signs whoever uses the browser out of every browser.
func (s *Server) SignOutEverywhere(c echo.Context) error {
	ctx := c.Request().Context()
	if p := principal(ctx); p.Account != "" {
		if err := s.inTx(ctx, func(t *store.Tx) error { return t.EndSessions(ctx, p.Account, "") }); err != nil {
			return err
		}
		s.accessNoted(ctx, slog.LevelInfo, "signed out everywhere", "account", p.Account)
	}
	return s.SignOut(c)
}

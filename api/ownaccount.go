package api

import (
	"context"
	"log/slog"
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/passwords"
	"chairblock/scheduling"
	"chairblock/store"
)

// OwnAccount is what somebody sees of her own way in.
type OwnAccount struct {
	ID       string
	Login    string
	Name     string
	Roles    []string // in words
	HasCode  bool
	Factor   *time.Time // since when she has a second step, nil for none
	Codes    int        // recovery codes that are left
	Owner    bool
	Shared   bool // the browser is a shared screen
	MayShare bool // it may become one
	Browsers []OwnBrowser
}

// OwnBrowser is one browser in which somebody is signed in.
type OwnBrowser struct {
	ID, Device string
	Kind       string // "desk", "phone" or "shared"
	Opened     time.Time
	LastUsed   time.Time
	This       bool
}

// errNoAccount means that the browser was signed in by a link.
var errNoAccount = newProblem(http.StatusConflict, "conflict", "this browser was signed in by a link, without a password: ask the owner for an invitation of your own")

// errNobody means that a program asks, with a token that is nobody's.
var errNobody = newProblem(http.StatusConflict, "conflict", "this token was made for a program: somebody has to sign in for what is her own")

// account is that of whoever has signed in, or errNoAccount or errNobody.
func account(ctx context.Context) (string, error) {
	if p := principal(ctx); p.Account != "" && !p.ReadOnly {
		return p.Account, nil
	}
	if session(ctx).Session == "" {
		return "", errNobody
	}
	return "", errNoAccount
}

// Own is the account of whoever uses the browser. Who was signed in by a link has
// none; the error is a *Problem with status 409.
func (s *Server) Own(ctx context.Context) (OwnAccount, error) {
	id, err := account(ctx)
	if err != nil {
		return OwnAccount{}, err
	}
	who := session(ctx)
	var out OwnAccount
	err = s.read(ctx, func(t *store.Tx) error {
		a, err := t.AccountByID(ctx, id)
		if err != nil {
			return err
		}
		f, err := t.FactorOf(ctx, id)
		if err != nil {
			return err
		}
		list, err := t.BrowsersOf(ctx, id, s.now())
		out = OwnAccount{ID: id, Login: a.Login, Name: a.Name, HasCode: a.Code, Factor: f.Confirmed, Codes: f.Codes, Owner: slices.Contains(a.Roles, store.Owner), Shared: who.Kind == store.SharedScreen,
			MayShare: who.Kind != store.SharedScreen && atDesk(a.Roles)}
		for _, r := range a.Roles {
			out.Roles = append(out.Roles, roleWords[r])
		}
		for _, b := range list {
			out.Browsers = append(out.Browsers, OwnBrowser{b.ID, b.Device, b.Kind, b.Opened, b.LastUsed, b.ID == who.Session})
		}
		return err
	})
	return out, err
}

// proven is the account of whoever uses the browser, when her password is right. A
// wrong one is a fault of field old; there are as few tries as for signing in, and
// nothing is worked out for more.
func (s *Server) proven(ctx context.Context, password string) (string, error) {
	id, err := account(ctx)
	if err != nil {
		return "", err
	}
	try := counted{"account:" + id, triesOfAccount}
	if wait := s.tries.begin(s.now(), try); wait > 0 {
		s.accessNoted(ctx, slog.LevelWarn, "password refused", "account", id, "why", "too many tries")
		return "", tooManyTries(wait)
	}
	var kept store.Secrets
	if err := s.read(ctx, func(t *store.Tx) (err error) { kept, err = t.SecretsOf(ctx, id); return err }); err != nil {
		return "", err
	}
	same, err := s.hasher.Matches(ctx, clipped(password), kept.Password)
	if err != nil {
		return "", err
	}
	if !same {
		s.accessNoted(ctx, slog.LevelWarn, "password refused", "account", id, "why", "wrong")
		return "", &scheduling.InvalidError{Field: "old", Problem: "is not your password", Want: "the password with which you signed in"}
	}
	s.tries.forget(try.key)
	return id, nil
}

// clipped is as much of a text as a password may have and one character more, so
// that nobody has anything longer hashed.
func clipped(s string) string {
	if r := []rune(s); len(r) > passwords.Longest {
		return string(r[:passwords.Longest+1])
	}
	return s
}

// ChangePassword sets a new password for whoever uses the browser, signs her other
// browsers out and gives this one another token. Errors are scheduling.Faults about the fields old, password and again,
// and *Problem with status 429 after too many wrong tries.
func (s *Server) ChangePassword(c echo.Context, old string, n NewPassword) error {
	ctx := c.Request().Context()
	var f scheduling.Faults
	id, err := account(ctx)
	if err != nil {
		return err
	}
	err = s.read(ctx, func(t *store.Tx) error {
		a, err := t.AccountByID(ctx, id)
		if err != nil {
			return err
		}
		row, err := t.SalonRow(ctx)
		checkNew(&f, n, a.Login, row.Name)
		return err
	})
	if err == nil {
		err = f.Err()
	}
	if err != nil {
		return err
	}
	if _, err = s.proven(ctx, old); err != nil {
		return err
	}
	hash, err := s.hasher.Hash(ctx, n.Password)
	if err != nil {
		return err
	}
	err = s.inTx(ctx, func(t *store.Tx) error {
		if err := t.SetPassword(ctx, id, "", hash, session(ctx).Session); err != nil {
			return err
		}
		if f, err := t.FactorOf(ctx, id); err != nil || f.On() {
			return err // the password alone proves too little
		}
		if lacks, err := s.lacksOnShared(ctx, t, id); err != nil || lacks {
			return err // and so it does where it is not asked for
		}
		return t.SetProven(ctx, session(ctx).Session, id, s.now())
	})
	if err != nil {
		return err
	}
	s.accessNoted(ctx, slog.LevelInfo, "password changed", "account", id)
	return s.NewToken(c)
}

// SetOwnCode sets the short code with which whoever uses the browser says who she is
// on shared screens; an empty one takes it away. Errors are those of ChangePassword,
// about the fields old and code.
func (s *Server) SetOwnCode(ctx context.Context, password, code string) error {
	if code != "" {
		if err := passwords.CheckCode("code", code); err != nil {
			return err
		}
	}
	id, err := s.proven(ctx, password)
	if err != nil {
		return err
	}
	hash, what := "", "code taken away"
	if code != "" {
		what = "code set"
		if hash, err = s.hasher.Hash(ctx, code); err != nil {
			return err
		}
	}
	err = s.inTx(ctx, func(t *store.Tx) error { return t.SetCode(ctx, id, hash, session(ctx).Session) })
	if err == nil {
		s.accessNoted(ctx, slog.LevelInfo, what, "account", id)
	}
	return err
}

// EndBrowser signs another browser of whoever uses this one out, or returns
// scheduling.ErrNotFound.
func (s *Server) EndBrowser(ctx context.Context, id string) error {
	own, err := account(ctx)
	if err != nil {
		return err
	}
	err = s.inTx(ctx, func(t *store.Tx) error { return t.EndSession(ctx, own, id) })
	if err == nil {
		s.accessNoted(ctx, slog.LevelInfo, "signed out", "account", own, "other", id)
	}
	return err
}

// ShareThis makes the browser a shared screen, which stays signed in as long as such a
// screen does. Whoever did so is known on it for as long as somebody who has said who
// she is.
func (s *Server) ShareThis(c echo.Context) error {
	ctx := c.Request().Context()
	own, err := account(ctx)
	if err != nil {
		return err
	}
	if !atDesk(principal(ctx).Roles) {
		return newProblem(http.StatusForbidden, "forbidden", "a shared screen is for the desk")
	}
	if principal(ctx).NeedsFactor {
		return newProblem(http.StatusForbidden, "second-step-needed", factorWords)
	}
	token, err := s.sessions.Load(ctx, s.sessionToken(c))
	if err != nil {
		return err
	}
	if _, err := s.commit(token, c, sharedScreen.most); err != nil {
		return err
	}
	id, now := session(ctx).Session, s.now()
	err = s.inTx(ctx, func(t *store.Tx) error {
		if err := t.ShareScreen(ctx, id, now.Add(sharedScreen.most), sharedScreen.idle); err != nil {
			return err
		}
		return t.SetPerson(ctx, id, own, now.Add(personStays))
	})
	if err == nil {
		s.accessNoted(ctx, slog.LevelInfo, "screen shared", "account", own)
	}
	return err
}

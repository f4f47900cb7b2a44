package api

import (
	"context"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/store"
)

// provenFor is how long a password counts as having been given just now (judgement:
// long enough to invite somebody and hand the link over, too short for a machine that
// was left open, and no code of a few digits opens what it protects).
const provenFor = 15 * time.Minute

// guarded are the operations that let somebody in somewhere, or keep her out. In a
// browser they need the password of whoever uses it, given just now.
var guarded = []string{"add-account", "update-account", "add-account-link", "end-account-sessions", "add-token", "revoke-token",
	"begin-own-second-factor", "confirm-own-second-factor", "end-own-second-factor", "new-recovery-codes", "reset-second-factor", "set-access-rules",
	"add-webhook", "update-webhook", "delete-webhook", "rotate-webhook-secret"}

// guardedPages are pages with forms for these, by how their addresses begin.
var guardedPages = []string{"/set-up/sign-in", "/set-up/access", "/me/second-step"}

// unproven reports whether somebody has to give her password before she carries out an
// operation, in her browser or signed in by the interface, or opens a page at a path.
// Who was signed in by a link has none.
func (s *Server) unproven(ctx context.Context, operation, path string) bool {
	who, p := session(ctx), principal(ctx)
	switch {
	case !slices.Contains(guarded, operation) && !slices.ContainsFunc(guardedPages, func(p string) bool { return path == p || strings.HasPrefix(path, p+"/") }):
		return false
	case who.Session != "" && who.Account != "":
		return s.now().Sub(who.Proven).Abs() >= provenFor // also where the clock was set back
	}
	return p.Token != "" && p.SignedIn.Abs() >= provenFor
}

// proveWords say what whoever changes a way in has to do first.
const proveWords = "this changes who gets in: give your password once more first"

// askProof sends whoever has not given her password lately to the page that asks for
// it. What was typed goes along.
func (s *Server) askProof(c echo.Context) error {
	switch r := c.Request(); {
	case s.doors.Proof == nil || scripted(r):
		return message(c, http.StatusForbidden, titles["password-needed"], proveWords)
	case reads(r.Method):
		return c.Redirect(http.StatusSeeOther, "/prove?to="+url.QueryEscape(r.RequestURI))
	}
	return s.doors.Proof(c, s.carry(c))
}

// Prove notes that whoever uses the browser has just given her password and, where she
// has a second step, its code. Errors are *scheduling.InvalidError about the fields old
// and step, and *Problem with status 429 after too many wrong tries, and with 403 on a shared
// screen when the salon asks her for a second step and she has none: there the password
// alone would do.
func (s *Server) Prove(c echo.Context, password, code string) error {
	ctx := c.Request().Context()
	id, err := s.proven(ctx, password)
	if err != nil {
		return err
	}
	if err := s.secondStepOf(ctx, id, code); err != nil {
		return err
	}
	err = s.inTx(ctx, func(t *store.Tx) error {
		if lacks, err := s.lacksOnShared(ctx, t, id); err != nil {
			return err
		} else if lacks {
			return newProblem(http.StatusForbidden, "second-step-needed", factorWords+", signed in on a machine that is not shared")
		}
		return t.SetProven(ctx, session(ctx).Session, id, s.now())
	})
	if err != nil {
		return err
	}
	return s.NewToken(c)
}

// lacksOnShared is lacksStep of whoever uses a shared screen, and false elsewhere, where
// she gets no further anyway.
func (s *Server) lacksOnShared(ctx context.Context, t *store.Tx, account string) (bool, error) {
	if session(ctx).Kind != store.SharedScreen {
		return false, nil
	}
	a, err := t.AccountByID(ctx, account)
	if err != nil {
		return false, err
	}
	return s.lacksStep(ctx, t, account, a.Roles)
}

// NewToken gives the session of a browser another token, after its person has shown
// who she is or changed how she does: the one before is worth nothing any more.
func (s *Server) NewToken(c echo.Context) error {
	before := c.Request().Context()
	ctx, err := s.sessions.Load(before, s.sessionToken(c))
	if err != nil {
		return err
	}
	if err := s.sessions.RenewToken(ctx); err != nil {
		return err
	}
	token, expires, err := s.sessions.Commit(ctx)
	if err != nil {
		return err
	}
	s.sessions.WriteSessionCookie(ctx, c.Response(), token, expires)
	return s.inTx(before, func(t *store.Tx) error { return t.MoveSession(before, session(before).Session, keptAs(token)) })
}

// accessNoted writes into the log that somebody's way in has changed, or that a way in was
// tried: what, where and by whom, never with what.
func (s *Server) accessNoted(ctx context.Context, level slog.Level, what string, more ...any) {
	who := session(ctx)
	p := principal(ctx)
	args := []any{"salon", p.Salon, "by", p.TokenID}
	if who.Session != "" {
		args = append(args, "session", who.Session)
	}
	slog.Log(ctx, level, what, append(args, more...)...)
}

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
	"add-webhook", "update-webhook", "delete-webhook", "rotate-webhook-secret"}

// guardedPages are pages with forms for these, by how their addresses begin.
var guardedPages = []string{"/set-up/sign-in", "/set-up/access"}

// unproven reports whether somebody has to give her password before she carries out an
// operation in her browser, or opens a page at a path. Who was signed in by a link has
// none.
func (s *Server) unproven(who store.SignedIn, operation, path string) bool {
	if who.Session == "" || who.Account == "" || s.now().Sub(who.Proven) < provenFor {
		return false
	}
	return slices.Contains(guarded, operation) || slices.ContainsFunc(guardedPages, func(p string) bool { return path == p || strings.HasPrefix(path, p+"/") })
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

// Prove notes that whoever uses the browser has just given her password. Errors are
// *scheduling.InvalidError about the field old, and *Problem with status 429 after too
// many wrong tries.
func (s *Server) Prove(ctx context.Context, password string) error {
	id, err := s.proven(ctx, password)
	if err != nil {
		return err
	}
	return s.inTx(ctx, func(t *store.Tx) error { return t.SetProven(ctx, session(ctx).Session, id, s.now()) })
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

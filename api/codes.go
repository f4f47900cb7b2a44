package api

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
)

// How many wrong codes in a row lock a name on one screen, and for how long: a code
// of four digits is then guessed in three months of trying, beside people who watch
// (judgement).
const (
	wrongCodes = 5
	codeLock   = 5 * time.Minute
)

// CodeName is somebody who may say who she is on a shared screen.
type CodeName struct{ ID, Name string }

// errNotShared means that the browser is somebody's own.
var errNotShared = newProblem(http.StatusConflict, "conflict", "this screen is not shared: whoever has signed in works on it")

// onShared is the session of a shared screen, or errNotShared.
func onShared(ctx context.Context) (store.SignedIn, error) {
	who := session(ctx)
	if who.Kind != store.SharedScreen {
		return who, errNotShared
	}
	return who, nil
}

// CodeNames lists who has a short code and may say who she is.
func (s *Server) CodeNames(ctx context.Context) ([]CodeName, error) {
	if _, err := onShared(ctx); err != nil {
		return nil, err
	}
	var out []CodeName
	err := s.read(ctx, func(t *store.Tx) error {
		list, err := t.Accounts(ctx)
		out = nil
		for _, a := range list {
			if a.Code && mayStillEnter(a) {
				out = append(out, CodeName{a.ID, a.Name})
			}
		}
		return err
	})
	return out, err
}

// mayStillEnter reports whether somebody may sign in: who has left the staff may
// only as an owner.
func mayStillEnter(a store.Account) bool {
	return a.Disabled == nil && (!a.Left || a.Roles[0] == store.Owner)
}

// SayWho makes somebody the one who works on a shared screen, when her code is right.
// Errors are *scheduling.InvalidError about the fields who and code, and *Problem with
// status 429 while the name is locked on this screen.
func (s *Server) SayWho(ctx context.Context, account, code string) error {
	who, err := onShared(ctx)
	if err != nil {
		return err
	}
	var try int
	var locked time.Time
	var kept store.Secrets
	now := s.now()
	err = s.inTx(ctx, func(t *store.Tx) error {
		var err error
		if kept, err = t.SecretsOf(ctx, account); is(err, scheduling.ErrNotFound) || err == nil && kept.Code == "" {
			return &scheduling.InvalidError{Field: "who", Problem: "is nobody who has a short code", Want: "one of the names"}
		} else if err != nil {
			return err
		}
		try, locked, err = t.TryCode(ctx, who.Session, account, wrongCodes, now, now.Add(codeLock))
		return err
	})
	switch {
	case err != nil:
		return err
	case try > wrongCodes:
		return nameLocked(locked.Sub(now))
	}
	same, err := s.hasher.Matches(ctx, clipped(code), kept.Code)
	switch {
	case err != nil:
		return err
	case !same && try == wrongCodes:
		return nameLocked(locked.Sub(now))
	case !same:
		left := [wrongCodes]string{"", "there is one more try", "there are two more tries", "there are three more tries", "there are four more tries"}[wrongCodes-try]
		return &scheduling.InvalidError{Field: "code", Problem: "is not that of this name", Want: left}
	}
	return s.inTx(ctx, func(t *store.Tx) error {
		if err := t.ForgetTries(ctx, who.Session, account); err != nil {
			return err
		}
		return t.SetPerson(ctx, who.Session, account, s.now().Add(personStays))
	})
}

func nameLocked(wait time.Duration) *Problem {
	p := newProblem(http.StatusTooManyRequests, "too-many-tries", fmt.Sprintf(
		"this name had five wrong codes in a row and is locked on this screen for %s; the others can go on", minutesWords(wait)))
	p.retryAfter = max(1, int(wait.Seconds()))
	return p
}

// SayDone makes a shared screen read only again, at once.
func (s *Server) SayDone(ctx context.Context) error {
	who, err := onShared(ctx)
	if err != nil {
		return err
	}
	return s.inTx(ctx, func(t *store.Tx) error { return t.SetPerson(ctx, who.Session, "", s.now()) })
}

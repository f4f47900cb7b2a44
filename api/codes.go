package api

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
)

// How many wrong codes lock a name on shared screens, and for how long: each one more
// locks it for twice as long. A wrong code is forgotten after a while, and not because
// of a right one, so that nobody guesses in between. Whoever tries as often as she may
// gets through eight codes a day, and through the 10,000 of four digits in three years
// (judgement).
const (
	wrongCodes    = 5
	codeLock      = 5 * time.Minute
	longestLock   = 12 * time.Hour
	codeForgotten = 3 * time.Hour
)

// lockFor is how long so many wrong codes lock a name.
func lockFor(misses int) time.Duration {
	if misses < wrongCodes {
		return 0
	}
	return min(longestLock, codeLock<<min(misses-wrongCodes, 20))
}

// countCode counts a try with a code in advance, so that many at once are not more
// than many one after the other, or returns how long the name is locked still.
func countCode(w *store.WrongCodes, now time.Time) (locked time.Duration) {
	if rest, most := w.Locked.Sub(now), lockFor(w.Misses); rest > 0 {
		if rest > most { // the clock was set back
			w.Locked, rest = now.Add(most), most
		}
		return rest
	}
	if over := int(now.Sub(w.Since) / codeForgotten); over > 0 {
		w.Misses, w.Since = max(0, w.Misses-over), w.Since.Add(time.Duration(over)*codeForgotten)
	}
	if w.Misses == 0 {
		w.Since = now
	}
	w.Misses++
	w.Locked = time.Time{}
	if wait := lockFor(w.Misses); wait > 0 {
		w.Locked = now.Add(wait)
	}
	return 0
}

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

// CodeNames lists who has a short code and may say who she is. It returns a *Problem
// with status 409 in a browser that is no shared screen.
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
// status 429 while the name is locked on shared screens.
func (s *Server) SayWho(ctx context.Context, account, code string) error {
	who, err := onShared(ctx)
	if err != nil {
		return err
	}
	var locked time.Duration
	var count store.WrongCodes
	var kept store.Secrets
	err = s.inTx(ctx, func(t *store.Tx) error {
		var err error
		if kept, err = t.SecretsOf(ctx, account); is(err, scheduling.ErrNotFound) || err == nil && kept.Code == "" {
			return &scheduling.InvalidError{Field: "who", Problem: "is nobody who has a short code", Want: "one of the names"}
		} else if err != nil {
			return err
		}
		return t.GuardCodes(ctx, account, s.now(), func(w *store.WrongCodes) { locked = countCode(w, s.now()); count = *w })
	})
	switch {
	case err != nil:
		return err
	case locked > 0:
		s.accessNoted(ctx, slog.LevelWarn, "code refused", "account", account, "why", "locked")
		return nameLocked(locked)
	}
	same, err := s.hasher.Matches(ctx, clipped(code), kept.Code)
	if err != nil {
		return err
	}
	if !same {
		return s.wrongCode(ctx, account, count)
	}
	s.accessNoted(ctx, slog.LevelInfo, "said who she is", "account", account)
	return s.inTx(ctx, func(t *store.Tx) error {
		takeBack := func(w *store.WrongCodes) { w.Misses, w.Locked = max(0, w.Misses-1), time.Time{} }
		if err := t.GuardCodes(ctx, account, s.now(), takeBack); err != nil {
			return err
		}
		return t.SetPerson(ctx, who.Session, account, s.now().Add(personStays))
	})
}

// wrongCode says how many more tries there are, and notes the wrong one.
func (s *Server) wrongCode(ctx context.Context, account string, count store.WrongCodes) error {
	s.accessNoted(ctx, slog.LevelWarn, "code refused", "account", account, "why", "wrong", "lately", count.Misses)
	if wait := lockFor(count.Misses); wait > 0 {
		s.accessNoted(ctx, slog.LevelWarn, "name locked", "account", account, "for", wait.String())
		return nameLocked(wait)
	}
	left := [wrongCodes]string{"", "there is one more try", "there are two more tries", "there are three more tries", "there are four more tries"}[wrongCodes-count.Misses]
	return &scheduling.InvalidError{Field: "code", Problem: "is not that of this name", Want: left}
}

func nameLocked(wait time.Duration) *Problem {
	p := newProblem(http.StatusTooManyRequests, "too-many-tries", fmt.Sprintf(
		"this name had too many wrong codes lately and is locked on shared screens for %s; the others can go on, and she herself where she signs in with her password", minutesWords(wait)))
	p.retryAfter = max(1, int(wait.Seconds()))
	return p
}

// SayDone makes a shared screen read only again, at once. It returns a *Problem with
// status 409 in a browser that is no shared screen.
func (s *Server) SayDone(ctx context.Context) error {
	who, err := onShared(ctx)
	if err != nil {
		return err
	}
	return s.inTx(ctx, func(t *store.Tx) error { return t.SetPerson(ctx, who.Session, "", s.now()) })
}

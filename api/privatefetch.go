package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"strconv"
	"time"

	"chairblock/api/outbound"
	"chairblock/scheduling"
	"chairblock/store"
)

// Times of fetching (judgement). A quarter of an hour is what phones and desks can wait
// for; most calendars say then that nothing has changed.
const (
	fetchEvery  = 15 * time.Minute // at the soonest
	fetchSpread = 5 * time.Minute  // added at random, so that not all come at once
	fetchLatest = 24 * time.Hour   // however often it failed
	handFetch   = 7 * time.Second  // somebody waits for the answer
	handAgain   = time.Minute      // between two tries of which one was asked for
)

// fetchRedirects is how often a calendar's server may send on (judgement).
const fetchRedirects = 3

// errNoFetching means that the service was set up to reach nobody.
var errNoFetching = newProblem(http.StatusServiceUnavailable, "unavailable",
	"the service may not reach other servers and fetches no calendars: hand in a file instead")

func (s *Server) fetchPrivateNow(ctx context.Context, in *ByID) (*found[PrivateCalendarBody], error) {
	p := principal(ctx)
	err := s.inTx(ctx, func(t *store.Tx) error {
		c, err := t.PrivateCalendarByID(ctx, in.ID)
		if c, err = privateOf(ctx, c, err); err != nil {
			return err
		}
		switch {
		case c.Source == store.PrivateFile:
			return newProblem(http.StatusConflict, "conflict", "this calendar is a file: hand in a newer one instead")
		case !c.Active:
			return newProblem(http.StatusConflict, "conflict", "this calendar is switched off: switch it on first")
		}
		if at := fetchableAt(c); s.now().Before(at) {
			n, err := loadSalon(ctx, t)
			if err != nil {
				return err
			}
			return newProblem(http.StatusConflict, "conflict", c.Host+" was asked already, and may be asked again from "+at.In(n.loc).Format("2 January 15:04:05")+" on")
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if s.outbound == nil {
		return nil, errNoFetching
	}
	if err := s.fetchPrivate(ctx, p.Salon, in.ID, handFetch); is(err, store.ErrFetching) {
		return nil, newProblem(http.StatusConflict, "conflict", store.ErrFetching.Error())
	} else if err != nil {
		return nil, err
	}
	return s.getPrivate(ctx, in)
}

// fetchableAt is from when on somebody may have a calendar fetched: not at once
// after the last try, and not before the time for which its server asked where
// that is later than the wait that its failures ask for.
func fetchableAt(c store.PrivateCalendar) time.Time {
	switch {
	case c.Fetched == nil:
		return time.Time{}
	case c.Failures > 0 && c.Due.Sub(*c.Fetched) > 9*backOff(c.Failures-1)/8:
		return c.Due
	}
	return c.Fetched.Add(handAgain)
}

// FetchPrivateCalendar fetches a private calendar that is due, or works its
// file out for later days. What goes wrong with the calendar is noted with it;
// an error means that nothing became known.
func (s *Server) FetchPrivateCalendar(ctx context.Context, salon, id string) error {
	err := s.fetchPrivate(ctx, salon, id, outbound.DefaultTimeout)
	if is(err, store.ErrFetching) || is(err, scheduling.ErrNotFound) {
		return nil // somebody else does, or it has been deleted
	}
	return err
}

// fetchPrivate takes the turn, lets go of the database while the server takes
// its time, and notes what became of it. Who has changed the calendar meanwhile
// wins.
func (s *Server) fetchPrivate(ctx context.Context, salon, id string, limit time.Duration) error {
	var f store.PrivateFetch
	var n store.Salon
	var sealed error
	err := s.store.InTx(ctx, salon, func(t *store.Tx) (err error) {
		if n, err = t.SalonRow(ctx); err != nil {
			return err
		}
		f, err = t.TakePrivateCalendar(ctx, id)
		if sealed = nil; lockedAway(err) {
			sealed, err = err, nil // the turn is ours, and what happens is noted
		}
		return err
	})
	if err != nil {
		return err
	}
	var o store.PrivateOutcome
	if sealed != nil {
		o = s.failed(f, sealedWords(sealed), 0)
	} else {
		o = s.fetched(ctx, n, f, limit)
	}
	// What is known is noted although the request may have been called off.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), handlerLimit)
	defer cancel()
	return s.store.InTx(ctx, salon, func(t *store.Tx) error {
		if sealed == nil && o.Failure == "" && o.Busy == nil {
			if err := s.movedOn(ctx, t, n, f, &o); err != nil {
				return err
			}
		}
		_, done, err := t.SettlePrivateFetch(ctx, f, o)
		if err != nil {
			return err
		}
		return s.tellPrivate(ctx, t, f.ID, done)
	})
}

// lockedAway says that a secret cannot be opened.
func lockedAway(err error) bool {
	_, unknown := errors.AsType[*store.UnknownKeyError](err)
	return unknown || is(err, store.ErrNoHealthKey) || is(err, store.ErrSealBroken)
}

func sealedWords(err error) string {
	if is(err, store.ErrSealBroken) {
		return "what is kept of it was changed outside the program: delete it and add it again"
	}
	return "it is sealed with a key that the service was started without"
}

// movedOn works the last good file out anew when it was worked out for other
// days or another zone than those that count now.
func (s *Server) movedOn(ctx context.Context, t *store.Tx, n store.Salon, f store.PrivateFetch, o *store.PrivateOutcome) error {
	loc, err := n.Location()
	if err != nil {
		return err
	}
	first, last := privateDays(s.now(), loc)
	if f.Zone == n.Zone && f.From == first.String() && f.To == last.String() {
		return nil
	}
	file, err := t.PrivateFileOf(ctx, f.ID)
	switch {
	case lockedAway(err):
		*o = s.failed(f, sealedWords(err), 0)
		return nil
	case err != nil || file == nil:
		return err
	}
	r, err := s.readPrivate(ctx, n, f.PrivateCalendar, file)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		*o = s.failed(f, "what is kept of it cannot be read: hand it in again", 0)
		return nil
	}
	o.Busy = &r.busy
	return nil
}

// fetched is what becomes of a turn: of a file nothing that can fail.
func (s *Server) fetched(ctx context.Context, n store.Salon, f store.PrivateFetch, limit time.Duration) store.PrivateOutcome {
	if f.Source == store.PrivateFile {
		due, err := s.nextDay(n)
		if err != nil {
			due = s.now().Add(fetchLatest)
		}
		return store.PrivateOutcome{Now: s.now(), Due: due}
	}
	if s.outbound == nil {
		return s.failed(f, "the service was started without a way to fetch calendars", 0)
	}
	res, err := s.outbound.Do(ctx, outbound.Request{Address: f.Address, Header: conditions(f), Redirects: fetchRedirects, Timeout: limit})
	if e, ok := errors.AsType[*outbound.Error](err); ok {
		return s.failed(f, e.Error(), 0)
	} else if err != nil {
		slog.ErrorContext(ctx, "private calendar not fetched", "calendar", f.ID) // the text could hold the address
		return s.failed(f, "it cannot be fetched", 0)
	}
	same := bytes.Equal(f.Hash, sum(res.Body))
	switch {
	case res.Status == http.StatusNotModified && f.HasFile, res.Status == http.StatusOK && f.HasFile && same:
		return s.unchanged(f, res)
	case res.Status == http.StatusOK:
		return s.changed(ctx, n, f, res)
	}
	o := s.failed(f, statusWords(f.Host, res.Status), retryAfter(res))
	o.Gone = res.Status == http.StatusNotFound || res.Status == http.StatusGone
	return o
}

func sum(b []byte) []byte { s := sha256.Sum256(b); return s[:] }

// conditions ask for the calendar unless it is the one that was read last.
func conditions(f store.PrivateFetch) http.Header {
	h := http.Header{"Accept": {"text/calendar, */*;q=0.1"}}
	if f.HasFile && f.ETag != "" {
		h.Set("If-None-Match", f.ETag)
	}
	if f.HasFile && f.LastModified != "" {
		h.Set("If-Modified-Since", f.LastModified)
	}
	return h
}

func statusWords(host string, status int) string {
	switch status {
	case http.StatusUnauthorized, http.StatusForbidden:
		return host + " asks for a password: use the secret address under which the calendar can be read without one"
	case http.StatusNotFound, http.StatusGone:
		return host + " has no calendar under this address (" + outbound.StatusWords(status) + ")"
	}
	return host + " answers " + outbound.StatusWords(status)
}

// retryAfter is how long the server wants to be left alone, 0 when it does not
// say.
func retryAfter(res *outbound.Response) time.Duration {
	seconds, err := strconv.Atoi(res.Header.Get("Retry-After"))
	if err != nil || seconds < 0 {
		return 0
	}
	return min(time.Duration(seconds), fetchLatest/time.Second) * time.Second
}

func (s *Server) unchanged(f store.PrivateFetch, res *outbound.Response) store.PrivateOutcome {
	o := store.PrivateOutcome{Now: s.now(), Due: s.now().Add(fetchEvery + rand.N(fetchSpread)), ETag: validator(res, "ETag"), LastModified: validator(res, "Last-Modified")}
	if res.Status == http.StatusNotModified { // may leave them out
		if o.ETag == "" {
			o.ETag = f.ETag
		}
		if o.LastModified == "" {
			o.LastModified = f.LastModified
		}
	}
	return o
}

// changed reads a calendar that is not the one that was read last.
func (s *Server) changed(ctx context.Context, n store.Salon, f store.PrivateFetch, res *outbound.Response) store.PrivateOutcome {
	r, err := s.readPrivate(ctx, n, f.PrivateCalendar, res.Body)
	if err == nil {
		var kept store.PrivateReading
		if kept, err = r.kept(res.Body); err == nil {
			kept.ETag, kept.LastModified = validator(res, "ETag"), validator(res, "Last-Modified")
			return store.PrivateOutcome{Now: s.now(), Due: s.now().Add(fetchEvery + rand.N(fetchSpread)), Read: &kept, Busy: &r.busy,
				ETag: kept.ETag, LastModified: kept.LastModified}
		}
	}
	if ctx.Err() != nil {
		return s.failed(f, "there was no time to read what "+f.Host+" gives", 0)
	}
	why := err.Error()
	if e, ok := errors.AsType[*scheduling.InvalidError](err); ok {
		why = e.Problem
	} else if _, ok := errors.AsType[noneReadable](err); !ok {
		why = "cannot be read"
	}
	return s.failed(f, "what "+f.Host+" gives is no calendar that can be read: it "+why, 0)
}

// validator is a header that is sent back later, "" when it is too odd for that: of more
// than 200 bytes (judgement), or of signs that no header holds.
func validator(res *outbound.Response, name string) string {
	v := res.Header.Get(name)
	if len(v) > 200 {
		return ""
	}
	for _, c := range []byte(v) {
		if c < ' ' || c > '~' {
			return ""
		}
	}
	return v
}

// failed puts the next try off, for twice as long as the time before, and at
// least as long as the server asked for.
func (s *Server) failed(f store.PrivateFetch, why string, after time.Duration) store.PrivateOutcome {
	wait := max(backOff(f.Failures), after)
	return store.PrivateOutcome{Now: s.now(), Due: s.now().Add(wait + rand.N(wait/8)), Failure: why}
}

// backOff is the wait after a failure that follows so many others in a row, a day from
// the seventh on; an eighth is added to it at most (judgement).
func backOff(failures int) time.Duration {
	if failures >= 7 {
		return fetchLatest
	}
	return min(fetchEvery<<failures, fetchLatest)
}

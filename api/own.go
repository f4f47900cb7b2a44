package api

import (
	"bytes"
	"context"
	"log/slog"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/notify"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// How long a client's own pages stay open in a browser: unused, and at most
// (judgement: the time of one visit to them, and of one day).
const (
	ownOpen = 30 * time.Minute
	ownMost = 12 * time.Hour
	// ownRenewed is how exactly the cookie keeps when the pages were used.
	ownRenewed = time.Minute
)

// ownActsAllowed is how many forms of such pages may be sent for one client in an hour,
// and of the page of one message
// (judgement: nobody needs more; a program that books and cancels in turn would).
const ownActsAllowed = 20

// ownBookingsOfAddress is how many visits may be booked on such pages from one address
// in an hour, whoever's pages they are (judgement: a household, or the wireless network
// of a café, needs a few).
const ownBookingsOfAddress = 20

// tooManyActs says how long to wait for the next form of a client's own pages.
func (s *Server) tooManyActs(c echo.Context, client string) time.Duration {
	list := []counted{{client, ownActsAllowed}}
	if c.Path() == "/own/again" && c.FormValue("start") != "" {
		list = append(list, fromAddress(c.RealIP(), ownBookingsOfAddress)...)
	}
	return s.ownActs.begin(s.now(), list...)
}

// enoughActs answers who has sent too many forms.
func enoughActs(c echo.Context, wait time.Duration) error {
	c.Response().Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(wait.Seconds()))))
	return message(c, http.StatusTooManyRequests, "That is enough for now", "Many changes were made on these pages within an hour. Please call the salon, or try again later.")
}

// clientRole is whoever has opened a client's own pages. No operation of the
// interface is allowed to it: what such a page does is done in its own name only
// where this file and those beside it say so.
const clientRole store.Role = "client"

// mountOwn adds a client's own pages and the way in. The secret stands in the first
// address only, at which one press leads on: from then on a cookie of half an hour says
// whose pages they are. That a link was opened changes nothing, as often as programs
// that scan mails do it, and nobody is led into somebody else's pages by it.
func (s *Server) mountOwn() {
	s.echo.Match([]string{http.MethodGet, http.MethodHead}, ownPath+":secret", s.openOwn, answerHeaders, limitForm, s.slowGuessing)
	s.echo.POST(ownPath+":secret", s.enterOwn, answerHeaders, limitForm, s.slowGuessing)
	// Routes and no group: a group would answer for every unknown address, too.
	guard := []echo.MiddlewareFunc{echo.WrapMiddleware(http.NewCrossOriginProtection().Handler), pageHeaders, limitForm, s.slowGuessing}
	for path, page := range map[string]ownPage{
		"/own": ownHome, "/own/visits/:id": ownVisit, "/own/visits/:id/care": ownCare, "/own/visits/:id/cancel": ownCancel, "/own/visits/:id/move": ownMove,
		"/own/again": ownAgain, "/own/calendar": ownCalendar, "/own/messages": ownMessages,
		"/own/about": ownAbout, "/own/about/everything": ownEverything, "/own/about/delete": ownDelete,
	} {
		s.echo.GET(path, s.ownGet(page), guard...)
	}
	for path, do := range map[string]struct {
		act  ownAct
		page ownPage // shows what was refused
	}{
		"/own/visits/:id/yes": {doYes, ownVisit}, "/own/visits/:id/cancel": {doCancel, ownCancel}, "/own/visits/:id/move": {doMove, ownMove},
		"/own/visits/:id/ask": {doAsk, ownAsked}, "/own/again": {doAgain, ownAgain}, "/own/again/ask": {doAskAgain, ownAgain},
		"/own/calendar": {doCalendar, ownCalendar}, "/own/calendar/:id/end": {doEndCalendar, ownCalendar}, "/own/messages": {doMessages, ownMessages},
		"/own/about/delete": {doDelete, ownDelete},
	} {
		s.echo.POST(path, s.ownPost(do.act, do.page), guard...)
	}
	s.echo.GET("/own/about/everything.json", s.ownBundle, guard...)
	s.echo.POST("/own/leave", s.leaveOwn, guard...)
	s.echo.GET("/own/deleted", s.deletedOwn, guard...)
}

// ownCookie carries the __Host- prefix where the address allows it, as that of
// people who work here does, which it is apart from.
func (s *Server) ownCookie() string {
	if s.secure() {
		return "__Host-own"
	}
	return "chairblock-own"
}

func (s *Server) setOwnCookie(c echo.Context, value string, life time.Duration) {
	age := int(life / time.Second)
	if value == "" {
		age = -1
	}
	c.SetCookie(&http.Cookie{Name: s.ownCookie(), Value: value, Path: "/", HttpOnly: true, Secure: s.secure(), SameSite: http.SameSiteLaxMode, MaxAge: age})
}

// openOwn is the page of a secret link, with one button. Where these pages are open
// already it leads on at once.
func (s *Server) openOwn(c echo.Context) error {
	ctx := c.Request().Context()
	door, err := s.linkedOwn(c)
	var page pages.OwnPage
	if err == nil {
		if open, err := s.door(c); err == nil && open.Salon == door.Salon && open.Client == door.Client && open.Link == door.Link {
			return c.Redirect(http.StatusSeeOther, "/own")
		}
		err = s.store.Read(ctx, door.Salon, func(t *store.Tx) error {
			v, err := s.ownView(ctx, t, door)
			if err == nil {
				page = v.way(ownPath + c.Param("secret"))
			}
			return err
		})
	}
	if is(err, scheduling.ErrNotFound) {
		return noSuchLink(c)
	}
	return ownAnswer(c, http.StatusOK, page, err)
}

// way is the page from which one press leads to the client's own pages. It says whose
// salon it is, and nothing about her.
func (v *ownView) way(action string) pages.OwnPage {
	d := v.start("", "title_open")
	d.page.Ways, d.page.For = nil, pages.OwnText{}
	d.say("", "open_intro", notify.Says{"salon": v.n.row.Name})
	f := v.makeForm(action, "open_now")
	f.Main = true
	d.add(pages.OwnBlock{Form: f})
	return d.page
}

// linkedOwn finds the pages to which the link of a request leads.
func (s *Server) linkedOwn(c echo.Context) (store.OwnPages, error) {
	secret := c.Param("secret")
	if !couldBeSecret(secret) {
		return store.OwnPages{}, scheduling.ErrNotFound
	}
	door, err := s.store.OwnLinkBySecret(c.Request().Context(), secret, s.now())
	if err == nil {
		hit(c)
		err = s.within(c, store.Principal{Salon: door.Salon, TokenID: "own " + door.Client})
	}
	return door, err
}

// enterOwn opens the pages of a secret link and leads to the clean address.
func (s *Server) enterOwn(c echo.Context) error {
	if fromElsewhere(c.Request()) {
		return pressedElsewhere(c)
	}
	door, err := s.linkedOwn(c)
	if err == nil {
		err = s.enter(c, door)
	}
	if is(err, scheduling.ErrNotFound) {
		return noSuchLink(c)
	}
	if err != nil {
		return sorry(c, err)
	}
	slog.InfoContext(c.Request().Context(), "client's pages opened", "salon", door.Salon, "client", door.Client, "link", door.Link)
	return c.Redirect(http.StatusSeeOther, "/own")
}

// fromElsewhere reports whether another site's page makes a browser send a form. A
// browser that says nothing of where a form comes from may have been told not to by
// our own pages.
func fromElsewhere(r *http.Request) bool {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "":
	case "same-origin", "none":
		return false
	default:
		return true
	}
	u, err := url.Parse(r.Header.Get("Origin"))
	return err != nil || u.Host != "" && u.Host != r.Host
}

func pressedElsewhere(c echo.Context) error {
	return message(c, http.StatusForbidden, "Open the link itself", "The button was pressed on a page of another site. Open the link in our message instead.")
}

// enter opens the pages of door in the browser of c, unless they are for somebody
// else by now: a guardian's when she is a minor no more, or her own when she is one.
func (s *Server) enter(c echo.Context, door store.OwnPages) error {
	ctx := c.Request().Context()
	err := s.store.Read(ctx, door.Salon, func(t *store.Tx) error { _, err := s.ownView(ctx, t, door); return err })
	if err != nil {
		return err
	}
	return s.keepOpen(c, door)
}

// keepOpen gives the browser the cookie anew.
func (s *Server) keepOpen(c echo.Context, door store.OwnPages) error {
	now := s.now()
	if door.Expires.Sub(now) > ownOpen-ownRenewed {
		return nil
	}
	door.Expires = now.Add(ownOpen)
	if end := door.Begun.Add(ownMost); door.Expires.After(end) {
		door.Expires = end
	}
	value, err := s.store.OpenOwnPages(c.Request().Context(), door)
	if err == nil {
		s.setOwnCookie(c, value, door.Expires.Sub(now))
	}
	return err
}

// ownView is what one of a client's own pages is made from, within a transaction.
type ownView struct {
	s      *Server
	t      *store.Tx
	n      salonDay
	door   store.OwnPages
	client store.Client
	to     person // who is spoken to for her
	hushed bool   // see quiet
	words  notify.PageWords
	now    time.Time
	rests  bool // where messages go was changed here lately: see contactRests

	id          string // in the address
	query, form url.Values
	wrong       []pages.FieldError // what was refused of form
}

// quiet reports whether what is about health stays out: the link was made by somebody
// of the salon, who has seen it and may not read that. What a client gets at her own
// address is hers, but for an address that somebody of the salon has just put there.
func (v *ownView) quiet() bool { return v.hushed }

// An ownPage makes a page, an ownAct does something and says where to go on.
type (
	ownPage func(context.Context, *ownView) (pages.OwnPage, error)
	ownAct  func(context.Context, *ownView) (to string, err error)
)

// ownView loads what every page needs. Pages that are for somebody else by now are
// as if they were not there.
func (s *Server) ownView(ctx context.Context, t *store.Tx, door store.OwnPages) (*ownView, error) {
	v, err := s.fileOf(ctx, t, door.Client)
	if err != nil {
		return nil, err
	}
	if v.door = door; v.to.minor != door.Guardian {
		return nil, scheduling.ErrNotFound
	}
	if v.rests, err = s.contactRests(ctx, t, door.Client); err != nil {
		return nil, err
	}
	v.hushed = door.Link != "" || v.rests
	wish, err := t.MessageWishOf(ctx, door.Client)
	if err != nil {
		return nil, err
	}
	rules, err := messageRulesOf(v.n.row)
	if err != nil {
		return nil, err
	}
	w, err := s.wordsFor(ctx, t, wish.Language, rules.Language)
	v.words = notify.PageWords{Words: w, Zone: v.n.loc, Hour24: true, Inches: unitsOf(v.n.row).Inches, Now: v.now}
	return v, err
}

// fileOf loads a client's file, for whoever reads it.
func (s *Server) fileOf(ctx context.Context, t *store.Tx, client string) (*ownView, error) {
	v := &ownView{s: s, t: t, now: s.now()}
	var err error
	if v.n, err = loadSalon(ctx, t); err != nil {
		return nil, err
	}
	if v.client, err = t.ClientByID(ctx, client); err != nil {
		return nil, err
	}
	minors, err := t.MinorsOf(ctx, client)
	v.to = s.spokenTo(v.n, v.client, minors)
	return v, err
}

// door finds whose pages are open in the browser of c.
func (s *Server) door(c echo.Context) (store.OwnPages, error) {
	cookie, err := c.Cookie(s.ownCookie())
	if err != nil {
		return store.OwnPages{}, scheduling.ErrNotFound
	}
	return s.store.OpenedOwnPages(c.Request().Context(), cookie.Value, s.now())
}

// inside runs f for whoever has opened the pages, in a transaction that run begins.
// With an answer that is not nil nothing is left to do.
func (s *Server) inside(c echo.Context, run func(context.Context, string, func(*store.Tx) error) error,
	f func(context.Context, *ownView) error) (answered bool, err error) {
	door, err := s.door(c)
	if is(err, scheduling.ErrNotFound) {
		return true, closedOwn(c)
	}
	if err != nil {
		return true, sorry(c, err)
	}
	return s.insideOf(c, door, run, f)
}

var errUnreadableForm = newProblem(http.StatusBadRequest, "unreadable", "the form could not be read: go back and try once more")

// insideOf is inside for pages that were found to be open.
func (s *Server) insideOf(c echo.Context, door store.OwnPages, run func(context.Context, string, func(*store.Tx) error) error,
	f func(context.Context, *ownView) error) (answered bool, err error) {
	hit(c)
	if err := s.within(c, store.Principal{Salon: door.Salon, TokenID: "own " + door.Client}); err != nil {
		return true, sorry(c, err)
	}
	form, err := c.FormParams()
	if err != nil {
		return true, sorry(c, errUnreadableForm)
	}
	form, query := keepable(form), keepable(c.QueryParams())
	ctx := withPrincipal(c.Request().Context(), store.Principal{Salon: door.Salon, Role: clientRole, TokenID: "own " + door.Client})
	shut := false
	err = run(ctx, door.Salon, func(t *store.Tx) error {
		v, err := s.ownView(ctx, t, door)
		if shut = is(err, scheduling.ErrNotFound); err != nil {
			return err
		}
		v.id, v.form, v.query = c.Param("id"), form, query
		return f(ctx, v)
	})
	if shut {
		return true, closedOwn(c)
	}
	if err == nil || problem(ctx, err).Status < http.StatusInternalServerError {
		s.touchOwn(ctx, door)
		err = firstOf(err, s.keepOpen(c, door))
	}
	return false, err
}

// firstOf is the first error that there is.
func firstOf(list ...error) error {
	for _, err := range list {
		if err != nil {
			return err
		}
	}
	return nil
}

// closedOwn answers whose pages are open no more, or never were.
func closedOwn(c echo.Context) error {
	return message(c, http.StatusUnauthorized, "Your pages are closed", "Open the link in our last message to you once more, or ask the salon for a new one.")
}

// noSuchOwn is the one answer to an address that is not this client's.
func noSuchOwn(c echo.Context) error {
	return message(c, http.StatusNotFound, "There is no such page", "It may be over, or not be yours.", yourVisits)
}

// yourVisits is the way back to the first of a client's own pages.
var yourVisits = pages.Way{Href: "/own", Text: "Your visits"}

// ofClient reports whether an address is one of a client's own pages.
func ofClient(path string) bool { return path == "/own" || strings.HasPrefix(path, "/own/") }

// ownGet answers with a page.
func (s *Server) ownGet(page ownPage) echo.HandlerFunc {
	return func(c echo.Context) error {
		var out pages.OwnPage
		answered, err := s.inside(c, s.store.Read, func(ctx context.Context, v *ownView) (err error) {
			out, err = page(ctx, v)
			return err
		})
		if answered {
			return err
		}
		return ownAnswer(c, http.StatusOK, out, err)
	}
}

// touchOwn notes that the link of the open pages is used, when that was noted too long
// ago. That it could not be noted hinders nobody.
func (s *Server) touchOwn(ctx context.Context, door store.OwnPages) {
	if door.Link == "" || !door.Unnoted {
		return
	}
	_ = s.store.InTx(ctx, door.Salon, func(t *store.Tx) error { return t.TouchOwnLink(ctx, door.Link, s.now()) })
}

// ownPost carries out a form. What was refused comes back with the page that it
// came from and everything that was typed.
func (s *Server) ownPost(act ownAct, page ownPage) echo.HandlerFunc {
	return func(c echo.Context) error {
		door, err := s.door(c)
		if is(err, scheduling.ErrNotFound) {
			return closedOwn(c)
		}
		if err != nil {
			return sorry(c, err)
		}
		if wait := s.tooManyActs(c, door.Salon+" "+door.Client); wait > 0 {
			return enoughActs(c, wait)
		}
		to := ""
		answered, err := s.insideOf(c, door, s.store.InTx, func(ctx context.Context, v *ownView) (err error) {
			to, err = act(ctx, v)
			return err
		})
		if answered {
			return err
		}
		if err == nil {
			return c.Redirect(http.StatusSeeOther, to)
		}
		p := problem(c.Request().Context(), err)
		if is(err, scheduling.ErrNotFound) || p.Status >= http.StatusInternalServerError {
			return ownAnswer(c, 0, pages.OwnPage{}, err)
		}
		var out pages.OwnPage
		answered, err = s.inside(c, s.store.Read, func(ctx context.Context, v *ownView) (err error) {
			v.wrong = v.refused(p)
			out, err = page(ctx, v)
			return err
		})
		if answered {
			return err
		}
		return ownAnswer(c, p.Status, out, err)
	}
}

func ownAnswer(c echo.Context, status int, page pages.OwnPage, err error) error {
	if is(err, scheduling.ErrNotFound) {
		return noSuchOwn(c)
	}
	if err != nil {
		return sorry(c, err)
	}
	var b bytes.Buffer
	if err := pages.RenderOwn(&b, page); err != nil {
		return sorry(c, err)
	}
	c.Response().Header().Set("X-Robots-Tag", "noindex, nofollow")
	return c.Blob(status, echo.MIMETextHTMLCharsetUTF8, b.Bytes())
}

// leaveOwn closes the pages, here and wherever else they are open.
func (s *Server) leaveOwn(c echo.Context) error {
	door, err := s.door(c)
	if err == nil {
		ctx := c.Request().Context()
		err = s.store.InTx(ctx, door.Salon, func(t *store.Tx) error { return t.CloseOwnPages(ctx, door.Client, false, s.now()) })
	}
	if err != nil && !is(err, scheduling.ErrNotFound) {
		return sorry(c, err)
	}
	s.setOwnCookie(c, "", 0)
	return message(c, http.StatusOK, "Your pages are closed", "The link in our last message opens them again.")
}

// field is a value of the form, or of the address where no form was sent.
func (v *ownView) field(name string) string {
	if v.form.Has(name) {
		return v.form.Get(name)
	}
	return v.query.Get(name)
}

// visit is one of the client's own; one of somebody else is as if it were not there.
func (v *ownView) visit(ctx context.Context) (store.Visit, error) {
	x, err := v.t.VisitByID(ctx, v.id)
	if err == nil && x.Client != v.client.ID {
		err = scheduling.ErrNotFound
	}
	return x, err
}

// locked is the same, for a change.
func (v *ownView) locked(ctx context.Context) (store.Visit, error) {
	if _, err := v.visit(ctx); err != nil {
		return store.Visit{}, err
	}
	return v.t.LockVisit(ctx, v.id, 0)
}

// doneCodes are the words that a page may say of what has just been done.
var doneCodes = []string{"yes", "moved", "cancelled", "asked", "booked", "ended", "saved"}

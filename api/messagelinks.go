package api

import (
	"bytes"
	"context"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// messagePath is where the links in messages lead to.
const messagePath = "/m/"

// linkLife is how long the link in a message can stop messages and lead to the
// client's own pages, from when it was sent (judgement: a year and a month). Its yes ends
// with the visit's start.
const linkLife = 400 * 24 * time.Hour

// oneClick is what the mail program of somebody who presses "unsubscribe" sends, as
// a form (RFC 8058 3.1).
const (
	oneClickField = "List-Unsubscribe"
	oneClickValue = "One-Click"
)

// What can be stopped on a page.
const (
	stopTopic = "like"
	stopWay   = "way"
)

// mountMessageLinks adds the pages behind the links in messages. No cookie or header
// says who asks: whoever has the link may do what is on its page, so that requests
// from other sites' pages need no refusal, but for the one that opens the client's own
// pages in the browser. What only reads changes nothing, since
// programs that scan mails open every link.
func (s *Server) mountMessageLinks() {
	around := []echo.MiddlewareFunc{answerHeaders, limitForm, s.slowGuessing}
	s.echo.Match([]string{http.MethodGet, http.MethodHead}, messagePath+":link", s.answerPage, around...)
	s.echo.Match([]string{http.MethodGet, http.MethodHead}, messagePath+":link/:what", s.answerPage, around...)
	// A form and no link: a program that scans mails, which opens every link, is given
	// no cookie and reads nothing of what is hers.
	s.echo.POST(messagePath+":link/own", s.ownFromMessage, around...)
	for what, h := range map[string]echo.HandlerFunc{"stop": s.stopMessages, "again": s.wantAgain, "yes": s.sayYes} {
		s.echo.POST(messagePath+":link/"+what, h, around...)
	}
}

func answerHeaders(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		c.Response().Header().Set("Content-Security-Policy", pages.ContentSecurityPolicy)
		c.Response().Header().Set("X-Robots-Tag", "noindex, nofollow")
		return next(c)
	}
}

// withLink runs f for the message of the request's link, in a transaction of its
// salon, and answers with the page that shows what is so then.
func (s *Server) withLink(c echo.Context, f func(context.Context, *store.Tx, *linked) (done string, err error)) error {
	ctx, secret := c.Request().Context(), c.Param("link")
	if !couldBeSecret(secret) {
		return noSuchLink(c)
	}
	salon, id, err := s.store.LinkedMessage(ctx, secret)
	if is(err, scheduling.ErrNotFound) {
		return noSuchLink(c)
	}
	if err != nil {
		return sorry(c, err)
	}
	hit(c)
	if err := s.within(c, store.Principal{Salon: salon, TokenID: "message " + id}); err != nil {
		return sorry(c, err)
	}
	if f != nil {
		if wait := s.ownActs.begin(s.now(), counted{salon + " message " + id, ownActsAllowed}); wait > 0 {
			return enoughActs(c, wait)
		}
	}
	var page pages.AnswerPage
	run := s.store.InTx
	if f == nil {
		run = s.store.Read
	}
	err = run(ctx, salon, func(t *store.Tx) error {
		done := ""
		l, err := s.readLinked(ctx, t, id)
		if err == nil && f != nil {
			if done, err = f(ctx, t, l); err == nil {
				l, err = s.readLinked(ctx, t, id)
			}
		}
		if err != nil {
			return err
		}
		page = s.describeLinked(l, messagePath+secret, done)
		return nil
	})
	if is(err, scheduling.ErrNotFound) {
		return noSuchLink(c)
	}
	if err != nil {
		return sorry(c, err)
	}
	return renderAnswer(c, page)
}

// ownFromMessage opens the client's own pages, as long as they are for whoever the
// message was sent to.
func (s *Server) ownFromMessage(c echo.Context) error {
	if fromElsewhere(c.Request()) {
		return pressedElsewhere(c)
	}
	ctx, secret := c.Request().Context(), c.Param("link")
	if !couldBeSecret(secret) {
		return noSuchLink(c)
	}
	salon, id, err := s.store.LinkedMessage(ctx, secret)
	to := ""
	if err == nil {
		hit(c)
		err = s.within(c, store.Principal{Salon: salon, TokenID: "message " + id})
	}
	if err == nil {
		door := store.OwnPages{Salon: salon, Message: id, Begun: s.now()}
		err = s.store.Read(ctx, salon, func(t *store.Tx) error {
			l, err := s.readLinked(ctx, t, id)
			if err == nil && !l.own {
				err = scheduling.ErrNotFound
			}
			if err != nil {
				return err
			}
			to, door.Client, door.Sent, door.Guardian = l.leadsTo(), l.visit.Client, l.sent, l.guardian
			return nil
		})
		if err == nil {
			err = s.enter(c, door)
		}
	}
	if is(err, scheduling.ErrNotFound) {
		return noSuchLink(c)
	}
	if err != nil {
		return sorry(c, err)
	}
	return c.Redirect(http.StatusSeeOther, to)
}

func renderAnswer(c echo.Context, page pages.AnswerPage) error {
	var b bytes.Buffer
	if err := pages.RenderAnswer(&b, page); err != nil {
		return err
	}
	return c.Blob(http.StatusOK, echo.MIMETextHTMLCharsetUTF8, b.Bytes())
}

// noSuchLink is the one answer to every link that does nothing.
func noSuchLink(c echo.Context) error {
	if miss(c) {
		return tooManyMissed(c)
	}
	return message(c, http.StatusNotFound, "This link does not work", "It may be too old, or not have been copied as a whole. Please call the salon.")
}

func (s *Server) answerPage(c echo.Context) error {
	return s.withLink(c, nil)
}

// stopMessages stops what the page's button names, or at the press of a mail
// program's button messages like the one that it stands beside.
func (s *Server) stopMessages(c echo.Context) error {
	what, how := c.FormValue("what"), "page"
	if c.FormValue(oneClickField) == oneClickValue {
		what, how = stopTopic, "one_click"
	}
	return s.choose(c, what, how, false, "Stopped. You get no more of these messages.")
}

func (s *Server) wantAgain(c echo.Context) error {
	return s.choose(c, c.FormValue("what"), "page", true, "You get these messages again.")
}

// choose notes whether what is wanted. Once more is as good as once.
func (s *Server) choose(c echo.Context, what, how string, wanted bool, done string) error {
	return s.withLink(c, func(ctx context.Context, t *store.Tx, l *linked) (string, error) {
		list := l.about(what)
		for i := range list {
			list[i].How, list[i].Wanted, list[i].At = how, &wanted, s.now()
		}
		if len(list) == 0 {
			return "Nothing was changed: please press one of the buttons.", nil
		}
		_, err := t.NoteMessageChoices(ctx, l.visit.Client, list)
		return done, err
	})
}

// sayYes notes that the client comes, at the start that the page has shown.
func (s *Server) sayYes(c echo.Context) error {
	shown, err := time.Parse(time.RFC3339, c.FormValue("start"))
	return s.withLink(c, func(ctx context.Context, t *store.Tx, l *linked) (string, error) {
		v, lockErr := t.LockVisit(ctx, l.visit.ID, 0)
		switch {
		case lockErr != nil:
			return "", lockErr
		case s.cannotAnswer(v) != "":
			return "Nothing was changed.", nil
		case err != nil || !shown.Equal(v.Start):
			return "The visit has another time now. Please look at it and press the button again.", nil
		}
		err := s.saysYes(ctx, t, &v, "page", "")
		return "Thank you, we look forward to seeing you.", err
	})
}

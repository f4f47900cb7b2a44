package api

import (
	"context"
	"log/slog"
	"net/http"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/api/passwords"
	"chairblock/scheduling"
	"chairblock/store"
)

// PasswordFor is whose password a link sets.
type PasswordFor struct {
	Salon string // its name
	Name  string
	Login string // empty while she has named no mail address
	// Ends is that the link takes her second step away.
	Ends bool
}

// openLink asks for the press that opens a session, or for a password to be chosen.
// It changes nothing.
func (s *Server) openLink(c echo.Context) error {
	secret := c.Param("link")
	link, err := s.linked(c, secret)
	switch {
	case err != nil:
		return deadLink(c, err)
	case link.Account != "" && s.doors.Password == nil:
		return deadLink(c, scheduling.ErrNotFound)
	case link.Account != "":
		return s.doors.Password(c, secret, PasswordFor{link.SalonName, link.Name, link.Login, link.Ends && link.Factor})
	}
	return pressPage(c, "Sign in", "This link signs this browser in to "+link.SalonName+", once.", "/open/"+secret+"/enter", "Sign in here")
}

// enterByLink signs the browser in by a link for a session, and uses it up. That it was
// opened does neither: programs that show a preview of links open them, and so can
// another site's page.
func (s *Server) enterByLink(c echo.Context) error {
	secret := c.Param("link")
	link, err := s.linked(c, secret)
	if err == nil && link.Account != "" {
		err = scheduling.ErrNotFound
	}
	if err != nil {
		return deadLink(c, err)
	}
	b := store.BrowserSession{Role: link.Role, Staff: link.Staff, Kind: store.OwnMachine}
	life, begin := byLink, "/"
	if link.Staff != "" && !atDesk([]store.Role{link.Role}) {
		b.Kind, life, begin = store.OwnPhone, ownPhone, "/my-day"
	}
	err = s.enterBrowser(c, link.Salon, b, life, func(ctx context.Context, t *store.Tx) error { return t.UseLink(ctx, secret, s.now()) })
	if err != nil {
		return deadLink(c, err)
	}
	slog.InfoContext(c.Request().Context(), "signed in", "salon", link.Salon, "role", link.Role, "staff", link.Staff, "kind", b.Kind)
	return c.Redirect(http.StatusSeeOther, begin)
}

// pressPage answers with a page of one button.
func pressPage(c echo.Context, title, text, action, button string) error {
	c.Response().Header().Set(echo.HeaderContentType, echo.MIMETextHTMLCharsetUTF8)
	return pages.RenderPress(c.Response(), title, text, action, button)
}

// Login is a mail address as it is kept to sign in with, or a
// *scheduling.InvalidError about field. Empty stays empty.
func Login(field, mail string) (string, error) {
	var f scheduling.Faults
	out := foldMail(address(&f, field, mail))
	if len(f) > 0 {
		return "", f[0]
	}
	return out, nil
}

// linked is what a link is for, or scheduling.ErrNotFound.
func (s *Server) linked(c echo.Context, secret string) (store.Link, error) {
	if !couldBeSecret(secret) {
		miss(c)
		return store.Link{}, scheduling.ErrNotFound
	}
	link, err := s.store.LinkBySecret(c.Request().Context(), secret, s.now())
	switch {
	case is(err, scheduling.ErrNotFound):
		miss(c)
	case err == nil:
		hit(c)
	}
	return link, err
}

func deadLink(c echo.Context, err error) error {
	if !is(err, scheduling.ErrNotFound) {
		return sorry(c, err)
	}
	if c.Get(doubtful) == true {
		return tooManyMissed(c)
	}
	return message(c, http.StatusNotFound, "This link does not work any more", "It was used before, or its time is over. Ask for a new one.")
}

// NewPassword is what somebody types to choose a password.
type NewPassword struct {
	Mail            string // counts while she has named none
	Password, Again string
	Phone           bool
}

// ChoosePassword sets the password of a link's account, uses up the link and signs
// the browser in. Errors are scheduling.ErrNotFound for a link that does not work any
// more, and scheduling.Faults about fields.
func (s *Server) ChoosePassword(c echo.Context, secret string, n NewPassword) (PasswordFor, Entered, error) {
	ctx := c.Request().Context()
	link, err := s.linked(c, secret)
	of := PasswordFor{link.SalonName, link.Name, link.Login, link.Ends && link.Factor}
	if err != nil {
		return of, Entered{}, err
	}
	if link.Account == "" {
		return of, Entered{}, scheduling.ErrNotFound
	}
	login := link.Login
	var f scheduling.Faults
	if login == "" {
		if login = foldMail(address(&f, "mail", n.Mail)); login == "" {
			f.Add("mail", "is missing", "the mail address with which you want to sign in")
		}
	}
	checkNew(&f, n, login, link.SalonName)
	if err := f.Err(); err != nil {
		return of, Entered{}, err
	}
	hash, err := s.hasher.Hash(ctx, n.Password)
	if err != nil {
		return of, Entered{}, err
	}
	kind := SignInForm{Phone: n.Phone}.kind()
	set := func(ctx context.Context, t *store.Tx) error {
		if err := t.UseLink(ctx, secret, s.now()); err != nil {
			return err
		}
		if of.Ends {
			if err := t.EndFactor(ctx, link.Account); err != nil && !is(err, scheduling.ErrNotFound) {
				return err
			}
		}
		return t.SetPassword(ctx, link.Account, login, hash, "")
	}
	var in Entered
	if link.Factor && !link.Ends { // which whoever opened the link has to take, too
		in.Second = true
		if err = s.store.InTx(ctx, link.Salon, func(t *store.Tx) error { return set(ctx, t) }); err == nil {
			err = s.awaitCode(c, link.Salon, link.Account, hash, kind)
		}
	} else {
		in, err = s.enterAccount(c, link.Salon, link.Account, kind, set)
	}
	if err == nil {
		slog.InfoContext(ctx, "password set by a link", "salon", link.Salon, "account", link.Account, "second_step_taken_away", of.Ends)
	}
	return of, in, err
}

// checkNew notes what is wrong with a new password.
func checkNew(f *scheduling.Faults, n NewPassword, login, salon string) {
	if err := passwords.Check("password", n.Password, login, salon); err != nil {
		_ = f.Join("", err) // nothing but a fault
		return
	}
	if n.Password != n.Again {
		f.Add("again", "is not the same as above", "the password once more")
	}
}

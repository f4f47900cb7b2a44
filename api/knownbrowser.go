package api

import (
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"
)

// How long a browser remembers who has signed in in it, and how many at most
// (judgement: half a year, and the people of one desk).
const (
	knownFor    = 180 * 24 * time.Hour
	knownPeople = 8
)

// knownBrowser is what a browser keeps of those who have signed in in it with a
// password: that strangers try passwords elsewhere does not lock them out here, and
// what they typed here before they were signed out is theirs. It opens nothing by
// itself.
type knownBrowser struct {
	ID     string           `json:"i"` // of the browser, chosen at random
	People []signedInBefore `json:"p"` // who signed in last comes first
}

type signedInBefore struct {
	Account string `json:"a"`
	Mail    string `json:"m"` // a tag of it
	Last    int64  `json:"t"` // when she signed in, in seconds
}

const knownPurpose = "known browser"

func (s *Server) knownCookie() string {
	if s.secure() {
		return "__Host-known"
	}
	return "chairblock-known"
}

// known reads what a browser keeps of those who have signed in in it; nothing of a
// browser that keeps nothing that we have written.
func (s *Server) known(c echo.Context) (k knownBrowser) {
	cookie, err := c.Cookie(s.knownCookie())
	if err != nil || len(cookie.Value) > 4096 {
		return k
	}
	if s.seal.open(c.Request().Context(), knownPurpose, cookie.Value, &k) != nil {
		return knownBrowser{}
	}
	k.People = slices.DeleteFunc(k.People, func(p signedInBefore) bool { return s.now().Sub(time.Unix(p.Last, 0)) > knownFor })
	return k
}

// knows lets a browser remember that somebody has signed in in it. That it could not
// hinders nobody.
func (s *Server) knows(c echo.Context, account, mail string) {
	ctx := c.Request().Context()
	tag, err := s.seal.tag(ctx, foldMail(mail))
	if err != nil {
		return
	}
	k := s.known(c)
	if k.ID == "" {
		k.ID = randomName()
	}
	k.People = slices.DeleteFunc(k.People, func(p signedInBefore) bool { return p.Account == account })
	k.People = append([]signedInBefore{{account, tag, s.now().Unix()}}, k.People...)
	k.People = k.People[:min(len(k.People), knownPeople)]
	value, err := s.seal.close(ctx, knownPurpose, k)
	if err != nil {
		return
	}
	c.SetCookie(&http.Cookie{Name: s.knownCookie(), Value: value, Path: "/", HttpOnly: true, Secure: s.secure(), SameSite: http.SameSiteLaxMode,
		MaxAge: int(knownFor / time.Second)})
}

// knownAs is what a browser keeps, with those alone who signed in in it with a mail
// address.
func (s *Server) knownAs(c echo.Context, mail string) knownBrowser {
	k := s.known(c)
	tag, err := s.seal.tag(c.Request().Context(), foldMail(mail))
	k.People = slices.DeleteFunc(k.People, func(p signedInBefore) bool { return err != nil || p.Mail != tag })
	return k
}

// keyOf is under what wrong passwords to an account are counted that are typed in
// this browser, "" where its person never signed in in it.
func (k knownBrowser) keyOf(account string) string {
	if !slices.ContainsFunc(k.People, func(p signedInBefore) bool { return p.Account == account }) {
		return ""
	}
	return "browser:" + k.ID + " " + account
}

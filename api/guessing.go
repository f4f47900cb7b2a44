package api

import (
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
)

// missed is set in a request that named a link that does nothing, doubtful in one from
// an address that has named too many of them, and turnBack gives back what such a one
// holds.
const (
	missed   = "link missed"
	doubtful = "link doubtful"
	turnBack = "link turn"
)

// How many such links one address may name in a minute before it is doubtful
// (judgement). Guessing is hopeless with 128 bits; this only keeps the database from
// being asked too often.
const (
	missesWithin  = time.Minute
	missesAllowed = 30
)

// doubtfulAtOnce is how many requests of doubtful addresses are looked at at the same
// time, until what they name was found or not, and doubtfulPatience how long one waits
// for its turn: whoever knows a link is answered although others behind the same address
// guess, and those who guess hold no more than two connections of the database (judgement).
const (
	doubtfulAtOnce   = 2
	doubtfulPatience = 2 * time.Second
)

// sitesShare is how much more often than one household all of one site may do
// something: a site may be one household or many (judgement).
const sitesShare = 10

// network is what belongs to one household: an IPv4 address, or the first 64 bits of
// an IPv6 one (RFC 6177 2 gives a site at least that).
func network(address string) netip.Prefix { return networkOf(address, 64) }

// networkOf is an IPv4 address, or the first bits of an IPv6 one.
func networkOf(address string, bits int) netip.Prefix {
	a, err := netip.ParseAddr(address)
	if err != nil {
		return netip.Prefix{}
	}
	a = a.Unmap().WithZone("")
	p, _ := a.Prefix(min(a.BitLen(), bits)) // shorter than the address
	return p
}

// fromAddress is what is counted of an address: its household, and of IPv6 the site of
// that, which may be 65,536 households (RFC 6177 2: at most 48 bits are a site's).
func fromAddress(address string, most int) []counted {
	home := network(address)
	list := []counted{{"address:" + home.String(), most}}
	if home.IsValid() && home.Addr().Is6() {
		list = append(list, counted{"address:" + networkOf(address, 48).String(), most * sitesShare})
	}
	return list
}

// slowGuessing lets requests from an address that has named too many links that do
// nothing wait for each other. A form is read before, so that one that never comes holds
// nobody up.
func (s *Server) slowGuessing(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		from := fromAddress(c.RealIP(), missesAllowed)
		if s.misses.full(time.Now(), from...) > 0 {
			c.Set(doubtful, true)
			if r := c.Request(); !reads(r.Method) && !strings.HasPrefix(r.URL.Path, "/v1/") {
				if _, err := c.FormParams(); err != nil {
					return sorry(c, errUnreadableForm)
				}
			}
			turn := time.NewTimer(doubtfulPatience)
			defer turn.Stop()
			select {
			case s.doubtfulTurns <- struct{}{}:
				free := sync.OnceFunc(func() { <-s.doubtfulTurns })
				defer free()
				c.Set(turnBack, free)
			case <-turn.C:
				return tooManyMissed(c)
			case <-c.Request().Context().Done():
				return tooManyMissed(c)
			}
		}
		err := next(c)
		if c.Get(missed) == true {
			s.misses.begin(time.Now(), from...)
		}
		return err
	}
}

// hit notes that what a request named does something, or is no link: whatever takes long
// from then on holds up nobody else behind its address.
func hit(c echo.Context) {
	if free, ok := c.Get(turnBack).(func()); ok {
		free()
	}
}

// miss notes that a request named a link that does nothing, and reports whether its
// address has named too many: then it is answered so.
func miss(c echo.Context) (tooMany bool) {
	c.Set(missed, true)
	return c.Get(doubtful) == true
}

func tooManyMissed(c echo.Context) error {
	if strings.HasPrefix(c.Request().URL.Path, "/v1/") {
		p := newProblem(http.StatusTooManyRequests, "too-many-tries", "too many tokens that do nothing were sent from this address: wait a minute")
		p.retryAfter = int(missesWithin / time.Second)
		return p
	}
	c.Response().Header().Set("Retry-After", "60")
	c.Response().Header().Set("Content-Security-Policy", pages.ContentSecurityPolicy)
	return message(c, http.StatusTooManyRequests, "Please wait a minute", "Too many links that do not work were opened from here.")
}

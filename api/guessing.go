package api

import (
	"cmp"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
)

// missed is set in a request that named a link that does nothing.
const missed = "link missed"

// How many such links one address may name in a minute before it is answered
// without being looked at, and how many addresses are counted at most: beyond that
// all are counted anew (judgement). Guessing is hopeless with 128 bits; this only
// keeps the database from being asked.
const (
	missesAllowed   = 30
	addressesMissed = 10000
)

// missCounter counts requests for links that do nothing, by address, or others
// within another time. The zero value is ready.
type missCounter struct {
	within time.Duration // 0 is a minute
	mu     sync.Mutex
	since  time.Time
	by     map[netip.Prefix]int
}

// network is what belongs to one household: an IPv4 address, or the first 64 bits of
// an IPv6 one (RFC 6177 2 gives a site at least that).
func network(address string) netip.Prefix {
	a, err := netip.ParseAddr(address)
	if err != nil {
		return netip.Prefix{}
	}
	a = a.Unmap().WithZone("")
	p, _ := a.Prefix(min(a.BitLen(), 64)) // shorter than the address
	return p
}

// count adds n misses of an address and returns how many it has in this minute.
func (m *missCounter) count(address string, n int, now time.Time) int {
	m.mu.Lock()
	defer m.mu.Unlock()
	if since := now.Sub(m.since); m.by == nil || since >= cmp.Or(m.within, time.Minute) || since < 0 || len(m.by) >= addressesMissed {
		m.since, m.by = now, map[netip.Prefix]int{}
	}
	p := network(address)
	if n > 0 {
		m.by[p] += n
	}
	return m.by[p]
}

// slowGuessing refuses to look at links from an address that has named too many that
// do nothing.
func (s *Server) slowGuessing(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if s.misses.count(c.RealIP(), 0, time.Now()) >= missesAllowed {
			c.Response().Header().Set("Retry-After", "60")
			c.Response().Header().Set("Content-Security-Policy", pages.ContentSecurityPolicy)
			return message(c, http.StatusTooManyRequests, "Please wait a minute", "Too many links that do not work were opened from here.")
		}
		err := next(c)
		if c.Get(missed) == true {
			s.misses.count(c.RealIP(), 1, time.Now())
		}
		return err
	}
}

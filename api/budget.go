package api

import (
	"fmt"
	"math"
	"net/http"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/store"
)

// budgets say how much each token, link and account may still ask for. Each holds a minute's
// worth and is filled again evenly. The zero value limits nothing.
type budgets struct {
	perMinute int

	mu sync.Mutex
	by map[string]*budget
}

type budget struct {
	left float64
	at   time.Time
}

// LimitRequests sets how many requests a token, a link or an account may make in a minute, at
// this process; 0 is as many as it likes. Call it before the server is used.
func (s *Server) LimitRequests(perMinute int) { s.budgets.perMinute = perMinute }

// spend takes one request from a budget and returns how many are left, or how long to
// wait for the next.
func (b *budgets) spend(key string, now time.Time) (left int, wait time.Duration) {
	perSecond := float64(b.perMinute) / 60
	b.mu.Lock()
	defer b.mu.Unlock()
	x := b.by[key]
	if x == nil {
		if len(b.by) >= tallyRoom {
			b.forgetFull(now)
		}
		if b.by == nil {
			b.by = map[string]*budget{}
		}
		x = &budget{float64(b.perMinute), now}
		b.by[key] = x
	}
	// A clock that was set back must not let anybody wait until it is where it was.
	since := max(0, now.Sub(x.at).Seconds())
	x.left, x.at = min(float64(b.perMinute), x.left+since*perSecond), now
	if x.left < 1 {
		return 0, time.Duration((1 - x.left) / perSecond * float64(time.Second))
	}
	x.left--
	return int(x.left), 0
}

// forgetFull forgets those that are as good as new.
func (b *budgets) forgetFull(now time.Time) {
	for key, x := range b.by {
		if now.Sub(x.at).Abs() >= time.Minute {
			delete(b.by, key)
		}
	}
}

// within answers 429 for whoever has asked for too much, and says what is left. Only
// known tokens, links and accounts are counted, so that nobody else can fill the list.
func (s *Server) within(c echo.Context, p store.Principal) error {
	if s.budgets.perMinute <= 0 {
		return nil
	}
	left, wait := s.budgets.spend(p.Salon+" "+p.TokenID, s.now())
	h := c.Response().Header()
	h.Set("RateLimit-Policy", fmt.Sprintf(`"minute";q=%d;w=60`, s.budgets.perMinute)) // draft of the HTTP API working group
	seconds := int(math.Ceil(wait.Seconds()))
	h.Set("RateLimit", fmt.Sprintf(`"minute";r=%d;t=%d`, left, seconds))
	if wait == 0 {
		return nil
	}
	pr := newProblem(http.StatusTooManyRequests, "too-many-requests",
		fmt.Sprintf("more than %d requests were made within a minute with this token, link or account: wait %d s", s.budgets.perMinute, seconds))
	pr.retryAfter = seconds
	return pr
}

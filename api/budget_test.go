package api_test

import (
	"fmt"
	"net/http"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

func TestATokenThatAsksTooOftenWaitsAndOthersDoNot(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	s.server.LimitRequests(60)
	desk, other := s.as(store.Desk), s.as(store.Desk)
	for left := 59; left >= 0; left-- {
		a := desk.call("GET", "/v1/salon", nil).is(200, nil)
		require.Equal(t, fmt.Sprintf(`"minute";r=%d;t=0`, left), a.header.Get("RateLimit"))
		require.Equal(t, `"minute";q=60;w=60`, a.header.Get("RateLimit-Policy"))
	}
	a := desk.call("GET", "/v1/salon", nil)
	a.refused(429, "too-many-requests")
	require.Equal(t, "application/problem+json", a.header.Get("Content-Type"))
	require.Equal(t, "1", a.header.Get("Retry-After"))
	other.call("GET", "/v1/salon", nil).is(200, nil)
	s.sue()
	_, hers := s.signsIn("")
	for range 60 {
		s.call("GET", "/v1/salon", nil, hers...).is(200, nil)
	}
	_, again := s.signsIn("")
	s.call("GET", "/v1/salon", nil, again...).refused(429, "too-many-requests") // it is the account that is counted
	s.at(start.Add(time.Second))
	desk.call("GET", "/v1/salon", nil).is(200, nil)
	desk.call("GET", "/v1/salon", nil).refused(429, "too-many-requests")
	s.at(start.Add(time.Hour))
	for range 60 {
		desk.call("GET", "/v1/salon", nil).is(200, nil)
	}
	desk.call("GET", "/v1/salon", nil).refused(429, "too-many-requests")
	s.at(start.Add(-time.Hour)) // the clock is set back
	desk.call("GET", "/v1/salon", nil).refused(429, "too-many-requests")
	s.at(start.Add(time.Second - time.Hour))
	desk.call("GET", "/v1/salon", nil).is(200, nil)
}

func TestWhoGuessesTokensIsToldToWait(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	guess := func(i int) answer {
		return s.call("GET", "/v1/salon", nil, "Authorization", fmt.Sprintf("Bearer b_aaaaaaaaaa_%043d", i))
	}
	for i := range 30 {
		guess(i).refused(401, "unauthorized")
	}
	a := guess(30)
	a.refused(429, "too-many-tries")
	wait, err := strconv.Atoi(a.header.Get("Retry-After"))
	require.NoError(t, err)
	require.Positive(t, wait)
	s.call("GET", "/v1/salon", nil).is(http.StatusOK, nil) // who has one is let in from there
}

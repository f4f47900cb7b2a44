package api

import (
	"context"
	"net/http"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/metrics"
	"chairblock/store"
)

// levelsKept is how long a number read from the database is given out, however
// often somebody asks (judgement).
const levelsKept = 15 * time.Second

// Metrics answers with what this process has counted, in the text format of
// Prometheus. It is not for the outside: it stands on no route of the service.
func (s *Server) Metrics() http.Handler { return s.metrics.Handler() }

// count makes the counters and has the store tell of what happens.
func (s *Server) count() {
	s.metrics = metrics.New()
	if s.store != nil { // without one there is only a description
		s.store.Observe(func(what store.Happening, n int) { s.metrics.Happened(string(what), n) })
	}
	pool := func(f func(store.PoolStat) float64) func() float64 {
		return func() float64 { return f(s.store.PoolStat()) }
	}
	m := s.metrics
	m.Level("listeners", "Streams of changes that are open.", func() float64 { return float64(s.Listening()) })
	m.Level("connections_taken", "Connections to the database in use.", pool(func(p store.PoolStat) float64 { return float64(p.Taken) }))
	m.Level("connections_idle", "Connections to the database at rest.", pool(func(p store.PoolStat) float64 { return float64(p.Idle) }))
	m.Level("connections_most", "Connections to the database that there may be.", pool(func(p store.PoolStat) float64 { return float64(p.Most) }))
	m.Level("connection_waits", "How often somebody had to wait for a connection, since the start.", pool(func(p store.PoolStat) float64 { return float64(p.Waits) }))
	m.Level("connection_wait_seconds", "How long in all.", pool(func(p store.PoolStat) float64 { return p.Waited.Seconds() }))
	queue := s.waitingMessages()
	m.Level("messages_due", "Messages that are due and that nobody has taken yet.", func() float64 { due, _ := queue(); return due })
	m.Level("messages_again", "Messages that wait for another try.", func() float64 { _, again := queue(); return again })
}

// waitingMessages asks the database, not too often. What cannot be read counts as -1.
func (s *Server) waitingMessages() func() (due, again float64) {
	var mu sync.Mutex
	var asked time.Time
	due, again := -1.0, -1.0
	return func() (float64, float64) {
		mu.Lock()
		defer mu.Unlock()
		if time.Since(asked) < levelsKept {
			return due, again
		}
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		d, a, err := s.store.WaitingJobs(ctx, store.QueueMessages)
		due, again, asked = float64(d), float64(a), time.Now()
		if err != nil {
			due, again = -1, -1
		}
		return due, again
	}
}

// counted counts answers by the pattern of their route.
func (s *Server) counted(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		begun := time.Now()
		err := next(c)
		if err != nil {
			c.Error(err) // writes the answer, so that its status is known
		}
		took := time.Since(begun)
		if streaming(c.Request()) {
			took = -1
		}
		s.metrics.Request(c.Path(), c.Request().Method, c.Response().Status, took)
		return nil
	}
}

// countFeed counts the reading of a calendar link.
func (s *Server) countFeed(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		err := next(c)
		switch status := c.Response().Status; {
		case err != nil || status >= http.StatusBadRequest:
			s.metrics.FeedRead("unknown")
		case status == http.StatusNotModified:
			s.metrics.FeedRead("unchanged")
		default:
			s.metrics.FeedRead("whole")
		}
		return err
	}
}

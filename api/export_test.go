package api

import (
	"context"
	"fmt"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// Change is a change of visits for tests.
type Change struct {
	ID      string
	Version int64
	Start   time.Time
	Book    *VisitRequest
	// Like names a visit whose schedule is carried out so many minutes later.
	Like  string
	Later int
	// ApprovedBy is who said yes to what needs it.
	ApprovedBy string
}

// Rearrange carries out changes in one transaction of a salon.
func (s *Server) Rearrange(ctx context.Context, salon string, list []Change) ([]store.Visit, error) {
	var out []store.Visit
	err := s.store.InTx(ctx, salon, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		var changes []change
		for _, x := range list {
			c := change{approvedBy: x.ApprovedBy, id: x.ID, version: x.Version, start: x.Start, book: x.Book}
			if x.Like != "" {
				if c.exact, err = exactlyLike(ctx, t, n, x.Like, x.Later); err != nil {
					return err
				}
			}
			changes = append(changes, c)
		}
		out, err = s.rearrange(ctx, t, n, changes)
		return err
	})
	return out, err
}

func exactlyLike(ctx context.Context, t *store.Tx, n salonDay, visit string, by int) (*exact, error) {
	v, err := t.VisitByID(ctx, visit)
	if err != nil {
		return nil, err
	}
	c, err := recompose(ctx, t, v, newLead{})
	if err != nil {
		return nil, err
	}
	d := scheduling.CivilDate(v.Start, n.loc)
	h := around(n.loc, d.Add(-2), d) // another horizon than that of the change
	sch, ok := scheduleOf(c.plan, v, h)
	if !ok {
		return nil, fmt.Errorf("visit %s has no schedule", visit)
	}
	return &exact{h: h, sch: later(sch, openings.Minute(by))}, nil
}

// TakeLetter keeps what a mail answers.
func (s *Server) TakeLetter(ctx context.Context, l notify.Letter, problem error) error {
	return s.takeLetter(ctx, l, problem)
}

// Answers counts the answers that are looked at in calendars.
func Answers(calendars [][]byte) int { return len(answersIn(calendars)) }

// PingEvery sets how long streams are silent. Call it before anybody listens.
func (s *Server) PingEvery(d time.Duration) { s.pingEvery = d }

// Foresee replaces what works out how a day goes on.
func (s *Server) Foresee(f func(delays.Day) (delays.DayProjection, error)) { s.project = f }

// BodyTimes is how long the framework lets each operation with a body read it; less
// than nothing is no limit of its own.
func (s *Server) BodyTimes() map[string]time.Duration {
	out := map[string]time.Duration{}
	for _, path := range s.api.OpenAPI().Paths {
		for _, op := range []*huma.Operation{path.Post, path.Put, path.Patch, path.Delete} {
			if op != nil && op.RequestBody != nil {
				out[op.OperationID] = op.BodyReadTimeout
			}
		}
	}
	return out
}

// HandlerLimit is how long an answer may take.
const HandlerLimit = handlerLimit

// KnownSchemas is how many types the servers of this process have described.
func KnownSchemas() int {
	schemas.Lock()
	defer schemas.Unlock()
	return len(schemas.known.Map())
}

// KeepNothing has every answer worked out anew. Call it before the server is used.
func (s *Server) KeepNothing() { s.days.most, s.views.most = 0, 0 }

// WhoWaitForADay is how many have the turn to read a day for a board, or wait for it.
func (s *Server) WhoWaitForADay() int {
	s.views.mu.Lock()
	defer s.views.mu.Unlock()
	n := 0
	for _, x := range s.views.turns {
		n += x.users
	}
	return n
}

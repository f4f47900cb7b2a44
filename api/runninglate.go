package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// LateTold is what a client is told of her visit's running late.
type LateTold struct {
	VisitID   string    `json:"visit_id"`
	Minutes   int       `json:"late_minutes" doc:"By how much the visit will begin late, as the day goes on now"`
	Start     time.Time `json:"start" doc:"When it will begin"`
	MessageID string    `json:"reminder_id" doc:"The message that says so"`
	Already   bool      `json:"already_told" doc:"She was told before, and it has not become much later since"`
}

type lateToldOutput struct{ Body LateTold }

func (s *Server) runningLateRoutes() {
	route(s, huma.Operation{OperationID: "tell-running-late", Method: http.MethodPost, Path: "/visits/{id}/tell-running-late",
		Summary: "Tell the client that her visit will begin late; once, until it is much later still", Errors: []int{http.StatusConflict}}, s.tellRunningLate)
}

func (s *Server) tellRunningLate(ctx context.Context, in *ByID) (*lateToldOutput, error) {
	var out lateToldOutput
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		v, err := t.LockVisit(ctx, in.ID, 0)
		if err != nil {
			return err
		}
		out.Body, err = s.tellLate(ctx, t, n, v)
		return err
	})
	return &out, err
}

// tellLate enqueues that a locked visit will begin late, unless its client has
// been told so, or there is nothing to tell.
func (s *Server) tellLate(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (LateTold, error) {
	out := LateTold{VisitID: v.ID}
	switch {
	case isKept(v):
		return out, nobodyComes()
	case v.State != store.Booked:
		return out, conflict("the visit is " + words(v.State))
	case v.Client == "":
		return out, conflict("nobody knows who the client is")
	case !v.Start.After(s.now()):
		return out, conflict("the visit was to begin at " + clockAt(n, v.Start) + ", and its client is not here")
	case n.today(v.Start) != n.today(s.now()):
		return out, conflict("the visit is on " + v.Start.In(n.loc).Format("Monday 2 January") + ": how late it will be shows on its day")
	}
	x, err := loadLate(ctx, t, n.today(s.now()), s.now())
	if err != nil {
		return out, err
	}
	start, ok, err := s.startOf(ctx, x, v.ID)
	if err != nil {
		return out, err
	}
	q, err := s.queueOf(ctx, t, n, v)
	if err != nil {
		return out, err
	}
	out.Start, out.Minutes = start, int(start.Sub(v.Start)/time.Minute)
	if told, last := q.toldLate(); ok && told != nil && (out.Minutes < last+q.rules.LateMinutes) {
		out.MessageID, out.Already, out.Minutes, out.Start = told.ID, true, last, v.Start.Add(time.Duration(last)*time.Minute).In(n.loc)
		return out, nil
	}
	if !ok || out.Minutes < q.rules.LateMinutes {
		return out, conflict(fmt.Sprintf("as the day goes on the visit begins less than %d minutes late: there is nothing to tell", q.rules.LateMinutes))
	}
	// Who has not read the last one reads the new one instead.
	if err := q.takeBack(ctx, func(r store.Reminder) bool { return r.Kind == string(notify.RunningLate) }); err != nil {
		return out, err
	}
	err = q.add(ctx, occasion{kind: notify.RunningLate, due: s.now(), reason: fmt.Sprintf("%d minutes late", out.Minutes),
		detail: occasionDetail{messageDetail: messageDetail{LateMinutes: out.Minutes, Starts: &start}}})
	out.MessageID = q.list[len(q.list)-1].ID
	return out, err
}

// startOf is when a visit of the day will begin as the day goes on, false when
// nothing can be said of it.
func (s *Server) startOf(ctx context.Context, x *lateDay, id string) (time.Time, bool, error) {
	i := slices.IndexFunc(x.visits, func(l *lateVisit) bool { return l.v.ID == id })
	if i < 0 {
		return time.Time{}, false, nil
	}
	p, err := s.foresee(ctx, x)
	if err != nil {
		return time.Time{}, false, err
	}
	return x.lateVisit(x.visits[i], p.Visits[i]).Start, true, nil
}

// toldLate is the last message that the visit is late which has gone out or still
// will, with the minutes that it says; nil when there is none.
func (q *queue) toldLate() (*store.Reminder, int) {
	for i := len(q.list) - 1; i >= 0; i-- {
		r := &q.list[i]
		switch {
		case r.Kind != string(notify.RunningLate), r.State == store.Withdrawn, r.State == store.Failed, r.State == store.NotWanted:
			continue
		}
		if d, err := readOccasion(*r); err == nil && d.Starts != nil && d.Starts.Add(-time.Duration(d.LateMinutes)*time.Minute).Equal(q.v.Start.Truncate(time.Microsecond)) {
			return r, d.LateMinutes
		}
	}
	return nil, 0
}

// TellLate tells the clients of a salon of whom it is the rule that their visits of
// today will begin late.
func (s *Server) TellLate(ctx context.Context, salon string) error {
	var late []string
	err := s.store.Read(ctx, salon, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		rules, err := messageRulesOf(n.row)
		if err != nil || !*rules.LateByItself {
			return err
		}
		x, err := loadLate(ctx, t, scheduling.CivilDate(s.now(), n.loc), s.now())
		if err != nil || len(x.visits) == 0 {
			return err
		}
		p, err := s.foresee(ctx, x)
		if err != nil {
			return nil // which the board says
		}
		for i, l := range x.visits {
			b := x.lateVisit(l, p.Visits[i])
			if l.v.State == store.Booked && l.v.Client != "" && l.v.Start.After(s.now()) && b.StartLateMinutes >= rules.LateMinutes {
				late = append(late, l.v.ID)
			}
		}
		return nil
	})
	for _, id := range late {
		if err != nil {
			return err
		}
		err = s.store.InTx(ctx, salon, func(t *store.Tx) error {
			n, err := loadSalon(ctx, t)
			if err != nil {
				return err
			}
			v, err := t.LockVisit(ctx, id, 0)
			if err != nil {
				return err
			}
			_, err = s.tellLate(ctx, t, n, v)
			if p, ok := errors.AsType[*Problem](err); ok && p.Status == http.StatusConflict {
				return nil // it has changed meanwhile
			}
			return err
		})
	}
	return err
}

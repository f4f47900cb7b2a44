package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// ReminderBody is a message that is due because of a visit.
type ReminderBody struct {
	ID      string     `json:"id"`
	VisitID string     `json:"visit_id"`
	Kind    string     `json:"kind" enum:"confirmation,moved,cancelled,reminder,aftercare,aftercare_end,retouch"`
	Due     time.Time  `json:"due_at"`
	State   string     `json:"state" enum:"waiting,sending,sent,to_call,withdrawn,not_wanted,failed" doc:"to_call: the client wishes a call or a text"`
	Done    *time.Time `json:"done_at,omitempty"`
	Problem string     `json:"problem,omitempty"`
}

type reminderQuery struct {
	From string `query:"first_date" format:"date" required:"true"`
	To   string `query:"last_date" format:"date" required:"true"`
}

func (s *Server) reminderRoutes() {
	route(s, huma.Operation{OperationID: "list-reminders", Method: http.MethodGet, Path: "/reminders", Summary: "Messages due on some days"}, s.listReminders)
}

func writeReminder(r store.Reminder, loc *time.Location) ReminderBody {
	return ReminderBody{r.ID, r.Visit, r.Kind, r.Due.In(loc), string(r.State), localTime(r.Done, loc), r.Problem}
}

func (s *Server) listReminders(ctx context.Context, in *reminderQuery) (*listBody[ReminderBody], error) {
	var f scheduling.Faults
	first, last := day(&f, "query.first_date", in.From), day(&f, "query.last_date", in.To)
	if len(f) == 0 && (last.Before(first) || last.Sub(first) > 400) {
		f.Add("query.last_date", "does not lie within 400 days from first_date", "first_date or a later day")
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	var rows []store.Reminder
	var loc *time.Location
	err := s.inTx(ctx, func(t *store.Tx) (err error) {
		if loc, err = zone(ctx, t); err != nil {
			return err
		}
		from, _ := scheduling.DayBounds(loc, first)
		_, to := scheduling.DayBounds(loc, last)
		rows, err = t.Reminders(ctx, from, to)
		return err
	})
	return listOf(rows, func(r store.Reminder) ReminderBody { return writeReminder(r, loc) }), err
}

// How long before a visit the client is reminded: two days, or one when it was
// booked later than that; not at all in the last hours (common practice).
const (
	remindBefore     = 48 * time.Hour
	remindBeforeLate = 24 * time.Hour
)

// retouchHour is when, on its day, the retouch message goes out.
const retouchHour = 10 * 60

// remind enqueues one message to the client of v, if the salon knows who that is.
func (s *Server) remind(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, kind string, due time.Time, before *time.Time) error {
	if v.Client == "" {
		return nil
	}
	_, err := t.AddReminder(ctx, store.Reminder{Visit: v.ID, Kind: kind, Due: due, Before: before,
		MessageID: notify.MessageID(n.row.Key, v.ID, notify.Kind(kind), int(v.Version), mailHost(n.row))})
	return err
}

// remindBooked enqueues what follows from booking a visit, or from moving it
// away from before.
func (s *Server) remindBooked(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, before *time.Time) error {
	kind := "confirmation"
	if before != nil {
		kind = "moved"
	}
	if err := s.remind(ctx, t, n, v, kind, s.now(), before); err != nil {
		return err
	}
	for _, before := range []time.Duration{remindBefore, remindBeforeLate} {
		if due := v.Start.Add(-before); due.After(s.now()) {
			return s.remind(ctx, t, n, v, "reminder", due, nil)
		}
	}
	return nil
}

// remindFinished enqueues aftercare at the real end, the end of the hours in
// which hair stays dry, and the retouch on the day when enough new hair is
// expected of hair that grows like g.
func (s *Server) remindFinished(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, g scheduling.Growth) error {
	if !needsAftercare(v) {
		return nil
	}
	for _, r := range n.careMessages(realEnd(v), g) {
		if err := s.remind(ctx, t, n, v, r.kind, r.due, nil); err != nil {
			return err
		}
	}
	return nil
}

package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// ReminderBody is a message that is due because of a visit.
type ReminderBody struct {
	ID      string     `json:"id"`
	VisitID string     `json:"visit_id"`
	Kind    string     `json:"kind" enum:"held,confirmation,prepare,reminder,moved,cancelled,running_late,aftercare,day_after,aftercare_end,first_wash,retouch,retouch_again,day_changed,client_late,did_not_come,helper_away,check_due,calendar_entry,address_changed" doc:"calendar_entry: the visit is taken out of a calendar that was invited and is not told of it any more; address_changed: an old address is told that messages go to another one"`
	StaffID string     `json:"staff_id,omitempty" doc:"To whom of the staff it goes; left out: to the client of the visit"`
	Due     time.Time  `json:"due_at"`
	State   string     `json:"state" enum:"waiting,sending,sent,to_call,withdrawn,not_wanted,failed" doc:"to_call: the client wishes a call or a text"`
	Done    *time.Time `json:"done_at,omitempty"`
	Problem string     `json:"problem,omitempty"`
}

type reminderQuery struct {
	From string `query:"first_date" format:"date" required:"true"`
	To   string `query:"last_date" format:"date" required:"true" doc:"At most the 30th day after first_date"`
}

func (s *Server) reminderRoutes() {
	route(s, huma.Operation{OperationID: "list-reminders", Method: http.MethodGet, Path: "/reminders", Summary: "Messages due on some days"}, s.listReminders)
}

func writeReminder(r store.Reminder, loc *time.Location) ReminderBody {
	return ReminderBody{r.ID, r.Visit, r.Kind, r.Staff, r.Due.In(loc), string(r.State), localTime(r.Done, loc), r.Problem}
}

func (s *Server) listReminders(ctx context.Context, in *reminderQuery) (*listBody[ReminderBody], error) {
	var f scheduling.Faults
	first, last := day(&f, "query.first_date", in.From), day(&f, "query.last_date", in.To)
	if len(f) == 0 && (last.Before(first) || last.Sub(first) > 30) {
		f.Add("query.last_date", "does not lie within the 31 days that begin with first_date", "first_date or one of the 30 days after it")
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

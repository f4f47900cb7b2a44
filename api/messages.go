package api

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// MessageBody is a message and what was tried to send it.
type MessageBody struct {
	ReminderBody
	Name      string        `json:"name,omitempty" doc:"Whom it is for: the client's first name and initial, or who of the staff; left out when nobody knows"`
	ClientID  string        `json:"client_id,omitempty" doc:"Of the visit"`
	Start     *time.Time    `json:"visit_start,omitempty" doc:"Of the visit that it is about"`
	MessageID string        `json:"message_id" doc:"Stands in the mail's header; a gateway for text messages gets an id made from it"`
	Reason    string        `json:"reason,omitempty" doc:"Why it was put in line"`
	Channel   string        `json:"channel,omitempty" enum:"mail,webhook" doc:"The way of the last try"`
	Tries     int           `json:"tries" doc:"How often it was tried since it was put in line"`
	Sending   *time.Time    `json:"sending_since,omitempty" doc:"Since when nobody can tell whether it has gone out"`
	Next      *time.Time    `json:"next_try_at,omitempty"`
	Attempts  []AttemptBody `json:"attempts" nullable:"false" doc:"All that were made, the oldest first"`
}

// AttemptBody is one time that a message was handed over.
type AttemptBody struct {
	Number  int        `json:"number"`
	Channel string     `json:"channel,omitempty" enum:"mail,webhook"`
	Started time.Time  `json:"started_at"`
	Ended   *time.Time `json:"ended_at,omitempty"`
	Outcome string     `json:"outcome,omitempty" enum:"accepted,refused,try_again,unknown" doc:"unknown: it may have been accepted; the next try carries the same id. Left out while it is under way"`
	Problem string     `json:"problem,omitempty"`
}

type messageQuery struct {
	State  string `query:"state" enum:"waiting,sending,sent,to_call,withdrawn,not_wanted,failed" doc:"Left out: those that failed or hang, which is whatever should have gone out some minutes ago; not those that failed and come too late by now"`
	From   string `query:"first_date" format:"date" doc:"Due on this day or later; left out: whenever"`
	To     string `query:"last_date" format:"date" doc:"Due on this day or earlier; left out: whenever"`
	Cursor string `query:"cursor" maxLength:"64" doc:"As in the Link header of the page before"`
	Limit  int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
}

type messagePage struct {
	Link string `header:"Link" doc:"The following page, if there is one"`
	Body struct {
		Items []MessageBody `json:"items" nullable:"false"`
	}
}

type againInput struct {
	ByID
	Repeatable
}

func (s *Server) messageRoutes() {
	route(s, huma.Operation{OperationID: "list-messages", Method: http.MethodGet, Path: "/messages",
		Summary: "Messages that failed or hang, with what was tried"}, s.listMessages)
	route(s, huma.Operation{OperationID: "send-message-again", Method: http.MethodPost, Path: "/messages/{id}/again",
		Summary: "Put a message that failed in line again", Errors: []int{http.StatusConflict}}, s.sendAgain)
	s.layAsideRoutes()
}

func writeMessage(r store.Reminder, attempts []store.Attempt, loc *time.Location) MessageBody {
	b := MessageBody{ReminderBody: writeReminder(r, loc), MessageID: r.MessageID, Reason: r.Reason, Channel: r.Channel, Tries: r.Tries,
		Sending: localTime(r.Sending, loc), Next: localTime(r.Next, loc), Attempts: []AttemptBody{}}
	for _, a := range attempts {
		x := AttemptBody{Number: a.Number, Channel: a.Channel, Started: a.Started.In(loc), Ended: localTime(a.Ended, loc), Problem: a.Problem}
		if a.Outcome != nil {
			x.Outcome = string(*a.Outcome)
		}
		b.Attempts = append(b.Attempts, x)
	}
	return b
}

// untilStart are the kinds of messages of which nobody has any use once the visit
// has begun: see tooLate.
var untilStart = []string{string(notify.Held), string(notify.Confirmation), string(notify.Prepare), string(notify.Reminder),
	string(notify.Moved), string(notify.Cancelled), string(notify.RunningLate), string(notify.HelperAway)}

// filter reads which messages are asked for.
func (q messageQuery) filter(loc *time.Location, now time.Time) (store.MessageFilter, error) {
	var f scheduling.Faults
	out := store.MessageFilter{State: store.ReminderState(q.State), UntilStart: untilStart, Now: now, After: q.Cursor, Limit: q.Limit + 1}
	if q.From != "" {
		if first := day(&f, "query.first_date", q.From); len(f) == 0 {
			out.From, _ = scheduling.DayBounds(loc, first)
		}
	}
	if q.To != "" {
		if last := day(&f, "query.last_date", q.To); len(f) == 0 {
			_, out.To = scheduling.DayBounds(loc, last)
		}
	}
	if len(f) == 0 && q.From != "" && q.To != "" && !out.From.Before(out.To) {
		f.Add("query.last_date", "lies before first_date", "first_date or a later day")
	}
	return out, f.Err()
}

// next is the Link header for the page after the message with that id.
func (q messageQuery) next(after string) string {
	v := url.Values{"cursor": {after}, "limit": {strconv.Itoa(q.Limit)}}
	for name, value := range map[string]string{"state": q.State, "first_date": q.From, "last_date": q.To} {
		if value != "" {
			v.Set(name, value)
		}
	}
	return "</v1/messages?" + v.Encode() + `>; rel="next"`
}

func (s *Server) listMessages(ctx context.Context, in *messageQuery) (*messagePage, error) {
	out := &messagePage{}
	err := s.read(ctx, func(t *store.Tx) error {
		loc, err := zone(ctx, t)
		if err != nil {
			return err
		}
		filter, err := in.filter(loc, s.now())
		if err != nil {
			return err
		}
		rows, err := t.Messages(ctx, filter)
		if err != nil {
			return err
		}
		if len(rows) > in.Limit {
			rows = rows[:in.Limit]
			out.Link = in.next(rows[in.Limit-1].ID)
		}
		tried, err := attemptsOf(ctx, t, rows)
		if err != nil {
			return err
		}
		out.Body = listOf(rows, func(r store.Reminder) MessageBody { return writeMessage(r, tried[r.ID], loc) }).Body
		return nameMessages(ctx, t, loc, out.Body.Items)
	})
	return out, err
}

func attemptsOf(ctx context.Context, t *store.Tx, rows []store.Reminder) (map[string][]store.Attempt, error) {
	ids := make([]string, len(rows))
	for i, r := range rows {
		ids[i] = r.ID
	}
	list, err := t.AttemptsOf(ctx, ids)
	out := map[string][]store.Attempt{}
	for _, a := range list {
		out[a.Reminder] = append(out[a.Reminder], a)
	}
	return out, err
}

// sendAgain puts a message that failed in line once more, under its old id. One
// that is in line already stays as it is, so that two presses send it once.
func (s *Server) sendAgain(ctx context.Context, in *againInput) (*created[MessageBody], error) {
	if err := s.worthSending(ctx, in.ID); err != nil {
		return nil, err
	}
	return once(s, ctx, in.Repeatable, "/messages/"+in.ID+"/again", nil, func(t *store.Tx) (*created[MessageBody], error) {
		loc, err := zone(ctx, t)
		if err != nil {
			return nil, err
		}
		r, err := t.LockReminder(ctx, in.ID)
		if err != nil {
			return nil, err
		}
		if r.State == store.Failed {
			if r, err = t.SendAgain(ctx, r); err != nil {
				return nil, err
			}
		} else if r.State != store.Waiting && r.State != store.Sending {
			return nil, conflict("the message has not failed: it is " + strings.ReplaceAll(string(r.State), "_", " "))
		}
		tried, err := attemptsOf(ctx, t, []store.Reminder{r})
		return &created[MessageBody]{Body: writeMessage(r, tried[r.ID], loc)}, err
	})
}

// worthSending refuses to send a message that failed when there is nothing left to
// say, and takes it back: sending would find that out, too, but whoever presses the
// button wants to know now.
func (s *Server) worthSending(ctx context.Context, id string) error {
	var d store.Due
	err := s.inTx(ctx, func(t *store.Tx) error {
		r, err := t.LockReminder(ctx, id)
		if err != nil || r.State != store.Failed {
			return err
		}
		d, err = t.DueNow(ctx, store.Due{Reminder: r})
		return err
	})
	if err != nil || d.Reminder.ID == "" {
		return err
	}
	m, err := s.readMessage(ctx, d)
	if err == nil && m.outcome != nil && m.outcome.State == store.Withdrawn {
		if err := s.inTx(ctx, func(t *store.Tx) error { return t.TakeBack(ctx, id) }); err != nil {
			return err
		}
		return conflict("there is no reason any more to send it: " + m.outcome.Problem)
	}
	return err
}

package api

import (
	"cmp"
	"context"
	"slices"
	"time"

	"chairblock/api/notify"
	"chairblock/store"
)

// queue is the messages of one visit that is locked, or new: those that wait and
// what became of the others.
type queue struct {
	s     *Server
	t     *store.Tx
	n     salonDay
	rules MessageRules
	v     store.Visit
	list  []store.Reminder
}

func (s *Server) queueOf(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (*queue, error) {
	rules, err := messageRulesOf(n.row)
	if err != nil {
		return nil, err
	}
	list, err := t.RemindersOf(ctx, v.ID)
	return &queue{s, t, n, rules, v, list}, err
}

// add enqueues messages for reasons that nobody was written to for yet. There
// is none to the client of a visit without one.
//
// A Message-ID follows from the visit, the kind, to whom it goes and how many
// of the same it follows, so that two who do the same at once make one message.
func (q *queue) add(ctx context.Context, list ...occasion) error {
	known := len(q.list)
	for _, o := range list {
		if o.staff == "" && q.v.Client == "" {
			continue
		}
		edition := 0
		for _, r := range q.list {
			if r.Kind == string(o.kind) && r.Staff == o.staff {
				edition++
			}
		}
		detail, err := o.detail.json()
		if err != nil {
			return err
		}
		to := q.v.ID + "/" + cmp.Or(o.staff, "client")
		q.list = append(q.list, store.Reminder{Visit: q.v.ID, Staff: o.staff, Kind: string(o.kind), Due: o.due, Before: o.before, Detail: detail,
			Reason: o.reason, MessageID: notify.MessageID(q.n.row.Key, to, o.kind, edition, mailHost(q.n.row))})
	}
	added, err := q.t.AddReminders(ctx, q.list[known:])
	if err == nil {
		copy(q.list[known:], added)
	}
	return err
}

// agree brings the messages of some kinds in line with those that are wanted:
// what waits for another reason is taken back, what is due at another time is put
// there, and what is missing is added, after news of other kinds. What has gone out stays, and is not said
// again for the same reason.
func (q *queue) agree(ctx context.Context, kinds []notify.Kind, want []occasion, news ...occasion) error {
	now := q.s.now()
	met := make([]bool, len(want))
	var moved []store.Rescheduled
	for _, r := range q.list {
		if !kindIn(r, kinds) || r.State == store.Withdrawn {
			continue
		}
		i := slices.IndexFunc(want, func(o occasion) bool { return o.is(r) })
		if i < 0 {
			continue
		}
		met[i] = true
		due := want[i].due
		if r.State == store.Waiting && !r.Due.Equal(due.Truncate(time.Microsecond)) && (due.After(now) || r.Due.After(now)) {
			moved = append(moved, store.Rescheduled{Reminder: r.ID, Due: due})
		}
	}
	err := q.takeBack(ctx, func(r store.Reminder) bool {
		return kindIn(r, kinds) && !slices.ContainsFunc(want, func(o occasion) bool { return o.is(r) })
	})
	if err != nil {
		return err
	}
	if err := q.t.RescheduleReminders(ctx, moved); err != nil {
		return err
	}
	for i, o := range want {
		if met[i] || o.onlyKept || o.onlyAhead && !o.due.After(now) {
			continue
		}
		news = append(news, o)
	}
	return q.add(ctx, news...)
}

// is reports whether r was enqueued for o.
func (o occasion) is(r store.Reminder) bool {
	return r.Kind == string(o.kind) && r.Staff == o.staff && r.Reason == o.reason
}

// takeBack takes back the messages that have not gone out and are of no use any
// more.
func (q *queue) takeBack(ctx context.Context, useless func(store.Reminder) bool) error {
	var ids []string
	for i := range q.list {
		r := &q.list[i]
		switch r.State {
		case store.Waiting, store.Sending, store.Failed:
			if useless(*r) {
				ids = append(ids, r.ID)
				r.State = store.Withdrawn
			}
		case store.Sent, store.ToCall, store.Withdrawn, store.NotWanted:
		}
	}
	return q.t.TakeBack(ctx, ids...)
}

// coming are the messages that a visit asks for as long as it is to come.
func (q *queue) coming(ctx context.Context) ([]occasion, error) {
	switch q.v.State {
	case store.Held:
		return q.pencilled(ctx)
	case store.Booked:
		return q.booked(ctx)
	case store.Lapsed, store.Arrived, store.UnderWay, store.Finished, store.StoppedEarly, store.Cancelled, store.Missed:
	}
	return nil, nil
}

// at words a start, or the end of a hold, as a reason.
func (q *queue) at(t time.Time) string { return t.In(q.n.loc).Format(time.RFC3339) }

// pencilled is the message about a visit that is pencilled for long enough, to a
// client who can be reached.
func (q *queue) pencilled(ctx context.Context) ([]occasion, error) {
	if q.v.Client == "" {
		return nil, nil
	}
	to, err := q.s.recipient(ctx, q.t, q.n, q.v)
	if err != nil || to.by == "none" || to.by == "mail" && to.mail == "" || to.by != "mail" && to.phone == "" {
		return nil, err
	}
	now := q.s.now()
	return []occasion{{kind: notify.Held, due: now, reason: "pencilled for " + q.at(q.v.Start) + " until " + q.at(*q.v.HeldUntil),
		onlyKept: q.v.HeldUntil.Sub(now) <= heldAtLeast}}, nil
}

// booked are the messages about a visit that is booked: how to prepare, that it
// is near, and that its client has not come.
func (q *queue) booked(ctx context.Context) ([]occasion, error) {
	v, now := q.v, q.s.now()
	if len(v.Services) == 0 || !now.Before(v.End) {
		return nil, nil
	}
	about := "for " + q.at(v.Start)
	list := []occasion{{kind: notify.ClientLate, staff: v.Lead(), due: v.Start.Add(comesLate), reason: about}}
	if v.Client == "" {
		return list, nil
	}
	reminder := occasion{kind: notify.Reminder, due: q.n.ahead(q.rules, v.Start, q.rules.ReminderHours), reason: about, onlyAhead: true}
	reminder.onlyKept = q.toldSince(reminder.due.Add(-toldLately), notify.Confirmation, notify.Moved)
	list = append(list, reminder)
	chemical, err := isChemical(ctx, q.t, v)
	if err != nil || !chemical || !now.Before(v.Start) {
		return list, err
	}
	of, err := needsOf(ctx, q.t, q.n, v)
	if err != nil {
		return nil, err
	}
	prepare := occasion{kind: notify.Prepare, due: q.n.prepareDue(q.rules, v, of[v.ID]), reason: about}
	prepare.onlyKept = q.toldSince(prepare.due.Add(-preparedLately), notify.Prepare)
	if !prepare.due.After(now) {
		prepare.due = now
	}
	return append(list, prepare), nil
}

// toldSince reports whether a message of one of the kinds has gone out since t. What
// is about to may yet not be sent.
func (q *queue) toldSince(t time.Time, kinds ...notify.Kind) bool {
	return toldIn(q.list, t, kinds...)
}

func toldIn(list []store.Reminder, t time.Time, kinds ...notify.Kind) bool {
	return slices.ContainsFunc(list, func(r store.Reminder) bool {
		out := r.State == store.Sent || r.State == store.Sending || r.State == store.ToCall
		return kindIn(r, kinds) && out && r.Due.After(t)
	})
}

// putOff makes a message that waits due at another time.
func (q *queue) putOff(ctx context.Context, id string, due time.Time) error {
	for i := range q.list {
		if q.list[i].ID == id {
			q.list[i].Due = due
		}
	}
	return q.t.RescheduleReminders(ctx, []store.Rescheduled{{Reminder: id, Due: due}})
}

// isChemical reports whether a service of v works with chemicals.
func isChemical(ctx context.Context, t *store.Tx, v store.Visit) (bool, error) {
	for _, x := range v.Services {
		row, err := t.ServiceVersion(ctx, x.Service, x.Version)
		if err != nil || row.Chemical {
			return err == nil, err
		}
	}
	return false, nil
}

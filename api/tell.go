package api

import (
	"cmp"
	"context"
	"slices"
	"time"

	"chairblock/api/notify"
	"chairblock/store"
)

// tellBooked enqueues what follows from booking a visit.
func (s *Server) tellBooked(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) error {
	q, err := s.queueOf(ctx, t, n, v)
	if err != nil {
		return err
	}
	if err := q.follow(ctx, occasion{kind: notify.Confirmation, due: s.now()}); err != nil {
		return err
	}
	return s.followOthers(ctx, t, n, v)
}

// follow brings the messages about a visit that is to come in line with it, adds
// news of other kinds before them, and takes back news that its client does not need any more.
func (q *queue) follow(ctx context.Context, news ...occasion) error {
	want, err := q.coming(ctx)
	if err != nil {
		return err
	}
	if err := q.agree(ctx, aboutComing, want, news...); err != nil || q.v.State == store.Booked {
		return err
	}
	return q.takeBack(ctx, func(r store.Reminder) bool {
		return kindIn(r, newsToClient) || r.Kind == string(notify.CheckDue) && q.v.State != store.UnderWay
	})
}

// followVisit brings messages in line with a visit whose state has changed, or
// that is pencilled for another time.
func (s *Server) followVisit(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) error {
	q, err := s.queueOf(ctx, t, n, v)
	if err != nil {
		return err
	}
	return q.follow(ctx)
}

// tellMoved enqueues what the client of a booked visit hears when its start, or
// who is in charge, is another than before. She hears what is new to her: what was
// changed twice before it went out is said once, and what was changed back is not
// said at all. A confirmation that has not gone out says where the visit is by
// itself.
func (s *Server) tellMoved(ctx context.Context, t *store.Tx, n salonDay, v, before store.Visit) error {
	q, err := s.queueOf(ctx, t, n, v)
	if err != nil {
		return err
	}
	start, leads, unconfirmed := before.Start, leadsOf(before), ""
	for _, r := range q.list {
		switch {
		case r.State != store.Waiting || r.Tries > 0: // it may have gone out, and whoever has it keeps the first words
		case r.Kind == string(notify.Confirmation):
			unconfirmed = r.ID
		case r.Kind == string(notify.Moved) && r.Before != nil:
			d, err := readOccasion(r)
			if err != nil {
				return err
			}
			start, leads = *r.Before, d.Leads
		}
	}
	err = q.takeBack(ctx, func(r store.Reminder) bool {
		return r.Kind == string(notify.Moved) && r.Tries == 0 || r.Kind == string(notify.RunningLate)
	})
	if err != nil {
		return err
	}
	switch {
	case unconfirmed != "": // what is told of the visit is told now
		err = q.putOff(ctx, unconfirmed, s.now())
	case !start.Equal(v.Start) || !slices.Equal(leads, leadsOf(v)):
		err = q.add(ctx, occasion{kind: notify.Moved, due: s.now(), before: &start, reason: "was at " + q.at(start), detail: occasionDetail{messageDetail: messageDetail{Leads: leads}}})
	}
	if err != nil {
		return err
	}
	if err := q.follow(ctx); err != nil {
		return err
	}
	return s.followOthers(ctx, t, n, v)
}

// leadsOf are the stylists in charge by service.
func leadsOf(v store.Visit) []string {
	out := make([]string, len(v.Services))
	for i, x := range v.Services {
		out[i] = x.Lead
	}
	return out
}

// tellOff enqueues what follows when a visit is cancelled, given up or missed.
// Whoever was never told of a pencilled visit does not hear that it is given up.
func (s *Server) tellOff(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, was store.VisitState) error {
	q, err := s.queueOf(ctx, t, n, v)
	if err != nil {
		return err
	}
	told := was != store.Held
	if !told {
		if told, err = q.knowsOfHold(ctx); err != nil {
			return err
		}
	}
	known := q.unheard()
	if err := q.follow(ctx); err != nil {
		return err
	}
	if told && v.State == store.Cancelled {
		if err := q.add(ctx, occasion{kind: notify.Cancelled, due: s.now(), before: known}); err != nil {
			return err
		}
	}
	return s.followOthers(ctx, t, n, v)
}

// unheard is the start that the client still takes for right, because nobody has
// told her of another one yet; nil when she knows the visit's own.
func (q *queue) unheard() *time.Time {
	for _, r := range q.list {
		if r.Kind == string(notify.Moved) && r.State == store.Waiting && r.Tries == 0 {
			return r.Before
		}
	}
	return nil
}

// knowsOfHold reports whether the client was told that the visit is pencilled.
func (q *queue) knowsOfHold(ctx context.Context) (bool, error) {
	var calls []string
	for _, r := range q.list {
		switch {
		case r.Kind != string(notify.Held):
		case r.State == store.Sent || r.State == store.Sending:
			return true, nil
		case r.State == store.ToCall:
			calls = append(calls, r.ID)
		}
	}
	if len(calls) == 0 {
		return false, nil
	}
	settled, err := q.t.CallsSettled(ctx, calls)
	return len(settled) > 0, err
}

// followOthers is followClient where other visits of the client may depend on v.
func (s *Server) followOthers(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) error {
	if v.Client == "" || !treats(v) && v.Parent == nil {
		return nil
	}
	return s.followClient(ctx, t, n, v.Client)
}

// followClient brings what follows from the ends of a client's visits in line with
// all of them: a look after the first wash is not offered when it is booked, and
// nobody is called back whose hair was treated since or soon will be.
func (s *Server) followClient(ctx context.Context, t *store.Tx, n salonDay, client string) error {
	course, err := t.Course(ctx, client)
	if err != nil {
		return err
	}
	over := func(x store.CourseVisit) bool {
		return x.Treats && (x.State == store.Finished || x.State == store.StoppedEarly)
	}
	last := -1
	for i, x := range course {
		if over(x) {
			last = i
		}
	}
	var ids []string
	for i, x := range course {
		if over(x) && (i == last || x.Waits || s.now().Sub(x.End) < followedFor) {
			ids = append(ids, x.Visit)
		}
	}
	if len(ids) == 0 {
		return nil
	}
	visits, err := t.VisitsByID(ctx, ids)
	if err != nil {
		return err
	}
	g, err := growthOf(ctx, t, n, client)
	if err != nil {
		return err
	}
	slices.SortFunc(visits, func(a, b store.Visit) int { return cmp.Compare(a.ID, b.ID) })
	for _, v := range visits {
		q, err := s.queueOf(ctx, t, n, v)
		if err != nil {
			return err
		}
		var next *time.Time
		if i := slices.IndexFunc(course, func(x store.CourseVisit) bool {
			return x.Treats && x.Start.After(v.Start) && (x.State.Open() || over(x))
		}); i >= 0 {
			next = &course[i].Start
		}
		washed := slices.ContainsFunc(course, func(x store.CourseVisit) bool {
			return x.Parent != nil && *x.Parent == v.ID && *x.ParentAs == store.FirstWashCheck && (x.State.Open() || x.State == store.Finished || x.State == store.StoppedEarly)
		})
		if err := q.agree(ctx, aboutEnd, n.followsFrom(q.rules, v, s.now(), g, next, washed)); err != nil {
			return err
		}
	}
	return nil
}

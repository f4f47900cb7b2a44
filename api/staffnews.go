package api

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// changedVisit is a visit before and after a change; before is zero for a new one. No
// message is about it yet when this transaction has made it.
type changedVisit struct {
	before, is store.Visit
	made       bool
}

// timesIn is when each of the staff works in a visit of a client that stands.
func timesIn(v store.Visit) map[string]*staffTime {
	out := map[string]*staffTime{}
	if !v.State.Open() || v.Client == "" || len(v.Services) == 0 {
		return out
	}
	for _, st := range v.Steps {
		for _, u := range st.Units {
			switch x := out[u.Unit]; {
			case u.Role == openings.RoleChair || u.Role == openings.RoleBasin:
			case x == nil:
				out[u.Unit] = &staffTime{v.Start, st.Start, st.End}
			default:
				x.From = slices.MinFunc([]time.Time{x.From, st.Start}, time.Time.Compare)
				x.To = slices.MaxFunc([]time.Time{x.To, st.End}, time.Time.Compare)
			}
		}
	}
	for _, x := range v.Services { // some are in charge without being there
		if x.Lead != "" && out[x.Lead] == nil {
			out[x.Lead] = &staffTime{v.Start, v.Start, v.End}
		}
	}
	return out
}

// dayOf is one day of one of the staff.
type dayOf struct{ staff, date string }

// tellDays enqueues what the staff hear of changes to their next days, one message
// for a person and a day: what changes while it waits joins it, and what was
// changed back leaves it. Whoever made a change knows of it.
func (s *Server) tellDays(ctx context.Context, t *store.Tx, n salonDay, list ...changedVisit) error {
	now := s.now()
	news := map[dayOf]map[string]*staffTime{} // her time before, by visit
	visits := map[string]store.Visit{}
	var known []store.Visit // that messages may be about
	for _, x := range list {
		before, is := timesIn(x.before), timesIn(x.is)
		visits[x.is.ID] = x.is
		if !x.made {
			known = append(known, x.is)
		}
		for staff, at := range union(before, is) {
			if before[staff].same(is[staff]) {
				continue
			}
			for _, at := range at {
				if at == nil || !at.To.After(now) || at.Start.Sub(now) >= changedWithin {
					continue
				}
				d := dayOf{staff, scheduling.CivilDate(at.Start, n.loc).String()}
				if news[d] == nil {
					news[d] = map[string]*staffTime{}
				}
				news[d][x.is.ID] = before[staff]
			}
		}
	}
	if err := toldOfOtherDays(ctx, t, news, known); err != nil {
		return err
	}
	days := slices.SortedFunc(maps.Keys(news), func(a, b dayOf) int { return cmp.Or(cmp.Compare(a.staff, b.staff), cmp.Compare(a.date, b.date)) })
	for _, d := range days {
		if err := s.tellDay(ctx, t, n, d, news[d], visits); err != nil {
			return err
		}
	}
	return s.followHelpers(ctx, t, n, known)
}

// toldOfOtherDays adds the days about which messages wait that name the same visits.
func toldOfOtherDays(ctx context.Context, t *store.Tx, news map[dayOf]map[string]*staffTime, visits []store.Visit) error {
	if len(visits) == 0 {
		return nil
	}
	waiting, err := t.WaitingOfKind(ctx, string(notify.DayChanged))
	if err != nil {
		return err
	}
	for _, r := range waiting {
		detail, err := readOccasion(r)
		if err != nil {
			return err
		}
		for _, v := range visits {
			if d := (dayOf{r.Staff, detail.Date}); news[d] == nil && has(detail.Was, v.ID) {
				news[d] = map[string]*staffTime{}
			}
		}
	}
	return nil
}

func has(m map[string]*staffTime, id string) bool {
	_, ok := m[id]
	return ok
}

// union is the time of everybody in either, before and now.
func union(before, is map[string]*staffTime) map[string][2]*staffTime {
	out := map[string][2]*staffTime{}
	for _, m := range []map[string]*staffTime{before, is} {
		for staff := range m {
			out[staff] = [2]*staffTime{before[staff], is[staff]}
		}
	}
	return out
}

// tellDay tells one of the staff of one day.
func (s *Server) tellDay(ctx context.Context, t *store.Tx, n salonDay, d dayOf, was map[string]*staffTime, visits map[string]store.Visit) error {
	waiting, err := t.WaitingForStaff(ctx, d.staff, string(notify.DayChanged))
	if err != nil {
		return err
	}
	mine := principal(ctx).StaffID == d.staff
	reason := "day " + d.date
	at := slices.IndexFunc(waiting, func(r store.Reminder) bool { return r.Reason == reason })
	detail := occasionDetail{Date: d.date, Was: map[string]*staffTime{}}
	if at >= 0 {
		if detail, err = readOccasion(waiting[at]); err != nil {
			return err
		}
	}
	for id, x := range was {
		if _, known := detail.Was[id]; !known && !mine {
			detail.Was[id] = x
		}
	}
	if err := detail.sum(ctx, t, d.staff, visits); err != nil {
		return err
	}
	switch {
	case len(detail.Changes) == 0 && at < 0:
		return nil
	case len(detail.Changes) == 0:
		return t.TakeBack(ctx, waiting[at].ID)
	case at < 0:
		q, err := s.queueOf(ctx, t, n, visits[detail.Changes[0].Visit])
		if err != nil {
			return err
		}
		return q.add(ctx, occasion{kind: notify.DayChanged, staff: d.staff, due: s.now().Add(gatheredFor), reason: reason, detail: detail})
	}
	doc, err := detail.json()
	if err != nil {
		return err
	}
	return t.SetDetail(ctx, waiting[at].ID, doc)
}

// sum works out what has changed of a day since Was, and forgets what has not.
func (d *occasionDetail) sum(ctx context.Context, t *store.Tx, staff string, visits map[string]store.Visit) error {
	var missing []string
	for id := range d.Was {
		if _, ok := visits[id]; !ok {
			missing = append(missing, id)
		}
	}
	known := maps.Clone(visits)
	if len(missing) > 0 {
		list, err := t.VisitsByID(ctx, missing)
		if err != nil {
			return err
		}
		for _, v := range list {
			known[v.ID] = v
		}
	}
	d.Changes = nil
	for _, id := range slices.Sorted(maps.Keys(d.Was)) {
		v, before := known[id], d.Was[id]
		is := timesIn(v)[staff]
		c := messageChange{Visit: id, What: notify.ChangeOther}
		switch {
		case before.same(is):
			delete(d.Was, id)
			continue
		case before == nil:
			c.What = notify.ChangeBooked
		case is == nil && v.State.Open(): // somebody else does it
			c.What, c.Before = notify.ChangeCancelled, &before.Start
		case is == nil:
			c.What = notify.ChangeCancelled
		case !is.Start.Equal(before.Start):
			c.What, c.Before = notify.ChangeMoved, &before.Start
		}
		d.Changes = append(d.Changes, c)
	}
	slices.SortStableFunc(d.Changes, func(a, b messageChange) int { return known[a.Visit].Start.Compare(known[b.Visit].Start) })
	return nil
}

// tellMissed enqueues what the staff hear when a client did not come.
func (s *Server) tellMissed(ctx context.Context, t *store.Tx, n salonDay, list ...changedVisit) error {
	var visits []store.Visit
	for _, x := range list {
		visits = append(visits, x.is)
		q, err := s.queueOf(ctx, t, n, x.is)
		if err != nil {
			return err
		}
		for _, staff := range slices.Sorted(maps.Keys(timesIn(x.before))) {
			if staff == principal(ctx).StaffID {
				continue
			}
			if err := q.add(ctx, occasion{kind: notify.DidNotCome, staff: staff, due: s.now()}); err != nil {
				return err
			}
		}
	}
	return s.followHelpers(ctx, t, n, visits)
}

// tellHelperAway enqueues what stylists in charge hear when somebody is away who
// was to help in visits of theirs.
func (s *Server) tellHelperAway(ctx context.Context, t *store.Tx, n salonDay, a store.Absence, hit []string) error {
	visits, err := t.VisitsByID(ctx, hit)
	if err != nil {
		return err
	}
	byLead := map[string][]store.Visit{}
	for _, v := range visits {
		if !v.End.After(s.now()) || !helpedBy(v, a) {
			continue
		}
		for _, lead := range slices.Compact(slices.Sorted(slices.Values(leadsOf(v)))) {
			if lead != a.Unit && lead != principal(ctx).StaffID {
				byLead[lead] = append(byLead[lead], v)
			}
		}
	}
	for _, lead := range slices.Sorted(maps.Keys(byLead)) {
		d := occasionDetail{messageDetail: messageDetail{Helper: a.Unit}, Away: a.ID}
		for _, v := range byLead[lead] {
			d.Visits = append(d.Visits, v.ID)
		}
		q, err := s.queueOf(ctx, t, n, byLead[lead][0])
		if err != nil {
			return err
		}
		if err := q.add(ctx, occasion{kind: notify.HelperAway, staff: lead, due: s.now(), reason: fmt.Sprintf("absence %s", a.ID), detail: d}); err != nil {
			return err
		}
	}
	return nil
}

// helpedBy reports whether somebody who is away was to help in a visit of a client
// that stands, without being in charge of it.
func helpedBy(v store.Visit, a store.Absence) bool {
	if !v.State.Open() || v.Client == "" || slices.Contains(leadsOf(v), a.Unit) {
		return false
	}
	return slices.ContainsFunc(v.Steps, func(st store.VisitStep) bool {
		return st.Start.Before(a.To) && st.End.After(a.From) && slices.ContainsFunc(st.Units, func(u store.StepUnit) bool {
			return u.Unit == a.Unit && u.Role != openings.RoleChair && u.Role != openings.RoleBasin
		})
	})
}

// untellHelperAway takes back that somebody is away.
func untellHelperAway(ctx context.Context, t *store.Tx, absence string) error {
	list, err := t.WaitingOfKind(ctx, string(notify.HelperAway))
	if err != nil {
		return err
	}
	var ids []string
	for _, r := range list {
		if d, err := readOccasion(r); err != nil || d.Away == absence {
			ids = append(ids, r.ID)
		}
	}
	return t.TakeBack(ctx, ids...)
}

// followHelpers takes visits that have changed out of messages about helpers who
// are away, where they are not hit any more.
func (s *Server) followHelpers(ctx context.Context, t *store.Tx, n salonDay, visits []store.Visit) error {
	if len(visits) == 0 {
		return nil
	}
	list, err := t.WaitingOfKind(ctx, string(notify.HelperAway))
	if err != nil || len(list) == 0 {
		return err
	}
	absences, err := t.Absences(ctx, s.now())
	if err != nil {
		return err
	}
	for _, r := range list {
		d, err := readOccasion(r)
		if err != nil {
			return err
		}
		count := len(d.Visits)
		d.Visits = slices.DeleteFunc(d.Visits, func(id string) bool {
			i := slices.IndexFunc(visits, func(v store.Visit) bool { return v.ID == id })
			return i >= 0 && !slices.ContainsFunc(absences, func(a store.Absence) bool {
				return a.ID == d.Away && helpedBy(visits[i], a) && slices.Contains(leadsOf(visits[i]), r.Staff)
			})
		})
		if len(d.Visits) == count {
			continue
		}
		if err := s.shortenHelperAway(ctx, t, n, r, d); err != nil {
			return err
		}
	}
	return nil
}

// shortenHelperAway lets a message that waits name fewer visits than before. It
// belongs to the first of them.
func (s *Server) shortenHelperAway(ctx context.Context, t *store.Tx, n salonDay, r store.Reminder, d occasionDetail) error {
	if slices.Contains(d.Visits, r.Visit) {
		doc, err := d.json()
		if err != nil {
			return err
		}
		return t.SetDetail(ctx, r.ID, doc)
	}
	if err := t.TakeBack(ctx, r.ID); err != nil || len(d.Visits) == 0 {
		return err
	}
	list, err := t.VisitsByID(ctx, d.Visits[:1])
	if err != nil || len(list) == 0 {
		return err
	}
	q, err := s.queueOf(ctx, t, n, list[0])
	if err != nil {
		return err
	}
	return q.add(ctx, occasion{kind: notify.HelperAway, staff: r.Staff, due: s.now(), reason: r.Reason, detail: d})
}

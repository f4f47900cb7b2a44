package api

import (
	"context"
	"slices"
	"time"

	"chairblock/api/notify"
	"chairblock/store"
)

// tells is a message with what it is about, as it is when the message is to be
// sent.
type tells struct {
	kind   notify.Kind
	due    time.Time
	visit  store.Visit
	before *time.Time // start that a moved visit had
	detail messageDetail
	dry    time.Time     // when the hours are over in which hair stays dry
	others []store.Visit // of the same client, where the kind asks for them
}

// tellsOf reads what a message about v is about, as it is now.
func tellsOf(ctx context.Context, t *store.Tx, n salonDay, r store.Reminder, v store.Visit) (tells, error) {
	m := tells{kind: notify.Kind(r.Kind), due: r.Due, visit: v, before: r.Before, dry: n.keepDryUntil(realEnd(v))}
	kept, err := readOccasion(r)
	if err != nil {
		return m, err
	}
	m.detail = kept.messageDetail
	if k, _ := kindNamed(r.Kind); k.topic == comeAgain {
		m.others, err = t.VisitsOfClient(ctx, v.Client)
	}
	return m, err
}

// standsIn are the states in which a visit still has what a message says of it.
// What follows from a visit follows from one that was stopped early, too, once
// the licensed person has let it.
var standsIn = map[notify.Kind][]store.VisitState{
	notify.Held:         {store.Held},
	notify.Confirmation: {store.Booked},
	notify.Prepare:      {store.Booked},
	notify.Reminder:     {store.Booked},
	notify.Moved:        {store.Booked},
	notify.Cancelled:    {store.Cancelled},
	notify.RunningLate:  {store.Booked},
	notify.Aftercare:    {store.Finished, store.StoppedEarly},
	notify.DayAfter:     {store.Finished, store.StoppedEarly},
	notify.AftercareEnd: {store.Finished, store.StoppedEarly},
	notify.FirstWash:    {store.Finished, store.StoppedEarly},
	notify.Retouch:      {store.Finished, store.StoppedEarly},
	notify.RetouchAgain: {store.Finished, store.StoppedEarly},
	// A day of the staff's changes by visits that come, go and end.
	notify.DayChanged: {store.Held, store.Lapsed, store.Booked, store.Arrived, store.UnderWay, store.Finished, store.StoppedEarly, store.Cancelled, store.Missed},
	notify.ClientLate: {store.Booked},
	notify.DidNotCome: {store.Missed},
	notify.HelperAway: {store.Booked, store.Arrived, store.UnderWay},
	notify.CheckDue:   {store.UnderWay},
}

// pointless says why there is no message to send any more, "" when there is one.
func (m tells) pointless(now time.Time) string {
	v := m.visit
	switch states, ok := standsIn[m.kind]; {
	case !ok:
		return "there is no such message"
	case !slices.Contains(states, v.State):
		return "the visit is " + words(v.State)
	}
	switch m.kind { //nolint:exhaustive // the others need nothing here
	case notify.Held:
		if v.HeldUntil != nil && !now.Before(*v.HeldUntil) {
			return "the time is not pencilled any more"
		}
	case notify.Moved:
		if m.before != nil && m.before.Equal(v.Start) && (len(m.detail.Leads) == 0 || slices.Equal(m.detail.Leads, leadsOf(v))) {
			return "the visit has its old time again"
		}
	case notify.RunningLate:
		late := time.Duration(m.detail.LateMinutes) * time.Minute
		if at := m.detail.Starts; at != nil && !at.Add(-late).Equal(v.Start.Truncate(time.Microsecond)) {
			return "the visit has another time"
		}
	case notify.Aftercare, notify.DayAfter, notify.AftercareEnd:
		return m.followsNot()
	case notify.FirstWash, notify.Retouch, notify.RetouchAgain:
		if why := m.followsNot(); why != "" {
			return why
		}
		return m.comesAnyway()
	}
	return ""
}

// followsNot says why nothing follows from the visit, "" when something does.
func (m tells) followsNot() string {
	switch {
	case m.visit.FollowUpHeld:
		return "the visit was stopped early, and nothing follows before the licensed person has said so"
	case !needsAftercare(m.visit):
		return "no service of the visit asks for it"
	}
	return ""
}

// comesAnyway says why somebody need not be asked to come again, "" when she need:
// the look has a time or was had, or her hair is treated again.
func (m tells) comesAnyway() string {
	for _, o := range m.others {
		if !o.State.Open() && o.State != store.Finished && o.State != store.StoppedEarly {
			continue
		}
		switch {
		case m.kind == notify.FirstWash && o.Parent != nil && *o.Parent == m.visit.ID && o.ParentAs != nil && *o.ParentAs == store.FirstWashCheck:
			return "the look after the first wash is booked"
		case m.kind == notify.FirstWash && o.Start.Sub(realEnd(m.visit)) >= followedFor: // after the look
		case o.ID != m.visit.ID && o.Start.After(m.visit.Start) && treats(o):
			return "the client has another visit"
		}
	}
	return ""
}

// How long after it was due a message is still of use, where that does not follow
// from the visit (judgement).
const (
	usefulFirstWash = 10 * 24 * time.Hour // after the visit: its look is due until the seventh day
	usefulRetouch   = 28 * 24 * time.Hour
	usefulStaff     = 12 * time.Hour
	usefulLate      = time.Hour
	usefulCheck     = 15 * time.Minute
)

// ofUseAhead are the messages that are of no use once their visit has begun.
var ofUseAhead = []notify.Kind{notify.Confirmation, notify.Prepare, notify.Reminder, notify.Moved, notify.Cancelled, notify.RunningLate, notify.HelperAway}

// tooLate reports whether at now the message helps nobody any more: about a visit
// that has begun, or about hours that are over.
func (m tells) tooLate(now time.Time) bool {
	if slices.Contains(ofUseAhead, m.kind) {
		return now.After(m.visit.Start)
	}
	end := realEnd(m.visit)
	switch m.kind { //nolint:exhaustive // the others need nothing here
	case notify.Held:
		return m.visit.HeldUntil == nil || !now.Before(*m.visit.HeldUntil)
	case notify.Aftercare:
		return now.After(m.dry)
	case notify.DayAfter:
		return now.After(end.Add(2 * dayAfter))
	case notify.AftercareEnd:
		return now.After(m.dry.Add(24 * time.Hour))
	case notify.FirstWash:
		return now.After(end.Add(usefulFirstWash))
	case notify.Retouch, notify.RetouchAgain:
		return now.After(m.due.Add(usefulRetouch))
	case notify.ClientLate:
		return now.After(m.due.Add(usefulLate))
	case notify.CheckDue:
		return now.After(m.due.Add(usefulCheck))
	}
	return now.After(m.due.Add(usefulStaff))
}

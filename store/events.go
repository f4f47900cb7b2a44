package store

import (
	"context"
	"time"

	"github.com/google/uuid"
)

// EventKind says what was noted of a visit.
type EventKind string

// Kinds of events. The inferred ones were not noted by anybody: they follow
// from the press that was written together with them, in front of them.
const (
	EventArrive EventKind = "arrive" // the client is here
	EventStart  EventKind = "start"  // a step began
	EventFinish EventKind = "finish" // a step ended
	EventDone   EventKind = "done"   // the visit is over
	EventUndo   EventKind = "undo"   // the last press was taken back
	EventStop   EventKind = "stop"   // the visit was stopped early

	EventArriveInferred EventKind = "arrive_inferred"
	EventStartInferred  EventKind = "start_inferred"
	EventFinishInferred EventKind = "finish_inferred"

	EventRemedy EventKind = "remedy" // a remedy for a late day was agreed on
)

// Event is one thing that was noted of a visit. Rows are only ever added.
type Event struct {
	ID      string
	Kind    EventKind
	Ordinal *int      // of the step; nil for the visit
	At      time.Time // when it happened; a later event of the same kind and step corrects it
	Noted   time.Time // when somebody noted it
	By      string    // who noted it: a name, or what the caller's token is for
}

// visitEvents is the events of visit v of visitQuery, oldest first.
const visitEvents = `array(
		SELECT ROW(e.event_id, e.kind, e.ordinal, e.at, e.noted_at, e.noted_by)
		FROM visit_event e WHERE e.salon_id = v.salon_id AND e.visit_id = v.visit_id ORDER BY e.event_id
	) AS events`

// AddEvents adds to the events of a locked visit, in their order, and to
// v.Events. The ids are chosen. It returns an *scheduling.InvalidError when there
// is no such visit.
func (t *Tx) AddEvents(ctx context.Context, v *Visit, list []Event) error {
	if len(list) == 0 {
		return nil
	}
	n := len(list)
	ids, kinds, by := make([]string, n), make([]string, n), make([]string, n)
	ordinals, at, noted := make([]*int, n), make([]time.Time, n), make([]time.Time, n)
	last := ""
	if k := len(v.Events); k > 0 {
		last = v.Events[k-1].ID
	}
	for i := range list {
		e := &list[i]
		e.ID = idAfter(last)
		last = e.ID
		ids[i], kinds[i], by[i], ordinals[i], at[i], noted[i] = e.ID, string(e.Kind), e.By, e.Ordinal, e.At, e.Noted
	}
	_, err := t.tx.Exec(ctx, `
		INSERT INTO visit_event (salon_id, visit_id, event_id, kind, ordinal, at, noted_at, noted_by)
		SELECT $1, $2, * FROM unnest($3::text[], $4::text[], $5::smallint[], $6::timestamptz[], $7::timestamptz[], $8::text[])`,
		t.salon, v.ID, ids, kinds, ordinals, at, noted, by)
	if err != nil {
		return domain("add events", err, false)
	}
	v.Events = append(v.Events, list...)
	return nil
}

// idAfter is a new id that sorts after last, even when last was chosen by a
// machine whose clock is ahead.
func idAfter(last string) string {
	id := NewID()
	if id > last {
		return id
	}
	u, err := uuid.Parse(last)
	if err != nil {
		return id
	}
	for i := len(u) - 1; i > 8; i-- { // what is random in it
		if u[i]++; u[i] != 0 {
			break
		}
	}
	return u.String()
}

// SetRealTimes writes the real times of all steps of a locked visit; its
// version is for SetVisitState to raise. It returns scheduling.ErrNotFound when
// a step is not there.
func (t *Tx) SetRealTimes(ctx context.Context, v Visit) error {
	n := len(v.Steps)
	ordinals, starts, ends := make([]int, n), make([]*time.Time, n), make([]*time.Time, n)
	for i, st := range v.Steps {
		ordinals[i], starts[i], ends[i] = st.Ordinal, st.RealStart, st.RealEnd
	}
	tag, err := t.tx.Exec(ctx, `
		UPDATE visit_step x SET real_start = n.a, real_end = n.z
		FROM unnest($3::smallint[], $4::timestamptz[], $5::timestamptz[]) n(ordinal, a, z)
		WHERE x.salon_id = $1 AND x.visit_id = $2 AND x.ordinal = n.ordinal`, t.salon, v.ID, ordinals, starts, ends)
	if err == nil && tag.RowsAffected() == int64(n) {
		return nil
	}
	return one("real times", 0, err)
}

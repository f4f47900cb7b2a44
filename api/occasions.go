package api

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// What is judgement in when messages are due and is no setting of the salon's.
const (
	// heldAtLeast is how long a visit must be pencilled for its client to be
	// told: who is still on the telephone needs no message.
	heldAtLeast = 30 * time.Minute
	// dayAfter is when the client is asked how it is, after the real end.
	dayAfter = 24 * time.Hour
	// comesLate is how long after the start a client who is not here is late.
	comesLate = 10 * time.Minute
	// toldLately is how shortly before a reminder a client must have been told of
	// the visit to need none, and preparedLately the same for how to prepare.
	toldLately     = 6 * time.Hour
	preparedLately = 7 * 24 * time.Hour
	// followedFor is how long after its end hair is looked at for its first wash.
	followedFor = (firstWashTo + 1) * 24 * time.Hour
	// changedWithin is how near a visit must be for its staff to be told that it
	// changed, and gatheredFor how long such changes are gathered.
	changedWithin = 48 * time.Hour
	gatheredFor   = 10 * time.Minute
)

// occasion is a reason to write to somebody because of a visit.
type occasion struct {
	kind   notify.Kind
	staff  string // to whom of the staff; "" to the client
	due    time.Time
	before *time.Time // start that a moved visit had
	// reason tells messages of one kind about one visit apart, in words.
	reason string
	detail occasionDetail
	// onlyAhead is not enqueued any more when it would be due already; others are
	// sent at once then. onlyKept is not enqueued at all, and stays when it was.
	onlyAhead, onlyKept bool
}

// occasionDetail is what a message keeps beside its visit: what its words need,
// and what was so when it was enqueued.
type occasionDetail struct {
	messageDetail
	Date string                `json:"date,omitempty"`       // day_changed: which day of hers
	Was  map[string]*staffTime `json:"was,omitempty"`        // day_changed: her time in each visit before, nil for none
	Away string                `json:"absence_id,omitempty"` // helper_away
}

// staffTime is when somebody works in a visit.
type staffTime struct {
	Start time.Time `json:"start"` // of the visit
	From  time.Time `json:"from"`  // first minute in which she is needed
	To    time.Time `json:"to"`
}

func (a *staffTime) same(b *staffTime) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.Start.Equal(b.Start) && a.From.Equal(b.From) && a.To.Equal(b.To)
}

// readOccasion reads what a message keeps; those of earlier versions keep nothing.
func readOccasion(r store.Reminder) (occasionDetail, error) {
	var d occasionDetail
	if len(r.Detail) == 0 {
		return d, nil
	}
	if err := json.Unmarshal(r.Detail, &d); err != nil {
		return d, fmt.Errorf("api: detail of message: %w", err)
	}
	return d, nil
}

// empty reports whether there is nothing to keep.
func (d occasionDetail) empty() bool {
	return d.LateMinutes == 0 && d.Starts == nil && len(d.Leads) == 0 && len(d.Changes) == 0 && d.Helper == "" && len(d.Visits) == 0 &&
		d.CheckAt == nil && d.CheckBy == nil && d.Station == "" && d.Date == "" && len(d.Was) == 0 && d.Away == ""
}

// json writes d, nil when there is nothing to keep.
func (d occasionDetail) json() (json.RawMessage, error) {
	if d.empty() {
		return nil, nil
	}
	doc, err := json.Marshal(d)
	if err != nil {
		return nil, fmt.Errorf("api: detail of message: %w", err)
	}
	return doc, nil
}

// ahead is the instant some hours before t by the clock on the wall: whole days
// keep the time of day when the clocks change. Where that lies in quiet hours, it
// is the salon's usual time of that day.
func (n salonDay) ahead(r MessageRules, t time.Time, hours int) time.Time {
	at := t.In(n.loc).AddDate(0, 0, -(hours / 24)).Add(-time.Duration(hours%24) * time.Hour)
	if _, quiet := r.quietUntil(at, n.loc); !quiet {
		return at
	}
	usual := n.datedAt(r, at, 0)
	if _, quiet := r.quietUntil(usual, n.loc); quiet {
		return at
	}
	return usual
}

// datedAt is the salon's usual time on the day so many days after that of t.
func (n salonDay) datedAt(r MessageRules, t time.Time, days int) time.Time {
	return wall(n.loc, scheduling.CivilDate(t, n.loc).AddDate(0, 0, days), r.datedMinutes())
}

// datedMinutes is the salon's usual time for messages in minutes after midnight.
func (b MessageRules) datedMinutes() int {
	var f scheduling.Faults // it was checked when it was set
	return clockOf(&f, "dated_at", b.DatedAt)
}

// prepareDue is when the client hears how to prepare for v: some time before its
// start, or before the latest time for a skin test that nobody has put on.
func (n salonDay) prepareDue(r MessageRules, v store.Visit, needed []needs.Need) time.Time {
	first := v.Start
	for _, x := range needed {
		if x.Kind == needs.PatchTest && x.State == needs.Missing && x.Latest.Before(first) {
			first = x.Latest
		}
	}
	return n.ahead(r, first, r.PrepareHours)
}

// Kinds that come and go with the state of a visit: those about one that is to
// come, and those that follow from its end. All others are told once, when
// something happens.
var (
	aboutComing = []notify.Kind{notify.Held, notify.Prepare, notify.Reminder, notify.ClientLate}
	aboutEnd    = []notify.Kind{notify.Aftercare, notify.DayAfter, notify.AftercareEnd, notify.FirstWash, notify.Retouch, notify.RetouchAgain}
	// newsToClient is worth telling as long as the client is not here.
	newsToClient = []notify.Kind{notify.Confirmation, notify.Moved, notify.RunningLate}
)

// kindIn reports whether a message is of one of the kinds.
func kindIn(r store.Reminder, kinds []notify.Kind) bool {
	return slices.Contains(kinds, notify.Kind(r.Kind))
}

// treats reports whether hair is treated in v, so that it has to be left alone
// after it.
func treats(v store.Visit) bool {
	return slices.ContainsFunc(v.Services, func(x store.VisitService) bool { return x.Aftercare })
}

// followsFrom are the messages that follow from the end of v, seen from now; its
// hair grows like g. Nobody is called back because of v who has another treatment
// booked, or had one since: next is its start. Washed says that the look after the
// first wash is booked or over.
func (n salonDay) followsFrom(r MessageRules, v store.Visit, now time.Time, g scheduling.Growth, next *time.Time, washed bool) []occasion {
	if v.State != store.Finished && v.State != store.StoppedEarly || !needsAftercare(v) || v.Client == "" {
		return nil
	}
	end := realEnd(v)
	retouch := wall(n.loc, n.retouchDate(end, g), r.datedMinutes())
	list := []occasion{
		{kind: notify.Aftercare, due: end, onlyKept: now.After(n.keepDryUntil(end))},
		{kind: notify.DayAfter, due: end.Add(dayAfter), onlyAhead: true},
		{kind: notify.AftercareEnd, due: n.keepDryUntil(end), onlyAhead: true},
	}
	if !washed && (next == nil || next.Sub(end) >= followedFor) {
		due := n.datedAt(r, end, firstWashFrom)
		if dry := n.keepDryUntil(end); due.Before(dry) { // before that there is nothing to wash
			due = dry
		}
		list = append(list, occasion{kind: notify.FirstWash, due: due, onlyAhead: true})
	}
	if next == nil {
		list = append(list, occasion{kind: notify.Retouch, due: retouch, onlyAhead: true},
			occasion{kind: notify.RetouchAgain, due: n.datedAt(r, retouch, 7*r.RetouchAgainWeeks), onlyAhead: true})
	}
	return list
}

package notify

import (
	"fmt"
	"net/url"
	"strings"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// Kind names a message.
type Kind string

// The messages to a client, in the order in which a client gets them.
const (
	Held         Kind = "held"          // pencilled in, until when, and what makes it firm
	Confirmation Kind = "confirmation"  // the visit is booked, and how to prepare
	Prepare      Kind = "prepare"       // some days before: how to prepare, what is still needed
	Reminder     Kind = "reminder"      // the day before: asks for a yes
	Moved        Kind = "moved"         // the visit has another start
	Cancelled    Kind = "cancelled"     // the visit will not take place
	RunningLate  Kind = "running_late"  // the salon is late: the new start
	Aftercare    Kind = "aftercare"     // the visit is over: keep dry and untied
	DayAfter     Kind = "day_after"     // a day later: how is it going, and when to call
	AftercareEnd Kind = "aftercare_end" // hair may be washed and tied again
	FirstWash    Kind = "first_wash"    // a short look after the first wash
	Retouch      Kind = "retouch"       // enough new hair has grown
	RetouchAgain Kind = "retouch_again" // the same once more, for the last time
)

// The messages to staff. They name clients by their initials only.
const (
	DayChanged Kind = "day_changed"  // visits of the next 48 hours changed
	ClientLate Kind = "client_late"  // a client comes later
	DidNotCome Kind = "did_not_come" // a client did not come
	HelperAway Kind = "helper_away"  // who was to help with a visit is away
	CheckDue   Kind = "check_due"    // hair has to be looked at now
)

// Facts is what a message may speak of. A field that a kind does not use is
// ignored, so that no message can show it. Texts are put on one line, cleaned
// of control characters and cut at 200 characters. None of them may hold
// health data.
type Facts struct {
	SalonName string // always needed
	// SalonPhone is always needed: the number as the client would dial it, or
	// the mail address of a salon without a telephone.
	SalonPhone   string
	SalonAddress string // optional
	// Zone is the salon's time zone, always needed.
	Zone *time.Location
	// Hour24 writes 14:05 instead of 2:05 pm, Inches 3 inches instead of 8 cm.
	Hour24, Inches bool
	// Sent is when the message goes out, optional. With it a near day is
	// called today or tomorrow, and a far one gets its year.
	Sent time.Time

	// ClientFirstName is left out of the greeting when it is empty or looks
	// like a link or an address: a stranger can type it, and the message goes
	// to whatever address that stranger typed too.
	ClientFirstName string
	// GuardianFirstName is set when the message goes to a minor's guardian.
	GuardianFirstName string
	// StaffFirstName is greeted in messages to staff; optional.
	StaffFirstName string
	// ClientInitials is the client in messages to staff: at most 8 characters,
	// such as "M. K.". Needed by ClientLate, DidNotCome, HelperAway and
	// CheckDue.
	ClientInitials string

	// Services in their order, needed by Held, Confirmation, Prepare, Reminder
	// and Moved.
	Services []string
	// Straightening is true when one of them straightens with a solution;
	// preparation and the dry time are then part of the message.
	Straightening bool
	Stylist       string // optional

	// Start and End of the visit: planned before it, real after it. See
	// Compose for who needs which.
	Start, End time.Time
	// Before is the start that a moved visit had.
	Before time.Time
	// HeldUntil is when a visit that is pencilled in lapses, needed by Held.
	HeldUntil time.Time
	// StillNeeded is what the visit cannot start without, and in Held what
	// makes it firm. At most 20 entries.
	StillNeeded []Needed
	// LateMinutes is by how much Start is missed, 1 to 720; needed by
	// RunningLate and ClientLate.
	LateMinutes int
	// CanStartUntil is the last start at which the booked length still fits,
	// optional in ClientLate.
	CanStartUntil time.Time

	// KeepDryUntil and NoTieUntil are instants, 48 hours after End by common
	// practice. A nil NoTieUntil means the same as KeepDryUntil.
	KeepDryUntil, NoTieUntil *time.Time
	// Emergency is the emergency number, needed by Aftercare, DayAfter and
	// AftercareEnd.
	Emergency string

	// WithinFrom and WithinTo are the first and the last day that suit: of the
	// retouch (the first needed by Retouch and RetouchAgain) and of the look
	// after the first wash (both needed by FirstWash).
	WithinFrom, WithinTo *date.Date
	// NewHairCM is the length of new hair expected on WithinFrom, 0 when it is
	// not to be named; at most 30.
	NewHairCM float64

	// Changes is what happened to the day, needed by DayChanged; at most 20.
	Changes []Change
	// Helper is the first name of who is away, needed by HelperAway.
	Helper string
	// CheckAt is when hair is to be looked at, CheckBy the last moment for it
	// and Station the chair or basin; the first two are needed by CheckDue.
	CheckAt, CheckBy time.Time
	Station          string

	// Links are http or https addresses, all optional. Link is the client's
	// page for this visit, AnswerLink where the client says yes, BookLink
	// where another visit is asked for, and StopLink where the client stops
	// messages like this one. DayLink is the day page, for staff only.
	Link, AnswerLink, BookLink, StopLink, DayLink string
}

// Change is one visit that changed, in a message to staff.
type Change struct {
	What     ChangeWhat
	Initials string // of the client, at most 8 characters; optional
	Services []string
	Start    time.Time // as it is now, or as it was when cancelled
	Before   time.Time // the start it had, when moved
}

// ChangeWhat says what happened to a visit.
type ChangeWhat string

// What can happen to a visit.
const (
	ChangeBooked    ChangeWhat = "booked"
	ChangeMoved     ChangeWhat = "moved"
	ChangeCancelled ChangeWhat = "cancelled"
	ChangeOther     ChangeWhat = "changed" // other services, people or length
)

// Needed is one thing that is missing before a visit may start, such as a
// consultation or a deposit, and the latest time for it.
type Needed struct {
	What string
	By   time.Time
}

// Bounds of plausible input, judgement: no visit lasts a day, and no-tie
// times of up to seven days are in use (trade pages).
const (
	longestVisit     = 24 * time.Hour
	longestAftercare = 14 * 24 * time.Hour
	longestLink      = 500 // characters
	longestLate      = 720 // minutes
	longestList      = 20  // entries
	longestInitials  = 8   // characters
	longestNewHair   = 30  // centimetres, some two years of growth
)

// check returns scheduling.Faults naming every field that kind k lacks.
func (f Facts) check(k Kind) error {
	var faults scheduling.Faults
	if _, ok := kindNames[k]; !ok {
		faults.Addf("kind", "one of "+kindList(), "is %.40q", string(k))
		return faults
	}
	checkText(&faults, "salon_name", f.SalonName)
	checkText(&faults, "salon_phone", f.SalonPhone)
	if f.Zone == nil {
		faults.Add("zone", "is missing", "the salon's time zone")
	}
	for _, l := range []struct{ field, link string }{
		{"link", f.Link}, {"answer_link", f.AnswerLink}, {"book_link", f.BookLink}, {"stop_link", f.StopLink}, {"day_link", f.DayLink},
	} {
		if l.link != "" && !plainLink(l.link) {
			faults.Add(l.field, "is not a web address", "an http or https address of at most 500 characters")
		}
	}
	switch k {
	case Held, Confirmation, Prepare, Reminder, Moved:
		f.checkVisit(k, &faults)
	case Aftercare, DayAfter, AftercareEnd:
		checkText(&faults, "emergency", f.Emergency)
		if k != DayAfter || f.KeepDryUntil != nil {
			f.checkAftercare(&faults)
		} else {
			checkSet(&faults, "end", f.End)
		}
	case FirstWash, Retouch, RetouchAgain:
		f.checkWithin(k, &faults)
	case Cancelled:
		checkSet(&faults, "start", f.Start)
	case RunningLate:
		checkSet(&faults, "start", f.Start)
		faults.Count("late_minutes", f.LateMinutes, 1, longestLate)
	default:
		f.checkStaff(k, &faults)
	}
	return faults.Err()
}

func kindList() string {
	var all []string
	for _, k := range Kinds() {
		all = append(all, string(k))
	}
	return strings.Join(all, ", ")
}

// checkStaff checks what a message to staff needs.
func (f Facts) checkStaff(k Kind, faults *scheduling.Faults) {
	if k != DayChanged {
		checkText(faults, "client_initials", f.ClientInitials)
		checkInitials(faults, "client_initials", f.ClientInitials)
	}
	switch k {
	case ClientLate:
		checkSet(faults, "start", f.Start)
		faults.Count("late_minutes", f.LateMinutes, 1, longestLate)
	case DidNotCome:
		checkSet(faults, "start", f.Start)
	case HelperAway:
		checkSet(faults, "start", f.Start)
		checkText(faults, "helper", f.Helper)
	case CheckDue:
		checkSet(faults, "check_at", f.CheckAt)
		checkSet(faults, "check_by", f.CheckBy)
		if f.CheckBy.Before(f.CheckAt) {
			faults.Add("check_by", "is before check_at", "the last moment for the check")
		}
	case DayChanged:
		faults.Count("changes", len(f.Changes), 1, longestList)
		for i, x := range f.Changes {
			x.check(faults, fmt.Sprintf("changes[%d]", i))
		}
	}
}

func (x Change) check(faults *scheduling.Faults, at string) {
	switch x.What {
	case ChangeBooked, ChangeMoved, ChangeCancelled, ChangeOther:
	default:
		faults.Addf(at+".what", "booked, moved, cancelled or changed", "is %.40q", string(x.What))
	}
	checkInitials(faults, at+".initials", x.Initials)
	checkSet(faults, at+".start", x.Start)
	if x.What == ChangeMoved {
		checkSet(faults, at+".before", x.Before)
	}
}

// checkInitials keeps whole names out of messages to staff.
func checkInitials(faults *scheduling.Faults, field, s string) {
	if characters(s) > longestInitials {
		faults.Add(field, "is longer than initials are", "at most 8 characters, such as M. K.")
	}
}

// checkWithin checks the days between which a client is asked to come.
func (f Facts) checkWithin(k Kind, faults *scheduling.Faults) {
	if f.WithinFrom == nil {
		faults.Add("within_from", "is missing", "a date")
	}
	switch {
	case f.WithinTo == nil && k == FirstWash:
		faults.Add("within_to", "is missing", "a date")
	case f.WithinTo != nil && f.WithinFrom != nil && f.WithinTo.Before(*f.WithinFrom):
		faults.Add("within_to", "is before within_from", "that day or a later one")
	}
	if f.NewHairCM != 0 {
		faults.Between("new_hair_cm", f.NewHairCM, 0, longestNewHair, "cm")
	}
}

// checkVisit checks what a message about a coming visit needs.
func (f Facts) checkVisit(k Kind, faults *scheduling.Faults) {
	checkSet(faults, "start", f.Start)
	checkSet(faults, "end", f.End)
	if stay := f.End.Sub(f.Start); stay <= 0 || stay > longestVisit {
		faults.Add("end", "is not within the day after the start", "a time after the start, at most 24 hours later")
	}
	if len(cleanAll(f.Services)) == 0 {
		faults.Add("services", "is empty", "at least one name")
	}
	switch k {
	case Moved:
		checkSet(faults, "before", f.Before)
	case Held:
		checkSet(faults, "held_until", f.HeldUntil)
	}
	if n := len(f.StillNeeded); n > longestList {
		faults.Addf("still_needed", "at most 20 entries", "has %d", n)
	}
	for i, n := range f.StillNeeded {
		if clean(n.What) == "" || n.By.IsZero() {
			faults.Addf("still_needed", "a name and a latest time", "has an incomplete entry at index %d", i)
		}
	}
	if f.Straightening {
		f.checkAftercare(faults)
	}
}

// checkAftercare checks the times until which hair stays dry and untied.
func (f Facts) checkAftercare(faults *scheduling.Faults) {
	checkSet(faults, "end", f.End)
	if f.KeepDryUntil == nil {
		faults.Add("keep_dry_until", "is missing", "a time after the end of the visit")
	} else {
		f.checkUntil(faults, "keep_dry_until", *f.KeepDryUntil)
	}
	if f.NoTieUntil != nil {
		f.checkUntil(faults, "no_tie_until", *f.NoTieUntil)
	}
}

func (f Facts) checkUntil(faults *scheduling.Faults, field string, until time.Time) {
	if d := until.Sub(f.End); d <= 0 || d > longestAftercare {
		faults.Add(field, "is not within 14 days after the end of the visit", "a time after the end, at most 14 days later")
	}
}

func checkText(faults *scheduling.Faults, field, s string) {
	if clean(s) == "" {
		faults.Add(field, "is empty", "a text")
	}
}

func checkSet(faults *scheduling.Faults, field string, t time.Time) {
	if t.IsZero() {
		faults.Add(field, "is missing", "a time")
	}
}

// plainLink tells whether s is a web address that a mail program will show
// as one whole.
func plainLink(s string) bool {
	if len(s) > longestLink {
		return false
	}
	for _, r := range s {
		if r <= ' ' || r > '~' || r == '<' || r == '>' || r == '"' {
			return false
		}
	}
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "https" || u.Scheme == "http") && u.Host != "" && u.User == nil
}

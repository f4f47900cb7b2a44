package notify

import (
	"time"

	"github.com/rickb777/date"
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
	// Emergency is the emergency number of where the salon is, for Aftercare,
	// DayAfter and AftercareEnd; without one they say whom to call in words.
	Emergency string

	// WithinFrom and WithinTo are the first and the last day that suit: of the
	// retouch (the first needed by Retouch and RetouchAgain) and of the look
	// after the first wash (both needed by FirstWash).
	WithinFrom, WithinTo *date.Date
	// NewHairCM is the length of new hair expected on WithinFrom, 0 when it is
	// not to be named; at most 30.
	NewHairCM float64

	// Changes is what happened to the day, needed by DayChanged; at most 20. In
	// HelperAway they are the visits that are hit, when there are several.
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
	// messages like this one. A text message with AnswerLink need not show
	// StopLink: the page behind it stops messages too. DayLink is the day page, for staff only.
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

// Needed is one thing that is missing before a visit may start and the latest
// time for it. Kind is put into the words of the language; What is said instead
// when there is none.
type Needed struct {
	Kind Need
	What string
	By   time.Time
}

// Need names a thing that a visit may lack.
type Need string

// The needs for which a language file has words.
const (
	NeedConsultation    Need = "consultation"
	NeedSkinTest        Need = "patch_test"
	NeedSkinTestReading Need = "patch_test_reading" // the test is on, somebody has to look at it
	NeedStrandTest      Need = "strand_test"
	NeedDeposit         Need = "deposit"
	NeedGuardian        Need = "guardian"
	NeedConsent         Need = "consent"
)

// Needs lists every need.
func Needs() []Need {
	return []Need{NeedConsultation, NeedSkinTest, NeedSkinTestReading, NeedStrandTest, NeedDeposit, NeedGuardian, NeedConsent}
}

package notify

import (
	"net/url"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// Kind names a message.
type Kind string

// The messages, in the order in which a client gets them.
const (
	Confirmation Kind = "confirmation"  // the visit is booked, and how to prepare
	Reminder     Kind = "reminder"      // the visit is near
	Moved        Kind = "moved"         // the visit has another start
	Cancelled    Kind = "cancelled"     // the visit will not take place
	Aftercare    Kind = "aftercare"     // the visit is over: keep dry and untied
	AftercareEnd Kind = "aftercare_end" // hair may be washed and tied again
	Retouch      Kind = "retouch"       // enough new hair has grown
)

// Facts is what a message may speak of. A field that a kind does not use is
// ignored. Texts are put on one line, cleaned of control characters and cut
// at 200 characters. None of them may hold health data.
type Facts struct {
	SalonName    string // always needed
	SalonPhone   string // always needed, as the client would dial it
	SalonAddress string // optional
	// Zone is the salon's time zone, always needed.
	Zone *time.Location
	// Hour24 writes 14:05 instead of 2:05 pm.
	Hour24 bool

	// ClientFirstName is left out of the greeting when it is empty or looks
	// like a link or an address: a stranger can type it, and the message goes
	// to whatever address that stranger typed too.
	ClientFirstName string
	// GuardianFirstName is set when the message goes to a minor's guardian.
	GuardianFirstName string

	// Services in their order, needed by Confirmation, Reminder and Moved.
	Services []string
	// Straightening is true when one of them straightens with a solution;
	// preparation and the dry time are then part of the message.
	Straightening bool
	Stylist       string // optional

	// Start and End of the visit: planned before it, real after it. All kinds
	// but Retouch need the one or the other, see Compose.
	Start, End time.Time
	// Before is the start that a moved visit had.
	Before time.Time
	// StillNeeded is what the visit cannot start without.
	StillNeeded []Needed

	// KeepDryUntil and NoTieUntil are instants, 48 hours after End by common
	// practice. A nil NoTieUntil means the same as KeepDryUntil.
	KeepDryUntil, NoTieUntil *time.Time
	// Emergency is the emergency number, needed by Aftercare and AftercareEnd.
	Emergency string

	// RetouchFrom is the day on which regrowth reaches the salon's threshold,
	// needed by Retouch.
	RetouchFrom *date.Date

	// Link is the client's page for this visit, or for a new one in Cancelled
	// and Retouch; optional, http or https.
	Link string
}

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
)

// check returns scheduling.Faults naming every field that kind k lacks.
func (f Facts) check(k Kind) error {
	var faults scheduling.Faults
	need := func(field, value string) {
		if clean(value) == "" {
			faults.Add(field, "is empty", "a text")
		}
	}
	need("salon_name", f.SalonName)
	need("salon_phone", f.SalonPhone)
	if f.Zone == nil {
		faults.Add("zone", "is missing", "the salon's time zone")
	}
	if f.Link != "" && !plainLink(f.Link) {
		faults.Add("link", "is not a web address", "an http or https address of at most 500 characters")
	}
	switch k {
	case Confirmation, Reminder, Moved:
		f.checkVisit(k, &faults)
	case Cancelled:
		checkSet(&faults, "start", f.Start)
	case Aftercare:
		need("emergency", f.Emergency)
		f.checkAftercare(&faults)
	case AftercareEnd:
		need("emergency", f.Emergency)
		f.checkAftercare(&faults)
	case Retouch:
		if f.RetouchFrom == nil {
			faults.Add("retouch_from", "is missing", "a date")
		}
	default:
		faults.Addf("kind", "confirmation, reminder, moved, cancelled, aftercare, aftercare_end or retouch", "is %.40q", string(k))
	}
	return faults.Err()
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
	if k == Moved {
		checkSet(faults, "before", f.Before)
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

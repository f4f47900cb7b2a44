package notify

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
)

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
	switch k { //nolint:exhaustive // the others need nothing here
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
	switch k { //nolint:exhaustive // the others need nothing here
	case Moved:
		checkSet(faults, "before", f.Before)
	case Held:
		checkSet(faults, "held_until", f.HeldUntil)
	}
	if n := len(f.StillNeeded); n > longestList {
		faults.Addf("still_needed", "at most 20 entries", "has %d", n)
	}
	for i, n := range f.StillNeeded {
		if n.Kind == "" && clean(n.What) == "" || n.By.IsZero() {
			faults.Addf("still_needed", "a name and a latest time", "has an incomplete entry at index %d", i)
		}
		if n.Kind != "" && !slices.Contains(Needs(), n.Kind) {
			faults.Addf("still_needed", "a kind that language files have words for", "has the unknown kind %.40q", string(n.Kind))
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

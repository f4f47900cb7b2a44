package notify

import (
	"maps"
	"slices"
	"strings"
)

// What the texts may speak of. A name that a message does not list here is
// not known to its text, whatever the facts hold.
var (
	anyNames = names{
		"salon": textName, "phone": linkName, "by_mail": flagName, "address": textName,
	}
	clientNames = anyNames.and(names{
		"name": textName, "for_child": flagName, "child": textName, "stop_link": linkName,
	})
	staffNames = anyNames.and(names{"staff": textName, "day_link": linkName})

	visitNames = clientNames.and(names{
		"start": textName, "start_time": textName, "today": flagName, "tomorrow": flagName, "link": linkName,
	})
	comingNames = visitNames.and(careNames).and(names{
		"when": textName, "stay": textName, "services": textName, "stylist": textName,
		"needed": listName, "straightening": flagName,
	})
	careNames = names{
		"dry": textName, "dry_hours": textName, "tie": textName, "tie_hours": textName,
		"tie_differs": flagName, "tie_longer": flagName, "clock_change": textName,
	}
	afterNames   = clientNames.and(careNames).and(names{"emergency": linkName, "link": linkName, "book_link": linkName})
	withinNames  = clientNames.and(names{"from": textName, "to": textName, "book_link": linkName})
	retouchNames = withinNames.and(names{"new_hair": textName})
	lateNames    = names{"start": textName, "start_time": textName, "today": flagName, "late": textName, "new_start": textName, "new_time": textName}
	rowNames     = staffNames.and(names{"initials": textName, "services": textName, "start": textName, "start_time": textName, "today": flagName, "tomorrow": flagName})
)

// kindNames is what each message may speak of.
var kindNames = map[Kind]names{
	Held:         comingNames.and(names{"held_until": textName, "answer_link": linkName}),
	Confirmation: comingNames,
	Prepare:      comingNames,
	Reminder:     comingNames.and(names{"answer_link": linkName}),
	Moved:        comingNames.and(names{"before": textName, "same_time": flagName, "answer_link": linkName}),
	Cancelled:    visitNames.and(names{"book_link": linkName}),
	RunningLate:  visitNames.and(lateNames),
	Aftercare:    afterNames,
	DayAfter:     afterNames,
	AftercareEnd: afterNames,
	FirstWash:    withinNames,
	Retouch:      retouchNames,
	RetouchAgain: retouchNames,
	DayChanged:   staffNames.and(names{"changes": listName, "day": textName}),
	ClientLate:   rowNames.and(lateNames).and(names{"can_start_until": textName}),
	DidNotCome:   rowNames,
	HelperAway:   rowNames.and(names{"helper": textName, "others": flagName, "changes": listName}),
	CheckDue:     staffNames.and(names{"initials": textName, "check_at": textName, "check_by": textName, "station": textName}),
}

// entryNames is what one entry of each list holds.
var entryNames = map[string]names{
	"needed": {"what": textName, "by": textName},
	"changes": {
		"booked": flagName, "moved": flagName, "cancelled": flagName, "changed": flagName,
		"initials": textName, "services": textName, "start": textName, "before": textName,
	},
}

// mustSay is what no message may leave out, neither as a mail nor as a text
// message: in each group one of the names.
var mustSay = map[Kind][][]string{
	Held:         {{"start", "when"}, {"held_until"}},
	Confirmation: {{"start", "when"}},
	Prepare:      {{"start", "when"}},
	Reminder:     {{"start", "when", "start_time"}, {"answer_link"}},
	Moved:        {{"start", "when"}},
	Cancelled:    {{"start"}},
	RunningLate:  {{"new_start", "new_time"}, {"phone"}},
	Aftercare:    {{"dry"}, {"phone"}, {"emergency"}},
	DayAfter:     {{"phone"}, {"emergency"}},
	AftercareEnd: {{"phone"}},
	FirstWash:    {{"from"}, {"to"}},
	Retouch:      {{"from"}},
	RetouchAgain: {{"from"}},
	DayChanged:   {{"changes", "day"}},
	ClientLate:   {{"initials"}, {"late", "new_start", "new_time"}},
	DidNotCome:   {{"initials"}, {"start", "start_time"}},
	HelperAway:   {{"helper"}, {"initials", "changes"}, {"start", "start_time", "changes"}},
	CheckDue:     {{"initials"}, {"check_by"}},
}

// Kinds lists every message, those to clients first.
func Kinds() []Kind {
	return []Kind{Held, Confirmation, Prepare, Reminder, Moved, Cancelled, RunningLate, Aftercare, DayAfter, AftercareEnd,
		FirstWash, Retouch, RetouchAgain, DayChanged, ClientLate, DidNotCome, HelperAway, CheckDue}
}

// ForStaff tells whether messages of kind k go to staff.
func (k Kind) ForStaff() bool {
	switch k { //nolint:exhaustive // the others need nothing here
	case DayChanged, ClientLate, DidNotCome, HelperAway, CheckDue:
		return true
	}
	return false
}

// invites tells whether messages of kind k ask a client to come again, which
// nobody may be sent without a way to stop it.
func (k Kind) invites() bool { return k == FirstWash || k == Retouch || k == RetouchAgain }

// and returns the names of both.
func (n names) and(more names) names {
	all := maps.Clone(n)
	maps.Copy(all, more)
	return all
}

// String lists the names for a fault.
func (n names) String() string {
	return strings.Join(slices.Sorted(maps.Keys(n)), ", ")
}

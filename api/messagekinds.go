package api

import (
	"slices"

	"chairblock/api/notify"
)

// messageKind is a kind of message as a salon and its clients choose among them.
type messageKind struct {
	kind  notify.Kind
	topic string // messages of one topic are stopped together by a client
	words string // what it says, after "messages that say"
	name  string // what people here call it
}

// Topics of messages to clients, and what a client is asked who wants no more of
// them.
const (
	aboutTheVisit = "visit" // what was agreed
	beforeVisit   = "before"
	afterVisit    = "care"
	comeAgain     = "again" // invitations; the others belong to a visit that the client asked for
	atWorkHere    = "staff"
)

// clientKinds are the messages to clients, in the order in which they come.
var clientKinds = []messageKind{
	{"held", aboutTheVisit, "a time is pencilled for you", "pencilled until"},
	{"confirmation", aboutTheVisit, "a visit is booked", "booking confirmed"},
	{"prepare", beforeVisit, "how to prepare for a visit", "how to prepare"},
	{"reminder", beforeVisit, "a visit is near", "reminder"},
	{"moved", aboutTheVisit, "a visit has another time", "another time"},
	{"cancelled", aboutTheVisit, "a visit does not take place", "cancelled"},
	{"running_late", aboutTheVisit, "we are running late", "running late"},
	{"aftercare", afterVisit, "how to look after your hair", "aftercare"},
	{"day_after", afterVisit, "how it is a day after a visit", "the day after"},
	{"aftercare_end", afterVisit, "your hair may be washed and tied again", "end of aftercare"},
	{"first_wash", comeAgain, "we would like to see your hair after its first wash", "first wash"},
	{"retouch", comeAgain, "a retouch is about due", "retouch due"},
	{"retouch_again", comeAgain, "a retouch is still about due", "retouch due, once more"},
}

// staffKinds are the messages to the people who work in a salon.
var staffKinds = []messageKind{
	{"day_changed", atWorkHere, "a day has changed", "day has changed"},
	{"client_late", atWorkHere, "a client is late", "client is late"},
	{"did_not_come", atWorkHere, "a client did not come", "client did not come"},
	{"helper_away", atWorkHere, "a helper is away", "helper is away"},
	{"check_due", atWorkHere, "a check is due", "check due"},
}

// topicWords say what a topic is about, after "messages about".
var topicWords = map[string]string{
	aboutTheVisit: "visits that are booked, moved or cancelled",
	beforeVisit:   "how to prepare, and reminders of a visit",
	afterVisit:    "how to look after your hair after a visit",
	comeAgain:     "coming again",
}

// kindNamed finds a kind of message to clients or to staff.
func kindNamed(kind string) (messageKind, bool) {
	for _, list := range [][]messageKind{clientKinds, staffKinds} {
		if i := slices.IndexFunc(list, func(k messageKind) bool { return string(k.kind) == kind }); i >= 0 {
			return list[i], true
		}
	}
	return messageKind{}, false
}

// messageNames lists the names of kinds.
func messageNames(lists ...[]messageKind) []string {
	var out []string
	for _, list := range lists {
		for _, k := range list {
			out = append(out, string(k.kind))
		}
	}
	return out
}

// mustKnow reports whether somebody who is not told may come for nothing: the
// desk hears of it where the message itself is not wanted.
func mustKnow(kind string) bool {
	return kind == "moved" || kind == "cancelled" || kind == "running_late"
}

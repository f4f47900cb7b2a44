package api

import (
	"chairblock/api/pages"
	"chairblock/store"
)

// Ways in which somebody hears of something.
const (
	wayMail = "mail"
	wayText = "text"
	wayCall = "call"
	wayNone = "none"

	wayNotAsked = store.NotAsked
)

// nobodyAsked is why nothing goes out to somebody who can be reached and was not
// asked how.
const nobodyAsked = "nobody has asked her yet how she wants to hear of it"

// nowhere is why nothing goes out to somebody of whom nothing is noted.
const nowhere = "neither a mail address nor a telephone number is noted"

// way is how somebody is to hear of a message: by mail or text, or not by the
// program at all, which is then an outcome.
type way struct {
	by      string
	outcome store.ReminderState // when by is neither mail nor text
	problem string
}

// askWay is the question how to is to be reached, asked on the page at the address
// back; nil when it has been answered.
func askWay(to person, back string) *pages.AskWay {
	if to.by != wayNotAsked {
		return nil
	}
	at := Path("clients", to.client.ID)
	a := &pages.AskWay{Action: at + "/way", Back: back, Guardian: to.minor, NoteHref: at + "/edit"}
	if to.minor {
		a.NoteHref = at + "/minor"
	}
	if to.phone != "" {
		a.Ways = []pages.Option{{ID: wayCall, Name: "By telephone"}, {ID: wayText, Name: "By text message"}, {ID: wayNone, Name: "Not at all"}}
	}
	return a
}

// AskWayOf is the question how the client of a file is to be reached, asked on the
// page at the address back; nil when it has been answered.
func AskWayOf(o ClientOverview, back string) *pages.AskWay {
	to := person{client: store.Client{ID: o.Client.ID}, by: o.Client.ContactBy, phone: o.Client.Phone, mail: o.Client.Mail}
	if m := o.Minor; m != nil && m.Minor {
		to.minor, to.by, to.phone, to.mail = true, m.ContactBy, m.Phone, m.Mail
	}
	return askWay(to, back)
}

// hears says how the person to hears of kind by the wishes of its client. Texts
// says whether the salon has a gateway for text messages.
func (b MessageRules) hears(kind string, to person, w store.MessageWish, texts bool) way {
	k, ok := kindNamed(kind)
	if !ok || !b.sends(kind) {
		return way{outcome: store.NotWanted, problem: "the salon does not send these messages"}
	}
	by := to.by
	if by == wayNone {
		return way{outcome: store.NotWanted, problem: "the client wishes no messages"}
	}
	if by == wayNotAsked {
		switch {
		case to.mail == "" && to.phone == "":
			return way{outcome: store.NotWanted, problem: nowhere}
		case mustKnow(kind):
			return to.called(nobodyAsked)
		}
		return way{outcome: store.NotWanted, problem: nobodyAsked}
	}
	if why := b.unwanted(k, by, w, to.minor); why != "" {
		if mustKnow(kind) {
			return way{outcome: store.ToCall, problem: why}
		}
		return way{outcome: store.NotWanted, problem: why}
	}
	switch {
	case by == wayCall:
		return to.called("")
	case by == wayMail && to.mail == "":
		return to.called("there is no mail address")
	case by == wayText && to.phone == "":
		return to.called("there is no telephone number")
	case by == wayText && !texts:
		return to.called("the salon has no gateway for text messages")
	}
	return way{by: by}
}

// called puts the message on the desk's list, or nowhere without a number.
func (p person) called(why string) way {
	if p.phone == "" {
		return way{outcome: store.NotWanted, problem: joined(why, "there is no telephone number")}
	}
	return way{outcome: store.ToCall, problem: why}
}

func joined(a, b string) string {
	if a == "" || a == b {
		return b
	}
	return a + ", and " + b
}

// unwanted says why somebody wants no message of a kind by a way, "" when she
// does. The last word of who is spoken to counts: a guardian's while the client is
// a minor, the client's own after that.
func (b MessageRules) unwanted(k messageKind, by string, w store.MessageWish, guardian bool) string {
	stopped := func(kind, way string) bool {
		said := w.Said(kind, way, guardian)
		return said != nil && !*said
	}
	switch {
	case stopped(string(k.kind), ""):
		return "these messages were stopped"
	case stopped("", by):
		return "messages by " + by + " were stopped"
	}
	if k.topic == comeAgain && *b.InvitationsNeedYes {
		if said := w.Said(string(k.kind), "", guardian); said == nil || !*said {
			return "nobody has agreed to these messages"
		}
	}
	return ""
}

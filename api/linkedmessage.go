package api

import (
	"context"
	"time"

	"chairblock/api/notify"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// linked is the message that a link stands in, with whom it went to.
type linked struct {
	salon    salonDay
	reminder store.Reminder
	visit    store.Visit
	kind     messageKind
	way      string // how it went: mail or text
	guardian bool   // it went to who answers for a minor
	wish     store.MessageWish
	to       person // who would hear of the visit now
	sent     time.Time
	own      bool // it leads on to the client's own pages
}

// readLinked finds the message of a link within its salon. A link that no message
// has, one of a message to staff and one whose time is over are all the same.
func (s *Server) readLinked(ctx context.Context, t *store.Tx, id string) (*linked, error) {
	r, err := t.ReminderByID(ctx, id)
	if err != nil {
		return nil, err
	}
	l := &linked{reminder: r, way: wayMail}
	if l.sent = r.Due; r.Done != nil {
		l.sent = *r.Done
	}
	var ok bool
	if l.kind, ok = kindNamed(r.Kind); !ok || r.Staff != "" || s.now().Sub(l.sent) > linkLife {
		return nil, scheduling.ErrNotFound
	}
	if r.Channel == store.ByWebhook {
		l.way = wayText
	}
	if l.salon, err = loadSalon(ctx, t); err != nil {
		return nil, err
	}
	if l.visit, err = t.VisitByID(ctx, r.Visit); err != nil {
		return nil, err
	}
	minors, err := t.MinorsOf(ctx, l.visit.Client)
	if err != nil {
		return nil, err
	}
	c, err := t.ClientByID(ctx, l.visit.Client)
	if err != nil {
		return nil, err
	}
	m, minor := minors[c.ID]
	l.to, l.guardian = s.spokenTo(l.salon, c, minors), minor && l.salon.minorAt(m, l.sent)
	if l.wish, err = t.MessageWishOf(ctx, c.ID); err != nil {
		return nil, err
	}
	closed, err := t.MessagesClosed(ctx, c.ID)
	l.own = l.guardian == l.to.minor && l.sent.Truncate(time.Second).After(closed)
	return l, err
}

// leadsTo is which of the client's own pages the message is about.
func (l *linked) leadsTo() string {
	switch {
	case l.kind.topic == comeAgain && l.kind.kind != notify.FirstWash:
		return "/own/again"
	case l.kind.topic == afterVisit || l.kind.kind == notify.FirstWash:
		return "/own/visits/" + l.visit.ID + "/care"
	}
	return "/own/visits/" + l.visit.ID
}

// ownWords say what the way to the client's own pages is for.
func (l *linked) ownWords() string {
	switch {
	case !l.own:
		return ""
	case l.leadsTo() == "/own/again":
		return "Find a time"
	case l.kind.topic == afterVisit || l.kind.kind == notify.FirstWash:
		return "What to do and until when"
	}
	return "Look at the visit, move it or cancel it"
}

// about are the words that stop, or ask again for, what a button names: nil for
// what is no button.
func (l *linked) about(what string) []store.MessageChoice {
	said := store.MessageChoice{Guardian: l.guardian, MessageKind: l.reminder.Kind, How: "page"}
	var out []store.MessageChoice
	switch what {
	case stopTopic:
		for _, k := range clientKinds {
			if k.topic == l.kind.topic {
				c := said
				c.Kind = string(k.kind)
				out = append(out, c)
			}
		}
	case stopWay:
		said.Way = l.way
		out = append(out, said)
	}
	return out
}

// stopped is when all that a button names was stopped, nil when it was not.
func (l *linked) stopped(what string) *time.Time {
	var last *time.Time
	for _, about := range l.about(what) {
		said := l.wish.Word(about.Kind, about.Way, about.Guardian)
		if said == nil || said.Wanted == nil || *said.Wanted {
			return nil
		}
		if last == nil || said.At.After(*last) {
			last = &said.At
		}
	}
	return last
}

func (s *Server) describeLinked(l *linked, href, done string) pages.AnswerPage {
	n := l.salon
	p := pages.AnswerPage{Salon: n.row.Name, Phone: n.row.Phone, Href: href, Done: done, Location: n.loc, Open: l.ownWords()}
	if k := l.kind.topic; k == aboutTheVisit || k == beforeVisit {
		p.Visit = &pages.AnswerVisit{Start: l.visit.Start, SaidYes: l.visit.SaidYesAt, State: s.cannotAnswer(l.visit)}
	}
	by := map[string]string{wayMail: "all emails", wayText: "all text messages"}[l.way]
	p.Topics = []pages.AnswerTopic{{Key: stopTopic, Words: "messages about " + topicWords[l.kind.topic], Stopped: l.stopped(stopTopic)},
		{Key: stopWay, Words: by, Stopped: l.stopped(stopWay)}}
	stopped := p.Topics[0].Stopped != nil && l.kind.topic == aboutTheVisit || p.Topics[1].Stopped != nil
	p.StillTold = stopped && l.to.phone != ""
	return p
}

// cannotAnswer says in a word why there is no yes to say to a visit, "" when there
// is.
func (s *Server) cannotAnswer(v store.Visit) string {
	switch {
	case v.State == store.Cancelled || v.State == store.Missed || v.State == store.Lapsed:
		return "cancelled"
	case v.State == store.Held:
		return "pencilled, and not booked yet"
	case v.State != store.Booked || !s.now().Before(v.Start):
		return "over"
	}
	return ""
}

package api

import (
	"context"
	"time"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// outgoing is a message that is due, with everything that decides whether it goes out,
// when and how, as it is at the moment of sending.
type outgoing struct {
	tells
	due     store.Due
	rules   MessageRules
	to      person
	way     way
	outcome *store.Outcome // what became of it, nil when it is to be sent

	words      *notify.Words
	facts      notify.Facts
	gateway    *gateway           // for texts, nil without one
	invitation *notify.Invitation // for mails, nil without one
}

// settle says what became of m.
func (m *outgoing) settle(state store.ReminderState, problem string) {
	m.outcome = &store.Outcome{State: state, Problem: problem}
}

// readMessage reads a due message anew, decides what becomes of it and, when it is
// to be sent, gathers what it says.
func (s *Server) readMessage(ctx context.Context, d store.Due) (m *outgoing, err error) {
	link, err := s.linkOf(ctx, d)
	if err != nil {
		return nil, err
	}
	err = s.store.InTx(ctx, d.Salon.ID, func(t *store.Tx) error {
		m = &outgoing{} // what was read before is void when the transaction is repeated
		var err error
		if m.due, err = t.DueNow(ctx, d); is(err, scheduling.ErrNotFound) {
			m.settle(store.Withdrawn, "the visit is gone")
			return nil
		}
		if err != nil {
			return err
		}
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if d.Reminder.Kind == string(calendarEntry) {
			return s.decideRemoval(ctx, t, n, m)
		}
		if d.Reminder.Kind == string(addressChanged) {
			return s.decideTelling(ctx, t, m)
		}
		if err := s.decideMessage(ctx, t, n, m); err != nil {
			return err
		}
		if err := s.uninvite(ctx, t, n, m); err != nil || m.outcome != nil {
			return err
		}
		return s.gather(ctx, t, n, m, link)
	})
	return m, err
}

// linkOf is the address that stands in a message, "" in one to staff and in one
// that goes to a calendar or an old address alone.
func (s *Server) linkOf(ctx context.Context, d store.Due) (string, error) {
	if d.Reminder.Staff != "" || d.Reminder.Kind == string(calendarEntry) || d.Reminder.Kind == string(addressChanged) {
		return "", nil
	}
	secret, err := s.store.MessageLink(ctx, d.Salon, d.Reminder.ID)
	return s.base + messagePath + secret, err
}

// decideMessage says whether m goes out now, and how.
func (s *Server) decideMessage(ctx context.Context, t *store.Tx, n salonDay, m *outgoing) error {
	r := m.due.Reminder
	var err error
	if m.tells, err = tellsOf(ctx, t, n, r, m.due.Visit); err != nil {
		return err
	}
	if m.rules, err = messageRulesOf(n.row); err != nil {
		return err
	}
	switch why := m.pointless(s.now()); {
	case r.State == store.Withdrawn:
		m.settle(store.Withdrawn, r.Problem)
	case why != "":
		m.settle(store.Withdrawn, why)
	case m.tooLate(s.now()):
		m.settle(store.Withdrawn, "it would have come too late")
	}
	if m.outcome != nil {
		return nil
	}
	if err := s.afterOthers(ctx, t, m); err != nil || m.outcome != nil {
		return err
	}
	return s.decideWay(ctx, t, n, m)
}

// againAfter is how long after the first invitation to a retouch the second one
// goes out at the soonest (judgement).
const againAfter = 7 * 24 * time.Hour

// afterOthers lets a message go by what became of earlier ones about its visit:
// nobody is reminded who was told a moment ago, and "we wrote to you" is true.
func (s *Server) afterOthers(ctx context.Context, t *store.Tx, m *outgoing) error {
	if m.kind != notify.Reminder && m.kind != notify.RetouchAgain {
		return nil
	}
	list, err := t.RemindersOf(ctx, m.visit.ID)
	if err != nil {
		return err
	}
	if m.kind == notify.Reminder {
		if toldIn(list, m.due.Reminder.Due.Add(-toldLately), notify.Confirmation, notify.Moved) {
			m.settle(store.Withdrawn, "the client was told of the visit shortly before")
		}
		return nil
	}
	m.outcome = &store.Outcome{State: store.Withdrawn, Problem: "there was no first message about the retouch"}
	for _, r := range list {
		switch {
		case r.Kind != string(notify.Retouch):
		case r.State == store.Waiting || r.State == store.Sending:
			m.outcome = &store.Outcome{State: store.Waiting, Later: s.now().Add(againAfter)}
		case r.State == store.Sent || r.State == store.ToCall:
			since := r.Due
			if r.Done != nil && r.Done.After(since) && !r.Done.After(s.now()) {
				since = *r.Done
			}
			m.outcome = nil
			if again := since.Add(againAfter); again.After(s.now()) {
				m.outcome = &store.Outcome{State: store.Waiting, Later: again}
			}
		}
	}
	return nil
}

// decideWay says how m reaches whom it is for, and that it waits in quiet hours.
// Lines for the desk wake nobody.
func (s *Server) decideWay(ctx context.Context, t *store.Tx, n salonDay, m *outgoing) error {
	language, err := s.address(ctx, t, n, m)
	if err != nil {
		return err
	}
	if m.way.outcome != "" {
		m.settle(m.way.outcome, m.way.problem)
		return nil
	}
	now := s.now()
	until, quiet := m.rules.wait(string(m.kind), m.visit.Start, realEnd(m.visit), now, n.loc)
	if quiet && !m.tooLate(until) { // what would help nobody then goes out now
		m.outcome = &store.Outcome{State: store.Waiting, Later: until}
		return nil
	}
	m.words, err = s.wordsFor(ctx, t, language, m.rules.Language)
	return err
}

// address finds out whom m is for, by which way and in which language.
func (s *Server) address(ctx context.Context, t *store.Tx, n salonDay, m *outgoing) (language string, err error) {
	if p := m.due.Staff; m.due.Reminder.Staff != "" {
		m.to = person{name: p.Name, first: firstWord(p.Name), by: wayMail, mail: p.Mail}
		m.way = way{by: wayMail}
		switch {
		case !m.rules.sends(string(m.kind)):
			m.way = way{outcome: store.NotWanted, problem: "the salon does not send these messages"}
		case !p.Active:
			m.way = way{outcome: store.NotWanted, problem: "the person does not work here any more"}
		case p.Mail == "":
			m.way = way{outcome: store.NotWanted, problem: "the person has no mail address"}
		}
		return "", nil
	}
	if m.visit.Client == "" {
		m.way = way{outcome: store.NotWanted, problem: "nobody knows who the client is"}
		return "", nil
	}
	if m.to, err = s.recipient(ctx, t, n, m.visit); err != nil {
		return "", err
	}
	w, err := t.MessageWishOf(ctx, m.visit.Client)
	if err != nil {
		return "", err
	}
	if m.to.by == wayText {
		if m.gateway, err = s.texter(ctx, t); err != nil {
			return "", err
		}
	}
	m.way = m.rules.hears(string(m.kind), m.to, w, m.gateway != nil)
	return w.Language, nil
}

// gather collects what m says, and what goes with it.
func (s *Server) gather(ctx context.Context, t *store.Tx, n salonDay, m *outgoing, link string) (err error) {
	if m.due.Reminder.Staff != "" {
		m.facts, err = s.staffFacts(ctx, t, n, m)
		if err == nil && m.kind == notify.DayChanged && len(m.facts.Changes) == 0 {
			m.settle(store.Withdrawn, "nothing has changed after all")
		}
		return err
	}
	if m.facts, err = s.clientFacts(ctx, t, n, m); err != nil {
		return err
	}
	m.facts.StopLink = link
	asks := m.kind == notify.Reminder && *m.rules.AsksYes || m.kind == notify.Moved
	if asks && m.visit.SaidYesAt == nil {
		m.facts.AnswerLink = link
	}
	// The same address for everything: what it is for stands on its page. A text
	// message that asks for a yes names it once.
	if m.facts.BookLink = link; m.way.by == wayMail || m.facts.AnswerLink == "" {
		m.facts.Link = link
	}
	if m.way.by == wayMail {
		m.invitation, err = s.invitation(ctx, t, n, m.due, m.to)
	}
	return err
}

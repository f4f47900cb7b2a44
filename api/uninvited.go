package api

import (
	"context"
	"fmt"
	"log/slog"
	netmail "net/mail"
	"slices"
	"strings"

	"chairblock/api/ics"
	"chairblock/api/notify"
	"chairblock/store"
)

// calendarEntry takes a visit out of a calendar that would go on showing what is
// not so any more. It is no message to the client: nobody sets whether and how it
// is sent, and it has one wording, in English.
const calendarEntry notify.Kind = "calendar_entry"

// uninvite puts a calendarEntry in line for each address that was invited to the
// visit of m, does not get m by mail, and holds what is wrong by now: she has
// another address, somebody else speaks for her, or she hears of changes in
// another way or not at all. M is decided, so that what is done here follows
// every message of which something became, however it goes out.
func (s *Server) uninvite(ctx context.Context, t *store.Tx, n salonDay, m *outgoing) error {
	said := m.outcome == nil || m.outcome.State == store.ToCall || m.outcome.State == store.NotWanted
	if m.due.Reminder.Staff != "" || !said || !slices.Contains(aboutInvited, m.kind) || n.row.Mail == "" {
		return nil
	}
	list, err := t.InvitationsTo(ctx, m.visit.ID)
	if err != nil || len(list) == 0 {
		return err
	}
	part, shown, err := t.ClientPart(ctx, m.visit.ID)
	if err != nil || !shown {
		return err
	}
	for _, x := range list {
		if m.mailsTo(x.Attendee) || !outdated(part, x) {
			continue
		}
		_, err := t.AddReminder(ctx, store.Reminder{Visit: m.visit.ID, Kind: string(calendarEntry), Due: s.now(), MessageID: n.removing(x),
			Reason: "another address holds the visit, or another way was chosen"})
		if err != nil {
			return err
		}
	}
	return nil
}

// mailsTo reports whether m goes to an address.
func (m *outgoing) mailsTo(attendee string) bool {
	return m.way.by == wayMail && strings.EqualFold(m.to.mail, attendee)
}

// removing is the id of the one message that takes back what the last mail to an
// address put into its calendar. It holds nothing of the address.
func (n salonDay) removing(x store.Invitation) string {
	return notify.MessageID(n.row.Key, x.Visit+"/"+x.Attendee+"/"+x.MessageID, calendarEntry, 0, mailHost(n.row))
}

// outdated reports whether the calendar of x shows of p what is not so. What was
// taken out of it once is not taken out again.
func outdated(p store.Part, x store.Invitation) bool {
	return x.Method != ics.Cancel && (!p.Live || p.Sequence > x.Sequence || !x.Arrived && x.Sequence > 0)
}

// decideRemoval says whether the calendarEntry m still has to go out, and writes
// it.
func (s *Server) decideRemoval(ctx context.Context, t *store.Tx, n salonDay, m *outgoing) (err error) {
	r := m.due.Reminder
	m.kind, m.visit = calendarEntry, m.due.Visit
	if m.rules, err = messageRulesOf(n.row); err != nil {
		return err
	}
	list, err := t.InvitationsTo(ctx, m.visit.ID)
	if err != nil {
		return err
	}
	part, shown, err := t.ClientPart(ctx, m.visit.ID)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(list, func(x store.Invitation) bool {
		return x.MessageID == r.MessageID || n.removing(x) == r.MessageID && outdated(part, x)
	})
	switch until, quiet := m.rules.wait(string(notify.Cancelled), m.visit.Start, realEnd(m.visit), s.now(), n.loc); {
	case r.State == store.Withdrawn:
		m.settle(store.Withdrawn, r.Problem)
	case i < 0 || !shown:
		m.settle(store.Withdrawn, "what the calendar shows is right")
	case s.now().After(m.visit.Start):
		m.settle(store.Withdrawn, "it would have come too late")
	case quiet:
		m.outcome = &store.Outcome{State: store.Waiting, Later: until}
	}
	if m.outcome != nil {
		return nil
	}
	if again, err := s.hearsAgain(ctx, t, n, m, list[i].Attendee); err != nil {
		return err
	} else if again && comes(m.visit, part) {
		m.settle(store.Withdrawn, "the next message to that address puts it right")
		return nil
	}
	return s.writeRemoval(ctx, t, n, m, part, list[i])
}

// hearsAgain reports whether an address is told of changes of the visit by now.
func (s *Server) hearsAgain(ctx context.Context, t *store.Tx, n salonDay, m *outgoing, attendee string) (bool, error) {
	moved := *m
	moved.kind = notify.Moved
	_, err := s.address(ctx, t, n, &moved)
	return moved.mailsTo(attendee), err
}

// writeRemoval notes in t that the visit is taken out of a calendar, as
// invitation does, and makes m the mail that does so.
func (s *Server) writeRemoval(ctx context.Context, t *store.Tx, n salonDay, m *outgoing, p store.Part, x store.Invitation) error {
	r := ics.Removal{UID: p.UID, Sequence: max(p.Sequence, 1), Over: !comes(m.visit, p), Written: s.now(),
		Organizer: ics.Party{Name: n.row.Name, Mail: x.Organizer}, Attendee: ics.Party{Mail: x.Attendee}}
	out, err := r.Encode()
	if err != nil {
		slog.ErrorContext(ctx, "removal from a calendar not written", "err", err)
		m.settle(store.Failed, "the message could not be written")
		return nil
	}
	m.to = person{mail: x.Attendee}
	m.invitation = &notify.Invitation{ICS: out, Method: ics.Cancel, Organizer: netmail.Address{Name: n.row.Name, Address: x.Organizer}}
	x.Sequence, x.Method, x.MessageID, x.Sent = r.Sequence, ics.Cancel, m.due.Reminder.MessageID, s.now()
	return t.NoteInvitation(ctx, x)
}

// sendRemoval hands a calendarEntry over to a mail server. It says nothing of the
// visit and the client: see ics.Removal.
func (s *Server) sendRemoval(ctx context.Context, sender notify.Sender, m *outgoing) (store.Outcome, error) {
	n := m.due.Salon
	text := fmt.Sprintf("Hello,\n\nthis address was once invited to a visit at %s. What the calendar shows of it is not\nright any more. "+
		"Most calendars take it out by themselves now; please take it out by hand if\nyours does not.\n\n%s\n%s\n", n.Name, n.Name, n.Phone)
	return handedOver(store.ByMail, sender.Send(ctx, notify.Mail{
		From: netmail.Address{Name: n.Name, Address: n.Mail}, To: netmail.Address{Address: m.to.mail},
		Subject: "Not in your calendar any more: a visit at " + n.Name, Text: text,
		MessageID: m.due.Reminder.MessageID, Invitation: m.invitation,
	}))
}

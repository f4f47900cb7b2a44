package api

import (
	"cmp"
	"context"
	"log/slog"
	netmail "net/mail"
	"strings"

	"chairblock/api/notify"
	"chairblock/store"
)

// Deliver returns how a due message reaches whom it is for: by mail through sender,
// as a text message through the salon's gateway, as a line for the desk, later, or
// not at all. Nothing of that is decided before: what is so at the moment of sending
// counts.
func (s *Server) Deliver(sender notify.Sender) store.Deliver {
	return func(ctx context.Context, d store.Due) (store.Outcome, error) {
		m, err := s.readMessage(ctx, d)
		switch {
		case err != nil:
			return store.Outcome{}, err
		case m.outcome != nil:
			return *m.outcome, nil
		case m.kind == calendarEntry:
			return s.sendRemoval(ctx, sender, m)
		case m.kind == addressChanged:
			return s.sendTelling(ctx, sender, m)
		case m.way.by == wayText:
			return s.sendText(ctx, m)
		}
		return s.sendMail(ctx, sender, m)
	}
}

// sendMail hands a message over to a mail server.
func (s *Server) sendMail(ctx context.Context, sender notify.Sender, m *outgoing) (store.Outcome, error) {
	if m.due.Salon.Mail == "" {
		return store.Outcome{State: store.Failed, Problem: "the salon has no mail address to send from: set it in the salon's settings"}, nil
	}
	words, err := notify.Compose(m.words, m.kind, m.facts)
	if err != nil {
		return notWritten(ctx, m, err), nil
	}
	return handedOver(store.ByMail, sender.Send(ctx, notify.Mail{
		From:    netmail.Address{Name: m.due.Salon.Name, Address: m.due.Salon.Mail},
		To:      netmail.Address{Name: cmp.Or(m.to.first, m.due.Client.GivenName), Address: m.to.mail},
		Subject: words.Subject, Text: words.Text, HTML: words.HTML, MessageID: m.due.Reminder.MessageID,
		Unsubscribe: m.unsubscribe(), Invitation: m.invitation,
	}))
}

// unsubscribe is where one POST stops messages like m, "" for staff and where the
// address is not encrypted, which RFC 8058 asks for.
func (m *outgoing) unsubscribe() string {
	if !strings.HasPrefix(m.facts.StopLink, "https://") {
		return ""
	}
	return m.facts.StopLink + "/stop"
}

// sendText hands a message over to the salon's gateway for text messages.
func (s *Server) sendText(ctx context.Context, m *outgoing) (store.Outcome, error) {
	if m.gateway.sealed() {
		w := m.to.called("the secret of the gateway for text messages cannot be opened")
		return store.Outcome{State: w.outcome, Problem: w.problem}, nil
	}
	words, err := m.words.Short(m.kind, m.facts)
	if err != nil {
		return notWritten(ctx, m, err), nil
	}
	return handedOver(store.ByWebhook, m.gateway.Send(ctx, notify.Text{ID: m.due.Reminder.MessageID, To: m.to.phone, Body: words, Language: m.words.Tag()}))
}

// notWritten says that no words were found for a message. What is wrong are texts
// or facts of the salon's, and nobody's name is in the error.
func notWritten(ctx context.Context, m *outgoing, err error) store.Outcome {
	slog.ErrorContext(ctx, "message not composed", "kind", m.kind, "err", err)
	return store.Outcome{State: store.Failed, Problem: "the message could not be written"}
}

// mailHost is the domain of the salon's own address.
func mailHost(n store.Salon) string {
	_, host, _ := strings.Cut(n.Mail, "@")
	return host
}

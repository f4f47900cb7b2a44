package api

import (
	"context"
	"errors"
	"log/slog"
	netmail "net/mail"
	"strings"
	"time"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// Deliver returns how a due message reaches its client: by mail through
// sender, as a line for the desk when the client wishes a call or a text, and
// not at all when there is no way.
func (s *Server) Deliver(sender notify.Sender) store.Deliver {
	return func(ctx context.Context, d store.Due) (store.ReminderState, string, error) {
		if late(d, s.now()) {
			return store.Withdrawn, "it would have come too late", nil
		}
		switch d.Client.ContactBy {
		case "call", "text":
			return store.ToCall, "", nil
		case "none":
			return store.NotWanted, "the client wishes no messages", nil
		}
		if d.Client.Mail == "" {
			return store.NotWanted, "the client has no mail address", nil
		}
		if d.Salon.Mail == "" {
			return store.Failed, "the salon has no mail address to send from: set it in the salon's settings", nil
		}
		m, err := s.compose(d)
		if err != nil {
			slog.ErrorContext(ctx, "message not composed", "kind", d.Reminder.Kind, "err", err)
			return store.Failed, "the message could not be written", nil
		}
		err = sender.Send(ctx, m)
		if p, ok := errors.AsType[*notify.PermanentError](err); ok {
			return store.Failed, p.Error(), nil
		}
		return store.Sent, "", err
	}
}

// late drops messages that no longer help: about a visit that has begun, or
// about hours that are over.
func late(d store.Due, now time.Time) bool {
	switch d.Reminder.Kind {
	case "confirmation", "moved", "reminder", "cancelled":
		return now.After(d.Visit.Start)
	case "aftercare":
		return now.After(keepDryUntil(realEnd(d.Visit)))
	case "aftercare_end":
		return now.After(keepDryUntil(realEnd(d.Visit)).Add(24 * time.Hour))
	}
	return false
}

func (s *Server) compose(d store.Due) (notify.Mail, error) {
	loc, err := d.Salon.Location()
	if err != nil {
		return notify.Mail{}, err
	}
	c, err := chairTime(d.Salon)
	if err != nil {
		return notify.Mail{}, err
	}
	n := salonDay{row: d.Salon, loc: loc, time: c}
	end := realEnd(d.Visit)
	f := notify.Facts{
		SalonName: d.Salon.Name, SalonPhone: reach(d.Salon), SalonAddress: d.Salon.Address, Zone: loc, Hour24: true,
		ClientFirstName: d.Client.GivenName, Stylist: d.Stylist, Start: d.Visit.Start, End: end, Emergency: d.Salon.Emergency,
	}
	if d.Reminder.Before != nil {
		f.Before = *d.Reminder.Before
	}
	for _, x := range d.Visit.Services {
		f.Services = append(f.Services, x.Name)
	}
	if needsAftercare(d.Visit) {
		dry, untied := keepDryUntil(end), scheduling.DefaultAftercare().UntiedUntil(end)
		day := retouchDate(n, end)
		f.Straightening, f.KeepDryUntil, f.NoTieUntil, f.RetouchFrom = true, &dry, &untied, &day
	}
	if by := skinTestBy(n, d.Visit); s.now().Before(by) {
		f.StillNeeded = append(f.StillNeeded, notify.Needed{What: skinTest, By: by})
	}
	subject, text, err := notify.Compose(notify.Kind(d.Reminder.Kind), f)
	return notify.Mail{
		From:    netmail.Address{Name: d.Salon.Name, Address: d.Salon.Mail},
		To:      netmail.Address{Name: d.Client.GivenName, Address: d.Client.Mail},
		Subject: subject, Text: text, MessageID: d.Reminder.MessageID,
	}, err
}

// reach is how a client gets hold of the salon.
func reach(n store.Salon) string {
	if n.Phone != "" {
		return n.Phone
	}
	return n.Mail
}

// mailHost is the domain of the salon's own address.
func mailHost(n store.Salon) string {
	_, host, _ := strings.Cut(n.Mail, "@")
	return host
}

package api

import (
	"cmp"
	"context"
	"log/slog"
	netmail "net/mail"
	"strings"
	"time"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// Deliver returns how a due message reaches its client: by mail through
// sender, as a line for the desk when the client wishes a call or a text, and
// not at all when there is no way.
func (s *Server) Deliver(sender notify.Sender) store.Deliver {
	return func(ctx context.Context, d store.Due) (store.Outcome, error) {
		if late(d, s.now()) {
			return store.Outcome{State: store.Withdrawn, Problem: "it would have come too late"}, nil
		}
		to, needed, err := s.toTell(ctx, d)
		if err != nil {
			return store.Outcome{}, err
		}
		switch to.by {
		case "call", "text":
			return store.Outcome{State: store.ToCall}, nil
		case "none":
			return store.Outcome{State: store.NotWanted, Problem: "the client wishes no messages"}, nil
		}
		if to.mail == "" {
			return store.Outcome{State: store.NotWanted, Problem: "the client has no mail address"}, nil
		}
		if d.Salon.Mail == "" {
			return store.Outcome{State: store.Failed, Problem: "the salon has no mail address to send from: set it in the salon's settings"}, nil
		}
		m, err := s.compose(d, to, needed)
		if err != nil {
			slog.ErrorContext(ctx, "message not composed", "kind", d.Reminder.Kind, "err", err)
			return store.Outcome{State: store.Failed, Problem: "the message could not be written"}, nil
		}
		return handedOver(store.ByMail, sender.Send(ctx, m))
	}
}

// late drops messages that no longer help: about a visit that has begun, or
// about hours that are over.
func late(d store.Due, now time.Time) bool {
	switch d.Reminder.Kind {
	case "confirmation", "moved", "reminder", "cancelled":
		return now.After(d.Visit.Start)
	case "aftercare":
		return now.After(dryUntil(d))
	case "aftercare_end":
		return now.After(dryUntil(d).Add(24 * time.Hour))
	}
	return false
}

// dryUntil is when the hours are over in which the hair of d stays dry.
func dryUntil(d store.Due) time.Time {
	c, err := careOf(d.Salon)
	if err != nil { // which compose says
		c = CareRules{}.core()
	}
	return c.after.DryUntil(realEnd(d.Visit))
}

// toTell is who hears of a due message, and what the visit still needs.
func (s *Server) toTell(ctx context.Context, d store.Due) (to person, needed []notify.Needed, err error) {
	err = s.store.Read(ctx, d.Salon.ID, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if to, err = s.recipient(ctx, t, n, d.Visit); err != nil || !toCome(d.Visit) {
			return err
		}
		of, err := needsOf(ctx, t, n, d.Visit)
		for _, x := range needs.FirstOpen(of[d.Visit.ID]) {
			// What the stylist has to be asked about is no matter for a message.
			if !x.Hidden() && !x.Unreadable && s.now().Before(x.Latest) {
				needed = append(needed, notify.Needed{What: x.Words(), By: x.Latest})
			}
		}
		return err
	})
	return to, needed, err
}

func (s *Server) compose(d store.Due, to person, needed []notify.Needed) (notify.Mail, error) {
	loc, err := d.Salon.Location()
	if err != nil {
		return notify.Mail{}, err
	}
	c, err := chairTime(d.Salon)
	if err != nil {
		return notify.Mail{}, err
	}
	looked, err := careOf(d.Salon)
	if err != nil {
		return notify.Mail{}, err
	}
	n := salonDay{row: d.Salon, loc: loc, time: c, care: looked}
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
		f.Straightening, f.KeepDryUntil, f.NoTieUntil = true, new(n.keepDryUntil(end)), new(n.untiedUntil(end))
		day := n.retouchDate(end, n.care.growth.Seen(d.Client.Growth))
		if d.Retouch != nil { // as the client's calendar shows it, which knows how the hair grows
			day = scheduling.CivilDate(*d.Retouch, loc)
		}
		f.WithinFrom = &day
	}
	f.StillNeeded, f.GuardianFirstName = needed, to.first
	m, err := notify.Compose(notify.English(), notify.Kind(d.Reminder.Kind), f)
	return notify.Mail{
		From:    netmail.Address{Name: d.Salon.Name, Address: d.Salon.Mail},
		To:      netmail.Address{Name: cmp.Or(to.first, d.Client.GivenName), Address: to.mail},
		Subject: m.Subject, Text: m.Text, HTML: m.HTML, MessageID: d.Reminder.MessageID,
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

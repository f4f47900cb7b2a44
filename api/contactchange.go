package api

import (
	"context"
	"fmt"
	netmail "net/mail"
	"strings"
	"time"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// addressChanged tells an address that messages to a client go to no more. It is a
// message about no visit: nobody sets whether and how it is sent, and it has one
// wording, in English, that names neither her nor the new address.
const addressChanged notify.Kind = store.KindAddressChanged

// newAddressRests is how long a link in a message leads to nothing about health after
// somebody here changed where messages go (judgement: who is told at the old address
// has the time to call).
const newAddressRests = 7 * 24 * time.Hour

// ContactChangeBody is one change of where messages to a client go.
type ContactChangeBody struct {
	Way      string    `json:"way" enum:"mail,text" doc:"What was changed: the mail address, or the phone number"`
	Guardian bool      `json:"guardian" doc:"Messages go to who answers for her"`
	Changed  time.Time `json:"changed_at"`
	By       string    `json:"changed_by"`
	Told     string    `json:"old_address" enum:"told,being_told,not_told" doc:"Whether the address before was told of it; there may have been none, or no way to it"`
}

// withContact carries do out, which may change where messages to a client go. Then
// what went out so far leads to her pages no more, the address before is told, and
// the change is noted.
func (s *Server) withContact(ctx context.Context, t *store.Tx, n salonDay, client string, do func() error) error {
	before, err := s.spokenToOf(ctx, t, n, client)
	if err != nil {
		return err
	}
	visits, err := t.VisitsOfClient(ctx, client)
	if err == nil && len(visits) > 0 {
		_, err = t.LockVisit(ctx, visits[0].ID, 0) // visits are locked before calendars
	}
	if err == nil {
		err = do()
	}
	if err != nil {
		return err
	}
	return s.noteContacts(ctx, t, n, client, before)
}

// noteContacts notes where messages to a client went before, on one file or several,
// and go no more. Visits of hers have to be locked.
func (s *Server) noteContacts(ctx context.Context, t *store.Tx, n salonDay, client string, before ...person) error {
	after, err := s.spokenToOf(ctx, t, n, client)
	if err != nil {
		return err
	}
	goes, beside, err := s.reaches(ctx, t, n, client)
	if err != nil {
		return err
	}
	noted := map[string]bool{}
	for _, p := range before {
		for _, x := range []struct {
			way, was, is string
		}{{wayMail, p.mail, after.mail}, {wayText, p.phone, after.phone}} {
			key := x.way + " " + strings.ToLower(x.was)
			if strings.EqualFold(x.was, x.is) || noted[key] {
				continue
			}
			noted[key] = true
			c := store.ContactChange{Client: client, Way: x.way, Guardian: after.minor, Was: x.was, Changed: s.now()}
			if err := s.noteContact(ctx, t, n, c, beside, goes[x.way]); err != nil {
				return err
			}
			if x.was != "" && goes[x.way] {
				if err := t.CloseOwnPages(ctx, client, true, c.Changed); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// noteKeptOf notes which addresses of a minor's own, on one file or several, are hers no
// more, while her guardian hears: messages go to the new ones once she is of age, or is
// noted as a minor no more. The guardian's links stay.
func (s *Server) noteKeptOf(ctx context.Context, t *store.Tx, n salonDay, is store.Client, before ...store.Client) error {
	to, err := s.spokenToOf(ctx, t, n, is.ID)
	if err != nil || !to.minor {
		return err
	}
	for _, was := range before {
		if err := s.noteKept(ctx, t, n, was, is); err != nil {
			return err
		}
	}
	return nil
}

func (s *Server) noteKept(ctx context.Context, t *store.Tx, n salonDay, was, is store.Client) error {
	goes, beside, err := s.reaches(ctx, t, n, is.ID)
	if err != nil {
		return err
	}
	c := store.ContactChange{Client: is.ID, Changed: s.now()}
	if !strings.EqualFold(was.Mail, is.Mail) {
		c.Way, c.Was = wayMail, was.Mail
		if err := s.noteContact(ctx, t, n, c, beside, goes[c.Way]); err != nil {
			return err
		}
	}
	if was.Phone != is.Phone {
		c.Way, c.Was = wayText, was.Phone
		return s.noteContact(ctx, t, n, c, beside, goes[c.Way])
	}
	return nil
}

// reaches says by which ways something can go to an old address of a client, and which
// visit of hers messages are kept beside: without one none has ever gone out.
func (s *Server) reaches(ctx context.Context, t *store.Tx, n salonDay, client string) (goes map[string]bool, beside string, err error) {
	texts, err := s.texter(ctx, t)
	if err != nil {
		return nil, "", err
	}
	visits, err := t.VisitsOfClient(ctx, client)
	if len(visits) > 0 {
		beside = visits[0].ID
	}
	return map[string]bool{wayMail: n.row.Mail != "", wayText: texts != nil}, beside, err
}

// noteContact notes a change and puts word of it to the old address in line, where there
// was one to which something can go.
func (s *Server) noteContact(ctx context.Context, t *store.Tx, n salonDay, c store.ContactChange, beside string, goes bool) (err error) {
	if c.By, err = whoMakes(ctx, t); err != nil {
		return err
	}
	if c, err = t.AddContactChange(ctx, c); err != nil || c.Was == "" || !goes || beside == "" {
		return err
	}
	r, err := t.AddReminder(ctx, store.Reminder{Visit: beside, Kind: string(addressChanged), Due: c.Changed, Reason: "where messages go was changed",
		MessageID: notify.MessageID(n.row.Key, c.ID, addressChanged, 0, mailHost(n.row))})
	if err != nil {
		return err
	}
	return t.SetTelling(ctx, c.ID, r.ID)
}

// decideTelling says whether the old address is still to be told, and how.
func (s *Server) decideTelling(ctx context.Context, t *store.Tx, m *outgoing) error {
	r := m.due.Reminder
	m.kind, m.visit = addressChanged, m.due.Visit
	c, err := t.ContactChangeTold(ctx, r.ID)
	switch {
	case is(err, scheduling.ErrNotFound) || err == nil && c.Was == "":
		m.settle(store.Withdrawn, "the old address is not kept any more")
		return nil
	case err != nil:
		return err
	case r.State == store.Withdrawn:
		m.settle(store.Withdrawn, r.Problem)
		return nil
	}
	m.to, m.way = person{mail: c.Was}, way{by: wayMail}
	if c.Way == wayText {
		m.to, m.way = person{phone: c.Was}, way{by: wayText}
		if m.gateway, err = s.texter(ctx, t); err == nil && m.gateway == nil {
			m.settle(store.NotWanted, "the salon sends no text messages")
		}
	}
	return err
}

// sendTelling hands an addressChanged over.
func (s *Server) sendTelling(ctx context.Context, sender notify.Sender, m *outgoing) (store.Outcome, error) {
	n := m.due.Salon
	call := "please tell " + n.Name
	if n.Phone != "" {
		call = fmt.Sprintf("please call %s: %s", n.Name, n.Phone)
	}
	if m.way.by == wayText {
		if m.gateway.sealed() {
			return store.Outcome{State: store.Failed, Problem: "the secret of the gateway for text messages cannot be opened"}, nil
		}
		text := fmt.Sprintf("%s: this number was replaced by another one. Our messages do not come here any more. If nobody asked for that, %s", n.Name, call)
		return handedOver(store.ByWebhook, m.gateway.Send(ctx, notify.Text{ID: m.due.Reminder.MessageID, To: m.to.phone, Body: text, Language: "en"}))
	}
	text := fmt.Sprintf("Hello,\n\nthe address to which %s sends its messages to you was changed.\nThey do not come here any more, and the links in those that came lead nowhere.\n\n"+
		"If you have not asked for that, %s\n\n%s\n", n.Name, call, n.Name)
	return handedOver(store.ByMail, sender.Send(ctx, notify.Mail{
		From: netmail.Address{Name: n.Name, Address: n.Mail}, To: netmail.Address{Address: m.to.mail},
		Subject: "Your address at " + n.Name + " was changed", Text: text, MessageID: m.due.Reminder.MessageID,
	}))
}

// contactRests reports whether where messages to a client go was changed here so
// lately that a message leads to nothing about health.
func (s *Server) contactRests(ctx context.Context, t *store.Tx, client string) (bool, error) {
	list, err := t.ContactChanges(ctx, client)
	return err == nil && len(list) > 0 && s.now().Before(list[0].Changed.Add(newAddressRests)), err
}

// overContact adds the changes of where messages go.
func (s *Server) overContact(ctx context.Context, t *store.Tx, n salonDay, o *ClientOverview) error {
	list, err := t.ContactChanges(ctx, o.Client.ID)
	for _, c := range list {
		b := ContactChangeBody{Way: c.Way, Guardian: c.Guardian, Changed: c.Changed.In(n.loc), By: c.By, Told: "not_told"}
		switch {
		case c.Told != nil && *c.Told == store.Sent:
			b.Told = "told"
		case c.Told != nil && (*c.Told == store.Waiting || *c.Told == store.Sending):
			b.Told = "being_told"
		}
		o.Contact = append(o.Contact, b)
	}
	return err
}

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"text/template"
	"time"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/store"
)

// greeting is what the demonstration prints.
var greeting = template.Must(template.New("").Parse(`
{{.Salon}} is open.

  enter as the owner       {{.Open}}
  as the front desk        {{.OpenDesk}}
  {{printf "%-24s" .StylistName}} {{.OpenStylist}}
  {{printf "%-24s" .OwnName}} {{.OwnPages}}
                           (each asks for a press; the first three work once, without a password: start again for new ones)

  description of the API   {{.URL}}/openapi.json
  {{printf "%-24s" .StaffName}} {{.Staff}}
  {{printf "%-24s" .ClientName}} {{.ClientFeed}}
  all visits, to subscribe {{.SalonPage}}
  messages as files        {{.Maildir}}

  owner's token            {{.Owner}}
  desk's token             {{.Desk}}

{{.Booked}}

Try it from another terminal:

export TOKEN={{.Desk}}
# 1. how long does it take on this hair?
curl -s {{.URL}}/v1/estimates -H "Authorization: Bearer $TOKEN" -H 'Content-Type: application/json' \
  -d '{"service_id":"{{.Service}}","hair":{{.Hair}}}'
# 2. when does the whole visit fit?
curl -s {{.URL}}/v1/openings -H "Authorization: Bearer $TOKEN" -H 'Content-Type: application/json' \
  -d '{"services":[{"service_id":"{{.Service}}","hair":{{.Hair}}}],"limit":3}'
# 3. book one of the openings for {{.Guest}}
curl -s {{.URL}}/v1/visits -H "Authorization: Bearer $TOKEN" -H 'Content-Type: application/json' -H 'Idempotency-Key: {{.Key}}' \
  -d '{"client_id":"{{.GuestID}}","start":"{{.Start}}","services":[{"service_id":"{{.Service}}","lead_id":"{{.Lead}}","hair":{{.Hair}}}],"approved_by":"{{.Licensed}}"}'
# 4. see it in the stylist's calendar
curl -s {{.LeadFeed}}

Ctrl-C ends everything.
`))

// tour is what the greeting says.
type tour struct {
	Salon, URL, Maildir   string
	Open, Owner, Desk     string // secrets
	OpenDesk, OpenStylist string // likewise
	OwnPages              string // likewise, a client's own
	StylistName, OwnName  string // whose the last two are
	StaffName, ClientName string // whose calendars are printed
	Staff, ClientFeed     string
	SalonPage             string
	Booked                string

	// A visit that is left to book: for whom, when and with whom.
	Service, Hair, Key string
	Guest, GuestID     string
	Licensed           string // who said yes to the cautions
	Start, Lead        string
	LeadFeed           string
}

// greet books one visit unless an earlier start did, makes tokens and feeds,
// and prints the tour.
func (d *demoSalon) greet(ctx context.Context, s *api.Server, url, maildir string, out io.Writer) error {
	d.clock = d.now
	host, guest := d.clients[0], d.clients[1]
	hair, err := json.Marshal(demoHair())
	if err != nil {
		return err
	}
	t := tour{Salon: d.row.Name, URL: url, Maildir: maildir, Key: store.NewID(), Service: d.services[straightening].ID, Hair: string(hair),
		Guest: guest.GivenName, GuestID: guest.ID, Licensed: d.licensed(), StylistName: "as a stylist, " + d.staff[0].Name, OwnName: "as a client, " + host.GivenName,
		StaffName: d.staff[0].Name + "'s calendar", ClientName: host.GivenName + "'s calendar"}
	if err := d.promise(ctx, host); err != nil {
		return err
	}
	if t.Booked, err = d.words(ctx, host); err != nil {
		return err
	}
	next, err := d.opening(ctx, guest)
	if err != nil {
		return err
	}
	t.Start, t.Lead = next.Start.Format(time.RFC3339), next.LeadID
	if err := d.secrets(ctx, s, host, &t); err != nil {
		return err
	}
	return greeting.Execute(out, t)
}

// secrets makes the link, the tokens and the calendars of the tour.
func (d *demoSalon) secrets(ctx context.Context, s *api.Server, host store.Client, t *tour) error {
	return d.store.InTx(ctx, d.row.ID, func(tx *store.Tx) error {
		open := func(to *string, role store.Role, staff string) error {
			link, err := tx.AddSessionLink(ctx, role, staff, d.now.Add(24*time.Hour))
			*to = s.SessionURL(link)
			return err
		}
		token := func(to *string, role store.Role) (err error) {
			_, *to, err = tx.AddToken(ctx, role, "", "demo", nil)
			return err
		}
		feed := func(to *string, kind, subject string, url func(secret string) string) error {
			_, secret, err := tx.AddFeed(ctx, kind, subject, "demo")
			*to = url(secret)
			return err
		}
		own := func(to *string, client string) error {
			secret, err := d.ownLink(ctx, tx, client)
			*to = s.OwnURL(secret)
			return err
		}
		return errors.Join(open(&t.Open, store.Owner, ""), open(&t.OpenDesk, store.Desk, ""), open(&t.OpenStylist, store.LeadRole, d.staff[0].ID), own(&t.OwnPages, host.ID),
			token(&t.Owner, store.Owner), token(&t.Desk, store.Desk), feed(&t.Staff, store.FeedStaff, d.staff[0].ID, s.FeedURL),
			feed(&t.LeadFeed, store.FeedStaff, t.Lead, s.FeedURL), feed(&t.ClientFeed, store.FeedClient, host.ID, s.FeedURL),
			feed(&t.SalonPage, store.FeedSalon, "", s.FeedPageURL))
	})
}

// ownLabel is what the demonstration calls its link to a client's own pages.
const ownLabel = "demo"

// demoMaker is by whom it says that it was made.
const demoMaker = "the demonstration"

// ownLink makes the secret of a link to a client's own pages, a new one for that of
// an earlier start.
func (d *demoSalon) ownLink(ctx context.Context, tx *store.Tx, client string) (string, error) {
	list, err := tx.OwnLinks(ctx, client)
	if err != nil {
		return "", err
	}
	for _, l := range list {
		if l.Label == ownLabel && l.Revoked == nil {
			_, secret, err := tx.RotateOwnLink(ctx, l.ID, l.Guardian, demoMaker, d.now)
			return secret, err
		}
	}
	_, secret, err := tx.AddOwnLink(ctx, store.OwnLink{Client: client, Label: ownLabel, Days: api.OwnDays, MadeBy: demoMaker}, d.now)
	return secret, err
}

// promise books a straightening visit for a client who has none to come.
func (d *demoSalon) promise(ctx context.Context, client store.Client) error {
	if _, has, err := d.promised(ctx, client); has || err != nil {
		return err
	}
	o, err := d.opening(ctx, client)
	if err != nil {
		return err
	}
	hair := demoHair()
	services := []api.ServiceRequest{{ServiceID: d.services[straightening].ID, LeadID: o.LeadID, Hair: &hair}}
	v, err := d.server.Book(ctx, d.row.ID, api.VisitRequest{ClientID: client.ID, Start: o.Start, Services: services, ApprovedBy: d.licensed()})
	if err != nil {
		return err
	}
	return d.lacking(ctx, v)
}

// licensed is who says yes to cautions that need it: tomorrow is too soon for a
// new skin test.
func (d *demoSalon) licensed() string {
	for _, p := range d.staff {
		if p.MayLead && p.Active {
			return p.Name
		}
	}
	return ""
}

// promised is the straightening visit that a client is about to have.
func (d *demoSalon) promised(ctx context.Context, client store.Client) (store.Visit, bool, error) {
	visits, err := d.visitsToCome(ctx, client)
	for _, v := range visits {
		if v.Services[0].Aftercare {
			return v, true, err
		}
	}
	return store.Visit{}, false, err
}

// words says what is booked for a client.
func (d *demoSalon) words(ctx context.Context, client store.Client) (string, error) {
	v, _, err := d.promised(ctx, client)
	if err != nil {
		return "", err
	}
	var lead store.Staff
	var chair store.Unit
	err = d.store.InTx(ctx, d.row.ID, func(t *store.Tx) (err error) {
		if lead, err = t.StaffByID(ctx, v.Services[0].Lead); err != nil {
			return err
		}
		chair, err = t.StationByID(ctx, v.Chair)
		return err
	})
	end := v.End.In(d.loc)
	return fmt.Sprintf("A straightening visit is booked for %s:\n%s to %s with %s, %s; %s.", client.GivenName,
		v.Start.In(d.loc).Format("Mon 2 January 15:04"), end.Format("15:04"), lead.Name, chair.Name,
		scheduling.DefaultAftercare().Words(end)), err
}

// visitsToCome lists the open visits of a client that have not ended.
func (d *demoSalon) visitsToCome(ctx context.Context, client store.Client) ([]store.Visit, error) {
	var visits []store.Visit
	err := d.store.InTx(ctx, d.row.ID, func(t *store.Tx) (err error) { visits, err = t.VisitsOfClient(ctx, client.ID); return err })
	return slices.DeleteFunc(visits, func(v store.Visit) bool { return !v.State.Open() || v.End.Before(d.now) }), err
}

// opening is the first one from tomorrow on in which the client is free.
func (d *demoSalon) opening(ctx context.Context, client store.Client) (api.OpeningBody, error) {
	visits, err := d.visitsToCome(ctx, client)
	if err != nil {
		return api.OpeningBody{}, err
	}
	found, err := d.openings(ctx)
	if err != nil {
		return api.OpeningBody{}, err
	}
	for _, o := range found {
		if !slices.ContainsFunc(visits, func(v store.Visit) bool { return v.Start.Before(o.End) && o.Start.Before(v.End) }) {
			return o, nil
		}
	}
	return api.OpeningBody{}, errors.New("the demo's calendar is full: start with --fresh")
}

// openings are those of every stylist who straightens, at her own pace, by start.
func (d *demoSalon) openings(ctx context.Context) ([]api.OpeningBody, error) {
	hair := demoHair()
	var all []api.OpeningBody
	for _, p := range d.staff {
		if !p.MayLead || !p.Active || !slices.Contains(p.Skills, scheduling.SkillStraightening) {
			continue
		}
		ask := api.OpeningsRequest{Services: []api.ServiceRequest{{ServiceID: d.services[straightening].ID, LeadID: p.ID, Hair: &hair}},
			FirstDate: scheduling.CivilDate(d.now, d.loc).Add(1).String(), Limit: 200}
		found, err := d.server.Openings(ctx, d.row.ID, ask)
		if err != nil {
			return nil, err
		}
		all = append(all, found.Openings...)
	}
	slices.SortStableFunc(all, func(a, b api.OpeningBody) int { return a.Start.Compare(b.Start) })
	return all, nil
}

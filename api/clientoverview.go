package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// ClientOverview is what the desk knows of a client, on one page. Nothing about
// health stands in it.
type ClientOverview struct {
	Client    ClientBody             `json:"client"`
	Version   int64                  `json:"version" doc:"The number in the ETag of the client"`
	Minor     *MinorBody             `json:"minor,omitempty" doc:"Left out when nothing is noted of it"`
	Visits    []ClientVisitBody      `json:"visits" nullable:"false" doc:"By start, the latest first, at most 120"`
	Care      *ClientCareBody        `json:"care,omitempty" doc:"What the client has to mind after her last treatment; left out when the last was longer than three weeks ago"`
	LeftCents int64                  `json:"left_cents" doc:"What is here for visits that did not take place, and of which nobody has decided yet"`
	OpenCents int64                  `json:"deposits_open_cents" doc:"Deposits of visits to come that were asked and are not here"`
	Hair      []HeadOutput           `json:"hair" nullable:"false" doc:"Measurements, newest first, at most 6"`
	Retouch   string                 `json:"next_retouch,omitempty" format:"date" doc:"When a retouch is due after the last straightening; left out when none is expected"`
	Consents  []TreatmentConsentBody `json:"consents" nullable:"false"`
	Alike     []AlikeClientBody      `json:"alike" nullable:"false" doc:"Others on file who may be the same person, at most 20"`
	Contact   []ContactChangeBody    `json:"contact_changes" nullable:"false" doc:"When somebody here changed where messages go, the latest first"`
	Feeds     []FeedBody             `json:"feeds" nullable:"false" doc:"Her calendar addresses, without their secret; none for who may not give them out"`
}

// ClientCareBody is until when hair stays dry and untied after a visit.
type ClientCareBody struct {
	VisitID     string     `json:"visit_id"`
	DryUntil    *time.Time `json:"keep_dry_until,omitempty" doc:"It may be over; left out while the licensed person has yet to say what holds after a visit that was stopped early"`
	UntiedUntil *time.Time `json:"untied_until,omitempty"`
	Over        bool       `json:"over" doc:"Both have passed"`
}

// ClientVisitBody is a visit of a client in a line.
type ClientVisitBody struct {
	ID         string            `json:"id"`
	State      string            `json:"state" enum:"held,lapsed,booked,arrived,under_way,finished,stopped_early,cancelled,missed"`
	Start      time.Time         `json:"start"`
	End        time.Time         `json:"end"`
	Services   []string          `json:"services" nullable:"false"`
	LeadName   string            `json:"lead_name,omitempty"`
	PriceCents int64             `json:"price_cents"`
	FromCents  int64             `json:"price_from_cents,omitempty" doc:"With price_to_cents: what was said on the telephone; left out once the price is firm"`
	ToCents    int64             `json:"price_to_cents,omitempty"`
	LeftCents  int64             `json:"left_cents" doc:"As for money facts"`
	Deposit    *MoneyDepositBody `json:"deposit,omitempty" doc:"Left out when none is asked"`
}

// AlikeClientBody is another client who may be the same person.
type AlikeClientBody struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	Why  string `json:"why" enum:"phone,mail,name" doc:"What is the same"`
}

type overviewOutput struct{ Body ClientOverview }

func (s *Server) clientOverviewRoutes() {
	route(s, huma.Operation{OperationID: "get-client-overview", Method: http.MethodGet, Path: "/clients/{id}/overview",
		Summary: "What the desk knows of a client"}, s.getOverview)
}

func (s *Server) getOverview(ctx context.Context, in *ByID) (*overviewOutput, error) {
	var out overviewOutput
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		c, err := t.ClientByID(ctx, in.ID)
		if err != nil {
			return err
		}
		o := ClientOverview{Client: writeClient(c), Version: c.Version, Visits: []ClientVisitBody{}, Hair: []HeadOutput{}, Consents: []TreatmentConsentBody{},
			Alike: []AlikeClientBody{}, Feeds: []FeedBody{}, Contact: []ContactChangeBody{}}
		for _, add := range []func(context.Context, *store.Tx, salonDay, *ClientOverview) error{s.overMinor, s.overVisits, s.overCare, s.overHair, s.overContact, s.overRest} {
			if err := add(ctx, t, n, &o); err != nil {
				return err
			}
		}
		out.Body = o
		return nil
	})
	return &out, err
}

func (s *Server) overMinor(ctx context.Context, t *store.Tx, n salonDay, o *ClientOverview) error {
	m, err := t.MinorOf(ctx, o.Client.ID)
	if is(err, scheduling.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	b := s.writeMinor(n, m).Body
	o.Minor, o.Client.Minor = &b, b.Minor
	return nil
}

// mostListed is how many visits of one client are listed (judgement: ten years of one a
// month).
const mostListed = 120

func (s *Server) overVisits(ctx context.Context, t *store.Tx, n salonDay, o *ClientOverview) error {
	visits, err := t.VisitLines(ctx, o.Client.ID, mostListed)
	if err != nil {
		return err
	}
	ids := make([]string, len(visits))
	for i, v := range visits {
		ids[i] = v.ID
	}
	entries, err := t.MoneyOfVisits(ctx, ids)
	if err != nil {
		return err
	}
	names, err := unitNames(ctx, t)
	for _, v := range visits {
		money := store.NewBalance(v.ID, entries[v.ID])
		b := ClientVisitBody{ID: v.ID, State: string(v.State), Start: v.Start.In(n.loc), End: v.End.In(n.loc), Services: v.Services, LeadName: names[v.Lead],
			PriceCents: v.PriceCents, LeftCents: money.Left(), Deposit: writeDeposit(money.Deposit(), n.loc)}
		if v.FromCents < v.ToCents {
			b.FromCents, b.ToCents = v.FromCents, v.ToCents
		}
		switch {
		case v.State == store.Cancelled || v.State == store.Missed || v.State == store.Lapsed:
			o.LeftCents += max(0, b.LeftCents)
		case (v.State == store.Held || v.State.Open()) && b.Deposit != nil && !b.Deposit.Settled:
			o.OpenCents += b.Deposit.AskedCents
		}
		o.Visits = append(o.Visits, b)
	}
	return err
}

// careShown is for how long after a visit it is still said what the hair has to be
// kept from, or that this is over: longer than any such time (judgement).
const careShown = 21 * 24 * time.Hour

// overCare says what holds after the last treatment.
func (s *Server) overCare(ctx context.Context, t *store.Tx, n salonDay, o *ClientOverview) error {
	now := s.now()
	for _, x := range o.Visits { // the latest first
		if state := store.VisitState(x.State); state != store.Finished && state != store.StoppedEarly || now.Sub(x.Start) > careShown {
			continue
		}
		v, err := t.VisitByID(ctx, x.ID)
		if err != nil {
			return err
		}
		if !treats(v) {
			continue
		}
		o.Care = &ClientCareBody{VisitID: v.ID}
		if needsAftercare(v) {
			dry, tie := n.keepDryUntil(realEnd(v)), n.untiedUntil(realEnd(v))
			o.Care.DryUntil, o.Care.UntiedUntil, o.Care.Over = &dry, &tie, !now.Before(laterOf(dry, tie))
		}
		return nil
	}
	return nil
}

// mostMeasured is how many measurements are listed.
const mostMeasured = 6

func (s *Server) overHair(ctx context.Context, t *store.Tx, n salonDay, o *ClientOverview) error {
	rows, err := t.Heads(ctx, o.Client.ID)
	if err != nil {
		return err
	}
	for _, h := range rows[:min(len(rows), mostMeasured)] {
		b, err := writeHead(h, n.time.Units)
		if err != nil {
			return err
		}
		o.Hair = append(o.Hair, b)
	}
	last, err := t.LastRetouch(ctx, o.Client.ID, s.now().Add(-longestRegrowth), s.now().Add(longestRegrowth))
	if last != nil {
		o.Retouch = scheduling.CivilDate(*last, n.loc).String()
	}
	return err
}

func (s *Server) overRest(ctx context.Context, t *store.Tx, n salonDay, o *ClientOverview) error {
	consents, err := t.Consents(ctx, o.Client.ID)
	if err != nil {
		return err
	}
	for _, c := range consents {
		o.Consents = append(o.Consents, writeConsent(c, n.loc))
	}
	alike, err := t.ClientsAlike(ctx, o.Client.ID, 20)
	if err != nil {
		return err
	}
	for _, c := range alike {
		o.Alike = append(o.Alike, AlikeClientBody{c.ID, clientName(c), alikeBy(o.Client, c)})
	}
	if principal(ctx).Role == store.LeadRole { // who gives out her own only
		return nil
	}
	feeds, err := t.Feeds(ctx, o.Client.ID)
	for _, f := range feeds {
		if f.Kind == store.FeedClient && f.Revoked == nil {
			o.Feeds = append(o.Feeds, writeFeed(f))
		}
	}
	return err
}

// alikeBy says what o has in common with the client.
func alikeBy(c ClientBody, o store.Client) string {
	switch {
	case c.Phone != "" && c.Phone == o.Phone:
		return "phone"
	case c.Mail != "" && c.Mail == o.Mail:
		return "mail"
	}
	return "name"
}

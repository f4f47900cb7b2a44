package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/quoting"
	"chairblock/store"
)

// QuoteRequest asks what a visit costs.
type QuoteRequest struct {
	Services []ServiceRequest `json:"services" nullable:"false" minItems:"1" maxItems:"8" doc:"In order, as for openings and visits"`
	ClientID string           `json:"client_id,omitempty" maxLength:"64" doc:"For whom; left out: whoever shows the quote"`
	LeadID   string           `json:"lead_id,omitempty" maxLength:"64" doc:"Stylist in charge of every service that names nobody else"`
}

// QuoteBody is a price that is promised for a while.
type QuoteBody struct {
	ID           string          `json:"id"`
	ClientID     string          `json:"client_id,omitempty"`
	Currency     string          `json:"currency"`
	Lines        []QuoteLineBody `json:"lines" nullable:"false" doc:"One for each service, in order"`
	TotalCents   int64           `json:"total_cents"`
	Total        string          `json:"total" example:"310.00 EUR"`
	DepositCents int64           `json:"deposit_cents" doc:"Asked when it is booked; 0 when none is. Nothing is charged by the program"`
	Deposit      string          `json:"deposit" example:"50 % of 310.00 = 155.00"`
	Minutes      int             `json:"minutes" doc:"Booked minutes of all services; waits come on top"`
	NoticeHours  int             `json:"notice_hours"`
	Notice       string          `json:"notice" doc:"What cancelling means"`
	Late         string          `json:"late" doc:"What coming late means"`
	Cautions     []CautionBody   `json:"cautions" nullable:"false"`
	Safety       string          `json:"safety"`
	ValidUntil   time.Time       `json:"valid_until"`
	Made         time.Time       `json:"made_at"`
	StillValid   bool            `json:"still_valid" doc:"As of this answer"`
}

// QuoteLineBody is what one service costs, and why.
type QuoteLineBody struct {
	ServiceID      string `json:"service_id"`
	ServiceVersion int    `json:"service_version"`
	Name           string `json:"name"`
	LeadID         string `json:"lead_id,omitempty"`
	EstimateID     string `json:"estimate_id,omitempty" doc:"How long it takes on this hair; book with it"`
	Minutes        int    `json:"minutes"`
	PriceCents     int64  `json:"price_cents"`
	Working        string `json:"working" doc:"The sum behind the price, for people" example:"270 min × 1.10 = 297.00"`
}

// quoteKept is a quote as it is kept beside the columns of its row: what was
// said stays said, whatever settings become.
type quoteKept struct {
	Currency string          `json:"currency"`
	Lines    []QuoteLineBody `json:"lines"`
	Deposit  string          `json:"deposit"`
	Notice   int             `json:"notice_hours"`
	Words    [2]string       `json:"words"` // of notice and of coming late
	Cautions []CautionBody   `json:"cautions"`
}

type quoteInput struct {
	Repeatable
	Body QuoteRequest
}

func (s *Server) quoteRoutes() {
	route(s, huma.Operation{OperationID: "make-quote", Method: http.MethodPost, Path: "/quotes", Summary: "Say what a visit costs, and keep the answer",
		DefaultStatus: http.StatusCreated}, s.makeQuote)
	route(s, huma.Operation{OperationID: "get-quote", Method: http.MethodGet, Path: "/quotes/{id}", Summary: "A kept quote"}, s.getQuote)
	route(s, huma.Operation{OperationID: "list-quotes", Method: http.MethodGet, Path: "/clients/{id}/quotes", Summary: "Quotes of a client, newest first"}, s.listQuotes)
}

func (s *Server) makeQuote(ctx context.Context, in *quoteInput) (*created[QuoteBody], error) {
	return once(s, ctx, in.Repeatable, "/quotes", in.Body, func(t *store.Tx) (*created[QuoteBody], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		q, err := s.quote(ctx, t, n, in.Body)
		if err != nil {
			return nil, err
		}
		b, err := n.writeQuote(q, s.now())
		return &created[QuoteBody]{Location: "/v1/quotes/" + q.ID, Body: b}, err
	})
}

// quote works a request out, prices it and keeps both.
func (s *Server) quote(ctx context.Context, t *store.Tx, n salonDay, b QuoteRequest) (store.Quote, error) {
	var f scheduling.Faults
	if b.ClientID != "" {
		if err := knownClient(ctx, t, &f, b.ClientID); err != nil {
			return store.Quote{}, err
		}
	}
	if err := knownLead(ctx, t, &f, "", b.LeadID); err != nil {
		return store.Quote{}, err
	}
	for i := range b.Services {
		if b.Services[i].LeadID == "" && len(f) == 0 {
			b.Services[i].LeadID = b.LeadID
		}
	}
	c, err := compose(ctx, t, n, b.Services)
	if err := f.Join("", err); err != nil {
		return store.Quote{}, err
	}
	c.others(&f, b.ClientID)
	if c != nil && c.price > quoting.MostCents {
		f.Add("services", "cost "+n.amount(c.price)+" together", "at most "+n.amount(quoting.MostCents))
	}
	if err := f.Err(); err != nil {
		return store.Quote{}, err
	}
	if err := c.keepEstimates(ctx, t, b.ClientID); err != nil {
		return store.Quote{}, err
	}
	return s.keepQuote(ctx, t, n, b, c)
}

func (s *Server) keepQuote(ctx context.Context, t *store.Tx, n salonDay, b QuoteRequest, c *composed) (store.Quote, error) {
	m := n.rules.Money.filled()
	deposit, err := n.depositFor(ctx, t, c.price, c.chemical, b.ClientID)
	if err != nil {
		return store.Quote{}, err
	}
	kept := quoteKept{Currency: n.row.Currency, Deposit: deposit.Working, Notice: *m.NoticeHours, Words: [2]string{m.noticeWords(), m.lateWords()}, Cautions: []CautionBody{}}
	for i, x := range c.services {
		line := QuoteLineBody{ServiceID: x.Service, ServiceVersion: x.Version, Name: x.Name, LeadID: b.Services[i].LeadID, PriceCents: x.PriceCents, Working: c.workings[i]}
		if x.Estimate != nil {
			line.EstimateID = *x.Estimate
		}
		for _, st := range c.plan.Steps {
			if st.Service == i {
				line.Minutes += st.Length
			}
		}
		if w := c.estimates[i]; w != nil {
			kept.Cautions = append(kept.Cautions, w.cautions...)
		}
		kept.Lines = append(kept.Lines, line)
	}
	// Until the end of the day, as people count.
	now := s.now().Truncate(time.Second)
	_, end := scheduling.DayBounds(n.loc, scheduling.CivilDate(now, n.loc).Add(date.PeriodOfDays(m.QuoteValidDays)))
	q := store.Quote{Client: optional(b.ClientID), TotalCents: c.price, DepositCents: deposit.Cents, ValidUntil: end, Created: now}
	b.Services = c.asked(b.Services)
	if q.Request, err = json.Marshal(b); err != nil {
		return q, fmt.Errorf("api: quote: %w", err)
	}
	if q.Answer, err = json.Marshal(kept); err != nil {
		return q, fmt.Errorf("api: quote: %w", err)
	}
	return t.AddQuote(ctx, q)
}

func readQuote(q store.Quote) (quoteKept, error) {
	var kept quoteKept
	if err := json.Unmarshal(q.Answer, &kept); err != nil {
		return kept, fmt.Errorf("api: quote %s: %w", q.ID, err)
	}
	return kept, nil
}

func (n salonDay) writeQuote(q store.Quote, now time.Time) (QuoteBody, error) {
	kept, err := readQuote(q)
	b := QuoteBody{ID: q.ID, Currency: kept.Currency, Lines: kept.Lines, TotalCents: q.TotalCents, Total: quoting.Amount(q.TotalCents, kept.Currency),
		DepositCents: q.DepositCents, Deposit: kept.Deposit, NoticeHours: kept.Notice, Notice: kept.Words[0], Late: kept.Words[1], Cautions: kept.Cautions,
		Safety: chairtime.SafetyLine, ValidUntil: q.ValidUntil.In(n.loc), Made: q.Created.In(n.loc), StillValid: now.Before(q.ValidUntil)}
	if q.Client != nil {
		b.ClientID = *q.Client
	}
	for _, l := range kept.Lines {
		b.Minutes += l.Minutes
	}
	return b, err
}

func (s *Server) getQuote(ctx context.Context, in *ByID) (*found[QuoteBody], error) {
	var out found[QuoteBody]
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		q, err := t.QuoteByID(ctx, in.ID)
		if err != nil {
			return err
		}
		out.Body, err = n.writeQuote(q, s.now())
		return err
	})
	return &out, err
}

func (s *Server) listQuotes(ctx context.Context, in *ByID) (*listBody[QuoteBody], error) {
	var list []QuoteBody
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if _, err := t.ClientByID(ctx, in.ID); err != nil {
			return err
		}
		rows, err := t.QuotesOf(ctx, in.ID)
		if err != nil {
			return err
		}
		for _, q := range rows {
			b, err := n.writeQuote(q, s.now())
			if err != nil {
				return err
			}
			list = append(list, b)
		}
		return nil
	})
	return listOf(list, func(b QuoteBody) QuoteBody { return b }), err
}

// asQuoted gives c the prices of a quote, and notes in f why it cannot have
// them: a quote that is over, that was made for another client, or for other
// services or hair.
func (c *composed) asQuoted(ctx context.Context, t *store.Tx, n salonDay, f *scheduling.Faults, id, client string, now time.Time) error {
	q, err := t.QuoteByID(ctx, id)
	if is(err, scheduling.ErrNotFound) {
		f.Add("quote_id", "is not a quote of this salon", "the id of an answer of POST /quotes")
		return nil
	}
	if err != nil {
		return err
	}
	kept, err := readQuote(q)
	if err != nil {
		return err
	}
	switch {
	case !now.Before(q.ValidUntil):
		f.Add("quote_id", "was valid until "+q.ValidUntil.In(n.loc).Add(-time.Second).Format("2 January 2006"), "a new quote, or the visit without it")
	case q.Client != nil && client != "" && *q.Client != client:
		f.Add("quote_id", "was made for another client", "a quote for this client, or for nobody in particular")
	case kept.Currency != n.row.Currency:
		f.Add("quote_id", "is in "+kept.Currency+", and the salon's currency is "+n.row.Currency, "a new quote")
	}
	if len(kept.Lines) != len(c.services) {
		f.Addf("quote_id", "the same services in the same order", "is for %d services", len(kept.Lines))
		return nil
	}
	for i, line := range kept.Lines {
		if line.ServiceID != c.services[i].Service {
			f.Add("quote_id", "is for another service than "+index("services", i), "the same services in the same order")
			continue
		}
		same, err := c.sameHair(ctx, t, i, line.EstimateID)
		if err != nil {
			return err
		}
		if !same {
			f.Add("quote_id", "is for other hair than that of "+index("services", i), "the same hair, or estimate_id as in the quote")
		}
	}
	c.quote, c.price = &q, 0
	for i, line := range kept.Lines {
		c.services[i].PriceCents, c.services[i].Open = line.PriceCents, false
		c.price += line.PriceCents
	}
	return nil
}

// stillQuoted notes why a pencilled visit cannot be booked for its client at the
// price of the quote that it was pencilled with. A quote that is over holds as
// long as the visit stays pencilled, which it was while the quote was valid.
func stillQuoted(ctx context.Context, t *store.Tx, n salonDay, f *scheduling.Faults, v store.Visit, now time.Time) error {
	q, err := t.QuoteOfVisit(ctx, v.ID)
	if is(err, scheduling.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	if q.Client != nil && *q.Client != v.Client {
		f.Add("client_id", "is not the client for whom the price of this time was quoted", "that client, or the time pencilled anew without the quote")
	}
	if over(v, now) && !now.Before(q.ValidUntil) {
		return conflict("the visit was pencilled with a quote that was valid until " + q.ValidUntil.In(n.loc).Add(-time.Second).Format("2 January 2006") +
			", and its time is over: book it anew, without the quote")
	}
	return nil
}

// sameHair reports whether service i is about the hair of a kept estimate.
func (c *composed) sameHair(ctx context.Context, t *store.Tx, i int, estimate string) (bool, error) {
	w := c.estimates[i]
	if w == nil || estimate == "" {
		return w == nil && estimate == "", nil
	}
	if w.id == estimate {
		return true, nil
	}
	row, err := t.EstimateByID(ctx, estimate)
	if err != nil {
		return false, err
	}
	quoted, err := readEstimate(row)
	return err == nil && reflect.DeepEqual(w.hair, quoted.hair), err
}

// priceAsSeen is what service i of a booked visit costs on hair that was worked
// out anew: the price that was booked or agreed to since, and the difference that
// the hair makes by the rule that it was priced with.
func (n salonDay) priceAsSeen(ctx context.Context, t *store.Tx, v store.Visit, i int, w *worked) (int64, error) {
	x := v.Services[i]
	if x.Estimate == nil || w == nil {
		return x.PriceCents, nil
	}
	row, err := pricedWith(ctx, t, v, i)
	if err != nil {
		return 0, err
	}
	kept, err := t.EstimateByID(ctx, *x.Estimate)
	if err != nil {
		return 0, err
	}
	was, err := readEstimate(kept)
	if err != nil {
		return 0, err
	}
	before, err := n.priceOf(row, was)
	if err != nil {
		return 0, err
	}
	now, err := n.priceOf(row, w)
	return max(0, x.PriceCents+now.Cents-before.Cents), err
}

// pricedWith is the version of service i whose rule its price comes from: the
// quoted one, or the one that was booked.
func pricedWith(ctx context.Context, t *store.Tx, v store.Visit, i int) (store.ServiceRow, error) {
	x := v.Services[i]
	q, err := t.QuoteOfVisit(ctx, v.ID)
	if is(err, scheduling.ErrNotFound) {
		return t.ServiceVersion(ctx, x.Service, x.Version)
	}
	if err != nil {
		return store.ServiceRow{}, err
	}
	kept, err := readQuote(q)
	if err != nil {
		return store.ServiceRow{}, err
	}
	if i < len(kept.Lines) && kept.Lines[i].ServiceID == x.Service {
		x.Version = kept.Lines[i].ServiceVersion
	}
	return t.ServiceVersion(ctx, x.Service, x.Version)
}

// priceToday is what a visit that is still to come would cost if it were booked
// today, nil when a service or hair is not taken any more.
func (n salonDay) priceToday(ctx context.Context, t *store.Tx, v store.Visit) (*int64, error) {
	var sum int64
	for _, x := range v.Services {
		row, err := t.ServiceByID(ctx, x.Service)
		if err != nil || !row.Active {
			return nil, err
		}
		var w *worked
		if x.Estimate != nil {
			kept, err := t.EstimateByID(ctx, *x.Estimate)
			if err != nil {
				return nil, err
			}
			if w, err = readEstimate(kept); err != nil {
				return nil, err
			}
		}
		if (w == nil) == needsHair(row.Service) {
			return nil, nil // the service has changed its nature
		}
		p, err := n.priceOf(row, w)
		var f scheduling.Faults
		if err := f.Join("", err); err != nil || len(f) > 0 {
			return nil, err
		}
		sum += p.Cents
	}
	return &sum, nil
}

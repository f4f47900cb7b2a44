package api

import (
	"context"
	"fmt"
	"slices"
	"time"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/quoting"
	"chairblock/store"
)

// quoteRoute is under which route a press is kept that makes a quote.
const quoteRoute = "/book/quote"

// offerQuote offers to keep the price of what was worked out. Hair that was only
// described has no price yet that could be kept.
func (b *booking) offerQuote(ctx context.Context) {
	if !May(ctx, "make-quote") || !b.page.Estimate.Bookable || b.page.Quote != "" {
		return
	}
	if b.phone != nil {
		b.page.QuoteWords = "A quote can be made once the hair has been measured."
		return
	}
	b.page.QuoteKey = store.NewID()
	b.page.QuoteWords = fmt.Sprintf("The price is kept for %d days, for the client chosen or entered above; with nobody named, for whoever shows it.",
		b.n.rules.Money.filled().QuoteValidDays)
}

// makeQuote keeps the price of what was worked out, for the client who is chosen or
// added with it, or for nobody in particular. A second press gives the same quote.
func (b *booking) makeQuote(ctx context.Context) error {
	if b.phone != nil {
		return conflict("a quote needs hair that was measured: fill in the measured hair, or book the consultation")
	}
	var err error
	b.quote, err = b.onlyOnce(ctx, quoteRoute, b.form.Get(pages.QuoteKey), "", func() (string, error) {
		client := ""
		if v := b.page.Fields; v.Client+v.FirstName+v.Initial+v.Phone+v.Mail != "" {
			var err error
			if client, err = b.client(ctx); err != nil {
				return "", err
			}
		}
		q, err := b.s.quote(ctx, b.t, b.n, QuoteRequest{Services: slices.Clone(b.req), ClientID: client})
		return q.ID, err
	})
	return err
}

// keepQuote reads the quote that the form or the address names. One that does not
// exist is as none.
func (b *booking) keepQuote(ctx context.Context) error {
	id := b.form.Get(pages.FieldQuote)
	if id == "" {
		return nil
	}
	q, err := b.t.QuoteByID(ctx, id)
	if is(err, scheduling.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	kept, err := readQuote(q)
	b.page.Quote = q.ID
	b.page.Quoted = quoting.Amount(q.TotalCents, kept.Currency) + ", until " + q.ValidUntil.In(b.n.loc).Add(-time.Second).Format("Mon 2 January 2006")
	return err
}

// startWithQuote fills an empty form with what a quote is for.
func (b *booking) startWithQuote(ctx context.Context) error {
	if b.page.Quote == "" {
		return nil
	}
	q, err := b.t.QuoteByID(ctx, b.page.Quote)
	if err != nil {
		return err
	}
	kept, err := readQuote(q)
	if err != nil {
		return err
	}
	var v store.Visit
	if q.Client != nil {
		v.Client = *q.Client
	}
	lead := ""
	for _, l := range kept.Lines {
		v.Services = append(v.Services, store.VisitService{Service: l.ServiceID, Estimate: optional(l.EstimateID)})
		lead = l.LeadID
	}
	b.page.Fields, err = b.fieldsOf(ctx, v)
	b.page.Fields.Stylist = lead
	return err
}

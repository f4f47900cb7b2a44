package api

import (
	"cmp"
	"context"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/quoting"
	"chairblock/store"
)

// PhonePriceBody is what the desk can say about the price of hair that nobody
// has seen.
type PhonePriceBody struct {
	ServiceID string `json:"service_id"`
	Name      string `json:"name"`
	FromCents int64  `json:"from_cents" doc:"By booked minutes: 2 of 10 such visits cost no more; by a price list: the least of the rows that such hair can fall in"`
	ToCents   int64  `json:"to_cents" doc:"By booked minutes: 8 of 10 cost no more; by a price list: the most"`
	Words     string `json:"words" example:"Straightening: between 280.00 and 360.00 EUR, firm after the consultation"`
}

// phonePrice prices all hair that would answer the questions, for one stylist
// and all at once, as the minutes are. It is nil where the salon has no service
// that it could be about.
func (n salonDay) phonePrice(ctx context.Context, t *store.Tx, q chairtime.PhoneQuestions, service string) (*PhonePriceBody, error) {
	row, err := phoneService(ctx, t, service)
	if err != nil || row.ID == "" {
		return nil, err
	}
	callers, err := n.time.Callers(q)
	if err != nil {
		return nil, err
	}
	var list []sharedPrice
	for _, c := range callers {
		h := c.Head
		h.TwoStage = row.TwoStage()
		e, err := n.time.Estimate(h)
		if err != nil {
			return nil, err
		}
		p, err := n.priceOf(row, &worked{result: NewEstimateBody(e), hair: HeadBody{LengthCM: h.Length, Density: string(h.Density), Hands: h.Hands}})
		if err != nil {
			return nil, err
		}
		list = append(list, sharedPrice{p.Cents, c.Share})
	}
	rule, err := readPriceRule(row)
	if err != nil {
		return nil, err
	}
	out := PhonePriceBody{ServiceID: row.ID, Name: row.Name}
	if rule.rule(row.PriceCents).By == quoting.ByMinute {
		out.FromCents, out.ToCents = shareOfPrices(list, 0.2), shareOfPrices(list, 0.8)
	} else {
		out.FromCents, out.ToCents = shareOfPrices(list, 0), shareOfPrices(list, 1)
	}
	out.Words = row.Name + ": " + n.fromTo(out.FromCents, out.ToCents)
	return &out, nil
}

// fromTo says a range of prices.
func (n salonDay) fromTo(from, to int64) string {
	if from == to {
		return n.amount(from)
	}
	return "between " + quoting.Plain(from, n.row.Currency) + " and " + n.amount(to) + ", firm after the consultation"
}

// sharedPrice is the price of a share of all hair.
type sharedPrice struct {
	cents int64
	share float64
}

// shareOfPrices is the least price that at least a share p of all hair does not
// exceed.
func shareOfPrices(list []sharedPrice, p float64) int64 {
	slices.SortFunc(list, func(a, b sharedPrice) int { return cmp.Compare(a.cents, b.cents) })
	var sum float64
	for _, x := range list {
		if sum += x.share; sum >= p-1e-9 {
			return x.cents
		}
	}
	return list[len(list)-1].cents
}

// phoneService is the service that a caller asks for; without an id it is the
// first whose time follows the hair and that treats all of it, the zero value
// where there is none.
func phoneService(ctx context.Context, t *store.Tx, id string) (store.ServiceRow, error) {
	if id == "" {
		list, err := t.Services(ctx)
		i := slices.IndexFunc(list, func(r store.ServiceRow) bool { return needsHair(r.Service) && !r.Retouch })
		if err != nil || i < 0 {
			return store.ServiceRow{}, err
		}
		return list[i], nil
	}
	row, err := t.ServiceByID(ctx, id)
	switch {
	case is(err, scheduling.ErrNotFound) || err == nil && !row.Active:
		return row, &scheduling.InvalidError{Field: "service_id", Problem: "is not a service of this salon", Want: "an id from GET /services"}
	case err == nil && !needsHair(row.Service):
		return row, &scheduling.InvalidError{Field: "service_id", Problem: "takes the same time for everybody", Want: "a service whose steps follow the hair"}
	case err == nil && row.Retouch:
		return row, &scheduling.InvalidError{Field: "service_id", Problem: "treats new growth only, which nobody on the telephone can measure", Want: "a service that treats all of the hair"}
	}
	return row, err
}

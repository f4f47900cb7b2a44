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

// phonePrice prices all hair that would answer the questions, for one stylist at
// work and all at once, as the minutes are: at the pace of whoever may be in charge,
// or of lead where one is named. It is nil where the salon has no service that it
// could be about.
func (n salonDay) phonePrice(ctx context.Context, t *store.Tx, q chairtime.PhoneQuestions, service, lead string) (*PhonePriceBody, error) {
	row, err := phoneService(ctx, t, service)
	if err != nil || row.ID == "" {
		return nil, err
	}
	out := PhonePriceBody{ServiceID: row.ID, Name: row.Name}
	paces := []string{lead}
	if lead == "" {
		hers, err := n.stylistsWithPace(ctx, t, func(skills []string) bool { return row.Skill == "" || slices.Contains(skills, row.Skill) })
		if err != nil {
			return nil, err
		}
		paces = append(paces, hers...)
	}
	var h chairtime.Head
	for i, id := range paces {
		at, err := n.paced(ctx, t, id, row.Service)
		if err != nil {
			return nil, err
		}
		if i == 0 {
			if h, err = at.time.StandIn(q); err != nil {
				return nil, err
			}
		}
		from, to, err := at.toldPrice(row, q)
		if err != nil {
			return nil, err
		}
		p, err := at.priceOn(row, h) // of the visit until hers was seen
		if err != nil {
			return nil, err
		}
		if from = min(from, p); i == 0 || from < out.FromCents {
			out.FromCents = from
		}
		out.ToCents = max(out.ToCents, to, p)
	}
	out.Words = row.Name + ": " + n.fromTo(out.FromCents, out.ToCents)
	return &out, nil
}

// priceOn is what a service costs on hair.
func (n salonDay) priceOn(row store.ServiceRow, h chairtime.Head) (int64, error) {
	h.TwoStage = row.TwoStage()
	e, err := n.time.Estimate(h)
	if err != nil {
		return 0, err
	}
	p, err := n.priceOf(row, &worked{result: NewEstimateBody(e), hair: HeadBody{LengthCM: h.Length, Density: string(h.Density), Hands: h.Hands}})
	return p.Cents, err
}

// toldPrice is between which prices a service lies on hair that would answer the
// questions: for booked minutes 2 and 8 of 10 cost no more, by a price list it is
// the least and the most.
func (n salonDay) toldPrice(row store.ServiceRow, q chairtime.PhoneQuestions) (from, to int64, err error) {
	callers, err := n.time.Callers(q)
	if err != nil {
		return 0, 0, err
	}
	var list []sharedPrice
	for _, c := range callers {
		cents, err := n.priceOn(row, c.Head)
		if err != nil {
			return 0, 0, err
		}
		list = append(list, sharedPrice{cents, c.Share})
	}
	rule, err := readPriceRule(row)
	if err != nil {
		return 0, 0, err
	}
	if rule.rule(row.PriceCents).By == quoting.ByMinute {
		return shareOfPrices(list, 0.2), shareOfPrices(list, 0.8), nil
	}
	return shareOfPrices(list, 0), shareOfPrices(list, 1), nil
}

// tell gives the service that was added last the prices between which it lies, where
// its hair only stands in for what was told.
func (c *composed) tell(ctx context.Context, t *store.Tx, n salonDay, f *scheduling.Faults, at string, row store.ServiceRow, r ServiceRequest) error {
	if r.Phone == nil {
		return nil
	}
	i := len(c.services) - 1
	if w := c.estimates[i]; w == nil || r.Hair == nil {
		f.Add(at+".phone", "is given without the hair that stands in for it", "hair beside it, or a service and an estimate without it")
		return nil
	}
	n, err := n.paced(ctx, t, pacedBy(f, at, r), row.Service)
	if err != nil {
		return err
	}
	from, to, err := n.toldPrice(row, r.Phone.Questions())
	if err := f.Join(at+".phone", err); err != nil || len(*f) > 0 {
		return err
	}
	c.estimates[i].result.Phone = r.Phone
	v := &c.services[i]
	from, to = min(from, v.PriceCents), max(to, v.PriceCents)
	if from < to {
		v.FromCents, v.ToCents, v.Open = from, to, true
	}
	return nil
}

// fromTo says a range of prices.
func (n salonDay) fromTo(from, to int64) string {
	if from == to {
		return n.amount(from)
	}
	return PriceWords(0, from, to, n.row.Currency)
}

// PriceWords says what a visit costs: cents, or between from and to, where to is not
// 0, as long as nobody has looked at the hair.
func PriceWords(cents, from, to int64, currency string) string {
	if to == 0 {
		return quoting.Amount(cents, currency)
	}
	return "between " + quoting.Plain(from, currency) + " and " + quoting.Amount(to, currency) + ", firm after the consultation"
}

func (n salonDay) rangeWords(from, to int64) string {
	return "between " + quoting.Plain(from, n.row.Currency) + " and " + n.amount(to)
}

// priceRange is between which prices c lies, as for a visit.
func (c *composed) priceRange() (from, to int64) {
	return store.Visit{PriceCents: c.price, Services: c.services}.PriceRange()
}

// priceWords says what a visit costs.
func (n salonDay) priceWords(v store.Visit) string { return n.fromTo(v.PriceRange()) }

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

package api

import (
	"context"
	"slices"
	"strconv"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// phoneAnswer is what the three questions tell of hair that nobody has seen.
type phoneAnswer struct {
	chairtime.PhoneAnswer
	price   string // from and to, "" where no service follows the hair
	density chairtime.Density
	length  float64 // of the hair that stands in, in cm
	// sections are those that such hair is divided into.
	sections int
	why      []chairtime.Reason
}

// phoneHair is hair that stands in for what was told on the telephone, so that a
// visit can be booked for it. Which minutes are kept is worked out at the pace of
// whoever is asked for.
func (b *booking) phoneHair(ctx context.Context, list []ServiceRequest) (*HeadBody, error) {
	v := b.page.Fields
	q := PhoneBody{Reach: v.Reach, Ponytail: v.Ponytail, History: v.History}.Questions()
	i := slices.IndexFunc(list, func(r ServiceRequest) bool { return needsHair(b.service(r.ServiceID).Service) })
	row := b.service(list[i].ServiceID)
	n, err := b.n.paced(ctx, b.t, list[i].LeadID, row.Service)
	if err != nil {
		return nil, err
	}
	a, err := n.time.Phone(q)
	if err != nil {
		return nil, err
	}
	h, err := n.time.StandInFor(q, a)
	if err != nil {
		return nil, err
	}
	b.phone = &phoneAnswer{PhoneAnswer: a, density: h.Density, length: h.Length, sections: h.Sections, why: n.time.WhyPhone(q, a)}
	p, err := n.phonePrice(ctx, b.t, q, row.ID)
	if err != nil {
		return nil, err
	}
	if p != nil && len(list) == 1 {
		b.phone.price = n.fromTo(p.FromCents, p.ToCents)
	}
	out := &HeadBody{LengthCM: h.Length, Density: string(h.Density), Strand: string(h.Strand), Porosity: string(h.Porosity),
		NewClient: h.NewClient, Sections: h.Sections, PlateDepthCM: h.PlateWidth, Hands: 1, Plan: NormalPlan}
	if v.Batches != "" { // a plan was chosen
		var f scheduling.Faults
		out.Plan, out.Batches, out.Hands = "", wholeCount(&f, pages.FieldBatches, v.Batches, 1, 6), wholeCount(&f, pages.FieldHands, v.Hands, 1, 2)
		if err := f.Err(); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// wholeCount reads a whole number of a form.
func wholeCount(f *scheduling.Faults, field, text string, least, most int) int {
	n, err := strconv.Atoi(text)
	if err != nil {
		f.Addf(field, "a whole number", "is %q", text)
		return least
	}
	f.Count(field, n, least, most)
	return n
}

// phoneView puts into the estimate what can be said on the telephone.
func (b *booking) phoneView(v *pages.EstimateView, w *worked) {
	p := b.phone
	v.FromMinutes, v.ToMinutes = p.From, p.To
	if rest := v.KeepMinutes - w.result.BlockMinutes; rest > 0 { // of services besides
		v.FromMinutes, v.ToMinutes = v.FromMinutes+rest, v.ToMinutes+rest
	}
	v.Counted = "Counted for hair as she describes it: 2 of 10 such visits end within the shorter time, 8 of 10 within the longer."
	if batches := max(1, w.hair.Batches); batches > 1 {
		v.Counted += " Product would stay on too long at once: it is kept for " + strconv.Itoa(batches) + " batches"
		if w.hair.Hands > 1 {
			v.Counted += ", with a helper"
		}
		v.Counted += "."
	}
	if p.price != "" {
		v.Price = p.price
	}
	v.Why = nil
	for _, r := range p.why {
		v.Why = append(v.Why, pages.CountLine{What: r.Label, Working: r.Working})
	}
	v.PriceWorking, v.Lines, v.MeanMinutes, v.OutOfTen, v.FirstSectionMinutes = "", nil, 0, 0, 0
}

// drawing is the hair as far as the form tells, nil where that is too little.
func (b *booking) drawing() *pages.HairDrawing {
	v := b.page.Fields
	h := pages.HairDrawing{Density: chairtime.Density(v.Density), Sections: 4, Inches: b.n.time.Units.Inches}
	if n, err := strconv.Atoi(v.Sections); err == nil {
		h.Sections = n
	}
	number := func(_, text string, _ bool) float64 { x, _ := strconv.ParseFloat(text, 64); return x } // nothing is drawn for 0
	switch {
	case v.Length != "":
		var body HeadBody
		b.lengths(&body, number)
		body.Curl = v.Curl
		settled := b.n.time.Settle(body.Head())
		h.LengthCM, h.RegrowthCM = settled.Length, settled.Regrowth
		h.Retouch = h.RegrowthCM > 0
	case b.phone != nil:
		h.LengthCM, h.Density, h.Sections = b.phone.length, b.phone.density, b.phone.sections
	case v.Reach != "":
		q := PhoneBody{Reach: v.Reach, Ponytail: v.Ponytail, History: v.History}.Questions()
		a, err := b.n.time.Phone(q)
		if err != nil {
			return nil
		}
		likely, err := b.n.time.StandInFor(q, a)
		if err != nil {
			return nil
		}
		h.LengthCM, h.Density, h.Sections = likely.Length, likely.Density, likely.Sections
	default:
		return nil
	}
	if h.Validate() != nil {
		return nil
	}
	return &h
}

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
	questions chairtime.PhoneQuestions
	density   chairtime.Density
	length    float64 // of the hair that stands in, in cm
	// sections are those that such hair is divided into.
	sections int
	why      []chairtime.Reason
}

// phoneHair is hair that stands in for what was told on the telephone, so that a
// visit can be booked for it. Which minutes are kept is worked out at the pace of
// whoever is asked for.
func (b *booking) phoneHair(ctx context.Context, list []ServiceRequest, told PhoneBody) (*HeadBody, error) {
	v := b.page.Fields
	q := told.Questions()
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
	b.phone = &phoneAnswer{PhoneAnswer: a, questions: q, density: h.Density, length: h.Length, sections: h.Sections, why: n.time.WhyPhone(q, a)}
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

// toldRange is what can be said before a stylist is chosen: it covers everybody who
// may be, each at her own pace.
type toldRange struct {
	from, to int64
	dearest  int64 // the highest of the least prices by stylist, of which deposits are asked
	keep     int   // minutes, of the slowest
	widened  bool  // somebody is quicker or slower than the salon
}

// tellRange works out what can be said of price and minutes. Where hair is only told
// of, others than the stylist asked for may take longer, and cost more.
func (b *booking) tellRange(ctx context.Context) error {
	from, to := b.c.priceRange()
	b.told = toldRange{from: from, to: to, dearest: from}
	if b.phone == nil {
		return nil
	}
	ways, err := b.s.atEveryPace(ctx, b.t, b.n, b.c)
	if err != nil {
		return err
	}
	for _, c := range ways {
		from, to := c.priceRange()
		b.told.from, b.told.to, b.told.dearest = min(b.told.from, from), max(b.told.to, to), max(b.told.dearest, from)
		b.told.keep = max(b.told.keep, c.minutes())
		lead := c.wish[0].LeadID
		if lead == "" {
			continue
		}
		n, err := b.n.paced(ctx, b.t, lead, b.service(b.hairService(b.c.wish)).Service)
		if err != nil {
			return err
		}
		a, err := n.time.Phone(b.phone.questions)
		if err != nil {
			return err
		}
		if a.From < b.phone.From || a.To > b.phone.To {
			b.told.widened = true
			b.phone.From, b.phone.To = min(b.phone.From, a.From), max(b.phone.To, a.To)
		}
	}
	return nil
}

// phoneView puts into the estimate what can be said on the telephone.
func (b *booking) phoneView(v *pages.EstimateView, w *worked) {
	p := b.phone
	rest := v.KeepMinutes - w.result.BlockMinutes // of services besides
	v.FromMinutes, v.ToMinutes = p.From, p.To
	if b.told.keep > v.KeepMinutes {
		v.KeepMost = b.told.keep
	}
	if rest > 0 {
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
	v.Price = b.n.fromTo(b.told.from, b.told.to)
	v.Why = nil
	for _, r := range p.why {
		if r.Figure != "" && v.KeepMinutes != p.Keep { // for batches, or with services besides
			continue
		}
		v.Why = append(v.Why, pages.CountLine{What: r.Label, Working: r.Working})
	}
	if b.told.widened {
		v.Why = append(v.Why, pages.CountLine{What: "by stylist", Working: "the shorter time is that of the quickest who may be in charge, the longer that of the slowest"})
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

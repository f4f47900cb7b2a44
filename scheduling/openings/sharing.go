package openings

import (
	"cmp"
	"slices"

	"chairblock/scheduling/timeline"
)

// Bay is a stretch in which a unit is away from a visit that it leads and will
// come back to: an assistant works, somebody else watches or nobody is needed.
type Bay struct {
	Visit string
	Span
}

// Bays finds the bays of a unit: the time between two bookings of one visit
// that it leads. They are in the order of their beginnings.
func Bays(list []Booking) []Bay {
	byVisit := map[string][]Booking{}
	for _, b := range list {
		if b.Visit != "" && b.Leads {
			byVisit[b.Visit] = append(byVisit[b.Visit], b)
		}
	}
	var out []Bay
	for visit, mine := range byVisit {
		slices.SortFunc(mine, func(a, b Booking) int { return cmp.Compare(a.From, b.From) })
		for i, b := range mine[1:] {
			if before := mine[i]; before.To < b.From {
				out = append(out, Bay{visit, Span{before.To, b.From}})
			}
		}
	}
	slices.SortFunc(out, func(a, b Bay) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Visit, b.Visit)) })
	return out
}

// Work is what a unit does for one visit inside a bay of another, from the
// first minute to the last, its own waits included.
type Work struct {
	Visit string // "" for the visit that is looked at
	Span
	Hands  Minute // minutes of it that need hands
	Effort        // what they are expected to take; Mean 0: as planned, with the usual spread
	Clear  Minute // clearing that follows
	// Estimated is true for a booked visit of which an estimate may know Effort
	// and Hands better.
	Estimated bool
}

// SharedStretch is a bay in which the unit works for other visits.
type SharedStretch struct {
	Unit  string
	Host  string // the visit that waits for the unit, "" for the one that is looked at
	Bay   Span
	Works []Work // in the order of their beginnings
}

// Shared lists where a stylist of sch would work for two clients at once: in
// the bays of others, and for others in the bays of those who lead this visit.
// Only bookings that name their visit count. Every work fits whole into its bay
// when sch passes Check.
func (p *VisitPlan) Shared(sch Schedule, shop Shop) []SharedStretch {
	mine := map[string][]Span{}
	for _, r := range p.Reservations(sch) {
		mine[r.Unit] = append(mine[r.Unit], r.Span)
	}
	var out []SharedStretch
	for i := range shop.Units {
		u := &shop.Units[i]
		spans := mine[u.ID]
		if len(spans) == 0 {
			continue
		}
		stay := Span{spans[0].From, spans[len(spans)-1].To}
		for _, bay := range u.Bays {
			if !bay.meets(stay) {
				continue
			}
			if w, ok := p.workIn(sch, u, bay.Span); ok {
				out = append(out, SharedStretch{Unit: u.ID, Host: bay.Visit, Bay: bay.Span, Works: u.works(bay, w)})
			}
		}
		if !p.leadsAs(sch, u.ID) {
			continue
		}
		for k, s := range spans[1:] {
			bay := Span{spans[k].To, s.From}
			if works := u.works(Bay{Span: bay}); len(works) > 0 {
				out = append(out, SharedStretch{Unit: u.ID, Bay: bay, Works: works})
			}
		}
	}
	return out
}

// Own returns what the visit that is looked at does inside the bay of another.
func (x SharedStretch) Own() (Work, bool) {
	i := slices.IndexFunc(x.Works, func(w Work) bool { return w.Visit == "" })
	if i < 0 {
		return Work{}, false
	}
	return x.Works[i], true
}

func (s Span) meets(o Span) bool { return s.From < o.To && o.From < s.To }

func (p *VisitPlan) leadsAs(sch Schedule, unit string) bool {
	return slices.ContainsFunc(p.leads, func(role string) bool { return sch.Roles[role] == unit })
}

// workIn is what u does for sch inside the bay.
func (p *VisitPlan) workIn(sch Schedule, u *Unit, bay Span) (Work, bool) {
	w := Work{Span: Span{bay.To, bay.From}, Clear: p.Spec.Clearing(u.Kind, u.Changeover)}
	var total Effort
	estimated := false
	for i, ph := range sch.Phases {
		if wait, ok := p.waitOf(sch, i, u.ID); ok && wait.meets(bay) {
			w.From, w.To = min(w.From, wait.From), max(w.To, wait.To)
		}
		at := Span{ph.Start, ph.End}
		if !at.meets(bay) || !slices.ContainsFunc(p.Uses(sch, i), func(x Use) bool { return x.Unit == u.ID }) {
			continue
		}
		w.From, w.To = min(w.From, at.From), max(w.To, at.To)
		if i >= len(p.Steps) || !p.Steps[i].HandsOn {
			continue
		}
		w.Hands += ph.End - ph.Start
		if e := p.Steps[i].Expect; e.Mean > 0 {
			total, estimated = total.Plus(e), true
		} else {
			total = total.Plus(Usual(ph.End - ph.Start))
		}
	}
	if estimated {
		w.Effort = total
	}
	return w, w.From < w.To
}

// works lists what u does for other visits inside the bay, and more.
func (u *Unit) works(bay Bay, more ...Work) []Work {
	out := more
	for _, b := range u.Bookings {
		at := Span{b.From, b.To}
		if b.Visit == "" || b.Visit == bay.Visit || !at.meets(bay.Span) {
			continue
		}
		k := slices.IndexFunc(out, func(w Work) bool { return w.Visit == b.Visit })
		if k < 0 {
			k = len(out)
			out = append(out, Work{Visit: b.Visit, Span: at})
		}
		w := &out[k]
		if b.To >= w.To {
			w.Clear = b.Clear
		}
		w.From, w.To = min(w.From, b.From), max(w.To, b.To)
		w.Hands += b.To - b.From
		w.Estimated = w.Estimated || b.Estimated
	}
	slices.SortFunc(out, func(a, b Work) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Visit, b.Visit)) })
	return out
}

// MayShare lists, in order and apart from each other, the minutes at which the
// visit may begin so that a stylist could work for two clients at once. At any
// other start Shared finds nothing.
func (p *VisitPlan) MayShare(shop Shop) []Span {
	var stay Minute
	for _, ph := range p.Spec.Phases {
		stay += ph.Minutes
	}
	for _, g := range p.Spec.Gaps {
		stay += g.Max
	}
	n, goes := 0, p.leadsGoAway()
	for i := range shop.Units {
		n += len(shop.Units[i].Bays)
		if goes && shop.Units[i].Kind == Stylist {
			n += len(shop.Units[i].Bookings)
		}
	}
	list := make(timeline.List, 0, n)
	add := func(from, to Minute) {
		if from < to {
			list = append(list, timeline.Span{From: int32(from), To: int32(to)})
		}
	}
	for i := range shop.Units {
		for _, bay := range shop.Units[i].Bays {
			add(bay.From-stay, bay.To)
		}
		if shop.Units[i].Kind != Stylist || !goes {
			continue
		}
		for _, b := range shop.Units[i].Bookings {
			if b.Visit != "" {
				add(b.To-stay, b.From)
			}
		}
	}
	list = timeline.Normalize(list)
	out := make([]Span, len(list))
	for i, s := range list {
		out[i] = Span{Minute(s.From), Minute(s.To)}
	}
	return out
}

// leadsGoAway reports whether a stylist in charge can leave at all. She may come
// back as anything, so that her own phases do not tell.
func (p *VisitPlan) leadsGoAway() bool {
	for _, role := range p.leads {
		if slices.ContainsFunc(p.Spec.Phases, func(ph Phase) bool { return !slices.Contains(ph.Roles, role) }) {
			return true
		}
	}
	return slices.ContainsFunc(p.Spec.Gaps, func(g Gap) bool { return g.Max > 0 })
}

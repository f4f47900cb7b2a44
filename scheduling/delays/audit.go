package delays

import (
	"cmp"
	"fmt"
	"slices"

	"chairblock/scheduling/openings"
)

// audit goes over the times of o and notes every rule that they do not keep,
// whether or not it was given up on the way, and how late everybody is. up says
// what was given up, for the words.
func (o *outlook) audit(b *dayNet, up []given) {
	for _, p := range o.dr.visits {
		o.auditOverrun(p)
		o.auditWaits(p)
		o.auditPremises(p)
		o.count(p)
	}
	for u, l := range b.runs {
		o.auditUnit(u, l)
	}
	for i := range o.broken {
		o.broken[i].explain(up)
	}
	slices.SortStableFunc(o.broken, func(x, y Broken) int {
		if xPast, yPast := x.over(), y.over(); xPast != yPast {
			if yPast {
				return -1
			}
			return 1
		}
		return cmp.Compare(slices.Index(gravity, x.Kind), slices.Index(gravity, y.Kind))
	})
}

// count adds what the visit is late and what its client waits to begin.
func (o *outlook) count(p *visitDraft) {
	if p.rebooked || p.v.Ended || p.n == 0 {
		return
	}
	at := o.starts[p.index]
	o.late += max(0, at[p.n-1]+p.length[p.n-1]-p.v.bookedEnd())
	if p.begun == 0 {
		there := max(p.v.bookedStart(), p.v.notBefore())
		if p.told != nil {
			there = max(there, *p.told)
		}
		o.waits += max(0, at[0]-there)
	}
}

// auditWaits looks at the waits between the steps of a visit.
func (o *outlook) auditWaits(p *visitDraft) {
	at := o.starts[p.index]
	for i := 0; i+1 < p.n; i++ {
		if !p.known[i] || !p.known[i+1] {
			continue
		}
		g := p.v.Spec.Gaps[i]
		wait := at[i+1] - at[i] - p.length[i]
		if wait <= g.Max {
			continue
		}
		x := Broken{Kind: BrokenWait, Visit: p.v.ID, Phase: p.v.Spec.Phases[i].Name, Minutes: wait - g.Max, Past: i+1 < p.begun,
			is: limit{severity: softWait, visit: p.index, phase: i, unit: -1, index: -1}}
		if p.v.care(i).Product {
			x.Kind, x.is.severity = BrokenProduct, softProduct
		}
		would := "would wait"
		if x.Past {
			would = "waited"
		}
		x.Words = fmt.Sprintf("%s %s %s after “%s”, %s allowed", o.dr.d.of(p.index, i+1), would, minutes(wait), p.v.phase(i), so(g.Max))
		o.broken = append(o.broken, x)
	}
}

// auditOverrun looks at whether the step that is going on should have ended, and
// product works meanwhile. Nothing mends that: somebody has to look at the hair.
func (o *outlook) auditOverrun(p *visitDraft) {
	i := p.begun - 1
	if !p.runs || i < 0 || !p.v.care(i).Timed {
		return
	}
	booked := p.v.Spec.Phases[i].Minutes
	over := p.length[i] - booked
	if over <= 0 {
		return
	}
	o.broken = append(o.broken, Broken{Kind: BrokenOverrun, Visit: p.v.ID, Phase: p.v.Spec.Phases[i].Name, Minutes: over, Past: true,
		is: limit{severity: softProduct, visit: p.index, phase: i, unit: -1, index: -1},
		Words: fmt.Sprintf("%s was to end at %s and is going on, %s longer than it may: look at the hair now",
			o.dr.d.of(p.index, i), o.dr.d.clock(p.from[i]+booked), minutes(over))})
}

// auditPremises looks at whether a visit lies in one opening of the salon.
func (o *outlook) auditPremises(p *visitDraft) {
	if p.n == 0 || p.begun == p.n && !p.runs {
		return
	}
	d, at := o.dr.d, o.starts[p.index]
	stay := openings.Span{From: at[max(p.begun-1, 0)], To: at[p.n-1] + p.length[p.n-1]}
	out, since := outside(stay, d.since(d.Shop.Premises, p))
	if out == 0 {
		return
	}
	o.broken = append(o.broken, Broken{Kind: BrokenClosing, Visit: p.v.ID, Minutes: out,
		is: limit{severity: softClosing, visit: p.index, phase: -1, unit: -1, index: -1},
		Words: fmt.Sprintf("%s would stay until %s, %s while the salon is closed, from %s on",
			p.v.words(), d.clock(stay.To), minutes(out), d.clock(since))})
}

// outside counts the minutes of s that lie in none of windows, and says where
// they begin.
func outside(s openings.Span, windows []openings.Span) (n, since openings.Minute) {
	n, since = s.To-s.From, s.From
	found := false
	at := s.From
	for _, w := range joined(windows) {
		if w.To <= s.From || w.From >= s.To {
			continue
		}
		n -= min(w.To, s.To) - max(w.From, s.From)
		if !found && w.From > at {
			since, found = at, true
		}
		at = max(at, w.To)
	}
	if !found {
		since = max(at, s.From)
	}
	return n, since
}

// auditUnit looks at the uses of unit u: its hours, its breaks, other bookings
// and one another.
func (o *outlook) auditUnit(u int, l []run) {
	d, now := o.dr.d, o.dr.d.Now
	unit := &d.Shop.Units[u]
	lost := make([]openings.Minute, len(unit.Breaks))
	var past openings.Minute // worked outside of the hours
	var since openings.Minute
	for k := range l {
		r := &l[k]
		s := r.span(o.starts)
		if s.From >= s.To {
			continue
		}
		for i, b := range unit.Breaks {
			if n := min(s.To, b.To) - max(s.From, b.From); n > 0 {
				lost[i] += n
				o.station(u, r, n, i, b)
			}
		}
		if r.over(now) {
			continue
		}
		if out, from := outside(s, d.since(d.hours(u), r.p)); out > 0 {
			if past == 0 {
				since = from
			}
			past += out
			o.station(u, r, out, -1, openings.Span{From: from, To: d.Shop.Minutes})
		}
		o.auditBookings(u, r, s)
		o.auditPairs(u, l[:k], r, s)
	}
	if person(unit.Kind) {
		o.hours(u, past, since)
		o.breaks(u, lost)
	}
}

// station notes that a visit needs a chair or basin that it cannot have.
func (o *outlook) station(u int, r *run, n openings.Minute, index int, during openings.Span) {
	d := o.dr.d
	if person(d.Shop.Units[u].Kind) || r.over(d.Now) {
		return
	}
	o.broken = append(o.broken, o.unitBroken(BrokenStation, u, r, n, index,
		fmt.Sprintf("%s is out of use %s, but %s would need it", d.unit(u), d.between(during), d.of(r.p.index, r.first))))
}

func (o *outlook) unitBroken(kind BrokenKind, u int, r *run, n openings.Minute, index int, words string) Broken {
	return Broken{Kind: kind, Visit: r.p.v.ID, Phase: r.p.v.Spec.Phases[r.first].Name, Unit: o.dr.d.Shop.Units[u].ID, Minutes: n,
		Words: words, is: limit{severity: softStation, visit: r.p.index, phase: r.first, unit: u, index: index}}
}

func (o *outlook) auditBookings(u int, r *run, s openings.Span) {
	d, clear := o.dr.d, o.dr.clearing(r.p, u)
	for i, bk := range d.Shop.Units[u].Bookings {
		if n := min(s.To+clear, bk.To+bk.Clear) - max(s.From, bk.From); s.From < bk.To+bk.Clear && bk.From < s.To+clear {
			x := o.unitBroken(BrokenStation, u, r, max(n, 1), i, fmt.Sprintf("%s is taken %s, but %s would need it",
				d.unit(u), d.between(openings.Span{From: bk.From, To: bk.To}), d.of(r.p.index, r.first)))
			x.is.taken = true
			o.broken = append(o.broken, x)
		}
	}
}

// auditPairs looks for another client on the unit at the same time, or before
// it was cleared.
func (o *outlook) auditPairs(u int, others []run, r *run, s openings.Span) {
	d := o.dr.d
	for k := range others {
		q := &others[k]
		if q.p == r.p {
			continue
		}
		t := q.span(o.starts)
		a, b, gap := t, s, o.dr.clearing(q.p, u)
		if s.From < t.From {
			a, b, gap = s, t, o.dr.clearing(r.p, u)
		}
		if a.From >= a.To || b.From >= a.To+gap {
			continue
		}
		x := o.unitBroken(BrokenDouble, u, r, min(a.To+gap, b.To)-b.From, q.p.index,
			fmt.Sprintf("%s would be needed for %s before %s is done and cleared away", d.unit(u), d.of(r.p.index, r.first), q.p.v.words()))
		if x.Past = q.begun() && r.begun(); x.Past {
			x.Words = fmt.Sprintf("%s is in use for %s and for %s at the same time", d.unit(u), d.of(q.p.index, q.last), d.of(r.p.index, r.first))
		}
		x.is.severity = softOrder
		o.broken = append(o.broken, x)
	}
}

func (o *outlook) hours(u int, n, since openings.Minute) {
	if n == 0 {
		return
	}
	d := o.dr.d
	o.broken = append(o.broken, Broken{Kind: BrokenClosing, Unit: d.Shop.Units[u].ID, Minutes: n,
		is:    limit{severity: softClosing, phase: -1, unit: u, index: -1},
		Words: fmt.Sprintf("%s would work %s outside of the hours, from %s on", d.unit(u), minutes(n), d.clock(since))})
}

func (o *outlook) breaks(u int, lost []openings.Minute) {
	d := o.dr.d
	for i, n := range lost {
		if n == 0 {
			continue
		}
		b := d.Shop.Units[u].Breaks[i]
		part := ""
		if n < b.To-b.From {
			part = minutes(n) + " of "
		}
		x := Broken{Kind: BrokenBreak, Unit: d.Shop.Units[u].ID, Minutes: n, Past: b.To <= d.Now,
			is: limit{severity: softBreak, phase: -1, unit: u, index: i}}
		loses := "would lose"
		if x.Past {
			loses = "lost"
		}
		x.Words = fmt.Sprintf("%s %s %sthe break %s", d.unit(u), loses, part, d.between(b))
		o.broken = append(o.broken, x)
	}
}

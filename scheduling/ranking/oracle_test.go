package ranking_test

import (
	"cmp"
	"slices"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/ranking"
)

// The slow oracle of the ranking: every candidate is placed with package
// openings and costed in full, and the standard visits are placed by searching
// a fresh snapshot for each. It shares no code with the package.

type minute = openings.Minute

// maxClearing is more than any clearing in the tests.
const maxClearing = 60

// brute returns all candidates, least cost first.
func brute(in ranking.Input) []ranking.Ranked {
	o := oracle{in: in, shop: in.Snapshot.Shop()}
	for _, d := range in.Days {
		was, worth := o.pack(o.shop, d.Span)
		o.was, o.worth = append(o.was, was), append(o.worth, worth)
	}
	var out []ranking.Ranked
	for lead, ranges := range o.ranges() {
		for m := minute(0); m < o.shop.Minutes; m++ {
			if d := o.dayOf(m); d >= 0 && o.candidate(m, in.Days[d], ranges) {
				out = append(out, o.cost(m, d, lead))
			}
		}
	}
	slices.SortFunc(out, func(a, b ranking.Ranked) int {
		p, q := a.Parts, b.Parts
		return cmp.Or(cmp.Compare(a.Cost, b.Cost), cmp.Compare(p.Lost, q.Lost), cmp.Compare(p.Wish, q.Wish),
			cmp.Compare(yes(p.OtherLead), yes(q.OtherLead)), cmp.Compare(p.Stay, q.Stay), cmp.Compare(q.Slack, p.Slack),
			cmp.Compare(a.Start, b.Start), cmp.Compare(a.Lead, b.Lead))
	})
	return out
}

func yes(b bool) int {
	if b {
		return 1
	}
	return 0
}

type oracle struct {
	in    ranking.Input
	shop  openings.Shop
	was   [][]int // what each day holds before
	worth []float64
}

func (o *oracle) ranges() map[string][]openings.StartRange {
	if len(o.in.Visit.Roles) == 0 {
		return map[string][]openings.StartRange{"": o.in.Starts.Ranges()}
	}
	return o.in.Starts.ByFirstRole()
}

func (o *oracle) dayOf(m minute) int {
	return slices.IndexFunc(o.in.Days, func(d ranking.Day) bool { return d.From <= m && m < d.To })
}

// candidate reports whether m is offered: an end of its range on that day, the
// next to the wish from either side, or on the offered grid.
func (o *oracle) candidate(m minute, d ranking.Day, ranges []openings.StartRange) bool {
	in := func(m minute) bool {
		return d.From <= m && m < d.To && slices.ContainsFunc(ranges, func(r openings.StartRange) bool {
			return r.From <= m && m <= r.To && (m-r.From)%o.in.Grid == 0
		})
	}
	if !in(m) {
		return false
	}
	before, after := in(m-o.in.Grid), in(m+o.in.Grid)
	offered := o.in.Offer > 0 && (m-d.From)%o.in.Offer == 0
	if w := d.Wish; w != nil {
		for _, t := range []minute{w.From, w.To} {
			offered = offered || m <= t && t < m+o.in.Grid || t <= m && m < t+o.in.Grid
		}
	}
	return offered || !before || !after
}

func (o *oracle) cost(m minute, d int, lead string) ranking.Ranked {
	in := o.in
	sch, ok := in.Starts.Assign(m, lead)
	if !ok {
		panic("a start cannot be assigned")
	}
	sch = openings.Settle(sch, in.Visit, o.shop)
	r := ranking.Ranked{Start: m, End: sch.Phases[len(sch.Phases)-1].End, Lead: lead, Schedule: sch}
	r.Parts = ranking.Parts{Later: m - in.Days[0].From, OtherLead: in.Lead != "" && lead != in.Lead, Stay: r.End - m}
	for _, ph := range in.Visit.Phases {
		r.Parts.Stay -= ph.Minutes
	}
	for _, g := range in.Visit.Gaps {
		r.Parts.Stay -= g.Min
	}
	if w := in.Days[d].Wish; w != nil {
		r.Parts.Wish = max(0, w.From-m, m-w.To)
	}
	r.Parts.Slack = o.slack(sch)
	beside := o.book(o.shop, sch, in.Visit)
	for i, day := range in.Days {
		if day.From > r.End+maxClearing || day.To+maxClearing < r.Start {
			continue
		}
		is, left := o.pack(beside, day.Span)
		if len(in.Mix) > 0 {
			r.Parts.Lost += max(0, o.worth[i]-left) / o.one()
		}
		if i != d {
			continue
		}
		for k, s := range in.Mix {
			r.Room = append(r.Room, ranking.Room{Name: s.Name, Plural: s.Name + "s", Before: o.was[i][k], After: is[k],
				Full: is[k] == 0 && o.fits(o.shop, s, day.Span) && !o.fits(beside, s, day.Span)})
		}
	}
	r.Costs = in.Weights.Costs(r.Parts)
	r.Cost = r.Costs.Total()
	return r
}

func (o *oracle) one() float64 {
	worth, n := 0.0, 0
	for _, s := range o.in.Mix {
		worth += s.Worth * float64(s.PerDay)
		n += s.PerDay
	}
	return worth / max(float64(n), 1)
}

// place finds a place for s on the day w: as early as can be, then as Assign
// does in a shop sorted by id.
func (o *oracle) place(shop openings.Shop, s ranking.Standard, w openings.Span) (openings.Schedule, bool) {
	shop.Units = near(shop.Units, w)
	slices.SortFunc(shop.Units, func(a, b openings.Unit) int { return cmp.Compare(a.ID, b.ID) })
	snap, err := openings.NewSnapshot(shop)
	if err != nil {
		panic(err)
	}
	plan, err := openings.Compile(s.Spec, snap)
	if err != nil {
		panic(err)
	}
	x, err := plan.Search(snap, openings.Query{From: w.From, To: w.To, Grid: 1, EndBy: &w.To})
	if err != nil {
		panic(err)
	}
	first, ok := x.First()
	if !ok {
		return openings.Schedule{}, false
	}
	return x.Assign(first, "")
}

// near returns units with the bookings around w alone.
func near(units []openings.Unit, w openings.Span) []openings.Unit {
	units = slices.Clone(units)
	for i := range units {
		units[i].Bookings = slices.DeleteFunc(slices.Clone(units[i].Bookings), func(b openings.Booking) bool {
			return b.To+maxClearing < w.From || b.From-maxClearing > w.To
		})
	}
	return units
}

func (o *oracle) fits(shop openings.Shop, s ranking.Standard, w openings.Span) bool {
	_, ok := o.place(shop, s, w)
	return ok
}

func (o *oracle) pack(shop openings.Shop, w openings.Span) (counts []int, worth float64) {
	counts = make([]int, len(o.in.Mix))
	for {
		next := -1
		for k, s := range o.in.Mix {
			if counts[k] >= 0 && (next < 0 || s.Worth > o.in.Mix[next].Worth) {
				next = k
			}
		}
		if next < 0 {
			break
		}
		s, n := o.in.Mix[next], 0
		for ; n < s.PerDay; n++ {
			sch, ok := o.place(shop, s, w)
			if !ok {
				break
			}
			shop = o.book(shop, sch, s.Spec)
		}
		worth += float64(n) * s.Worth
		counts[next] = -1 - n
	}
	for k := range counts {
		counts[k] = -1 - counts[k]
	}
	return counts, worth
}

// book returns shop with sch in it.
func (o *oracle) book(shop openings.Shop, sch openings.Schedule, spec openings.VisitSpec) openings.Shop {
	shop.Units = slices.Clone(shop.Units)
	for i := range shop.Units {
		u := &shop.Units[i]
		for _, s := range uses(sch, spec, u.ID) {
			u.Bookings = append(slices.Clone(u.Bookings), openings.Booking{From: s.From, To: s.To, Clear: spec.Clearing(u.Kind, u.Changeover)})
		}
	}
	return shop
}

// uses lists what sch uses of a unit, phase by phase and wait by wait.
func uses(sch openings.Schedule, spec openings.VisitSpec, id string) []openings.Span {
	var out []openings.Span
	for i, ph := range sch.Phases {
		used := slices.Contains(ph.Pool, id)
		for _, r := range spec.Phases[i].Roles {
			used = used || sch.Roles[r] == id
		}
		if used {
			out = append(out, openings.Span{From: ph.Start, To: ph.End})
		}
		if i == len(spec.Gaps) || ph.End == sch.Phases[i+1].Start {
			continue
		}
		for _, r := range spec.Gaps[i].Hold {
			if sch.Roles[r] == id {
				out = append(out, openings.Span{From: ph.End, To: sch.Phases[i+1].Start})
			}
		}
	}
	return out
}

// slack looks at every unit of every phase that is tied to a neighbour.
func (o *oracle) slack(sch openings.Schedule) minute {
	slack := o.in.Weights.SlackCap
	tied := func(i int) bool {
		return i >= 0 && i < len(o.in.Visit.Gaps) && o.in.Visit.Gaps[i].Min == o.in.Visit.Gaps[i].Max
	}
	last := sch.Phases[len(sch.Phases)-1].End
	for i, ph := range sch.Phases {
		if !tied(i-1) && !tied(i) {
			continue
		}
		for m := ph.Start; m <= last+slack; m++ {
			if !inside(o.shop.Premises, m) {
				slack = min(slack, m-last)
				break
			}
		}
		for _, u := range o.shop.Units {
			spans := uses(sch, o.in.Visit, u.ID)
			if !slices.ContainsFunc(spans, func(s openings.Span) bool { return s.From == ph.Start && s.To == ph.End }) {
				continue
			}
			end := ph.End
			for m := ph.Start; m <= last+slack; m++ {
				if !o.free(u, m) {
					slack = min(slack, m-end)
					break
				}
				if inside(spans, m) {
					end = m + 1
				}
			}
		}
	}
	return slack
}

func inside(spans []openings.Span, m minute) bool {
	return slices.ContainsFunc(spans, func(s openings.Span) bool { return s.From <= m && m < s.To })
}

// free reports whether the visit may use u in minute m.
func (o *oracle) free(u openings.Unit, m minute) bool {
	keep := o.in.Visit.Clearing(u.Kind, u.Changeover)
	return m < o.shop.Minutes && inside(u.Open, m) && !inside(u.Breaks, m) &&
		!slices.ContainsFunc(u.Bookings, func(b openings.Booking) bool { return b.From-keep <= m && m < b.To+b.Clear })
}

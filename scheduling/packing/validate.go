package packing

import (
	"fmt"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// GreatestValue is what a request may be worth at most, in the smallest unit of the currency
// or whatever values are counted in (judgement): no sum of values and costs may
// overflow.
const GreatestValue = 1_000_000_000

// Limits of a problem. Judgement: two dozen visits fill a day of a large salon,
// and no sum of values and costs may overflow.
const (
	maxRequests = 60
	maxLinks    = 200
	maxCost     = 1_000_000
	maxMinute   = openings.Minute(2 * 366 * 1440) // of the horizon

	// Sixty visits of thirty phases among twenty units are a tenth of that.
	maxChoices = 300_000
	// Sixty days around the clock for two hundred units are a tenth of that.
	maxWords = 8_000_000
)

// check returns the shop and the visits of p made ready, or Faults that name
// the faulty fields of p and o.
func (p *Problem) check(o Options) (*openings.Snapshot, []*openings.Plan, error) {
	var f scheduling.Faults
	if o.Rounds < 0 {
		f.Addf("rounds", "0 or more", "is %d", o.Rounds)
	}
	if p.Objective != MaxValue && p.Objective != MinMakespan {
		f.Addf("objective", fmt.Sprintf("%s or %s", MaxValue, MinMakespan), "is %q", p.Objective)
	}
	if n := len(p.Requests); n > maxRequests {
		f.Addf("requests", fmt.Sprintf("at most %d", maxRequests), "has %d entries", n)
	}
	if n := len(p.Links); n > maxLinks {
		f.Addf("links", fmt.Sprintf("at most %d", maxLinks), "has %d entries", n)
	}
	snap, err := openings.NewSnapshot(p.Shop)
	if err := f.Join("shop", err); err != nil {
		return nil, nil, err
	}
	if err := f.Err(); err != nil {
		return nil, nil, err
	}
	plans := make([]*openings.Plan, len(p.Requests))
	byID := map[string]int{}
	for i := range p.Requests {
		r, at := &p.Requests[i], fmt.Sprintf("requests[%d]", i)
		if _, twice := byID[r.ID]; twice || r.ID == "" {
			f.Addf(at+".id", "a different id for every request", "is %q", r.ID)
		}
		byID[r.ID] = i
		r.checkAmounts(&f, at)
		if plans[i], err = r.compile(&f, at, snap); err != nil {
			return nil, nil, err
		}
	}
	if err := f.Err(); err != nil {
		return nil, nil, err
	}
	for i := range p.Requests {
		p.checkStay(&f, i)
	}
	p.checkLinks(&f, byID)
	p.checkChoices(&f)
	return snap, plans, f.Err()
}

// checkChoices adds a fault when all visits together leave too much to choose.
func (p *Problem) checkChoices(f *scheduling.Faults) {
	n := 0
	count := func(need openings.Need) {
		for i := range p.Shop.Units {
			if u := &p.Shop.Units[i]; slices.Contains(need.Kinds, u.Kind) && able(u, need) {
				n++
			}
		}
	}
	for i := range p.Requests {
		for _, r := range p.Requests[i].Visit.Roles {
			count(r.Need)
		}
		for _, ph := range p.Requests[i].Visit.Phases {
			for _, need := range ph.Pool {
				count(need)
			}
		}
		if n > maxChoices {
			f.Addf(fmt.Sprintf("requests[%d].visit", i), "fewer phases, or needs that fewer units meet",
				"brings the units to choose from for all jobs to more than %d", maxChoices)
			return
		}
	}
}

func (r *Request) checkAmounts(f *scheduling.Faults, at string) {
	f.Count(at+".value", r.Value, 0, GreatestValue)
	f.Count(at+".move", r.Move, 0, maxCost)
	f.Count(at+".per_minute", r.PerMinute, 0, maxCost)
}

// compile makes the visit of r ready for searching with r.LeadOnly in force.
func (r *Request) compile(f *scheduling.Faults, at string, snap *openings.Snapshot) (*openings.Plan, error) {
	before := len(*f)
	units := snap.Shop().Units
	for i, id := range r.LeadOnly {
		if !slices.ContainsFunc(units, func(u openings.Unit) bool { return u.ID == id }) {
			f.Addf(fmt.Sprintf("%s.lead_only[%d]", at, i), "the id of a unit of the shop", "is %q", id)
		}
	}
	if len(r.LeadOnly) > 0 && len(r.Visit.Roles) == 0 {
		f.Add(at+".lead_only", "is given for a visit without roles", "a visit whose first role is the lead")
	}
	if len(*f) > before {
		return nil, nil
	}
	plan, err := openings.Compile(r.narrowed(), snap)
	if err != nil {
		return nil, f.Join(at+".visit", err)
	}
	if _, _, err = plan.Soonest(snap, r.Query); err != nil {
		return nil, f.Join(at+".query", err)
	}
	return plan, nil
}

// narrowed is the visit of r with its first role narrowed to LeadOnly.
func (r *Request) narrowed() openings.VisitSpec {
	v := r.Visit
	if len(r.LeadOnly) == 0 {
		return v
	}
	v.Roles = slices.Clone(v.Roles)
	only := slices.Clone(r.LeadOnly)
	if old := v.Roles[0].Only; len(old) > 0 {
		only = slices.DeleteFunc(only, func(id string) bool { return !slices.Contains(old, id) })
	}
	if len(only) == 0 {
		only = []string{""} // no unit has this id, and an empty list would mean any
	}
	v.Roles[0].Only = only
	return v
}

// checkStay adds a fault when the place that request i has today is none for
// its visit, whatever the time: wrong units, lengths or waits. That somebody is
// away or that it is too late now is no fault but a reason to move.
func (p *Problem) checkStay(f *scheduling.Faults, i int) {
	r := &p.Requests[i]
	if r.Stay == nil {
		return
	}
	always := openings.Shop{Minutes: p.Shop.Minutes, Premises: []openings.Span{{From: 0, To: p.Shop.Minutes}}}
	for _, u := range p.Shop.Units {
		always.Units = append(always.Units, openings.Unit{ID: u.ID, Kind: u.Kind, Skills: u.Skills,
			Changeover: u.Changeover, Open: always.Premises})
	}
	for _, v := range openings.Check(*r.Stay, r.Visit, always) {
		f.Add(fmt.Sprintf("requests[%d].stay", i), "breaks a rule of the visit: "+v.String(),
			"a schedule of this visit")
	}
}

// checkLinks adds the faults of the links, among them the first one that no
// times can meet together with those before it.
func (p *Problem) checkLinks(f *scheduling.Faults, byID map[string]int) {
	before := len(*f)
	for i, l := range p.Links {
		at := fmt.Sprintf("links[%d]", i)
		for _, end := range []struct{ field, id string }{{".a", l.A}, {".b", l.B}} {
			if _, ok := byID[end.id]; !ok {
				f.Addf(at+end.field, "the id of a request", "is %q", end.id)
			}
		}
		if l.A == l.B {
			f.Addf(at+".b", "another request than a", "is %q like a", l.B)
		}
		if l.From != fromStart && l.From != fromEnd {
			f.Addf(at+".from", "start or end", "is %q", l.From)
		}
		if l.Min > l.Max || l.Min < -maxMinute || l.Max > maxMinute {
			f.Addf(at+".min", fmt.Sprintf("min <= max, within %d minutes", maxMinute), "is %d with max %d", l.Min, l.Max)
		}
		if len(*f) == before && l.OtherLead {
			for _, id := range []string{l.A, l.B} {
				if len(p.Requests[byID[id]].Visit.Roles) == 0 {
					f.Addf(at+".other_lead", "two visits with roles", "is set, and the visit of %q has no roles", id)
				}
			}
		}
	}
	if len(*f) > before {
		return
	}
	var all []distance
	for _, r := range p.Requests {
		least, most := stay(&r.Visit)
		k := 2 * byID[r.ID]
		all = append(all, distance{k, k + 1, least}, distance{k + 1, k, -most})
	}
	for i, l := range p.Links {
		all = append(all, l.distances(byID)...)
		if contradict(all, 2*len(p.Requests)) {
			f.Addf(fmt.Sprintf("links[%d]", i), "links that some times can meet",
				"between %q and %q contradicts the visits' lengths or the links before it", l.A, l.B)
			return
		}
	}
}

// Values of Link.From.
const (
	fromStart = "start"
	fromEnd   = "end"
)

// distance says that to is at least by after from. Points 2i and 2i+1 are the
// start and the end of request i.
type distance struct {
	from, to int
	by       int64
}

func (l *Link) distances(byID map[string]int) []distance {
	a, b := 2*byID[l.A], 2*byID[l.B]
	if l.From == fromEnd {
		a++
	}
	return []distance{{a, b, int64(l.Min)}, {b, a, -int64(l.Max)}}
}

// stay returns the least and the greatest length of a visit with its waits.
func stay(v *openings.VisitSpec) (least, most int64) {
	for _, ph := range v.Phases {
		least += int64(ph.Minutes)
	}
	most = least
	for _, g := range v.Gaps {
		least, most = least+int64(g.Min), most+int64(g.Max)
	}
	return least, most
}

// contradict reports whether no times of n points keep all distances: the
// longest ways still grow after as many passes as there are points.
func contradict(all []distance, n int) bool {
	at := make([]int64, n)
	for range n + 1 {
		grown := false
		for _, d := range all {
			if at[d.from]+d.by > at[d.to] {
				at[d.to] = at[d.from] + d.by
				grown = true
			}
		}
		if !grown {
			return false
		}
	}
	return true
}

package api

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
	"chairblock/store"
)

// packBudget bounds the work of packing.
type packBudget struct {
	limit  time.Duration
	rounds int    // 0: until limit
	seed   uint64 // the same seed and rounds give the same answer
}

// longestPacking ends a packing whatever its rounds are: before the request has
// to be answered (judgement: half of handlerLimit).
const longestPacking = 5 * time.Second

// mostRepairs is how often a packing is tried anew because it breaks a rule that
// package packing does not know; the first times, what is in the way is kept
// apart, then nothing moves that can stay, and then what is left is dropped
// (judgement: no day of the tests needed more than two).
const mostRepairs = 5

// packed is how well the jobs were packed.
type packed struct {
	value int               // worth of what is served, less what moving costs
	bound int               // no packing has a greater one
	why   map[string]string // by job without a place
	// unsure is true when the bound is not that of everything that was asked for.
	unsure bool
}

// solve looks for the best places. What was found stands in the jobs. It takes
// a transaction only to hold the packing against the rules of sharing and
// spacing, not while it computes.
func (p *packer) solve(ctx context.Context, b packBudget) (packed, error) {
	var out packed
	select {
	case cores <- struct{}{}:
		defer func() { <-cores }()
	case <-ctx.Done():
		return out, ctx.Err()
	}
	limited, cancel := context.WithTimeout(ctx, cmp.Or(b.limit, longestPacking))
	defer cancel()
	out.unsure = p.weigh()
	other := true           // visits than those that the bound is of
	for try := 0; ; try++ { // every turn that does not end it leaves fewer jobs, or one of mostRepairs less
		if err := ctx.Err(); err != nil {
			return out, err
		}
		if err := p.fitAlone(); err != nil {
			return out, err
		}
		r, err := p.once(limited, b, try)
		if err != nil {
			return out, err
		}
		if other {
			out.bound, other = r.Bound+p.frozen, false
		}
		out.take(r, p.frozen)
		if !r.Complete && p.frozen == 0 { // nobody who can stay goes for the sake of others
			p.freeze()
			try, other, out.unsure = -1, true, true
			continue
		}
		gone, alone, err := p.withoutPlace(out.why)
		if err != nil {
			return out, err
		}
		out.unsure = out.unsure || gone && !r.Proven
		if gone || alone {
			try, other = -1, alone
			continue
		}
		var broken []*packJob
		if err := p.s.read(ctx, func(t *store.Tx) (err error) { broken, err = p.hold(ctx, t, try); return err }); err != nil {
			return out, err
		}
		if len(broken) == 0 {
			return out, nil
		}
		if try < mostRepairs {
			continue
		}
		for _, j := range broken {
			p.giveUp(j, "every place for it would break a rule")
		}
		try, out.unsure = mostRepairs-1, true // who has her own time back takes it from others
	}
}

// take notes how well a packing is.
func (x *packed) take(r *packing.Result, frozen int) {
	x.value, x.why = r.Value+frozen, map[string]string{}
	for _, u := range r.Unplaced {
		x.why[u.Request] = u.Why
	}
}

// once packs and writes into the jobs what was found. The first packing gets
// most of the time, and the others their part of the rest.
func (p *packer) once(ctx context.Context, b packBudget, try int) (*packing.Result, error) {
	x := p.problem()
	if end, ok := ctx.Deadline(); ok {
		left := time.Until(end)
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, left*2/3)
		defer cancel()
	}
	r, err := packing.Pack(ctx, x, packing.Options{Seed: b.seed + uint64(try), Rounds: b.rounds})
	if err != nil {
		return nil, errors.New("api: pack: " + err.Error()) // what is wrong with it is nobody's input
	}
	for _, j := range p.jobs {
		j.sch = nil
	}
	for _, q := range r.Placed {
		j := p.job(q.Request)
		s := q.Schedule
		for role := range s.Roles {
			if !slices.ContainsFunc(j.c.plan.Spec.Roles, func(r openings.Role) bool { return r.Name == role }) {
				delete(s.Roles, role)
			}
		}
		j.sch = &s
	}
	return r, nil
}

// hold settles the waits of what was found and holds it against what a packing
// cannot know: the salon's limit on shared time, and the distance between visits
// of one client. It keeps apart what does not go together, for the next try, and
// returns the jobs at fault.
func (p *packer) hold(ctx context.Context, t *store.Tx, try int) ([]*packJob, error) {
	var broken []*packJob
	for _, j := range p.jobs {
		if j.sch == nil {
			continue
		}
		shop := p.beside(j)
		x := p.n.newSharing(t, p.h, j.c, shop)
		if j.changed() {
			s, err := x.better(ctx, *j.sch, openings.Settle(*j.sch, j.c.plan.Spec, shop), shop)
			if err != nil {
				return nil, err
			}
			j.sch = &s
		}
		over, err := p.overshared(ctx, x, j, shop)
		if err != nil {
			return nil, err
		}
		for _, s := range over {
			broken = append(broken, p.keepApart(j, s))
		}
		if near, ok := p.tooNear(j); ok && p.maySend(j, near) {
			broken = append(broken, j)
		}
	}
	if len(broken) > 0 && try == mostRepairs-1 {
		p.freeze()
	}
	return broken, nil
}

// beside is the shop with every other job at its place.
func (p *packer) beside(j *packJob) openings.Shop {
	shop := p.shop
	shop.Units = slices.Clone(shop.Units)
	for _, o := range p.jobs {
		if o != j && o.sch != nil {
			withVisit(&shop, o)
		}
	}
	return shop
}

// withVisit puts a job at its place into the shop.
func withVisit(shop *openings.Shop, j *packJob) { j.putInto(shop, j.c, *j.sch, !j.changed()) }

// putInto puts a schedule of the job into the shop, c being what it is of. Only
// of a visit that stays can an estimate tell more than the plan.
func (j *packJob) putInto(shop *openings.Shop, c *composed, sch openings.Schedule, stays bool) {
	estimated := stays && slices.ContainsFunc(c.services, func(v store.VisitService) bool { return v.Estimate != nil })
	var leads []string
	for i := range c.services {
		leads = append(leads, c.plan.LeadOf(sch, i))
	}
	for _, x := range usesOf(*shop, c.plan, sch) {
		for i := range shop.Units {
			u := &shop.Units[i]
			if u.ID != x.unit {
				continue
			}
			u.Bookings = append(slices.Clip(u.Bookings), openings.Booking{From: x.From, To: x.To - x.clear, Clear: x.clear,
				Leads: slices.Contains(leads, u.ID), Estimated: estimated, Visit: j.id})
			u.Bays = openings.Bays(u.Bookings)
		}
	}
}

// giveUp leaves a visit without a place: until somebody has spoken with its
// client it keeps the time that it was booked for, which nobody else can have.
func (p *packer) giveUp(j *packJob, why string) {
	j.sch, j.out = nil, why
	if j.visit != nil {
		p.shop.Units = slices.Clone(p.shop.Units)
		j.putInto(&p.shop, j.booked, *j.stay, true)
	}
}

// overshared lists where j shares time beyond the salon's limit, and did not
// before.
func (p *packer) overshared(ctx context.Context, x *sharing, j *packJob, shop openings.Shop) ([]openings.SharedStretch, error) {
	list, err := x.shared(ctx, *j.sch, shop)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(list, func(s openings.SharedStretch) bool {
		if s.Chance() <= *p.n.rules.ShareOverrunLimit {
			return true
		}
		moved := j.changed()
		for _, id := range append([]string{s.Host}, visitsOf(s.Works)...) {
			o := p.job(id)
			moved = moved || o != nil && o.changed()
		}
		return !moved
	}), nil
}

func visitsOf(works []openings.Work) []string {
	var out []string
	for _, w := range works {
		out = append(out, w.Visit)
	}
	return out
}

// keepApart lets the time in which s is shared be shared less from now on, and
// returns the job that would have to go otherwise.
func (p *packer) keepApart(j *packJob, s openings.SharedStretch) *packJob {
	host := p.job(s.Host)
	if s.Host == "" {
		host = j
	}
	if host != nil && host.changed() && host.stay == nil {
		for role, unit := range host.sch.Roles {
			if unit == s.Unit {
				host.shut = map[string]bool{role: true}
			}
		}
	} else {
		p.shut[s.Unit] = append(p.shut[s.Unit], p.tail(s)...)
	}
	return p.dispensable(j, s)
}

// dispensable is the job of s that is given up first: a request before a visit,
// and what is worth less.
func (p *packer) dispensable(j *packJob, s openings.SharedStretch) *packJob {
	least := j
	for _, id := range append([]string{s.Host}, visitsOf(s.Works)...) {
		o := p.job(id)
		if o != nil && o.changed() && (o.wish != nil && least.wish == nil || (o.wish != nil) == (least.wish != nil) && o.value() < least.value()) {
			least = o
		}
	}
	return least
}

// tail is the end of a shared stretch in which nobody may work any more so that
// it is over in time, without the time of visits that are there already.
func (p *packer) tail(s openings.SharedStretch) []openings.Span {
	end := s.Bay.From
	for _, w := range s.Works {
		end = max(end, w.To+w.Clear)
	}
	longer := s
	for longer.Bay.To < s.Bay.To+s.Bay.To-s.Bay.From && longer.Chance() > *p.n.rules.ShareOverrunLimit {
		longer.Bay.To++
	}
	free := []openings.Span{{From: max(s.Bay.From, end-(longer.Bay.To-s.Bay.To)), To: s.Bay.To}}
	drop := func(from, to openings.Minute) {
		var left []openings.Span
		for _, f := range free {
			for _, x := range []openings.Span{{From: f.From, To: min(f.To, from)}, {From: max(f.From, to), To: f.To}} {
				if x.From < x.To {
					left = append(left, x)
				}
			}
		}
		free = left
	}
	for _, u := range p.shop.Units {
		for _, b := range u.Bookings {
			if u.ID == s.Unit {
				drop(b.From, b.To+b.Clear)
			}
		}
	}
	for _, o := range p.jobs {
		if o.stay == nil {
			continue
		}
		for _, x := range usesOf(p.shop, o.booked.plan, *o.stay) {
			if x.unit == s.Unit {
				drop(x.From, x.To)
			}
		}
	}
	return free
}

// freeze lets everything that can stay where it is do so.
func (p *packer) freeze() {
	p.jobs = slices.DeleteFunc(p.jobs, func(j *packJob) bool {
		if j.stay == nil || j.trouble != "" || j.isAlone {
			return false
		}
		j.sch = j.stay
		withVisit(&p.shop, j)
		p.frozen += p.worth(j)
		p.calm++
		return true
	})
}

// distance is what j breaks of the rules of spacing when it begins at m, and
// would not break if the client had no other visits.
func (p *packer) distance(j *packJob, others []scheduling.SpacedVisit, m openings.Minute) (scheduling.Spacing, bool) {
	rules := p.n.rules.spacingRules()
	at := p.h.Time(m)
	v := scheduling.SpacedVisit{ID: j.id, Start: at, End: at.Add(time.Duration(j.c.minutes()) * time.Minute), Services: j.c.spaced}
	for _, x := range scheduling.CheckSpacing(rules, others, v, p.n.loc) {
		if x.Level == scheduling.SpacingNeedsYes && x.Other != "" {
			return x, true
		}
	}
	return scheduling.Spacing{}, false
}

// keepDistance limits the start of a request to the longest run of starts at
// which the licensed person's yes is not needed because of other visits.
func (p *packer) keepDistance(j *packJob) {
	if len(j.spaced) == 0 {
		return
	}
	q := p.query(j)
	best, run := openings.Span{}, openings.Span{From: q.From, To: q.From}
	var why scheduling.Spacing
	for m := q.From; m <= q.To; m += p.grid {
		if x, near := p.distance(j, j.spaced, m); near {
			why, run = x, openings.Span{From: m + p.grid, To: m + p.grid}
			continue
		}
		if run.To = m + 1; run.To-run.From > best.To-best.From {
			best = run
		}
	}
	if best.From == best.To {
		j.out = why.Words
		if !why.FirstAllowed.IsZero() {
			j.first = &why.FirstAllowed
		}
		return
	}
	j.from, j.to = best.From, best.To-1
}

// tooNear finds a rule of spacing that j breaks beside the other jobs of its
// client, and did not before it moved.
func (p *packer) tooNear(j *packJob) (scheduling.Spacing, bool) {
	if j.client == "" || !j.changed() || j.stay != nil && j.stay.Phases[0].Start == j.sch.Phases[0].Start {
		return scheduling.Spacing{}, false
	}
	others := slices.Clone(j.spaced)
	for _, o := range p.jobs {
		if o == j || o.client != j.client {
			continue
		}
		others = slices.DeleteFunc(others, func(v scheduling.SpacedVisit) bool { return v.ID == o.id })
		if o.sch != nil {
			others = append(others, scheduling.SpacedVisit{ID: o.id, Start: p.h.Time(o.sch.Phases[0].Start), End: p.h.Time(o.c.plan.End(*o.sch)), Services: o.c.spaced})
		}
	}
	x, near := p.distance(j, others, j.sch.Phases[0].Start)
	if !near || j.stay == nil {
		return x, near
	}
	_, before := p.distance(j, j.spaced, j.stay.Phases[0].Start)
	return x, !before
}

// maySend keeps j from where it would stand too near to another visit of its
// client, and reports whether there is something to be tried anew.
func (p *packer) maySend(j *packJob, near scheduling.Spacing) bool {
	switch {
	case j.stay != nil && j.trouble == "":
		j.from, j.to = j.stay.Phases[0].Start, j.stay.Phases[0].Start
	case j.stay != nil:
		return false // who cannot stay anyway is asked about it
	default:
		j.out = near.Words
		if !near.FirstAllowed.IsZero() {
			j.first = &near.FirstAllowed
		}
	}
	return true
}

package api

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
	"chairblock/store"
)

// awaySpan is time in which a unit is thought not to be there.
type awaySpan struct {
	Unit     string
	From, To time.Time
}

// without takes the spans from the shop, for good.
func (p *packer) without(away []awaySpan) {
	p.shop.Units = slices.Clone(p.shop.Units)
	for _, a := range away {
		s, ok := p.h.Span(a.From, a.To)
		for i := range p.shop.Units {
			if u := &p.shop.Units[i]; ok && u.ID == a.Unit {
				u.Breaks = append(slices.Clip(u.Breaks), s)
			}
		}
	}
}

// addVisits adds the visits that may move, with any stylist in charge when
// anyLead is set, and helps the clients who are here. It reads the shop.
func (p *packer) addVisits(ctx context.Context, t *store.Tx, movable []store.Visit, anyLead bool, away []awaySpan) error {
	var except []string
	for _, v := range movable {
		j, err := p.visitJob(ctx, t, v)
		if err != nil {
			return err
		}
		if j == nil {
			continue
		}
		why, err := j.c.barred(ctx, t, p.n, v.Client, v.Start)
		if err != nil {
			return err
		}
		if why == "" { // what must not be held is cancelled, and not moved
			p.jobs = append(p.jobs, j)
			except = append(except, v.ID)
		}
	}
	if err := p.read(ctx, t, except...); err != nil {
		return err
	}
	p.without(away)
	for _, j := range p.jobs {
		p.n.tidy(j.c.plan, p.shop)
		s := j.c.plan.Cleared(*j.stay)
		j.stay, j.sch = &s, &s
	}
	p.leaveCrowded()
	if err := p.spareHere(ctx, t, away); err != nil {
		return err
	}
	for _, j := range p.jobs {
		if err := p.lookAt(ctx, t, j, anyLead); err != nil {
			return err
		}
		j.sch = nil
	}
	if err := p.linkGroups(ctx, t); err != nil {
		return err
	}
	return p.findStuck(ctx, t)
}

// visitJob is a visit as it was booked, nil when it is not known any more how
// to place it.
func (p *packer) visitJob(ctx context.Context, t *store.Tx, v store.Visit) (*packJob, error) {
	j := &packJob{id: v.ID, visit: &v, client: v.Client}
	c, err := clientOf(ctx, t, v)
	if err != nil {
		return nil, err
	}
	j.who = shortName(c)
	if j.c, err = recompose(ctx, t, v, newLead{}); err != nil {
		return nil, err
	}
	s, ok := scheduleOf(j.c.plan, v, p.h)
	if !ok {
		return nil, nil
	}
	for _, st := range j.c.plan.Steps { // some are in charge without being there
		s.Roles[st.Lead] = v.Services[st.Service].Lead
	}
	j.stay, j.booked = &s, j.c
	return j, nil
}

// always is the shop with everybody there at any time, and without bookings
// unless they are kept.
func always(shop openings.Shop, booked bool) openings.Shop {
	all := []openings.Span{{From: 0, To: shop.Minutes}}
	out := openings.Shop{Minutes: shop.Minutes, Premises: all, Units: slices.Clone(shop.Units)}
	for i := range out.Units {
		u := &out.Units[i]
		u.Open, u.Breaks, u.Bays = all, nil, nil
		if !booked {
			u.Bookings = nil
		}
	}
	return out
}

// leaveCrowded lets visits stay that stand closer to others than today's rules
// would place them: they are as good where they are as when they were booked.
func (p *packer) leaveCrowded() {
	var crowded []*packJob
	for _, j := range p.jobs {
		j.lost = len(openings.Check(*j.stay, j.c.plan.Spec, always(p.shop, false))) > 0
		if !j.lost && len(openings.Check(*j.stay, j.c.plan.Spec, always(p.beside(j), true))) > 0 {
			crowded = append(crowded, j)
		}
	}
	for _, j := range crowded {
		withVisit(&p.shop, j)
		p.jobs = slices.DeleteFunc(p.jobs, func(o *packJob) bool { return o == j })
	}
}

// absent says who or what of a schedule is not there, "" when all are.
func (p *packer) absent(plan *openings.VisitPlan, sch openings.Schedule) string {
	o := obstacles{n: p.n, h: p.h, shop: p.shop, names: p.names}
	return o.first(plan, sch)
}

// away reports whether a unit is not there for all of a span.
func (p *packer) away(unit string, s openings.Span) bool {
	for _, u := range p.shop.Units {
		if u.ID == unit {
			return openUntil(u.Open, s.From) < s.To || meets(u.Breaks, s)
		}
	}
	return true
}

// lookAt works out what may become of a visit.
func (p *packer) lookAt(ctx context.Context, t *store.Tx, j *packJob, anyLead bool) error {
	if j.trouble = p.absent(j.c.plan, *j.stay); j.trouble == "" && j.lost {
		j.trouble = "it cannot be carried out as it was booked any more"
	}
	if j.trouble == "" && len(openings.Check(*j.stay, j.c.plan.Spec, always(p.shop, true))) > 0 {
		j.trouble = "a client who is here needs the same person or basin"
	}
	for i := range j.c.plan.Spec.Roles {
		r := &j.c.plan.Spec.Roles[i]
		if r.Name != openings.RoleChair && (anyLead || p.leadAway(j, r.Name)) {
			r.Only = nil
		}
	}
	from, to := scheduling.DayBounds(p.n.loc, p.days.First)
	if from.Before(p.now) {
		from = p.now.Add(time.Minute - 1)
	}
	j.from, j.to = max(0, p.h.Minute(from)), p.h.Minute(to)-1
	j.from = min(j.from, j.stay.Phases[0].Start)
	if j.client != "" {
		var err error
		if j.spaced, err = t.SpacedVisits(ctx, j.client, j.id, p.n.spacedSince(j.c.spaced, p.h.Origin), p.now); err != nil {
			return err
		}
	}
	if j.trouble != "" && p.helperAway(j.c.plan, *j.stay) {
		return p.workOutAlone(ctx, t, j)
	}
	return nil
}

// leadAway reports whether whoever has the role is away when it is needed.
func (p *packer) leadAway(j *packJob, role string) bool {
	for i, ph := range j.stay.Phases {
		if slices.Contains(j.c.plan.Spec.Phases[i].Roles, role) && p.away(j.stay.Roles[role], openings.Span{From: ph.Start, To: ph.End}) {
			return true
		}
	}
	return false
}

// helperAway reports whether a second pair of hands is away when it is needed.
func (p *packer) helperAway(plan *openings.VisitPlan, sch openings.Schedule) bool {
	for i, st := range plan.Steps {
		for k, role := range st.Pool {
			ph := sch.Phases[i]
			if role == openings.RoleHelper && p.away(ph.Pool[k], openings.Span{From: ph.Start, To: ph.End}) {
				return true
			}
		}
	}
	return false
}

// spareHere gives clients who are here another person or basin, at the same
// times, where one of theirs is away: ahead of everybody who may move.
func (p *packer) spareHere(ctx context.Context, t *store.Tx, away []awaySpan) error {
	var here []*packJob
	var except []string
	for _, j := range p.jobs {
		except = append(except, j.id)
	}
	for _, v := range p.visits {
		if v.State != store.Arrived && v.State != store.UnderWay || len(v.Services) == 0 {
			continue
		}
		j, err := p.visitJob(ctx, t, v)
		if err != nil {
			return err
		}
		if j != nil && p.absentFrom(j) != "" {
			here = append(here, j)
			except = append(except, v.ID)
		}
	}
	if len(here) == 0 {
		return nil
	}
	if err := p.read(ctx, t, except...); err != nil {
		return err
	}
	p.without(away)
	for _, j := range here {
		p.n.tidy(j.c.plan, p.shop)
		s := j.c.plan.Cleared(*j.stay)
		j.stay, j.trouble = &s, p.absentFrom(j)
		sch, ok, err := p.spare(j)
		if err != nil {
			return err
		}
		if ok {
			j.sch = &sch
			p.spared = append(p.spared, j)
		} else {
			j.sch = j.stay
		}
		withVisit(&p.shop, j)
	}
	return nil
}

// begun reports whether a step has really begun, or is over: it or a later one was
// noted, whenever it was planned.
func (j *packJob) begun(step int) bool {
	for k := step; j.visit != nil && k < len(j.visit.Steps); k++ {
		if st := j.visit.Steps[k]; st.RealStart != nil || st.RealEnd != nil {
			return true
		}
	}
	return false
}

// done are the times of a visit's plan in which a unit has begun or done its work,
// and is not needed for it any more.
func (p *packer) done(j *packJob, unit string) []openings.Span {
	var out []openings.Span
	for i := range j.c.plan.Steps {
		if !j.begun(i) {
			break
		}
		for _, u := range j.c.plan.Uses(*j.stay, i) {
			if u.Unit == unit {
				out = append(out, openings.Span{From: j.stay.Phases[i].Start, To: j.stay.Phases[i].End})
			}
		}
	}
	return out
}

// absentFrom is absent for what of a visit is still to come.
func (p *packer) absentFrom(j *packJob) string {
	now := p.h.Minute(p.now)
	for i := range j.c.plan.Steps {
		ph := j.stay.Phases[i]
		if ph.End <= now || j.begun(i) {
			continue
		}
		for _, u := range j.c.plan.Uses(*j.stay, i) {
			if s := (openings.Span{From: max(ph.Start, now), To: ph.End}); p.away(u.Unit, s) {
				return fmt.Sprintf("%s is not there for all of %s to %s", p.names[u.Unit], p.clock(s.From), p.clock(s.To))
			}
		}
	}
	return ""
}

func (p *packer) clock(m openings.Minute) string { return p.h.Time(m).Format("15:04") }

// spare looks for others in the place of those who are away in the steps of j
// that are still to come, everything else as it is.
func (p *packer) spare(j *packJob) (openings.Schedule, bool, error) {
	spec, now := j.c.plan.Spec, p.h.Minute(p.now)
	spec.Roles, spec.Phases, spec.Gaps = slices.Clone(spec.Roles), slices.Clone(spec.Phases), slices.Clone(spec.Gaps)
	for i := range spec.Roles {
		spec.Roles[i].Only = []string{j.stay.Roles[spec.Roles[i].Name]}
	}
	for i := range spec.Phases {
		pool, ph := slices.Clone(spec.Phases[i].Pool), j.stay.Phases[i]
		for k := range pool {
			if ph.End <= now || j.begun(i) || !p.away(ph.Pool[k], openings.Span{From: max(ph.Start, now), To: ph.End}) {
				pool[k].Only = []string{ph.Pool[k]}
			}
		}
		spec.Phases[i].Pool = pool
		if i < len(spec.Gaps) {
			wait := j.stay.Phases[i+1].Start - ph.End
			spec.Gaps[i].Min, spec.Gaps[i].Max = wait, wait
		}
	}
	shop := p.shop
	shop.Units = slices.Clone(shop.Units)
	for i := range shop.Units { // what is over took place, whoever was away then
		u := &shop.Units[i]
		u.Breaks = slices.Clone(u.Breaks)
		for k := range u.Breaks {
			u.Breaks[k].From = max(u.Breaks[k].From, min(now, u.Breaks[k].To-1))
		}
		u.Breaks = without(u.Breaks, p.done(j, u.ID))
	}
	snap, err := openings.NewSnapshot(shop)
	if err != nil {
		return openings.Schedule{}, false, fmt.Errorf("api: pack: %w", err)
	}
	plan, err := openings.Compile(spec, snap)
	if err != nil {
		return openings.Schedule{}, false, fmt.Errorf("api: pack: %w", err)
	}
	at := j.stay.Phases[0].Start
	set, err := plan.Search(snap, openings.Query{From: at, To: at, Grid: 1})
	if err != nil {
		return openings.Schedule{}, false, fmt.Errorf("api: pack: %w", err)
	}
	sch, ok := set.Assign(at, "")
	return sch, ok, nil
}

// linkGroups keeps visits that belong together as they were agreed, where they
// stand so today.
func (p *packer) linkGroups(ctx context.Context, t *store.Tx) error {
	members := map[string][]store.Visit{}
	var ids []string
	for _, v := range p.visits {
		if v.Group == nil {
			continue
		}
		if members[*v.Group] == nil {
			ids = append(ids, *v.Group)
		}
		members[*v.Group] = append(members[*v.Group], v) // by start
	}
	for _, id := range ids {
		g, err := t.GroupByID(ctx, id)
		if err != nil {
			return err
		}
		list := members[id]
		kept := p.n.broken(g.How, list) == ""
		for i, v := range list {
			j := p.job(v.ID)
			if j == nil {
				continue
			}
			if j.loose = !kept; !kept {
				continue
			}
			for k, o := range list {
				p.link(g.How, j, o, k-i)
			}
		}
	}
	return nil
}

// link ties j to the visit that comes by visits after it in their group.
func (p *packer) link(how string, j *packJob, o store.Visit, by int) {
	other := p.job(o.ID)
	apart := openings.Minute(p.n.rules.TogetherMinutes)
	switch {
	case by == 0:
	case how == oneAfterOther && other != nil && by == 1:
		p.links = append(p.links, packing.Link{A: j.id, B: o.ID, From: "end", Min: -j.c.plan.Clears(), Max: openings.Minute(mostBetween/time.Minute) - j.c.plan.Clears()})
	case how == oneAfterOther && other == nil && (by == 1 || by == -1):
		j.from, j.to = j.stay.Phases[0].Start, j.stay.Phases[0].Start
	case how == oneAfterOther || by < 0 && other != nil: // is linked already
	case how == sideBySide && other != nil:
		p.links = append(p.links, packing.Link{A: j.id, B: o.ID, From: "start", OtherLead: true})
	case how == sideBySide:
		j.from, j.to = p.h.Minute(o.Start), p.h.Minute(o.Start)
	case other != nil:
		p.links = append(p.links, packing.Link{A: j.id, B: o.ID, From: "start", Min: -apart, Max: apart})
	default:
		j.from, j.to = max(j.from, p.h.Minute(o.Start)-apart), min(j.to, p.h.Minute(o.Start)+apart)
	}
}

// findStuck lists the visits to come or going on that cannot take place as they
// stand and are no jobs.
func (p *packer) findStuck(ctx context.Context, t *store.Tx) error {
	from, to := scheduling.DayBounds(p.n.loc, p.days.First)
	blocks, err := t.BlocksBetween(ctx, from, to.Add(24*time.Hour))
	if err != nil {
		return err
	}
	for _, v := range p.visits {
		if !(v.State.Open() || v.State == store.Held) || len(v.Services) == 0 || !v.Start.Before(to) || !v.End.After(from) || p.job(v.ID) != nil ||
			slices.ContainsFunc(p.spared, func(j *packJob) bool { return j.id == v.ID }) {
			continue
		}
		var why []string
		for _, k := range misfit(p.h, p.shop, v, blocks) {
			switch {
			case !k.End.After(p.now):
			case k.Unit == "":
				why = append(why, "the salon is not open for the whole visit")
			case p.away(k.Unit, openings.Span{From: p.h.Minute(laterOf(k.Start, p.now)), To: p.h.Minute(k.End)}):
				why = append(why, fmt.Sprintf("%s is not there for all of %s to %s", p.names[k.Unit], k.Start.In(p.n.loc).Format("15:04"), k.End.In(p.n.loc).Format("15:04")))
			}
		}
		if len(why) == 0 {
			continue
		}
		j, err := p.visitJob(ctx, t, v)
		if err != nil {
			return err
		}
		if j != nil && v.State == store.Booked && p.helperAway(j.c.plan, *j.stay) {
			if err := p.workOutAlone(ctx, t, j); err != nil {
				return err
			}
		}
		p.stuck = append(p.stuck, stuckVisit{visit: v, why: strings.Join(why, "; "), job: j})
	}
	return nil
}

func laterOf(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}

package api

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// reshaping works a visit that is going on out anew for other hair, from now on.
type reshaping struct {
	v    store.Visit
	n    salonDay
	now  time.Time
	was  *composed
	sch  openings.Schedule // as it is booked
	h    openings.Horizon
	shop openings.Shop // without the visit
	snap *openings.Snapshot
	// growth is true when it was booked to treat only new growth.
	growth bool
}

// reshaped is a visit with other minutes. The first kept steps have begun, or are
// going on, and stand where they are.
type reshaped struct {
	c     *composed
	price int64
	kept  int
}

func (s *Server) reshape(ctx context.Context, t *store.Tx, c *cardOf) (*reshaping, error) {
	x := &reshaping{v: c.v, n: c.n, now: s.now(), was: c.c, growth: c.booked.RegrowthCM > 0}
	d := scheduling.CivilDate(c.v.Start, c.n.loc)
	x.h = around(c.n.loc, d, d)
	var ok bool
	if x.sch, ok = scheduleOf(x.was.plan, c.v, x.h); !ok {
		return nil, fmt.Errorf("api: visit %s has other steps than its services", c.v.ID)
	}
	var err error
	if x.shop, err = t.LoadShop(ctx, x.h, x.now, c.v.ID); err != nil {
		return nil, err
	}
	x.n.tidy(x.was.plan, x.shop)
	x.sch = x.was.plan.Cleared(x.sch)
	if x.snap, err = openings.NewSnapshot(x.shop); err != nil {
		return nil, fmt.Errorf("api: hair as seen: %w", err)
	}
	return x, nil
}

// going is the step that is going on, by what was noted; the first one when
// nothing was.
func (x *reshaping) going() int {
	at := 0
	for i, st := range x.v.Steps {
		if st.RealStart != nil {
			at = i
		}
	}
	return at
}

// work works the visit out for hair; with retouch, services that treat all of it
// become those that treat new growth. With going, what has begun stays and what
// goes on lasts at least until now.
func (x *reshaping) work(ctx context.Context, t *store.Tx, f *scheduling.Faults, hair HeadBody, retouch, going bool) (*reshaped, error) {
	c := &composed{}
	var parts []openings.VisitService
	for i, sv := range x.v.Services {
		row, err := t.ServiceVersion(ctx, sv.Service, sv.Version)
		if err != nil {
			return nil, err
		}
		part, err := rebook(row.Service, x.v, i)
		if err != nil {
			return nil, err
		}
		var w *worked
		if sv.Estimate != nil {
			if retouch && !row.Retouch {
				if row, err = retouchFor(ctx, t, row); err != nil || row.ID == "" {
					return nil, err
				}
			}
			asked := hair
			if !row.Retouch && !x.growth { // new growth that is seen does not make less of what was booked
				asked.RegrowthCM = 0
			}
			part, w, err = workOut(ctx, t, x.n, f, "", row.Service, ServiceRequest{ServiceID: row.ID, LeadID: sv.Lead, WatcherID: part.WatcherID, Hair: &asked})
			if err != nil || w == nil || len(*f) > 0 {
				return nil, err
			}
		}
		part.LeadID = sv.Lead
		parts = append(parts, part)
		if err := c.add(ctx, t, x.n, row, w); err != nil {
			return nil, err
		}
		c.services[i].Lead = sv.Lead
		if row.ID == sv.Service {
			if c.services[i].PriceCents, err = x.n.priceAsSeen(ctx, t, x.v, i, w); err != nil {
				return nil, err
			}
		}
		if x.v.Parent != nil && sv.PriceCents == 0 { // what follows from another visit stays free
			c.services[i].PriceCents = 0
		}
	}
	if last := len(x.v.Steps) - 1; x.v.Steps[last].UnitIn(openings.RoleChair) == "" {
		closeAtDesk(parts[len(parts)-1].Steps)
	}
	r := &reshaped{c: c}
	if going {
		r.kept = x.keep(parts)
	}
	plan, err := openings.ComposeVisit(parts)
	if err != nil {
		return nil, f.Join("hair", err)
	}
	c.plan = plan
	for i := range r.kept {
		if i >= len(plan.Steps) || string(plan.Steps[i].Kind) != x.v.Steps[i].Kind {
			return nil, nil // what has begun is not part of it
		}
	}
	x.n.tidy(c.plan, x.shop)
	r.price = x.v.PriceCents
	for i, sv := range x.v.Services {
		r.price += c.services[i].PriceCents - sv.PriceCents
	}
	return r, nil
}

// keep gives the steps that have begun the minutes that they are booked with, and
// the last of them as many as it takes to last until now. It returns how many
// those are.
func (x *reshaping) keep(parts []openings.VisitService) int {
	going, at := x.going(), 0
	for p := range parts {
		for k := range parts[p].Steps {
			if at <= going && at < len(x.sch.Phases) {
				ph := x.sch.Phases[at]
				minutes := ph.End - ph.Start
				if at == going {
					minutes = max(minutes, x.h.Minute(x.now.Add(time.Minute-1))-ph.Start)
				}
				parts[p].Steps[k].Length = int(minutes)
			}
			at++
		}
	}
	return going + 1
}

// retouchFor is the salon's service that treats only new growth, for the same
// skill; the zero row when there is none.
func retouchFor(ctx context.Context, t *store.Tx, row store.ServiceRow) (store.ServiceRow, error) {
	list, err := t.Services(ctx)
	if err != nil {
		return store.ServiceRow{}, err
	}
	for _, x := range list {
		if x.Active && x.Retouch && x.Skill == row.Skill && needsHair(x.Service) {
			return x, nil
		}
	}
	return store.ServiceRow{}, nil
}

// fit is a schedule for r from now on, and false when there is none: with the
// same people and stations, each step as soon as it can be, or else with another
// basin or assistant.
func (x *reshaping) fit(r *reshaped) (openings.Schedule, bool, error) {
	if sch, ok := x.straight(r); ok {
		return sch, true, nil
	}
	spec := x.pinned(r)
	p, err := openings.Compile(spec, x.snap)
	if err != nil {
		return openings.Schedule{}, false, fmt.Errorf("api: hair as seen: %w", err)
	}
	at := x.sch.Phases[0].Start
	set, err := p.Search(x.snap, openings.Query{From: at, To: at, Grid: 1})
	if err != nil {
		return openings.Schedule{}, false, fmt.Errorf("api: hair as seen: %w", err)
	}
	sch, ok := set.Assign(at, "")
	if !ok {
		return sch, false, nil
	}
	return openings.Settle(sch, spec, x.shop), true, nil
}

// straight lays the steps one after the other with the units that the visit has,
// and false when that does not fit or there are other steps than before.
func (x *reshaping) straight(r *reshaped) (openings.Schedule, bool) {
	out, ok := x.laid(r)
	return out, ok && len(openings.Check(out, r.c.plan.Spec, x.shop)) == 0
}

// laid is straight before anybody has looked whether it fits: steps that were
// not there before are done by whoever does their like.
func (x *reshaping) laid(r *reshaped) (openings.Schedule, bool) {
	spec, plan := r.c.plan.Spec, r.c.plan
	out := openings.Schedule{Roles: map[string]string{}}
	for _, role := range spec.Roles {
		if out.Roles[role.Name] = x.sch.Roles[role.Name]; out.Roles[role.Name] == "" {
			return out, false
		}
	}
	for i, st := range plan.Steps {
		k := x.like(i, st)
		if k < 0 || len(x.sch.Phases[k].Pool) != len(spec.Phases[i].Pool) {
			return out, false
		}
		ph := openings.Placed{Phase: spec.Phases[i].Name, Start: x.sch.Phases[k].Start, Pool: x.sch.Phases[k].Pool}
		if i >= r.kept {
			ph.Start = out.Phases[i-1].End + spec.Gaps[i-1].Min
		}
		ph.End = ph.Start + spec.Phases[i].Minutes
		out.Phases = append(out.Phases, ph)
	}
	return plan.Cleared(out), true
}

// like is the step of the visit that step i of a new plan is like: the same one,
// or one of its kind; -1 when there is none.
func (x *reshaping) like(i int, st openings.PlanStep) int {
	was := x.was.plan.Steps
	if i < len(was) && was[i].Kind == st.Kind && was[i].Service == st.Service {
		return i
	}
	kinds := []scheduling.StepKind{st.Kind}
	if st.Kind == scheduling.RinseShort {
		kinds = append(kinds, scheduling.Rinse1)
	}
	for _, kind := range kinds {
		k := slices.IndexFunc(was, func(w openings.PlanStep) bool { return w.Kind == kind && w.Service == st.Service })
		if k >= 0 {
			return k
		}
	}
	return -1
}

// pinned leaves the visit its stylists in charge and its chair, and everything
// that has begun its time and its units.
func (x *reshaping) pinned(r *reshaped) openings.VisitSpec {
	spec := r.c.plan.Spec
	spec.Roles, spec.Phases, spec.Gaps = slices.Clone(spec.Roles), slices.Clone(spec.Phases), slices.Clone(spec.Gaps)
	for i, role := range spec.Roles {
		begun := slices.ContainsFunc(spec.Phases[:r.kept], func(p openings.Phase) bool { return slices.Contains(p.Roles, role.Name) })
		if id := x.sch.Roles[role.Name]; id != "" && (begun || len(role.Kinds) > 0 && role.Kinds[0] != openings.Basin) {
			spec.Roles[i].Only = []string{id}
		}
	}
	for i := range r.kept {
		pool := slices.Clone(spec.Phases[i].Pool)
		for k := range pool {
			if k < len(x.sch.Phases[i].Pool) {
				pool[k].Only = []string{x.sch.Phases[i].Pool[k]}
			}
		}
		spec.Phases[i].Pool = pool
		if i > 0 {
			wait := x.sch.Phases[i].Start - x.sch.Phases[i-1].End
			spec.Gaps[i-1].Min, spec.Gaps[i-1].Max = wait, wait
		}
	}
	return spec
}

// inTheWay says what a visit collides with.
func (x *reshaping) inTheWay(ctx context.Context, t *store.Tx, r *reshaped) (string, error) {
	const somebody = "somebody or something that the visit needs is taken"
	sch, ok := x.laid(r)
	if !ok {
		return "nobody or nothing that it needs beside what it has is free then", nil
	}
	from, to := x.h.Time(sch.Phases[0].Start), x.h.Time(sch.Phases[len(sch.Phases)-1].End)
	o, err := loadObstacles(ctx, t, x.n, x.h, x.shop, from, to, []string{x.v.ID})
	if err != nil {
		return "", err
	}
	return cmp.Or(o.first(r.c.plan, sch), somebody), nil
}

// cautions are what has to be said of the hair by today's settings and the steps
// that would be booked.
func (r *reshaped) cautions() []CautionBody {
	out := []CautionBody{}
	for _, w := range r.c.estimates {
		if w != nil {
			out = append(out, w.cautions...)
		}
	}
	return out
}

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

// mostClearing is the longest clearing of a block: 240 minutes, as tables and bodies have
// it (judgement).
const mostClearing = 240 * time.Minute

// obstacles knows what is in the way of visits, and says so in words.
type obstacles struct {
	n      salonDay
	h      openings.Horizon
	shop   openings.Shop
	blocks map[string][]store.DayBlock // by unit, without those of the visits that move
	names  map[string]string           // of units
	whose  map[string]string           // of visits: the client's first name and initial
}

// loadObstacles reads what is booked from..to, and near enough to be cleared
// for, beside the visits in except.
func loadObstacles(ctx context.Context, t *store.Tx, n salonDay, h openings.Horizon, shop openings.Shop, from, to time.Time,
	except []string) (*obstacles, error) {
	o := &obstacles{n: n, h: h, shop: shop, whose: map[string]string{}}
	var err error
	if o.blocks, err = t.BlocksBetween(ctx, from.Add(-mostClearing), to.Add(mostClearing)); err != nil {
		return nil, err
	}
	var ids []string
	for unit, list := range o.blocks {
		list = slices.DeleteFunc(list, func(b store.DayBlock) bool { return slices.Contains(except, b.Visit) })
		o.blocks[unit] = list
		for _, b := range list {
			ids = append(ids, b.Visit)
		}
	}
	if o.names, err = unitNames(ctx, t); err != nil {
		return nil, err
	}
	slices.Sort(ids)
	visits, err := t.VisitsByID(ctx, slices.Compact(ids))
	if err != nil {
		return nil, err
	}
	clients, err := clientsOf(ctx, t, visits)
	for id, c := range clients {
		o.whose[id] = shortName(c)
	}
	return o, err
}

// first says what is in the way of a plan first, at the beginning of a clause:
// somebody or something that is booked or not there, or a closed door. It is ""
// when nothing is. Only units in one of the roles count when there are any.
func (o *obstacles) first(plan *openings.VisitPlan, sch openings.Schedule, roles ...string) string {
	at, said := openings.Minute(0), ""
	note := func(m openings.Minute, words string) {
		if said == "" || m < at {
			at, said = m, words
		}
	}
	end := sch.Phases[len(sch.Phases)-1].End
	if open := openUntil(o.shop.Premises, sch.Phases[0].Start); open < end {
		note(open, "the salon closes at "+o.clock(open))
	}
	for _, x := range usesOf(o.shop, plan, sch) {
		if len(roles) > 0 && !hasRole(plan, sch, x.unit, roles) {
			continue
		}
		o.ofUnit(x, note)
	}
	return said
}

// ofUnit notes what is in the way of one use.
func (o *obstacles) ofUnit(x use, note func(openings.Minute, string)) {
	name, to := o.names[x.unit], x.To-x.clear
	i := slices.IndexFunc(o.shop.Units, func(u openings.Unit) bool { return u.ID == x.unit })
	u := o.shop.Units[i]
	if open := openUntil(u.Open, x.From); open < to {
		note(open, fmt.Sprintf("%s is not there from %s", name, o.clock(open)))
	}
	for _, b := range u.Breaks {
		if b.From < to && x.From < b.To {
			note(max(b.From, x.From), o.missing(name, b, x.From))
		}
	}
	for _, b := range o.blocks[x.unit] {
		from, until, cleared := o.h.Minute(b.Start), o.h.Minute(b.End), o.h.Minute(b.Cleared)
		if from >= x.To || x.From >= cleared {
			continue
		}
		words := fmt.Sprintf("%s is booked for %s from %s to %s", name, o.whose[b.Visit], o.clock(from), o.clock(until))
		switch {
		case from >= to:
			words += fmt.Sprintf(", with %d minutes to clear before", x.clear)
		case x.From >= until:
			words += fmt.Sprintf(", with %d minutes to clear afterwards", cleared-until)
		}
		note(max(from, x.From), words)
	}
}

// openUntil is the end of the window that m lies in, m itself when it lies in
// none.
func openUntil(windows []openings.Span, m openings.Minute) openings.Minute {
	for _, w := range windows { // sorted
		if w.From <= m && m < w.To {
			m = w.To
		}
	}
	return m
}

func hasRole(plan *openings.VisitPlan, sch openings.Schedule, unit string, roles []string) bool {
	for i := range sch.Phases {
		for _, u := range plan.Uses(sch, i) {
			if u.Unit == unit && slices.Contains(roles, u.Role) {
				return true
			}
		}
	}
	return false
}

// missing says when name is not there, on the day of the minute at.
func (o *obstacles) missing(name string, away openings.Span, at openings.Minute) string {
	first, next := scheduling.DayBounds(o.h.Zone, scheduling.CivilDate(o.h.Time(at), o.h.Zone))
	from, to := o.h.Minute(first), o.h.Minute(next)
	switch {
	case away.From <= from && to <= away.To:
		return name + " is not there all day"
	case away.From <= from:
		return fmt.Sprintf("%s is not there until %s", name, o.clock(away.To))
	case to <= away.To:
		return fmt.Sprintf("%s is not there from %s", name, o.clock(away.From))
	}
	return fmt.Sprintf("%s is not there from %s to %s", name, o.clock(away.From), o.clock(away.To))
}

func (o *obstacles) clock(m openings.Minute) string { return o.h.Time(m).Format("15:04") }

// whyNot says why the jobs in free do not fit: at is the one of them that would
// not fit even if the others were not there, -1 when each of them would.
func (r *rearranging) whyNot(ctx context.Context, t *store.Tx, shop openings.Shop, free []*job, at int) error {
	if at < 0 {
		return &scheduling.ConflictError{Reason: "each of the visits fits at its time, but not beside the others: they need the same person, chair or basin"}
	}
	j := free[at]
	j.p.shop = shop
	if j.share.refused != nil {
		why, err := j.share.why(ctx, *j.share.refused)
		return cmp.Or(err, r.about(ctx, t, j, why))
	}
	general := j.p.whyNot(r.h.Minute(j.start))
	if j.isNew() || len(r.jobs) == 1 {
		return r.about(ctx, t, j, general.Error())
	}
	// Chairs and basins can be exchanged, so those that the visit had say little;
	// the stylist in charge is the one who counts.
	sch, ok := scheduleOf(j.c.plan, j.before, r.h)
	if !ok {
		return r.about(ctx, t, j, general.Error())
	}
	sch = later(sch, r.h.Minute(j.start)-sch.Phases[0].Start)
	for i := range j.c.plan.Spec.Roles {
		if role := j.c.plan.Spec.Roles[i]; len(role.Only) == 1 {
			sch.Roles[role.Name] = role.Only[0]
		}
	}
	from, to := r.h.Time(sch.Phases[0].Start), r.h.Time(sch.Phases[len(sch.Phases)-1].End)
	o, err := loadObstacles(ctx, t, r.n, r.h, shop, from, to, r.except)
	if err != nil {
		return err
	}
	return r.about(ctx, t, j, cmp.Or(o.first(j.c.plan, sch, openings.RoleLead), o.first(j.c.plan, sch), general.Error()))
}

// about is a clash in words, which name the visit when there are several.
func (r *rearranging) about(ctx context.Context, t *store.Tx, j *job, why string) error {
	if len(r.jobs) == 1 {
		return &scheduling.ConflictError{Reason: why}
	}
	c, err := clientOf(ctx, t, j.v)
	if err != nil {
		return err
	}
	return &scheduling.ConflictError{Reason: fmt.Sprintf("%s does not fit on %s: %s", shortName(c),
		j.start.In(r.n.loc).Format("Mon 2 January at 15:04"), why)}
}

// scheduleOf is the schedule that a visit was booked with, and false when the
// plan is not of the visit's steps.
func scheduleOf(plan *openings.VisitPlan, v store.Visit, h openings.Horizon) (openings.Schedule, bool) {
	sch := openings.Schedule{Roles: map[string]string{}}
	if len(plan.Steps) != len(v.Steps) || len(v.Steps) == 0 {
		return sch, false
	}
	sch.Roles[openings.RoleChair] = v.Chair
	for i, st := range v.Steps {
		step := plan.Steps[i]
		ph := openings.Placed{Phase: plan.Spec.Phases[i].Name, Start: h.Minute(st.Start), End: h.Minute(st.End)}
		if step.Led {
			sch.Roles[step.Lead] = st.UnitIn(openings.RoleLead)
		}
		if step.BasinRole != "" {
			sch.Roles[step.BasinRole] = st.UnitIn(openings.RoleBasin)
		}
		for _, role := range step.Pool {
			ph.Pool = append(ph.Pool, st.UnitIn(role))
		}
		sch.Phases = append(sch.Phases, ph)
	}
	return sch, true
}

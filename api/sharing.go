package api

import (
	"context"
	"errors"
	"slices"
	"sort"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// defaultShareLimit is the greatest chance of coming back late at which a
// stylist is given a second client (judgement).
const defaultShareLimit = 0.05

// Whether the stylist in charge clears the chair herself.
const (
	clearsAuto   = "auto"
	clearsAlways = "always"
	clearsNever  = "never"
)

// tidy keeps everybody from steps that they do not do, and lets the stylist in
// charge spend the clearing of the chair where the salon wants it so. Whoever searches with a plan calls it first, with the shop
// that is searched. Where the services leave the clearing to the chair, it is
// that of the chair that takes longest.
func (n salonDay) tidy(plan *openings.VisitPlan, shop openings.Shop) {
	plan.LeaveOut(shop.Units)
	assists := slices.ContainsFunc(shop.Units, func(u openings.Unit) bool { return u.Kind == openings.Assistant })
	minutes := openings.Minute(0)
	if n.rules.StylistClears == clearsAlways || n.rules.StylistClears != clearsNever && !assists {
		for _, u := range shop.Units {
			if u.Kind == openings.Chair {
				minutes = max(minutes, plan.Spec.Clearing(openings.Chair, u.Changeover))
			}
		}
	}
	plan.LeadClears(minutes)
}

// checkWatcher notes a watcher_id that cannot watch in service i of the request.
func checkWatcher(ctx context.Context, t *store.Tx, f *scheduling.Faults, list []ServiceRequest, i int, x scheduling.Service) error {
	id, at := list[i].WatcherID, index("services", i)+".watcher_id"
	if id == "" {
		return nil
	}
	p, err := t.StaffByID(ctx, id)
	switch {
	case is(err, scheduling.ErrNotFound):
		f.Add(at, "is not known", "the id of a stylist of this salon")
	case err != nil:
		return err
	case !p.MayLead || !p.Active:
		f.Add(at, "is nobody who may watch hair with product on", "a licensed stylist who works here")
	case x.Skill != "" && !slices.Contains(p.Skills, x.Skill):
		f.Addf(at, "a stylist with the skill "+x.Skill, "is somebody without the skill %s", x.Skill)
	case !slices.ContainsFunc(x.Steps, func(st scheduling.Step) bool { return st.Watched }):
		f.Add(at, "is given, but nobody watches in this service", "nobody")
	case id == leadAsked(list, i):
		f.Add(at, "is the stylist in charge, who watches when nobody else is named", "somebody else")
	}
	return nil
}

// leadAsked is who is asked to be in charge of service i: the one named for it,
// or else for the service before it, or else for the first that names one.
func leadAsked(list []ServiceRequest, i int) string {
	for k := i; k >= 0; k-- {
		if list[k].LeadID != "" {
			return list[k].LeadID
		}
	}
	for _, r := range list {
		if r.LeadID != "" {
			return r.LeadID
		}
	}
	return ""
}

// efforts is what each of steps is expected to take by an estimate: its means,
// with the spreads of today's settings.
func (n salonDay) efforts(w *worked, steps []scheduling.TimedStep) ([]openings.Effort, error) {
	e, err := n.time.Estimate(w.head())
	if err != nil {
		return nil, err
	}
	spread := map[scheduling.StepKind]float64{}
	for _, st := range e.Steps {
		if st.Mean > 0 {
			spread[st.Kind] = st.SD / st.Mean
		}
	}
	means := map[scheduling.StepKind][]float64{}
	for _, st := range w.result.Steps {
		k := scheduling.StepKind(st.Kind)
		means[k] = append(means[k], st.MeanMinutes)
	}
	out := make([]openings.Effort, len(steps))
	for i, st := range steps {
		if list := means[st.Kind]; st.Formula == scheduling.FormulaHead && len(list) > 0 {
			out[i] = openings.Effort{Mean: list[0], SD: list[0] * spread[st.Kind]}
			means[st.Kind] = list[1:]
		}
	}
	return out, nil
}

// sharing decides which schedules of a plan may have a stylist work for two
// clients at once, by the salon's limit on the chance that she comes back late.
// It belongs to one transaction.
type sharing struct {
	t      *store.Tx
	n      salonDay
	h      openings.Horizon
	c      *composed
	may    []openings.Span // starts that need a closer look
	visits map[string]*store.Visit
	hands  map[handsOf]openings.Work
	// refused is the stretch that stood in the way when assign found nothing.
	refused *openings.SharedStretch
}

// handsOf names the work of somebody for a booked visit in some minutes.
type handsOf struct {
	unit, visit string
	openings.Span
}

func (n salonDay) newSharing(t *store.Tx, h openings.Horizon, c *composed, shop openings.Shop) *sharing {
	return &sharing{t: t, n: n, h: h, c: c, may: c.plan.MayShare(shop), visits: map[string]*store.Visit{}, hands: map[handsOf]openings.Work{}}
}

// near reports whether a visit that begins at m could share somebody's time.
func (x *sharing) near(m openings.Minute) bool {
	i := sort.Search(len(x.may), func(i int) bool { return x.may[i].To > m })
	return i < len(x.may) && x.may[i].From <= m
}

// shared lists where sch has a stylist work for two clients, with what the
// estimates of booked visits know.
func (x *sharing) shared(ctx context.Context, sch openings.Schedule, shop openings.Shop) ([]openings.SharedStretch, error) {
	list := x.c.plan.Shared(sch, shop)
	for i := range list {
		for k, w := range list[i].Works {
			if !w.Estimated {
				continue
			}
			better, err := x.estimated(ctx, list[i].Unit, w)
			if err != nil {
				return nil, err
			}
			list[i].Works[k] = better
		}
	}
	return list, nil
}

// over returns the stretch that is likeliest to overrun, when that is likelier
// than the salon allows.
func (x *sharing) over(list []openings.SharedStretch) (openings.SharedStretch, bool) {
	worst, chance := openings.SharedStretch{}, *x.n.rules.ShareOverrunLimit
	over := false
	for _, s := range list {
		if c := s.Chance(); c > chance {
			worst, chance, over = s, c, true
		}
	}
	return worst, over
}

// allows reports whether sch keeps the limit, and the stretch that does not.
func (x *sharing) allows(ctx context.Context, sch openings.Schedule, shop openings.Shop) (bool, openings.SharedStretch, error) {
	list, err := x.shared(ctx, sch, shop)
	if err != nil {
		return false, openings.SharedStretch{}, err
	}
	worst, over := x.over(list)
	return !over, worst, nil
}

// assign returns a schedule of set that begins at m and keeps the limit: the
// one with the least stay, or else one of another stylist in charge.
func (x *sharing) assign(ctx context.Context, set *openings.StartSet, m openings.Minute, shop openings.Shop) (openings.Schedule, bool, error) {
	x.refused = nil
	first, ok := set.Assign(m, "")
	if !ok || !x.near(m) {
		return first, ok, nil
	}
	ok, worst, err := x.allows(ctx, first, shop)
	if ok || err != nil {
		return first, ok, err
	}
	for _, lead := range set.Leads(m) {
		if lead == first.Roles[x.c.plan.Spec.Roles[0].Name] {
			continue
		}
		sch, ok := set.Assign(m, lead)
		if !ok {
			continue
		}
		if ok, _, err := x.allows(ctx, sch, shop); ok || err != nil {
			return sch, ok, err
		}
	}
	x.refused = &worst
	return openings.Schedule{}, false, nil
}

// assignAt is assign for one start.
func (x *sharing) assignAt(ctx context.Context, m openings.Minute) func(*openings.StartSet, openings.Shop) (openings.Schedule, bool, error) {
	return func(set *openings.StartSet, shop openings.Shop) (openings.Schedule, bool, error) {
		return x.assign(ctx, set, m, shop)
	}
}

// better is settled, a schedule with the waits elsewhere, unless that shares
// time beyond the limit; sch then.
func (x *sharing) better(ctx context.Context, sch, settled openings.Schedule, shop openings.Shop) (openings.Schedule, error) {
	ok, _, err := x.allows(ctx, settled, shop)
	if !ok {
		return sch, err
	}
	return settled, err
}

// refuses says in words why the salon's limit forbids sch, "" when it does not.
func (x *sharing) refuses(ctx context.Context, sch openings.Schedule, shop openings.Shop) (string, error) {
	ok, worst, err := x.allows(ctx, sch, shop)
	if ok || err != nil {
		return "", err
	}
	return x.why(ctx, worst)
}

// estimated is w with the hands-on minutes of the booked steps and what the
// visit's estimates expect of them.
func (x *sharing) estimated(ctx context.Context, unit string, w openings.Work) (openings.Work, error) {
	key := handsOf{unit, w.Visit, w.Span}
	if have, ok := x.hands[key]; ok {
		return have, nil
	}
	v, err := x.visit(ctx, w.Visit)
	if err != nil || v == nil {
		return w, err
	}
	w.Hands, w.Effort = 0, openings.Effort{}
	for i := range v.Services {
		efforts, err := x.booked(ctx, *v, i)
		if err != nil {
			return w, err
		}
		k := -1
		for _, st := range v.Steps {
			if st.Service != i {
				continue
			}
			k++
			from, to := x.h.Minute(st.Start), x.h.Minute(st.End)
			there := slices.ContainsFunc(st.Units, func(u store.StepUnit) bool { return u.Unit == unit })
			if !there || !st.HandsOn || from >= w.To || to <= w.From {
				continue
			}
			w.Hands += to - from
			if e := efforts[k]; e.Mean > 0 {
				w.Effort = w.Plus(e)
			} else {
				w.Effort = w.Plus(openings.Usual(to - from))
			}
		}
	}
	x.hands[key] = w
	return w, nil
}

// booked is what is expected of the steps of service i of v.
func (x *sharing) booked(ctx context.Context, v store.Visit, i int) ([]openings.Effort, error) {
	row, err := x.t.ServiceVersion(ctx, v.Services[i].Service, v.Services[i].Version)
	if err != nil {
		return nil, err
	}
	part, err := rebook(row.Service, v, i)
	if err != nil {
		return nil, err
	}
	none := make([]openings.Effort, len(part.Steps))
	if v.Services[i].Estimate == nil {
		return none, nil
	}
	e, err := x.t.EstimateByID(ctx, *v.Services[i].Estimate)
	if err != nil {
		return nil, err
	}
	w, err := readEstimate(e)
	if err != nil {
		return nil, err
	}
	efforts, err := x.n.efforts(w, part.Steps)
	if _, faulty := errors.AsType[scheduling.Faults](err); faulty {
		return none, nil // hair that today's settings do not take any more
	}
	return efforts, err
}

// visit reads a visit once.
func (x *sharing) visit(ctx context.Context, id string) (*store.Visit, error) {
	if v, ok := x.visits[id]; ok {
		return v, nil
	}
	list, err := x.t.VisitsByID(ctx, []string{id})
	if err != nil {
		return nil, err
	}
	x.visits[id] = nil
	if len(list) > 0 {
		x.visits[id] = &list[0]
	}
	return x.visits[id], nil
}

// offer reports whether a visit can be offered at a start of set: one schedule
// of it ends in time and keeps the salon's limit on shared time. It is described
// when that is asked for.
func (d *describer) offer(ctx context.Context, set *openings.StartSet, m openings.Minute, p period, describe bool) (o OpeningBody, ok bool, err error) {
	near := d.share.near(m)
	if !describe && !near {
		return o, true, nil
	}
	sch, ok, err := d.share.assign(ctx, set, m, d.shop)
	if !ok || err != nil {
		return o, false, err
	}
	if !near {
		return d.opening(sch), true, nil
	}
	start, end := d.h.Time(m), d.c.plan.End(sch)
	if d.busy(start, d.h.Time(end)) || p.endBy >= 0 && end > d.h.Minute(wall(d.n.loc, scheduling.CivilDate(start, d.n.loc), p.endBy)) {
		return o, false, nil
	}
	if !describe {
		return o, true, nil
	}
	if sch, err = d.share.settle(ctx, sch, d.shop); err != nil {
		return o, false, err
	}
	o = d.opening(sch)
	ok, err = d.shares(ctx, sch, d.shop, &o)
	return o, ok, err
}

// shares says in an opening where a stylist works for two clients at once. It
// reports false when that goes beyond the salon's limit.
func (d *describer) shares(ctx context.Context, sch openings.Schedule, shop openings.Shop, o *OpeningBody) (bool, error) {
	list, err := d.share.shared(ctx, sch, shop)
	if err != nil {
		return false, err
	}
	if _, over := d.share.over(list); over {
		return false, nil
	}
	o.Shares, err = d.share.bodies(ctx, list, d.names)
	for _, x := range o.Shares {
		o.Words += "; " + x.Words
	}
	return true, err
}

// settle moves the waits of sch to where they matter least, unless shared time
// would then be over the limit.
func (x *sharing) settle(ctx context.Context, sch openings.Schedule, shop openings.Shop) (openings.Schedule, error) {
	list, err := x.shared(ctx, sch, shop)
	if err != nil || len(list) == 0 {
		return sch, err
	}
	day := bookedAround(shop, openings.Span{From: sch.Phases[0].Start, To: sch.Phases[len(sch.Phases)-1].End})
	return x.better(ctx, sch, openings.Settle(sch, x.c.plan.Spec, day), day)
}

// bookedAround is the shop with the bookings that can touch a stay, clearing
// included: weeks of others would only be looked through.
func bookedAround(shop openings.Shop, stay openings.Span) openings.Shop {
	const clearing = openings.Minute(mostClearing / time.Minute)
	shop.Units = slices.Clone(shop.Units)
	for i := range shop.Units {
		u := &shop.Units[i]
		var near []openings.Booking
		for _, b := range u.Bookings {
			if b.From < stay.To+clearing && b.To+b.Clear > stay.From {
				near = append(near, b)
			}
		}
		u.Bookings = near
	}
	return shop
}

package api

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// StartUntilBody says how late a booked visit can begin.
type StartUntilBody struct {
	At     time.Time `json:"at" doc:"The last start at which all of it still fits, with the same stylists in charge and any chair and basin"`
	Limit  string    `json:"limit" enum:"next_client,break,hours,closing,none" doc:"What a later start would run into"`
	UnitID string    `json:"unit_id,omitempty" doc:"Whose"`
	Reason string    `json:"reason" example:"next client of Mina at 13:40"`
	Passed bool      `json:"passed" doc:"It is later than that already and the visit has not begun"`
	Then   string    `json:"then" doc:"What is possible after that"`
}

// AskCameBody is a visit whose client should be here. Nobody is marked as not
// having come by the program.
type AskCameBody struct {
	VisitID string    `json:"visit_id"`
	Name    string    `json:"name" doc:"First name and initial"`
	Start   time.Time `json:"start"`
	Words   string    `json:"words"`
}

// afterStartUntil is what is left to somebody who comes too late.
const afterStartUntil = "do less, move the visit or rebook it"

// plansOf works out the plans of visits that are booked, each version of a
// service read once.
type plansOf struct {
	t    *store.Tx
	n    salonDay
	rows map[store.ServiceKey]store.ServiceRow
}

// know reads the services of visits, all at once.
func (p *plansOf) know(ctx context.Context, visits []store.Visit) error {
	var err error
	p.rows, err = p.t.ServicesOf(ctx, visits)
	return err
}

func (p *plansOf) plan(ctx context.Context, v store.Visit, shop openings.Shop) (*openings.VisitPlan, error) {
	c, err := recomposeWith(func(x store.VisitService) (row store.ServiceRow, err error) {
		if row, ok := p.rows[x.Key()]; ok && row.ID != "" {
			return row, nil
		}
		return p.t.ServiceVersion(ctx, x.Service, x.Version)
	}, v, newLead{})
	if err != nil {
		return nil, err
	}
	p.n.tidy(c.plan, shop)
	return c.plan, nil
}

// starting asks how late visits can begin in a shop that holds them.
type starting struct {
	plans  *plansOf
	h      openings.Horizon
	snap   *openings.Snapshot
	names  map[string]string
	now    time.Time
	shapes map[string]*shape // of visits that were asked for
}

// shape is what visits have in common that differ in their start, their client and
// the stations alone. Nothing of it is changed.
type shape struct {
	leads []string // units of the roles in charge
	bound *openings.Bound
}

// shapeKey tells shapes apart: it holds everything that plansOf.plan reads of a visit.
func shapeKey(v store.Visit) string {
	var b strings.Builder
	for _, x := range v.Services {
		fmt.Fprintf(&b, "%s %d %s|", x.Service, x.Version, x.Lead)
	}
	for _, st := range v.Steps {
		fmt.Fprintf(&b, "%d %q %d %v %t %t %t %q|", st.Service, st.Kind, st.End.Sub(st.Start)/time.Minute, st.Looks,
			st.UnitIn(openings.RoleChair) != "", st.UnitIn(openings.RoleLead) != "", st.UnitIn(openings.RoleHelper) != "", st.UnitIn(openings.RoleWatcher))
	}
	return b.String()
}

// shape is that of a visit.
func (x *starting) shape(ctx context.Context, v store.Visit) (*shape, error) {
	key := shapeKey(v)
	if known, ok := x.shapes[key]; ok {
		return known, nil
	}
	plan, err := x.plans.plan(ctx, v, x.snap.Shop())
	if err != nil {
		return nil, err
	}
	roles := map[string]string{}
	for _, st := range plan.Steps {
		roles[st.Lead] = v.Services[st.Service].Lead
	}
	out := &shape{leads: slices.Collect(maps.Values(roles))}
	if out.bound, err = openings.Bind(x.snap, plan.Spec, roles); err != nil {
		return nil, fmt.Errorf("api: start until: %w", err)
	}
	if x.shapes == nil {
		x.shapes = map[string]*shape{}
	}
	x.shapes[key] = out
	return out, nil
}

// canStart reports whether it still matters how late a visit can begin.
func canStart(v store.Visit, now time.Time) bool {
	begun := slices.ContainsFunc(v.Steps, func(st store.VisitStep) bool { return st.RealStart != nil })
	return (v.State == store.Booked || v.State == store.Arrived) && len(v.Steps) > 0 && !begun && v.End.After(now)
}

// until is how late v can begin; nil when that does not matter any more, or when
// it does not fit where it is booked.
func (x *starting) until(ctx context.Context, v store.Visit) (*StartUntilBody, error) {
	if !canStart(v, x.now) {
		return nil, nil
	}
	shape, err := x.shape(ctx, v)
	if err != nil {
		return nil, err
	}
	var without []openings.Unit
	for _, u := range x.snap.Shop().Units {
		own := func(b openings.Booking) bool { return b.Visit == v.ID }
		if !slices.ContainsFunc(u.Bookings, own) {
			continue
		}
		if slices.Contains(shape.leads, u.ID) {
			u.Bookings = untilNext(u.Bookings, v.ID, x.h.Length)
		}
		u.Bookings = slices.DeleteFunc(slices.Clone(u.Bookings), own)
		without = append(without, u)
	}
	snap, err := x.snap.With(without...)
	if err != nil {
		return nil, fmt.Errorf("api: start until: %w", err)
	}
	until, ok, err := shape.bound.StartUntil(snap, x.h.Minute(v.Start), bookedUnits(v)...)
	if err != nil {
		return nil, fmt.Errorf("api: start until: %w", err)
	}
	if !ok {
		return nil, nil
	}
	out := x.body(until)
	out.Passed = x.now.After(out.At)
	return out, nil
}

// bookedUnits are the people and stations that a visit is booked with.
func bookedUnits(v store.Visit) []string {
	var out []string
	for _, st := range v.Steps {
		for _, u := range st.Units {
			if !slices.Contains(out, u.Unit) {
				out = append(out, u.Unit)
			}
		}
	}
	return out
}

// untilNext lets a stylist do nothing more once the client has come who is next
// after the visit: a late client is not carried on with between others.
func untilNext(list []openings.Booking, visit string, end openings.Minute) []openings.Booking {
	done := openings.Minute(0)
	for _, b := range list {
		if b.Visit == visit {
			done = max(done, b.To)
		}
	}
	next := end
	for _, b := range list {
		if b.Visit != visit && b.From >= done {
			next = min(next, b.From)
		}
	}
	if next == end {
		return list
	}
	out := slices.DeleteFunc(slices.Clone(list), func(b openings.Booking) bool { return b.From >= next })
	return append(out, openings.Booking{From: next, To: end})
}

// body puts a limit into words.
func (x *starting) body(u openings.Until) *StartUntilBody {
	b := &StartUntilBody{At: x.h.Time(u.Start), Limit: string(u.Limit.Kind), UnitID: u.Limit.Unit, Then: afterStartUntil}
	who, at := x.names[u.Limit.Unit], x.h.Time(u.Limit.At).Format("15:04")
	switch u.Limit.Kind {
	case openings.NextClient:
		b.Reason = fmt.Sprintf("next client of %s at %s", who, at)
		if i := slices.IndexFunc(x.snap.Shop().Units, func(o openings.Unit) bool { return o.ID == u.Limit.Unit }); i >= 0 {
			if k := x.snap.Shop().Units[i].Kind; k != openings.Stylist && k != openings.Assistant {
				b.Reason = fmt.Sprintf("%s is booked at %s", who, at)
			}
		}
	case openings.BreakTime:
		b.Reason = fmt.Sprintf("%s is not there from %s", who, at)
	case openings.HoursEnd:
		b.Reason = fmt.Sprintf("%s is there until %s", who, at)
	case openings.Closing:
		b.Reason = "closing at " + at
	default:
		b.Limit, b.Reason = "none", "nothing stands in the way on these days"
	}
	return b
}

// startUntil is how late one visit can begin.
func (s *Server) startUntil(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (*StartUntilBody, error) {
	if !canStart(v, s.now()) {
		return nil, nil
	}
	first, last := scheduling.CivilDate(v.Start, n.loc), scheduling.CivilDate(v.End, n.loc)
	x := &starting{plans: &plansOf{t: t, n: n}, h: around(n.loc, first, last), now: s.now()}
	shop, err := t.LoadShop(ctx, x.h, s.now())
	if err != nil {
		return nil, err
	}
	if x.names, err = unitNames(ctx, t); err != nil {
		return nil, err
	}
	if x.snap, err = openings.NewSnapshot(shop); err != nil {
		return nil, fmt.Errorf("api: start until: %w", err)
	}
	return x.until(ctx, v)
}

// startsUntil is how late the visits of the day can begin, by visit.
func (x *dayView) startsUntil(ctx context.Context, t *store.Tx) (map[string]*StartUntilBody, error) {
	plans := &plansOf{t: t, n: x.n}
	out := map[string]*StartUntilBody{}
	if !slices.ContainsFunc(x.visits, func(v store.Visit) bool { return canStart(v, x.asOf) }) {
		return out, nil
	}
	s := &starting{plans: plans, h: x.h, names: x.names, now: x.asOf}
	shop := x.shop
	var err error
	if x.pastMidnight() {
		s.h = around(x.n.loc, x.date, x.date)
		if shop, err = plans.t.LoadShop(ctx, s.h, x.asOf); err != nil {
			return nil, err
		}
	}
	if s.snap, err = openings.NewSnapshot(shop); err != nil {
		return nil, fmt.Errorf("api: start until: %w", err)
	}
	if err := plans.know(ctx, x.visits); err != nil {
		return nil, err
	}
	for _, v := range x.visits {
		if out[v.ID], err = s.until(ctx, v); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// pastMidnight reports whether anything of the day goes on after it, or has gone
// on since the day before.
func (x *dayView) pastMidnight() bool {
	return slices.ContainsFunc(x.visits, func(v store.Visit) bool { return v.Start.Before(x.from) || v.End.After(x.to) }) ||
		slices.ContainsFunc(x.shop.Premises, func(p openings.Span) bool { return p.To >= x.h.Length })
}

// askWhetherCame lists the visits whose clients are so late that somebody should
// say whether they come.
func (x *dayView) askWhetherCame() []AskCameBody {
	out := []AskCameBody{}
	limit := time.Duration(x.n.rules.MissedAfterMinutes) * time.Minute
	for _, v := range x.visits {
		late := x.asOf.Sub(v.Start)
		if v.State != store.Booked || len(v.Steps) == 0 || late < limit {
			continue
		}
		name := shortName(x.clients[v.ID])
		out = append(out, AskCameBody{VisitID: v.ID, Name: name, Start: v.Start.In(x.n.loc),
			Words: fmt.Sprintf("%s was booked for %s and is not noted as here: is she coming, or did she not come?", name, clockAt(x.n, v.Start))})
	}
	return out
}

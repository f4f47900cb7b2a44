package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// lateDay is a day in progress: what is booked, and what really happened until
// asOf.
type lateDay struct {
	n      salonDay
	date   date.Date
	asOf   time.Time
	h      openings.Horizon // from the day before to the day after
	names  map[string]string
	visits []*lateVisit
	apart  []leftOut
	day    delays.Day
	irons  map[string]float64 // by stylist, her pace beside the sheet; nil until read
}

// lateVisit is a visit of the day with the plan that it was booked with; its
// place in day.Visits is the one in visits.
type lateVisit struct {
	v      store.Visit
	name   string
	plan   *openings.VisitPlan
	booked openings.Schedule
	looks  map[int]time.Time // until when a look lets a step last, by ordinal
}

// leftOut is a visit whose time is taken, but which cannot be carried on in
// thought.
type leftOut struct {
	v    store.Visit
	name string
	why  string
}

// loadLate reads the day as it is at asOf. A day that is still to come begins
// at its midnight; one that is over is an *scheduling.InvalidError.
func loadLate(ctx context.Context, t *store.Tx, d date.Date, asOf time.Time) (*lateDay, error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return nil, err
	}
	from, to := scheduling.DayBounds(n.loc, d)
	if !asOf.Before(to) {
		return nil, &scheduling.InvalidError{Field: "path.date", Problem: "is over", Want: "today or a later day"}
	}
	names, err := unitNames(ctx, t)
	if err != nil {
		return nil, err
	}
	visits, err := t.VisitsBetween(ctx, from, to)
	if err != nil {
		return nil, err
	}
	clients, err := clientsOf(ctx, t, visits)
	if err != nil {
		return nil, err
	}
	return lateOf(ctx, &plansOf{t: t, n: n}, d, asOf, names, visits, clients)
}

// lateOf is loadLate for a day of which names, visits and clients are read already.
func lateOf(ctx context.Context, plans *plansOf, d date.Date, asOf time.Time, names map[string]string, visits []store.Visit,
	clients map[string]store.Client) (*lateDay, error) {
	t, n := plans.t, plans.n
	x := &lateDay{n: n, date: d, asOf: asOf, h: openings.NewHorizon(n.loc, openings.DateRange{First: d.Add(-1), Last: d.Add(1)}), names: names}
	from, to := scheduling.DayBounds(n.loc, d)
	var err error
	if x.day.Shop, err = t.LoadShop(ctx, x.h, asOf); err != nil {
		return nil, err
	}
	now := asOf
	if now.Before(from) {
		now = from
	}
	x.day.Now, x.day.Clock, x.day.Names = x.h.Minute(now), x.h, x.names
	x.onlyDay(openings.Span{From: x.h.Minute(from), To: x.h.Minute(to)})
	looks, err := nextLooks(ctx, t, n, visits, asOf)
	if err != nil {
		return nil, err
	}
	if plans.rows == nil {
		if err := plans.know(ctx, visits); err != nil {
			return nil, err
		}
	}
	for _, v := range visits {
		if err := x.add(ctx, plans, v, shortName(clients[v.ID]), looks[v.ID]); err != nil {
			return nil, err
		}
	}
	x.release()
	return x, nil
}

// onlyDay closes the salon, and lets everybody be away, in all windows that do
// not touch the day: nothing late is put off until tomorrow.
func (x *lateDay) onlyDay(day openings.Span) {
	away := func(w openings.Span) bool { return w.To <= day.From || w.From >= day.To }
	shop := &x.day.Shop
	shop.Premises = slices.DeleteFunc(slices.Clone(shop.Premises), away)
	for i := range shop.Units {
		if u := &shop.Units[i]; u.Kind == openings.Stylist || u.Kind == openings.Assistant {
			u.Open = slices.DeleteFunc(slices.Clone(u.Open), away)
		}
	}
}

// add adds a visit, unless it holds no time any more.
func (x *lateDay) add(ctx context.Context, plans *plansOf, v store.Visit, name string, looks map[int]time.Time) error {
	if isKept(v) || v.State == store.Held && !x.asOf.Before(*v.HeldUntil) {
		return nil
	}
	plan, err := plans.plan(ctx, v, x.day.Shop)
	if err != nil {
		return err
	}
	l := &lateVisit{v: v, name: name, plan: plan, looks: looks}
	var ok bool
	if l.booked, ok = scheduleOf(plan, v, x.h); !ok {
		x.apart = append(x.apart, leftOut{v, name, "its steps are not those of its services"})
		return nil
	}
	for _, st := range plan.Steps { // of a lead who is in none of the steps
		if l.booked.Roles[st.Lead] == "" {
			l.booked.Roles[st.Lead] = v.Services[st.Service].Lead
		}
	}
	l.booked = plan.Cleared(l.booked)
	if gone := x.gone(l); gone != "" {
		x.apart = append(x.apart, leftOut{v, name, gone + " is not in use any more"})
		return nil
	}
	x.visits = append(x.visits, l)
	late := x.late(l)
	if err := x.ironRecords(ctx, plans.t, v, late.Care); err != nil {
		return err
	}
	x.day.Visits = append(x.day.Visits, late)
	return nil
}

// gone names a person or station of a visit that the shop has no longer, or is
// "".
func (x *lateDay) gone(l *lateVisit) string {
	used := slices.Collect(maps.Values(l.booked.Roles))
	for _, ph := range l.booked.Phases {
		used = append(used, ph.Pool...)
	}
	slices.Sort(used)
	for _, id := range used {
		if !slices.ContainsFunc(x.day.Shop.Units, func(u openings.Unit) bool { return u.ID == id }) {
			if name := x.names[id]; name != "" {
				return name
			}
			return "somebody or something that it needs"
		}
	}
	return ""
}

// late is a visit with what has happened in it.
func (x *lateDay) late(l *lateVisit) delays.Visit {
	out := delays.VisitOf(l.v.ID, l.name, l.plan, l.booked)
	for range len(l.plan.Spec.Phases) - len(l.plan.Steps) { // the stylist clears the chair
		out.Labels = append(out.Labels, "clearing the chair")
		out.Care = append(out.Care, delays.Care{Keep: true})
	}
	out.Happened = make([]delays.Happened, len(l.plan.Spec.Phases))
	for i, st := range l.v.Steps {
		out.Happened[i] = delays.Happened{Start: x.minute(st.RealStart), End: x.minute(st.RealEnd)}
		if until, ok := l.looks[i]; ok {
			m := min(x.h.Minute(until.Add(time.Minute-1)), x.h.Length)
			out.Happened[i].Until = &m
		}
	}
	out.Arrived = x.minute(l.v.ArrivedAt)
	out.Ended = l.v.State == store.Finished || l.v.State == store.StoppedEarly
	return out
}

// minute is when something happened, not after now: a watch may be a little
// ahead.
func (x *lateDay) minute(at *time.Time) *openings.Minute {
	if at == nil {
		return nil
	}
	m := max(0, min(x.h.Minute(*at), x.day.Now))
	return &m
}

// release takes the time of the visits out of the shop, which holds what else is
// booked.
func (x *lateDay) release() {
	for i := range x.day.Shop.Units {
		u := &x.day.Shop.Units[i]
		u.Bookings = slices.DeleteFunc(slices.Clone(u.Bookings), func(b openings.Booking) bool {
			return slices.ContainsFunc(x.visits, func(l *lateVisit) bool { return l.v.ID == b.Visit })
		})
	}
}

// stamp writes down what the day was read as: when, and in which versions.
func (x *lateDay) stamp(w io.Writer) {
	fmt.Fprintln(w, x.date, x.asOf.Truncate(time.Minute).Unix())
	for _, l := range x.visits {
		fmt.Fprintln(w, l.v.ID, l.v.Version)
		for _, i := range slices.Sorted(maps.Keys(l.looks)) {
			fmt.Fprintln(w, i, l.looks[i].Unix())
		}
	}
	for _, l := range x.apart {
		fmt.Fprintln(w, l.v.ID, l.v.Version)
	}
}

func (x *lateDay) etag() string {
	h := sha256.New()
	x.stamp(h)
	return `"` + hex.EncodeToString(h.Sum(nil)[:12]) + `"`
}

// fingerprint names a remedy for the day as it was read. It is another one as
// soon as anything of the day has changed.
func (x *lateDay) fingerprint(r delays.Remedy) string {
	h := sha256.New()
	x.stamp(h)
	fmt.Fprintln(h, r.Kind, r.Words)
	for _, c := range r.Changes {
		fmt.Fprintln(h, c.Visit, c.Rebook)
		for _, role := range slices.Sorted(maps.Keys(c.Schedule.Roles)) {
			fmt.Fprintln(h, role, c.Schedule.Roles[role])
		}
		for _, ph := range c.Schedule.Phases {
			fmt.Fprintln(h, ph.Start, ph.End, ph.Pool)
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// visit finds a visit of the day.
func (x *lateDay) visit(id string) *lateVisit {
	for _, l := range x.visits {
		if l.v.ID == id {
			return l
		}
	}
	return nil
}

func (x *lateDay) time(m openings.Minute) time.Time { return x.h.Time(m) }

package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// placed is a visit at its time.
type placed struct {
	now  time.Time
	h    openings.Horizon
	plan *openings.VisitPlan
	sch  openings.Schedule
	shop openings.Shop
}

func is(err, target error) bool { return errors.Is(err, target) }

// place finds units for a visit that starts at start, takes the booker's locks
// and checks the schedule once more on fresh data. A *scheduling.ConflictError
// says that it does not fit then, Faults that it fits at no time. The blocks of
// the visits in except are looked through.
func (s *Server) place(ctx context.Context, t *store.Tx, n salonDay, plan *openings.VisitPlan, start time.Time, except ...string) (*placed, error) {
	d := scheduling.CivilDate(start, n.loc)
	p := &placed{now: s.now(), h: around(n.loc, d, d), plan: plan}
	var err error
	if p.shop, err = t.LoadShop(ctx, p.h, p.now, except...); err != nil {
		return nil, err
	}
	snap, err := openings.NewSnapshot(p.shop)
	if err != nil {
		return nil, fmt.Errorf("api: place: %w", err)
	}
	compiled, err := openings.Compile(plan.Spec, snap)
	if err != nil {
		return nil, fmt.Errorf("api: place: %w", err)
	}
	if missing := compiled.Missing(); len(missing) > 0 {
		return nil, scheduling.Faults{{Field: "services", Problem: "cannot be placed at any time: " + strings.Join(missing, "; "),
			Want: "services that somebody here can carry out"}}
	}
	m := p.h.Minute(start)
	set, err := compiled.Search(snap, openings.Query{From: m, To: m, Grid: 1})
	if err != nil {
		return nil, fmt.Errorf("api: place: %w", err)
	}
	var ok bool
	if p.sch, ok = set.Assign(m, ""); !ok {
		return nil, p.whyNot(m)
	}
	p.sch = openings.Settle(p.sch, plan.Spec, p.shop)
	return p, p.recheck(ctx, t, except...)
}

// whyNot says why the visit does not fit at m.
func (p *placed) whyNot(m openings.Minute) error {
	at := p.h.Time(m)
	if !covered(p.shop.Premises, openings.Span{From: m, To: m + 1}) {
		return &scheduling.ConflictError{Reason: "the salon is not open at " + at.Format("15:04") + " on that day"}
	}
	end := m
	for _, ph := range p.plan.Spec.Phases {
		end += ph.Minutes
	}
	if !covered(p.shop.Premises, openings.Span{From: m, To: end}) {
		return &scheduling.ConflictError{Reason: "the visit would last beyond closing time"}
	}
	return &scheduling.ConflictError{Reason: "the visit does not fit at this time any more: somebody or something it needs is taken"}
}

// recheck takes the locks that keep absences and hours still, frees the time
// of pencilled visits that have lapsed, and holds the schedule against what is
// then in the database.
func (p *placed) recheck(ctx context.Context, t *store.Tx, except ...string) error {
	res := p.plan.Reservations(p.sch)
	var units []string
	for _, r := range res {
		if !slices.Contains(units, r.Unit) {
			units = append(units, r.Unit)
		}
	}
	if err := t.LockForBooking(ctx, units, p.start(), p.end()); err != nil {
		return err
	}
	if err := t.LapseHeld(ctx, p.now); err != nil {
		return err
	}
	fresh, err := t.LoadShop(ctx, p.h, p.now, except...)
	if err != nil {
		return err
	}
	p.shop = fresh
	if v := openings.Check(p.sch, p.plan.Spec, fresh); len(v) > 0 {
		return &scheduling.ConflictError{Reason: store.ErrTaken.Error()}
	}
	return nil
}

func (p *placed) start() time.Time { return p.h.Time(p.sch.Phases[0].Start) }
func (p *placed) end() time.Time   { return p.h.Time(p.sch.Phases[len(p.sch.Phases)-1].End) }

// blocks are the reservations with the clearing that follows each.
func (p *placed) blocks() []store.Block {
	units := map[string]openings.Unit{}
	for _, u := range p.shop.Units {
		units[u.ID] = u
	}
	var out []store.Block
	for _, r := range p.plan.Reservations(p.sch) {
		u, spec := units[r.Unit], p.plan.Spec
		b := store.Block{Unit: r.Unit, Start: p.h.Time(r.From), End: p.h.Time(r.To),
			Clear: int(spec.Clearing(u.Kind, u.Changeover)), Least: int(spec.ClearLeast[u.Kind])}
		if asked, ok := spec.Clear[u.Kind]; ok {
			n := int(asked)
			b.Asked = &n
		}
		out = append(out, b)
	}
	return out
}

// visit fills in what the schedule decides of v.
func (p *placed) visit(v *store.Visit) {
	v.Start, v.End = p.start(), p.end()
	v.Chair = p.sch.Roles[openings.RoleChair]
	for i := range v.Services {
		v.Services[i].Lead = p.plan.LeadOf(p.sch, i)
	}
	v.Steps = nil
	for i, st := range p.plan.Steps {
		ph := p.sch.Phases[i]
		row := store.VisitStep{Ordinal: i, Service: st.Service, Kind: string(st.Kind), Label: st.Label,
			Start: p.h.Time(ph.Start), End: p.h.Time(ph.End), HandsOn: st.HandsOn, Watched: st.Watched, Looks: st.Looks}
		for _, u := range p.plan.Uses(p.sch, i) {
			row.Units = append(row.Units, store.StepUnit{Ordinal: i, Unit: u.Unit, Role: u.Role})
		}
		v.Steps = append(v.Steps, row)
	}
}

// parts is what calendars show of the visit.
func (p *placed) parts(n salonDay, v store.Visit) []store.Part {
	var out []store.Part
	ordinal := map[string]int{}
	for _, part := range p.plan.Parts(p.sch) {
		out = append(out, store.Part{Subject: part.Unit, Ordinal: ordinal[part.Unit], Kind: string(part.Kind),
			Start: p.h.Time(part.From), End: p.h.Time(part.To), Shown: p.shown(part)})
		ordinal[part.Unit]++
	}
	return append(out, clientParts(n, v, v.End)...)
}

// shown changes with the stations, people and steps of a part.
func (p *placed) shown(part openings.Part) string {
	h := sha256.New()
	fmt.Fprintln(h, p.sch.Roles[openings.RoleChair])
	for _, i := range part.Steps {
		fmt.Fprintln(h, p.plan.Steps[i].Label, p.h.Time(p.sch.Phases[i].Start), p.plan.Steps[i].Looks, p.plan.Uses(p.sch, i))
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}

// clientParts is what the client's calendar shows of a visit that ends at end.
func clientParts(n salonDay, v store.Visit, end time.Time) []store.Part {
	if v.Client == "" {
		return nil
	}
	out := []store.Part{{Subject: store.PartClient, Kind: store.PartClient, Start: v.Start, End: v.End}}
	if !needsAftercare(v) {
		return out
	}
	dry := keepDryUntil(end)
	from, to := scheduling.DayBounds(n.loc, retouchDate(n, end))
	return append(out,
		store.Part{Subject: store.PartAftercare, Kind: store.PartAftercare, Start: end, End: dry},
		store.Part{Subject: store.PartRetouch, Kind: store.PartRetouch, Start: from, End: to})
}

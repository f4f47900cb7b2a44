package api

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
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

func (p *placed) start() time.Time { return p.h.Time(p.sch.Phases[0].Start) }
func (p *placed) end() time.Time   { return p.h.Time(p.plan.End(p.sch)) }

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

// visit fills in what the schedule decides of v. What really happened in its
// steps stays.
func (p *placed) visit(v *store.Visit) {
	v.Start, v.End = p.start(), p.end()
	v.Chair = p.sch.Roles[openings.RoleChair]
	for i := range v.Services {
		v.Services[i].Lead = p.plan.LeadOf(p.sch, i)
	}
	was := v.Steps
	v.Steps = nil
	for i, st := range p.plan.Steps {
		ph := p.sch.Phases[i]
		row := store.VisitStep{Ordinal: i, Service: st.Service, Kind: string(st.Kind), Label: st.Label,
			Start: p.h.Time(ph.Start), End: p.h.Time(ph.End), HandsOn: st.HandsOn, Watched: st.Watched, Looks: st.Looks}
		for _, u := range p.plan.Uses(p.sch, i) {
			row.Units = append(row.Units, store.StepUnit{Ordinal: i, Unit: u.Unit, Role: u.Role})
		}
		if i < len(was) {
			row.RealStart, row.RealEnd = was[i].RealStart, was[i].RealEnd
		}
		v.Steps = append(v.Steps, row)
	}
}

// parts is what calendars show of the visit.
func (p *placed) parts(n salonDay, v store.Visit, g scheduling.Growth) []store.Part {
	var out []store.Part
	ordinal := map[string]int{}
	for _, part := range p.plan.Parts(p.sch) {
		out = append(out, store.Part{Subject: part.Unit, Ordinal: ordinal[part.Unit], Kind: string(part.Kind),
			Start: p.h.Time(part.From), End: p.h.Time(part.To), Shown: p.shown(v, part)})
		ordinal[part.Unit]++
	}
	out = append(out, p.stationParts(v)...)
	out = append(out, salonPart(v))
	return append(out, clientParts(n, v, v.End, g)...)
}

// stationParts is what the calendars of chairs and basins show of v.
func (p *placed) stationParts(v store.Visit) []store.Part {
	stations := map[string]bool{}
	for i := range p.plan.Steps {
		for _, u := range p.plan.Uses(p.sch, i) {
			if u.Role == openings.RoleChair || u.Role == openings.RoleBasin {
				stations[u.Unit] = true
			}
		}
	}
	var out []store.Part
	ordinal := map[string]int{}
	for _, r := range p.plan.Reservations(p.sch) {
		if stations[r.Unit] {
			out = append(out, store.Part{Subject: r.Unit, Ordinal: ordinal[r.Unit], Kind: store.PartInUse,
				Start: p.h.Time(r.From), End: p.h.Time(r.To), Shown: shownOfVisit(v)})
			ordinal[r.Unit]++
		}
	}
	return out
}

// salonPart is what the salon's calendar shows of v.
func salonPart(v store.Visit, units ...string) store.Part {
	return store.Part{Subject: store.PartSalon, Kind: store.PartSalon, Start: v.Start, End: v.End, Shown: shownOfVisit(v, units...)}
}

// shownOfVisit changes with the services of v, for whom it is, who is in charge, and
// where.
func shownOfVisit(v store.Visit, units ...string) string {
	h := sha256.New()
	fmt.Fprintln(h, v.Title, v.Client, v.Chair, units)
	for _, x := range v.Services {
		fmt.Fprintln(h, x.Service, x.Version, x.Lead)
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}

// shownToClient changes with the services of v, of which her calendar tells their
// names and how to come.
func shownToClient(v store.Visit) string {
	h := sha256.New()
	for _, x := range v.Services {
		fmt.Fprintln(h, x.Service, x.Version)
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}

// shown changes with the stations, people and steps of a part of v, and with for
// whom it is.
func (p *placed) shown(v store.Visit, part openings.Part) string {
	h := sha256.New()
	fmt.Fprintln(h, v.Title, v.Client, p.sch.Roles[openings.RoleChair])
	for _, i := range part.Steps {
		fmt.Fprintln(h, p.plan.Steps[i].Label, p.h.Time(p.sch.Phases[i].Start), p.plan.Steps[i].Looks, p.plan.Uses(p.sch, i))
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}

// clientParts is what the client's calendar shows of a visit that ends at end,
// when the client's hair grows like g.
func clientParts(n salonDay, v store.Visit, end time.Time, g scheduling.Growth) []store.Part {
	if v.Client == "" {
		return nil
	}
	out := []store.Part{{Subject: store.PartClient, Kind: store.PartClient, Start: v.Start, End: v.End, Shown: shownToClient(v)}}
	if !needsAftercare(v) {
		return out
	}
	dry, untied := n.keepDryUntil(end), n.untiedUntil(end)
	out = append(out, store.Part{Subject: store.PartAftercare, Kind: store.PartAftercare, Start: end, End: dry})
	if !untied.Equal(dry) {
		out = append(out, store.Part{Subject: store.PartAftercare, Ordinal: untiedOrdinal, Kind: store.PartAftercare, Start: end, End: untied})
	}
	from, to := scheduling.DayBounds(n.loc, n.retouchDate(end, g))
	return append(out, store.Part{Subject: store.PartRetouch, Kind: store.PartRetouch, Start: from, End: to})
}

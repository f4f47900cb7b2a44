package delays

import (
	"fmt"
	"slices"
	"strings"

	"chairblock/scheduling/openings"
)

// Ask is somebody who has to agree: a unit or the client of a visit.
type Ask struct{ Unit, Visit string }

// Change is what becomes of one visit. Schedule and Spec hold the whole visit,
// the past as it was; Schedule keeps every rule of Spec but those in Left.
type Change struct {
	Visit    string
	Spec     openings.VisitSpec
	Schedule openings.Schedule
	Help     *Help // who joins, in RemedyHelper
	Rebook   bool  // what has not begun is taken out of the day
}

// moved reports whether the client has to be asked or told: the visit is put
// off, begins at another minute than promised, or somebody else is in charge.
func (p *visitDraft) moved(o *outlook) bool {
	if p.rebooked {
		return true
	}
	if p.begun > 0 || p.n == 0 {
		return false
	}
	return p.told != nil && *p.told != p.v.bookedStart() || len(p.newPeople(o)) > 0
}

// newPeople lists the people who have a role in the visit that they did not
// have in the plan.
func (p *visitDraft) newPeople(o *outlook) []string {
	var out []string
	for _, r := range p.v.Spec.Roles {
		id := p.sch.Roles[r.Name]
		if id != p.v.Booked.Roles[r.Name] && person(o.dr.d.Shop.Units[o.dr.units[id]].Kind) {
			out = append(out, id)
		}
	}
	return out
}

// change writes down what becomes of the visit, and reports whether it differs
// from the plan.
func (o *outlook) change(p *visitDraft) (Change, bool) {
	c := Change{Visit: p.v.ID, Schedule: o.schedule(p), Rebook: p.rebooked}
	differs := p.rebooked
	c.Spec = p.v.Spec
	c.Spec.Phases, c.Spec.Gaps = slices.Clone(c.Spec.Phases), slices.Clone(c.Spec.Gaps)
	for i := range p.n {
		was, is := p.v.Booked.Phases[i], c.Schedule.Phases[i]
		c.Spec.Phases[i].Minutes = p.length[i]
		if h := p.helper[i]; h >= 0 {
			u := o.dr.d.Shop.Units[h]
			if i >= p.begun {
				c.Spec.Phases[i].Pool = append(slices.Clone(c.Spec.Phases[i].Pool), openings.Need{Kinds: []openings.UnitKind{u.Kind}, Only: []string{u.ID}})
			}
			c.Help = &Help{Phase: i, Unit: u.ID, From: max(p.helpFrom[i], is.Start), Minutes: p.length[i]}
			differs = true
		}
		if i > 0 {
			wait := is.Start - c.Schedule.Phases[i-1].End
			g := &c.Spec.Gaps[i-1]
			if i < p.begun { // whatever it was
				g.Min, g.Max = min(g.Min, max(wait, 0)), max(g.Max, wait)
			}
		}
		if i >= p.begun {
			differs = differs || was.Start != is.Start || was.End != is.End || !slices.Equal(was.Pool, is.Pool)
		}
	}
	if p.n > p.begun && p.begun == 0 {
		for _, r := range p.v.Spec.Roles {
			differs = differs || p.sch.Roles[r.Name] != p.v.Booked.Roles[r.Name]
		}
	}
	return c, differs
}

// says is what the remedy says of one visit: when it begins, with whom, where.
func (o *outlook) says(p *visitDraft) string {
	d := o.dr.d
	var parts []string
	if p.begun == 0 {
		if at := o.starts[p.index][0]; at != p.v.bookedStart() {
			parts = append(parts, fmt.Sprintf("begins at %s instead of %s", d.clock(at), d.clock(p.v.bookedStart())))
		}
		for _, id := range p.newPeople(o) {
			parts = append(parts, "is with "+d.unit(o.dr.units[id]))
		}
	}
	for i := p.begun; i < p.n; i++ {
		for k, id := range p.sch.Phases[i].Pool {
			if was := p.v.Booked.Phases[i].Pool[k]; was != id {
				parts = append(parts, fmt.Sprintf("has “%s” with %s instead of %s", p.v.phase(i), d.unit(o.dr.units[id]), d.unit(o.dr.units[was])))
			}
		}
	}
	for _, r := range p.v.Spec.Roles {
		id, was := p.sch.Roles[r.Name], p.v.Booked.Roles[r.Name]
		if u := o.dr.units[id]; id != was && !person(d.Shop.Units[u].Kind) {
			parts = append(parts, fmt.Sprintf("has %s instead of %s", d.unit(u), d.unit(o.dr.units[was])))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return p.v.words() + " " + list(parts)
}

// saysAll joins what is new for all visits.
func (o *outlook) saysAll() string {
	var parts []string
	for _, p := range o.dr.visits {
		if s := o.says(p); s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, "; ")
}

package api

import (
	"context"
	"fmt"
	"slices"
	"time"

	"chairblock/scheduling/openings"
	"chairblock/store"
)

// fallout is what of the visits to come cannot be done as planned, and why.
type fallout struct {
	visits  []store.Visit
	why     map[string][]string // by visit
	names   map[string]string   // of people and stations
	product bool                // because of a product, not of people and places
}

// planned are the visits to come of some days, with their blocks.
type planned struct {
	now    time.Time
	n      salonDay
	h      openings.Horizon
	visits []store.Visit
	blocks map[string]map[string][]store.DayBlock // by visit and unit
}

func (s *Server) toCome(ctx context.Context, t *store.Tx, n salonDay, h openings.Horizon) (*planned, error) {
	p := &planned{now: s.now(), n: n, h: h}
	from := h.Origin
	if from.Before(p.now) {
		from = p.now
	}
	visits, err := t.VisitsBetween(ctx, from, h.Time(h.Length))
	if err != nil {
		return nil, err
	}
	blocks, err := t.BlocksBetween(ctx, from, h.Time(h.Length))
	if err != nil {
		return nil, err
	}
	p.visits, p.blocks = visits, byVisit(blocks)
	return p, nil
}

// fallouts holds the visits against the rota as it is in the transaction: hours,
// breaks, absences and closing days, people who left, who may not be in charge any
// more or who leave out a step, and stations that are gone.
func (p *planned) fallouts(ctx context.Context, t *store.Tx) (*fallout, error) {
	x := &fallout{why: map[string][]string{}}
	shop, err := t.Rota(ctx, p.h)
	if err != nil {
		return nil, err
	}
	if x.names, err = unitNames(ctx, t); err != nil {
		return nil, err
	}
	crew, err := crewOf(ctx, t)
	if err != nil {
		return nil, err
	}
	for _, v := range p.visits {
		if !v.State.Open() && v.State != store.Held || over(v, p.now) {
			continue
		}
		var why []string
		for _, k := range perUnit(misfit(p.h, shop, v, p.blocks[v.ID])) {
			why = append(why, misfitWords(k, x.names, p.n.loc))
			if k.Unit == "" { // which comes first, and says it of everybody
				break
			}
		}
		if why = append(why, crew.lacks(v, shop, p.blocks[v.ID], x.names)...); len(why) > 0 {
			x.visits = append(x.visits, v)
			x.why[v.ID] = why
		}
	}
	return x, nil
}

// perUnit makes one of all blocks of a unit, from the first to the last.
func perUnit(list []store.DayBlock) []store.DayBlock {
	var out []store.DayBlock
	for _, b := range list {
		i := slices.IndexFunc(out, func(o store.DayBlock) bool { return o.Unit == b.Unit })
		if i < 0 {
			out = append(out, b)
			continue
		}
		if b.Start.Before(out[i].Start) {
			out[i].Start = b.Start
		}
		if b.End.After(out[i].End) {
			out[i].End = b.End
		}
	}
	return out
}

// byVisit sorts the blocks of units by visit, so that each is looked at with its
// own alone.
func byVisit(blocks map[string][]store.DayBlock) map[string]map[string][]store.DayBlock {
	out := map[string]map[string][]store.DayBlock{}
	for unit, list := range blocks {
		for _, b := range list {
			if out[b.Visit] == nil {
				out[b.Visit] = map[string][]store.DayBlock{}
			}
			out[b.Visit][unit] = append(out[b.Visit][unit], b)
		}
	}
	return out
}

// beyond is what fell out of x that had not fallen out before.
func (x *fallout) beyond(before *fallout) *fallout {
	out := &fallout{why: map[string][]string{}, names: x.names}
	for _, v := range x.visits {
		why := slices.DeleteFunc(slices.Clone(x.why[v.ID]), func(w string) bool { return slices.Contains(before.why[v.ID], w) })
		if len(why) > 0 {
			out.visits = append(out.visits, v)
			out.why[v.ID] = why
		}
	}
	return out
}

// crew is who works in a salon and what its services ask for.
type crew struct {
	staff    map[string]store.Staff
	services map[string]store.ServiceRow
}

func crewOf(ctx context.Context, t *store.Tx) (crew, error) {
	x := crew{map[string]store.Staff{}, map[string]store.ServiceRow{}}
	staff, err := t.StaffList(ctx)
	if err != nil {
		return x, err
	}
	for _, p := range staff {
		x.staff[p.ID] = p
	}
	services, err := t.Services(ctx)
	for _, r := range services {
		x.services[r.ID] = r
	}
	return x, err
}

// lacks says which people and stations of v are not there any more, or not able
// to do what they are planned for.
func (x crew) lacks(v store.Visit, shop openings.Shop, blocks map[string][]store.DayBlock, names map[string]string) []string {
	var out []string
	say := func(format string, args ...any) {
		if s := fmt.Sprintf(format, args...); !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	there := map[string]bool{}
	for _, u := range shop.Units {
		there[u.ID] = true
	}
	for _, st := range v.Steps {
		for _, u := range st.Units {
			if !there[u.Unit] && len(blocks[u.Unit]) > 0 {
				say("%s is not there any more", names[u.Unit])
			} else if slices.Contains(x.staff[u.Unit].LeavesOut, st.Kind) {
				say("%s does not do “%s”", names[u.Unit], st.Label)
			}
		}
	}
	for _, sv := range v.Services {
		p, known := x.staff[sv.Lead]
		switch skill := x.services[sv.Service].Skill; {
		case !known || !there[sv.Lead]:
		case !p.MayLead:
			say("%s may not be in charge of %s", p.Name, sv.Name)
		case skill != "" && !slices.Contains(p.Skills, skill):
			say("%s lacks the skill for %s", p.Name, sv.Name)
		}
	}
	return out
}

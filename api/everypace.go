package api

import (
	"context"
	"fmt"
	"iter"
	"slices"

	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// searched is a visit, as some stylists would do it, with its starts.
type searched struct {
	*describer
	set *openings.StartSet
}

// atEveryPace works c out once more for each stylist whose own pace gives other
// minutes than the salon's. The first is for everybody else, each of the others
// for one stylist, so that whoever is offered is offered with the minutes that
// she is booked with. A visit whose stylist or pace is named, and one without
// hair, is the same for everybody. A stylist who would have to keep product on
// for too long is left out where the others would not.
func (s *Server) atEveryPace(ctx context.Context, t *store.Tx, n salonDay, c *composed) ([]*composed, error) {
	if !c.followsPace() {
		return []*composed{c}, nil
	}
	people, err := n.ownPaces(ctx, t, c)
	if err != nil {
		return nil, err
	}
	rest := *c
	out := []*composed{&rest}
	var own []string
	for _, id := range people {
		list := slices.Clone(c.wish)
		for i := range list {
			list[i].LeadID = id
		}
		hers, err := compose(ctx, t, n, list)
		if err != nil {
			return nil, err
		}
		if sameMinutes(c, hers) {
			continue
		}
		own = append(own, id)
		if !hers.refused() || c.refused() {
			out = append(out, hers)
		}
	}
	if len(own) == 0 {
		return []*composed{c}, nil
	}
	rest.plan = c.plan.WithoutLeads(own...)
	return out, nil
}

// followsPace reports whether the minutes depend on who is in charge, and
// anybody may be.
func (c *composed) followsPace() bool {
	if c.wish == nil || leadAsked(c.wish, 0) != "" {
		return false
	}
	return slices.ContainsFunc(c.wish, func(r ServiceRequest) bool { return r.Hair != nil && r.Pace != paceOfSalon })
}

func (c *composed) refused() bool {
	return slices.ContainsFunc(c.estimates, func(w *worked) bool {
		return w != nil && slices.ContainsFunc(w.cautions, func(x CautionBody) bool { return x.Level == string(chairtime.LevelRefuse) })
	})
}

// sameMinutes reports whether two workings of one request keep the same time in
// the same way, and expect the same of everybody.
func sameMinutes(a, b *composed) bool {
	return slices.EqualFunc(a.plan.Steps, b.plan.Steps, func(x, y openings.PlanStep) bool {
		return x.Length == y.Length && x.Expect == y.Expect && slices.Equal(x.Looks, y.Looks)
	})
}

// ownPaces are the stylists with a pace of their own who may be in charge of c.
func (n salonDay) ownPaces(ctx context.Context, t *store.Tx, c *composed) ([]string, error) {
	return n.stylistsWithPace(ctx, t, c.needsOnly)
}

// stylistsWithPace are those with a pace of their own who are able by their skills.
func (n salonDay) stylistsWithPace(ctx context.Context, t *store.Tx, able func(skills []string) bool) ([]string, error) {
	set, err := paceSettings(n.row)
	if err != nil || !set.learns() {
		return nil, err
	}
	rows, err := t.AllPaces(ctx)
	if err != nil {
		return nil, err
	}
	has := map[string]bool{}
	for _, r := range rows {
		has[r.Staff] = has[r.Staff] || r.With == ""
	}
	staff, err := t.StaffList(ctx)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, p := range staff {
		if has[p.ID] && p.MayLead && p.Active && !set.person(p.ID).Off && able(p.Skills) {
			out = append(out, p.ID)
		}
	}
	return out, nil
}

// needsOnly reports whether somebody with these skills can be in charge of all
// services of c.
func (c *composed) needsOnly(skills []string) bool {
	for _, r := range c.plan.Spec.Roles {
		if !slices.Contains(r.Kinds, openings.Stylist) {
			continue
		}
		for _, k := range r.Skills {
			if !slices.Contains(skills, k) {
				return false
			}
		}
	}
	return true
}

// search finds the starts of every working of a visit, with what the salon lacks
// for those that nobody here can carry out.
func (d describer) search(t *store.Tx, snap *openings.Snapshot, ways []*composed, q openings.Query) (list []searched, missing []string, err error) {
	for _, c := range ways {
		x := d
		x.c = c
		d.n.tidy(c.plan, d.shop)
		plan, err := openings.Compile(c.plan.Spec, snap)
		if err != nil {
			return nil, nil, fmt.Errorf("api: openings: %w", err)
		}
		if m := plan.Missing(); len(m) > 0 {
			missing = append(missing, m...)
			continue
		}
		x.share = d.n.newSharing(t, d.h, c, d.shop)
		if q.From > q.To {
			list = append(list, searched{&x, nil})
			continue
		}
		set, err := plan.Search(snap, q)
		if err != nil {
			return nil, nil, fmt.Errorf("api: openings: %w", err)
		}
		list = append(list, searched{&x, set})
	}
	return list, slices.Compact(missing), nil
}

// starts yields every start on the grid that one of list has, in order, with
// those that have it.
func starts(list []searched, grid int) iter.Seq2[openings.Minute, []searched] {
	return func(yield func(openings.Minute, []searched) bool) {
		left := make([][]openings.Minute, len(list))
		for i, x := range list {
			if x.set != nil {
				left[i] = slices.Collect(onGrid(x.h, x.set, grid))
			}
		}
		for {
			m, found := openings.Minute(0), false
			for _, l := range left {
				if len(l) > 0 && (!found || l[0] < m) {
					m, found = l[0], true
				}
			}
			if !found {
				return
			}
			var can []searched
			for i, l := range left {
				if len(l) > 0 && l[0] == m {
					can, left[i] = append(can, list[i]), l[1:]
				}
			}
			if !yield(m, can) {
				return
			}
		}
	}
}

package api

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
)

// How visits can belong together.
const (
	arriveTogether = "arrive_together"
	sideBySide     = "side_by_side"
	oneAfterOther  = "one_after_other"
)

// mostBetween is how long after the end of one visit the next one of a group
// begins at the latest, one after the other (judgement).
const mostBetween = 15 * time.Minute

// stands reports whether a visit counts in its group.
func stands(v store.Visit) bool {
	return v.State != store.Cancelled && v.State != store.Missed && v.State != store.Lapsed
}

// broken says in words how visits do not stand as agreed, and is "" when they
// do.
func (n salonDay) broken(how string, visits []store.Visit) string {
	list := slices.DeleteFunc(slices.Clone(visits), func(v store.Visit) bool { return !stands(v) })
	slices.SortStableFunc(list, func(a, b store.Visit) int { return a.Start.Compare(b.Start) })
	at := func(t time.Time) string { return t.In(n.loc).Format("Mon 2 January 15:04") }
	for i := range list {
		if i == 0 {
			continue
		}
		first, before, v := list[0], list[i-1], list[i]
		switch apart := v.Start.Sub(first.Start); {
		case how == arriveTogether && apart > time.Duration(n.rules.TogetherMinutes)*time.Minute:
			return fmt.Sprintf("%s and %s are more than %d minutes apart", at(first.Start), at(v.Start), n.rules.TogetherMinutes)
		case how == sideBySide && apart != 0:
			return fmt.Sprintf("%s and %s are not side by side", at(first.Start), at(v.Start))
		case how == oneAfterOther && v.Start.Before(before.End):
			return fmt.Sprintf("%s is before %s, when the visit in front ends", at(v.Start), at(before.End))
		case how == oneAfterOther && v.Start.Sub(before.End) > mostBetween:
			return fmt.Sprintf("%s is more than %d minutes after %s, when the visit in front ends", at(v.Start),
				int(mostBetween/time.Minute), at(before.End))
		}
		for _, other := range list[:i] {
			if how == sideBySide && shareLead(other, v) {
				return "one stylist is in charge of two of them"
			}
		}
	}
	return ""
}

// apart is broken for visits that are not booked yet, beside those that are
// there, as far as their starts decide it: one after the other, the ends count,
// which nobody knows before.
func (n salonDay) apart(b GroupRequest, there []store.Visit) string {
	if b.How == oneAfterOther {
		return ""
	}
	list := slices.Clone(there)
	for _, v := range b.Visits {
		if v.Book != nil {
			list = append(list, store.Visit{Start: v.Book.Start})
		}
	}
	return n.broken(b.How, list)
}

func shareLead(a, b store.Visit) bool {
	return slices.ContainsFunc(a.Services, func(x store.VisitService) bool {
		return slices.ContainsFunc(b.Services, func(y store.VisitService) bool { return x.Lead == y.Lead })
	})
}

// groupWords names how visits belong together.
func groupWords(how string) string {
	switch how {
	case arriveTogether:
		return "arrive together"
	case sideBySide:
		return "side by side"
	case oneAfterOther:
		return "one after the other"
	}
	return how
}

// parted says which of the day's visits that belong together do not stand as
// agreed.
func (x *dayView) parted() []string {
	var out []string
	for _, g := range x.groups {
		visits := slices.DeleteFunc(slices.Clone(x.visits), func(v store.Visit) bool { return v.Group == nil || *v.Group != g.ID })
		why := x.n.broken(g.How, visits)
		if why == "" {
			continue
		}
		var who []string
		for _, v := range visits {
			who = append(who, x.clients[v.ID].Initials())
		}
		out = append(out, strings.Join(who, " and ")+" "+groupWords(g.How)+": "+why)
	}
	return out
}

// groupsOf lists the groups of visits.
func groupsOf(ctx context.Context, t *store.Tx, visits []store.Visit) ([]store.Group, error) {
	var ids []string
	for _, v := range visits {
		if v.Group != nil && !slices.Contains(ids, *v.Group) {
			ids = append(ids, *v.Group)
		}
	}
	if len(ids) == 0 {
		return nil, nil
	}
	return t.GroupsByID(ctx, ids)
}

// groups holds the groups of the visits against what was agreed, at the new
// times.
func (r *rearranging) groups(ctx context.Context, t *store.Tx) error {
	byGroup := map[string][]*job{}
	for _, j := range r.jobs {
		if j.v.Group != nil && j.link != looseLink {
			byGroup[*j.v.Group] = append(byGroup[*j.v.Group], j)
		}
	}
	var ids []string
	for id := range byGroup {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	for _, id := range ids {
		if err := r.group(ctx, t, id, byGroup[id]); err != nil {
			return err
		}
	}
	return nil
}

// group is groups for one of them.
func (r *rearranging) group(ctx context.Context, t *store.Tx, id string, jobs []*job) error {
	g, err := t.LockGroup(ctx, id)
	if err != nil {
		return err
	}
	visits, err := t.VisitsOfGroup(ctx, id)
	if err != nil {
		return err
	}
	for _, j := range r.jobs {
		if j.v.Group == nil || *j.v.Group != id {
			continue
		}
		if i := slices.IndexFunc(visits, func(v store.Visit) bool { return v.ID == j.v.ID }); i >= 0 && !j.isNew() {
			visits[i] = j.v
		} else {
			visits = append(visits, j.v)
		}
	}
	why := r.n.broken(g.How, visits)
	if why == "" {
		return nil
	}
	for _, j := range jobs {
		if j.link != breakLink {
			return conflict(fmt.Sprintf("the visit belongs to others (%s): %s; say break_link to let it leave them", groupWords(g.How), why))
		}
		j.v.Group = nil
	}
	return nil
}

// lockWithOthers locks a visit and those that it belongs to, in the order of
// their ids, and returns the others that are still to come.
func lockWithOthers(ctx context.Context, t *store.Tx, id string, version int64) (store.Visit, []store.Visit, error) {
	v, err := t.VisitByID(ctx, id)
	if err != nil {
		return v, nil, err
	}
	if v.Group == nil { // whoever lets it join others raises its version
		v, err = t.LockVisit(ctx, id, version)
		return v, nil, err
	}
	group := *v.Group
	before, err := t.VisitsOfGroup(ctx, group)
	if err != nil {
		return v, nil, err
	}
	slices.SortFunc(before, func(a, b store.Visit) int { return cmp.Compare(a.ID, b.ID) })
	for _, o := range before {
		want := int64(0)
		if o.ID == id {
			want = version
		}
		if _, err := t.LockVisit(ctx, o.ID, want); err != nil {
			return v, nil, err
		}
	}
	if _, err := t.LockGroup(ctx, group); err != nil {
		return v, nil, err
	}
	now, err := t.VisitsOfGroup(ctx, group)
	if err != nil {
		return v, nil, err
	}
	mine := func(o store.Visit) bool { return o.ID == id }
	if len(now) != len(before) || !slices.ContainsFunc(now, mine) {
		return v, nil, scheduling.ErrStale
	}
	var others []store.Visit
	for _, o := range now {
		switch {
		case o.ID == id:
			v = o
		case o.State == store.Held || o.State == store.Booked || o.State == store.Arrived:
			others = append(others, o)
		}
	}
	return v, others, nil
}

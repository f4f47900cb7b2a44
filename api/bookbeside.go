package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// besideTimes is how many times beside another visit are looked through (the most
// that one search gives).
const besideTimes = 200

// keepBeside reads the visit that the booked one is to belong to, from the form or
// the address. One that is not there is as none.
func (b *booking) keepBeside(ctx context.Context) error {
	id := b.form.Get(pages.FieldWith)
	if id == "" {
		return nil
	}
	v, err := b.t.VisitByID(ctx, id)
	if is(err, scheduling.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	client, err := clientOf(ctx, b.t, v)
	if err != nil {
		return err
	}
	names, err := unitNames(ctx, b.t)
	if err != nil {
		return err
	}
	b.first = &v
	b.page.Beside = &pages.BesideView{ID: v.ID, Href: "/visits/" + v.ID, Who: shortName(client), With: names[v.Lead()], Start: v.Start.In(b.n.loc), End: v.End.In(b.n.loc)}
	if v.Group == nil {
		return nil
	}
	g, err := b.t.GroupByID(ctx, *v.Group)
	if err != nil {
		return err
	}
	b.page.Beside.Fixed = groupWords(g.How)
	b.how = g.How
	return nil
}

// wishedHow is how both are to belong together.
func (b *booking) wishedHow() string {
	how := cmp.Or(b.how, b.page.Fields.How)
	if how != sideBySide && how != oneAfterOther {
		return arriveTogether
	}
	return how
}

// mayCome says why nobody can come with the visit any more.
func (b *booking) mayCome(ctx context.Context) error {
	v := *b.first
	if v.Group == nil {
		return mayJoin(v)
	}
	others, err := b.besides(ctx)
	if err != nil {
		return err
	}
	if len(others) >= mostTogether {
		return conflict(fmt.Sprintf("%d visits belong together already, and no more can", len(others)))
	}
	v.Group = nil
	return mayJoin(v)
}

// besides are the visits that the booked one is to belong to.
func (b *booking) besides(ctx context.Context) ([]store.Visit, error) {
	if b.first.Group == nil {
		return []store.Visit{*b.first}, nil
	}
	list, err := b.t.VisitsOfGroup(ctx, *b.first.Group)
	return slices.DeleteFunc(list, func(v store.Visit) bool { return !stands(v) }), err
}

// findBeside lists the openings at which the visit belongs to the others as wished,
// those that lie nearest first.
func (b *booking) findBeside(ctx context.Context) ([]OpeningBody, error) {
	if err := b.mayCome(ctx); err != nil {
		return nil, err
	}
	others, err := b.besides(ctx)
	if err != nil {
		return nil, err
	}
	first, last := others[0].Start, others[0].End
	for _, v := range others {
		if v.Start.Before(first) {
			first = v.Start
		}
		if v.End.After(last) {
			last = v.End
		}
	}
	how := b.wishedHow()
	var out []OpeningBody
	for _, w := range b.windows(how, first, last) {
		day := scheduling.CivilDate(w.from, b.n.loc).String()
		ask := OpeningsRequest{Services: b.req, ClientID: b.page.Fields.Client, FirstDate: day, LastDate: day, NotBefore: &w.from, Grid: 1, Limit: besideTimes, EndBy: w.endBy}
		a, err := b.s.openings(ctx, b.t, b.n, b.c, ask, "")
		if err != nil {
			return nil, err
		}
		for _, o := range a.Openings {
			v := store.Visit{Start: o.Start, End: o.End, Services: []store.VisitService{{Lead: o.LeadID}}}
			if b.n.broken(how, append(slices.Clone(others), v)) == "" {
				out = append(out, o)
			}
		}
	}
	near := func(o OpeningBody) time.Duration {
		if how == oneAfterOther {
			return min(o.Start.Sub(last).Abs(), first.Sub(o.End).Abs())
		}
		return o.Start.Sub(first).Abs()
	}
	slices.SortStableFunc(out, func(x, y OpeningBody) int { return cmp.Compare(near(x), near(y)) })
	// Two times that differ by minutes are the same to who comes: the nearest counts,
	// and one on a full five minutes as well.
	var shown []OpeningBody
	for _, o := range out {
		like := func(k OpeningBody) bool {
			return k.LeadID == o.LeadID && (k.Start.Sub(o.Start).Abs() < 5*time.Minute || o.Start.Minute()%5 != 0)
		}
		if len(shown) < b.many() && !slices.ContainsFunc(shown, like) {
			shown = append(shown, o)
		}
	}
	return shown, nil
}

// window is where starts are looked for: from an instant on, and for visits that have
// to end by a time of that day.
type window struct {
	from  time.Time
	endBy string // "" for any
}

// windows are those in which the visit can belong to others that begin and end so.
func (b *booking) windows(how string, first, last time.Time) []window {
	switch how {
	case sideBySide:
		return []window{{from: first}}
	case oneAfterOther:
		length := 0
		for _, st := range b.c.plan.Steps {
			length += st.Length
		}
		// Whoever comes before has to be done in time; half an hour is for her waits.
		before := first.Add(-time.Duration(length)*time.Minute - mostBetween - 30*time.Minute)
		return []window{{from: last}, {from: before, endBy: first.In(b.n.loc).Format("15:04")}}
	}
	return []window{{from: first.Add(-time.Duration(b.n.rules.TogetherMinutes) * time.Minute)}}
}

// bind lets a visit that was booked or pencilled just now belong to the others.
func (b *booking) bind(ctx context.Context, v store.Visit) error {
	if b.first == nil {
		return nil
	}
	first, err := b.t.LockVisit(ctx, b.first.ID, 0)
	if err != nil {
		return err
	}
	if first.Group != nil {
		err = b.s.join(ctx, b.t, b.n, &v, *first.Group)
	} else {
		_, err = b.s.addGroup(ctx, b.t, b.n, GroupRequest{How: b.wishedHow(), Visits: []GroupVisitRequest{
			{VisitID: first.ID, Version: first.Version}, {VisitID: v.ID, Version: v.Version}}})
	}
	if err != nil {
		return err
	}
	if v, err = b.t.VisitByID(ctx, v.ID); err != nil {
		return err
	}
	did := didBook
	if v.State == store.Held {
		did = didHold
	}
	return b.s.noteDone(ctx, b.t, did, v, wasVisit{}) // undone under the version that the link left
}

// join lets a visit that belongs to no others join a group.
func (s *Server) join(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, group string) error {
	if err := mayJoin(*v); err != nil {
		return err
	}
	g, err := t.LockGroup(ctx, group)
	if errors.Is(err, scheduling.ErrNotFound) {
		return &scheduling.InvalidError{Field: "group_id", Problem: "is not known", Want: "the id of a group of visits of this salon"}
	}
	if err != nil {
		return err
	}
	others, err := t.VisitsOfGroup(ctx, g.ID)
	if err != nil {
		return err
	}
	others = slices.DeleteFunc(others, func(o store.Visit) bool { return !stands(o) })
	if len(others) >= mostTogether {
		return conflict(fmt.Sprintf("%d visits belong together already, and no more can", len(others)))
	}
	if why := n.broken(g.How, append(others, *v)); why != "" {
		return conflict("the visit cannot join (" + groupWords(g.How) + "): " + why)
	}
	v.Group = &g.ID
	return t.SetVisitGroup(ctx, v)
}

// showTogether says on the page of a booked visit whom it belongs to, and whether
// somebody more may come.
func (b *booking) showTogether(ctx context.Context, v store.Visit) error {
	if !May(ctx, "book-group") {
		return nil
	}
	b.first = &v
	if err := b.mayCome(ctx); err == nil {
		b.page.Booked.ComeWith = v.ID
	}
	if v.Group == nil {
		return nil
	}
	g, err := b.t.GroupByID(ctx, *v.Group)
	if err != nil {
		return err
	}
	body, err := writeGroup(ctx, b.t, b.n, g)
	b.page.Booked.Together, b.page.Booked.How = body.Words, g.How
	return err
}

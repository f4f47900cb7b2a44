package api

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// remedyAge is for how long a remedy can be applied after it was given
// (judgement: then it begins to lie in the past).
const remedyAge = 15 * time.Minute

// ApplyRequest says which remedy is to be carried out.
type ApplyRequest struct {
	Remedy string    `json:"remedy" minLength:"24" maxLength:"24" pattern:"^[0-9a-f]{24}$" patternDescription:"the id of a remedy" doc:"Its id, as GET /days/{date}/delays gave it"`
	AsOf   time.Time `json:"as_of" doc:"The as_of of that answer"`
	// ApprovedBy is for the new times of all visits that it moves.
	ApprovedBy string `json:"approved_by,omitempty" doc:"Licensed person who said yes to new times that ask for it"`
}

// ApplyAnswer is what was done.
type ApplyAnswer struct {
	CarriedOut bool           `json:"carried_out" doc:"False when the remedy is for people to do: then it was noted that they agreed"`
	Words      string         `json:"words"`
	Visits     []AppliedVisit `json:"visits" nullable:"false" doc:"Visits that were changed, or for which it was noted"`
}

// AppliedVisit is a visit as it is now.
type AppliedVisit struct {
	Visit   VisitBody `json:"visit"`
	Version int64     `json:"version" doc:"The number in its ETag"`
}

type applyInput struct {
	Date string `path:"date" format:"date"`
	Body ApplyRequest
}
type applyOutput struct{ Body ApplyAnswer }

func otherDay() error {
	return conflict("the day has changed since the remedy was given, or this was none of its remedies: look again")
}

// carriedOut is what the program can do of a remedy: it moves visits that have
// not begun, and gives steps that have not begun another unit, at the time for
// which they are booked. It is false when that is not all of the remedy, and
// when it does not fit into what is booked.
func (x *lateDay) carriedOut(r delays.Remedy) ([]change, bool) {
	var list []change
	shop := x.day.Shop
	changed := map[string]openings.Schedule{}
	for _, c := range r.Changes {
		sch, differs, ok := x.target(c, slices.Contains(r.Moved, c.Visit))
		if !ok {
			return nil, false
		}
		if differs {
			l := x.visit(c.Visit)
			changed[c.Visit] = sch
			list = append(list, change{id: c.Visit, version: l.v.Version, exact: &exact{h: x.h, sch: sch}})
		}
	}
	if len(list) == 0 {
		return nil, false
	}
	for _, l := range x.visits {
		if _, ok := changed[l.v.ID]; !ok {
			shop = occupied(shop, l.plan, l.booked)
		}
	}
	for _, l := range x.visits {
		sch, ok := changed[l.v.ID]
		if !ok {
			continue
		}
		if sch = l.plan.Cleared(sch); len(openings.Check(sch, l.plan.Spec, shop)) > 0 {
			return nil, false
		}
		shop = occupied(shop, l.plan, sch)
	}
	return list, true
}

// target is the plan that a visit gets by a change, and whether it differs from
// the one that it has. It is false for what the program cannot do.
func (x *lateDay) target(c delays.Change, moved bool) (sch openings.Schedule, differs, ok bool) {
	l := x.visit(c.Visit)
	if c.Help != nil || c.Rebook {
		return sch, false, false
	}
	n := len(l.plan.Steps)
	sch = openings.Schedule{Roles: maps.Clone(c.Schedule.Roles), Phases: slices.Clone(c.Schedule.Phases[:n])}
	if moved {
		return sch, true, l.v.State == store.Booked || l.v.State == store.Held
	}
	for i := range sch.Phases {
		was := l.booked.Phases[i]
		sch.Phases[i].Start, sch.Phases[i].End = was.Start, was.End
		differs = differs || !slices.Equal(sch.Phases[i].Pool, was.Pool)
	}
	differs = differs || !maps.Equal(sch.Roles, l.booked.Roles)
	return sch, differs, l.v.State != store.Finished && l.v.State != store.StoppedEarly
}

func (s *Server) applyRemedy(ctx context.Context, in *applyInput) (*applyOutput, error) {
	var f scheduling.Faults
	d := day(&f, "path.date", in.Date)
	year(&f, "as_of", in.Body.AsOf)
	approvedBy := text(&f, "approved_by", in.Body.ApprovedBy, 0, 80)
	if err := f.Err(); err != nil {
		return nil, err
	}
	switch age := s.now().Sub(in.Body.AsOf); {
	case age < -ahead:
		return nil, &scheduling.InvalidError{Field: "as_of", Problem: "lies in the future", Want: "the as_of that came with the remedy"}
	case age > remedyAge:
		return nil, otherDay()
	}
	x, err := s.lateDay(ctx, d, in.Body.AsOf)
	if err != nil {
		return nil, err
	}
	_, remedies, _, err := s.look(ctx, x, 2*remedyLimit)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(remedies, func(r delays.Remedy) bool { return x.fingerprint(r) == in.Body.Remedy })
	if i < 0 {
		return nil, otherDay()
	}
	var out applyOutput
	err = s.inTx(ctx, func(t *store.Tx) error {
		out.Body, err = s.apply(ctx, t, x, remedies[i], approvedBy)
		return err
	})
	if is(err, scheduling.ErrStale) {
		err = otherDay()
	}
	return &out, err
}

// apply carries a remedy out, all of it or with an error nothing, or notes that
// people agreed on it.
func (s *Server) apply(ctx context.Context, t *store.Tx, x *lateDay, r delays.Remedy, approvedBy string) (ApplyAnswer, error) {
	out := ApplyAnswer{Words: r.Words, Visits: []AppliedVisit{}}
	n, err := loadSalon(ctx, t)
	if err != nil {
		return out, err
	}
	var visits []store.Visit
	list, ok := x.carriedOut(r)
	for i := range list {
		list[i].approvedBy = approvedBy
	}
	if out.CarriedOut = ok; ok {
		visits, err = s.rearrange(ctx, t, n, list)
	} else {
		visits, err = x.concerned(ctx, t, r)
	}
	if err != nil {
		return out, err
	}
	by, err := whoNotes(ctx, t)
	if err != nil {
		return out, err
	}
	for i := range visits {
		v := &visits[i]
		if err := t.AddEvents(ctx, v, []store.Event{{Kind: store.EventRemedy, At: s.now(), Noted: s.now(), By: by}}); err != nil {
			return out, err
		}
		if !ok { // so that nobody notes it a second time
			if err := t.SetVisitState(ctx, v); err != nil {
				return out, err
			}
		}
		body, err := s.visitBody(ctx, t, n, *v)
		if err != nil {
			return out, err
		}
		out.Visits = append(out.Visits, AppliedVisit{body, v.Version})
	}
	return out, nil
}

// concerned locks the visits that a remedy is about when it is for people to
// do.
func (x *lateDay) concerned(ctx context.Context, t *store.Tx, r delays.Remedy) ([]store.Visit, error) {
	var about []*lateVisit
	note := func(id string) {
		if l := x.visit(id); l != nil && !slices.Contains(about, l) {
			about = append(about, l)
		}
	}
	for _, c := range r.Changes {
		if c.Help != nil || c.Rebook || slices.Contains(r.Moved, c.Visit) {
			note(c.Visit)
		}
	}
	for _, a := range r.Asks {
		note(a.Visit)
	}
	for _, b := range r.Left {
		note(b.Visit)
	}
	if len(about) == 0 {
		for _, c := range r.Changes {
			note(c.Visit)
		}
	}
	if len(about) == 0 {
		return nil, conflict("there is nothing that the program could carry out or note")
	}
	slices.SortFunc(about, func(a, b *lateVisit) int { return cmp.Compare(a.v.ID, b.v.ID) })
	var out []store.Visit
	for _, l := range about {
		v, err := t.LockVisit(ctx, l.v.ID, l.v.Version)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, nil
}

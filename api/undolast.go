package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// undoDone takes back what the caller did last, by the operation that is its
// inverse and under the version that it left.
func (s *Server) undoDone(ctx context.Context, in *undoLastInput) (*found[UndoneBody], error) {
	out := &found[UndoneBody]{}
	err := s.inTx(ctx, func(t *store.Tx) error {
		doer := principal(ctx).TokenID
		a, err := t.LockLastAction(ctx, doer)
		if is(err, scheduling.ErrNotFound) {
			return conflict("there is nothing to undo")
		}
		if err != nil {
			return err
		}
		b, err := s.lastAction(ctx, t)
		switch {
		case err != nil:
			return err
		case b == nil:
			return conflict("what was done last was more than ten minutes ago, and is not undone any more")
		case in.Body.ID != b.ID:
			return conflict("something else was done since: " + b.Words)
		case !b.Possible:
			return conflict("cannot be undone: " + b.Words + ", " + b.Why)
		}
		as, _ := actFor(ctx, undoNeeds[a.Kind])
		if err := s.undo(as, t, a); err != nil {
			if is(err, scheduling.ErrStale) {
				return conflict("cannot be undone: " + b.Words + ", " + changedSince)
			}
			return err
		}
		out.Body = UndoneBody{Words: undoneBefore + b.Words, VisitID: b.VisitID}
		return t.ForgetLastAction(ctx, doer)
	})
	return out, err
}

// undoneBefore begins the words of UndoneBody.
const undoneBefore = "undone: "

// undo carries out the inverse of a.
func (s *Server) undo(ctx context.Context, t *store.Tx, a store.LastAction) error {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return err
	}
	var was wasVisit
	if err := json.Unmarshal(a.Was, &was); err != nil {
		return fmt.Errorf("api: undo: %w", err)
	}
	switch a.Kind {
	case didMove:
		return s.moveBack(ctx, t, n, a, was)
	case didHold:
		_, err := s.release(ctx, t, n, a.Subject, a.Version)
		return err
	case didWait:
		w, err := lockWaiting(ctx, t, a.Subject, a.Version)
		if err != nil {
			return err
		}
		w.State = store.WishWithdrawn
		return t.SaveWish(ctx, &w)
	}
	v, err := t.LockVisit(ctx, a.Subject, a.Version)
	if err != nil {
		return err
	}
	switch a.Kind {
	case didBook, didWalkIn, didKeep:
		return s.unbook(ctx, t, n, &v)
	case didCancel:
		return s.bookAgain(ctx, t, n, v, was)
	case didMiss:
		_, err := s.unmiss(ctx, t, n, v)
		return err
	case didArrive:
		return s.unarrive(ctx, t, n, &v)
	case didStart, didFinish:
		if was.Ordinal == nil {
			return conflict("nobody noted which step it was")
		}
		return s.takeBackStep(ctx, t, n, &v, *was.Ordinal)
	}
	return conflict("cannot be undone")
}

// unbook cancels a visit that was just booked. Whoever has heard nothing of it yet
// hears nothing.
func (s *Server) unbook(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
	q, err := s.queueOf(ctx, t, n, *v)
	if err != nil {
		return err
	}
	heard, err := q.heard(ctx, notify.Confirmation, notify.Held)
	if err != nil {
		return err
	}
	if err := s.cancel(ctx, t, n, v, store.Cancelled); err != nil {
		return err
	}
	if err := t.ReopenWishOf(ctx, v.ID); err != nil || heard {
		return err
	}
	return s.takeBackNews(ctx, t, n, *v, notify.Cancelled)
}

// heard reports whether the client was told of a visit in one of some ways, or may
// have been.
func (q *queue) heard(ctx context.Context, kinds ...notify.Kind) (bool, error) {
	var calls []string
	for _, r := range q.list {
		if !kindIn(r, kinds) {
			continue
		}
		switch {
		case r.State == store.Sent || r.State == store.Sending || r.State == store.Waiting && r.Tries > 0:
			return true, nil
		case r.State == store.ToCall:
			calls = append(calls, r.ID)
		}
	}
	if len(calls) == 0 {
		return false, nil
	}
	settled, err := q.t.CallsSettled(ctx, calls)
	return len(settled) > 0, err
}

// takeBackNews takes back news of a kind that nobody has heard yet.
func (s *Server) takeBackNews(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, kind notify.Kind) error {
	q, err := s.queueOf(ctx, t, n, v)
	if err != nil {
		return err
	}
	return q.takeBack(ctx, func(r store.Reminder) bool { return r.Kind == string(kind) && r.Tries == 0 })
}

// moveBack moves a visit to where it was: to the same chair, basins and people when
// they are still free, and otherwise to any at the same start.
func (s *Server) moveBack(ctx context.Context, t *store.Tx, n salonDay, a store.LastAction, was wasVisit) error {
	v, err := t.VisitByID(ctx, a.Subject)
	if err != nil {
		return err
	}
	c := change{id: a.Subject, version: a.Version, start: was.Start, link: looseLink, approvedBy: v.ApprovedBy, lead: newLead{By: was.Leads}}
	if isKept(v) {
		_, err := s.moveKept(ctx, t, n, c)
		return err
	}
	there := c
	if there.exact, err = s.placeOf(ctx, t, n, was.on(v)); err == nil && there.exact != nil {
		err = t.Savepoint(ctx, func(t *store.Tx) error { _, err := s.move(ctx, t, n, there); return err })
		if !clashes(err) {
			return err
		}
	}
	if err != nil && !clashes(err) {
		return err
	}
	_, err = s.move(ctx, t, n, c)
	return err
}

func clashes(err error) bool {
	_, ok := errors.AsType[*scheduling.ConflictError](err)
	return ok
}

// on is v as it was.
func (w wasVisit) on(v store.Visit) store.Visit {
	v.Start, v.End, v.Chair = w.Start, w.End, w.Chair
	services := make([]store.VisitService, len(v.Services))
	copy(services, v.Services)
	for i := range services {
		if i < len(w.Leads) {
			services[i].Lead = w.Leads[i]
		}
	}
	v.Services = services
	if len(w.Steps) != len(v.Steps) {
		v.Steps = nil
		return v
	}
	steps := make([]store.VisitStep, len(v.Steps))
	copy(steps, v.Steps)
	for i := range steps {
		steps[i].Start, steps[i].End, steps[i].Units = w.Steps[i].Start, w.Steps[i].End, w.Steps[i].Units
	}
	v.Steps = steps
	return v
}

// placeOf is the schedule that v stands for, nil when it is none of its plan.
func (s *Server) placeOf(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (*exact, error) {
	c, err := recompose(ctx, t, v, newLead{})
	if err != nil {
		return nil, err
	}
	h := around(n.loc, scheduling.CivilDate(v.Start, n.loc), scheduling.CivilDate(v.End, n.loc))
	sch, ok := scheduleOf(c.plan, v, h)
	if !ok {
		return nil, nil
	}
	return &exact{h: h, sch: sch}, nil
}

// bookAgain books a visit that was cancelled at the same place, when that is still
// free, and tells the client what she needs to hear.
func (s *Server) bookAgain(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, was wasVisit) error {
	if v.State != store.Cancelled {
		return conflict("the visit is " + words(v.State))
	}
	q, err := s.queueOf(ctx, t, n, v)
	if err != nil {
		return err
	}
	off, err := q.heard(ctx, notify.Cancelled)
	if err != nil {
		return err
	}
	knew, err := q.heard(ctx, notify.Confirmation)
	if err != nil {
		return err
	}
	v.State = store.Booked
	if was.State == string(store.Arrived) {
		v.State = store.Arrived
	}
	if err := taken(t.SetVisitState(ctx, &v)); err != nil {
		return err
	}
	if isKept(v) {
		return s.keepAgain(ctx, t, n, v, was.Units)
	}
	c := change{id: v.ID, version: v.Version, link: looseLink, approvedBy: v.ApprovedBy}
	if c.exact, err = s.placeOf(ctx, t, n, v); err != nil {
		return err
	}
	list, err := s.rearrange(ctx, t, n, []change{c})
	if err != nil {
		return err
	}
	if err := s.takeBackNews(ctx, t, n, list[0], notify.Cancelled); err != nil {
		return err
	}
	if off || !knew {
		return s.tellBooked(ctx, t, n, list[0])
	}
	return s.followVisit(ctx, t, n, list[0])
}

func (s *Server) keepAgain(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, units []string) error {
	shop, err := s.keepFree(ctx, t, n, v, units)
	if err != nil {
		return err
	}
	if err := taken(t.ReplacePlan(ctx, &v, keptBlocks(v, units))); err != nil {
		return err
	}
	return t.SyncParts(ctx, v.ID, "", keptParts(shop, v, units))
}

func (s *Server) undoArrival(ctx context.Context, in *visitChange) (*found[VisitBody], error) {
	return s.changeState(ctx, in, s.unarrive)
}

// unarrive takes back that the client of a locked visit is here.
func (s *Server) unarrive(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
	if v.State != store.Arrived {
		return conflict("the visit is " + words(v.State))
	}
	last := factsOf(*v).last
	if last == nil || last.Kind != store.EventArrive {
		return conflict("only what was noted last can be taken back: " + lastInWords(n, *v, last))
	}
	return s.noted(ctx, t, v, store.Event{Kind: store.EventUndo, At: last.At})
}

// keptUnits are the people and places that kept time takes.
func keptUnits(ctx context.Context, t *store.Tx, v store.Visit) ([]string, error) {
	if !isKept(v) {
		return nil, nil
	}
	blocks, err := t.BlocksBetween(ctx, v.Start, v.End)
	var out []string
	for unit, list := range blocks {
		for _, b := range list {
			if b.Visit == v.ID {
				out = append(out, unit)
				break
			}
		}
	}
	return out, err
}

package openings

import (
	"errors"
	"fmt"
)

// ErrOtherUnits means that a plan was used with a snapshot that has other units
// than the one it was compiled against. Compile it anew.
var ErrOtherUnits = errors.New("the plan was compiled for other units")

// Search returns every start of the visit in s that q allows: exactly those
// minutes for which some choice of units and waits keeps every rule. The set is
// empty when nothing fits; see also Missing.
//
// Search returns Faults that name the faulty fields of q, or the waits of the
// visit or the span of q when the answer would take too much memory; and
// ErrOtherUnits.
func (p *Plan) Search(s *Snapshot, q Query) (*StartSet, error) {
	x := new(StartSet)
	if err := p.SearchInto(x, s, q); err != nil {
		return nil, err
	}
	return x, nil
}

// SearchInto is Search that overwrites x and reuses its memory: ranges that x
// has returned before are overwritten too. After an error x is as it was.
func (p *Plan) SearchInto(x *StartSet, s *Snapshot, q Query) error {
	if err := p.ready(s, q); err != nil {
		return err
	}
	if len(p.missing) > 0 {
		x.begin(p, s, q)
		return nil
	}
	w := newBitSolver(p, s)
	defer w.release()
	if w.search(s.premises, q, false); w.starts.full {
		return tooManyRanges()
	}
	x.begin(p, s, q)
	x.collect(w.starts.lists, w.starts.all)
	return nil
}

// Soonest returns the earliest start that Search would find, and false when
// there is none. It stops at the first opening window with a start, and returns
// the same errors as Search.
func (p *Plan) Soonest(s *Snapshot, q Query) (Minute, bool, error) {
	if err := p.ready(s, q); err != nil {
		return 0, false, err
	}
	if len(p.missing) > 0 {
		return 0, false, nil
	}
	w := newBitSolver(p, s)
	defer w.release()
	if w.search(s.premises, q, true); w.starts.full {
		return 0, false, tooManyRanges()
	}
	at, ok := w.starts.soonest(q.Grid)
	return at, ok, nil
}

func (p *Plan) ready(s *Snapshot, q Query) error {
	if err := q.check(); err != nil {
		return err
	}
	if !p.roster.same(s.roster) {
		return fmt.Errorf("scheduling: search: %w", ErrOtherUnits)
	}
	return p.affordable(s)
}

package openings

import (
	"errors"
	"fmt"

	"chairblock/scheduling"
)

// ErrOtherUnits means that a plan was used with a snapshot that has other units
// than the one it was compiled against. Compile it anew.
var ErrOtherUnits = errors.New("the plan was compiled for other units")

// Search returns every start of the visit in s that q allows: exactly those
// minutes for which some choice of units and waits keeps every rule. The set is
// empty when nothing fits; see also Missing.
//
// Search returns Faults that name the faulty fields of q, and ErrOtherUnits.
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
	x.begin(p, s, q)
	if len(p.missing) > 0 {
		return nil
	}
	w := newBitSolver(p, s)
	defer w.release()
	w.search(s.premises, q, false)
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
	w.search(s.premises, q, true)
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
	return nil
}

func (q Query) check() error {
	var f scheduling.Faults
	if q.From < -maxHorizon || q.From > q.To || q.To > maxHorizon {
		f.Addf("from", fmt.Sprintf("from <= to, within %d minutes of the origin", maxHorizon),
			"is %d with to %d", q.From, q.To)
	}
	if q.Grid < 1 || q.Grid > 1440 {
		f.Addf("grid", "1 to 1440 minutes", "is %d", q.Grid)
	}
	if q.EndBy != nil && (*q.EndBy < -maxHorizon || *q.EndBy > 2*maxHorizon) {
		f.Addf("end_by", "less than two years from the origin", "is %d", *q.EndBy)
	}
	return f.Err()
}

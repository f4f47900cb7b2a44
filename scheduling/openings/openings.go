package openings

import (
	"errors"
	"fmt"
	"iter"
	"sort"

	"chairblock/scheduling"
	"chairblock/scheduling/timeline"
)

// ErrOtherUnits means that a plan was used with a snapshot that has other units
// than the one it was compiled against. Compile it anew.
var ErrOtherUnits = errors.New("the plan was compiled for other units")

// StartRange is the starts From, From+grid, … To, both ends included, on the
// grid of the query that they answer.
type StartRange struct{ From, To Minute }

// StartSet is every start that a query allows. It is immutable and safe for
// concurrent use, and keeps its plan and snapshot alive.
type StartSet struct {
	p       *Plan
	snap    *Snapshot
	q       Query
	all     []StartRange
	byFirst []unitStarts // in the order of the shop; empty for a visit without roles
}

type unitStarts struct {
	unit   int32
	ranges []StartRange
}

// Search returns every start of the visit in s that q allows: exactly those
// minutes for which some choice of units and waits keeps every rule. The set is
// empty when nothing fits; see also Missing.
//
// Search returns Faults that name the faulty fields of q, and ErrOtherUnits.
func (p *Plan) Search(s *Snapshot, q Query) (*StartSet, error) {
	if err := p.ready(s, q); err != nil {
		return nil, err
	}
	x := &StartSet{p: p, snap: s, q: q}
	if len(p.missing) > 0 {
		return x, nil
	}
	w := newSolver(p, s)
	defer w.release()
	w.search(s.premises, q, false)
	x.collect(w)
	return x, nil
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
	w := newSolver(p, s)
	defer w.release()
	w.search(s.premises, q, true)
	at, ok := w.soonest(q.Grid)
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

// collect turns what w has found into ranges on the grid.
func (x *StartSet) collect(w *solver) {
	w.union = w.union[:0]
	n, units := 0, 0
	for u := range w.found {
		w.found[u] = timeline.Normalize(w.found[u])
		w.union = append(w.union, w.found[u]...)
		n += len(w.found[u])
		if len(w.found[u]) > 0 {
			units++
		}
	}
	w.union = timeline.Normalize(w.union)
	ranges := make([]StartRange, 0, n+len(w.union))
	ranges = onGrid(ranges, w.union, x.q.Grid)
	x.all = ranges[:len(ranges):len(ranges)]
	if len(x.p.roles) == 0 {
		return
	}
	x.byFirst = make([]unitStarts, 0, units)
	for u := range w.found {
		from := len(ranges)
		ranges = onGrid(ranges, w.found[u], x.q.Grid)
		if to := len(ranges); to > from {
			x.byFirst = append(x.byFirst, unitStarts{int32(u), ranges[from:to:to]})
		}
	}
}

// onGrid appends the multiples of grid in l as ranges.
func onGrid(dst []StartRange, l timeline.List, grid Minute) []StartRange {
	base := len(dst)
	for _, s := range l {
		from, to := upTo(s.From, grid), Minute(s.To-1)/grid*grid
		if from > to {
			continue
		}
		if n := len(dst); n > base && dst[n-1].To+grid == from {
			dst[n-1].To = to
			continue
		}
		dst = append(dst, StartRange{from, to})
	}
	return dst
}

// upTo returns the first multiple of grid that is not before m >= 0.
func upTo(m int32, grid Minute) Minute { return (Minute(m) + grid - 1) / grid * grid }

// Count returns the number of starts.
func (x *StartSet) Count() int {
	n := 0
	for _, r := range x.all {
		n += int((r.To-r.From)/x.q.Grid) + 1
	}
	return n
}

// Empty reports whether nothing fits.
func (x *StartSet) Empty() bool { return len(x.all) == 0 }

// First returns the earliest start.
func (x *StartSet) First() (Minute, bool) {
	if x.Empty() {
		return 0, false
	}
	return x.all[0].From, true
}

// Last returns the latest start.
func (x *StartSet) Last() (Minute, bool) {
	if x.Empty() {
		return 0, false
	}
	return x.all[len(x.all)-1].To, true
}

// Ranges returns the starts in order, as few ranges as possible. The caller
// must not change them.
func (x *StartSet) Ranges() []StartRange { return x.all }

// ByFirstRole returns the starts by the id of the unit in the first role of the
// visit, without the units that have none. It is empty for a visit without
// roles. The caller must not change the ranges.
func (x *StartSet) ByFirstRole() map[string][]StartRange {
	out := make(map[string][]StartRange, len(x.byFirst))
	for _, b := range x.byFirst {
		out[x.p.roster.units[b.unit].ID] = b.ranges
	}
	return out
}

// All yields the starts in order.
func (x *StartSet) All() iter.Seq[Minute] {
	return func(yield func(Minute) bool) {
		for _, r := range x.all {
			for m := r.From; m <= r.To; m += x.q.Grid {
				if !yield(m) {
					return
				}
			}
		}
	}
}

// holds reports whether m is one of the starts in ranges.
func (x *StartSet) holds(ranges []StartRange, m Minute) bool {
	i := sort.Search(len(ranges), func(i int) bool { return ranges[i].To >= m })
	return i < len(ranges) && ranges[i].From <= m && m%x.q.Grid == 0
}

package openings

import (
	"errors"
	"fmt"
	"iter"
	"slices"
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

// StartSet is every start that a query allows. It is safe for concurrent use
// until it is given to SearchInto, and keeps its plan and snapshot alive. The
// zero value is the empty set, to be given to SearchInto.
type StartSet struct {
	p       *Plan
	snap    *Snapshot
	q       Query
	all     []StartRange
	byFirst []unitStarts // in the order of the shop; empty for a visit without roles
	mem     []StartRange
	endBy   Minute // what q.EndBy points to
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

// begin makes x the empty answer to q.
func (x *StartSet) begin(p *Plan, s *Snapshot, q Query) {
	*x = StartSet{p: p, snap: s, q: q, byFirst: x.byFirst[:0], mem: x.mem[:0]}
	if q.EndBy != nil {
		x.endBy = *q.EndBy // which the caller may change
		x.q.EndBy = &x.endBy
	}
}

// collect writes down, as ranges on the grid, the starts by unit of the first
// role and all of them.
func (x *StartSet) collect(byFirst []timeline.List, all timeline.List) {
	n := len(all)
	if len(x.p.roles) > 0 {
		for _, l := range byFirst {
			n += len(l)
		}
	}
	ranges := slices.Grow(x.mem, n)
	ranges = onGrid(ranges, all, x.q.Grid)
	x.all = ranges[:len(ranges):len(ranges)]
	if len(x.p.roles) > 0 {
		for u, l := range byFirst {
			from := len(ranges)
			ranges = onGrid(ranges, l, x.q.Grid)
			if to := len(ranges); to > from {
				x.byFirst = append(x.byFirst, unitStarts{int32(u), ranges[from:to:to]})
			}
		}
	}
	x.mem = ranges
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

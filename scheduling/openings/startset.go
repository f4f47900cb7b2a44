package openings

import (
	"cmp"
	"iter"
	"slices"
	"sort"

	"chairblock/scheduling/timeline"
)

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

// Leads returns the ids of the units that can have the first role of a visit
// that begins at start, by the order of Need.Kinds, then of the shop. It is empty
// when start is not one of the starts, and for a visit without roles.
func (x *StartSet) Leads(start Minute) []string {
	if len(x.byFirst) == 0 || !x.holds(x.all, start) {
		return nil
	}
	var out []string
	for _, u := range x.p.roles[0] {
		if x.holds(x.startsOf(u), start) {
			out = append(out, x.p.roster.units[u].ID)
		}
	}
	return out
}

// startsOf returns the starts with unit u in the first role.
func (x *StartSet) startsOf(u int32) []StartRange {
	i, ok := slices.BinarySearchFunc(x.byFirst, u, func(b unitStarts, u int32) int { return cmp.Compare(b.unit, u) })
	if !ok {
		return nil
	}
	return x.byFirst[i].ranges
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

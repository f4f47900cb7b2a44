package delays

import (
	"cmp"
	"slices"

	"chairblock/scheduling/openings"
)

// run is a stretch in which a visit has a unit in use without letting go of it:
// from the beginning of phase first, or from its end, to the end of phase last,
// or to its beginning.
type run struct {
	p                *visitDraft
	first, last      int
	fromEnd, toStart bool
	// since replaces the beginning for a helper who joined later.
	since *openings.Minute
}

// begun reports whether the unit is in use already, or was.
func (r *run) begun() bool { return r.first < r.p.begun }

// over reports whether the use has ended for good.
func (r *run) over(now openings.Minute) bool {
	return r.last < r.p.begun && (r.toStart || r.p.to[r.last] <= now && !(r.p.runs && r.last == r.p.begun-1))
}

// runs lists the uses by unit: those that have begun in front, by their real
// start, then the others in the order of the draft.
func (dr *draft) runs() [][]run {
	out := make([][]run, len(dr.d.Shop.Units))
	for _, p := range dr.visits {
		p.runsOf(out)
	}
	for _, l := range out {
		slices.SortStableFunc(l, compareRuns)
	}
	return out
}

func compareRuns(a, b run) int {
	if a.begun() != b.begun() {
		if a.begun() {
			return -1
		}
		return 1
	}
	return cmp.Or(cmp.Compare(a.key(), b.key()), cmp.Compare(a.p.index, b.p.index), cmp.Compare(a.first, b.first))
}

// key is where the run stands in the order of its unit.
func (r *run) key() openings.Minute {
	switch {
	case r.since != nil:
		return *r.since
	case r.begun() && r.fromEnd:
		return r.p.to[r.first]
	case r.begun():
		return r.p.from[r.first]
	case r.fromEnd:
		return r.p.order[r.first] + r.p.length[r.first]
	}
	return r.p.order[r.first]
}

// runsOf adds the runs of one visit to out.
func (p *visitDraft) runsOf(out [][]run) {
	var open []int // units, each with an open run at the end of its list
	use := func(u int, r run) {
		if !slices.Contains(open, u) {
			open = append(open, u)
			out[u] = append(out[u], r)
		}
		last := &out[u][len(out[u])-1]
		last.last, last.toStart = r.last, r.toStart
	}
	for i := range p.n {
		if !p.known[i] {
			continue
		}
		for _, u := range p.uses[i] {
			use(u, run{p: p, first: i, last: i})
		}
		open = slices.DeleteFunc(open, func(u int) bool { return !slices.Contains(p.uses[i], u) })
		next := p.after(i)
		if next == p.n {
			break
		}
		for _, u := range p.holds[i] {
			use(u, run{p: p, first: i, fromEnd: true, last: next, toStart: true})
		}
		open = slices.DeleteFunc(open, func(u int) bool { return !slices.Contains(p.holds[i], u) })
	}
	for i := range p.begun {
		if h := p.helper[i]; h >= 0 && p.known[i] {
			out[h] = append(out[h], run{p: p, first: i, last: i, since: &p.helpFrom[i]})
		}
	}
}

// after is the next phase after i that has a time, n when there is none. Those in
// between were passed over: what is held after i is held until there.
func (p *visitDraft) after(i int) int {
	for i++; i < p.n && !p.known[i]; i++ {
	}
	return i
}

// span is the time of the run when phases begin at starts, indexed by visit and
// phase.
func (r *run) span(starts [][]openings.Minute) openings.Span {
	at := starts[r.p.index]
	s := openings.Span{From: at[r.first], To: at[r.last]}
	if r.fromEnd {
		s.From += r.p.length[r.first]
	}
	if !r.toStart {
		s.To += r.p.length[r.last]
	}
	if r.since != nil {
		s.From = max(s.From, *r.since)
	}
	return s
}

package openings

import (
	"slices"
	"sync"
	"testing"

	"chairblock/scheduling/timeline"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// listSearch is the search by interval lists, as it was before there were bit
// sets. It lives on as an oracle that is quick enough for large instances, and as
// a yardstick. Of the package it shares the compiled chain, the free lists and
// the refinement by which Assign and MinEnd choose units.
type listSearch struct {
	*solver
	runs  []timeline.List // by spanning role
	found []timeline.List // by unit of the first role, last for visits without roles
	local timeline.List   // starts found in this window for this first unit
	union timeline.List
}

var listSearches = sync.Pool{New: func() any { return new(listSearch) }}

func newListSearch(p *Plan, snap *Snapshot) *listSearch {
	s := listSearches.Get().(*listSearch)
	s.solver = newSolver(p, snap)
	return s
}

func (s *listSearch) release() {
	s.solver.release()
	s.solver = nil
	listSearches.Put(s)
}

// search fills s.found with the starts of the short chain by unit of the first
// role; with soonest, only up to the first window that has a start on the grid.
//
// It works run by run: the visit lies inside one window of the premises and,
// for each role that is in use from start to end, inside one free run of its
// unit. Few runs are long enough for a long visit. Inside each of them the
// remaining roles are bound one after the other, and the pools tested last.
func (s *listSearch) search(premises timeline.List, q Query, soonest bool) {
	s.from, s.to, s.endBy = q.limits()
	s.found = resize(s.found, len(s.free)+1)
	for u := range s.found {
		s.found[u] = s.found[u][:0]
	}
	s.runs = resize(s.runs, len(s.p.spanning))
	all := timeline.Span{From: s.from, To: min(s.to+s.p.maxStay, s.endBy)}
	for _, w := range premises.Around(all) {
		s.span(0, meet(w, all))
		if !soonest {
			continue
		}
		if _, ok := s.soonest(q.Grid); ok {
			return
		}
	}
}

// soonest returns the first start on the grid that was found.
func (s *listSearch) soonest(grid Minute) (Minute, bool) {
	best := Minute(none)
	for _, l := range s.found {
		for _, run := range l {
			if at := upTo(run.From, grid); int32(at) < run.To {
				best = min(best, at)
			}
		}
	}
	return best, best != Minute(none)
}

// span narrows the window w by a free run for each spanning role from the k-th
// on, in every possible way.
func (s *listSearch) span(k int, w timeline.Span) {
	if w.To-w.From < s.p.minStay {
		return
	}
	if k == len(s.p.spanning) {
		s.place(w)
		return
	}
	r := s.p.spanning[k]
	if s.p.anonymous[r] {
		for _, run := range s.anyRun(k, w) {
			s.span(k+1, run)
		}
		return
	}
	for _, u := range s.p.roles[r] {
		if s.taken(u) {
			continue
		}
		s.bound[r] = u
		for _, run := range s.free[u].Around(w) {
			s.span(k+1, meet(run, w))
		}
		s.bound[r] = nobody
	}
}

// anyRun returns the runs inside w of all candidates of the k-th spanning role
// without those that lie inside another: what fits there fits in the other.
func (s *listSearch) anyRun(k int, w timeline.Span) timeline.List {
	runs := s.runs[k][:0]
	for _, u := range s.p.roles[s.p.spanning[k]] {
		for _, run := range s.free[u].Around(w) {
			if run = meet(run, w); run.To-run.From >= s.p.minStay {
				runs = append(runs, run)
			}
		}
	}
	s.runs[k] = widest(runs)
	return s.runs[k]
}

// TestRunsInsideAnotherAreDropped holds widest against comparing each with each.
func TestRunsInsideAnotherAreDropped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var runs timeline.List
		for range rapid.IntRange(0, 8).Draw(t, "runs") {
			from := rapid.Int32Range(0, 20).Draw(t, "from")
			runs = append(runs, timeline.Span{From: from, To: from + rapid.Int32Range(1, 12).Draw(t, "length")})
		}
		var want timeline.List
		for i, a := range runs {
			inside := slices.ContainsFunc(runs[:i], func(b timeline.Span) bool { return a == b })
			for _, b := range runs {
				inside = inside || a != b && b.From <= a.From && a.To <= b.To
			}
			if !inside {
				want = append(want, a)
			}
		}
		slices.SortFunc(want, func(a, b timeline.Span) int { return int(a.From - b.From) })
		require.Equal(t, append(timeline.List{}, want...), append(timeline.List{}, widest(slices.Clone(runs))...))
	})
}

// place finds the starts inside w, the spanning roles being taken care of.
func (s *listSearch) place(w timeline.Span) {
	c := &s.p.short
	if !s.open(c, w) {
		return
	}
	d := 0
	// With many ways to bind, it pays to ask once what no binding can change.
	if len(s.p.moving) > 1 {
		if !s.fill(c, 0) {
			return
		}
		d = 1
	}
	s.local = s.local[:0]
	s.move(c, d, 0)
	if len(s.p.moving) == 0 || s.p.moving[0] != 0 {
		s.keep()
	}
}

// move binds the moving roles from the k-th on in every way that can still give
// new starts. Level d has the starts of those bound so far.
func (s *listSearch) move(c *chain, d, k int) {
	if s.local.Covers(s.levels[d].sets[0]) {
		return
	}
	if k == len(s.p.moving) {
		if s.fill(c, d) {
			s.union = timeline.Normalize(append(append(s.union[:0], s.local...), s.levels[d+1].sets[0]...))
			s.union, s.local = s.local, s.union
		}
		return
	}
	r := s.p.moving[k]
	for _, u := range s.p.roles[r] {
		if s.taken(u) {
			continue
		}
		s.bound[r] = u
		if s.bind(c, d, r) {
			s.move(c, d+1, k+1)
		}
		if r == 0 {
			s.keep()
		}
		s.bound[r] = nobody
	}
}

// keep adds the starts of this window to those of the unit in the first role.
func (s *listSearch) keep() {
	first := len(s.found) - 1
	if len(s.bound) > 0 {
		first = int(s.bound[0])
	}
	s.found[first] = append(s.found[first], s.local...)
	s.local = s.local[:0]
}

// SearchByLists is Search by interval lists. The two share no search: each is
// the other's oracle.
func (p *Plan) SearchByLists(s *Snapshot, q Query) (*StartSet, error) {
	x := new(StartSet)
	return x, p.SearchByListsInto(x, s, q)
}

// SearchByListsInto is SearchInto by interval lists.
func (p *Plan) SearchByListsInto(x *StartSet, s *Snapshot, q Query) error {
	if err := p.ready(s, q); err != nil {
		return err
	}
	x.begin(p, s, q)
	if len(p.missing) > 0 {
		return nil
	}
	w := newListSearch(p, s)
	defer w.release()
	w.search(s.premises, q, false)
	w.union = w.union[:0]
	for u := range w.found {
		w.found[u] = timeline.Normalize(w.found[u])
		w.union = append(w.union, w.found[u]...)
	}
	w.union = timeline.Normalize(w.union)
	x.collect(w.found, w.union)
	return nil
}

// SoonestByLists is Soonest by interval lists.
func (p *Plan) SoonestByLists(s *Snapshot, q Query) (Minute, bool, error) {
	if err := p.ready(s, q); err != nil || len(p.missing) > 0 {
		return 0, false, err
	}
	w := newListSearch(p, s)
	defer w.release()
	w.search(s.premises, q, true)
	at, ok := w.soonest(q.Grid)
	return at, ok, nil
}

package openings

import (
	"cmp"
	"slices"

	"chairblock/scheduling/timeline"
)

// chunkStarts is how many start minutes are searched at once, so that the memory
// that a search needs does not grow with the opening hours. Nearly three days.
const chunkStarts = 4096

// search fills s.starts with the starts by unit of the first role; with soonest,
// only up to the first chunk that has a start on the grid.
//
// The visit lies inside one window of the premises and, for each role that is
// in use from start to end, inside one free run of its unit. Few runs are long
// enough for a long visit. Inside each of them the remaining roles are bound one
// after the other.
func (s *bitSolver) search(premises timeline.List, q Query, soonest bool) {
	s.from, s.to, s.endBy = q.limits()
	s.starts.reset(len(s.free) + 1)
	all := timeline.Span{From: s.from, To: min(s.to+s.p.maxStay, s.endBy)}
	for _, w := range premises.Around(all) {
		w = meet(w, all)
		for from := w.From; w.To-from >= s.p.minStay && from <= s.to; from += chunkStarts {
			s.last = min(s.to, from+chunkStarts-1, w.To-s.p.minStay)
			s.chunk = timeline.Span{From: from, To: min(w.To, s.last+s.p.maxStay)}
			s.starts.open(from, s.last)
			for i := range s.filled {
				s.filled[i].next = -1
			}
			s.stays()
			s.span(0, s.chunk)
			s.starts.close()
			if s.starts.full || soonest && s.starts.any(q.Grid) {
				return
			}
		}
	}
}

// limits returns the first and the last start and the last end that q allows.
func (q Query) limits() (from, to, endBy int32) {
	endBy = int32(2 * maxHorizon)
	if q.EndBy != nil {
		endBy = int32(*q.EndBy)
	}
	return int32(q.From), int32(q.To), endBy
}

func meet(a, b timeline.Span) timeline.Span {
	return timeline.Span{From: max(a.From, b.From), To: min(a.To, b.To)}
}

// stays finds, for each moving role of which only the time matters, the runs in
// the chunk.
func (s *bitSolver) stays() {
	for _, r := range s.p.moving {
		if s.p.stays[r] > 0 {
			s.anyRun(r, s.chunk, s.p.stays[r])
		}
	}
}

// span narrows the run w by a free run for each spanning role from the k-th on,
// in every possible way.
func (s *bitSolver) span(k int, w timeline.Span) {
	if w.To-w.From < s.p.minStay {
		return
	}
	if k == len(s.p.spanning) {
		s.place(w)
		return
	}
	r := s.p.spanning[k]
	if s.p.anonymous[r] {
		for _, run := range s.anyRun(r, w, s.p.minStay) {
			s.span(k+1, run)
		}
		return
	}
	for _, u := range s.p.roles[r] {
		if s.taken(u) {
			continue
		}
		s.bound[r] = u
		for _, run := range s.since(u) {
			if run.From >= w.To {
				break
			}
			s.span(k+1, meet(run, w))
		}
		s.bound[r] = nobody
	}
}

// anyRun returns the runs of some length inside w of all candidates of role r
// without those that lie inside another: what fits there fits in the other.
func (s *bitSolver) anyRun(r int, w timeline.Span, length int32) timeline.List {
	runs := s.runs[r][:0]
	for _, u := range s.p.roles[r] {
		for _, run := range s.since(u) {
			if run.From >= w.To {
				break
			}
			if run = meet(run, w); run.To-run.From >= length {
				runs = append(runs, run)
			}
		}
	}
	s.runs[r] = widest(runs)
	return s.runs[r]
}

// widest drops the runs that lie inside another. It sorts runs and shares their
// memory.
func widest(runs timeline.List) timeline.List {
	slices.SortFunc(runs, func(a, b timeline.Span) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(b.To, a.To))
	})
	out := runs[:0]
	for _, run := range runs {
		if n := len(out); n == 0 || run.To > out[n-1].To {
			out = append(out, run)
		}
	}
	return out
}

// place finds the starts inside run, the spanning roles being taken care of.
func (s *bitSolver) place(run timeline.Span) {
	if len(s.p.moving)+s.p.memos == 0 {
		s.starts.fill(s.row(), run.From, min(run.To-s.p.minStay, s.last)+1)
		return
	}
	if !s.open(run) {
		return
	}
	d, tested := 0, -1
	// With many ways to bind, it pays to ask once what no binding can change.
	if len(s.p.moving) != 1 {
		if !s.refine(0, int(nobody), -1, 0) {
			return
		}
		d, tested = 1, 0
	}
	s.move(d, 0, tested)
	if len(s.p.moving) == 0 || s.p.moving[0] != 0 {
		s.keep()
	}
}

// move binds the moving roles from the k-th on in every way that can still give
// new starts. Level d has the starts of those bound so far, and tests that need
// no more than tested of them have been made.
func (s *bitSolver) move(d, k, tested int) {
	set := &s.levels[d].sets[0]
	if s.local[set.lo:].Covers(set.live()) {
		return
	}
	if k == len(s.p.moving) {
		s.local[set.lo:].OrMoved(set.live(), 0)
		return
	}
	r := s.p.moving[k]
	if s.p.stays[r] > 0 {
		for i := range s.runs[r] {
			s.bind(d, k, tested, anybody, s.runs[r][i:i+1])
		}
		return
	}
	for _, u := range s.p.roles[r] {
		if !s.taken(u) {
			s.bind(d, k, tested, u, s.since(u))
		}
	}
}

// bind binds the k-th moving role to u with its free time, and goes on.
func (s *bitSolver) bind(d, k, tested int, u int32, free timeline.List) {
	r := s.p.moving[k]
	for len(free) > 0 && free[0].To <= s.run.From {
		free = free[1:]
	}
	if !s.mayUse(s.levels[d].sets, r, free) {
		return
	}
	s.bound[r], s.time[r] = u, free
	if s.refine(d, r, tested, k+1) {
		s.move(d+1, k+1, k+1)
	}
	if r == 0 {
		s.keep()
	}
	s.bound[r] = nobody
}

// mayUse reports whether free has room for every use of role r taken by itself,
// given the sets for the roles before it. It is quick, and most units fall out.
func (s *bitSolver) mayUse(sets []positions, r int, free timeline.List) bool {
	for i := range s.p.hardest[r] {
		u := &s.p.hardest[r][i]
		first, last := sets[u.block].ends()
		if at := s.run.From + u.at; !room(free, at+first, at+last, u.minutes) {
			return false
		}
	}
	return true
}

// room reports whether some n minutes of free begin in from..to.
func room(free timeline.List, from, to, n int32) bool {
	for _, f := range free {
		if f.From > to {
			return false
		}
		if max(f.From, from)+n <= f.To {
			return true
		}
	}
	return false
}

// keep adds the starts of this run to those of the unit in the first role.
func (s *bitSolver) keep() {
	s.starts.add(s.row(), s.local, s.run.From)
	clear(s.local)
}

// row is that of the unit in the first role.
func (s *bitSolver) row() int {
	if len(s.bound) == 0 {
		return len(s.free)
	}
	return int(s.bound[0])
}

// startRows collects the starts of a chunk by row, and turns them into lists.
type startRows struct {
	lists []timeline.List // by row
	all   timeline.List   // of any row
	full  bool            // there are too many ranges

	from  int32 // minute of the first bit
	words int   // of a row
	bits  timeline.Bits
	union timeline.Bits
	used  []bool // by row
}

// reset forgets everything and provides for n rows.
func (x *startRows) reset(n int) {
	x.lists, x.used = resize(x.lists, n), resize(x.used, n)
	for i := range x.lists {
		x.lists[i], x.used[i] = x.lists[i][:0], false
	}
	x.all, x.full = x.all[:0], false
}

// open begins a chunk for the starts from..last.
func (x *startRows) open(from, last int32) {
	x.from, x.words = from, timeline.Words(last-from+1)
	x.bits = resize(x.bits, x.words*len(x.lists))
}

// add adds starts, of which bit 0 is the minute from, to row i.
func (x *startRows) add(i int, starts timeline.Bits, from int32) {
	x.use(i).OrMoved(starts, from-x.from)
}

// fill adds the starts from..to-1 to row i.
func (x *startRows) fill(i int, from, to int32) { x.use(i).Fill(from-x.from, to-x.from) }

// use returns row i, empty when it is the first time in this chunk.
func (x *startRows) use(i int) timeline.Bits {
	row := x.bits[i*x.words : (i+1)*x.words]
	if !x.used[i] {
		x.used[i] = true
		clear(row)
	}
	return row
}

// close ends the chunk.
func (x *startRows) close() {
	x.union = firsts(x.union, x.words, 0)
	n := 0
	for i, used := range x.used {
		if used && n <= maxRanges {
			x.lists[i] = timeline.AppendBits(x.lists[i], x.use(i), x.from)
			x.union.OrMoved(x.use(i), 0)
		}
		x.used[i] = false
		n += len(x.lists[i])
	}
	x.all = timeline.AppendBits(x.all, x.union, x.from)
	x.full = n+len(x.all) > maxRanges
}

// any reports whether there is a start on grid.
func (x *startRows) any(grid Minute) bool {
	_, ok := x.soonest(grid)
	return ok
}

// soonest returns the first start on grid.
func (x *startRows) soonest(grid Minute) (Minute, bool) {
	for _, run := range x.all {
		if at := upTo(run.From, grid); int32(at) < run.To {
			return at, true
		}
	}
	return 0, false
}

package openings

import (
	"math/bits"
	"slices"
	"sync"

	"chairblock/scheduling/timeline"
)

// bitSolver is the working memory of one search by bitsets. It does what solver
// does, for the blocks of a visit, with the positions of a block as bits: inside
// a run of L minutes a visit of at least m minutes has L-m+1 positions, whatever
// the block.
//
// A level holds for every block i the set F(i) of positions from which it and
// all later blocks fit. A wait with nothing to spare keeps the position, so only
// variable waits need work: F(i) = S(i) ∩ {k : F(i+1) has a position in k..k+slack}.
type bitSolver struct {
	p     *Plan
	free  []timeline.List // by unit, only for units of the plan, from chunk on
	bound []int32         // by role: nobody while unbound, or anybody
	time  []timeline.List // by bound moving role: free time of its unit

	from, to int32 // limits of the start, both included
	endBy    int32 // limit of the end

	chunk timeline.Span   // where visits are being looked for
	last  int32           // their last start
	runs  []timeline.List // by spanning role

	run    timeline.Span // what the spanning roles leave of the chunk
	width  int32         // positions in it
	words  int           // that hold them
	whole  timeline.Bits // all positions
	begin  timeline.Bits // those of the first block
	levels []bitLevel
	filled []filled // by memo of a test
	held   timeline.Bits
	spare  timeline.Bits
	enough timeline.Bits
	unit   timeline.Bits
	atWork []timeline.Bits
	local  timeline.Bits // starts found in this run for this first unit

	starts startRows
}

// bitLevel has the sets of one stage of refinement, by block.
type bitLevel struct {
	sets []positions
	own  []uint64 // memory for the sets that differ from those of the level above
}

// positions is a set of positions, not empty when it is in a level. All words but
// lo to hi-1 are zero, those at the two ends are not.
type positions struct {
	bits   timeline.Bits
	lo, hi int
}

// live is the words from lo on.
func (p *positions) live() timeline.Bits { return p.bits[p.lo:p.hi] }

// trim drops empty words from both ends and reports whether any is left.
func (p *positions) trim() bool {
	for p.lo < p.hi && p.bits[p.lo] == 0 {
		p.lo++
	}
	for p.lo < p.hi && p.bits[p.hi-1] == 0 {
		p.hi--
	}
	return p.lo < p.hi
}

// ends returns the first and the last position.
func (p *positions) ends() (first, last int32) {
	return int32(p.lo*64 + bits.TrailingZeros64(p.bits[p.lo])), int32(p.hi*64 - 1 - bits.LeadingZeros64(p.bits[p.hi-1]))
}

// filled is what is known of a pool in this chunk. least[k] has minutes from
// which more than k of its units are free for some time. Units from next on are
// still to be counted; next is negative while the memory is that of another
// chunk.
type filled struct {
	least []timeline.Bits
	next  int
}

// anybody is the unit of a role of which only the time matters.
const anybody int32 = -2

var bitSolvers = sync.Pool{New: func() any { return new(bitSolver) }}

// newBitSolver takes a solver from the pool. Give it back with release.
func newBitSolver(p *Plan, snap *Snapshot) *bitSolver {
	s := bitSolvers.Get().(*bitSolver)
	s.p = p
	s.free = p.freeLists(s.free, snap)
	s.bound = resize(s.bound, len(p.roles))
	for r := range s.bound {
		s.bound[r] = nobody
	}
	s.time = resize(s.time, len(p.roles))
	s.runs = resize(s.runs, len(p.roles))
	s.levels = resize(s.levels, len(p.moving)+2)
	for d := range s.levels {
		s.levels[d].sets = resize(s.levels[d].sets, len(p.blocks))
	}
	s.filled = resize(s.filled, p.memos)
	return s
}

// release gives s back without keeping the caller's data alive.
func (s *bitSolver) release() {
	s.p = nil
	clear(s.free)
	clear(s.time)
	bitSolvers.Put(s)
}

func (s *bitSolver) taken(u int32) bool { return slices.Contains(s.bound, u) }

// since returns the free time of u without what is over before the chunk.
func (s *bitSolver) since(u int32) timeline.List {
	l, i := s.free[u], 0
	for i < len(l) && l[i].To <= s.chunk.From {
		// The next day is a few spans away, the first one asked for may be far.
		if i++; i == 8 {
			l, i = l.Since(s.chunk.From), 0
		}
	}
	if i > 0 {
		l = l[i:]
	}
	s.free[u] = l
	return l
}

// open makes level 0: every position inside run. It reports whether there are
// any.
func (s *bitSolver) open(run timeline.Span) bool {
	width := run.To - run.From - s.p.minStay + 1
	if width < 1 || s.last < run.From {
		return false
	}
	n := timeline.Words(width)
	s.run, s.words, s.width = run, n, width
	s.whole, s.begin = firsts(s.whole, n, width), firsts(s.begin, n, min(width, s.last-run.From+1))
	sets := s.levels[0].sets
	for i := range sets {
		sets[i] = positions{s.whole, 0, n}
	}
	sets[0].bits = s.begin
	sets[0].trim()
	for d := 1; d < len(s.levels); d++ {
		s.levels[d].own = resize(s.levels[d].own, n*len(sets))
	}
	s.local = firsts(s.local, n, 0)
	return true
}

// firsts returns n words that begin with first ones, in the memory of b.
func firsts(b timeline.Bits, n int, first int32) timeline.Bits {
	b = resize(b, n)
	clear(b)
	b.Fill(0, first)
	return b
}

// refine narrows level d into d+1 by the moving role r, which has been bound,
// and by the tests that need more than from and up to upTo roles. With r nobody
// there are only tests. It reports whether a start is left.
func (s *bitSolver) refine(d, r, from, upTo int) bool {
	above, lv := s.levels[d].sets, &s.levels[d+1]
	blocks := s.p.blocks
	changed := false
	for i := len(blocks) - 1; i >= 0; i-- {
		b := &blocks[i]
		set, own := above[i], timeline.Bits(lv.own[i*s.words:(i+1)*s.words])
		base := s.run.From + b.start
		linked := i+1 < len(blocks) && (changed || slices.Contains(b.hold, r))
		if linked {
			next := &lv.sets[i+1]
			set.lo, set.hi = max(set.lo, next.lo-timeline.Words(b.slack)), min(set.hi, next.hi)
			changed = true
			if set.lo >= set.hi {
				return false
			}
		}
		own.Zero(0, set.lo)
		own.Zero(set.hi, len(own))
		if uses := b.by(r); len(uses) > 0 {
			from := base + int32(set.lo)*64
			part := own[set.lo:set.hi]
			lo, hi := part.SetStarts(set.live(), s.time[r], from+uses[0].at, uses[0].minutes)
			if lo >= hi {
				return false
			}
			for _, u := range uses[1:] {
				part.KeepStarts(s.time[r], from+u.at, u.minutes)
			}
			set.lo, set.hi = set.lo+lo, set.lo+hi
			changed = true
		} else {
			own[set.lo:set.hi].Set(set.live())
		}
		set.bits = own
		if linked {
			s.reach(b, lv, i, &set)
		}
		for t := range b.tests {
			if bt := &b.tests[t]; bt.ready > from && bt.ready <= upTo {
				s.test(bt, base, &set)
				changed = true
			}
		}
		if !set.trim() {
			return false
		}
		lv.sets[i] = set
	}
	return true
}

// reach keeps in set, positions of block i, those from which the next block is
// reached while all bound roles that the wait holds are free. lv are the sets
// that are being made.
func (s *bitSolver) reach(b *block, lv *bitLevel, i int, set *positions) {
	goal := lv.sets[i+1].bits[set.lo:]
	slack := min(b.slack, int32(s.words)*64)
	held := false
	for _, r := range b.hold {
		if s.bound[r] == nobody {
			continue
		}
		if !held {
			held = true
			s.held = append(s.held[:0], s.whole...)
		}
		s.held.KeepStarts(s.time[r], s.run.From+s.p.blocks[i+1].start, 1)
	}
	if !held {
		set.live().KeepReach(goal, slack)
		return
	}
	s.spare = resize(s.spare, s.words)
	set.live().KeepReachHeld(goal, s.held[set.lo:], slack, s.spare)
}

// test keeps in set, positions of a block whose position 0 is base, those at
// which t can be filled. Units are counted only until they suffice for set.
func (s *bitSolver) test(t *blockTest, base int32, set *positions) {
	f := &s.filled[t.memo]
	if f.next < 0 {
		s.forget(f, t.need+len(t.without))
	}
	at := base + t.at - s.chunk.From + int32(set.lo)*64
	if len(t.without) > 0 {
		s.testWithout(t, f, at, set.live())
		return
	}
	enough := f.least[t.need-1]
	for f.next < len(t.units) {
		if enough.CoversMoved(set.live(), at) {
			return
		}
		s.count(t, f)
	}
	set.live().KeepMoved(enough, at)
}

// testWithout is test for pools that units at work cannot help in. Position 0
// of set is at after the start of the chunk.
func (s *bitSolver) testWithout(t *blockTest, f *filled, at int32, set timeline.Bits) {
	// Counted are all units. Where k units at work are free too, need+k must be.
	s.atWork = resize(s.atWork, len(t.without))
	busy := s.atWork[:0]
	for _, r := range t.without {
		u := s.bound[r]
		if _, ok := slices.BinarySearch(t.units, u); !ok {
			continue
		}
		busy = busy[:len(busy)+1]
		busy[len(busy)-1] = firsts(busy[len(busy)-1], len(set), 0)
		s.spare = firsts(s.spare, len(set), 0)
		s.spare.AddStarts(s.since(u), s.chunk.From+at, t.minutes)
		timeline.Least(busy, s.spare)
	}
	for {
		s.spare = firsts(s.spare, len(set), 0)
		for k := range len(busy) + 1 {
			s.enough = append(s.enough[:0], set...)
			s.enough.KeepMoved(f.least[t.need-1+k], at)
			if k < len(busy) {
				s.enough.AndNot(busy[k])
			}
			s.spare.OrMoved(s.enough, 0)
		}
		if f.next == len(t.units) || s.spare.Covers(set) {
			break
		}
		s.count(t, f)
	}
	set.And(s.spare)
}

// count counts one more unit of t.
func (s *bitSolver) count(t *blockTest, f *filled) {
	free := s.since(t.units[f.next])
	f.next++
	if len(f.least) == 1 {
		f.least[0].AddStarts(free, s.chunk.From, t.minutes)
		return
	}
	s.unit = firsts(s.unit, len(f.least[0]), 0)
	s.unit.AddStarts(free, s.chunk.From, t.minutes)
	timeline.Least(f.least, s.unit)
}

// forget lets f begin anew.
func (s *bitSolver) forget(f *filled, need int) {
	n := timeline.Words(s.chunk.To - s.chunk.From)
	f.least, f.next = resize(f.least, need), 0
	for k := range f.least {
		f.least[k] = firsts(f.least[k], n, 0)
	}
}

package delays

import (
	"cmp"
	"slices"
)

// network is a problem by number. Its least solution is found by raising every
// start as far as one rule after the other asks, and no further.
type network struct {
	horizon int32
	length  []int32
	low     []int32 // the start of a fixed piece, else the least
	fixed   []bool
	closed  [][]window // sorted by from; they may overlap
	links   []edge
}

// window is time that a piece may not touch. tag is the caller's.
type window struct{ from, to, tag int32 }

// edge is min <= start(after) - end(before) <= max.
type edge struct{ before, after, min, max int32 }

// noLimit is the max of an edge that has none, dropped the min of an edge that
// was given up.
const (
	noLimit int32 = 1<<31 - 1
	dropped int32 = -1 << 30
)

// cause says which rule raised a start.
type cause uint8

const (
	byLow cause = iota
	byMin
	byMax
	byWindow
)

// raise is one step of the proof that a piece cannot start earlier.
type raise struct {
	piece, start int32
	cause        cause
	index        int32 // of the link, or the window among those of the piece
	prev         int32 // the raise that it follows from, -1 for byLow
}

// clash proves that there is no solution. The last raise of chain cannot be:
// the piece is fixed at an earlier minute, or would end after the horizon. With
// loop, chain leads from a piece back to itself at a later minute instead.
type clash struct {
	chain []raise
	loop  bool
}

// Bounds of the work, found by trying: about a second and 100 megabytes. A day of sixty pieces
// looks at some hundred links.
const (
	maxEvaluations = 300_000_000
	maxRaises      = 5_000_000
)

// solver holds what solving needs, for use again and again.
type solver struct {
	n      *network
	starts []int32
	last   []int32 // newest raise of each piece
	passed []int32 // windows of each piece that lie behind its start
	moved  []int32 // tick of the last raise
	seen   []int32 // by link: tick at which it was looked at
	tick   int32
	log    []raise
	jumped bool // over a window, in this sweep
	work   int
}

// solve returns the component-wise least starts, or the clash that forbids
// any, or neither and false when a bound of the work was reached. The starts are valid until
// the next call.
//
// Links are looked at in their order, over and over, until none raises a start;
// a link of which neither piece has moved is passed over. Between two jumps
// over windows, a start is raised at most once for each piece before it on a
// path, so that as many sweeps without a jump as there are pieces prove a loop.
// No window is jumped twice by the same piece: O((pieces+1)(windows+1)) sweeps
// of all links in the worst case, whatever the horizon, and two or three on a
// real day.
func (s *solver) solve(n *network) ([]int32, *clash, bool) {
	s.reset(n)
	for i := range n.length {
		s.log = append(s.log, raise{piece: int32(i), start: n.low[i], cause: byLow, prev: -1})
		s.last[i], s.starts[i] = int32(i), n.low[i]
	}
	for i := range n.length {
		if !s.fit(int32(i)) {
			return nil, s.clash(), true
		}
	}
	for quiet := 0; quiet <= len(n.length); {
		before := s.tick
		s.jumped = false
		if !s.sweep() {
			return nil, s.clash(), true
		}
		if s.tick == before {
			return s.starts, nil, true
		}
		if s.work > maxEvaluations || len(s.log) > maxRaises {
			return nil, nil, false
		}
		quiet++
		if s.jumped {
			quiet = 0
		}
		if quiet%8 == 7 { // long before the proof by counting
			if c := s.loop(); c != nil {
				return nil, c, true
			}
		}
	}
	return nil, s.loop(), true
}

func (s *solver) reset(n *network) {
	s.n, s.tick, s.work = n, 0, 0
	s.log = s.log[:0]
	k := len(n.length)
	s.starts, s.last = resized(s.starts, k), resized(s.last, k)
	s.passed, s.moved, s.seen = resized(s.passed, k), resized(s.moved, k), resized(s.seen, len(n.links))
	clear(s.passed)
	clear(s.moved)
	for i := range s.seen {
		s.seen[i] = -1
	}
}

func resized(l []int32, n int) []int32 { return slices.Grow(l[:0], n)[:n] }

// sweep looks at every link once, and returns false at the first clash.
func (s *solver) sweep() bool {
	s.work += len(s.n.links) / 16
	for i := range s.n.links {
		e := &s.n.links[i]
		if max(s.moved[e.before], s.moved[e.after]) <= s.seen[i] {
			continue
		}
		s.seen[i] = s.tick
		s.work++
		end := s.starts[e.before] + s.n.length[e.before]
		if e.min != dropped && end+e.min > s.starts[e.after] && !s.raise(e.after, end+e.min, byMin, i, e.before) {
			return false
		}
		if e.max == noLimit {
			continue
		}
		if at := s.starts[e.after] - e.max - s.n.length[e.before]; at > s.starts[e.before] &&
			!s.raise(e.before, at, byMax, i, e.after) {
			return false
		}
	}
	return true
}

// raise notes that a link lets piece start at at, later than it does, and
// returns false when it cannot.
func (s *solver) raise(piece, at int32, why cause, link int, from int32) bool {
	s.note(raise{piece: piece, start: at, cause: why, index: int32(link), prev: s.last[from]})
	return !s.n.fixed[piece] && s.fit(piece)
}

func (s *solver) note(r raise) {
	s.last[r.piece] = int32(len(s.log))
	s.log = append(s.log, r)
	s.starts[r.piece] = r.start
	s.tick++
	s.moved[r.piece] = s.tick
}

// fit moves piece behind the windows that it touches, and returns false when
// the horizon has no room for it.
func (s *solver) fit(piece int32) bool {
	if s.n.fixed[piece] {
		return s.starts[piece]+s.n.length[piece] <= s.n.horizon
	}
	windows := s.n.closed[piece]
	k := s.passed[piece]
	for ; int(k) < len(windows); k++ {
		w := windows[k]
		if w.from >= s.starts[piece]+s.n.length[piece] {
			break
		}
		if w.to > s.starts[piece] {
			s.note(raise{piece: piece, start: w.to, cause: byWindow, index: k, prev: s.last[piece]})
			s.jumped = true
		}
	}
	s.passed[piece] = k
	return s.starts[piece]+s.n.length[piece] <= s.n.horizon
}

// clash follows the last raise back to what is fixed.
func (s *solver) clash() *clash {
	c := &clash{}
	r := s.worst()
	for at := r; at >= 0; at = s.log[at].prev {
		c.chain = append(c.chain, s.log[at])
	}
	slices.Reverse(c.chain)
	return c
}

// worst is the raise that could not be: the last one, or the start of a piece
// that fits nowhere.
func (s *solver) worst() int32 {
	for i, at := range s.starts {
		if at+s.n.length[i] > s.n.horizon {
			return s.last[i]
		}
	}
	return int32(len(s.log) - 1)
}

// loop finds the pieces that push one another on for ever: it follows the last
// raise back until a piece comes up twice without a window in between. It
// returns nil when none does.
func (s *solver) loop() *clash {
	c := &clash{loop: true}
	at := make(map[int32]int, len(s.n.length))
	for r := int32(len(s.log) - 1); r >= 0; r = s.log[r].prev {
		step := s.log[r]
		if step.cause == byWindow {
			clear(at)
			c.chain = c.chain[:0]
			continue
		}
		if first, again := at[step.piece]; again {
			c.chain = append(c.chain[first:], step)
			slices.Reverse(c.chain)
			return c
		}
		at[step.piece] = len(c.chain)
		c.chain = append(c.chain, step)
	}
	return nil
}

// sortWindows puts windows into the order that fit needs.
func sortWindows(w []window) {
	slices.SortFunc(w, func(a, b window) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to)) })
}

package timeline

import "math/bits"

// Bits is a set of minutes as words: bit k of word i stands for the minute
// 64·i+k after a base minute that the caller keeps in mind. Where minutes are
// few and sets are many, it is quicker than a List.
//
// Methods with a free list take the base as well, so that a part b[i:] of a set
// is a set with the base moved by 64·i. Bits beyond the last word are absent.
type Bits []uint64

const wordBits = 64

// Words returns how many words hold n minutes.
func Words(n int32) int { return int(n+wordBits-1) / wordBits }

// size returns how many minutes b has room for.
func (b Bits) size() int32 { return int32(len(b)) * wordBits }

// Zero empties the words from..to-1. For a few words a loop is quicker than
// a call.
func (b Bits) Zero(from, to int) {
	for i := from; i < to; i++ {
		b[i] = 0
	}
}

// Set makes b equal to o, which is at least as long.
func (b Bits) Set(o Bits) {
	o = o[:len(b)]
	for i := range b {
		b[i] = o[i]
	}
}

// Fill adds the minutes from..to-1. What lies outside b is left out.
func (b Bits) Fill(from, to int32) {
	from, to = max(from, 0), min(to, b.size())
	if from >= to {
		return
	}
	i, j := uint32(from)/wordBits, uint32(to-1)/wordBits
	first, last := ^uint64(0)<<(uint32(from)%wordBits), ^uint64(0)>>(wordBits-1-uint32(to-1)%wordBits)
	if i == j {
		b[i] |= first & last
		return
	}
	b[i] |= first
	for i++; i < j; i++ {
		b[i] = ^uint64(0)
	}
	b[j] |= last
}

// cut takes the minutes from..to-1 away, 0 <= from and to <= b.size().
func (b Bits) cut(from, to int32) {
	if from >= to {
		return
	}
	i, j := uint32(from)/wordBits, uint32(to-1)/wordBits
	first, last := ^uint64(0)<<(uint32(from)%wordBits), ^uint64(0)>>(wordBits-1-uint32(to-1)%wordBits)
	if i == j {
		b[i] &^= first & last
		return
	}
	b[i] &^= first
	for i++; i < j; i++ {
		b[i] = 0
	}
	b[j] &^= last
}

// AddStarts adds Starts(free, n), n >= 1, as far as there is room in b.
func (b Bits) AddStarts(free List, base, n int32) {
	base, size := base+n-1, b.size()
	for _, s := range free {
		to := s.To - base
		if to <= 0 {
			continue
		}
		from := s.From - base + n - 1
		if from >= size {
			return
		}
		b.Fill(from, to)
	}
}

// KeepStarts takes away what is not in Starts(free, n), n >= 1.
func (b Bits) KeepStarts(free List, base, n int32) {
	at, size := int32(0), b.size()
	for _, s := range free {
		to := s.To - base - n + 1
		if to <= at {
			continue
		}
		from := s.From - base
		if from >= size {
			break
		}
		if from >= to {
			continue
		}
		b.cut(at, from)
		if at = to; at >= size {
			return
		}
	}
	b.cut(at, size)
}

// SetStarts makes b the minutes that are both in o and in Starts(free, n), and
// returns words between which all of them are. o is as long as b, and another.
func (b Bits) SetStarts(o Bits, free List, base, n int32) (lo, hi int) {
	size := b.size()
	o = o[:len(b)]
	for i := range b {
		b[i] = 0
	}
	lo = len(b)
	for _, s := range free {
		from, to := max(s.From-base, 0), min(s.To-base-n+1, size)
		if from >= to {
			if from >= size {
				break
			}
			continue
		}
		i, j := int(uint32(from)/wordBits), int(uint32(to-1)/wordBits)
		first, last := ^uint64(0)<<(uint32(from)%wordBits), ^uint64(0)>>(wordBits-1-uint32(to-1)%wordBits)
		lo, hi = min(lo, i), j+1
		if i == j {
			b[i] |= o[i] & first & last
			continue
		}
		b[i] |= o[i] & first
		for i++; i < j; i++ {
			b[i] = o[i]
		}
		b[j] = o[j] & last
	}
	return min(lo, hi), hi
}

// KeepReach takes away the minutes from which no minute of goal is reached after
// 0 to wait minutes, both included. goal has the same base as b and may be
// longer or shorter.
func (b Bits) KeepReach(goal Bits, wait int32) {
	if wait >= wordBits {
		b.keepFar(goal, wait)
		return
	}
	for i, w := range b {
		if w == 0 {
			continue
		}
		if near, far := goal.pair(i); w&^near != 0 {
			b[i] = w & within(near, far, uint(wait))
		}
	}
}

// within returns the bits of near from which a bit of near, or of far that
// follows it, is at most n < 64 places up: n+1 sets shifted by 0..n, put
// together by doubling.
func within(near, far uint64, n uint) uint64 {
	done := uint(1) // shifts 0..done-1 are in
	for ; 2*done <= n+1; done *= 2 {
		near |= near>>(done&63) | far<<((wordBits-done)&63)
		far |= far >> (done & 63)
	}
	if rest := n + 1 - done; rest > 0 {
		near |= near>>(rest&63) | far<<((wordBits-rest)&63)
	}
	return near
}

// keepFar is KeepReach for any wait: it goes through goal run by run.
func (b Bits) keepFar(goal Bits, wait int32) {
	at, size := int32(0), b.size()
	for s, ok := goal.run(0); ok && at < size; s, ok = goal.run(s.To) {
		b.cut(at, min(s.From-wait, size))
		at = max(at, s.To)
	}
	b.cut(min(at, size), size)
}

// KeepReachHeld is KeepReach for somebody who needs all of the minutes in
// between: it keeps the minutes m from which some wait of 0 to wait minutes ends
// in goal while [m, m+wait) lies in held. All three have the same base. scratch
// is overwritten when wait is 64 or more, and as long as b.
func (b Bits) KeepReachHeld(goal, held Bits, wait int32, scratch Bits) {
	if wait >= wordBits {
		b.keepFarHeld(goal, held, wait, scratch)
		return
	}
	for i, w := range b {
		near, far := goal.pair(i)
		if w&^near == 0 {
			continue
		}
		free, after := held.pair(i)
		b[i] = w & withinHeld(near, far, free, after, uint(wait))
	}
}

// pair returns words i and i+1, zero beyond the end.
func (b Bits) pair(i int) (near, far uint64) {
	if i < len(b) {
		near = b[i]
	}
	if i+1 < len(b) {
		far = b[i+1]
	}
	return near, far
}

// withinHeld is within for waits during which every bit has to be in free, or in
// after that follows it. A wait is put together from steps of 1, 2, 4, … places, each at least once while
// they fit into n and once more where n needs it; none is longer than what came
// before it and one place more, so that every wait up to n is some sum of them.
func withinHeld(near, far, free, after uint64, n uint) uint64 {
	steps := uint(0) // 1, 2, … 2^(steps-1) add up to at most n
	for (uint(2)<<steps)-1 <= n {
		steps++
	}
	more := n - (uint(1)<<steps - 1)
	for k := range steps {
		s := uint(1) << k
		for times := 1 + more>>k&1; times > 0; times-- {
			near |= free & (near>>(s&63) | far<<((wordBits-s)&63))
			far |= after & (far >> (s & 63))
		}
		free &= free>>(s&63) | after<<((wordBits-s)&63)
		after &= after >> (s & 63)
	}
	return near
}

// keepFarHeld is KeepReachHeld for any wait: it goes through held run by run.
func (b Bits) keepFarHeld(goal, held Bits, wait int32, scratch Bits) {
	scratch = scratch[:len(b)]
	clear(scratch)
	copy(scratch, goal)
	for h, ok := held.run(0); ok && h.From < b.size(); h, ok = held.run(h.To) {
		for g, ok := goal.run(h.From); ok && g.From <= h.To; g, ok = goal.run(g.To) {
			// Whoever waits to the very end of h arrives at the minute h.To.
			scratch.Fill(max(g.From-wait, h.From), min(g.To, h.To))
		}
	}
	b.And(scratch)
}

// run returns the first run of minutes that ends after from, cut off before it.
func (b Bits) run(from int32) (Span, bool) {
	start, ok := b.next(from, 0)
	if !ok {
		return Span{}, false
	}
	end, ok := b.next(start, ^uint64(0))
	if !ok {
		end = b.size()
	}
	return Span{start, end}, true
}

// next returns the first minute from from on whose bit differs from flip.
func (b Bits) next(from int32, flip uint64) (int32, bool) {
	if from >= b.size() {
		return 0, false
	}
	i := int(from) / wordBits
	w := (b[i] ^ flip) &^ (1<<(uint32(from)%wordBits) - 1)
	for w == 0 {
		if i++; i == len(b) {
			return 0, false
		}
		w = b[i] ^ flip
	}
	return int32(i*wordBits + bits.TrailingZeros64(w)), true
}

// And keeps what is in o too. o is at least as long as b.
func (b Bits) And(o Bits) {
	o = o[:len(b)]
	for i := range b {
		b[i] &= o[i]
	}
}

// AndNot takes away what is in o. o is at least as long as b.
func (b Bits) AndNot(o Bits) {
	o = o[:len(b)]
	for i := range b {
		b[i] &^= o[i]
	}
}

// OrMoved adds the minutes of o moved by n >= 0 minutes to later ones, as far as
// there is room in b.
func (b Bits) OrMoved(o Bits, n int32) {
	i, k := int(n)/wordBits, uint32(n)%wordBits
	for j, w := range o {
		if w == 0 {
			continue
		}
		if i+j < len(b) {
			b[i+j] |= w << k
		}
		if k > 0 && i+j+1 < len(b) {
			b[i+j+1] |= w >> (wordBits - k)
		}
	}
}

// Covers reports whether b has every minute of o. b is at least as long as o.
func (b Bits) Covers(o Bits) bool {
	b = b[:len(o)]
	for i, w := range o {
		if w&^b[i] != 0 {
			return false
		}
	}
	return true
}

// CoversMoved reports whether b has every minute of o moved by n >= 0 to later
// ones.
func (b Bits) CoversMoved(o Bits, n int32) bool {
	b = b[min(int(n)/wordBits, len(b)):]
	k := uint32(n) % wordBits
	for i, w := range o {
		if w != 0 && w&^b.word(i, k) != 0 {
			return false
		}
	}
	return true
}

// KeepMoved keeps what is in o when moved by n >= 0 to later minutes.
func (b Bits) KeepMoved(o Bits, n int32) {
	o = o[min(int(n)/wordBits, len(o)):]
	k := uint32(n) % wordBits
	for i, w := range b {
		if w != 0 {
			b[i] = w & o.word(i, k)
		}
	}
}

// word returns the 64 bits from bit k of word i on.
func (b Bits) word(i int, k uint32) uint64 {
	if i+1 < len(b) {
		return b[i]>>(k&63) | b[i+1]<<1<<(^k&63)
	}
	if i < len(b) {
		return b[i] >> (k & 63)
	}
	return 0
}

// Least turns the sets at least[0], at least[1], … of minutes that some sets
// share once or more, twice or more, … into those that count one as well.
func Least(least []Bits, one Bits) {
	for k := len(least) - 1; k >= 0; k-- {
		for i, w := range one {
			if k > 0 {
				w &= least[k-1][i]
			}
			least[k][i] |= w
		}
	}
}

// AppendBits appends the minutes of b, base added, to dst, whose last span must
// not end after base.
func AppendBits(dst List, b Bits, base int32) List {
	for s, ok := b.run(0); ok; s, ok = b.run(s.To) {
		dst = add(dst, 0, Span{s.From + base, s.To + base})
	}
	return dst
}

package packing

import "math/bits"

// minuteSet is a set of minutes of one window, a bit each. Minutes outside the
// window are not in it.
type minuteSet []uint64

// add puts from..to-1 into s, cut to the window.
func (s minuteSet) add(from, to int32) {
	s.each(from, to, func(i int, mask uint64) { s[i] |= mask })
}

// drop takes from..to-1 out of s, cut to the window.
func (s minuteSet) drop(from, to int32) {
	s.each(from, to, func(i int, mask uint64) { s[i] &^= mask })
}

// each calls f with the words that hold from..to-1 and which of their bits.
func (s minuteSet) each(from, to int32, f func(i int, mask uint64)) {
	from, to = max(from, 0), min(to, int32(len(s))*64)
	if from >= to {
		return
	}
	first, last := int(from>>6), int((to-1)>>6)
	head, tail := ^uint64(0)<<(from&63), ^uint64(0)>>(63-(to-1)&63)
	if first == last {
		f(first, head&tail)
		return
	}
	f(first, head)
	for i := first + 1; i < last; i++ {
		f(i, ^uint64(0))
	}
	f(last, tail)
}

// keep leaves only from..to-1 in s.
func (s minuteSet) keep(from, to int32) {
	s.drop(0, from)
	s.drop(to, int32(len(s))*64)
}

// holds reports whether all of from..to-1 is in s.
func (s minuteSet) holds(from, to int32) bool {
	if from < 0 || to > int32(len(s))*64 {
		return false
	}
	all := true
	s.each(from, to, func(i int, mask uint64) { all = all && s[i]&mask == mask })
	return all
}

func (s minuteSet) has(m int32) bool {
	return m >= 0 && m < int32(len(s))*64 && s[m>>6]&(1<<(m&63)) != 0
}

func (s minuteSet) empty() bool {
	for _, w := range s {
		if w != 0 {
			return false
		}
	}
	return true
}

// next returns the first minute of s from m on, -1 when there is none.
func (s minuteSet) next(m int32) int32 {
	m = max(m, 0)
	for i := int(m >> 6); i < len(s); i++ {
		w := s[i]
		if i == int(m>>6) {
			w &= ^uint64(0) << (m & 63)
		}
		if w != 0 {
			return int32(i<<6 + bits.TrailingZeros64(w))
		}
	}
	return -1
}

// last returns the last minute of s up to m, -1 when there is none.
func (s minuteSet) last(m int32) int32 {
	m = min(m, int32(len(s))*64-1)
	if m < 0 {
		return -1
	}
	for i := int(m >> 6); i >= 0; i-- {
		w := s[i]
		if i == int(m>>6) {
			w &= ^uint64(0) >> (63 - m&63)
		}
		if w != 0 {
			return int32(i<<6 + 63 - bits.LeadingZeros64(w))
		}
	}
	return -1
}

func (s minuteSet) count() int {
	n := 0
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

// nth returns the n-th minute of s, counted from 0; s has more than n.
func (s minuteSet) nth(n int) int32 {
	for i, w := range s {
		if c := bits.OnesCount64(w); n >= c {
			n -= c
			continue
		}
		for ; n > 0; n-- {
			w &= w - 1
		}
		return int32(i<<6 + bits.TrailingZeros64(w))
	}
	return -1
}

func (s minuteSet) and(o minuteSet) {
	for i := range s {
		s[i] &= o[i]
	}
}

func (s minuteSet) or(o minuteSet) {
	for i := range s {
		s[i] |= o[i]
	}
}

// word returns bits i*64+by .. of s.
func (s minuteSet) word(i int, by int32) uint64 {
	i += int(by >> 6)
	if i >= len(s) {
		return 0
	}
	w := s[i] >> (by & 63)
	if r := by & 63; r != 0 && i+1 < len(s) {
		w |= s[i+1] << (64 - r)
	}
	return w
}

// earlier moves every minute of s to by minutes before, by >= 0.
func (s minuteSet) earlier(by int32) {
	for i := range s {
		s[i] = s.word(i, by)
	}
}

// erode leaves the minutes from which n minutes on end are in s, n >= 1.
func (s minuteSet) erode(n int32) {
	n = min(n, int32(len(s))*64+1)
	for have := int32(1); have < n; {
		step := min(have, n-have)
		for i := range s {
			s[i] &= s.word(i, step)
		}
		have += step
	}
}

// reach turns s, a set of goals, into the minutes from which a goal is reached
// after a wait of lo to hi minutes.
func (s minuteSet) reach(lo, hi int32) {
	n := min(hi-lo, int32(len(s))*64) + 1
	for have := int32(1); have < n; {
		step := min(have, n-have)
		for i := range s {
			s[i] |= s.word(i, step)
		}
		have += step
	}
	s.earlier(min(lo, int32(len(s))*64))
}

// reachHeld is reach for waits of which every minute has to be in free. run and
// all are scratch of the same size.
func (s minuteSet) reachHeld(free, run, all minuteSet, lo, hi int32) {
	n := min(hi-lo, int32(len(s))*64) + 1
	copy(run, free) // the minutes from which have minutes are free
	for have := int32(1); have < n; {
		step := min(have, n-have)
		if step < have {
			copy(run, free)
			run.erode(step)
		}
		for i := range s {
			s[i] |= s.word(i, step) & run[i]
		}
		for i := range run {
			run[i] &= run.word(i, step)
		}
		have += step
	}
	if lo > 0 {
		copy(all, free)
		all.erode(lo)
		s.earlier(min(lo, int32(len(s))*64))
		s.and(all)
	}
}

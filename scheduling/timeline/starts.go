package timeline

// Starts appends the minutes s at which a use of n minutes may start, that is
// [s, s+n) lies in one span of free. n >= 1.
func Starts(dst, free List, n int32) List {
	for _, s := range free {
		if s.To-s.From >= n {
			dst = append(dst, Span{s.From, s.To - n + 1})
		}
	}
	return dst
}

// IntersectStarts appends a ∩ Starts(free, n) without building the latter.
func IntersectStarts(dst, a, free List, n int32) List {
	n--
	j := 0
	for _, s := range a {
		for j < len(free) && free[j].To-n <= s.From {
			j++
		}
		for k := j; k < len(free) && free[k].From < s.To; k++ {
			from, to := max(s.From, free[k].From), min(s.To, free[k].To-n)
			if from < to {
				dst = append(dst, Span{from, to})
			}
		}
	}
	return dst
}

// SubtractStarts appends a without Starts(free, n), not building the latter.
func SubtractStarts(dst, a, free List, n int32) List {
	n--
	j := 0
	for _, s := range a {
		for j < len(free) && free[j].To-n <= s.From {
			j++
		}
		for k := j; k < len(free) && free[k].From < s.To; k++ {
			end := free[k].To - n
			if end <= free[k].From {
				continue
			}
			if s.From < free[k].From {
				dst = append(dst, Span{s.From, free[k].From})
			}
			s.From = max(s.From, end)
		}
		if s.From < s.To {
			dst = append(dst, s)
		}
	}
	return dst
}

// Reach appends the minutes from which a minute of goal is reached after lo to
// hi minutes, both included: m with goal ∩ [m+lo, m+hi] not empty.
func Reach(dst, goal List, lo, hi int32) List {
	base := len(dst)
	for _, s := range goal {
		dst = add(dst, base, Span{s.From - hi, s.To - lo})
	}
	return dst
}

// ReachHeld is Reach for somebody who needs all of the minutes in between: it
// appends the m for which some wait from lo to hi ends in goal while
// [m, m+wait) lies in free. 0 <= lo <= hi. A wait of nothing needs nothing.
func ReachHeld(dst, goal, free List, lo, hi int32) List {
	base := len(dst)
	if lo == 0 {
		dst = append(dst, goal...)
	}
	for _, f := range free {
		// Waiting from inside f may last until its very end.
		for _, s := range goal.Around(Span{f.From + lo, f.To + 1}) {
			first, last := max(s.From, f.From+lo), min(s.To-1, f.To)
			dst = append(dst, Span{max(first-hi, f.From), min(last-lo, f.To-1) + 1})
		}
	}
	tail := Normalize(dst[base:])
	return dst[:base+len(tail)]
}

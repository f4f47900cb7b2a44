package ranking

import (
	"slices"

	"chairblock/scheduling/openings"
)

// minute and span are the units of the whole package.
type (
	minute = openings.Minute
	span   = openings.Span
)

// runs are the free minutes of a unit: spans that are not empty, sorted and do
// not touch.
type runs []span

// next returns the first minute from t on at which a use of d minutes fits.
func (l runs) next(t, d minute) (minute, bool) {
	for i := range l {
		if from := max(l[i].From, t); from+d <= l[i].To {
			return from, true
		}
	}
	return 0, false
}

// holds reports whether [from, to) is free.
func (l runs) holds(from, to minute) bool {
	for i := range l {
		if l[i].To > from {
			return l[i].From <= from && to <= l[i].To
		}
	}
	return false
}

// run returns the span that holds m.
func (l runs) run(m minute) (span, bool) {
	for i := range l {
		if l[i].To > m {
			return l[i], l[i].From <= m
		}
	}
	return span{}, false
}

// around returns the part of l with a minute in w, not cut.
func (l runs) around(w span) runs {
	from, _ := slices.BinarySearchFunc(l, w.From, func(s span, m minute) int {
		if s.To <= m {
			return -1
		}
		return 1
	})
	l = l[from:]
	to, _ := slices.BinarySearchFunc(l, w.To, func(s span, m minute) int {
		if s.From < m {
			return -1
		}
		return 1
	})
	return l[:to]
}

// appendCut appends the minutes of l inside w.
func appendCut(dst, l runs, w span) runs {
	for _, s := range l.around(w) {
		dst = append(dst, span{From: max(s.From, w.From), To: min(s.To, w.To)})
	}
	return dst
}

// cut takes [from, to) out of l, in place.
func (l runs) cut(from, to minute) runs {
	i := 0
	for i < len(l) && l[i].To <= from {
		i++
	}
	j := i
	for j < len(l) && l[j].From < to {
		j++
	}
	if i == j {
		return l
	}
	left, right := span{From: l[i].From, To: from}, span{From: to, To: l[j-1].To}
	k := i
	if left.From < left.To {
		l[k] = left
		k++
	}
	if right.From >= right.To {
		return append(l[:k], l[j:]...)
	}
	if k < j {
		l[k] = right
		return append(l[:k+1], l[j:]...)
	}
	l = append(l, span{})
	copy(l[j+1:], l[j:])
	l[j] = right
	return l
}

// normalize sorts l in place and joins what overlaps or touches.
func normalize(l runs) runs {
	byFrom := func(a, b span) int { return int(a.From - b.From) }
	if !slices.IsSortedFunc(l, byFrom) {
		slices.SortFunc(l, byFrom)
	}
	out := l[:0]
	for _, s := range l {
		switch n := len(out); {
		case s.From >= s.To:
		case n > 0 && s.From <= out[n-1].To:
			out[n-1].To = max(out[n-1].To, s.To)
		default:
			out = append(out, s)
		}
	}
	return out
}

// appendWithout appends the minutes of l that are in no span of busy, which is
// sorted by From but may overlap.
func appendWithout(dst, l runs, busy []span) runs {
	j := 0
	for _, s := range l {
		for j < len(busy) && busy[j].To <= s.From {
			j++
		}
		for k := j; k < len(busy) && busy[k].From < s.To; k++ {
			if s.From < busy[k].From {
				dst = append(dst, span{From: s.From, To: busy[k].From})
			}
			s.From = max(s.From, busy[k].To)
		}
		if s.From < s.To {
			dst = append(dst, s)
		}
	}
	return dst
}

// touches reports whether l has a minute in [from, to).
func (l runs) touches(from, to minute) bool {
	for i := range l {
		if l[i].To > from {
			return l[i].From < to
		}
	}
	return false
}

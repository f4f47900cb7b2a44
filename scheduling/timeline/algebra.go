package timeline

import "slices"

// Intersect appends the minutes of both a and b.
func Intersect(dst, a, b List) List { return IntersectStarts(dst, a, b, 1) }

// Subtract appends the minutes of a that are not in b.
func Subtract(dst, a, b List) List { return SubtractStarts(dst, a, b, 1) }

// Clip appends the minutes of a inside w.
func Clip(dst, a List, w Span) List {
	for _, s := range a.Around(w) {
		if from, to := max(s.From, w.From), min(s.To, w.To); from < to {
			dst = append(dst, Span{from, to})
		}
	}
	return dst
}

// Shift appends a moved by n minutes, to later ones when n is positive.
func Shift(dst, a List, n int32) List {
	for _, s := range a {
		dst = append(dst, Span{s.From + n, s.To + n})
	}
	return dst
}

// Counter finds the minutes that enough lists share. The zero value is usable;
// it keeps its memory between uses.
type Counter struct{ edges []edge }

type edge struct {
	at   int32
	step int32 // +1 where a span begins, -1 where it ends
}

// Add counts every minute of l once more.
func (c *Counter) Add(l List) {
	for _, s := range l {
		c.edges = append(c.edges, edge{s.From, 1}, edge{s.To, -1})
	}
}

// AtLeast appends the minutes that were added n times or more, n >= 1, and
// empties the counter.
func (c *Counter) AtLeast(dst List, n int) List {
	slices.SortFunc(c.edges, func(a, b edge) int { return int(a.at) - int(b.at) })
	base, count, from := len(dst), int32(0), int32(0)
	for i, e := range c.edges {
		before := count
		count += e.step
		if i+1 < len(c.edges) && c.edges[i+1].at == e.at {
			// The count between two edges of one minute means nothing.
			c.edges[i+1].step += e.step
			count = before
			continue
		}
		switch {
		case before < int32(n) && count >= int32(n):
			from = e.at
		case before >= int32(n) && count < int32(n):
			dst = add(dst, base, Span{from, e.at})
		}
	}
	c.edges = c.edges[:0]
	return dst
}

// Package timeline is the algebra of sorted lists of minutes: when a unit is
// free, at which minutes a use of some length may start, and from which minutes
// another set of minutes is reached after a wait.
//
// Every function that returns a List appends to dst and returns the extended
// slice, so that a caller can reuse memory; dst must not share memory with an
// argument. Arguments must be proper lists, except for Normalize, and results
// are proper lists when dst was empty. Minutes keep well inside ±2³⁰, so that
// no sum overflows.
//
// The package knows no clock, no people and no stations.
package timeline

import (
	"slices"
	"sort"
)

// Span is the half-open interval [From, To) of minutes.
type Span struct{ From, To int32 }

// List is a set of minutes as spans. It is proper when its spans are not empty,
// sorted and do not touch each other. Nil is the empty set.
type List []Span

// Normalize sorts l in place, drops empty spans and merges those that overlap
// or touch. The result shares the memory of l.
func Normalize(l List) List {
	if !slices.IsSortedFunc(l, byFrom) {
		slices.SortFunc(l, byFrom)
	}
	out := l[:0]
	for _, s := range l {
		out = add(out, 0, s)
	}
	return out
}

func byFrom(a, b Span) int { return int(a.From) - int(b.From) }

// add appends s to l or merges it with the last span of l[base:]. Spans must
// come in the order of their starts.
func add(l List, base int, s Span) List {
	if s.From >= s.To {
		return l
	}
	if n := len(l); n > base && l[n-1].To >= s.From {
		l[n-1].To = max(l[n-1].To, s.To)
		return l
	}
	return append(l, s)
}

// Minutes returns how many minutes l holds.
func (l List) Minutes() int {
	n := 0
	for _, s := range l {
		n += int(s.To - s.From)
	}
	return n
}

// Next returns the first minute of l that is not before m.
func (l List) Next(m int32) (int32, bool) {
	for _, s := range l.Since(m) {
		return max(s.From, m), true
	}
	return 0, false
}

// Has reports whether m is in l.
func (l List) Has(m int32) bool {
	at, ok := l.Next(m)
	return ok && at == m
}

// Run returns the span of l that holds m.
func (l List) Run(m int32) (Span, bool) {
	for _, s := range l.Since(m) {
		return s, s.From <= m
	}
	return Span{}, false
}

// Since returns the tail of l that begins with the first span ending after m.
func (l List) Since(m int32) List {
	return l[sort.Search(len(l), func(i int) bool { return l[i].To > m }):]
}

// Around returns the part of l whose spans have a minute in common with w. The
// spans are not cut.
func (l List) Around(w Span) List {
	l = l.Since(w.From)
	return l[:sort.Search(len(l), func(i int) bool { return l[i].From >= w.To })]
}

// Covers reports whether every minute of b is in l.
func (l List) Covers(b List) bool {
	i := 0
	for _, s := range b {
		for i < len(l) && l[i].To < s.To {
			i++
		}
		if i == len(l) || l[i].From > s.From {
			return false
		}
	}
	return true
}

package packing

import (
	"cmp"
	"slices"

	"chairblock/scheduling/openings"
)

// variant is the free time of one unit for visits that clear it for clear
// minutes afterwards.
type variant struct {
	unit  int32
	clear int32
	runs  []run
}

// run is a stretch of free time.
type run struct{ from, to int32 }

// variant returns the index of the free time of unit u before clear minutes of
// clearing.
func (m *model) variant(u, clear int32) int32 {
	key := [2]int32{u, clear}
	if i, ok := m.varOf[key]; ok {
		return i
	}
	i := int32(len(m.vars))
	m.varOf[key] = i
	m.vars = append(m.vars, variant{unit: u, clear: clear, runs: freeRuns(&m.p.Shop, u, clear)})
	return i
}

// freeRuns returns when unit u is free for a visit that clears it for clear
// minutes afterwards.
func freeRuns(shop *openings.Shop, u, clear int32) []run {
	unit := &shop.Units[u]
	var busy []run
	for _, s := range unit.Breaks {
		busy = append(busy, run{int32(s.From), int32(s.To)})
	}
	for _, b := range unit.Bookings {
		busy = append(busy, run{int32(b.From) - clear, int32(b.To + b.Clear)})
	}
	busy = joined(busy)
	var out []run
	next := 0
	for _, w := range merged(unit.Open, shop.Minutes) {
		for next < len(busy) && busy[next].to <= w.from {
			next++
		}
		at := w.from
		for _, b := range busy[next:] {
			if b.from >= w.to {
				break
			}
			if b.from > at {
				out = append(out, run{at, b.from})
			}
			at = b.to
		}
		if at < w.to {
			out = append(out, run{at, w.to})
		}
	}
	return out
}

// inWindows calls f with every piece of runs that lies in a window of m.
func (m *model) inWindows(runs []run, f func(w window, piece run)) {
	first := 0
	for _, r := range runs {
		for first < len(m.windows) && m.windows[first].to <= r.from {
			first++
		}
		for _, w := range m.windows[first:] {
			if w.from >= r.to {
				break
			}
			f(w, run{max(r.from, w.from), min(r.to, w.to)})
		}
	}
}

func byFrom(a, b run) int { return cmp.Compare(a.from, b.from) }

// merged returns spans inside 0..minutes, sorted, with touching ones joined.
func merged(spans []openings.Span, minutes openings.Minute) []run {
	var all []run
	for _, s := range spans {
		if r := (run{int32(max(s.From, 0)), int32(min(s.To, minutes))}); r.from < r.to {
			all = append(all, r)
		}
	}
	return joined(all)
}

// joined sorts runs in place and joins those that touch.
func joined(runs []run) []run {
	slices.SortFunc(runs, byFrom)
	out := runs[:0]
	for _, r := range runs {
		if n := len(out); n > 0 && out[n-1].to >= r.from {
			out[n-1].to = max(out[n-1].to, r.to)
			continue
		}
		out = append(out, r)
	}
	return out
}

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
	for i := range m.vars {
		if m.vars[i].unit == u && m.vars[i].clear == clear {
			return int32(i)
		}
	}
	m.vars = append(m.vars, variant{unit: u, clear: clear, runs: freeRuns(&m.p.Shop, u, clear)})
	return int32(len(m.vars) - 1)
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
	slices.SortFunc(busy, byFrom)
	var out []run
	for _, w := range merged(unit.Open, shop.Minutes) {
		at := w.from
		for _, b := range busy {
			if b.to <= at || b.from >= w.to {
				continue
			}
			if b.from > at {
				out = append(out, run{at, b.from})
			}
			at = max(at, b.to)
		}
		if at < w.to {
			out = append(out, run{at, w.to})
		}
	}
	return out
}

func byFrom(a, b run) int { return cmp.Compare(a.from, b.from) }

// merged returns spans inside 0..minutes, sorted, with touching ones joined.
func merged(spans []openings.Span, minutes openings.Minute) []run {
	var all, out []run
	for _, s := range spans {
		if r := (run{int32(max(s.From, 0)), int32(min(s.To, minutes))}); r.from < r.to {
			all = append(all, r)
		}
	}
	slices.SortFunc(all, byFrom)
	for _, r := range all {
		if n := len(out); n > 0 && out[n-1].to >= r.from {
			out[n-1].to = max(out[n-1].to, r.to)
			continue
		}
		out = append(out, r)
	}
	return out
}

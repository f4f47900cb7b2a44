package ranking

import (
	"slices"

	"chairblock/scheduling/openings"
)

// shopFree is the free time of a whole shop for each layer: a way of clearing
// that some visit asks for.
type shopFree struct {
	layers [][]minute // by layer and unit
	lists  []free     // by layer; the premises come after the last unit
}

// layerOf returns the layer for clear, a new one if need be.
func (s *shopFree) layerOf(clear []minute) int {
	for i, l := range s.layers {
		if slices.Equal(l, clear) {
			return i
		}
	}
	s.layers = append(s.layers, clear)
	return len(s.layers) - 1
}

// build works out the free time of shop for every layer.
func (s *shopFree) build(shop *openings.Shop) {
	s.lists = make([]free, len(s.layers))
	for l := range s.lists {
		s.lists[l] = make(free, len(shop.Units)+1)
	}
	premises := inHorizon(shop.Premises, shop.Minutes)
	var busy []span
	for i := range shop.Units {
		u := &shop.Units[i]
		usable := inHorizon(u.Open, shop.Minutes)
		if len(u.Breaks) > 0 {
			usable = appendWithout(nil, usable, normalize(slices.Clone(u.Breaks)))
		}
		for l := range s.layers {
			if l > 0 && s.layers[l][i] == s.layers[l-1][i] {
				s.lists[l][i] = s.lists[l-1][i]
				continue
			}
			busy = busy[:0]
			for _, b := range u.Bookings {
				busy = append(busy, span{From: b.From - s.layers[l][i], To: b.To + b.Clear})
			}
			busy = normalize(busy)
			s.lists[l][i] = appendWithout(make(runs, 0, len(usable)+len(busy)), usable, busy)
		}
	}
	for l := range s.lists {
		s.lists[l][len(shop.Units)] = premises
	}
}

func inHorizon(spans []span, minutes minute) runs {
	l := make(runs, 0, len(spans))
	for _, s := range spans {
		l = append(l, span{From: max(s.From, 0), To: min(s.To, minutes)})
	}
	return normalize(l)
}

// bench is the free time of one day for all layers while visits are put on it
// and taken off again.
type bench struct {
	layers [][]minute
	units  int // with the premises
	lists  []runs
	own    []runs // memory for lists that were changed
	mine   []bool // which of lists are in own
}

func newBench(layers [][]minute, units int) *bench {
	n := len(layers) * units
	return &bench{layers: layers, units: units, lists: make([]runs, n), own: make([]runs, n), mine: make([]bool, n)}
}

// reset puts the bench back to base, which it will not change.
func (b *bench) reset(base []runs) {
	copy(b.lists, base)
	clear(b.mine)
}

// layer returns the free time for a layer.
func (b *bench) layer(l int) free { return b.lists[l*b.units : (l+1)*b.units] }

// block takes the unit for u, and clearing minutes after it. Visits of each
// layer keep their own clearing before it.
func (b *bench) block(u use, clearing minute) {
	for l := range b.layers {
		k := l*b.units + int(u.unit)
		from, to := u.From-b.layers[l][u.unit], u.To+clearing
		if !b.lists[k].touches(from, to) {
			continue
		}
		if !b.mine[k] {
			b.own[k] = append(b.own[k][:0], b.lists[k]...)
			b.mine[k] = true
		}
		b.own[k] = b.own[k].cut(from, to)
		b.lists[k] = b.own[k]
	}
}

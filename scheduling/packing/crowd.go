package packing

import "slices"

// crowd finds units that are asked for more than they can do: uses that must
// all lie between two minutes take longer than there is in between.
type crowd struct {
	b    *bounds
	list []task // scratch
	seen []int  // by visit: the last turn that met it
	turn int
}

// task is a block as crowd sees it: it lies between from and to.
type task struct{ from, to, least, clear, visit int32 }

func newCrowd(b *bounds) *crowd { return &crowd{b: b, seen: make([]int, len(b.m.visits))} }

// fits reports whether no unit is asked for more than it can do. Two uses are
// looked at elsewhere.
func (c *crowd) fits(o *orders) bool {
	for u, blocks := range o.atUnit {
		if len(blocks) > 2 && !c.fitsOn(o, u) {
			return false
		}
	}
	return true
}

func (c *crowd) fitsOn(o *orders, u int) bool {
	c.list = c.list[:0]
	for _, x := range o.atUnit[u] {
		b := &o.m.blocks[x]
		c.list = append(c.list, task{o.lo[b.a] + b.offA, o.hi[b.b] + b.offB, b.least, o.clear(x), int32(b.visit)})
	}
	slices.SortFunc(c.list, func(a, b task) int { return int(a.to - b.to) })
	for _, first := range c.list {
		c.turn++
		sum := int32(0)
		for _, t := range c.list {
			if t.from < first.from {
				continue
			}
			// Between two uses by one visit the unit need not be cleared.
			if sum += t.least; c.seen[t.visit] != c.turn {
				c.seen[t.visit] = c.turn
				sum += t.clear
			}
			if sum > t.to-first.from+c.b.over[u] || int64(sum) > c.b.minutesOf(int32(u), first.from, t.to) {
				return false
			}
		}
	}
	return true
}

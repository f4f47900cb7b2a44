package packing

// calendar is the free time of all units beside the visits placed so far.
type calendar struct {
	m      *model
	base   []minuteSet // by variant: without any placed visit
	free   []minuteSet // by variant
	uses   [][]use     // by unit
	ofUnit [][]int32   // variants by unit
}

// use is time of a unit that a placed visit has.
type use struct {
	visit           int
	from, to, clear int32
}

func newCalendar(m *model) *calendar {
	c := &calendar{m: m, uses: make([][]use, len(m.p.Shop.Units)), ofUnit: make([][]int32, len(m.p.Shop.Units))}
	for i := range m.vars {
		base := make(minuteSet, m.words)
		m.inWindows(m.vars[i].runs, func(w window, piece run) {
			c.in(base, w).add(piece.from-w.from, piece.to-w.from)
		})
		c.base = append(c.base, base)
		c.free = append(c.free, append(minuteSet(nil), base...))
		u := m.vars[i].unit
		c.ofUnit[u] = append(c.ofUnit[u], int32(i))
	}
	return c
}

// in is the part of s that belongs to w.
func (c *calendar) in(s minuteSet, w window) minuteSet { return s[w.word : w.word+w.n] }

// place takes the time that p uses.
func (c *calendar) place(p *placement) {
	c.m.uses(p, func(unit, from, to, clear, _ int32) {
		u := use{p.visit, from, to, clear}
		c.uses[unit] = append(c.uses[unit], u)
		for _, v := range c.ofUnit[unit] {
			c.take(v, u)
		}
	})
}

// take drops u from a variant, with the clearing of the visit that would come
// before it.
func (c *calendar) take(v int32, u use) {
	from, to := u.from-c.m.vars[v].clear, u.to+u.clear
	for _, w := range c.m.windows {
		if from < w.to && to > w.from {
			c.in(c.free[v], w).drop(from-w.from, to-w.from)
		}
	}
}

// remove gives the time that p uses back.
func (c *calendar) remove(p *placement) {
	c.m.uses(p, func(unit, _, _, _, _ int32) {
		left := c.uses[unit][:0]
		for _, u := range c.uses[unit] {
			if u.visit != p.visit {
				left = append(left, u)
			}
		}
		if len(left) == len(c.uses[unit]) {
			return // an earlier use of the same unit has done it
		}
		c.uses[unit] = left
		for _, v := range c.ofUnit[unit] {
			copy(c.free[v], c.base[v])
			for _, u := range left {
				c.take(v, u)
			}
		}
	})
}

// fits reports whether everything that p uses is free. It does not look at the
// limits of the visit.
func (c *calendar) fits(p *placement) bool {
	free := true
	c.m.uses(p, func(_, from, to, _, variant int32) {
		if !free {
			return
		}
		free = false
		for _, w := range c.m.windows {
			if w.from <= from && to <= w.to {
				free = c.in(c.free[variant], w).holds(from-w.from, to-w.from)
			}
		}
	})
	return free
}

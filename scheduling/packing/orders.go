package packing

import "slices"

// orders is a set of visits whose times are still open: for every phase the
// earliest and the latest start that the rules known so far allow, for every
// job the units it can still get, and which of two uses of a unit comes first.
//
// Every rule says that something cannot start before something else allows it,
// so that all earliest starts together are the least times that keep all rules
// so far. When no two uses of one unit overlap at those times and every job has
// its unit, they are a packing, the one in which everything ends as early as
// its orders and units permit.
type orders struct {
	m       *model
	over    func() bool // the time is over; nil for never
	visitOf []int32
	byPoint [][]int32 // blocks that begin or end at the point
	chained [][]arc   // rules that always hold, by point
	back    [][]arc
	opening []run
	alike   []int32 // by unit: the first unit that nothing tells it from

	on     []bool // by visit: taking part
	stands []stand
	lo, hi []int32
	unit   []int32  // by job: candidate, -1 while open
	dom    []uint64 // by job: candidates left, a bit each
	arcs   []link   // orders of blocks
	out    []int32  // by point: last of arcs that leaves it
	in     []int32
	pair   minuteSet // by block and block: the order is settled
	atUnit [][]int32 // blocks of the jobs that have the unit
	clears []int32   // by block: clearing after it, once its job has a unit
	queue  []int32
	queued []bool
	dirty  []bool // by unit
	trail  []change
}

// stand says what became of the place that a visit has today.
type stand int32

const (
	standOpen  stand = iota // not decided
	standKeeps              // the visit stays
	standMoves              // the visit takes another place, or has none today
)

// link is an arc that a decision has added, with the arcs before it at its
// ends.
type link struct {
	from, to, by int32
	out, in      int32
}

// change is one entry of the trail by which decisions are undone.
type change struct {
	kind changeKind
	i    int32
	old  int64
}

type changeKind uint8

const (
	changeLo changeKind = iota
	changeHi
	changeUnit
	changeDom
	changeArc
	changePair
	changeList
	changeStand
)

func newOrders(m *model) *orders {
	n := int(m.start[len(m.visits)])
	o := &orders{m: m, visitOf: make([]int32, n), byPoint: make([][]int32, n), chained: make([][]arc, n), back: make([][]arc, n),
		on: make([]bool, len(m.visits)), stands: make([]stand, len(m.visits)), lo: make([]int32, n), hi: make([]int32, n),
		unit: make([]int32, len(m.jobs)), dom: make([]uint64, len(m.jobs)), out: make([]int32, n), in: make([]int32, n),
		clears: make([]int32, len(m.blocks)),
		pair:   make(minuteSet, (len(m.blocks)*len(m.blocks)+63)/64),
		atUnit: make([][]int32, len(m.p.Shop.Units)), queued: make([]bool, n), dirty: make([]bool, len(m.p.Shop.Units))}
	for i := range m.visits {
		v, base := &m.visits[i], m.start[i]
		for k := range v.phases {
			o.visitOf[base+int32(k)] = int32(i)
			if k < len(v.min) {
				p, d := base+int32(k), v.phases[k]
				o.rule(p, p+1, d+v.min[k])
				o.rule(p+1, p, -d-v.max[k])
			}
		}
	}
	for _, l := range m.links {
		from, off := m.start[l.a], int32(0)
		if l.end {
			from = m.start[l.a+1] - 1
			off = m.visits[l.a].phases[len(m.visits[l.a].phases)-1]
		}
		o.rule(from, m.start[l.b], off+l.min)
		o.rule(m.start[l.b], from, -off-l.max)
	}
	for k, b := range m.blocks {
		o.byPoint[b.a] = append(o.byPoint[b.a], int32(k))
		if b.b != b.a {
			o.byPoint[b.b] = append(o.byPoint[b.b], int32(k))
		}
	}
	for _, w := range m.windows {
		o.opening = append(o.opening, run{w.from, w.to})
	}
	o.likes()
	return o
}

func (o *orders) rule(from, to, by int32) {
	o.chained[from] = append(o.chained[from], arc{to, by})
	o.back[to] = append(o.back[to], arc{from, by})
}

// likes finds units that nothing tells apart: same jobs, same free time, and
// not in use today.
func (o *orders) likes() {
	m := o.m
	runs := make([][]int32, len(m.p.Shop.Units))
	for i := range m.vars {
		runs[m.vars[i].unit] = append(runs[m.vars[i].unit], int32(i))
	}
	today := make([]bool, len(runs))
	for i := range m.visits {
		if s := m.visits[i].stay; s != nil {
			for k, c := range s.unit {
				if c >= 0 {
					today[m.jobs[m.visits[i].job+k].cand[c]] = true
				}
			}
		}
	}
	o.alike = make([]int32, len(runs))
	for u := range runs {
		o.alike[u] = int32(u)
		for w := range u {
			if m.classes[w] == m.classes[u] && !today[u] && !today[w] && slices.EqualFunc(runs[w], runs[u], func(a, b int32) bool {
				return m.vars[a].clear == m.vars[b].clear && slices.Equal(m.vars[a].runs, m.vars[b].runs)
			}) {
				o.alike[u] = o.alike[w]
				break
			}
		}
	}
}

// begin makes ready for the visits of which on says so, with nothing decided.
// It reports false when they can never go together.
func (o *orders) begin(on func(i int) bool) bool {
	clear(o.pair)
	o.arcs, o.trail = o.arcs[:0], o.trail[:0]
	for u := range o.atUnit {
		o.atUnit[u], o.dirty[u] = o.atUnit[u][:0], false
	}
	o.rest()
	for p := range o.lo {
		o.lo[p], o.hi[p], o.out[p], o.in[p] = -forever, forever, -1, -1
	}
	for i := range o.m.visits {
		if o.on[i] = on(i); o.on[i] && !o.enter(i) {
			return false
		}
	}
	for i := range o.m.visits {
		v := &o.m.visits[i]
		for j := v.job; o.on[i] && j < v.job+v.jobs; j++ {
			if len(o.m.jobs[j].cand) == 1 && o.unit[j] < 0 && !o.assign(j, 0) {
				return false
			}
		}
	}
	return true
}

// enter takes visit i in with nothing but its own limits, and reports false when
// it can never be carried out.
func (o *orders) enter(i int) bool {
	v, first, last := &o.m.visits[i], o.m.start[i], o.m.start[i+1]-1
	o.stands[i] = standOpen
	if v.stay == nil || o.m.p.Objective == MinMakespan && v.stay.at[0]%v.grid == 0 {
		o.stands[i] = standMoves
	}
	o.lo[first], o.hi[first] = v.from, v.to
	o.hi[last] = min(o.hi[last], v.endBy-v.phases[len(v.phases)-1])
	for p := first; p <= last; p++ {
		o.push(p)
	}
	for j := v.job; j < v.job+v.jobs; j++ {
		n := len(o.m.jobs[j].cand)
		if o.unit[j], o.dom[j] = -1, 1<<n-1; n == 0 {
			return false
		}
	}
	return o.lo[first] <= o.hi[first]
}

// line lets visits that nothing tells apart begin in the order of their
// numbers.
func (o *orders) line() bool {
	for i, on := range o.on {
		t := o.m.visits[i].twin
		for t >= 0 && !o.on[t] {
			t = o.m.visits[t].twin
		}
		if on && t >= 0 && !o.arc(o.m.start[t], o.m.start[i], 0) {
			return false
		}
	}
	return true
}

// rest empties the queue.
func (o *orders) rest() {
	for _, p := range o.queue {
		o.queued[p] = false
	}
	o.queue = o.queue[:0]
}

func (o *orders) push(p int32) {
	if !o.queued[p] {
		o.queued[p] = true
		o.queue = append(o.queue, p)
	}
}

// mark is a point in the history to which undo returns.
func (o *orders) mark() int { return len(o.trail) }

func (o *orders) undo(mark int) {
	o.rest()
	clear(o.dirty)
	for n := len(o.trail) - 1; n >= mark; n-- {
		c := o.trail[n]
		switch c.kind {
		case changeLo:
			o.lo[c.i] = int32(c.old)
		case changeHi:
			o.hi[c.i] = int32(c.old)
		case changeUnit:
			o.unit[c.i] = int32(c.old)
		case changeDom:
			o.dom[c.i] = uint64(c.old)
		case changeArc:
			a := o.arcs[len(o.arcs)-1]
			o.out[a.from], o.in[a.to] = a.out, a.in
			o.arcs = o.arcs[:len(o.arcs)-1]
		case changePair:
			o.pair[c.i>>6] &^= 1 << (c.i & 63)
		case changeList:
			o.atUnit[c.i] = o.atUnit[c.i][:c.old]
		case changeStand:
			o.stands[c.i] = stand(c.old)
		}
	}
	o.trail = o.trail[:mark]
}

func (o *orders) note(kind changeKind, i int32, old int64) {
	o.trail = append(o.trail, change{kind, i, old})
}

func (o *orders) settled(x, y int32) bool { return o.pair.has(x*int32(len(o.m.blocks)) + y) }

// clear is the clearing after block x, whose job has its unit.
func (o *orders) clear(x int32) int32 { return o.clears[x] }

// slack returns how many minutes block y could still start later than right
// after block x with its clearing; it is negative when x cannot come first.
func (o *orders) slack(x, y int32, clear int32) int32 {
	a, b := &o.m.blocks[x], &o.m.blocks[y]
	return o.hi[b.a] + b.offA - o.lo[a.b] - a.offB - clear
}

// endBy lets every visit end by until.
func (o *orders) endBy(until int32) bool {
	for i := range o.on {
		last := o.m.start[i+1] - 1
		if o.on[i] && !o.lower(last, until-o.m.visits[i].phases[last-o.m.start[i]]) {
			return false
		}
	}
	return true
}

// keep leaves visit i where it is today.
func (o *orders) keep(i int) bool {
	v := &o.m.visits[i]
	o.note(changeStand, int32(i), int64(o.stands[i]))
	o.stands[i] = standKeeps
	for k, at := range v.stay.at {
		if p := o.m.start[i] + int32(k); !o.raise(p, at) || !o.lower(p, at) {
			return false
		}
	}
	for k, c := range v.stay.unit {
		if c < 0 || !o.assign(v.job+k, c) {
			return false
		}
	}
	return true
}

// move gives visit i another place than today's.
func (o *orders) move(i int) {
	o.note(changeStand, int32(i), int64(o.stands[i]))
	o.stands[i] = standMoves
	o.push(o.m.start[i])
}

// leastCost is what moving costs at least, given what is decided.
func (o *orders) leastCost() int {
	sum := 0
	for i, on := range o.on {
		v := &o.m.visits[i]
		if !on || v.stay == nil || o.stands[i] == standKeeps {
			continue
		}
		at, p := v.stay.at[0], o.m.start[i]
		by := max(o.lo[p]-at, at-o.hi[p], 0)
		if o.stands[i] == standMoves || by > 0 {
			sum += v.move + v.perMinute*int(by)
		}
	}
	return sum
}

// earliestPlaces writes down the earliest starts as places.
func (o *orders) earliestPlaces() []*placement {
	out := make([]*placement, len(o.on))
	for i, on := range o.on {
		if !on {
			continue
		}
		v := &o.m.visits[i]
		out[i] = &placement{visit: i, at: slices.Clone(o.lo[o.m.start[i]:o.m.start[i+1]]),
			unit: slices.Clone(o.unit[v.job : v.job+v.jobs])}
	}
	return out
}

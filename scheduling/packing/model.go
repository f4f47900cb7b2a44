package packing

import (
	"math"
	"reflect"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// model is a problem in the form that the searches work on: units, visits,
// jobs and blocks by number.
type model struct {
	p       *Problem
	windows []window // opening windows that some request can use, in order
	words   int      // of all windows together
	visits  []visit
	groups  [][]int // visits that links tie together, in the order of placing
	jobs    []job
	blocks  []block
	vars    []variant
	varOf   map[[2]int32]int32 // index into vars by unit and clearing
	classes []int32            // by unit: units of one class are candidates for the same jobs
	links   []tie
	start   []int32 // index of the first point of each visit; the last is the number of all
	// orderly is whether orders of the blocks say all there is to say, so that
	// the search by orders is exact.
	orderly bool
}

// window is an opening window; its minutes are bits from word on.
type window struct {
	from, to int32
	word, n  int
}

// tie is a link between visits a and b.
type tie struct {
	a, b     int
	end      bool // measured from the end of a
	min, max int32
	other    bool // other units in the first roles
}

// forever is later than any minute of a horizon, and small enough to add to.
const forever int32 = math.MaxInt32 / 4

// newModel turns a problem without faults into numbers.
func newModel(p *Problem, snap *openings.Snapshot, plans []*openings.Plan) *model {
	m := &model{p: p, orderly: true, varOf: map[[2]int32]int32{}}
	byID := map[string]int{}
	for i := range p.Requests {
		byID[p.Requests[i].ID] = i
		m.addVisit(&p.Requests[i], snap, plans[i])
	}
	m.start = append(m.start, m.points())
	for _, l := range p.Links {
		t := tie{a: byID[l.A], b: byID[l.B], end: l.From == fromEnd, min: int32(l.Min), max: int32(l.Max), other: l.OtherLead}
		m.links = append(m.links, t)
		for _, v := range []int{t.a, t.b} {
			m.visits[v].links = append(m.visits[v].links, len(m.links)-1)
		}
	}
	m.group()
	m.addWindows()
	m.classify()
	for i := range p.Requests {
		m.addStay(i)
		v := &m.visits[i]
		v.keeps = m.keepable(i)
		v.possible = v.possible || v.keeps // off the grid, perhaps
	}
	m.share()
	m.pair()
	m.orderly = m.orderly && len(m.blocks) <= maxBlocks
	return m
}

// maxBlocks bounds the table of the orders of blocks to a few megabytes. Sixty
// visits of eight phases have fewer (judgement).
const maxBlocks = 4000

// check returns Faults when calendars for m would take too much memory.
func (m *model) check() error {
	var f scheduling.Faults
	if n := m.words * len(m.vars); n > maxWords {
		f.Addf("shop", "fewer opening hours, units or clearings that differ",
			"is open for %d minutes, with %d units and clearings", m.words*64, len(m.vars))
	}
	return f.Err()
}

func (m *model) points() int32 {
	if len(m.visits) == 0 {
		return 0
	}
	last := len(m.visits) - 1
	return m.start[last] + int32(len(m.visits[last].phases))
}

// addWindows finds the opening windows in which requests can lie.
func (m *model) addWindows() {
	for _, w := range merged(m.p.Shop.Premises, m.p.Shop.Minutes) {
		if !slices.ContainsFunc(m.visits, func(v visit) bool { return v.from < w.to && v.endBy > w.from && v.to >= w.from }) {
			continue
		}
		n := int(w.to-w.from+63) / 64
		m.windows = append(m.windows, window{from: w.from, to: w.to, word: m.words, n: n})
		m.words += n
	}
}

// group finds the visits that links tie together. Within a group a visit comes
// after one from whose end it is measured, as far as there is such an order.
func (m *model) group() {
	for i := range m.visits {
		m.visits[i].group = -1
	}
	for i := range m.visits {
		if m.visits[i].group >= 0 {
			continue
		}
		g := len(m.groups)
		m.visits[i].group = g
		members := []int{i}
		for k := 0; k < len(members); k++ {
			for _, l := range m.visits[members[k]].links {
				for _, o := range []int{m.links[l].a, m.links[l].b} {
					if m.visits[o].group < 0 {
						m.visits[o].group = g
						members = append(members, o)
					}
				}
			}
		}
		for range members { // enough for any chain
			for _, l := range m.links {
				ia, ib := slices.Index(members, l.a), slices.Index(members, l.b)
				if l.end && ia > ib && ib >= 0 {
					members = slices.Insert(slices.Delete(members, ia, ia+1), ib, l.a)
				}
			}
		}
		m.groups = append(m.groups, members)
	}
	for _, l := range m.links {
		if l.other {
			m.differ(m.visits[l.a].job, m.visits[l.b].job)
		}
	}
}

// share lets the visits of a group stand or fall together.
func (m *model) share() {
	for _, members := range m.groups {
		must := slices.ContainsFunc(members, func(v int) bool { return m.visits[v].must })
		possible := !slices.ContainsFunc(members, func(v int) bool { return !m.visits[v].possible })
		for _, v := range members {
			m.visits[v].must, m.visits[v].possible = must, possible
		}
	}
}

// pair finds visits that could take each other's place.
func (m *model) pair() {
	for i := range m.visits {
		v, r := &m.visits[i], &m.p.Requests[i]
		v.like, v.twin = i, -1
		for o := i - 1; o >= 0 && v.twin < 0; o-- {
			w, q := &m.visits[o], &m.p.Requests[o]
			if v.stay == nil && w.stay == nil && len(v.links)+len(w.links) == 0 && v.must == w.must &&
				v.from == w.from && v.to == w.to && v.grid == w.grid && v.endBy == w.endBy &&
				slices.Equal(r.LeadOnly, q.LeadOnly) && reflect.DeepEqual(r.Visit, q.Visit) {
				v.like, v.twin = w.like, o
			}
		}
	}
}

// leads reports whether job j is the first role of its visit.
func (m *model) leads(j int) bool {
	v := &m.visits[m.jobs[j].visit]
	return j == v.job && v.roles > 0
}

// classify puts units that are candidates for the same jobs into one class.
func (m *model) classify() {
	sets := make([][]int32, len(m.p.Shop.Units))
	for j := range m.jobs {
		for k, u := range m.jobs[j].cand {
			sets[u] = append(sets[u], int32(j), m.jobs[j].clear[k])
		}
	}
	m.classes = make([]int32, len(sets))
	for u := range sets {
		m.classes[u] = int32(u)
		for o := range u {
			if slices.Equal(sets[o], sets[u]) {
				m.classes[u] = m.classes[o]
				break
			}
		}
	}
}

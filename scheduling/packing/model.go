package packing

import (
	"cmp"
	"math"
	"reflect"
	"slices"

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
	classes []int32 // by unit: units of one class are candidates for the same jobs
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

// visit is a request as the searches see it.
type visit struct {
	phases   []int32 // minutes
	min, max []int32 // waits after each phase but the last
	roles    int     // the first jobs are its roles
	job      int     // index of its first job
	jobs     int
	inPhase  []phaseJobs
	from, to int32 // limits of the start
	grid     int32
	endBy    int32
	least    int32 // stay without any wait that is not due
	value    int
	must     bool
	group    int
	links    []int // indices into model.links
	like     int   // the first visit that differs from it in value at most
	twin     int   // the last one before it, -1 for none
	possible bool  // fits into the shop on its own

	stay            *placement // nil when it has no place yet
	keeps           bool       // could keep it, were it alone
	move, perMinute int
}

// phaseJobs are the jobs of one phase and of the wait after it, as offsets from
// the first job of the visit.
type phaseJobs struct {
	roles, pool, hold []int
	tests             []poolTest
}

// poolTest asks that at least need of units are free for a phase; see Hall's
// theorem. clash is whether a role in use in the phase may hold one of them.
type poolTest struct {
	units []int32 // by unit; vars at the same index
	vars  []int32
	need  int
	clash bool
}

// job is one unit for a visit: a role, or one entry of the pool of a phase.
type job struct {
	visit  int
	name   string // of the role or phase
	cand   []int32
	vars   []int32 // free time of each candidate for this visit
	clear  []int32 // by candidate
	blocks []int   // indices into model.blocks
	other  []int   // jobs that must have another unit
}

// block is one use of a job's unit without a break: from point a plus offA
// minutes to point b plus offB.
type block struct {
	job, visit int
	a, b       int32 // points, which are starts of phases
	offA, offB int32
	least      int32 // minutes
}

// variant is the free time of one unit for visits that clear it for clear
// minutes afterwards.
type variant struct {
	unit  int32
	clear int32
	runs  []run
}

// run is a stretch of free time.
type run struct{ from, to int32 }

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
	m := &model{p: p, orderly: true}
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
	return m
}

func (m *model) points() int32 {
	if len(m.visits) == 0 {
		return 0
	}
	last := len(m.visits) - 1
	return m.start[last] + int32(len(m.visits[last].phases))
}

// addVisit numbers the visit of r.
func (m *model) addVisit(r *Request, snap *openings.Snapshot, plan *openings.Plan) {
	spec := r.narrowed()
	m.start = append(m.start, m.points())
	least, _ := stay(&spec)
	v := visit{roles: len(spec.Roles), job: len(m.jobs), least: int32(least),
		from: max(int32(r.Query.From), 0), to: min(int32(r.Query.To), int32(m.p.Shop.Minutes)), grid: int32(r.Query.Grid),
		endBy: int32(m.p.Shop.Minutes), value: r.Value, must: r.Must, move: r.Move, perMinute: r.PerMinute}
	if r.Query.EndBy != nil {
		v.endBy = min(v.endBy, int32(*r.Query.EndBy))
	}
	for _, ph := range spec.Phases {
		v.phases = append(v.phases, int32(ph.Minutes))
	}
	for _, g := range spec.Gaps {
		v.min, v.max = append(v.min, int32(g.Min)), append(v.max, int32(g.Max))
	}
	if m.p.Objective == MinMakespan {
		v.must = true
	}
	_, v.possible, _ = plan.Soonest(snap, r.Query) // its errors were found before
	m.visits = append(m.visits, v)
	m.addJobs(&spec)
}

// addJobs numbers the jobs of the visit added last.
func (m *model) addJobs(spec *openings.VisitSpec) {
	n := len(m.visits) - 1
	v := &m.visits[n]
	v.inPhase = make([]phaseJobs, len(spec.Phases))
	number := map[string]int{}
	for k, r := range spec.Roles {
		number[r.Name] = k
		j := m.addJob(spec, r.Need, r.Name)
		for o := v.job; o < j; o++ {
			m.differ(o, j)
		}
		m.addBlocks(j, spec, r.Name)
	}
	for i, ph := range spec.Phases {
		at := &v.inPhase[i]
		for _, name := range ph.Roles {
			at.roles = append(at.roles, number[name])
		}
		for _, need := range ph.Pool {
			j := m.addJob(spec, need, ph.Name)
			for _, k := range append(slices.Clone(at.roles), at.pool...) {
				m.differ(v.job+k, j)
			}
			at.pool = append(at.pool, j-v.job)
			p := m.start[n] + int32(i)
			m.addBlock(block{job: j, a: p, b: p, offB: v.phases[i]})
		}
		if i < len(spec.Gaps) && spec.Gaps[i].Max > 0 {
			for _, name := range spec.Gaps[i].Hold {
				at.hold = append(at.hold, number[name])
			}
		}
		at.tests = m.tests(v, at)
	}
	v.jobs = len(m.jobs) - v.job
}

func (m *model) differ(a, b int) {
	m.jobs[a].other = append(m.jobs[a].other, b)
	m.jobs[b].other = append(m.jobs[b].other, a)
}

func (m *model) addBlock(b block) {
	b.visit = m.jobs[b.job].visit
	v, base := &m.visits[b.visit], m.start[b.visit]
	b.least = b.offB - b.offA
	for i := b.a - base; i < b.b-base; i++ {
		b.least += v.phases[i] + v.min[i]
	}
	m.jobs[b.job].blocks = append(m.jobs[b.job].blocks, len(m.blocks))
	m.blocks = append(m.blocks, b)
	// A use that may last no time at all forbids nothing then, which an order
	// of blocks cannot say.
	m.orderly = m.orderly && b.least > 0
}

// addJob numbers a job of the visit added last and looks up who can do it.
func (m *model) addJob(spec *openings.VisitSpec, need openings.Need, name string) int {
	j := job{visit: len(m.visits) - 1, name: name}
	for k, kind := range need.Kinds {
		if slices.Contains(need.Kinds[:k], kind) {
			continue
		}
		for i := range m.p.Shop.Units {
			u := &m.p.Shop.Units[i]
			if u.Kind != kind || !able(u, need) {
				continue
			}
			clear := int32(spec.Clearing(u.Kind, u.Changeover))
			j.cand = append(j.cand, int32(i))
			j.vars = append(j.vars, m.variant(int32(i), clear))
			j.clear = append(j.clear, clear)
		}
	}
	m.orderly = m.orderly && len(j.cand) <= 64
	m.jobs = append(m.jobs, j)
	return len(m.jobs) - 1
}

func able(u *openings.Unit, need openings.Need) bool {
	for _, skill := range need.Skills {
		if !slices.Contains(u.Skills, skill) {
			return false
		}
	}
	return len(need.Only) == 0 || slices.Contains(need.Only, u.ID)
}

// addBlocks cuts the use of a role into blocks: neighbouring phases that use it
// belong together when the wait between them is held or cannot last.
func (m *model) addBlocks(j int, spec *openings.VisitSpec, name string) {
	at := m.start[len(m.visits)-1]
	var b block
	open := false
	begin := func(p, off int32) {
		if !open {
			b, open = block{job: j, a: p, offA: off}, true
		}
	}
	end := func() {
		if open {
			m.addBlock(b)
		}
		open = false
	}
	for i, ph := range spec.Phases {
		p, d := at+int32(i), int32(ph.Minutes)
		if slices.Contains(ph.Roles, name) {
			begin(p, 0)
			b.b, b.offB = p, d
		} else {
			end()
		}
		if i == len(spec.Gaps) {
			break
		}
		g := spec.Gaps[i]
		if g.Max == 0 {
			continue
		}
		if !slices.Contains(g.Hold, name) {
			end()
			continue
		}
		begin(p, d)
		b.b, b.offB = p+1, 0
	}
	end()
}

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

// tests turns the pool of a phase into tests by Hall's theorem: it can be
// filled with different units if and only if every set of its entries has
// enough free candidates. Sets that fall into parts are left out.
func (m *model) tests(v *visit, at *phaseJobs) []poolTest {
	var out []poolTest
	for set := 1; set < 1<<len(at.pool); set++ {
		t := poolTest{}
		rest, joined := set, true
		for rest != 0 && joined {
			joined = false
			for e, k := range at.pool {
				j := &m.jobs[v.job+k]
				if rest&(1<<e) == 0 || t.need > 0 && !overlap(t.units, j.cand) {
					continue
				}
				for c, u := range j.cand {
					if !slices.Contains(t.units, u) {
						t.units, t.vars = append(t.units, u), append(t.vars, j.vars[c])
					}
				}
				t.need++
				rest &^= 1 << e
				joined = true
			}
		}
		if rest != 0 {
			continue
		}
		for _, r := range at.roles {
			t.clash = t.clash || overlap(t.units, m.jobs[v.job+r].cand)
		}
		out = append(out, t)
	}
	return out
}

func overlap(a, b []int32) bool {
	return slices.ContainsFunc(a, func(u int32) bool { return slices.Contains(b, u) })
}

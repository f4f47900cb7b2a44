package packing

import (
	"slices"

	"chairblock/scheduling/openings"
)

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
	return (len(need.Only) == 0 || slices.Contains(need.Only, u.ID)) && !slices.Contains(need.Except, u.ID)
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

package ranking

import (
	"math/bits"
	"slices"

	"chairblock/scheduling/openings"
)

// nobody is the unit of a role that is not bound.
const nobody int32 = -1

// visit is a visit made ready for placing. Units are numbered by their place in
// the shop; the number after the last unit stands for the premises.
type visit struct {
	spec    openings.VisitSpec
	clear   []minute // by unit: what the visit keeps free after its own use
	layer   int      // free time for that clearing
	phases  []phase
	gaps    []gap
	poolAt  []int     // where the pool of a phase begins in placed.pool
	hard    []int     // roles whose unit is bound before a placement is sought
	seats   []seat    // what the client keeps from start to end: whoever has room
	ways    [][]int32 // units of all roles, nobody for seats; in order of preference
	longest minute    // the longest that it can last
	least   minute    // the least that it can last
}

// phase is a step of a visit.
type phase struct {
	minutes minute
	roles   []int // hard roles in use
	pool    []entry
	tests   []test
}

// entry is one unit chosen for a phase only. groups are the candidates of one
// kind each, in order of preference.
type entry struct{ groups [][]int32 }

// test asks that need of units are free: by Hall's theorem a pool can be filled
// if every set of entries that share candidates finds as many units.
type test struct {
	units []int32
	need  int
}

// gap is the wait after a phase; held are the hard roles kept meanwhile.
type gap struct {
	min, max minute
	held     []int
}

// seat is a role that is in use from start to end and whose candidates can do
// no other job of the visit, or the premises (role -1). Any of its units whose
// free run covers the visit will do, so none has to be bound beforehand.
type seat struct {
	role  int
	units []int32
}

// compiler turns specifications into visits. before says which of two units
// goes first when both have the same kind.
type compiler struct {
	units  []openings.Unit
	before func(a, b int32) int
}

// visit compiles spec, which must be valid. With lead, role 0 is always bound.
func (c compiler) visit(spec openings.VisitSpec, lead bool) *visit {
	v := &visit{spec: spec, clear: make([]minute, len(c.units))}
	for u := range c.units {
		v.clear[u] = spec.Clearing(c.units[u].Kind, c.units[u].Changeover)
	}
	roles := make([][]int32, len(spec.Roles))
	for r := range spec.Roles {
		roles[r] = flat(c.candidates(spec.Roles[r].Need))
	}
	pools := make([][]entry, len(spec.Phases))
	for i, ph := range spec.Phases {
		for _, n := range ph.Pool {
			pools[i] = append(pools[i], entry{c.candidates(n)})
		}
	}
	v.seats = append(v.seats, seat{-1, []int32{int32(len(c.units))}})
	for r := range spec.Roles {
		if !(lead && r == 0) && spans(spec, r) && alone(roles, pools, r) {
			v.seats = append(v.seats, seat{r, roles[r]})
		} else {
			v.hard = append(v.hard, r)
		}
	}
	entries := 0
	for i, ph := range spec.Phases {
		v.poolAt = append(v.poolAt, entries)
		entries += len(pools[i])
		v.phases = append(v.phases, phase{minutes: ph.Minutes, roles: v.hardOnly(ph.Roles), pool: pools[i], tests: tests(pools[i])})
		v.least += ph.Minutes
	}
	v.longest = v.least
	for _, g := range spec.Gaps {
		w := gap{min: g.Min, max: g.Max}
		if g.Max > 0 {
			w.held = v.hardOnly(g.Hold)
		}
		v.gaps = append(v.gaps, w)
		v.least += g.Min
		v.longest += g.Max
	}
	v.bind(roles, make([]int32, 0, len(roles)))
	return v
}

// bind lists every way to choose units for the hard roles.
func (v *visit) bind(roles [][]int32, bound []int32) {
	r := len(bound)
	if r == len(roles) {
		v.ways = append(v.ways, slices.Clone(bound))
		return
	}
	if !slices.Contains(v.hard, r) {
		v.bind(roles, append(bound, nobody))
		return
	}
	for _, u := range roles[r] {
		if !slices.Contains(bound, u) {
			v.bind(roles, append(bound, u))
		}
	}
}

func (v *visit) hardOnly(names []string) []int {
	var out []int
	for _, r := range v.hard {
		if slices.Contains(names, v.spec.Roles[r].Name) {
			out = append(out, r)
		}
	}
	return out
}

// candidates returns the units that meet n, by kind.
func (c compiler) candidates(n openings.Need) [][]int32 {
	var out [][]int32
	for k, kind := range n.Kinds {
		if slices.Contains(n.Kinds[:k], kind) {
			continue
		}
		var group []int32
		for i := range c.units {
			u := &c.units[i]
			able := u.Kind == kind && (len(n.Only) == 0 || slices.Contains(n.Only, u.ID)) && !slices.Contains(n.Except, u.ID)
			for _, s := range n.Skills {
				able = able && slices.Contains(u.Skills, s)
			}
			if able {
				group = append(group, int32(i))
			}
		}
		if len(group) > 0 {
			slices.SortStableFunc(group, c.before)
			out = append(out, group)
		}
	}
	return out
}

func flat(groups [][]int32) []int32 {
	var out []int32
	for _, g := range groups {
		out = append(out, g...)
	}
	return out
}

// spans reports whether role r is in use from the start to the end of spec.
func spans(spec openings.VisitSpec, r int) bool {
	name := spec.Roles[r].Name
	for _, ph := range spec.Phases {
		if !slices.Contains(ph.Roles, name) {
			return false
		}
	}
	for _, g := range spec.Gaps {
		if g.Max > 0 && !slices.Contains(g.Hold, name) {
			return false
		}
	}
	return true
}

// alone reports whether the candidates of role r can do no other job.
func alone(roles [][]int32, pools [][]entry, r int) bool {
	for o := range roles {
		if o != r && overlap(roles[o], roles[r]) {
			return false
		}
	}
	for _, pool := range pools {
		for _, e := range pool {
			if overlap(flat(e.groups), roles[r]) {
				return false
			}
		}
	}
	return true
}

func overlap(a, b []int32) bool {
	return slices.ContainsFunc(a, func(u int32) bool { return slices.Contains(b, u) })
}

// tests lists what makes a pool fillable. Sets of entries that fall into parts
// without a common candidate are left out: the tests of the parts say the same.
func tests(pool []entry) []test {
	var out []test
	for set := uint(1); set < 1<<len(pool); set++ {
		t := test{need: bits.OnesCount(set)}
		for rest := set; rest != 0; {
			joined := uint(0)
			for e := range pool {
				units := flat(pool[e].groups)
				if rest&(1<<e) != 0 && (t.units == nil && rest == set || overlap(t.units, units)) {
					t.units = append(t.units, units...)
					joined |= 1 << e
					rest &^= 1 << e
				}
			}
			if joined == 0 {
				t.need = 0
				break
			}
		}
		if t.need == 0 {
			continue
		}
		slices.Sort(t.units)
		t.units = slices.Compact(t.units)
		// Asking the same units for more says it all.
		out = slices.DeleteFunc(out, func(o test) bool { return o.need <= t.need && slices.Equal(o.units, t.units) })
		if !slices.ContainsFunc(out, func(o test) bool { return o.need > t.need && slices.Equal(o.units, t.units) }) {
			out = append(out, t)
		}
	}
	return out
}

package openings

import (
	"fmt"
	"slices"

	"chairblock/scheduling"
)

// Limits of a visit. Judgement: twice the longest service of the trade is
// thirty phases, and nobody needs more than three roles.
const (
	maxPhases = 200
	maxRoles  = 8
	maxPool   = 6
	// maxBindings is how many ways there may be to choose the units of all
	// roles. Twenty stylists, twenty chairs and twenty helpers are 8,000.
	maxBindings = 250_000
	// maxPoolUnits is how many units the pools of all phases, and the tests made
	// of them, may name together, one that is named twice counting twice; twelve
	// helpers for twenty phases are 240. Four bytes each.
	maxPoolUnits = 500_000
	// maxCounts is how many sets of minutes it may take to count who is free for
	// the pools. Fifteen phases with two pools that overlap take 60.
	maxCounts = 10_000
)

// Plan is a visit made ready for searching: validated, with the units that can
// do each job looked up, and with its chain of phases shortened where that
// changes no answer. It is immutable and safe for concurrent use, and holds for
// every snapshot that has the same units as the one it was compiled against.
type Plan struct {
	spec   VisitSpec
	roster *roster

	roles     []candidates
	spanning  []int // roles that the client keeps from start to end
	moving    []int // all other roles
	pools     [][]candidates
	full      chain       // one step for each phase
	short     chain       // the same visit in fewer steps
	blocks    []block     // the same as bitSolver likes it
	memos     int         // different tests in all blocks
	counts    int         // sets that these count in
	hardest   [][]hardUse // by role, the longest first
	stays     []int32     // by role: minutes of a single stay in which anybody will do, else 0
	missing   []string
	anonymous []bool // by role: nobody can tell which of its candidates it got

	units []int32 // all candidates

	minStay, maxStay int32
}

// candidates are the units that can do a job, by index in the shop, in the
// order of preference.
type candidates []int32

// chain is a visit as the search sees it. Spanning roles are left out of its
// steps and lags: they only bound the time in which the visit can lie.
type chain struct {
	steps []step
	lags  []lag // lags[i] is between steps i and i+1
}

// step is one use of some minutes.
type step struct {
	minutes int32
	roles   []int // moving roles in use
	pools   []poolTest
}

// lag is the wait between two steps. hold are the moving roles in use
// meanwhile.
type lag struct {
	min, max int32
	hold     []int
}

// Compile makes spec ready for searching in s. It returns Faults that name the
// faulty fields of spec. That nobody can do a job is not a fault; see Missing.
func Compile(spec VisitSpec, s *Snapshot) (*Plan, error) {
	var f scheduling.Faults
	roles := spec.check(&f)
	if err := f.Err(); err != nil {
		return nil, err
	}
	p := &Plan{spec: spec, roster: s.roster}
	for _, r := range spec.Roles {
		p.roles = append(p.roles, s.roster.candidates(r.Need))
	}
	if p.tooMany(&f) {
		return nil, f.Err()
	}
	if p.setPools(&f); len(f) > 0 {
		return nil, f.Err()
	}
	p.listUnits()
	uses := p.uses(roles)
	p.sortRoles(uses)
	if p.full = p.chain(uses, &f); len(f) > 0 {
		return nil, f.Err()
	}
	p.short = p.full.shorten()
	if p.setBlocks(&p.short, &f); len(f) > 0 {
		return nil, f.Err()
	}
	p.setStays(uses)
	p.missing = p.findMissing(uses)
	for _, ph := range spec.Phases {
		p.minStay += int32(ph.Minutes)
	}
	p.maxStay = p.minStay
	for _, g := range spec.Gaps {
		p.minStay += int32(g.Min)
		p.maxStay += int32(g.Max)
	}
	return p, nil
}

// sortRoles tells spanning roles from moving ones, and anonymous ones from
// others. Of the spanning roles the anonymous ones come first: their runs are
// few once those inside others are left out.
func (p *Plan) sortRoles(u uses) {
	p.anonymous = p.alone()
	for r := range p.roles {
		switch {
		case !u.spans(r):
			p.moving = append(p.moving, r)
		case p.anonymous[r]:
			p.spanning = append([]int{r}, p.spanning...)
		default:
			p.spanning = append(p.spanning, r)
		}
	}
}

// tooMany adds a fault when trying all bindings could take forever.
func (p *Plan) tooMany(f *scheduling.Faults) bool {
	ways := 1
	for i, c := range p.roles {
		if ways *= len(c); ways > maxBindings {
			f.Addf(fmt.Sprintf("roles[%d]", i), fmt.Sprintf("roles that narrow it down to %d", maxBindings),
				"can be combined with the roles before it in %d ways", ways)
			return true
		}
	}
	return false
}

// listUnits collects every unit that may take part, and its clearing.
func (p *Plan) listUnits() {
	for _, c := range p.roles {
		p.units = append(p.units, c...)
	}
	for _, pool := range p.pools {
		for _, c := range pool {
			p.units = append(p.units, c...)
		}
	}
	slices.Sort(p.units)
	p.units = slices.Compact(p.units)
}

// Missing says in words what the shop lacks for this visit whatever the time,
// for example "no basin" or "nobody has the skill straightening". It is empty
// when each job can be done by somebody.
func (p *Plan) Missing() []string { return slices.Clone(p.missing) }

// uses says by number which roles each phase and each gap has in use.
type uses struct {
	phases, gaps [][]int
	waits        []bool // gaps that can last at all
}

func (p *Plan) uses(roles map[string]int) uses {
	numbers := func(names []string) []int {
		var out []int
		for _, n := range names {
			out = append(out, roles[n])
		}
		slices.Sort(out)
		return out
	}
	var u uses
	for _, ph := range p.spec.Phases {
		u.phases = append(u.phases, numbers(ph.Roles))
	}
	for _, g := range p.spec.Gaps {
		u.gaps = append(u.gaps, numbers(g.Hold))
		u.waits = append(u.waits, g.Max > 0)
	}
	return u
}

// spans reports whether role r is in use from the start to the end.
func (u uses) spans(r int) bool {
	for _, roles := range u.phases {
		if !slices.Contains(roles, r) {
			return false
		}
	}
	for i, hold := range u.gaps {
		if u.waits[i] && !slices.Contains(hold, r) {
			return false
		}
	}
	return true
}

// chain writes the visit as one step for each phase.
func (p *Plan) chain(u uses, f *scheduling.Faults) chain {
	moving := func(roles []int) []int {
		return slices.DeleteFunc(slices.Clone(roles), func(r int) bool { return slices.Contains(p.spanning, r) })
	}
	var c chain
	t := newTester(p)
	for i, ph := range p.spec.Phases {
		c.steps = append(c.steps, step{minutes: int32(ph.Minutes),
			roles: moving(u.phases[i]), pools: t.tests(p.pools[i], u.phases[i])})
		if t.named > maxPoolUnits {
			f.Addf(fmt.Sprintf("phases[%d].pool", i), fmt.Sprintf("pools that come to at most %d units", maxPoolUnits),
				"comes, with those before it, to %d units", t.named)
			return c
		}
	}
	for i, g := range p.spec.Gaps {
		l := lag{min: int32(g.Min), max: int32(g.Max)}
		if u.waits[i] {
			l.hold = moving(u.gaps[i])
		}
		c.lags = append(c.lags, l)
	}
	return c
}

// shorten returns a chain with the same starts and ends in fewer steps.
func (c chain) shorten() chain {
	out := chain{steps: slices.Clone(c.steps), lags: slices.Clone(c.lags)}
	for i := 0; i+1 < len(out.steps); {
		a, b, l := out.steps[i], out.steps[i+1], out.lags[i]
		// Nobody is handed over where no pool takes part, so two uses of the
		// same roles without a wait are one use.
		if l.max > 0 || len(a.pools)+len(b.pools) > 0 || !slices.Equal(a.roles, b.roles) {
			i++
			continue
		}
		out.steps[i].minutes += b.minutes
		out.steps = slices.Delete(out.steps, i+1, i+2)
		out.lags = slices.Delete(out.lags, i, i+1)
	}
	for i := 1; i+1 < len(out.steps); {
		s, before, after := out.steps[i], out.lags[i-1], out.lags[i]
		// A step that needs nobody is a wait. Waits of a to b and of c to d
		// minutes together are every wait of a+c to b+d.
		if len(s.roles)+len(s.pools)+len(before.hold)+len(after.hold) > 0 {
			i++
			continue
		}
		out.lags[i-1] = lag{min: before.min + s.minutes + after.min, max: before.max + s.minutes + after.max}
		out.steps = slices.Delete(out.steps, i, i+1)
		out.lags = slices.Delete(out.lags, i, i+1)
	}
	return out
}

// check adds the faults of v to f and returns its roles by name.
func (v *VisitSpec) check(f *scheduling.Faults) map[string]int {
	roles := make(map[string]int, len(v.Roles))
	if len(v.Roles) > maxRoles {
		f.Addf("roles", fmt.Sprintf("at most %d", maxRoles), "has %d entries", len(v.Roles))
	}
	for i, r := range v.Roles {
		at := fmt.Sprintf("roles[%d]", i)
		if _, twice := roles[r.Name]; twice {
			f.Addf(at+".role", "a different name for every role", "is %q again", r.Name)
		}
		if r.Name == "" {
			f.Add(at+".role", "is empty", "a name such as lead or chair")
		}
		roles[r.Name] = i
		r.check(f, at)
	}
	if n := len(v.Phases); n < 1 || n > maxPhases {
		f.Addf("phases", fmt.Sprintf("1 to %d", maxPhases), "has %d entries", n)
	}
	for i, ph := range v.Phases {
		ph.check(f, fmt.Sprintf("phases[%d]", i), roles)
	}
	if want := max(len(v.Phases)-1, 0); len(v.Gaps) != want {
		f.Addf("gaps", fmt.Sprintf("%d, one between each two phases", want), "has %d entries", len(v.Gaps))
	}
	for i, g := range v.Gaps {
		at := fmt.Sprintf("gaps[%d]", i)
		if g.Min < 0 || g.Min > g.Max || g.Max > maxHorizon {
			f.Addf(at, fmt.Sprintf("0 <= min <= max <= %d", maxHorizon), "has min %d and max %d", g.Min, g.Max)
		}
		checkRoleNames(f, at+".hold", g.Hold, roles)
	}
	for kind, m := range v.Clear {
		checkClearing(f, fmt.Sprintf("clear[%s]", kind), m)
	}
	for kind, m := range v.ClearLeast {
		checkClearing(f, fmt.Sprintf("clear_least[%s]", kind), m)
	}
	return roles
}

func (ph *Phase) check(f *scheduling.Faults, at string, roles map[string]int) {
	if ph.Minutes < 1 || ph.Minutes > maxHorizon {
		f.Addf(at+".minutes", fmt.Sprintf("1 to %d", maxHorizon), "is %d", ph.Minutes)
	}
	checkRoleNames(f, at+".roles", ph.Roles, roles)
	if len(ph.Pool) > maxPool {
		f.Addf(at+".pool", fmt.Sprintf("at most %d", maxPool), "has %d entries", len(ph.Pool))
	}
	for i := range ph.Pool {
		ph.Pool[i].check(f, fmt.Sprintf("%s.pool[%d]", at, i))
	}
}

func (n *Need) check(f *scheduling.Faults, at string) {
	if len(n.Kinds) == 0 {
		f.Add(at+".kinds", "is empty", "at least one kind of unit")
	}
}

func checkRoleNames(f *scheduling.Faults, field string, names []string, roles map[string]int) {
	for i, n := range names {
		at := fmt.Sprintf("%s[%d]", field, i)
		if _, ok := roles[n]; !ok {
			f.Addf(at, "one of the visit's roles", "is %q", n)
		}
		if slices.Contains(names[:i], n) {
			f.Addf(at, "each role once", "is %q again", n)
		}
	}
}

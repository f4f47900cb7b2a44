package openings_test

import (
	"math/rand/v2"
	"slices"

	"chairblock/scheduling/openings"
)

// The slow oracle of the search: arrays of minutes, and every choice of units
// and waits tried one by one. It shares no code with the package.

const never openings.Minute = 1 << 30

type oracle struct {
	shop  openings.Shop
	spec  openings.VisitSpec
	q     openings.Query
	open  []bool   // premises by minute
	free  [][]bool // by unit and minute
	bound []int    // by role
	memo  map[[2]int]openings.Minute
}

// found is what the oracle knows about one start.
type found struct {
	end   map[int]openings.Minute // by unit of the first role, -1 when there are no roles
	bound map[int][]int           // the first binding, in order of preference, with that end
}

func newOracle(shop openings.Shop, spec openings.VisitSpec, q openings.Query) *oracle {
	o := &oracle{shop: shop, spec: spec, q: q, open: marks(shop.Minutes, shop.Premises)}
	for _, u := range shop.Units {
		free := marks(shop.Minutes, u.Open)
		clear, ok := spec.Clear[u.Kind]
		if !ok {
			clear = max(u.Changeover, spec.ClearLeast[u.Kind])
		}
		for m := range free {
			at := openings.Minute(m)
			for _, b := range u.Breaks {
				free[m] = free[m] && !(b.From <= at && at < b.To)
			}
			for _, b := range u.Bookings {
				free[m] = free[m] && !(b.From-clear <= at && at < b.To+b.Clear)
			}
		}
		o.free = append(o.free, free)
	}
	return o
}

func marks(minutes openings.Minute, spans []openings.Span) []bool {
	out := make([]bool, minutes)
	for m := range out {
		out[m] = slices.ContainsFunc(spans, func(s openings.Span) bool {
			return s.From <= openings.Minute(m) && openings.Minute(m) < s.To
		})
	}
	return out
}

func (o *oracle) can(u int, n openings.Need) bool {
	unit := o.shop.Units[u]
	for _, s := range n.Skills {
		if !slices.Contains(unit.Skills, s) {
			return false
		}
	}
	return slices.Contains(n.Kinds, unit.Kind) && (len(n.Only) == 0 || slices.Contains(n.Only, unit.ID)) && !slices.Contains(n.Except, unit.ID)
}

// byKind lists the units for n: by the order of kinds, then of the shop.
func (o *oracle) byKind(n openings.Need) []int {
	var out []int
	for _, k := range n.Kinds {
		for u := range o.shop.Units {
			if o.shop.Units[u].Kind == k && o.can(u, n) {
				out = append(out, u)
			}
		}
	}
	return out
}

// solve returns every feasible start.
func (o *oracle) solve() map[openings.Minute]*found {
	out := map[openings.Minute]*found{}
	o.bind(out)
	return out
}

func (o *oracle) bind(out map[openings.Minute]*found) {
	if k := len(o.bound); k < len(o.spec.Roles) {
		for _, u := range o.byKind(o.spec.Roles[k].Need) {
			if !slices.Contains(o.bound, u) {
				o.bound = append(o.bound, u)
				o.bind(out)
				o.bound = o.bound[:k]
			}
		}
		return
	}
	o.memo = map[[2]int]openings.Minute{}
	first := -1
	if len(o.bound) > 0 {
		first = o.bound[0]
	}
	for s := max(o.q.From, 0); s <= min(o.q.To, o.shop.Minutes-1); s++ {
		if s%o.q.Grid != 0 {
			continue
		}
		end := o.end(0, s)
		if end == never {
			continue
		}
		f := out[s]
		if f == nil {
			f = &found{map[int]openings.Minute{}, map[int][]int{}}
			out[s] = f
		}
		if old, ok := f.end[first]; !ok || end < old {
			f.end[first] = end
			f.bound[first] = slices.Clone(o.bound)
		}
	}
}

func (o *oracle) role(name string) int {
	for i, r := range o.spec.Roles {
		if r.Name == name {
			return o.bound[i]
		}
	}
	panic("no role " + name)
}

// end returns the earliest end of the visit when phase i starts at s.
func (o *oracle) end(i int, s openings.Minute) openings.Minute {
	key := [2]int{i, int(s)}
	if e, ok := o.memo[key]; ok {
		return e
	}
	o.memo[key] = never
	ph := o.spec.Phases[i]
	if !o.all(o.open, s, s+ph.Minutes) || o.pool(i, s) == nil {
		return never
	}
	for _, r := range ph.Roles {
		if !o.all(o.free[o.role(r)], s, s+ph.Minutes) {
			return never
		}
	}
	best := never
	if done := s + ph.Minutes; i == len(o.spec.Phases)-1 {
		if o.q.EndBy == nil || done <= *o.q.EndBy {
			best = done
		}
	} else {
		for wait := o.spec.Gaps[i].Min; wait <= o.spec.Gaps[i].Max; wait++ {
			if o.waits(i, done, done+wait) {
				best = min(best, o.end(i+1, done+wait))
			}
		}
	}
	o.memo[key] = best
	return best
}

func (o *oracle) waits(i int, from, to openings.Minute) bool {
	if !o.all(o.open, from, to) {
		return false
	}
	for _, r := range o.spec.Gaps[i].Hold {
		if !o.all(o.free[o.role(r)], from, to) {
			return false
		}
	}
	return true
}

func (o *oracle) all(ok []bool, from, to openings.Minute) bool {
	for m := from; m < to; m++ {
		if int(m) >= len(ok) || !ok[m] {
			return false
		}
	}
	return true
}

// pool returns the first way, in order of preference, to fill the pool of phase
// i at s; nil when there is none.
func (o *oracle) pool(i int, s openings.Minute) []int {
	ph := o.spec.Phases[i]
	var busy []int
	for _, r := range ph.Roles {
		busy = append(busy, o.role(r))
	}
	picked := []int{}
	var try func() bool
	try = func() bool {
		e := len(picked)
		if e == len(ph.Pool) {
			return true
		}
		order := o.byKind(ph.Pool[e])
		rank := func(u int) int {
			r := 2 * slices.Index(ph.Pool[e].Kinds, o.shop.Units[u].Kind)
			if !slices.Contains(o.bound, u) {
				r++
			}
			return r
		}
		slices.SortStableFunc(order, func(a, b int) int { return rank(a) - rank(b) })
		for _, u := range order {
			if !slices.Contains(busy, u) && !slices.Contains(picked, u) && o.all(o.free[u], s, s+ph.Minutes) {
				picked = append(picked, u)
				if try() {
					return true
				}
				picked = picked[:e]
			}
		}
		return false
	}
	if !try() {
		return nil
	}
	return picked
}

// schedule writes down the greedy schedule from start with the given binding.
func (o *oracle) schedule(start openings.Minute, bound []int) openings.Schedule {
	o.bound, o.memo = bound, map[[2]int]openings.Minute{}
	out := openings.Schedule{Roles: map[string]string{}}
	for i, r := range o.spec.Roles {
		out.Roles[r.Name] = o.shop.Units[bound[i]].ID
	}
	at := start
	for i, ph := range o.spec.Phases {
		p := openings.Placed{Phase: ph.Name, Start: at, End: at + ph.Minutes}
		for _, u := range o.pool(i, at) {
			p.Pool = append(p.Pool, o.shop.Units[u].ID)
		}
		out.Phases = append(out.Phases, p)
		if i < len(o.spec.Gaps) {
			wait := o.spec.Gaps[i].Min
			for !o.waits(i, p.End, p.End+wait) || o.end(i+1, p.End+wait) == never {
				wait++
			}
			at = p.End + wait
		}
	}
	o.bound = nil
	return out
}

// instance is a small random problem.
type instance struct {
	shop openings.Shop
	spec openings.VisitSpec
	q    openings.Query
}

var (
	someKinds  = []openings.UnitKind{openings.Stylist, openings.Assistant, openings.Chair, openings.Basin}
	someSkills = []string{"cut", "colour"}
)

func randomInstance(r *rand.Rand) instance {
	in := instance{shop: randomShop(r), spec: randomVisit(r)}
	in.q = openings.Query{From: openings.Minute(r.IntN(20)), To: in.shop.Minutes - 1, Grid: 1}
	switch r.IntN(4) {
	case 0:
		in.q.Grid = openings.Minute(2 + r.IntN(5))
	case 1:
		end := openings.Minute(r.IntN(int(in.shop.Minutes)))
		in.q.EndBy = &end
	case 2:
		in.q.To = in.q.From + openings.Minute(r.IntN(30))
	}
	return in
}

func randomShop(r *rand.Rand) openings.Shop {
	shop := openings.Shop{Minutes: openings.Minute(60 + r.IntN(80))}
	shop.Premises = randomSpans(r, shop.Minutes, 1+r.IntN(4), 80)
	for i := range 3 + r.IntN(6) {
		u := openings.Unit{ID: string(rune('A' + i)), Kind: someKinds[r.IntN(len(someKinds))],
			Changeover: openings.Minute(r.IntN(4)), Open: []openings.Span{{From: 0, To: shop.Minutes}}}
		for _, s := range someSkills {
			if r.IntN(3) > 0 {
				u.Skills = append(u.Skills, s)
			}
		}
		if r.IntN(3) == 0 {
			u.Open = randomSpans(r, shop.Minutes, 1+r.IntN(3), 60)
		}
		u.Breaks = randomSpans(r, shop.Minutes, r.IntN(2), 8)
		for _, s := range randomSpans(r, shop.Minutes, r.IntN(6), 8) {
			u.Bookings = append(u.Bookings, openings.Booking{From: s.From, To: s.To, Clear: openings.Minute(r.IntN(4))})
		}
		shop.Units = append(shop.Units, u)
	}
	return shop
}

func randomSpans(r *rand.Rand, minutes openings.Minute, n, longest int) []openings.Span {
	var out []openings.Span
	for range n {
		from := openings.Minute(r.IntN(int(minutes)))
		out = append(out, openings.Span{From: from, To: min(minutes, from+1+openings.Minute(r.IntN(longest)))})
	}
	return out
}

func randomNeed(r *rand.Rand) openings.Need {
	n := openings.Need{Kinds: []openings.UnitKind{someKinds[r.IntN(len(someKinds))]}}
	if r.IntN(2) == 0 {
		if k := someKinds[r.IntN(len(someKinds))]; k != n.Kinds[0] {
			n.Kinds = append(n.Kinds, k)
		}
	}
	if r.IntN(8) == 0 {
		n.Skills = []string{someSkills[r.IntN(len(someSkills))]}
	}
	if r.IntN(16) == 0 {
		n.Only = []string{"A", "C", "D"}[:1+r.IntN(3)]
	}
	if r.IntN(16) == 0 {
		n.Except = []string{"B", "D"}[:1+r.IntN(2)]
	}
	return n
}

func randomVisit(r *rand.Rand) openings.VisitSpec {
	var v openings.VisitSpec
	var names []string
	for _, name := range []string{"lead", "chair", "helper"}[:min(r.IntN(5), 3)] {
		names = append(names, name)
		v.Roles = append(v.Roles, openings.Role{Name: name, Need: randomNeed(r)})
	}
	// Often a role that stays throughout, which the search treats apart.
	steady := func(keep int) []string {
		var out []string
		for i, n := range names {
			if i == 1 && keep > 0 || r.IntN(2) == 0 {
				out = append(out, n)
			}
		}
		r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
		return out
	}
	keep, longest := r.IntN(3), 6
	if r.IntN(3) == 0 {
		// Waits so long that whoever is held may be called away meanwhile.
		keep, longest = 0, 30
	}
	for i := range 1 + r.IntN(5) {
		if i > 0 {
			g := openings.Gap{Min: openings.Minute(r.IntN(3)), Hold: steady(keep)}
			g.Max = g.Min + openings.Minute(r.IntN(longest))
			if longest == 6 && r.IntN(2) == 0 {
				g.Min, g.Max = 0, 0
			}
			v.Gaps = append(v.Gaps, g)
		}
		ph := openings.Phase{Name: string(rune('a' + i)), Minutes: openings.Minute(1 + r.IntN(7)), Roles: steady(keep)}
		for range max(r.IntN(5)-2, 0) {
			ph.Pool = append(ph.Pool, randomNeed(r))
		}
		if r.IntN(12) == 0 {
			ph.Pool = []openings.Need{randomNeed(r), randomNeed(r), randomNeed(r)}
		}
		v.Phases = append(v.Phases, ph)
	}
	if r.IntN(2) == 0 {
		v.Clear = map[openings.UnitKind]openings.Minute{someKinds[r.IntN(4)]: openings.Minute(r.IntN(5))}
	}
	if r.IntN(4) == 0 {
		v.ClearLeast = map[openings.UnitKind]openings.Minute{someKinds[r.IntN(4)]: openings.Minute(r.IntN(5))}
	}
	return v
}

package openings_test

import (
	"math/bits"
	"slices"

	"chairblock/scheduling/openings"
)

// wholeBits is the obvious search by bitsets as long as the horizon: for every
// choice of units for the roles, one pass over the phases from the last to the
// first. It is the baseline of the benchmarks and one more oracle, and shares no
// code with the package.
type wholeBits struct {
	shop  openings.Shop
	spec  openings.VisitSpec
	q     openings.Query
	words int

	open set   // premises
	free []set // by unit

	eroded map[erosion]set
	pools  []set // of phases whose pool no role can disturb
	bound  []int
	at     []set // memory by phase
	spare  [4]set
}

type (
	set     []uint64
	erosion struct {
		unit    int
		minutes openings.Minute
	}
)

func newWholeBits(shop openings.Shop, spec openings.VisitSpec) *wholeBits {
	p := &wholeBits{shop: shop, spec: spec, words: int(shop.Minutes+63) / 64}
	p.open = p.fill(shop.Premises)
	for _, u := range shop.Units {
		clear, ok := spec.Clear[u.Kind]
		if !ok {
			clear = max(u.Changeover, spec.ClearLeast[u.Kind])
		}
		busy := slices.Clone(u.Breaks)
		for _, b := range u.Bookings {
			busy = append(busy, openings.Span{From: b.From - clear, To: b.To + b.Clear})
		}
		free := p.fill(u.Open)
		for i, w := range p.fill(busy) {
			free[i] &^= w
		}
		p.free = append(p.free, free)
	}
	for range spec.Phases {
		p.at = append(p.at, make(set, p.words))
	}
	for i := range p.spare {
		p.spare[i] = make(set, p.words)
	}
	return p
}

func (p *wholeBits) fill(spans []openings.Span) set {
	out := make(set, p.words)
	for _, s := range spans {
		for m := max(s.From, 0); m < min(s.To, p.shop.Minutes); m++ {
			out[m/64] |= 1 << (m % 64)
		}
	}
	return out
}

// down stores in dst what src says n minutes later.
func down(dst, src set, n int) {
	w, k := n/64, uint(n%64)
	for i := range dst {
		dst[i] = 0
		if i+w < len(src) {
			dst[i] = src[i+w] >> k
		}
		if k > 0 && i+w+1 < len(src) {
			dst[i] |= src[i+w+1] << (64 - k)
		}
	}
}

// erode stores in dst the starts of n minutes of src, by doubling. n >= 0.
func (p *wholeBits) erode(dst, src set, n int) {
	if n == 0 {
		for i := range dst {
			dst[i] = ^uint64(0)
		}
		return
	}
	copy(dst, src)
	for have := 1; have < n; {
		step := min(have, n-have)
		down(p.spare[0], dst, step)
		for i, w := range p.spare[0] {
			dst[i] &= w
		}
		have += step
	}
}

func (p *wholeBits) starts(u int, n openings.Minute) set {
	key := erosion{u, n}
	if s, ok := p.eroded[key]; ok {
		return s
	}
	s := make(set, p.words)
	src := p.open
	if u >= 0 {
		src = p.free[u]
	}
	p.erode(s, src, int(n))
	p.eroded[key] = s
	return s
}

// search returns the starts, without regard to the grid, by unit of the first
// role; by 0 for visits without roles.
func (p *wholeBits) search(q openings.Query) map[int]set {
	p.q, p.eroded, p.bound = q, map[erosion]set{}, p.bound[:0]
	p.pools = make([]set, len(p.spec.Phases))
	out := map[int]set{}
	p.bind(out)
	return out
}

func (p *wholeBits) bind(out map[int]set) {
	if k := len(p.bound); k < len(p.spec.Roles) {
		for _, u := range p.who(p.spec.Roles[k].Need) {
			if !slices.Contains(p.bound, u) {
				p.bound = append(p.bound, u)
				p.bind(out)
				p.bound = p.bound[:k]
			}
		}
		return
	}
	first := 0
	if len(p.bound) > 0 {
		first = p.bound[0]
	}
	if out[first] == nil {
		out[first] = make(set, p.words)
	}
	for i, w := range p.chain() {
		out[first][i] |= w
	}
}

func (p *wholeBits) who(n openings.Need) []int {
	var out []int
	for u := range p.shop.Units {
		if (&oracle{shop: p.shop}).can(u, n) {
			out = append(out, u)
		}
	}
	return out
}

// chain returns the starts for the roles bound.
func (p *wholeBits) chain() set {
	n := len(p.spec.Phases)
	for i := n - 1; i >= 0; i-- {
		ph, f := p.spec.Phases[i], p.at[i]
		copy(f, p.starts(-1, ph.Minutes))
		for _, r := range ph.Roles {
			and(f, p.starts(p.role(r), ph.Minutes))
		}
		and(f, p.pool(i))
		if i == 0 {
			p.limit(f, p.q.From, p.q.To)
		}
		if i == n-1 {
			if p.q.EndBy != nil {
				p.limit(f, 0, *p.q.EndBy-ph.Minutes)
			}
			continue
		}
		reach := p.wait(p.spec.Gaps[i], p.at[i+1])
		down(p.spare[0], reach, int(ph.Minutes))
		and(f, p.spare[0])
	}
	return p.at[0]
}

func and(dst, src set) {
	for i, w := range src {
		dst[i] &= w
	}
}

func (p *wholeBits) limit(f set, from, to openings.Minute) {
	for i := range f {
		for w := f[i]; w != 0; w &= w - 1 {
			if m := openings.Minute(64*i + bits.TrailingZeros64(w)); m < from || m > to {
				f[i] &^= w & -w
			}
		}
	}
}

func (p *wholeBits) role(name string) int {
	for i := range p.spec.Roles {
		if p.spec.Roles[i].Name == name {
			return p.bound[i]
		}
	}
	panic("no role " + name)
}

// wait returns the minutes from which goal is reached after a wait of g.
func (p *wholeBits) wait(g openings.Gap, goal set) set {
	hold := p.spare[3]
	copy(hold, p.open)
	for _, r := range g.Hold {
		and(hold, p.free[p.role(r)])
	}
	reach, held := p.spare[1], p.spare[2]
	copy(reach, goal)
	copy(held, hold)
	// reach has the waits of 0..have more minutes than the least, and held is
	// hold eroded by have+1.
	longest := int(min(g.Max, p.shop.Minutes) - g.Min)
	for have := 0; have < longest; {
		step := min(have+1, longest-have)
		if step <= have {
			p.erode(held, hold, step)
		}
		down(p.spare[0], reach, step)
		for i := range reach {
			reach[i] |= p.spare[0][i] & held[i]
		}
		if have += step; have < longest {
			down(p.spare[0], held, step)
			and(held, p.spare[0])
		}
	}
	if g.Min == 0 {
		return reach
	}
	p.erode(held, hold, int(g.Min))
	down(p.spare[0], reach, int(g.Min))
	for i := range reach {
		reach[i] = p.spare[0][i] & held[i]
	}
	return reach
}

// pool returns the starts at which the pool of phase i can be filled.
func (p *wholeBits) pool(i int) set {
	if p.pools[i] != nil {
		return p.pools[i]
	}
	ph := p.spec.Phases[i]
	out := make(set, p.words)
	var busy []int
	for _, r := range ph.Roles {
		busy = append(busy, p.role(r))
	}
	ones := make(set, p.words)
	for i := range ones {
		ones[i] = ^uint64(0)
	}
	var fill func(e int, so set)
	fill = func(e int, so set) {
		if e == len(ph.Pool) {
			for i, w := range so {
				out[i] |= w
			}
			return
		}
		for _, u := range p.who(ph.Pool[e]) {
			if slices.Contains(busy, u) {
				continue
			}
			with := slices.Clone(so)
			and(with, p.starts(u, ph.Minutes))
			busy = append(busy, u)
			fill(e+1, with)
			busy = busy[:len(busy)-1]
		}
	}
	fill(0, ones)
	if !p.disturbed(ph) {
		p.pools[i] = out
	}
	return out
}

// disturbed reports whether a role in use could take a unit from the pool.
func (p *wholeBits) disturbed(ph openings.Phase) bool {
	for _, r := range p.spec.Roles {
		for _, u := range p.who(r.Need) {
			for _, n := range ph.Pool {
				if slices.Contains(ph.Roles, r.Name) && slices.Contains(p.who(n), u) {
					return true
				}
			}
		}
	}
	return false
}

// minutes lists what s has on the grid.
func (p *wholeBits) minutes(s set) []openings.Minute {
	var out []openings.Minute
	for i, w := range s {
		for ; w != 0; w &= w - 1 {
			if m := openings.Minute(64*i + bits.TrailingZeros64(w)); m%p.q.Grid == 0 {
				out = append(out, m)
			}
		}
	}
	return out
}

func (s set) count() int {
	n := 0
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

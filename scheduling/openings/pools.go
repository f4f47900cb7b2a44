package openings

import (
	"fmt"
	"math/bits"
	"slices"

	"chairblock/scheduling"
)

// poolTest asks that at least need of units are free. By Hall's theorem a pool
// can be filled with different units if and only if that is so for every set of
// its entries, need being the size of the set and units all that can fill any
// of it.
type poolTest struct {
	units []int32
	need  int
	// without are the roles in use whose unit cannot help in the pool.
	without []int
}

// crowd is a set of units by index in the shop.
type crowd [(maxUnits + 63) / 64]uint64

func crowdOf(c candidates) *crowd {
	var out crowd
	for _, u := range c {
		out[u/64] |= 1 << (u % 64)
	}
	return &out
}

func (c *crowd) meets(o *crowd) bool {
	for i, w := range o {
		if c[i]&w != 0 {
			return true
		}
	}
	return false
}

func (c *crowd) add(o *crowd) {
	for i, w := range o {
		c[i] |= w
	}
}

// list returns the units in the order of the shop.
func (c *crowd) list() []int32 {
	n := 0
	for _, w := range c {
		n += bits.OnesCount64(w)
	}
	out := make([]int32, 0, n)
	for i, w := range c {
		for ; w != 0; w &= w - 1 {
			out = append(out, int32(i*64+bits.TrailingZeros64(w)))
		}
	}
	return out
}

// setPools looks up who can fill the pools.
func (p *Plan) setPools(f *scheduling.Faults) {
	named := 0
	for i, ph := range p.spec.Phases {
		var pool []candidates
		for _, n := range ph.Pool {
			c := p.roster.candidates(n)
			named += len(c)
			pool = append(pool, c)
		}
		p.pools = append(p.pools, pool)
		if named > maxPoolUnits {
			f.Addf(fmt.Sprintf("phases[%d].pool", i), fmt.Sprintf("pools that name at most %d units together", maxPoolUnits),
				"names, with those before it, %d units", named)
			return
		}
	}
}

// alone says of each role whether it is not the first and its candidates can do
// no other job of the visit.
func (p *Plan) alone() []bool {
	var once, more crowd // named by one job, and by several
	name := func(c candidates) {
		o := crowdOf(c)
		for i, w := range o {
			more[i] |= once[i] & w
			once[i] |= w
		}
	}
	for _, c := range p.roles {
		name(c)
	}
	for _, pool := range p.pools {
		for _, c := range pool {
			name(c)
		}
	}
	out := make([]bool, len(p.roles))
	for r, c := range p.roles {
		out[r] = r > 0 && !more.meets(crowdOf(c))
	}
	return out
}

// tester turns pools into tests.
type tester struct {
	roles []*crowd
	named int // units of all tests
}

func newTester(p *Plan) *tester {
	t := new(tester)
	for _, c := range p.roles {
		t.roles = append(t.roles, crowdOf(c))
	}
	return t
}

// tests turns the pool of a phase that uses roles into tests by Hall's theorem.
// Sets of entries that fall into parts without a common unit are left out: the
// tests of the parts say the same.
func (t *tester) tests(pool []candidates, roles []int) []poolTest {
	entries := make([]*crowd, len(pool))
	for e, c := range pool {
		entries[e] = crowdOf(c)
	}
	var crowds []crowd
	var needs []int
	for set := 1; set < 1<<len(pool); set++ {
		all, joined := join(entries, set)
		if !joined {
			continue
		}
		// Asking the same units for more says it all.
		if i := slices.Index(crowds, all); i >= 0 {
			crowds, needs = slices.Delete(crowds, i, i+1), slices.Delete(needs, i, i+1)
		}
		crowds, needs = append(crowds, all), append(needs, bits.OnesCount(uint(set)))
	}
	out := make([]poolTest, len(crowds))
	for i := range crowds {
		out[i] = poolTest{units: crowds[i].list(), need: needs[i]}
		t.named += len(out[i].units)
		for _, r := range roles {
			if t.roles[r].meets(&crowds[i]) {
				out[i].without = append(out[i].without, r)
			}
		}
	}
	return out
}

// join unites the entries of set, and reports whether they hang together: each
// shares a unit with what was joined before.
func join(entries []*crowd, set int) (all crowd, joined bool) {
	for rest, none := set, true; rest != 0; {
		found := false
		for e, c := range entries {
			if rest&(1<<e) != 0 && (none || all.meets(c)) {
				all.add(c)
				rest &^= 1 << e
				found, none = true, false
			}
		}
		if !found {
			return all, false
		}
	}
	return all, true
}

package openings

import (
	"fmt"
	"slices"

	"chairblock/scheduling"
)

// block is a part of a visit that moves as a whole: steps with fixed waits
// between them. A visit in blocks has as many degrees of freedom as it has waits
// of variable length.
//
// A position of block i is counted from its earliest start when the visit
// begins at the very start of a window, so the whole visit at its tightest has
// position 0 everywhere, and any other has positions that never fall from one
// block to the next.
type block struct {
	start int32   // earliest start after that of the visit
	uses  [][]use // by role, moving ones only
	tests []blockTest
	slack int32 // how much longer than its least the wait after it may be
	hold  []int // moving roles in use during the slack
}

// use is the need of a unit for minutes from at on, at being counted from the
// start of the block.
type use struct{ at, minutes int32 }

// blockTest is a test of a pool for minutes from at on.
type blockTest struct {
	*poolTest
	at, minutes int32
	// ready is how many moving roles have to be bound, in their order, before
	// the test can be made.
	ready int
	// memo is the same for tests that ask for the same, whatever the time.
	memo int
}

// hardUse is a use that is looked at by itself before all others.
type hardUse struct {
	block       int
	at, minutes int32 // at counts from the start of the visit
}

// setBlocks writes c, the chain of p, as blocks.
func (p *Plan) setBlocks(c *chain, f *scheduling.Faults) {
	memos := make(map[memoKey]int)
	p.hardest = make([][]hardUse, len(p.roles))
	start := int32(0)
	for i := 0; i < len(c.steps); {
		b := block{start: start, uses: make([][]use, len(p.roles))}
		at := int32(0) // in the block
		for {
			st := &c.steps[i]
			b.use(st.roles, at, st.minutes)
			for t := range st.pools {
				b.tests = append(b.tests, blockTest{poolTest: &st.pools[t], at: at, minutes: st.minutes,
					ready: p.askable(&st.pools[t]), memo: p.memo(memos, &st.pools[t], st.minutes)})
			}
			at += st.minutes
			if i++; i == len(c.steps) {
				break
			}
			l := &c.lags[i-1]
			b.use(l.hold, at, l.min)
			at += l.min
			if b.slack = l.max - l.min; b.slack > 0 {
				b.hold = l.hold
				break
			}
		}
		for r, uses := range b.uses {
			for _, u := range uses {
				p.hardest[r] = append(p.hardest[r], hardUse{len(p.blocks), start + u.at, u.minutes})
			}
		}
		p.blocks = append(p.blocks, b)
		start += at
	}
	if p.counts > maxCounts {
		f.Addf("phases", fmt.Sprintf("pools for which counting takes at most %d sets of minutes", maxCounts),
			"have pools for which it takes %d", p.counts)
	}
	for _, uses := range p.hardest {
		slices.SortStableFunc(uses, func(a, b hardUse) int { return int(b.minutes - a.minutes) })
	}
}

// use adds a use by each of roles. One that follows another at once makes it
// longer: the unit stays the same.
func (b *block) use(roles []int, at, minutes int32) {
	if minutes == 0 {
		return
	}
	for _, r := range roles {
		uses := b.uses[r]
		if n := len(uses); n > 0 && uses[n-1].at+uses[n-1].minutes == at {
			uses[n-1].minutes += minutes
			continue
		}
		b.uses[r] = append(uses, use{at, minutes})
	}
}

// memoKey is what tests with a common memo have in common: whom they count, for
// how many minutes, and how far.
type memoKey struct {
	units   crowd
	minutes int32
	upTo    int
}

// memo returns the number that t for some minutes shares with its like.
func (p *Plan) memo(memos map[memoKey]int, t *poolTest, minutes int32) int {
	key := memoKey{*crowdOf(t.units), minutes, t.need + len(t.without)}
	n, ok := memos[key]
	if !ok {
		n = p.memos
		memos[key] = n
		p.memos++
		p.counts += key.upTo
	}
	return n
}

// by returns the uses by role r, none when r is nobody.
func (b *block) by(r int) []use {
	if r < 0 {
		return nil
	}
	return b.uses[r]
}

// askable returns how many moving roles must be bound so that all roles that t
// depends on are.
func (p *Plan) askable(t *poolTest) int {
	n := 0
	for _, r := range t.without {
		n = max(n, slices.Index(p.moving, r)+1)
	}
	return n
}

// setStays finds the roles for which any run of any candidate will do.
func (p *Plan) setStays(u uses) {
	p.stays = make([]int32, len(p.roles))
	for _, r := range p.moving {
		if !p.anonymous[r] || !u.once(r) {
			continue
		}
		from, to := int32(0), int32(0)
		for i := range p.blocks {
			b := &p.blocks[i]
			for _, use := range b.uses[r] {
				if to == 0 {
					from = b.start + use.at
				}
				to = b.start + use.at + use.minutes
			}
		}
		p.stays[r] = to - from
	}
}

// once reports whether role r is in use and, from its first to its last phase,
// all the time.
func (u uses) once(r int) bool {
	in := func(roles []int) bool { return slices.Contains(roles, r) }
	first := slices.IndexFunc(u.phases, in)
	if first < 0 {
		return false
	}
	last := len(u.phases) - 1
	for !in(u.phases[last]) {
		last--
	}
	part := uses{u.phases[first : last+1], u.gaps[first:last], u.waits[first:last]}
	if !part.spans(r) {
		return false
	}
	// Held before the first or after the last phase, it would be in use longer.
	for i, hold := range u.gaps {
		if (i < first || i >= last) && u.waits[i] && in(hold) {
			return false
		}
	}
	return true
}

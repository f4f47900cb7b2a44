package packing

import (
	"cmp"
	"slices"
)

// Figures of the search, found by trying on generated days.
const (
	mostRuined = 5   // groups taken out in a round
	mostExtra  = 4   // unplaced groups tried besides in a round
	restart    = 300 // rounds without gain after which the best is taken up again
	shakes     = 2   // of how many of these times it is shaken once
	heatParts  = 7   // tenths of the value of a visit, or of the cost of a move, that may be lost in between
	heatDay    = 2   // the same, tenths of the length of a visit, for the last end
	tries      = 6   // ways to place the first visit of a group with links
)

// round takes a few groups out, puts them and some of those without a place
// back in random order, and undoes all of it when the packing has become much
// worse.
func (k *packer) round() {
	before := slices.Clone(k.at)
	was := k.score
	k.ruin()
	k.r.Shuffle(len(k.out), func(a, b int) { k.out[a], k.out[b] = k.out[b], k.out[a] })
	for _, g := range k.out {
		if k.at[k.m.groups[g][0]] != nil || k.r.IntN(6) > 0 && k.keepGroup(g) {
			continue
		}
		switch n := k.r.IntN(10); {
		case n < 4:
			k.insertGroup(g, aimEarliest)
		case n < 9:
			k.insertGroup(g, aimEdge)
		default:
			k.insertGroup(g, aimAny)
		}
	}
	k.score = k.m.score(k.at)
	if k.score.compare(was) < 0 && !k.tolerable(was) {
		k.reset(before)
	}
	k.noteBest()
	if k.stale++; k.stale%restart == 0 {
		k.reset(k.best)
		k.heat = k.heats[k.r.IntN(len(k.heats))]
		if k.r.IntN(shakes) == 0 {
			k.shake()
		}
	}
}

// ruin takes some groups out and leaves them in k.out, together with some that
// have no place.
func (k *packer) ruin() {
	var in, none []int
	for g, members := range k.m.groups {
		if k.at[members[0]] != nil {
			in = append(in, g)
		} else if k.m.visits[members[0]].possible {
			none = append(none, g)
		}
	}
	k.r.Shuffle(len(none), func(a, b int) { none[a], none[b] = none[b], none[a] })
	k.r.Shuffle(len(in), func(a, b int) { in[a], in[b] = in[b], in[a] })
	if k.r.IntN(2) == 0 && len(in) > 0 { // those that begin at about the same time
		about := k.at[k.m.groups[in[0]][0]].at[0]
		slices.SortStableFunc(in, func(a, b int) int {
			return cmp.Compare(k.far(a, about), k.far(b, about))
		})
	}
	in = in[:min(len(in), 1+k.r.IntN(mostRuined))]
	for _, g := range in {
		for _, i := range k.m.groups[g] {
			k.take(i)
		}
	}
	k.out = append(append(k.out[:0], in...), none[:min(len(none), mostExtra)]...)
}

// far is how far group g begins from a minute.
func (k *packer) far(g int, from int32) int32 {
	d := k.at[k.m.groups[g][0]].at[0] - from
	return max(d, -d)
}

// shake takes about half of the groups out and puts all that have no place back
// in random order, so that the rounds go on from somewhere else.
func (k *packer) shake() {
	k.out = k.out[:0]
	for g, members := range k.m.groups {
		if k.r.IntN(2) == 0 {
			for _, i := range members {
				k.take(i)
			}
		}
		if k.at[members[0]] == nil {
			k.out = append(k.out, g)
		}
	}
	k.r.Shuffle(len(k.out), func(a, b int) { k.out[a], k.out[b] = k.out[b], k.out[a] })
	for _, g := range k.out {
		if !k.keepGroup(g) {
			k.insertGroup(g, aimEarliest)
		}
	}
	k.score = k.m.score(k.at)
	k.noteBest()
}

// tolerable reports whether the packing, worse than it was, is good enough to go
// on from. Less and less is until the best is taken up again.
func (k *packer) tolerable(was score) bool {
	loss := was.main - k.score.main + (k.score.missing-was.missing)*k.heat
	return loss*restart < k.r.IntN(k.heat+1)*(restart-k.stale%restart)
}

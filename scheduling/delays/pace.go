package delays

import (
	"math"
	"slices"

	"chairblock/scheduling/openings"
)

// hurries reports whether a draft asks somebody to work faster than by her own
// record: to take over a phase that is booked for less than it takes her, or to
// share one so that it would have to be over sooner than it takes her with a
// second pair of hands. What was booked that way is nobody's asking.
func (f *finder) hurries(dr *draft) bool {
	for _, p := range dr.visits {
		was := f.base.dr.visits[p.index]
		for i := max(p.begun-1, 0); i < p.n; i++ {
			least := p.v.care(i).Least
			if len(least) == 0 || i < p.begun && !p.runs {
				continue
			}
			for _, u := range p.uses[i] {
				n, ok := least[f.d.Shop.Units[u].ID]
				if !ok || slices.Contains(was.uses[i], u) && p.length[i] >= was.length[i] {
					continue
				}
				if p.length[i] < f.takes(p, i, n) {
					return true
				}
			}
		}
	}
	return false
}

// takes is how long phase i takes somebody who takes n minutes alone. A second
// pair of hands shares what is left of it when it joins.
func (f *finder) takes(p *visitDraft, i int, n openings.Minute) openings.Minute {
	if p.helper[i] < 0 {
		return n
	}
	gone := openings.Minute(0)
	if i < p.begun {
		gone = min(max(p.helpFrom[i]-p.from[i], 0), n)
	}
	return gone + openings.Minute(math.Ceil(float64(n-gone)/f.o.PairFactor-1e-9))
}

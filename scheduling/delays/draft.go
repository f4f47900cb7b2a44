package delays

import (
	"slices"

	"chairblock/scheduling/openings"
)

// draft is one way to carry on the day: who and what each phase uses, in which
// order, and how long it takes. The first draft is the day as it was booked;
// remedies are changes to it.
type draft struct {
	d      *Day
	units  map[string]int
	visits []*visitDraft
	// open lets people work past their hours, for as long as it takes.
	open bool
	// mute leaves out what is said of broken rules, to be quick.
	mute bool
}

// visitDraft is a visit in a draft. It is not changed once it is in use; see
// draft.with.
type visitDraft struct {
	v     *Visit
	index int
	// n is the number of phases that happen, begun of those that have begun or
	// were passed over. With runs, phase begun-1 is under way.
	n, begun int
	runs     bool
	known    []bool            // phases that have a time
	from, to []openings.Minute // of the phases that have begun
	length   []openings.Minute // of the others
	uses     [][]int           // units by phase
	holds    [][]int           // units by gap
	// low is the minute before which the visit cannot begin.
	low openings.Minute
	// wish are the starts that were promised, which are given up when they
	// cannot be kept; order are those by which uses of a unit are put in order.
	wish, order []openings.Minute
	helper      []int // by phase, -1 for nobody
	helpFrom    []openings.Minute
	sch         openings.Schedule // roles and pools; its times mean nothing
	told        *openings.Minute  // the start that the client is asked to come for
	rebooked    bool
}

// newDraft reads the booked day and what has happened.
func newDraft(d *Day, units map[string]int) *draft {
	dr := &draft{d: d, units: units}
	for i := range d.Visits {
		dr.visits = append(dr.visits, newVisitDraft(dr, i))
	}
	return dr
}

func newVisitDraft(dr *draft, index int) *visitDraft {
	v := &dr.d.Visits[index]
	n := len(v.Spec.Phases)
	p := &visitDraft{v: v, index: index, n: n, known: make([]bool, n), from: make([]openings.Minute, n), to: make([]openings.Minute, n),
		helper: make([]int, n), helpFrom: make([]openings.Minute, n), sch: v.Booked}
	for i, ph := range v.Spec.Phases {
		p.length = append(p.length, ph.Minutes)
		p.helper[i] = -1
		// A client who can come early is wished to start earlier by as much.
		p.wish = append(p.wish, v.Booked.Phases[i].Start-max(0, v.bookedStart()-v.notBefore()))
		p.order = append(p.order, v.Booked.Phases[i].Start)
	}
	for _, h := range v.Helps {
		p.length[h.Phase], p.helper[h.Phase], p.helpFrom[h.Phase] = h.Minutes, dr.units[h.Unit], h.From
	}
	p.readFacts(dr.d.Now)
	p.low = max(dr.d.Now, v.notBefore())
	if v.Ended {
		p.n, p.runs = p.begun, false
	}
	for i := range n {
		p.known[i] = p.known[i] || i >= p.begun
	}
	p.listUnits(dr.units)
	return p
}

// readFacts takes over what has happened. A phase that runs now lasts as long
// as it was planned for, at least until now, and as long as it is known to.
func (p *visitDraft) readFacts(now openings.Minute) {
	for i, h := range p.v.Happened {
		if h.Start == nil {
			continue
		}
		if k := p.begun - 1; p.runs && k >= 0 { // the one before has no end of its own
			p.to[k] = max(*h.Start, p.from[k]+1)
		}
		p.known[i], p.from[i], p.begun, p.runs = true, *h.Start, i+1, h.End == nil
		switch {
		case h.End != nil:
			p.to[i] = max(*h.End, *h.Start+1)
		case p.v.Ended:
			p.to[i] = max(now, *h.Start+1)
		default:
			p.to[i] = max(*h.Start+p.length[i], now, *h.Start+1)
			if h.Until != nil {
				p.to[i] = max(p.to[i], *h.Until)
			}
		}
	}
	for i := range p.begun {
		p.length[i] = p.to[i] - p.from[i]
	}
}

// listUnits works out what each phase and each gap has in use.
func (p *visitDraft) listUnits(units map[string]int) {
	n := len(p.v.Spec.Phases)
	p.uses, p.holds = make([][]int, n), make([][]int, n)
	of := func(roles []string) []int {
		var out []int
		for _, r := range roles {
			if u := units[p.sch.Roles[r]]; !slices.Contains(out, u) {
				out = append(out, u)
			}
		}
		return out
	}
	for i, ph := range p.v.Spec.Phases {
		p.uses[i] = of(ph.Roles)
		for _, id := range p.sch.Phases[i].Pool {
			if u := units[id]; !slices.Contains(p.uses[i], u) {
				p.uses[i] = append(p.uses[i], u)
			}
		}
		if h := p.helper[i]; h >= 0 && i >= p.begun && !slices.Contains(p.uses[i], h) {
			p.uses[i] = append(p.uses[i], h)
		}
		if i+1 < n {
			p.holds[i] = of(p.v.Spec.Gaps[i].Hold)
		}
	}
}

// with returns a draft in which visit i is what change makes of a copy of it.
func (dr *draft) with(i int, change func(p *visitDraft)) *draft {
	out := *dr
	out.visits = slices.Clone(dr.visits)
	p := *dr.visits[i]
	change(&p)
	p.listUnits(dr.units)
	out.visits[i] = &p
	return &out
}

// rebook takes away what of the visit has not begun.
func (p *visitDraft) rebook() {
	p.n, p.rebooked = p.begun, true
}

// reorder puts the phases that have not begun among those of others by starts.
func (p *visitDraft) reorder(starts []openings.Minute) {
	p.order = slices.Clone(p.order)
	for i := p.begun; i < p.n; i++ {
		p.order[i] = starts[i]
	}
}

// place gives the phases that have not begun the times and units of sch.
func (p *visitDraft) place(sch openings.Schedule) {
	p.sch = sch
	p.wish, p.order = slices.Clone(p.wish), slices.Clone(p.order)
	for i := p.begun; i < p.n; i++ {
		p.wish[i], p.order[i] = sch.Phases[i].Start, sch.Phases[i].Start
	}
}

// inSolution reports whether product is on the hair now.
func (p *visitDraft) inSolution() bool {
	return p.begun > 0 && (p.runs || p.begun < p.n) && p.v.care(p.begun-1).Product
}

// canWait reports whether no product has been put on yet, so that the visit can
// still be put off.
func (p *visitDraft) canWait() bool {
	if p.begun >= p.n {
		return false
	}
	for i := range p.begun {
		if p.v.care(i).Product && p.known[i] {
			return false
		}
	}
	return true
}

// clearing is how long unit u stays free after the visit's own use of it.
func (dr *draft) clearing(p *visitDraft, u int) openings.Minute {
	unit := &dr.d.Shop.Units[u]
	return p.v.Spec.Clearing(unit.Kind, unit.Changeover)
}

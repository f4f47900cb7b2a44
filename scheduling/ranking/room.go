package ranking

import (
	"slices"

	"chairblock/scheduling/openings"
)

// room counts how many visits of the usual mix a day still holds.
//
// The visits are placed greedily: dearest first, up to the number that a usual
// day asks for, each at the earliest start that is left, there with the least
// stay and then the first units, by kind and id.
type room struct {
	mix    []Standard
	order  []int    // of the mix, dearest first
	visits []*visit // by position in the mix
	lists  []free   // of the whole horizon by layer of the bench
	bench  *bench
	one    float64

	days []*roomDay // by day, made when needed

	// State of one packing, by position in the mix.
	at   []placements
	seen placed
	uses []use
}

// roomDay is a day as it is, with what it holds.
type roomDay struct {
	base   []runs
	first  []placements // least placements on the day as it is
	counts []int
	worth  float64
}

// placements are lower bounds of the placements of a visit, by way.
type placements struct {
	n    int
	at   []minute // n starts for each way
	end  []minute
	mark []int // the packing step at which the bound was last made exact; gone for no placement
}

const (
	gone  = -1
	never = minute(1<<31 - 1)
)

func newRoom(mix []Standard, visits []*visit, all *shopFree, layers, days int) *room {
	r := &room{mix: mix, order: dearest(mix), visits: visits, lists: all.lists[:layers], one: oneVisit(mix),
		days: make([]*roomDay, days)}
	if len(mix) == 0 {
		return r
	}
	r.bench = newBench(all.layers[:layers], len(all.lists[0]))
	r.at = make([]placements, len(mix))
	return r
}

// day returns day i, which covers w.
func (r *room) day(i int, w span) *roomDay {
	if r.days[i] != nil {
		return r.days[i]
	}
	d := &roomDay{first: make([]placements, len(r.mix)), counts: make([]int, len(r.mix))}
	n := 0
	for _, l := range r.lists {
		for u := range l {
			n += len(l[u].around(w))
		}
	}
	all := make(runs, 0, n)
	for _, l := range r.lists {
		for u := range l {
			from := len(all)
			all = appendCut(all, l[u], w)
			d.base = append(d.base, all[from:len(all):len(all)])
		}
	}
	r.bench.reset(d.base)
	for k, v := range r.visits {
		d.first[k] = firstPlacements(v, r.bench.layer(v.layer), w.From)
	}
	r.days[i] = d
	d.worth = r.pack(d, d.counts)
	return d
}

// firstPlacements finds the least placement of v for each way.
func firstPlacements(v *visit, f free, from minute) placements {
	n := len(v.phases)
	p := placements{n: n, at: make([]minute, n*len(v.ways)), end: make([]minute, len(v.ways)), mark: make([]int, len(v.ways))}
	for w, way := range v.ways {
		at := p.at[w*n : (w+1)*n]
		at[0] = from
		end, ok := v.fit(f, way, at)
		if p.end[w] = end; !ok {
			p.mark[w] = gone
		}
	}
	return p
}

func (p *placements) copyFrom(o *placements) {
	p.n = o.n
	p.at = append(p.at[:0], o.at...)
	p.end = append(p.end[:0], o.end...)
	p.mark = append(p.mark[:0], o.mark...)
}

// best returns the way whose bound comes first: by start, end, order of ways.
func (p *placements) best() (way int, ok bool) {
	start, end := never, never
	for w, m := range p.mark {
		if m == gone {
			continue
		}
		if s := p.at[w*p.n]; s < start || s == start && p.end[w] < end {
			way, start, end = w, s, p.end[w]
		}
	}
	return way, start != never
}

// pack fills the bench, on which some time of day d may have been taken, with
// the mix, counts how many of each fit and returns their worth.
func (r *room) pack(d *roomDay, counts []int) float64 {
	worth, step := 0.0, 1
	for _, k := range r.order {
		v := r.visits[k]
		p := &r.at[k]
		p.copyFrom(&d.first[k])
		counts[k] = 0
		for counts[k] < r.mix[k].PerDay && r.next(v, p, step) {
			for _, u := range r.uses {
				r.bench.block(u, v.clear[u.unit])
			}
			counts[k]++
			step++
			worth += r.mix[k].Worth
		}
	}
	return worth
}

// next finds the placement of v that comes first and leaves its uses in r.uses.
// Time is only ever taken, so what was the least placement once is a lower
// bound for ever.
func (r *room) next(v *visit, p *placements, step int) bool {
	f := r.bench.layer(v.layer)
	for {
		w, ok := p.best()
		if !ok {
			return false
		}
		at := p.at[w*p.n : (w+1)*p.n]
		if p.mark[w] != step {
			if p.end[w], ok = v.fit(f, v.ways[w], at); !ok {
				p.mark[w] = gone
				continue
			}
			p.mark[w] = step
			if b, _ := p.best(); b != w {
				continue
			}
		}
		r.seen.start, r.seen.end = at[0], p.end[w]
		r.seen.at = append(r.seen.at[:0], at...)
		v.complete(f, v.ways[w], &r.seen)
		r.uses = v.uses(r.uses[:0], &r.seen)
		return true
	}
}

// without packs day i, which covers w, with uses of a visit v in it.
func (r *room) without(i int, w span, v *visit, uses []use, counts []int) (lost float64) {
	d := r.day(i, w)
	r.bench.reset(d.base)
	for _, u := range uses {
		r.bench.block(u, v.clear[u.unit])
	}
	return max(0, d.worth-r.pack(d, counts)) / r.one
}

// fitsAlone reports whether the k-th of the mix fits into the bench as it is.
func (r *room) fitsAlone(d *roomDay, k int) bool {
	p := &r.at[k]
	p.copyFrom(&d.first[k])
	return r.next(r.visits[k], p, 1)
}

// touched reports whether a visit v with uses changes what the day w holds.
func (r *room) touched(w span, v *visit, uses []use) bool {
	return slices.ContainsFunc(uses, func(u use) bool {
		for _, l := range r.bench.layers {
			if u.From-l[u.unit] < w.To && w.From < u.To+v.clear[u.unit] {
				return true
			}
		}
		return false
	})
}

// byID is the order of the mix: it does not depend on the order of the shop.
func byID(units []openings.Unit) func(a, b int32) int {
	return func(a, b int32) int {
		switch {
		case units[a].ID < units[b].ID:
			return -1
		case units[a].ID > units[b].ID:
			return 1
		}
		return 0
	}
}

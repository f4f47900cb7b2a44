package ranking

import (
	"fmt"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// faults are scheduling.Faults with those of this package's own.
type faults struct{ scheduling.Faults }

func (f *faults) tooMany(i, ways int) {
	f.Addf(fmt.Sprintf("mix[%d].spec.roles", i), fmt.Sprintf("roles that narrow it down to %d", maxBindings),
		"can be combined in %d ways", ways)
}

// collect makes the heap of all candidates.
func (r *ranker) collect() {
	v, days := r.visit, r.in.Days
	var all []candidate
	add := func(lead int32, ranges []openings.StartRange) {
		from := len(all)
		for _, x := range ranges {
			for d := r.dayAt(x.From); d < len(days) && days[d].From <= x.To; d++ {
				all = r.inRange(all, lead, d, x)
			}
		}
		tail := all[from:]
		slices.SortFunc(tail, func(a, b candidate) int { return int(a.start - b.start) })
		tail = slices.CompactFunc(tail, func(a, b candidate) bool { return a.start == b.start })
		all = all[:from+len(tail)]
	}
	if len(r.in.Visit.Roles) == 0 {
		add(nobody, r.in.Starts.Ranges())
	} else {
		byLead := r.in.Starts.ByFirstRole()
		for i := range r.shop.Units {
			add(int32(i), byLead[r.shop.Units[i].ID])
		}
	}
	n := len(v.phases)
	r.trial = make([]minute, n)
	memory := make([]minute, n*len(all))
	r.heap = make([]*candidate, len(all))
	for i := range all {
		c := &all[i]
		c.at = memory[i*n : i*n : (i+1)*n]
		c.parts = r.wishParts(c)
		c.cost = r.in.Weights.Costs(c.parts).Total()
		r.heap[i] = c
	}
	for i := len(all)/2 - 1; i >= 0; i-- {
		r.down(i)
	}
}

// dayAt returns the first day that ends after m.
func (r *ranker) dayAt(m minute) int {
	i, _ := slices.BinarySearchFunc(r.in.Days, m, func(d Day, m minute) int {
		if d.To <= m {
			return -1
		}
		return 1
	})
	return i
}

// inRange appends the candidates of day d among the starts of x.
func (r *ranker) inRange(dst []candidate, lead int32, d int, x openings.StartRange) []candidate {
	day, grid := &r.in.Days[d], r.in.Grid
	from := x.From + (max(day.From-x.From, 0)+grid-1)/grid*grid
	to := x.From + (min(day.To-1, x.To)-x.From)/grid*grid
	if from > to {
		return dst
	}
	add := func(m minute) {
		dst = append(dst, candidate{placed: placed{start: m}, lead: lead, day: d})
	}
	add(from)
	if to > from {
		add(to)
	}
	if day.Wish != nil {
		for _, w := range [2]minute{day.Wish.From, day.Wish.To} {
			m := from + (min(max(w, from), to)-from)/grid*grid
			add(m)
			if m < w && m+grid <= to {
				add(m + grid)
			}
		}
	}
	if offer := r.in.Offer; offer > 0 {
		for m := day.From + (from-day.From+offer-1)/offer*offer; m <= to; m += offer {
			if (m-x.From)%grid == 0 {
				add(m)
			}
		}
	}
	return dst
}

// wishParts returns the parts that need no placing; slack counts as enough.
func (r *ranker) wishParts(c *candidate) Parts {
	p := Parts{Later: c.start - r.in.Days[0].From, Slack: r.in.Weights.SlackCap,
		OtherLead: r.in.Lead != "" && c.lead != r.wish}
	if w := r.in.Days[c.day].Wish; w != nil {
		p.Wish = max(w.From-c.start, c.start-w.To, 0)
	}
	return p
}

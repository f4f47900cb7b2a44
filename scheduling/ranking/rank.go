package ranking

import (
	"cmp"
	"slices"

	"chairblock/scheduling/openings"
)

// Ranked is an opening with what it costs.
type Ranked struct {
	Start, End openings.Minute
	Lead       string // id of the unit in the first role, "" for a visit without roles
	// Schedule is what Assign and Settle of package openings give for Start and
	// Lead.
	Schedule openings.Schedule
	Cost     float64 // Costs.Total
	Costs    Costs
	Parts    Parts
	// Room is what the day on which the visit starts still holds, in the order
	// of the mix.
	Room []Room
	// Asks are the people asked to help for some of the steps.
	Asks []Ask
	// Closing is the minutes from the end of the visit to the end of the
	// opening window that it lies in.
	Closing openings.Minute
}

// Room is how many of one visit of the mix a day holds beside an opening.
type Room struct {
	Name, Plural  string
	Before, After int
	// Full is true when not even one fits that would have fitted before.
	Full bool
}

// Rank returns the n openings of least cost, fewer when there are fewer, least
// first. Candidates are, for every unit that the first role may have, both ends
// of every range of starts, the starts nearest to the wish and every Offer
// minutes. Equal costs are ordered by the parts (Lost, Wish, OtherLead, Stay,
// Slack, Later) and then by start and lead id, so that what is worse in one part
// and better in none never comes first, whatever is switched off.
//
// Which units a candidate takes beside its lead follows the order of the shop,
// as Assign does; nothing else depends on that order.
//
// Rank returns Faults that name the faulty fields of in.
func Rank(in Input, n int) ([]Ranked, error) {
	if err := in.validate(n); err != nil {
		return nil, err
	}
	r, err := newRanker(&in)
	if err != nil {
		return nil, err
	}
	r.collect()
	var out []Ranked
	for len(r.heap) > 0 && len(out) < n {
		c := r.heap[0]
		if c.stage == full {
			r.pop()
			out = append(out, r.describe(c))
			continue
		}
		if !r.refine(c) {
			r.pop()
			continue
		}
		r.down(0)
	}
	return out, nil
}

// stage says how much of a candidate's cost is known. What is not known counts
// as nothing, so that its cost is a bound.
type stage int

const (
	wished   stage = iota // wish and earliness
	assigned              // and stay and slack
	full                  // and what is lost
)

type candidate struct {
	placed
	lead  int32
	day   int
	stage stage
	cost  float64
	parts Parts
}

// ranker is the working memory of one ranking.
type ranker struct {
	in    *Input
	shop  openings.Shop
	visit *visit
	ways  map[int32][][]int32 // of the visit, by unit of the first role
	all   shopFree
	views []free // free time for the visit by day, not cut
	room  *room
	heap  []*candidate
	trial []minute
	uses  []use
	count []int
	wish  int32 // the wished lead, nobody for none
}

func newRanker(in *Input) (*ranker, error) {
	r := &ranker{in: in, shop: in.Snapshot.Shop(), views: make([]free, len(in.Days)), wish: nobody, count: make([]int, len(in.Mix))}
	for i := range r.shop.Units {
		if r.shop.Units[i].ID == in.Lead {
			r.wish = int32(i)
		}
	}
	mix, err := r.compileMix()
	if err != nil {
		return nil, err
	}
	layers := len(r.all.layers)
	c := compiler{r.shop.Units, func(a, b int32) int { return int(a - b) }}
	r.visit = c.visit(in.Visit, true)
	r.visit.layer = r.all.layerOf(r.visit.clear)
	r.all.build(&r.shop)
	r.room = newRoom(in.Mix, mix, &r.all, layers, len(in.Days))
	r.ways = make(map[int32][][]int32)
	for _, way := range r.visit.ways {
		lead := nobody
		if len(way) > 0 {
			lead = way[0]
		}
		r.ways[lead] = append(r.ways[lead], way)
	}
	return r, nil
}

// compileMix compiles the mix. It returns Faults when there are too many ways
// to choose the people for one of its visits.
func (r *ranker) compileMix() ([]*visit, error) {
	var f faults
	c := compiler{r.shop.Units, byID(r.shop.Units)}
	var out []*visit
	for i := range r.in.Mix {
		v := c.visit(r.in.Mix[i].Spec, false)
		if len(v.ways) > maxBindings {
			f.tooMany(i, len(v.ways))
		}
		v.layer = r.all.layerOf(v.clear)
		out = append(out, v)
	}
	return out, f.Err()
}

// view returns the free time around day i for the visit.
func (r *ranker) view(i int) free {
	if r.views[i] == nil {
		w := r.in.Days[i].Span
		w.To += r.visit.longest
		f := slices.Clone(r.all.lists[r.visit.layer])
		for u := range f {
			f[u] = f[u].around(w)
		}
		r.views[i] = f
	}
	return r.views[i]
}

// refine brings c to its next stage. It returns false when c is no start of the
// visit, which happens only when Starts answers another question.
func (r *ranker) refine(c *candidate) bool {
	if c.stage == wished {
		if !r.assign(c) {
			return false
		}
		c.stage = assigned
	} else {
		c.parts.Lost = r.lost(c)
		c.stage = full
	}
	c.cost = r.in.Weights.Costs(c.parts).Total()
	return true
}

// assign places c with the least stay and works out stay and slack.
func (r *ranker) assign(c *candidate) bool {
	v, f := r.visit, r.view(c.day)
	c.end = never
	var best []int32
	for _, way := range r.ways[c.lead] {
		for i := range r.trial {
			r.trial[i] = 0
		}
		r.trial[0] = c.start
		if end, ok := v.fit(f, way, r.trial); ok && r.trial[0] == c.start && end < c.end {
			c.end, best = end, way
			c.at = append(c.at[:0], r.trial...)
		}
	}
	if c.end == never {
		return false
	}
	v.complete(f, best, &c.placed)
	v.settle(f, &c.placed)
	c.parts.Stay = c.end - c.start - v.least
	c.parts.Slack = v.slack(f, &c.placed, r.in.Weights.SlackCap)
	return true
}

// lost counts what no longer fits on the days that c touches.
func (r *ranker) lost(c *candidate) float64 {
	if len(r.in.Mix) == 0 {
		return 0
	}
	r.uses = r.visit.uses(r.uses[:0], &c.placed)
	lost := r.room.without(c.day, r.in.Days[c.day].Span, r.visit, r.uses, r.count)
	for _, d := range [2]int{-1, 1} {
		for i := c.day + d; i >= 0 && i < len(r.in.Days) && r.room.touched(r.in.Days[i].Span, r.visit, r.uses); i += d {
			lost += r.room.without(i, r.in.Days[i].Span, r.visit, r.uses, r.count)
		}
	}
	return lost
}

// before is the order of candidates as far as their costs are known. What is not
// known counts as nothing, so that no candidate falls back when it gets known.
func (c *candidate) before(o *candidate, units []openings.Unit) bool {
	if c.cost != o.cost {
		return c.cost < o.cost
	}
	p, q := &c.parts, &o.parts
	if x := cmp.Or(cmp.Compare(p.Lost, q.Lost), cmp.Compare(p.Wish, q.Wish), compareBool(p.OtherLead, q.OtherLead),
		cmp.Compare(p.Stay, q.Stay), cmp.Compare(q.Slack, p.Slack), cmp.Compare(c.start, o.start)); x != 0 {
		return x < 0
	}
	return c.lead != o.lead && units[c.lead].ID < units[o.lead].ID
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// down restores the heap when the candidate at i may have become dearer.
func (r *ranker) down(i int) {
	units := r.shop.Units
	for {
		k := 2*i + 1
		if k >= len(r.heap) {
			return
		}
		if k+1 < len(r.heap) && r.heap[k+1].before(r.heap[k], units) {
			k++
		}
		if !r.heap[k].before(r.heap[i], units) {
			return
		}
		r.heap[i], r.heap[k] = r.heap[k], r.heap[i]
		i = k
	}
}

func (r *ranker) pop() {
	last := len(r.heap) - 1
	r.heap[0] = r.heap[last]
	r.heap = r.heap[:last]
	r.down(0)
}

package openings

import (
	"cmp"
	"math"
	"slices"
)

// usualSpread is the standard deviation of work without an estimate, as a share
// of its mean (judgement; spreads of the steps of an estimate lie around it).
const usualSpread = 0.25

// Effort is what somebody's hands are expected to need for a piece of work, in
// minutes. It is taken to be log-normal.
type Effort struct{ Mean, SD float64 }

// Exceeds returns the chance that the work takes more than x minutes.
func (e Effort) Exceeds(x float64) float64 {
	switch {
	case e.SD <= 0 && e.Mean > x, x <= 0 && e.Mean > 0:
		return 1
	case e.SD <= 0:
		return 0
	}
	cv := e.SD / e.Mean
	variance := math.Log1p(cv * cv)
	mu := math.Log(e.Mean) - variance/2
	return math.Erfc((math.Log(x)-mu)/math.Sqrt(2*variance)) / 2
}

// Plus adds work of the same pair of hands on the same head, which is slow or
// quick together: spreads add up.
func (e Effort) Plus(o Effort) Effort { return Effort{e.Mean + o.Mean, e.SD + o.SD} }

// Usual is work of which only the planned minutes are known.
func Usual(minutes Minute) Effort { return Effort{float64(minutes), usualSpread * float64(minutes)} }

// Chance returns the chance that the work inside the bay is not over, its
// clearing included, when the unit has to be back. Work begins as planned, or
// when the work before it is over if that is later; minutes that need no hands
// take their planned time. The bay is as long as planned wherever it begins,
// because it begins when the unit is free of the host.
//
// For one piece of work the chance is exact. Several are added up on a grid of
// an eighth of a minute; pieces of different visits that lie in each other count
// as one that is never quicker than planned, which gives an upper bound.
func (x SharedStretch) Chance() float64 {
	if len(x.Works) == 1 {
		w := x.Works[0]
		return w.effort().Exceeds(float64(x.Bay.To-w.Clear-w.From) - float64(w.rest()))
	}
	c := newConvolution(x.Bay)
	for _, group := range x.groups() {
		c.add(group)
	}
	return c.overrun()
}

// rest is the minutes of w that need no hands.
func (w Work) rest() Minute { return w.To - w.From - w.Hands }

// effort is what w is expected to take; work without an estimate is expected
// to take what was planned.
func (w Work) effort() Effort {
	if w.Effort.Mean > 0 {
		return w.Effort
	}
	return Usual(w.Hands)
}

// groups puts works that lie in each other together, in the order of time.
func (x SharedStretch) groups() [][]Work {
	var out [][]Work
	var end Minute
	works := slices.SortedFunc(slices.Values(x.Works), func(a, b Work) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To))
	})
	for _, w := range works {
		if n := len(out); n > 0 && w.From < end {
			out[n-1] = append(out[n-1], w)
		} else {
			out = append(out, []Work{w})
		}
		end = max(end, w.To)
	}
	return out
}

// cells is how many cells of the grid a minute has.
const cells = 8

// convolution is the distribution of the time at which the work so far is over.
type convolution struct {
	from Minute
	p    []float64 // by cell from the beginning of the bay to its end, both included
	next []float64
	atom bool // the last work may end exactly as planned
}

func newConvolution(bay Span) *convolution {
	n := int(bay.To-bay.From)*cells + 1
	c := &convolution{from: bay.From, p: make([]float64, n), next: make([]float64, n)}
	c.p[0] = 1
	return c
}

// add lets a group of works follow what there is.
func (c *convolution) add(group []Work) {
	first := slices.MinFunc(group, func(a, b Work) int { return cmp.Compare(a.From, b.From) })
	last := slices.MaxFunc(group, func(a, b Work) int { return cmp.Compare(a.To, b.To) })
	c.notBefore(first.From)
	if c.atom = len(group) > 1; !c.atom {
		c.shift(first.rest())
		c.work(first.effort(), 0)
	} else {
		c.shift(last.To - first.From)
		for _, w := range group {
			c.work(w.effort(), w.Hands)
		}
	}
	c.shift(last.Clear)
}

// notBefore makes the unit wait until m.
func (c *convolution) notBefore(m Minute) {
	at := min(max(int(m-c.from)*cells, 0), len(c.p)-1)
	for i := range at {
		c.p[at] += c.p[i]
		c.p[i] = 0
	}
}

func (c *convolution) shift(by Minute) {
	n := min(int(by)*cells, len(c.p))
	copy(c.p[n:], c.p)
	clear(c.p[:n])
}

// work adds the time that e takes beyond least, never less than nothing when
// least is given.
func (c *convolution) work(e Effort, least Minute) {
	density := make([]float64, len(c.p))
	before := 1.0 // chance of more than the cell before holds
	for i := range density {
		edge := float64(least) + float64(i)/cells
		if least == 0 {
			edge += 0.5 / cells // to the nearest cell
		}
		beyond := e.Exceeds(edge)
		density[i], before = before-beyond, beyond
	}
	clear(c.next)
	for i, p := range c.p {
		if p < 1e-12 {
			continue
		}
		for k, d := range density[:len(c.p)-i] {
			c.next[i+k] += p * d
		}
	}
	c.p, c.next = c.next, c.p
}

// overrun is the chance of being over after the end.
func (c *convolution) overrun() float64 {
	inTime := 0.0
	for _, p := range c.p {
		inTime += p
	}
	if !c.atom {
		inTime -= c.p[len(c.p)-1] / 2 // half of the last cell lies behind the end
	}
	return min(max(1-inTime, 0), 1)
}

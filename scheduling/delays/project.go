package delays

import (
	"errors"

	"chairblock/scheduling/openings"
)

// ErrTangled means that the rules of a problem push one another about for so
// long that no answer was reached within the bounds of the work. No day of a
// salon does; a file that was made to can.
var ErrTangled = errors.New("the rules are too tangled to be worked out")

// Projection is what a problem still allows.
type Projection struct {
	Feasible bool
	// Starts are the least starts by piece: in no arrangement that keeps every
	// rule does any piece begin earlier. Nil when there is no arrangement.
	Starts map[string]openings.Minute
	// LastEnd is when the last piece ends.
	LastEnd openings.Minute
	// Conflict says why there is no arrangement; nil when there is one.
	Conflict *Conflict
}

// Project works out the least start of every piece that has not begun. Pieces
// that have begun stay where they are. It does not look at p.Now: what may not
// begin before now says so by its NotBefore.
//
// All rules have the form that a start is at least something that only grows
// with other starts, so one arrangement is the earliest for every piece at
// once, and raising the starts as far as the rules ask leads to it. The worst
// case is O((pieces+1)(windows+1)) looks at all links, whatever the horizon.
//
// Project returns Faults that name the faulty fields, and ErrTangled.
func Project(p Problem) (Projection, error) {
	byID, err := p.check()
	if err != nil {
		return Projection{}, err
	}
	n := p.network(byID)
	var s solver
	starts, c, done := s.solve(n)
	switch {
	case !done:
		return Projection{}, ErrTangled
	case c != nil:
		return Projection{Conflict: p.conflict(n, c)}, nil
	}
	out := Projection{Feasible: true, Starts: make(map[string]openings.Minute, len(starts))}
	for i, at := range starts {
		out.Starts[p.Pieces[i].ID] = openings.Minute(at)
		out.LastEnd = max(out.LastEnd, openings.Minute(at+n.length[i]))
	}
	return out, nil
}

// network writes p by number.
func (p *Problem) network(byID map[string]int32) *network {
	k := len(p.Pieces)
	n := &network{horizon: int32(p.Minutes), length: make([]int32, k), low: make([]int32, k),
		fixed: make([]bool, k), closed: make([][]window, k), links: make([]edge, len(p.Links))}
	for i := range p.Pieces {
		pc := &p.Pieces[i]
		n.length[i], n.low[i] = int32(pc.Minutes), int32(pc.NotBefore)
		if pc.Fixed != nil {
			n.low[i], n.fixed[i] = int32(*pc.Fixed), true
			continue
		}
		for k, w := range pc.Closed {
			n.closed[i] = append(n.closed[i], window{int32(w.From), int32(w.To), int32(k)})
		}
		sortWindows(n.closed[i])
	}
	for i := range p.Links {
		l := &p.Links[i]
		n.links[i] = edge{byID[l.Before], byID[l.After], int32(l.Min), noLimit}
		if l.Max != nil {
			n.links[i].max = int32(*l.Max)
		}
	}
	return n
}

package delays_test

import (
	"fmt"
	"testing"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// keeps reports whether starts keep every rule of p. It is the definition of
// the problem, word by word.
func keeps(p delays.Problem, starts map[string]openings.Minute) bool {
	length := map[string]openings.Minute{}
	for _, pc := range p.Pieces {
		from := starts[pc.ID]
		to := from + pc.Minutes
		length[pc.ID] = pc.Minutes
		if to > p.Minutes || pc.Fixed != nil && from != *pc.Fixed || pc.Fixed == nil && from < pc.NotBefore {
			return false
		}
		for _, w := range pc.Closed {
			if pc.Fixed == nil && from < w.To && w.From < to {
				return false
			}
		}
	}
	for _, l := range p.Links {
		wait := starts[l.After] - starts[l.Before] - length[l.Before]
		if wait < l.Min || l.Max != nil && wait > *l.Max {
			return false
		}
	}
	return true
}

// bruteForce tries all starts and returns the least of each piece over all
// arrangements, and whether there is any.
func bruteForce(p delays.Problem) (least map[string]openings.Minute, ok bool) {
	starts := map[string]openings.Minute{}
	var try func(k int)
	try = func(k int) {
		if k == len(p.Pieces) {
			if !keeps(p, starts) {
				return
			}
			if !ok {
				least, ok = map[string]openings.Minute{}, true
				for id, at := range starts {
					least[id] = at
				}
			}
			for id, at := range starts {
				least[id] = min(least[id], at)
			}
			return
		}
		for at := openings.Minute(0); at < p.Minutes; at++ {
			starts[p.Pieces[k].ID] = at
			try(k + 1)
		}
	}
	try(0)
	return least, ok
}

// bellmanFord is the textbook way for problems without closed windows: longest
// paths from a common origin, with a fixed start as a rule in both directions.
func bellmanFord(p delays.Problem) (least map[string]openings.Minute, ok bool) {
	type edge struct {
		from, to string
		by       openings.Minute
	}
	var edges []edge
	length := map[string]openings.Minute{}
	for _, pc := range p.Pieces {
		length[pc.ID] = pc.Minutes
		low := pc.NotBefore
		if pc.Fixed != nil {
			low = *pc.Fixed
			edges = append(edges, edge{pc.ID, "", -low})
		}
		edges = append(edges, edge{"", pc.ID, low}, edge{pc.ID, "", pc.Minutes - p.Minutes})
	}
	for _, l := range p.Links {
		edges = append(edges, edge{l.Before, l.After, length[l.Before] + l.Min})
		if l.Max != nil {
			edges = append(edges, edge{l.After, l.Before, -*l.Max - length[l.Before]})
		}
	}
	least = map[string]openings.Minute{"": 0}
	for range len(p.Pieces) + 2 {
		changed := false
		for _, e := range edges {
			from, known := least[e.from]
			if !known {
				continue
			}
			if to, known := least[e.to]; !known || to < from+e.by {
				least[e.to], changed = from+e.by, true
			}
		}
		if !changed {
			ok = least[""] == 0
			delete(least, "")
			return least, ok
		}
	}
	return nil, false
}

// drawProblem makes a problem of n pieces over a horizon of minutes.
func drawProblem(rt *rapid.T, n, minutes int, windows bool) delays.Problem {
	between := func(lo, hi int, label string) openings.Minute {
		return openings.Minute(rapid.IntRange(lo, hi).Draw(rt, label))
	}
	p := delays.Problem{Minutes: openings.Minute(minutes)}
	for i := range n {
		pc := delays.Piece{ID: fmt.Sprint(i), Minutes: between(1, max(1, minutes/4), "minutes"), NotBefore: between(0, minutes/3, "not_before")}
		if rapid.IntRange(0, 3).Draw(rt, "begun") == 0 {
			at := between(0, minutes/2, "fixed")
			pc.Fixed = &at
		}
		for range rapid.IntRange(0, 2).Draw(rt, "windows") {
			if from := between(-1, minutes-1, "from"); windows {
				pc.Closed = append(pc.Closed, openings.Span{From: from, To: from + between(1, 4, "closed")})
			}
		}
		p.Pieces = append(p.Pieces, pc)
	}
	for k := range rapid.IntRange(0, 2*n).Draw(rt, "links") {
		a, b := rapid.IntRange(0, n-1).Draw(rt, "a"), rapid.IntRange(0, n-1).Draw(rt, "b")
		if a == b {
			continue
		}
		l := delays.Link{Before: fmt.Sprint(a), After: fmt.Sprint(b), Min: between(-3, 2, "min"), Why: fmt.Sprint("rule ", k)}
		if rapid.Bool().Draw(rt, "limited") {
			limit := l.Min + between(0, 3, "max")
			l.Max = &limit
		}
		p.Links = append(p.Links, l)
	}
	return p
}

func TestProjectAgreesWithBruteForceOnTinyProblems(t *testing.T) {
	solvable := 0
	rapid.Check(t, func(rt *rapid.T) {
		p := drawProblem(rt, rapid.IntRange(1, 3).Draw(rt, "n"), rapid.IntRange(4, 16).Draw(rt, "horizon"), true)
		want, ok := bruteForce(p)
		got, err := delays.Project(p)
		require.NoError(rt, err)
		require.Equal(rt, ok, got.Feasible)
		if ok {
			solvable++
			require.True(rt, keeps(p, want), "the least of each piece is an arrangement")
			require.Equal(rt, want, got.Starts)
			return
		}
		require.False(rt, bruteForceOK(onlyTheChain(p, got.Conflict)), "the rules of the chain alone allow nothing: %s", got.Conflict)
	})
	require.Positive(t, solvable)
}

func bruteForceOK(p delays.Problem) bool {
	_, ok := bruteForce(p)
	return ok
}

func TestProjectAgreesWithBellmanFordWithoutWindows(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := drawProblem(rt, rapid.IntRange(1, 30).Draw(rt, "n"), 200, false)
		want, ok := bellmanFord(p)
		got, err := delays.Project(p)
		require.NoError(rt, err)
		require.Equal(rt, ok, got.Feasible)
		if ok {
			require.Equal(rt, want, got.Starts)
			return
		}
		_, ok = bellmanFord(onlyTheChain(p, got.Conflict))
		require.False(rt, ok, "the rules of the chain alone allow nothing: %s", got.Conflict)
	})
}

// onlyTheChain keeps of p the rules that c names and drops all others.
func onlyTheChain(p delays.Problem, c *delays.Conflict) delays.Problem {
	out := delays.Problem{Minutes: p.Minutes}
	named := map[string]*delays.Piece{}
	for _, pc := range p.Pieces {
		out.Pieces = append(out.Pieces, delays.Piece{ID: pc.ID, Minutes: pc.Minutes})
	}
	for i := range out.Pieces {
		named[out.Pieces[i].ID] = &out.Pieces[i]
	}
	begun := map[string]*openings.Minute{}
	for _, pc := range p.Pieces {
		begun[pc.ID] = pc.Fixed
	}
	for _, r := range c.Chain {
		pc := named[r.Piece]
		switch r.Kind {
		case delays.RuleBegun:
			pc.Fixed = begun[r.Piece]
		case delays.RuleNotBefore:
			pc.NotBefore = r.Start
		case delays.RuleClosed:
			pc.Closed = append(pc.Closed, r.Window)
		case delays.RuleMin:
			out.Links = append(out.Links, delays.Link{Before: r.Other, After: r.Piece, Min: r.Minutes})
		case delays.RuleMax:
			limit := r.Minutes
			out.Links = append(out.Links, delays.Link{Before: r.Piece, After: r.Other, Min: -p.Minutes, Max: &limit})
		}
	}
	// The last rule breaks on a piece that has begun.
	last := c.Chain[len(c.Chain)-1]
	if !c.Loop && begun[last.Piece] != nil {
		named[last.Piece].Fixed = begun[last.Piece]
	}
	return out
}

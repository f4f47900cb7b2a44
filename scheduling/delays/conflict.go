package delays

import (
	"fmt"
	"strings"

	"chairblock/scheduling/openings"
)

// RuleKind says what sort of rule bounds a start.
type RuleKind string

// Kinds of rules in a chain.
const (
	RuleBegun     RuleKind = "begun"      // the piece has begun at Start
	RuleNotBefore RuleKind = "not_before" // the piece may not begin before Start
	RuleMin       RuleKind = "min"        // so long after the end of Other at least
	RuleMax       RuleKind = "max"        // Other may not begin later than so long after the piece
	RuleClosed    RuleKind = "closed"     // the piece may not touch Window
)

// Rule is one step of a proof: because of it, and of the rule before it in the
// chain, Piece cannot begin before Start.
type Rule struct {
	Kind  RuleKind
	Piece string
	// Other is the piece at the other end of the link of RuleMin and RuleMax.
	Other string
	// Minutes is the min or the max of the link.
	Minutes openings.Minute
	Why     string // of the link
	Window  openings.Span
	Start   openings.Minute
}

// String says the rule and what follows from it in plain words.
func (r Rule) String() string {
	because := ""
	if r.Why != "" {
		because = " (" + r.Why + ")"
	}
	switch r.Kind {
	case RuleBegun:
		return fmt.Sprintf("%s began at minute %d", r.Piece, r.Start)
	case RuleNotBefore:
		return fmt.Sprintf("%s cannot begin before minute %d", r.Piece, r.Start)
	case RuleMin:
		return fmt.Sprintf("%s begins %d minutes or more after the end of %s%s, at minute %d or later",
			r.Piece, r.Minutes, r.Other, because, r.Start)
	case RuleMax:
		return fmt.Sprintf("%s begins %d minutes or less after the end of %s%s, which therefore begins at minute %d or later",
			r.Other, r.Minutes, r.Piece, because, r.Start)
	case RuleClosed:
		return fmt.Sprintf("%s may not touch minutes %d to %d, so it begins at minute %d or later",
			r.Piece, r.Window.From, r.Window.To, r.Start)
	}
	return string(r.Kind)
}

// Conflict is the proof that no arrangement keeps every rule.
type Conflict struct {
	// Before, After and Why are those of the link that was the first found to be
	// broken: a piece that has begun would have to move, or the pieces of Chain
	// push one another on for ever. When the horizon is passed instead, Before
	// is empty and After the piece that has no room left.
	Before, After, Why string
	// Chain are the rules that forced it, in order: each gives its piece the
	// least start that the next one builds on. It begins with a piece that has
	// begun or has a NotBefore, except with Loop, and ends with the broken rule,
	// whose Start cannot be.
	Chain []Rule
	// Loop is true when Chain leads from a piece back to itself at a later
	// minute: no arrangement of any length keeps it.
	Loop bool
}

// String gives the chain, a rule a line.
func (c *Conflict) String() string {
	lines := make([]string, len(c.Chain))
	for i, r := range c.Chain {
		lines[i] = r.String()
	}
	return strings.Join(lines, "\n")
}

// conflict names what c says by number.
func (p *Problem) conflict(n *network, c *clash) *Conflict {
	out := &Conflict{Loop: c.loop}
	steps := c.chain
	if c.loop {
		steps = steps[1:] // the first is the last again, at an earlier minute
	}
	for _, r := range steps {
		out.Chain = append(out.Chain, p.rule(n, r))
	}
	last := c.chain[len(c.chain)-1]
	if c.loop || n.fixed[last.piece] && last.prev >= 0 {
		l := p.Links[last.index]
		out.Before, out.After, out.Why = l.Before, l.After, l.Why
	} else {
		out.After = p.Pieces[last.piece].ID
	}
	return out
}

func (p *Problem) rule(n *network, r raise) Rule {
	pc := &p.Pieces[r.piece]
	out := Rule{Piece: pc.ID, Start: openings.Minute(r.start)}
	switch r.cause {
	case byLow:
		out.Kind = RuleNotBefore
		if n.fixed[r.piece] {
			out.Kind = RuleBegun
		}
	case byMin:
		l := p.Links[r.index]
		out.Kind, out.Other, out.Minutes, out.Why = RuleMin, l.Before, l.Min, l.Why
	case byMax:
		l := p.Links[r.index]
		out.Kind, out.Other, out.Minutes, out.Why = RuleMax, l.After, *l.Max, l.Why
	case byWindow:
		w := n.closed[r.piece][r.index]
		out.Kind, out.Window = RuleClosed, openings.Span{From: openings.Minute(w.from), To: openings.Minute(w.to)}
	}
	return out
}

package main

import (
	"encoding/json"
	"io"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"
)

// DelayCmd is chairblock delay: what a day in progress still allows, from a
// file, answered without any database.
type DelayCmd struct {
	problemFlag
}

// projected is the answer. Minutes count from the origin of the problem.
type projected struct {
	Feasible bool                       `json:"feasible"`
	Starts   map[string]openings.Minute `json:"starts,omitempty"` // the least start of every piece
	LastEnd  *openings.Minute           `json:"last_end,omitempty"`
	// The link that was found broken first: before, after, why.
	Contradiction []string    `json:"first_contradiction_met,omitempty"`
	NoRoomFor     string      `json:"no_room_for,omitempty"` // the piece that would end after the horizon
	Chain         []chainRule `json:"chain,omitempty"`       // the rules that forced it, in order
}

// chainRule is a rule and the least start of its piece that follows from it and
// the rule before it.
type chainRule struct {
	Rule    delays.RuleKind     `json:"rule"`
	Piece   string              `json:"piece"`
	Other   string              `json:"other,omitempty"` // the piece at the other end of a link
	Minutes *openings.Minute    `json:"minutes,omitempty"`
	Closed  *[2]openings.Minute `json:"closed,omitempty"`
	Start   openings.Minute     `json:"start"`
	Why     string              `json:"why,omitempty"`
	Text    string              `json:"text"`
}

// Run answers on out and writes nothing there unless the problem is sound. That
// no arrangement keeps the rules is an answer.
func (c *DelayCmd) Run(in io.Reader, out io.Writer) error {
	p, err := readProblem(c.problemFlag, in, problemfile.ReadDelays)
	if err != nil {
		return err
	}
	found, err := delays.Project(p.Problem)
	if err != nil {
		return c.atFault(err)
	}
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	return e.Encode(newProjected(found))
}

func newProjected(p delays.Projection) projected {
	if p.Feasible {
		return projected{Feasible: true, Starts: p.Starts, LastEnd: &p.LastEnd}
	}
	var o projected
	if c := p.Conflict; c.Before == "" {
		o.NoRoomFor = c.After
	} else {
		o.Contradiction = []string{c.Before, c.After, c.Why}
	}
	for _, r := range p.Conflict.Chain {
		rule := chainRule{Rule: r.Kind, Piece: r.Piece, Other: r.Other, Start: r.Start, Why: r.Why, Text: r.String()}
		switch r.Kind {
		case delays.RuleMin, delays.RuleMax:
			rule.Minutes = &r.Minutes
		case delays.RuleClosed:
			rule.Closed = &[2]openings.Minute{r.Window.From, r.Window.To}
		case delays.RuleBegun, delays.RuleNotBefore: // the start says it all
		}
		o.Chain = append(o.Chain, rule)
	}
	return o
}

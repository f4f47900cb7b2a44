package main

import (
	"encoding/json"
	"io"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"
)

// OpeningsCmd is chairblock openings: a search problem from a file, answered
// without any database.
type OpeningsCmd struct {
	problemFlag
}

// found is the answer. Minutes count from the origin of the problem.
type found struct {
	Count       int                             `json:"count"`
	Feasible    [][2]openings.Minute            `json:"feasible"` // ranges of starts, both ends included
	First       *openings.Minute                `json:"first"`
	Last        *openings.Minute                `json:"last"`
	ByFirstRole map[string][][2]openings.Minute `json:"by_first_role"` // ranges by unit of the first role
	MinEnd      [][2]openings.Minute            `json:"min_end"`       // every start and the earliest end from there
	Missing     []string                        `json:"missing,omitempty"`
}

// Run answers on out and writes nothing there unless the problem is sound.
func (c *OpeningsCmd) Run(in io.Reader, out io.Writer) error {
	p, err := readProblem(c.problemFlag, in, problemfile.ReadOpenings)
	if err != nil {
		return err
	}
	snap, err := openings.NewSnapshot(p.Shop)
	if err != nil {
		return c.atFault(err)
	}
	plan, err := openings.Compile(p.Visit, snap)
	if err != nil {
		var f scheduling.Faults
		if err := f.Join("visit", err); err != nil {
			return err
		}
		return c.atFault(f)
	}
	starts, err := plan.Search(snap, p.Query)
	if err != nil {
		return c.atFault(err)
	}
	answer := newFound(starts)
	answer.Missing = plan.Missing()
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	return e.Encode(answer)
}

func newFound(starts *openings.StartSet) found {
	o := found{Count: starts.Count(), Feasible: pairs(starts.Ranges()),
		ByFirstRole: map[string][][2]openings.Minute{}, MinEnd: [][2]openings.Minute{}}
	if first, ok := starts.First(); ok {
		last, _ := starts.Last()
		o.First, o.Last = &first, &last
	}
	for id, ranges := range starts.ByFirstRole() {
		o.ByFirstRole[id] = pairs(ranges)
	}
	for start := range starts.All() {
		if end, ok := starts.MinEnd(start); ok {
			o.MinEnd = append(o.MinEnd, [2]openings.Minute{start, end})
		}
	}
	return o
}

func pairs(ranges []openings.StartRange) [][2]openings.Minute {
	out := make([][2]openings.Minute, len(ranges))
	for i, r := range ranges {
		out[i] = [2]openings.Minute{r.From, r.To}
	}
	return out
}

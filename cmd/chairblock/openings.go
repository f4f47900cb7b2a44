package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"chairblock/scheduling"
)

// OpeningsCmd is chairblock openings: a search problem from a file, answered
// without any database.
type OpeningsCmd struct {
	Problem string `short:"p" required:"" placeholder:"FILE" help:"Read the problem from a JSON file of schema openings/1, task T1; - is standard input."`
}

// openings is the answer. Minutes count from the origin of the problem.
type openings struct {
	Count       int                               `json:"count"`
	Feasible    [][2]scheduling.Minute            `json:"feasible"` // ranges of starts, both ends included
	First       *scheduling.Minute                `json:"first"`
	Last        *scheduling.Minute                `json:"last"`
	ByFirstRole map[string][][2]scheduling.Minute `json:"by_first_role"` // ranges by unit of the first role
	MinEnd      [][2]scheduling.Minute            `json:"min_end"`       // every start and the earliest end from there
	Missing     []string                          `json:"missing,omitempty"`
}

// Run answers on out and writes nothing there unless the problem is sound.
func (c *OpeningsCmd) Run(in io.Reader, out io.Writer) error {
	p, err := c.read(in)
	if err != nil {
		return c.oneLine(err)
	}
	snap, err := scheduling.NewSnapshot(p.Shop)
	if err != nil {
		return c.oneLine(err)
	}
	plan, err := scheduling.Compile(p.Visit, snap)
	if err != nil {
		var f scheduling.Faults
		if err := f.Join("visit", err); err != nil {
			return err
		}
		return c.oneLine(f)
	}
	starts, err := plan.Search(snap, p.Query)
	if err != nil {
		return c.oneLine(err)
	}
	answer := newOpenings(starts)
	answer.Missing = plan.Missing()
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	return e.Encode(answer)
}

func (c *OpeningsCmd) read(in io.Reader) (*scheduling.Problem, error) {
	if c.Problem == "-" {
		return scheduling.ReadProblem(in)
	}
	f, err := os.Open(c.Problem)
	if err != nil {
		return nil, usagef("%v", err)
	}
	defer f.Close()
	return scheduling.ReadProblem(f)
}

// oneLine puts the first faults of the file into one line and counts the rest.
func (c *OpeningsCmd) oneLine(err error) error {
	const most = 3
	text := err.Error()
	if faults, ok := errors.AsType[scheduling.Faults](err); ok && len(faults) > most {
		text = fmt.Sprintf("%v; and more like these", faults[:most])
	}
	if _, named := errors.AsType[*usageError](err); named || c.Problem == "-" {
		return usagef("%s", text)
	}
	return usagef("%s: %s", c.Problem, text)
}

func newOpenings(starts *scheduling.StartSet) openings {
	o := openings{Count: starts.Count(), Feasible: pairs(starts.Ranges()),
		ByFirstRole: map[string][][2]scheduling.Minute{}, MinEnd: [][2]scheduling.Minute{}}
	if first, ok := starts.First(); ok {
		last, _ := starts.Last()
		o.First, o.Last = &first, &last
	}
	for id, ranges := range starts.ByFirstRole() {
		o.ByFirstRole[id] = pairs(ranges)
	}
	for start := range starts.All() {
		if end, ok := starts.MinEnd(start); ok {
			o.MinEnd = append(o.MinEnd, [2]scheduling.Minute{start, end})
		}
	}
	return o
}

func pairs(ranges []scheduling.StartRange) [][2]scheduling.Minute {
	out := make([][2]scheduling.Minute, len(ranges))
	for i, r := range ranges {
		out[i] = [2]scheduling.Minute{r.From, r.To}
	}
	return out
}

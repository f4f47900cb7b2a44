package main

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"os/signal"
	"time"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
	"chairblock/scheduling/problemfile"
)

// PackCmd is chairblock pack: the best packing of visits from a file, found
// without any database. An interrupt ends the search, not the answer.
type PackCmd struct {
	problemFlag
	Seed    uint64  `default:"1" placeholder:"N" help:"Start of the random numbers: the same file, seed and rounds give the same answer."`
	Seconds float64 `placeholder:"S" xor:"budget" help:"Stop after so many seconds with the best found until then; 2 when nothing is said. What is proven to be the best stops at once."`
	Rounds  int     `placeholder:"N" xor:"budget" help:"Stop after so many rounds instead."`
}

// Limits of what one call may take: judgement.
const (
	defaultSeconds = 2
	maxSeconds     = 3600
	maxRounds      = 100_000_000
)

// packed is the answer. Minutes count from the origin of the problem. The value
// of the packing, or the minute of its last end, is called optimal only when it
// is proven that none is better.
type packed struct {
	Optimal  *int            `json:"optimal,omitempty"`
	Best     *int            `json:"best,omitempty"`
	Unit     string          `json:"unit"`     // of optimal, best and bound
	Bound    int             `json:"bound"`    // no packing is beyond it
	Proven   bool            `json:"proven"`   // that no packing is better, or serves all that have to be
	Complete bool            `json:"complete"` // all that have to be served are
	Value    int             `json:"value"`
	Makespan openings.Minute `json:"makespan"`
	Schedule packedVisits    `json:"schedule"`
	Unplaced []unplaced      `json:"unplaced,omitempty"`
	Moved    []moved         `json:"moved,omitempty"`
}

type packedVisits struct {
	Visits []packedVisit `json:"visits"`
}

type packedVisit struct {
	Request string            `json:"request"`
	Roles   map[string]string `json:"roles"`
	Phases  []packedPhase     `json:"phases"`
}

type packedPhase struct {
	Phase string          `json:"phase"`
	Start openings.Minute `json:"start"`
	End   openings.Minute `json:"end"`
	Pool  []string        `json:"pool"`
}

type unplaced struct {
	Request string `json:"request"`
	Why     string `json:"why"`
}

// moved is a request that does not stay where it stood.
type moved struct {
	Request string          `json:"request"`
	From    openings.Minute `json:"from"`
	To      openings.Minute `json:"to"`
	Units   []unitChange    `json:"units,omitempty"`
	Cost    int             `json:"cost"`
}

type unitChange struct {
	Job  string `json:"job"` // role, or phase of an extra unit
	From string `json:"from"`
	To   string `json:"to"`
}

// Run answers on out and writes nothing there unless the problem is sound.
func (c *PackCmd) Run(in io.Reader, out io.Writer) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	if c.Rounds < 0 || c.Rounds > maxRounds {
		return usagef("--rounds is %d; expected 1 to %d, or 0 for a limit of time instead", c.Rounds, maxRounds)
	}
	if !(c.Seconds >= 0 && c.Seconds <= maxSeconds) { // not a number, too
		return usagef("--seconds is %v; expected more than 0, at most %d, or 0 for the default", c.Seconds, maxSeconds)
	}
	p, err := readProblem(c.problemFlag, in, problemfile.ReadPacking)
	if err != nil {
		return err
	}
	if c.Rounds == 0 {
		if c.Seconds == 0 {
			c.Seconds = defaultSeconds
		}
		timed, cancel := context.WithTimeout(ctx, time.Duration(c.Seconds*float64(time.Second)))
		defer cancel()
		ctx = timed
	}
	found, err := packing.Pack(ctx, p.Problem, packing.Options{Seed: c.Seed, Rounds: c.Rounds})
	if err != nil {
		return c.atFault(err)
	}
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	return e.Encode(newPacked(p.Problem.Objective, found))
}

func newPacked(o packing.Objective, r *packing.Result) packed {
	reached := r.Value
	p := packed{Unit: "value", Bound: r.Bound, Proven: r.Proven, Complete: r.Complete,
		Value: r.Value, Makespan: r.Makespan, Schedule: packedVisits{Visits: []packedVisit{}}}
	if o == packing.MinMakespan {
		reached, p.Unit = int(r.Makespan), "minute of the last end"
	}
	switch {
	case !r.Complete: // what it reached compares with nothing
	case r.Proven:
		p.Optimal = &reached
	default:
		p.Best = &reached
	}
	for _, v := range r.Placed {
		p.Schedule.Visits = append(p.Schedule.Visits, newPackedVisit(v))
	}
	for _, u := range r.Unplaced {
		p.Unplaced = append(p.Unplaced, unplaced(u))
	}
	for _, m := range r.Moved {
		to := moved{Request: m.Request, From: m.From, To: m.To, Cost: m.Cost}
		for _, u := range m.Units {
			to.Units = append(to.Units, unitChange(u))
		}
		p.Moved = append(p.Moved, to)
	}
	return p
}

func newPackedVisit(v packing.Placement) packedVisit {
	out := packedVisit{Request: v.Request, Roles: v.Schedule.Roles, Phases: make([]packedPhase, len(v.Schedule.Phases))}
	for i, ph := range v.Schedule.Phases {
		out.Phases[i] = packedPhase{ph.Phase, ph.Start, ph.End, append([]string{}, ph.Pool...)}
	}
	return out
}

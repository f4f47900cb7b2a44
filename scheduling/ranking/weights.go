package ranking

import (
	"math"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// Weights say what each part of a cost is worth, in lost standard visits. Zero
// switches a part off. All defaults are judgement, no source.
type Weights struct {
	// Lost is the cost of one standard visit that no longer fits (0 to 1000,
	// default 1).
	Lost float64
	// Wish is the cost of an hour between the start and the wished time of day
	// (0 to 1000, default 0.5: two hours off are as bad as one lost visit).
	Wish float64
	// OtherLead is the cost of a stylist in charge who is not the wished one (0
	// to 1000, default 1).
	OtherLead float64
	// Stay is the cost of an hour that the client stays beyond the least that
	// the visit can last (0 to 1000, default 0.5).
	Stay float64
	// Slack is the cost of no slack at all after steps that cannot wait; it
	// falls evenly to nothing at SlackCap (0 to 1000, default 0.25).
	Slack float64
	// Early is the cost of a day later (0 to 1000, default 0.005: a tie-breaker
	// that 200 days make as dear as one lost visit).
	Early float64
	// SlackCap is the slack beyond which more is worth nothing, in minutes (1
	// to 120, default 10).
	SlackCap openings.Minute
}

// maxWeight keeps sums finite and readable (judgement).
const maxWeight = 1000

// DefaultWeights returns the defaults named at the fields.
func DefaultWeights() Weights {
	return Weights{Lost: 1, Wish: 0.5, OtherLead: 1, Stay: 0.5, Slack: 0.25, Early: 0.005, SlackCap: 10}
}

// Validate returns Faults that name every weight outside its range.
func (w Weights) Validate() error {
	var f scheduling.Faults
	for _, x := range []struct {
		field string
		value float64
	}{
		{"lost", w.Lost}, {"wish", w.Wish}, {"other_lead", w.OtherLead},
		{"stay", w.Stay}, {"slack", w.Slack}, {"early", w.Early},
	} {
		f.Between(x.field, x.value, 0, maxWeight, "lost standard visits")
	}
	if w.SlackCap < 1 || w.SlackCap > 120 {
		f.Addf("slack_cap_minutes", "1 to 120 minutes", "is %d", w.SlackCap)
	}
	return f.Err()
}

// Parts are what a candidate costs, before weighing.
type Parts struct {
	// Lost is the worth of the standard visits that fit into the rest of the
	// day before and not after, in standard visits: one is the average worth of
	// a visit of the usual mix. Never below 0, because a visit makes no room;
	// where greedy packing finds more after than before, it is 0.
	Lost float64
	// Wish is the minutes between the start and the wished time of that day.
	Wish openings.Minute
	// OtherLead is true when a stylist is wished and another one is in charge.
	OtherLead bool
	// Stay is how much longer the client stays than the visit must last, in
	// minutes.
	Stay openings.Minute
	// Slack is for how many minutes, at most Weights.SlackCap, the steps that
	// cannot wait may overrun before a unit that they use is needed by another
	// client, has a break or goes home, or the premises close. Later steps of
	// the visit with the same unit are taken to move along. It is SlackCap for
	// a visit in which every step may wait.
	Slack openings.Minute
	// Later is the minutes from the beginning of the first day to the start.
	Later openings.Minute
}

// Costs are the weighed parts, in lost standard visits.
type Costs struct{ Wish, OtherLead, Early, Stay, Slack, Lost float64 }

// Total is the sum of all parts.
func (c Costs) Total() float64 { return c.Wish + c.OtherLead + c.Early + c.Stay + c.Slack + c.Lost }

// Costs weighs p.
func (w Weights) Costs(p Parts) Costs {
	c := Costs{
		Wish:  w.Wish * float64(p.Wish) / 60,
		Early: w.Early * float64(p.Later) / 1440,
		Stay:  w.Stay * float64(p.Stay) / 60,
		Lost:  w.Lost * p.Lost,
	}
	if p.OtherLead {
		c.OtherLead = w.OtherLead
	}
	if w.SlackCap > 0 {
		c.Slack = w.Slack * float64(w.SlackCap-min(p.Slack, w.SlackCap)) / float64(w.SlackCap)
	}
	return c
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

package chairtime

// Proposal marks a plan that the desk should offer.
type Proposal string

// Proposals. A long head is normally done in batches; a helper is offered
// beside them, because not every salon has one free.
const (
	ProposeAlone         Proposal = "alone"          // fewest batches by one stylist
	ProposeHelper        Proposal = "helper"         // two pairs of hands, no batches
	ProposeHelperBatches Proposal = "helper_batches" // two pairs of hands, fewest batches
)

// PlanOption is one way to go about a head: so many batches by so many pairs
// of hands.
type PlanOption struct {
	Batches, Hands int
	Mean, Promise  float64 // minutes
	Block          int     // minutes to book
	// Exposure is how long product stays on the first section of a batch on
	// means, BookedExposure on the booked minutes with wait and walk.
	Exposure, BookedExposure float64
	// Level is what BookedExposure calls for; "" when it is below the limit.
	Level    CautionLevel
	Proposal Proposal // "" when the plan is not proposed
}

// Plans works h out for 1 to 6 batches by 1 and by 2 pairs of hands, whatever
// h.Batches and h.Hands say, in the order of hands, then batches. With k
// batches product stays on the first section for the application divided by k
// plus processing; the visit grows by processing and a short rinse for each
// batch after the first.
//
// Proposed are the fewest batches below the limit for one stylist; with a
// helper, no batches if that is enough, otherwise the fewest batches below the
// limit. What cannot get below the limit is not proposed, nor are more batches
// than the hair has sections: a batch is at least one of them.
//
// It returns Faults as Estimate does.
func (c Settings) Plans(h Head) ([]PlanOption, error) {
	if err := c.ready(h); err != nil {
		return nil, err
	}
	return c.plans(h), nil
}

func (c *Settings) plans(h Head) []PlanOption {
	out := make([]PlanOption, 0, maxHands*maxBatches)
	var room [mostSteps]StepTime
	for hands := 1; hands <= maxHands; hands++ {
		found := false
		for k := 1; k <= maxBatches; k++ {
			p := c.plan(room[:], h, hands, k)
			if p.Level == "" && !found && k <= h.Sections {
				found = true
				p.Proposal = proposal(hands, k)
			}
			out = append(out, p)
		}
	}
	return out
}

// plan works h out for so many batches by so many pairs of hands; room is for
// its steps.
func (c *Settings) plan(room []StepTime, h Head, hands, batches int) PlanOption {
	h.Hands, h.Batches = hands, batches
	e, _ := c.estimateIn(room, h)
	return PlanOption{
		Batches: batches, Hands: hands,
		Mean: e.Mean, Promise: e.Promise, Block: e.Block,
		Exposure: e.FirstStrandExposure, BookedExposure: e.BookedExposure,
		Level: c.exposureLevel(h, e.BookedExposure),
	}
}

func proposal(hands, batches int) Proposal {
	switch {
	case hands == 1:
		return ProposeAlone
	case batches == 1:
		return ProposeHelper
	}
	return ProposeHelperBatches
}

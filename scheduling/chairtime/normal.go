package chairtime

import (
	"strconv"
)

// Most is what a plan may use at most: what the steps of the service allow and
// whom the salon has.
type Most struct{ Batches, Hands int }

// NormalPlan is NormalPlanWithin without other bounds than those of the model.
func (c Settings) NormalPlan(h Head) (Head, PlanOption, error) {
	return c.NormalPlanWithin(h, Most{maxBatches, maxHands})
}

// NormalPlanWithin chooses how to go about h as a salon normally does, and
// returns h with the hands and the batches of that plan:
//
//  1. as asked, when product then stays on for less than the limit at which to
//     warn, by the booked minutes;
//  2. otherwise the fewest batches below that limit with the hands asked for;
//  3. otherwise, where one stylist was to be alone, a helper and the fewest
//     batches below it;
//  4. otherwise, among all these, the plan with the shortest exposure.
//
// What 4 chooses may still have to be warned of, or to be refused: Level says
// so. There are never more batches than sections, since a batch is at least one
// of them, nor more than most allows, unless h asks for more itself.
//
// It returns Faults as Estimate does.
func (c Settings) NormalPlanWithin(h Head, most Most) (Head, PlanOption, error) {
	if err := c.ready(h); err != nil {
		return h, PlanOption{}, err
	}
	var room [mostSteps]StepTime
	best := c.plan(room[:], h, h.Hands, h.batches())
	batches := min(most.Batches, h.Sections, maxBatches)
	for hands := h.Hands; hands <= max(min(most.Hands, maxHands), h.Hands) && best.Level != ""; hands++ {
		for k := 1; k <= batches && best.Level != ""; k++ {
			if p := c.plan(room[:], h, hands, k); p.Level == "" || p.BookedExposure < best.BookedExposure {
				best = p
			}
		}
	}
	if best.Level == "" {
		best.Proposal = proposal(best.Hands, best.Batches)
	}
	h.Hands, h.Batches = best.Hands, best.Batches
	return h, best, nil
}

// Words says a plan for people: "2 batches by one stylist".
func (p PlanOption) Words() string {
	who := " by one stylist"
	if p.Hands > 1 {
		who = " by two pairs of hands"
	}
	if p.Batches <= 1 {
		return "all at once" + who
	}
	return strconv.Itoa(p.Batches) + " batches" + who
}

// ExposureWords says how long product stays on in p by the booked minutes, and
// what that calls for on hair like h.
func (c Settings) ExposureWords(h Head, p PlanOption) string {
	warn, refuse := c.exposureLimits(h)
	s := "product on the first section for " + brief(p.BookedExposure) + " min"
	switch p.Level {
	case LevelWarn:
		return s + ", longer than the " + brief(warn) + " to stay below"
	case LevelRefuse:
		return s + ", which must be rinsed before " + brief(refuse)
	case LevelNeedsYes:
	}
	return s
}

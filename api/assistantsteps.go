package api

import (
	"context"
	"fmt"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
)

// RulesAnswer is the rules of booking with the visits that contradict them.
type RulesAnswer struct {
	BookingRules
	Assisted []AssistedStepBody `json:"assisted_against_rule" nullable:"false" doc:"Steps of visits to come that are booked with an assistant although assistant_steps does not name them: the desk has to move them"`
}

// AssistedStepBody is a step that an assistant is booked for.
type AssistedStepBody struct {
	VisitID string    `json:"visit_id"`
	Start   time.Time `json:"start" doc:"When the visit begins"`
	Kind    string    `json:"kind"`
	Label   string    `json:"label"`
	StaffID string    `json:"staff_id"`
}

// assistants are the kinds of steps that an assistant may do.
func (b BookingRules) assistants() []scheduling.StepKind {
	if b.AssistantSteps == nil {
		return scheduling.StandardAssistantSteps()
	}
	out := make([]scheduling.StepKind, len(b.AssistantSteps))
	for i, k := range b.AssistantSteps {
		out[i] = scheduling.StepKind(k)
	}
	return out
}

// checkAssistants notes what is no kind of step.
func (b BookingRules) checkAssistants(f *scheduling.Faults) {
	for i, k := range b.AssistantSteps {
		switch {
		case !scheduling.StepKind(k).Valid():
			f.Add(index("assistant_steps", i), "is not the kind of a step", "small letters, digits and _, such as rinse_1")
		case slices.Contains(b.AssistantSteps[:i], k):
			f.Add(index("assistant_steps", i), "is there twice", "each kind once")
		}
	}
}

func kindNames(list []scheduling.StepKind) []string {
	out := make([]string, len(list))
	for i, k := range list {
		out[i] = string(k)
	}
	return out
}

func (s *Server) writeRules(ctx context.Context, t *store.Tx, n store.Salon) (*found[RulesAnswer], error) {
	b, err := bookingRules(n)
	if err != nil {
		return nil, err
	}
	b.AssistantSteps = kindNames(b.assistants())
	b.UsualMix = shownMix(b.UsualMix, unitsOf(n))
	loc, err := n.Location()
	if err != nil {
		return nil, fmt.Errorf("api: zone of salon: %w", err)
	}
	steps, err := t.AssistedSteps(ctx, s.now(), b.assistants())
	out := &found[RulesAnswer]{ETag: etag(n.Version), Body: RulesAnswer{BookingRules: b, Assisted: []AssistedStepBody{}}}
	for _, x := range steps {
		out.Body.Assisted = append(out.Body.Assisted, AssistedStepBody{x.Visit, x.Start.In(loc), string(x.Kind), x.Label, x.Staff})
	}
	return out, err
}

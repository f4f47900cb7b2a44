package api

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// RulesAnswer is the rules of booking with the visits that contradict them.
type RulesAnswer struct {
	BookingRules
	Assisted []AssistedStepBody `json:"assisted_against_rule" readOnly:"true" required:"false" nullable:"false" doc:"Steps of visits to come that are booked with an assistant although assistant_steps does not name them: the desk has to move them"`
}

// Resolve holds what is wrong with b beside what its description refuses.
// The framework does not look into what is embedded beside it, so that hair is
// turned into SI units here.
func (b *RulesAnswer) Resolve(ctx huma.Context, at *huma.PathBuffer) []error {
	var errs []error
	for i := range b.UsualMix {
		if hair := b.UsualMix[i].Hair; hair != nil {
			at.Push("usual_mix")
			at.PushIndex(i)
			at.Push("hair")
			errs = append(errs, hair.Resolve(ctx, at)...)
			at.Pop()
			at.Pop()
			at.Pop()
		}
	}
	var f scheduling.Faults
	b.check(&f)
	hold(ctx, at, f.Err())
	return errs
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

// assistedKinds are the steps of x that an assistant may do here.
func (n salonDay) assistedKinds(x scheduling.Service) []scheduling.StepKind {
	may := n.rules.assistants()
	var out []scheduling.StepKind
	for _, st := range x.LedWhere(may).Steps {
		if st.Who != scheduling.ByAssistant {
			continue
		}
		out = append(out, st.Kind)
		if st.Kind == scheduling.Rinse1 && slices.Contains(may, scheduling.RinseShort) { // which no service names
			out = append(out, scheduling.RinseShort)
		}
	}
	return out
}

// assisted sets the minutes of e, an estimate of x, that an assistant may do.
func (n salonDay) assisted(x scheduling.Service, e *EstimateBody) {
	kinds := n.assistedKinds(x)
	e.AssistantMinutes = 0
	for _, st := range e.Steps {
		if slices.Contains(kinds, scheduling.StepKind(st.Kind)) {
			e.AssistantMinutes += st.MeanMinutes
		}
	}
	e.AssistantMinutes = decimals(e.AssistantMinutes, 2)
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

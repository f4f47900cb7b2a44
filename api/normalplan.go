package api

import (
	"context"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// Values of HeadBody.Plan; an empty one means AsGivenPlan.
const (
	AsGivenPlan = "as_given"
	NormalPlan  = "normal"
)

// CheckPlan notes a plan that there is not.
func (b HeadBody) CheckPlan(f *scheduling.Faults) {
	if b.Plan != "" && b.Plan != AsGivenPlan && b.Plan != NormalPlan {
		f.Addf("plan", AsGivenPlan+" or "+NormalPlan, "is %q", b.Plan)
	}
}

// estimate works x out with c on the hair of b, and returns that hair with the
// hands and the batches of the normal plan where that is asked for, as given
// otherwise. What is kept says how it is done, not how that was found.
func estimate(ctx context.Context, t *store.Tx, c chairtime.Settings, x scheduling.Service, b HeadBody) (HeadBody, EstimateBody, error) {
	h := hairFor(x, b)
	if b.Plan != NormalPlan {
		b.Plan = ""
		e, err := c.Estimate(h)
		return b, NewEstimateBody(e), err
	}
	h, p, err := normalPlan(ctx, t, c, x, h)
	if err != nil {
		return b, EstimateBody{}, err
	}
	b.Plan, b.Hands, b.Batches = "", h.Hands, h.Batches
	e, err := c.Estimate(h)
	return b, NewEstimateBody(e).Normal(p), err
}

// normalPlan is the normal plan for h among those that the steps of x and the
// salon's people allow.
func normalPlan(ctx context.Context, t *store.Tx, c chairtime.Settings, x scheduling.Service, h chairtime.Head) (chairtime.Head, chairtime.PlanOption, error) {
	most := chairtime.Most{Batches: 1, Hands: 1}
	if x.InBatches() {
		most.Batches = h.Sections
	}
	if shared(x) {
		staff, err := t.StaffList(ctx)
		if err != nil {
			return h, chairtime.PlanOption{}, err
		}
		most.Hands = min(2, countAble(staff, x.Skill))
	}
	return c.NormalPlanWithin(h, most)
}

// shared reports whether a second pair of hands makes some step of x shorter.
func shared(x scheduling.Service) bool {
	return slices.ContainsFunc(x.Steps, func(st scheduling.Step) bool { return st.Helper })
}

// countAble counts the stylists who may do a service that asks for skill.
func countAble(staff []store.Staff, skill string) int {
	n := 0
	for _, p := range staff {
		if p.MayLead && p.Active && (skill == "" || slices.Contains(p.Skills, skill)) {
			n++
		}
	}
	return n
}

// nameNormal says beside a refused exposure which plan would not be refused.
func (w *worked) nameNormal(ctx context.Context, t *store.Tx, c chairtime.Settings, x scheduling.Service) error {
	i := slices.IndexFunc(w.cautions, func(k CautionBody) bool {
		return k.Code == chairtime.CautionExposure && k.Level == string(chairtime.LevelRefuse)
	})
	if i < 0 {
		return nil
	}
	h, p, err := normalPlan(ctx, t, c, x, w.head())
	if err != nil {
		return err
	}
	k := &w.cautions[i]
	if p.Level == chairtime.LevelRefuse {
		k.Text += " No number of batches or hands here is enough: the licensed person decides on another service or a cut first."
		return nil
	}
	w.normal = p.Words()
	k.Text += " The normal plan is " + w.normal + ": " + c.ExposureWords(h, p) + "."
	return nil
}

// askNormal names the normal plan to whoever asked for service i in another way.
func (w *worked) askNormal(i int) FieldProblem {
	at, expected := "/hair/plan", NormalPlan+", which is "+w.normal
	if w.id != "" {
		at, expected = "/estimate_id", "an estimate of this hair with the plan "+expected
	}
	return FieldProblem{In: "body", Pointer: pointer(index("services", i)) + at, Detail: "leaves product on for too long", Expected: expected}
}

// head is the hair as it was worked out: in two stages where the estimate has
// them, whatever the service does by now.
func (w *worked) head() chairtime.Head {
	h := w.hair.Head()
	h.TwoStage = slices.ContainsFunc(w.result.Steps, func(st StepTimeBody) bool { return st.Kind == string(scheduling.Apply1) })
	return h
}

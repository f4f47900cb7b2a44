package api

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

type extendInput struct {
	ByID
	Precondition
	Body struct {
		Minutes    int    `json:"minutes" minimum:"1" maximum:"240" doc:"How much longer the step lasts"`
		Step       *int   `json:"step,omitempty" minimum:"0" maximum:"199" doc:"Which step lasts longer, counted from 0; left out: the one that is going on, else the last one with hands on"`
		ApprovedBy string `json:"approved_by,omitempty" doc:"Licensed person who said yes when the new end is too near to another visit of the client; a visit that has begun is extended without"`
	}
}

func (s *Server) extendRoutes() {
	route(s, huma.Operation{OperationID: "extend-visit", Method: http.MethodPost, Path: "/visits/{id}/extend",
		Summary: "Let a step of a visit last longer and everything after it follow"}, s.extendVisit)
}

func (s *Server) extendVisit(ctx context.Context, in *extendInput) (*found[VisitBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) {
		return s.extend(ctx, t, n, in.ID, version, in.Body.Minutes, in.Body.Step, in.Body.ApprovedBy)
	})
}

// extend lets a step of a visit last longer: the one with that ordinal, or the
// one that is going on, else the last one with hands on. What follows moves only
// as far as it must, waits are used up first, and the units stay. A clash says
// who is in the way and how many minutes would still fit. An end that is too
// near to another visit of the client needs the yes of approvedBy, unless the
// visit has begun.
func (s *Server) extend(ctx context.Context, t *store.Tx, n salonDay, id string, version int64, minutes int, ordinal *int,
	approvedBy string) (store.Visit, error) {
	v, err := t.LockVisit(ctx, id, version)
	if err != nil {
		return v, err
	}
	if err := mayMove(n, v, v.Start, s.now()); err != nil {
		return v, err
	}
	step, err := stepToExtend(v, ordinal, s.now())
	if err != nil {
		return v, err
	}
	x, err := s.lengthening(ctx, t, n, v, step)
	if err == nil {
		err = x.mayOverrun()
	}
	if err != nil {
		return v, err
	}
	if err := x.exposed(ctx, t, n, minutes); err != nil {
		return v, err
	}
	sch, ok, err := x.by(minutes)
	if err != nil {
		return v, err
	}
	if !ok {
		return v, x.tooLong(ctx, t, n, minutes)
	}
	// Hair that takes longer does so whatever was agreed with others.
	return s.move(ctx, t, n, change{id: id, version: version, link: looseLink, approvedBy: approvedBy, work: x.longer(minutes),
		exact: &exact{h: x.h, sch: sch}})
}

// stepToExtend is the step that lasts longer.
func stepToExtend(v store.Visit, step *int, now time.Time) (int, error) {
	at := stepAt(v, now)
	if step != nil {
		at = *step
	}
	if at < 0 || at >= len(v.Steps) {
		return 0, &scheduling.InvalidError{Field: "step", Problem: fmt.Sprintf("is %d", at), Want: fmt.Sprintf("0 to %d, a step of the visit", len(v.Steps)-1)}
	}
	return at, nil
}

// stepAt is the step that is going on: by what was noted, or else by the plan at
// now; when there is none the last one with hands on.
func stepAt(v store.Visit, now time.Time) int {
	last := 0
	for i, st := range v.Steps {
		if st.RealStart != nil && st.RealEnd == nil {
			return i
		}
	}
	for i, st := range v.Steps {
		if !now.Before(st.Start) && now.Before(st.End) {
			return i
		}
		if st.HandsOn {
			last = i
		}
	}
	return last
}

// lengthening tries how much longer a step of a visit can last.
type lengthening struct {
	v    store.Visit
	step int
	c    *composed         // as it was booked
	now  openings.Schedule // as it was booked
	h    openings.Horizon
	shop openings.Shop // without the visit
	snap *openings.Snapshot
}

func (s *Server) lengthening(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, step int) (*lengthening, error) {
	x := &lengthening{v: v, step: step}
	d := scheduling.CivilDate(v.Start, n.loc)
	x.h = around(n.loc, d, d)
	var err error
	if x.c, err = recompose(ctx, t, v, newLead{}); err != nil {
		return nil, err
	}
	var ok bool
	if x.now, ok = scheduleOf(x.c.plan, v, x.h); !ok {
		return nil, fmt.Errorf("api: extend: visit %s has other steps than its services", v.ID)
	}
	if x.shop, err = t.LoadShop(ctx, x.h, s.now(), v.ID); err != nil {
		return nil, err
	}
	n.tidy(x.c.plan, x.shop)
	x.now = x.c.plan.Cleared(x.now)
	if x.snap, err = openings.NewSnapshot(x.shop); err != nil {
		return nil, fmt.Errorf("api: extend: %w", err)
	}
	return x, nil
}

// mayOverrun refuses a step of which its service says that it may not last longer
// than booked.
func (x *lengthening) mayOverrun() error {
	st := x.c.plan.Steps[x.step]
	switch {
	case st.MayOverrun:
		return nil
	case !st.HandsOn:
		return conflict(fmt.Sprintf("product works while it says “%s”, which is never made longer or shorter: name the step that takes longer", st.Label))
	}
	return conflict(fmt.Sprintf("“%s” may not last longer than booked: name another step that takes longer", st.Label))
}

// longer is the visit with the step some minutes longer.
func (x *lengthening) longer(minutes int) *composed {
	c, plan := *x.c, *x.c.plan
	plan.Spec.Phases, plan.Steps = slices.Clone(plan.Spec.Phases), slices.Clone(plan.Steps)
	plan.Spec.Phases[x.step].Minutes += openings.Minute(minutes)
	plan.Steps[x.step].Length += minutes
	c.plan = &plan
	return &c
}

// pushed is the schedule in which every later step begins when it was to, or as
// soon as it can after the one before it.
func (x *lengthening) pushed(minutes int) openings.Schedule {
	out := later(x.now, 0)
	out.Phases[x.step].End += openings.Minute(minutes)
	for i := x.step + 1; i < len(out.Phases); i++ {
		ph := &out.Phases[i]
		if by := out.Phases[i-1].End + x.c.plan.Spec.Gaps[i-1].Min - ph.Start; by > 0 {
			ph.Start += by
			ph.End += by
		}
	}
	return out
}

// by is a schedule with the step some minutes longer, and false when there is
// none with the same units: the one that changes least, or else one in which the
// client waits for somebody within the rules.
func (x *lengthening) by(minutes int) (openings.Schedule, bool, error) {
	spec := x.longer(minutes).plan.Spec
	sch := x.pushed(minutes)
	if len(openings.Check(sch, spec, x.shop)) == 0 {
		return sch, true, nil
	}
	p, err := openings.Compile(x.pinned(spec), x.snap)
	if err != nil {
		return sch, false, fmt.Errorf("api: extend: %w", err)
	}
	at := sch.Phases[0].Start
	set, err := p.Search(x.snap, openings.Query{From: at, To: at, Grid: 1})
	if err != nil {
		return sch, false, fmt.Errorf("api: extend: %w", err)
	}
	sch, ok := set.Assign(at, "")
	if !ok {
		return sch, false, nil
	}
	return openings.Settle(sch, x.pinned(spec), x.shop), true, nil
}

// pinned leaves a visit its units, and everything up to the longer step its
// time.
func (x *lengthening) pinned(spec openings.VisitSpec) openings.VisitSpec {
	spec.Roles, spec.Phases, spec.Gaps = slices.Clone(spec.Roles), slices.Clone(spec.Phases), slices.Clone(spec.Gaps)
	for i := range spec.Roles {
		spec.Roles[i].Only = []string{x.now.Roles[spec.Roles[i].Name]}
	}
	for i := range spec.Phases {
		pool := slices.Clone(spec.Phases[i].Pool)
		for k := range pool {
			pool[k].Only = []string{x.now.Phases[i].Pool[k]}
		}
		spec.Phases[i].Pool = pool
	}
	for i := range x.step {
		wait := x.now.Phases[i+1].Start - x.now.Phases[i].End
		spec.Gaps[i].Min, spec.Gaps[i].Max = wait, wait
	}
	return spec
}

// exposed refuses an extension with which product stays on the first section
// for too long.
func (x *lengthening) exposed(ctx context.Context, t *store.Tx, n salonDay, minutes int) error {
	service := x.c.plan.Steps[x.step].Service
	estimate := x.v.Services[service].Estimate
	before, after := exposureOf(x.c, service), exposureOf(x.longer(minutes), service)
	if after <= before {
		return nil
	}
	if estimate == nil {
		return x.unjudged(ctx, t, service, after)
	}
	row, err := t.EstimateByID(ctx, *estimate)
	if err != nil {
		return err
	}
	w, err := readEstimate(row)
	if err != nil {
		return err
	}
	c, ok := n.time.ExposureCaution(w.hair.Head(), after)
	if !ok || c.Level != chairtime.LevelRefuse {
		return nil
	}
	p := newProblem(http.StatusUnprocessableEntity, "refused", c.Text)
	p.Cautions = []CautionBody{{string(c.Level), c.Code, c.Text}}
	return p
}

// unjudged refuses a longer exposure to chemicals of hair that nobody described.
func (x *lengthening) unjudged(ctx context.Context, t *store.Tx, service, after int) error {
	b := x.v.Services[service]
	row, err := t.ServiceVersion(ctx, b.Service, b.Version)
	if err != nil || !row.Service.Chemical {
		return err
	}
	return newProblem(http.StatusUnprocessableEntity, "refused", fmt.Sprintf(
		"product would stay on for up to %d minutes, and %s was booked without the client's hair: nobody can judge whether it bears that, so this step is not made longer",
		after, b.Name))
}

// exposureOf is how long product stays on the first section in a service.
func exposureOf(c *composed, service int) int {
	var steps []scheduling.TimedStep
	for _, st := range c.plan.Steps {
		if st.Service == service {
			steps = append(steps, st.TimedStep)
		}
	}
	return scheduling.Exposure(steps)
}

// tooLong says what is in the way and how many minutes still fit.
func (x *lengthening) tooLong(ctx context.Context, t *store.Tx, n salonDay, minutes int) error {
	most := 0
	for m := minutes - 1; m > 0 && most == 0; m-- {
		_, ok, err := x.by(m)
		if err != nil {
			return err
		}
		if ok {
			most = m
		}
	}
	sch := x.pushed(most + 1) // what limits it, not everything behind that
	from, to := x.h.Time(sch.Phases[0].Start), x.h.Time(sch.Phases[len(sch.Phases)-1].End)
	o, err := loadObstacles(ctx, t, n, x.h, x.shop, from, to, []string{x.v.ID})
	if err != nil {
		return err
	}
	why := cmp.Or(o.first(x.longer(most+1).plan, sch), "somebody or something that the visit needs is taken")
	fits := fmt.Sprintf("at most %d minutes fit", most)
	switch most {
	case 0:
		fits = "not a minute more fits"
	case 1:
		fits = "at most 1 minute fits"
	}
	p := newProblem(http.StatusConflict, "taken", fmt.Sprintf("%d minutes more do not fit: %s; %s", minutes, why, fits))
	p.Errors = []FieldProblem{{In: "body", Pointer: "/minutes", Detail: fmt.Sprintf("is %d", minutes), Expected: fmt.Sprintf("at most %d", most)}}
	return p
}

package api

import (
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// StepBody is one step of a service.
type StepBody struct {
	Kind    string `json:"kind" doc:"Name of the step; with formula head one of the kinds of an estimate" example:"apply"`
	Label   string `json:"label" doc:"Plain words for screens" example:"Apply solution"`
	Who     string `json:"who" enum:"lead,assistant_or_lead,nobody"`
	Where   string `json:"where" enum:"chair,basin,desk"`
	Minutes int    `json:"minutes,omitempty" minimum:"0" maximum:"600" doc:"Fixed length; leave out with a formula"`
	Formula string `json:"formula,omitempty" enum:"head" doc:"head: minutes come from the estimate of the hair"`
	HandsOn bool   `json:"hands_on" doc:"False while nobody's hands are needed"`
	Watched bool   `json:"watched" required:"false" doc:"The stylist in charge stays and looks although hands are off"`
	WaitMin int    `json:"wait_min_minutes" required:"false" minimum:"0" maximum:"240" doc:"Least wait after the step"`
	WaitMax int    `json:"wait_max_minutes" required:"false" minimum:"0" maximum:"240" doc:"Longest wait after the step"`
	Helper  bool   `json:"helper" required:"false" doc:"A second pair of hands shares it when there is one"`
	// MayOverrun is never nil in an answer.
	MayOverrun *bool    `json:"may_overrun,omitempty" doc:"It may last longer than booked; false: it is never made longer. Left out: true while hands are on it, but not for neutralizer and looks at a test strand"`
	Held       []string `json:"held_while_waiting" required:"false" nullable:"false" maxItems:"4" enum:"chair,basin,lead,nothing" doc:"What is kept for the client during the wait after the step; left out or empty: the chair, as long as the client sits in it. nothing: only where nothing but the desk follows"`
	WatchFor   []string `json:"watch_for" required:"false" nullable:"false" maxItems:"6" doc:"Short lines for whoever does it, at most 120 characters each; left out: the usual ones of its kind, empty: none. {off_scalp}, {dry_before_iron}, {dry_damaged}, {neutralizer_works}, {iron_max} and {iron_max_damaged} are filled with the salon's figures where the lines are shown"`
}

// ServiceBody is a named, ordered list of steps.
type ServiceBody struct {
	ID         string     `json:"id" readOnly:"true" required:"false"`
	Version    int        `json:"service_version" readOnly:"true" required:"false" doc:"A booked visit keeps the version it was booked with"`
	Name       string     `json:"name" example:"Straightening"`
	Skill      string     `json:"skill" doc:"Skill that the stylist in charge must have; empty for anybody licensed" example:"straightening"`
	Chemical   bool       `json:"chemical" doc:"Chemicals are used"`
	Aftercare  bool       `json:"aftercare" doc:"Hair must stay dry and untied for the hours of GET /care-rules; the client is called back for the regrowth"`
	Retouch    bool       `json:"retouch" required:"false" doc:"Only new growth is treated: the hair must say how much there is"`
	Families   []string   `json:"families" required:"false" nullable:"false" maxItems:"8" doc:"What it is to other services, as the rules of spacing name it; a step at the basin makes it wet by itself" example:"[\"colour\"]"`
	Clear      *int       `json:"clear_minutes,omitempty" minimum:"0" maximum:"240" doc:"Clearing of the chair afterwards; left out: the chair's own"`
	PriceCents int64      `json:"price_cents" minimum:"0" maximum:"100000000" doc:"In the currency's smallest unit; with a price_rule that follows the hair what it usually costs"`
	NeedsHair  bool       `json:"needs_hair" readOnly:"true" required:"false" doc:"Some step takes its minutes from an estimate"`
	Steps      []StepBody `json:"steps" nullable:"false" minItems:"1" maxItems:"60"`

	PriceRule *PriceRuleBody       `json:"price_rule,omitempty" doc:"What the price follows; left out: price_cents for everybody. A booked visit keeps its price"`
	MadeAt    *time.Time           `json:"made_at,omitempty" readOnly:"true" doc:"When this version was made"`
	Cautions  []CautionBody        `json:"cautions,omitempty" readOnly:"true" doc:"What stops it from being booked as it is, or as it says: people, chairs, basins or hours that the salon does not have yet, a helper whom nobody could be"`
	Products  []ServiceProductBody `json:"products" required:"false" nullable:"false" maxItems:"8" doc:"Products that are reserved for each visit and taken from stock when it is finished"`
}

type serviceInput struct {
	Repeatable
	Body ServiceBody
}
type serviceChange struct {
	ByID
	Precondition
	Body ServiceBody
}

func (s *Server) serviceRoutes() {
	route(s, huma.Operation{OperationID: "list-services", Method: http.MethodGet, Path: "/services", Summary: "Services offered"}, s.listServices)
	route(s, huma.Operation{OperationID: "get-service", Method: http.MethodGet, Path: "/services/{id}", Summary: "One service with its steps"}, s.getService)
	route(s, huma.Operation{OperationID: "add-service", Method: http.MethodPost, Path: "/services", Summary: "Add a service", DefaultStatus: http.StatusCreated}, s.addService)
	route(s, huma.Operation{OperationID: "update-service", Method: http.MethodPut, Path: "/services/{id}", Summary: "Change a service by adding a version"}, s.updateService)
	route(s, huma.Operation{OperationID: "delete-service", Method: http.MethodDelete, Path: "/services/{id}", Summary: "Offer a service no more"}, s.deleteService)
}

func (b ServiceBody) service() (scheduling.Service, error) {
	var f scheduling.Faults
	x := scheduling.Service{Skill: b.Skill, Chemical: b.Chemical, Aftercare: b.Aftercare, Retouch: b.Retouch, Clear: b.Clear, PriceCents: b.PriceCents, Families: b.Families}
	x.Name = text(&f, "name", b.Name, 1, 120)
	if b.Skill != "" {
		checkSkill(&f, "skill", b.Skill)
	}
	for i, st := range b.Steps {
		x.Steps = append(x.Steps, st.step(&f, index("steps", i)))
	}
	x.TidyHeld()
	if err := f.Join("", x.Validate()); err != nil {
		return x, err
	}
	b.checkPricing(&f, x)
	return x, f.Err()
}

// Resolve holds what is wrong with b beside what its description refuses.
func (b *ServiceBody) Resolve(ctx huma.Context, at *huma.PathBuffer) []error {
	_, err := b.service()
	hold(ctx, at, err)
	return nil
}

func (b StepBody) step(f *scheduling.Faults, at string) scheduling.Step {
	st := scheduling.Step{Kind: scheduling.StepKind(b.Kind), Who: scheduling.Who(b.Who), Where: scheduling.Where(b.Where),
		Minutes: b.Minutes, Formula: b.Formula, HandsOn: b.HandsOn, Watched: b.Watched,
		WaitMin: b.WaitMin, WaitMax: b.WaitMax, Helper: b.Helper}
	if st.MayOverrun = st.UsuallyOverruns(); b.MayOverrun != nil {
		st.MayOverrun = *b.MayOverrun
	}
	for _, h := range b.Held {
		st.Held = append(st.Held, scheduling.Held(h))
	}
	if b.WatchFor == nil {
		st.WatchFor = scheduling.StandardWatchFor(st)
	}
	for i, line := range b.WatchFor {
		st.WatchFor = append(st.WatchFor, text(f, at+index(".watch_for", i), line, 1, scheduling.MaxWatchForLength))
	}
	st.Label = text(f, at+".label", b.Label, 1, 80)
	return st
}

func writeService(r store.ServiceRow) ServiceBody {
	b := ServiceBody{ID: r.ID, Version: r.Version, Name: r.Name, Skill: r.Skill, Chemical: r.Chemical, Aftercare: r.Aftercare, Retouch: r.Retouch,
		Clear: r.Clear, PriceCents: r.PriceCents, NeedsHair: needsHair(r.Service), Families: r.Families, MadeAt: &r.Made}
	if b.Families == nil {
		b.Families = []string{}
	}
	b.writePricing(r)
	for i, st := range r.Steps {
		st.Held = r.HeldAfter(i)
		b.Steps = append(b.Steps, writeStep(st))
	}
	return b
}

func writeStep(st scheduling.Step) StepBody {
	b := StepBody{Kind: string(st.Kind), Label: st.Label, Who: string(st.Who), Where: string(st.Where), Minutes: st.Minutes, Formula: st.Formula,
		HandsOn: st.HandsOn, Watched: st.Watched, WaitMin: st.WaitMin, WaitMax: st.WaitMax, Helper: st.Helper,
		MayOverrun: &st.MayOverrun, Held: []string{}, WatchFor: []string{}}
	for _, h := range st.Held {
		b.Held = append(b.Held, string(h))
	}
	b.WatchFor = append(b.WatchFor, st.WatchFor...)
	return b
}

// needsHair reports whether some step takes its minutes from an estimate.
func needsHair(x scheduling.Service) bool {
	return slices.ContainsFunc(x.Steps, func(st scheduling.Step) bool { return st.Formula == scheduling.FormulaHead })
}

func (s *Server) listServices(ctx context.Context, _ *empty) (*listBody[ServiceBody], error) {
	var rows []store.ServiceRow
	err := s.inTx(ctx, func(t *store.Tx) (err error) { rows, err = t.Services(ctx); return err })
	return listOf(rows, writeService), err
}

func (s *Server) getService(ctx context.Context, in *ByID) (out *found[ServiceBody], err error) {
	err = s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		r, err := t.ServiceByID(ctx, in.ID)
		if err != nil {
			return err
		}
		out = &found[ServiceBody]{etag(r.Row), writeService(r)}
		out.Body.Cautions, err = n.judged(ctx, t, r.Service, nil)
		return new(scheduling.Faults).Join("", err) // what is there is shown, although it would not be taken today
	})
	return out, err
}

func (s *Server) addService(ctx context.Context, in *serviceInput) (*created[ServiceBody], error) {
	return once(s, ctx, in.Repeatable, "/services", in.Body, func(t *store.Tx) (*created[ServiceBody], error) { return in.Body.add(ctx, t) })
}

// add makes a service of b in a salon.
func (b ServiceBody) add(ctx context.Context, t *store.Tx) (*created[ServiceBody], error) {
	r, cautions, err := b.save(ctx, t, func(x scheduling.Service) (store.ServiceRow, error) { return t.AddService(ctx, x) })
	if err != nil {
		return nil, err
	}
	out := &created[ServiceBody]{Location: "/v1/services/" + r.ID, ETag: etag(r.Row), Body: writeService(r)}
	out.Body.Cautions = cautions
	return out, nil
}

// save checks b, against what the salon has as well, and writes it down.
func (b ServiceBody) save(ctx context.Context, t *store.Tx, write func(scheduling.Service) (store.ServiceRow, error)) (r store.ServiceRow, cautions []CautionBody, err error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return r, nil, err
	}
	x, fault := b.service()
	var f scheduling.Faults
	if err := f.Join("", fault); err != nil {
		return r, nil, err
	}
	if err := b.belowMakers(ctx, t, &f, x); err != nil {
		return r, nil, err
	}
	fault = f.Err()
	if cautions, err = n.judged(ctx, t, x, fault); err != nil {
		return r, nil, err
	}
	r, err = write(x)
	r, err = b.withPricing(ctx, t, r, err)
	return r, cautions, err
}

func (s *Server) updateService(ctx context.Context, in *serviceChange) (out *found[ServiceBody], err error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	err = s.inTx(ctx, func(t *store.Tx) error {
		r, cautions, err := in.Body.save(ctx, t, func(x scheduling.Service) (store.ServiceRow, error) {
			x.ID = in.ID
			return t.UpdateService(ctx, x, version)
		})
		out = &found[ServiceBody]{etag(r.Row), writeService(r)}
		out.Body.Cautions = cautions
		return err
	})
	return out, err
}

func (s *Server) deleteService(ctx context.Context, in *removal) (*empty, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.RetireService(ctx, in.ID, version) })
}

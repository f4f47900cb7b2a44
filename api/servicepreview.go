package api

import (
	"cmp"
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// ServicePreviewRequest asks what a service would take and cost.
type ServicePreviewRequest struct {
	ServiceID string      `json:"service_id,omitempty" maxLength:"64" doc:"The service that would be changed; left out: a new one"`
	Service   ServiceBody `json:"service" doc:"As it would be"`
}

// ServicePreviewBody is a service before and after a change that nobody has made.
type ServicePreviewBody struct {
	Heads    []ServiceHeadBody `json:"heads" nullable:"false" doc:"Seven heads that stand for what comes into a salon, for one stylist at the salon's pace; one row for everybody where no step follows the hair"`
	Cautions []CautionBody     `json:"cautions" nullable:"false" doc:"What would stop it from being booked as it is"`
	Booked   int               `json:"booked_visits" doc:"Visits to come that are booked with the service; they keep the steps and the price that they were booked with"`
}

// ServiceHeadBody is one of the heads.
type ServiceHeadBody struct {
	Name   string             `json:"name" doc:"In plain words"`
	Before *ServiceTotalsBody `json:"before,omitempty" doc:"As the service is now; left out for a new one"`
	After  *ServiceTotalsBody `json:"after,omitempty" doc:"Left out where it cannot be worked out"`
}

// ServiceTotalsBody is what a service takes on one head.
type ServiceTotalsBody struct {
	Minutes  int            `json:"minutes" doc:"What is booked, all steps together; waits come on top"`
	Steps    []StepSpanBody `json:"steps" nullable:"false"`
	Exposure int            `json:"booked_exposure_minutes" doc:"Product on the first section, with the longest waits and the walk to the basin; 0 without product"`
	Price    int64          `json:"price_cents"`
	Working  string         `json:"price_working" doc:"The sum behind the price"`
	Refused  []string       `json:"refused" nullable:"false" doc:"Why hair like this would not be booked"`
}

// StepSpanBody is a step with its booked minutes.
type StepSpanBody struct {
	Label   string `json:"label"`
	Minutes int    `json:"minutes"`
}

type servicePreviewInput struct{ Body ServicePreviewRequest }
type servicePreviewOutput struct{ Body ServicePreviewBody }

func (s *Server) servicePreviewRoutes() {
	route(s, huma.Operation{OperationID: "preview-service", Method: http.MethodPost, Path: "/service-preview",
		Summary: "See what other steps or another price of a service would do to seven heads; nothing is stored"}, s.previewService)
}

func (s *Server) previewService(ctx context.Context, in *servicePreviewInput) (*servicePreviewOutput, error) {
	out := ServicePreviewBody{Cautions: []CautionBody{}}
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		var was *store.ServiceRow
		if id := in.Body.ServiceID; id != "" {
			row, err := t.ServiceByID(ctx, id)
			if is(err, scheduling.ErrNotFound) {
				return &scheduling.InvalidError{Field: "service_id", Problem: "is not a service of this salon", Want: "an id from GET /services, or nothing"}
			}
			if err != nil {
				return err
			}
			was = &row
			if out.Booked, err = t.BookedWith(ctx, id, s.now()); err != nil {
				return err
			}
		}
		row, cautions, err := in.Body.wouldBe(ctx, t, was)
		if err != nil {
			return err
		}
		out.Cautions = append(out.Cautions, cautions...)
		if out.Heads, err = n.onHeads(ctx, t, was, row); err != nil {
			return err
		}
		return errLooked
	})
	if !is(err, errLooked) {
		return nil, err
	}
	return &servicePreviewOutput{out}, nil
}

// wouldBe writes the service down in a transaction that is given up, so that it is
// checked as it would be.
func (b ServicePreviewRequest) wouldBe(ctx context.Context, t *store.Tx, was *store.ServiceRow) (store.ServiceRow, []CautionBody, error) {
	row, cautions, err := b.Service.save(ctx, t, func(x scheduling.Service) (store.ServiceRow, error) {
		if was == nil {
			return t.AddService(ctx, x)
		}
		x.ID = was.ID
		return t.UpdateService(ctx, x, was.Row)
	})
	var f scheduling.Faults
	if err = f.Join("service", err); err != nil {
		return row, nil, err
	}
	return row, cautions, f.Err()
}

// onHeads is a service on each of the reference heads before and after a change.
func (n salonDay) onHeads(ctx context.Context, t *store.Tx, was *store.ServiceRow, row store.ServiceRow) ([]ServiceHeadBody, error) {
	heads := chairtime.ReferenceHeads()
	if !needsHair(row.Service) && (was == nil || !needsHair(was.Service)) {
		heads = []chairtime.ReferenceHead{{Name: "everybody"}}
	}
	paced, err := n.paced(ctx, t, "", row.Service)
	if err != nil {
		return nil, err
	}
	out := []ServiceHeadBody{}
	for _, h := range heads {
		b := ServiceHeadBody{Name: h.Name}
		if was != nil {
			if b.Before, err = paced.onHead(ctx, t, *was, h.Head); err != nil {
				return nil, err
			}
		}
		if b.After, err = paced.onHead(ctx, t, row, h.Head); err != nil {
			return nil, err
		}
		out = append(out, b)
	}
	return out, nil
}

// usualRegrowth is the new growth on a reference head when only that is treated,
// in cm, at most half of its length (judgement).
const usualRegrowth = 7.5

// onHead works row out; it is nil for a head that it does not suit.
func (n salonDay) onHead(ctx context.Context, t *store.Tx, row store.ServiceRow, h chairtime.Head) (*ServiceTotalsBody, error) {
	row.Service = row.LedWhere(n.rules.assistants())
	r := ServiceRequest{ServiceID: row.ID}
	if needsHair(row.Service) {
		if row.Retouch && h.Regrowth == 0 {
			h.Regrowth = min(usualRegrowth, h.Length/2)
		}
		if !row.Retouch && row.TwoStage() {
			h.Regrowth = 0
		}
		r.Hair = new(headBodyOf(h))
	}
	var f scheduling.Faults
	part, w, err := workOut(ctx, t, n, &f, "service", row.Service, r)
	if err != nil {
		return nil, err
	}
	if f.Err() != nil { // such as solution in two stages on hair too short for it
		return nil, nil
	}
	out := &ServiceTotalsBody{Steps: []StepSpanBody{}, Refused: []string{}}
	for _, st := range part.Steps {
		out.Minutes += st.Length
		out.Steps = append(out.Steps, StepSpanBody{st.Label, st.Length})
	}
	price, err := n.priceOf(row, w)
	if err != nil {
		return nil, err
	}
	out.Price, out.Working = price.Cents, price.Working
	if out.Exposure = scheduling.Exposure(part.Steps); out.Exposure > 0 {
		out.Exposure += int(n.time.BasinWalk)
	}
	if w == nil {
		return out, nil
	}
	for _, c := range w.cautions {
		if c.Level == string(chairtime.LevelRefuse) {
			out.Refused = append(out.Refused, cmp.Or(w.normal, c.Text))
		}
	}
	return out, nil
}

// headBodyOf writes a head for the border.
func headBodyOf(h chairtime.Head) HeadBody {
	return HeadBody{LengthCM: h.Length, Density: string(h.Density), Strand: string(h.Strand), Porosity: string(h.Porosity), Damaged: h.Damaged,
		NewClient: h.NewClient, RegrowthCM: h.Regrowth, Sections: h.Sections, PlateDepthCM: h.PlateWidth, Hands: h.Hands, Batches: h.Batches,
		Curl: string(h.Curl), Passes: h.Passes}
}

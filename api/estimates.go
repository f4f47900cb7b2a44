package api

import (
	"cmp"
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/pace"
	"chairblock/store"
)

// EstimateRequest asks how long a service takes on somebody's hair.
type EstimateRequest struct {
	ServiceID string   `json:"service_id" maxLength:"64"`
	ClientID  string   `json:"client_id,omitempty" maxLength:"64"`
	LeadID    string   `json:"lead_id,omitempty" maxLength:"64" doc:"Stylist in charge, whose pace the minutes follow; left out: the salon's pace"`
	HeadID    string   `json:"head_id,omitempty" maxLength:"64" doc:"A measurement of that client that the hair was taken from"`
	Hair      HeadBody `json:"hair"`
}

// EstimateAnswer is a kept estimate.
type EstimateAnswer struct {
	ID             string       `json:"id"`
	ServiceID      string       `json:"service_id"`
	ServiceVersion int          `json:"service_version"`
	Hair           HeadBody     `json:"hair"`
	Estimate       EstimateBody `json:"estimate"`
	Made           time.Time    `json:"made_at"`
}

type estimateInput struct{ Body EstimateRequest }
type phoneInput struct {
	Body struct {
		PhoneBody
		ServiceID string `json:"service_id,omitempty" maxLength:"64" doc:"What the caller asks for, for its price; left out: the salon's first service whose time follows the hair and that treats all of it"`
		LeadID    string `json:"lead_id,omitempty" maxLength:"64" doc:"Stylist in charge, whose pace the price follows; left out: everybody who may be"`
	}
}
type phoneOutput struct{ Body PhoneAnswerBody }

func (s *Server) estimateRoutes() {
	route(s, huma.Operation{OperationID: "make-estimate", Method: http.MethodPost, Path: "/estimates",
		Summary: "Work out how long a service takes on this hair, and keep the answer", DefaultStatus: http.StatusCreated}, s.makeEstimate)
	route(s, huma.Operation{OperationID: "get-estimate", Method: http.MethodGet, Path: "/estimates/{id}", Summary: "A kept estimate"}, s.getEstimate)
	route(s, huma.Operation{OperationID: "phone-estimate", Method: http.MethodPost, Path: "/estimates/phone",
		Summary: "What to say on the telephone from three questions"}, s.phoneEstimate)
}

func (s *Server) makeEstimate(ctx context.Context, in *estimateInput) (*created[EstimateAnswer], error) {
	var out EstimateAnswer
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		out, err = keepEstimate(ctx, t, n, in.Body)
		return err
	})
	return &created[EstimateAnswer]{Location: "/v1/estimates/" + out.ID, Body: out}, err
}

// keepEstimate works out a service for a head and keeps question and answer.
func keepEstimate(ctx context.Context, t *store.Tx, n salonDay, b EstimateRequest) (EstimateAnswer, error) {
	var f scheduling.Faults
	row, err := t.ServiceByID(ctx, b.ServiceID)
	switch {
	case is(err, scheduling.ErrNotFound) || (err == nil && !row.Active):
		f.Add("service_id", "is not a service of this salon", "an id from GET /services")
	case err != nil:
		return EstimateAnswer{}, err
	case !needsHair(row.Service):
		f.Add("service_id", "takes the same time for everybody", "a service whose steps follow the hair")
	}
	if err := knownHead(ctx, t, &f, b); err != nil {
		return EstimateAnswer{}, err
	}
	if err := knownLead(ctx, t, &f, "", b.LeadID); err != nil {
		return EstimateAnswer{}, err
	}
	if n, err = n.paced(ctx, t, b.LeadID, row.Service); err != nil {
		return EstimateAnswer{}, err
	}
	if row.Retouch {
		retouchOf(&f, "hair", row.Service, b.Hair)
	}
	hair, e, err := estimate(ctx, t, n.time, row.Service, b.Hair)
	if err := f.Join("hair", err); err != nil {
		return EstimateAnswer{}, err
	}
	if err := f.Err(); err != nil {
		return EstimateAnswer{}, err
	}
	if e.Pace, err = n.paceLines(ctx, t, e, hair.Hands); err != nil {
		return EstimateAnswer{}, err
	}
	if e, err = n.explained(row.Service, hair, e); err != nil {
		return EstimateAnswer{}, err
	}
	w := worked{hair: hair.settled(n.time), result: e}
	kept, err := w.row(row.ID, row.Version, b.ClientID, b.HeadID)
	if err != nil {
		return EstimateAnswer{}, err
	}
	if kept, err = t.AddEstimate(ctx, kept); err != nil {
		return EstimateAnswer{}, err
	}
	w.result.Pace = addressed(ctx, w.result.Pace)
	w.result.watchFor(row.Service, n.time.Figures(n.units()))
	return EstimateAnswer{kept.ID, row.ID, row.Version, w.hair.shown(n.time.Units), w.result, kept.Created.In(n.loc)}, nil
}

// explained is e, worked out for hair by x, with what an assistant may do of it
// and how its figures are counted.
func (n salonDay) explained(x scheduling.Service, hair HeadBody, e EstimateBody) (EstimateBody, error) {
	again, err := n.time.Estimate(hairFor(x, hair))
	if err != nil {
		return e, err
	}
	n.assisted(x, &e)
	return e.Explained(n.time.Why(again, n.assistedKinds(x))), nil
}

// row is the estimate as it is kept.
func (w *worked) row(service string, version int, client, head string) (store.Estimate, error) {
	e := store.Estimate{Service: service, ServiceVersion: version, Client: optional(client), Head: optional(head)}
	var err error
	if e.Hair, err = json.Marshal(w.hair); err != nil {
		return e, err
	}
	e.Result, err = json.Marshal(w.result)
	return e, err
}

func optional(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// knownClient notes a client_id that no client of the salon has.
func knownClient(ctx context.Context, t *store.Tx, f *scheduling.Faults, id string) error {
	_, err := t.ClientByID(ctx, id)
	if is(err, scheduling.ErrNotFound) {
		f.Add("client_id", "is not known", "the id of a client of this salon")
		return nil
	}
	return err
}

// knownHead notes a client or a measurement that is not the salon's.
func knownHead(ctx context.Context, t *store.Tx, f *scheduling.Faults, b EstimateRequest) error {
	if b.ClientID == "" {
		if b.HeadID != "" {
			f.Add("head_id", "is given without client_id", "both or neither")
		}
		return nil
	}
	if err := knownClient(ctx, t, f, b.ClientID); err != nil || b.HeadID == "" {
		return err
	}
	heads, err := t.Heads(ctx, b.ClientID)
	if err != nil {
		return err
	}
	for _, h := range heads {
		if h.ID == b.HeadID {
			return nil
		}
	}
	f.Add("head_id", "is not a measurement of this client", "an id from GET /clients/{id}/heads")
	return nil
}

func (s *Server) getEstimate(ctx context.Context, in *ByID) (*found[EstimateAnswer], error) {
	var out EstimateAnswer
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		row, err := t.EstimateByID(ctx, in.ID)
		if err != nil {
			return err
		}
		w, err := readEstimate(row)
		if err != nil {
			return err
		}
		w.result.Pace = addressed(ctx, w.result.Pace)
		service, err := t.ServiceVersion(ctx, row.Service, row.ServiceVersion)
		if err != nil {
			return err
		}
		if n, err = n.paced(ctx, t, "", service.Service); err != nil {
			return err
		}
		w.result.watchFor(service.Service, n.time.Figures(n.units()))
		out = EstimateAnswer{row.ID, row.Service, row.ServiceVersion, w.hair.shown(n.time.Units), w.result, row.Created.In(n.loc)}
		return nil
	})
	return &found[EstimateAnswer]{Body: out}, err
}

func (s *Server) phoneEstimate(ctx context.Context, in *phoneInput) (*phoneOutput, error) {
	var out phoneOutput
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		var f scheduling.Faults
		if err := cmp.Or(knownLead(ctx, t, &f, "", in.Body.LeadID), f.Err()); err != nil {
			return err
		}
		c, err := n.timeFor(ctx, t, in.Body.LeadID, scheduling.Service{})
		if err != nil {
			return err
		}
		a, err := c.Phone(in.Body.Questions())
		if err != nil {
			return err
		}
		out.Body = NewPhoneAnswerBody(a).Explained(c.WhyPhone(in.Body.Questions(), a))
		n.time = c
		h, err := c.StandIn(in.Body.Questions())
		if err != nil {
			return err
		}
		out.Body.StandIn = &HeadBody{LengthCM: h.Length, Density: string(h.Density), Strand: string(h.Strand), Porosity: string(h.Porosity),
			NewClient: h.NewClient, Sections: h.Sections, PlateDepthCM: h.PlateWidth, Hands: 1, Plan: NormalPlan}
		if out.Body.Pace, err = n.paceLinesOf(ctx, t, pace.Kinds(), 1); err != nil {
			return err
		}
		out.Body.Price, err = n.phonePrice(ctx, t, in.Body.Questions(), in.Body.ServiceID, in.Body.LeadID)
		return err
	})
	return &out, err
}

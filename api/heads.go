package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// HeadInput is a measurement of a client's hair.
type HeadInput struct {
	MeasuredOn string   `json:"measured_on" format:"date"`
	Hair       HeadBody `json:"hair" doc:"regrowth_cm is the new hair since the last straightening as measured that day; of two visits it gives the client's own growth"`
}

// HeadOutput is a kept measurement.
type HeadOutput struct {
	ID         string   `json:"id"`
	MeasuredOn string   `json:"measured_on" format:"date"`
	Hair       HeadBody `json:"hair"`
}

type headInput struct {
	ByID
	Body HeadInput
}

func (s *Server) headRoutes() {
	route(s, huma.Operation{OperationID: "list-heads", Method: http.MethodGet, Path: "/clients/{id}/heads", Summary: "Measurements of a client's hair, newest first"}, s.listHeads)
	route(s, huma.Operation{OperationID: "add-head", Method: http.MethodPost, Path: "/clients/{id}/heads", Summary: "Note a measurement", DefaultStatus: http.StatusCreated}, s.addHead)
	s.expectedHairRoutes()
	s.hairMapRoutes()
}

func (s *Server) listHeads(ctx context.Context, in *ByID) (*listBody[HeadOutput], error) {
	out := &listBody[HeadOutput]{}
	out.Body.Items = []HeadOutput{}
	err := s.inTx(ctx, func(t *store.Tx) error {
		out.Body.Items = out.Body.Items[:0]
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if _, err := t.ClientByID(ctx, in.ID); err != nil {
			return err
		}
		rows, err := t.Heads(ctx, in.ID)
		if err != nil {
			return err
		}
		for _, h := range rows {
			b, err := writeHead(h, n.time.Units)
			if err != nil {
				return err
			}
			out.Body.Items = append(out.Body.Items, b)
		}
		return nil
	})
	return out, err
}

func writeHead(h store.Head, u chairtime.Units) (HeadOutput, error) {
	out := HeadOutput{ID: h.ID, MeasuredOn: h.MeasuredOn.String()}
	if err := json.Unmarshal(h.Hair, &out.Hair); err != nil {
		return out, fmt.Errorf("api: measurement: %w", err)
	}
	out.Hair = out.Hair.shown(u)
	return out, nil
}

func (s *Server) addHead(ctx context.Context, in *headInput) (*created[HeadOutput], error) {
	var out HeadOutput
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		var f scheduling.Faults
		h := store.Head{Client: in.ID, MeasuredOn: day(&f, "measured_on", in.Body.MeasuredOn)}
		if len(f) == 0 && h.MeasuredOn.After(scheduling.CivilDate(s.now(), n.loc)) {
			f.Add("measured_on", "is still to come", "today or earlier")
		}
		if err := f.Join("hair", n.time.Settle(in.Body.Hair.Head()).Validate()); err != nil {
			return err
		}
		if err := f.Err(); err != nil {
			return err
		}
		if h.Hair, err = json.Marshal(in.Body.Hair.settled(n.time)); err != nil {
			return err
		}
		if _, err := t.ClientByID(ctx, in.ID); err != nil {
			return err
		}
		if h, err = t.AddHead(ctx, h); err != nil {
			return err
		}
		if out, err = writeHead(h, n.time.Units); err != nil {
			return err
		}
		return followCare(ctx, t, n, in.ID, s.now())
	})
	return &created[HeadOutput]{Location: "/v1/clients/" + in.ID + "/heads", Body: out}, err
}

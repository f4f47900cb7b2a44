package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// HairTreatmentBody is chemical work done elsewhere, as told: what kind and
// when, and nothing else.
type HairTreatmentBody struct {
	ID     string `json:"id" readOnly:"true" required:"false"`
	Kind   string `json:"kind" enum:"straightened,relaxer_or_perm,bleached_or_highlighted,coloured,henna_or_other,not_sure,untreated" doc:"untreated: nothing had been done to the hair up to that day; not_sure: something may have been"`
	DoneOn string `json:"done_on" format:"date" doc:"As nearly as the client remembers"`
}

type treatmentInput struct {
	ByID
	Body HairTreatmentBody
}
type treatmentID struct {
	ByID
	Treatment string `path:"treatment" maxLength:"64"`
}

func (s *Server) hairTreatmentRoutes() {
	route(s, huma.Operation{OperationID: "list-hair-treatments", Method: http.MethodGet, Path: "/clients/{id}/hair-treatments",
		Summary: "What a client told of chemical work done elsewhere, oldest first"}, s.listHairTreatments)
	route(s, huma.Operation{OperationID: "add-hair-treatment", Method: http.MethodPost, Path: "/clients/{id}/hair-treatments",
		Summary: "Note chemical work done elsewhere", DefaultStatus: http.StatusCreated}, s.addHairTreatment)
	route(s, huma.Operation{OperationID: "delete-hair-treatment", Method: http.MethodDelete, Path: "/clients/{id}/hair-treatments/{treatment}",
		Summary: "Take back what was noted by mistake"}, s.deleteHairTreatment)
}

func writeTreatment(x store.HairTreatment) HairTreatmentBody {
	return HairTreatmentBody{x.ID, x.Kind, x.DoneOn.String()}
}

func (s *Server) listHairTreatments(ctx context.Context, in *ByID) (*listBody[HairTreatmentBody], error) {
	var rows []store.HairTreatment
	err := s.inTx(ctx, func(t *store.Tx) (err error) {
		if _, err := t.ClientByID(ctx, in.ID); err != nil {
			return err
		}
		rows, err = t.HairTreatments(ctx, in.ID)
		return err
	})
	return listOf(rows, writeTreatment), err
}

// mostTreatments bounds what is noted of one client (judgement).
const mostTreatments = 100

func (s *Server) addHairTreatment(ctx context.Context, in *treatmentInput) (*created[HairTreatmentBody], error) {
	var x store.HairTreatment
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		var f scheduling.Faults
		x = store.HairTreatment{Client: in.ID, Kind: in.Body.Kind, DoneOn: day(&f, "done_on", in.Body.DoneOn)}
		if len(f) == 0 && x.DoneOn.After(scheduling.CivilDate(s.now(), n.loc)) {
			f.Add("done_on", "is still to come", "today or earlier")
		}
		if err := f.Err(); err != nil {
			return err
		}
		if _, err := t.ClientByID(ctx, in.ID); err != nil {
			return err
		}
		have, err := t.HairTreatments(ctx, in.ID)
		if err != nil {
			return err
		}
		if len(have) >= mostTreatments {
			return conflict("more than enough is noted of this hair: take back what no longer matters")
		}
		x, err = t.AddHairTreatment(ctx, x)
		return err
	})
	return &created[HairTreatmentBody]{Location: "/v1/clients/" + in.ID + "/hair-treatments", Body: writeTreatment(x)}, err
}

func (s *Server) deleteHairTreatment(ctx context.Context, in *treatmentID) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.DeleteHairTreatment(ctx, in.ID, in.Treatment) })
}

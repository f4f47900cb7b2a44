package api

import (
	"context"

	"chairblock/store"
)

// ConsultationForm is the consultation form that a salon asks now, outside of a
// request.
func (s *Server) ConsultationForm(ctx context.Context, salon string) (ConsultationForm, error) {
	out, err := s.getForm(asOwner(ctx, salon), &empty{})
	if err != nil {
		return ConsultationForm{}, err
	}
	return out.Body, nil
}

// Consult keeps the answers of a client outside of a request, by the same way as
// POST /v1/clients/{id}/screenings. It returns store.ErrNoHealthKey without a
// key to seal them with, and scheduling.Faults about fields of b.
func (s *Server) Consult(ctx context.Context, salon, client string, b ScreeningInput) (ScreeningMade, error) {
	if err := s.store.MaySeal(); err != nil {
		return ScreeningMade{}, err
	}
	out, err := s.addScreening(asOwner(ctx, salon), &screeningInput{ByID: ByID{client}, Body: b})
	if err != nil {
		return ScreeningMade{}, err
	}
	return out.Body, nil
}

// Decide notes what the licensed person says outside of a request, by the same
// way as POST /v1/screenings/{id}/decision. It returns store.ErrNoHealthKey,
// scheduling.ErrNotFound, scheduling.Faults about fields of b, and a *Problem with
// status 409 or 422 when nobody can decide so.
func (s *Server) Decide(ctx context.Context, salon, id string, b DecisionInput) error {
	_, err := s.decideScreening(asOwner(ctx, salon), &decisionInput{ByID: ByID{id}, Body: b})
	return err
}

func asOwner(ctx context.Context, salon string) context.Context {
	return withPrincipal(ctx, store.Principal{Salon: salon, Role: store.Owner})
}

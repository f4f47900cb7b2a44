package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/store"
)

// YesBody is that a client said that she comes.
type YesBody struct {
	How string `json:"how" enum:"call,text,mail,in_person" doc:"How she said so"`
}

type yesInput struct {
	ByID
	Body YesBody
}

func (s *Server) yesRoutes() {
	route(s, huma.Operation{OperationID: "note-yes", Method: http.MethodPost, Path: "/visits/{id}/yes",
		Summary: "The client said that she comes; holds until the visit is moved", Errors: []int{http.StatusConflict}}, s.noteYes)
	route(s, huma.Operation{OperationID: "take-back-yes", Method: http.MethodDelete, Path: "/visits/{id}/yes",
		Summary: "The client has not said that she comes", Errors: []int{http.StatusConflict}}, s.takeBackYes)
}

func (s *Server) noteYes(ctx context.Context, in *yesInput) (*found[VisitBody], error) {
	return s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) {
		v, err := t.LockVisit(ctx, in.ID, 0)
		if err != nil {
			return v, err
		}
		by, err := whoNotes(ctx, t)
		if err != nil {
			return v, err
		}
		err = s.saysYes(ctx, t, &v, in.Body.How, by)
		return v, err
	})
}

// saysYes notes that the client of a locked visit comes at its start.
func (s *Server) saysYes(ctx context.Context, t *store.Tx, v *store.Visit, how, by string) error {
	switch {
	case isKept(*v):
		return nobodyComes()
	case v.State != store.Booked:
		return conflict("the visit is " + words(v.State))
	}
	_, err := t.NoteYes(ctx, v, store.Yes{At: s.now(), How: how, NotedBy: by})
	return err
}

func (s *Server) takeBackYes(ctx context.Context, in *ByID) (*found[VisitBody], error) {
	return s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) {
		v, err := t.LockVisit(ctx, in.ID, 0)
		if err != nil {
			return v, err
		}
		had, err := t.TakeBackYes(ctx, &v)
		if err == nil && !had {
			err = conflict("the client has not said that she comes at this time")
		}
		return v, err
	})
}

package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/store"
)

func (s *Server) undoMissRoutes() {
	route(s, huma.Operation{OperationID: "undo-miss", Method: http.MethodPost, Path: "/visits/{id}/miss/undo",
		Summary: "The client has come after all, or may still: the visit is booked again at its start, when that is still free",
		Errors:  []int{http.StatusConflict}}, s.undoMiss)
}

// undoMiss books a visit again that was marked as missed, with the same stylists
// in charge, on any chair and basin that is still free.
func (s *Server) undoMiss(ctx context.Context, in *visitChange) (*found[VisitBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return s.answerVisit(ctx, func(t *store.Tx, n salonDay) (store.Visit, error) {
		v, err := t.LockVisit(ctx, in.ID, version)
		if err != nil {
			return v, err
		}
		return s.unmiss(ctx, t, n, v)
	})
}

// unmiss books a locked visit again that was marked as missed.
func (s *Server) unmiss(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (store.Visit, error) {
	switch {
	case v.State != store.Missed:
		return v, conflict("the visit is " + words(v.State))
	case !v.End.After(s.now()):
		return v, conflict("the time of the visit is over: book another one")
	}
	v.State = store.Booked
	if err := taken(t.SetVisitState(ctx, &v)); err != nil {
		return v, err
	}
	list, err := s.rearrange(ctx, t, n, []change{{id: v.ID, version: v.Version, link: looseLink, approvedBy: v.ApprovedBy}})
	if err != nil {
		return v, err
	}
	return list[0], s.followVisit(ctx, t, n, list[0])
}

package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/store"
)

// CopyBody says what a copy of a service is called.
type CopyBody struct {
	Name string `json:"name,omitempty" maxLength:"120" doc:"Left out: Copy of and the name that it has" example:"Straightening, short hair"`
}

type copyInput struct {
	ByID
	Repeatable
	Body CopyBody
}

type versionInput struct {
	ByID
	Version int `path:"version" minimum:"1" maximum:"1000000" doc:"service_version"`
}

func (s *Server) serviceVersionRoutes() {
	route(s, huma.Operation{OperationID: "copy-service", Method: http.MethodPost, Path: "/services/{id}/copy",
		Summary: "Add a service with the steps of another one, to be changed", DefaultStatus: http.StatusCreated,
		Errors: []int{http.StatusBadRequest}}, s.copyService)
	route(s, huma.Operation{OperationID: "list-service-versions", Method: http.MethodGet, Path: "/services/{id}/versions",
		Summary: "Every version of a service, newest first"}, s.serviceVersions)
	route(s, huma.Operation{OperationID: "get-service-version", Method: http.MethodGet, Path: "/services/{id}/versions/{version}",
		Summary: "One version of a service, as visits were booked with it"}, s.serviceVersion)
}

const longestServiceName = 120 // characters, as the table has it

func (s *Server) copyService(ctx context.Context, in *copyInput) (*created[ServiceBody], error) {
	if in.key() == "" {
		return nil, needsKey()
	}
	return once(s, ctx, in.Repeatable, "/services/"+in.ID+"/copy", in.Body, func(t *store.Tx) (*created[ServiceBody], error) {
		r, err := t.ServiceByID(ctx, in.ID)
		if err != nil {
			return nil, err
		}
		b := writeService(r)
		if in.Body.Name != "" {
			b.Name = in.Body.Name
		} else {
			name := []rune("Copy of " + b.Name)
			b.Name = string(name[:min(len(name), longestServiceName)])
		}
		return b.add(ctx, t)
	})
}

func (s *Server) serviceVersions(ctx context.Context, in *ByID) (*listBody[ServiceBody], error) {
	var rows []store.ServiceRow
	err := s.inTx(ctx, func(t *store.Tx) (err error) { rows, err = t.ServiceVersions(ctx, in.ID); return err })
	return listOf(rows, writeService), err
}

func (s *Server) serviceVersion(ctx context.Context, in *versionInput) (*found[ServiceBody], error) {
	var r store.ServiceRow
	err := s.inTx(ctx, func(t *store.Tx) (err error) { r, err = t.ServiceVersion(ctx, in.ID, in.Version); return err })
	return &found[ServiceBody]{etag(r.Row), writeService(r)}, err
}

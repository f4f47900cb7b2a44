package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// FindClientsRequest looks for clients. It is a body, since telephone numbers do
// not belong into addresses.
type FindClientsRequest struct {
	Text  string `json:"text" minLength:"1" maxLength:"120" doc:"Beginnings of names, or at least three digits of a telephone number"`
	Limit int    `json:"limit,omitempty" minimum:"1" maximum:"50" doc:"Left out: 20"`
}

// FoundClientBody is a client whom a search has found.
type FoundClientBody struct {
	ClientBody
	Last *time.Time `json:"last_visit,omitempty" doc:"Start of the newest visit that took place or was to"`
	Next *time.Time `json:"next_visit,omitempty" doc:"Start of the first that is still to come"`
}

type findClientsInput struct{ Body FindClientsRequest }

func (s *Server) findClientRoutes() {
	route(s, huma.Operation{OperationID: "find-clients", Method: http.MethodPost, Path: "/clients/search",
		Summary: "Clients by a part of the name or of the telephone number"}, s.findClients)
}

func (s *Server) findClients(ctx context.Context, in *findClientsInput) (*listBody[FoundClientBody], error) {
	limit := in.Body.Limit
	if limit == 0 {
		limit = 20
	}
	var f, none scheduling.Faults // a text that is no number stands for none
	words := text(&f, "text", in.Body.Text, 1, 120)
	if err := f.Err(); err != nil {
		return nil, err
	}
	region, err := s.region(ctx)
	if err != nil {
		return nil, err
	}
	whole := phone(&none, "text", words, region)
	if len(none) > 0 {
		whole = ""
	}
	var rows []store.FoundClient
	var loc *time.Location
	err = s.read(ctx, func(t *store.Tx) (err error) {
		if loc, err = zone(ctx, t); err != nil {
			return err
		}
		rows, err = t.FindClients(ctx, words, whole, s.now(), limit)
		return err
	})
	return listOf(rows, func(c store.FoundClient) FoundClientBody {
		return FoundClientBody{writeClient(c.Client), localTime(c.Last, loc), localTime(c.Next, loc)}
	}), err
}

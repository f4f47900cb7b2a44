package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// NamedClient says who it is that came without being known.
type NamedClient struct {
	ClientID   string `json:"client_id" minLength:"1" maxLength:"64"`
	ApprovedBy string `json:"approved_by,omitempty" maxLength:"80" doc:"Licensed person who said yes to what is on record of the client"`
}

type nameClientInput struct {
	ByID
	Precondition
	Body NamedClient
}

func (s *Server) nameClientRoutes() {
	route(s, huma.Operation{OperationID: "name-client", Method: http.MethodPost, Path: "/visits/{id}/client",
		Summary: "Say which client on file somebody is who came without being known"}, s.nameClient)
}

// nameClient puts a walk-in on the file of a client: until then nothing is on
// record that a service with chemicals could begin with.
func (s *Server) nameClient(ctx context.Context, in *nameClientInput) (*found[VisitBody], error) {
	return s.changeState(ctx, &visitChange{in.ByID, in.Precondition}, func(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit) error {
		var f scheduling.Faults
		if err := knownClient(ctx, t, &f, in.Body.ClientID); err != nil {
			return err
		}
		by, err := licensed(ctx, t, &f, text(&f, "approved_by", in.Body.ApprovedBy, 0, 80))
		if err != nil {
			return err
		}
		if err := f.Err(); err != nil {
			return err
		}
		switch {
		case v.Client != "":
			return conflict("the visit is for a client on file already")
		case !v.State.Open():
			return conflict("the visit is " + words(v.State))
		}
		c, err := recompose(ctx, t, *v, newLead{})
		if err != nil {
			return err
		}
		if err := c.prove(ctx, t, n, in.Body.ClientID, v.Start); err != nil {
			return err
		}
		if err := c.guarded(); err != nil {
			return err
		}
		if err := c.consult(ctx, t, n, in.Body.ClientID, v.Start); err != nil {
			return err
		}
		near, err := spacing(ctx, t, n, in.Body.ClientID, c.spaced, v.Start, v.End, v.ID, s.now())
		if err != nil {
			return err
		}
		if err := c.guard(n, s.now(), v.Start, by, near); err != nil {
			return err
		}
		if by != "" {
			v.ApprovedBy = by
		}
		v.Client, v.Title = in.Body.ClientID, ""
		if err := taken(t.NameClient(ctx, v)); err != nil {
			return err
		}
		return fillCalendars(ctx, t, n, c, *v)
	})
}

package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// WalkInRequest books somebody who stands in the door.
type WalkInRequest struct {
	ServiceID  string `json:"service_id" minLength:"1" maxLength:"64" doc:"A service that takes the same time for everybody"`
	GivenName  string `json:"given_name" doc:"The first name, by which she is called"`
	LeadID     string `json:"lead_id,omitempty" maxLength:"64" doc:"Stylist in charge; left out: whoever is free"`
	ApprovedBy string `json:"approved_by,omitempty" maxLength:"80" doc:"Licensed person who said yes to cautions that ask for it, such as a skin test that nobody can have made"`
}

type walkInInput struct {
	Repeatable
	Body WalkInRequest
}

func (s *Server) walkInRoutes() {
	route(s, huma.Operation{OperationID: "add-walk-in", Method: http.MethodPost, Path: "/walk-ins",
		Summary:       "Book somebody who is here, from the next minute on; answers with the first start today when nobody is free now",
		DefaultStatus: http.StatusCreated, Errors: []int{http.StatusBadRequest, http.StatusConflict}}, s.addWalkIn)
}

func (s *Server) addWalkIn(ctx context.Context, in *walkInInput) (*created[VisitBody], error) {
	out, err := createVisit(ctx, s, in.Repeatable, "/walk-ins", in.Body, s.walkIn)
	return out, s.withFirstToday(ctx, err, in.Body)
}

// walkIn books a service from the next whole minute on for somebody who is here,
// of whom nothing but the first name is asked.
func (s *Server) walkIn(ctx context.Context, t *store.Tx, n salonDay, b WalkInRequest) (store.Visit, error) {
	var f scheduling.Faults
	as := newAs{walk: true, title: text(&f, "given_name", b.GivenName, 1, 40)}
	row, err := t.ServiceByID(ctx, b.ServiceID)
	switch {
	case is(err, scheduling.ErrNotFound) || err == nil && !row.Active:
		f.Add("service_id", "is not a service of this salon", "an id from GET /services")
	case err != nil:
		return store.Visit{}, err
	case needsHair(row.Service):
		f.Add("service_id", "takes as long as the hair needs, which nobody has looked at yet", "a service that takes the same time for everybody; book this one with the hair")
	}
	if err := knownLead(ctx, t, &f, "", b.LeadID); err != nil {
		return store.Visit{}, err
	}
	if err := f.Err(); err != nil {
		return store.Visit{}, err
	}
	v, err := s.seize(ctx, t, n, change{as: as, book: s.nextMinute(b)})
	if err != nil {
		return v, err
	}
	if err = s.arrive(ctx, t, n, &v, nil); err != nil {
		return v, err
	}
	return v, s.noteDone(ctx, t, didWalkIn, v, wasVisit{})
}

// nextMinute is the visit that b asks for, at the next whole minute.
func (s *Server) nextMinute(b WalkInRequest) *VisitRequest {
	return &VisitRequest{Start: s.now().Add(time.Minute - 1).Truncate(time.Minute), Services: []ServiceRequest{{ServiceID: b.ServiceID, LeadID: b.LeadID}}, ApprovedBy: b.ApprovedBy}
}

// withFirstToday adds to a clash the first start today, in words too. Other
// errors pass through, and when nothing can be searched the clash is answered as
// it is.
func (s *Server) withFirstToday(ctx context.Context, err error, b WalkInRequest) error {
	if _, ok := errors.AsType[*scheduling.ConflictError](err); !ok {
		return err
	}
	p := problem(ctx, err)
	var first []OpeningBody
	err = s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		wish := s.nextMinute(b)
		c, err := compose(ctx, t, n, wish.Services)
		if err != nil {
			return err
		}
		today := scheduling.CivilDate(s.now(), n.loc).String()
		a, err := s.openings(ctx, t, n, c, OpeningsRequest{NotBefore: &wish.Start, FirstDate: today, LastDate: today, Grid: 1, Limit: 1}, "")
		first = a.Openings
		return err
	})
	switch {
	case err != nil:
	case len(first) == 0:
		p.Detail = "nobody is free for this now, nor later today"
	default:
		p.Detail = "nobody is free for this now; the first start today is at " + first[0].Start.Format("15:04") + " with " + first[0].LeadName
		p.Alternatives = first
	}
	return p
}

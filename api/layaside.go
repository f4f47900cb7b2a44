package api

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// LayAsideRequest says why a message is not sent.
type LayAsideRequest struct {
	Why string `json:"why" minLength:"1" maxLength:"120" doc:"Such as: told her on the telephone; nothing about health"`
}

type layAsideInput struct {
	ByID
	Body LayAsideRequest
}

func (s *Server) layAsideRoutes() {
	route(s, huma.Operation{OperationID: "lay-aside-message", Method: http.MethodPost, Path: "/messages/{id}/lay-aside",
		Summary: "Do not send a message that failed or waits, for a reason. A visit that is moved afterwards is told of anew", Errors: []int{http.StatusConflict}}, s.layAside)
}

// layAside takes a message back that has not gone out. What was tried stays on
// record.
func (s *Server) layAside(ctx context.Context, in *layAsideInput) (*found[MessageBody], error) {
	var f scheduling.Faults
	why := text(&f, "why", in.Body.Why, 1, 120)
	if err := f.Err(); err != nil {
		return nil, err
	}
	var out found[MessageBody]
	err := s.inTx(ctx, func(t *store.Tx) error {
		loc, err := zone(ctx, t)
		if err != nil {
			return err
		}
		r, err := t.LockReminder(ctx, in.ID)
		if err != nil {
			return err
		}
		if r.State != store.Failed && r.State != store.Waiting {
			return conflict("the message is " + strings.ReplaceAll(string(r.State), "_", " ") + " and cannot be laid aside")
		}
		by, err := whoNotes(ctx, t)
		if err != nil {
			return err
		}
		if r, err = t.LayAside(ctx, r, "laid aside by "+by+": "+why); err != nil {
			return err
		}
		tried, err := attemptsOf(ctx, t, []store.Reminder{r})
		out.Body = writeMessage(r, tried[r.ID], loc)
		return err
	})
	return &out, err
}

// nameMessages says whom listed messages are for and which visit they are about.
func nameMessages(ctx context.Context, t *store.Tx, loc *time.Location, list []MessageBody) error {
	var ids []string
	for _, m := range list {
		ids = append(ids, m.VisitID)
	}
	visits, err := t.VisitsByID(ctx, ids)
	if err != nil {
		return err
	}
	clients, err := clientsOf(ctx, t, visits)
	if err != nil {
		return err
	}
	names, err := unitNames(ctx, t)
	about := map[string]store.Visit{}
	for _, v := range visits {
		about[v.ID] = v
	}
	for i := range list {
		m := &list[i]
		v, ok := about[m.VisitID]
		if !ok {
			continue
		}
		m.ClientID, m.Start, m.Name = v.Client, localTime(&v.Start, loc), shortName(clients[v.ID])
		if m.StaffID != "" {
			m.Name = names[m.StaffID]
		}
	}
	return err
}
